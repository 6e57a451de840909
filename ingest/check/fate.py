"""What became of everything that was handed in, file by file and page by page."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from ingest.check.blank import is_blank_page
from ingest.check.book import Question
from ingest.check.evidence import OwnPage
from ingest.check.lateness import is_late, is_untold
from ingest.check.ownership import Claim, Grade, other_challenge
from ingest.check.several import Sorted
from ingest.ledger.records import CopyRecord, ReturnRecord, ReturnState


class What(StrEnum):
    """What was handed in. The words are those of `daybox returns`."""

    CHART = "chart"
    SPARE = "spare chart"
    BLANK = "blank chart"  # nothing is written on it
    NO_CODE = "chart without a code"  # that could be read
    UNKNOWN = "unknown chart"  # its code was not printed here
    OTHER = "chart of another month"
    NONE = "no chart"  # none was found on the page
    CLOSED = "cannot be opened"  # the file
    COPY = "copy"  # the very same file as another
    NOT_YET = "not read yet"


class Outcome(StrEnum):
    """What came of it. The words are those of `daybox returns`."""

    COUNTS = "counts"
    ASKED = "asked"  # counts for nothing until a person has said
    ASIDE = "does not count"
    UNREAD = "could not be read"
    WAITING = "waits to be read"


@dataclass(frozen=True, slots=True)
class Fate:
    """One page, or one file that has none.

    path: as in `ReturnRecord`. page: from 1; None for a whole file. pages: how many the file has.
    student_id: whose it is, or is held to be while a person is asked, or for whom the chart was printed of
        which a person said that it does not count; "" if it is nobody's.
    named: whom the path names, "" if nobody.
    why: what there is to say of it, in plain sentences, or "".
    together: of those that count, with how many other pages of the student's it is put together.
    open_boxes: of those that count, how many boxes of the student's a person must look at.
    late, untold: as in `ingest.check.lateness`.
    """

    path: str
    page: int | None
    pages: int
    page_id: int | None
    student_id: str
    named: str
    what: What
    outcome: Outcome
    why: str
    together: int = 0
    open_boxes: int = 0
    late: bool = False
    untold: bool = False


@dataclass(frozen=True, slots=True)
class Findings:
    """What checking found, by page id or student id."""

    grade: Grade
    claims: Mapping[int, Claim]
    sorted: Mapping[str, Sorted]
    open_boxes: Mapping[str, int]


def fates(
    pages: Sequence[OwnPage],
    returns: Sequence[ReturnRecord],
    copies: Sequence[CopyRecord],
    found: Findings,
    named_by: Callable[[str], str],
) -> tuple[Fate, ...]:
    """Every page of every return in the order of collecting, and files without pages in their place.

    named_by: the student whom a path names, "" if nobody; asked about files that have no pages.
    """
    of_return: dict[int, list[OwnPage]] = {}
    for own in pages:
        of_return.setdefault(own.page.return_id, []).append(own)
    also: dict[int, list[CopyRecord]] = {}
    for copy in copies:
        also.setdefault(copy.return_id, []).append(copy)
    challenge = found.grade.challenge
    told: list[Fate] = []
    for origin in returns:
        own_pages = of_return.get(origin.id, [])
        first = [_of_page(own, len(own_pages), found) for own in own_pages]
        first = first or [_of_file(origin, named_by(origin.path))]
        late, untold = is_late(origin, challenge), is_untold(origin, challenge)
        told += [replace(fate, late=late, untold=untold) for fate in first]
        told += _of_copies(also.get(origin.id, ()), first[0])
    return tuple(told)


def _of_file(origin: ReturnRecord, named: str) -> Fate:
    """A file without pages: not read yet, or none could be had."""
    if origin.state is ReturnState.WAITING:
        what, outcome, why = What.NOT_YET, Outcome.WAITING, "Run daybox collect again to read it."
    else:
        what, outcome, why = What.CLOSED, Outcome.UNREAD, origin.note
    return Fate(origin.path, None, 0, None, "", named, what, outcome, why)


def _of_copies(copies: Sequence[CopyRecord], first: Fate) -> Iterator[Fate]:
    """The same file under names that name somebody else; other copies are the same download once more."""
    for copy in copies:
        if copy.guess and copy.guess not in (first.named, first.student_id):
            why = f"The very same file as {first.path}."
            yield Fate(copy.path, None, 0, None, "", copy.guess, What.COPY, Outcome.ASIDE, why)


def _of_page(own: OwnPage, pages: int, found: Findings) -> Fate:
    page, origin = own.page, own.origin
    named = page.guess if page.guess in found.grade.students else ""
    claim = found.claims[page.id]
    what = _what(own, found.grade)

    def fate(student_id: str, outcome: Outcome, why: str) -> Fate:
        return Fate(origin.path, page.number, pages, page.id, student_id, named, what, outcome, why)

    if claim.question:
        return fate(claim.question.student_id, Outcome.ASKED, _why(claim.question))
    if page.problem:
        return fate("", Outcome.UNREAD, page.problem)
    if not claim.owner:
        chart = found.grade.charts.get(page.code or "")
        printed_for = chart.student_id or "" if chart else ""
        return fate(printed_for if printed_for in found.grade.students else "", Outcome.ASIDE, claim.aside)
    several = found.sorted[claim.owner]
    if several.asked and several.asked.page_id == page.id:
        return fate(claim.owner, Outcome.ASKED, _why(several.asked))
    if page.id in several.aside:
        return fate(claim.owner, Outcome.ASIDE, several.aside[page.id])
    others = [_name(other) for other in several.counting if other.page.id != page.id]
    notes = [f"Put together with {_list(others)}."] if others else []
    notes += [origin.note] if origin.note else []
    return replace(
        fate(claim.owner, Outcome.COUNTS, " ".join(notes)),
        together=len(others),
        open_boxes=found.open_boxes.get(claim.owner, 0),
    )


def _what(own: OwnPage, grade: Grade) -> What:
    page = own.page
    if page.problem:
        return What.NONE
    if other_challenge(page, grade):
        return What.OTHER
    if is_blank_page(page):
        return What.BLANK
    if not page.code:
        return What.NO_CODE
    if page.code not in grade.charts:
        return What.UNKNOWN
    return What.CHART if grade.charts[page.code].student_id else What.SPARE


def _why(question: Question) -> str:
    return " ".join(flag.why for flag in question.flags)


def _name(own: OwnPage) -> str:
    return own.origin.path if own.page.number == 1 else f"{own.origin.path}, page {own.page.number}"


def _list(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
