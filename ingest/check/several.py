"""Several pages of one student: which are put together, which a person must be asked about.

Two photos of one sheet are put together, for what is on paper only becomes more. Two different charts, or
photos of one that differ in many days, are one child's second try, or two children's: a person must say.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from ingest.check.blank import is_blank_page
from ingest.check.book import Flag, Question
from ingest.check.evidence import OwnPage, contradictions, is_addition
from ingest.check.ownership import day_words
from ingest.plan.roster import Student

# In more days than this, two photos of one chart are asked about as a whole before they are, day by day.
FEW_DAYS = 3


@dataclass(frozen=True, slots=True)
class Sorted:
    """A student's pages. counting: to be put together. asked: about a page that counts for nothing yet.

    aside: pages that count for nothing, by id, and why, in a plain sentence.
    """

    counting: Sequence[OwnPage]
    asked: Question | None = None
    aside: dict[int, str] = field(default_factory=dict)


def sort_out(student: Student, pages: Sequence[OwnPage], confirmed: Mapping[int, datetime]) -> Sorted:
    """What to do with the pages that are the student's.

    confirmed: when a person said so, by the ids of the pages of which one did.
    """
    aside = {own.page.id: "No box could be found on it." for own in pages if not own.page.readings}
    read = sorted((own for own in pages if own.page.readings), key=lambda own: (own.handed_in, own.page.id))
    filled = [own for own in read if not is_blank_page(own.page)]
    if filled and len(filled) < len(read):
        blank = [own for own in read if own not in filled]
        aside |= {own.page.id: "Nothing is written on it, and another return counts." for own in blank}
        read = filled
    for place, older in enumerate(read):
        for newer in read[place + 1 :]:
            asked = _about_two(student, older, newer, confirmed)
            if asked:
                counting = [own for own in read if own.page.id != asked.page_id]
                return Sorted(counting, asked, aside)
    return Sorted(read, None, aside)


def all_blank(student: Student, found: Sorted, newest: int) -> Sorted:
    """What to do where nothing is written on any page that would count: ask about the newest."""
    why = (
        f"This is {student.name}'s chart, but nothing is written on it. Yes: it counts as handed in, with 0 "
        "minutes. No: as nothing handed in."
    )
    asked = Question(student.id, "chart", student.id, 0.0, (Flag("blank-chart", why),), newest)
    older = [own.page.id for own in found.counting if own.page.id != newest]
    return Sorted((), asked, found.aside | dict.fromkeys(older, "Nothing is written on it either."))


def _about_two(
    student: Student, older: OwnPage, newer: OwnPage, confirmed: Mapping[int, datetime]
) -> Question | None:
    """What to ask about two pages before they are put together; None if nothing."""
    if {older.page.id, newer.page.id} <= set(confirmed):
        return None
    days = [box for box in contradictions(older, newer) if box.startswith("day:")]
    if _is_one_chart(older, newer):
        if len(days) <= FEW_DAYS:
            return None
        what = f"Two returns of {student.name}'s chart differ in {len(days)} days"
    elif days:
        what = f"{student.name} has handed in two charts, which differ in {_days(len(days))}"
    elif is_addition(older, newer) and not _was_known(older, newer, confirmed):
        what = f"{student.name} has handed in two charts, with different days filled in"
    else:
        return None
    # Where they contradict each other, the newer one mostly stands in place of the older, which is asked
    # about first; else the newer one mostly goes on where the older ends.
    first, second = (older, newer) if days else (newer, older)
    this, other = (second, first) if first.page.id in confirmed else (first, second)
    why = (
        f"{what}: this one of {day_words(this.handed_in.date())}, and {_file(other)} of "
        f"{day_words(other.handed_in.date())}. Does this one count?"
    )
    return Question(student.id, "chart", student.id, 0.0, (Flag("second-chart", why),), this.page.id)


def _was_known(one: OwnPage, other: OwnPage, confirmed: Mapping[int, datetime]) -> bool:
    """Whether a person who said that either page counts could see that the other was in, too."""
    pairs = ((one, other), (other, one))
    return any(
        this.page.id in confirmed and confirmed[this.page.id] > that.origin.collected_at
        for this, that in pairs
    )


def _is_one_chart(one: OwnPage, other: OwnPage) -> bool:
    """Whether two pages may be of the same sheet of paper: a code that cannot be read speaks for nothing."""
    return one.page.code == other.page.code or None in (one.page.code, other.page.code)


def _file(own: OwnPage) -> str:
    """The end of the path, which tells a student's files apart."""
    return "/".join(own.origin.path.split("/")[-2:])


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"
