"""The trail: behind each figure of the gradebook its boxes, behind each box what was read and changed."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from ingest.cells import Cell, to_csv
from ingest.check.book import Book, Settled, Sheet, State, chart_order
from ingest.check.evidence import is_unreadable, merged
from ingest.check.fate import Fate
from ingest.ledger.records import AnswerRecord, PageRecord, ReturnRecord, SpotAnswer, SpotCheck
from ingest.ledger.store import TAKEN_BACK
from ingest.plan.challenge import Challenge
from ingest.plan.roster import Student
from ingest.reading.values import Candidate
from ingest.report.gradebook import COLUMNS as GRADEBOOK_COLUMNS
from ingest.report.gradebook import gradebook_row
from ingest.report.readings import confidence_text, page_origins
from ingest.tally.standing import standings, unowned_pages
from ingest.tally.student import Tally, tallies


class Event(StrEnum):
    """What happened to a box. The words are those of the trail's CSV."""

    STANDS = "stands"  # as it is now; not an event, but the row that all others lead to
    ANSWERED = "answered"
    TAKEN_BACK = "taken back"  # an answer was; the one before stands again, or the box is open again
    SPOT_CHECK = "spot check"  # a person saw it without knowing what had been read; changes nothing


@dataclass(frozen=True, slots=True)
class Change:
    """What a person said of a box, or of a whole page.

    at: of a taken back answer, when the one that stands again was given.
    before, after: in the words of an answer; after "" is "open again". asked: why it was asked.
    reason: why the person changed it, in their words. shown: what they saw, PNG, or b"".
    """

    event: Event
    at: datetime
    by: str
    before: str
    after: str
    asked: str
    reason: str
    shown: bytes


@dataclass(frozen=True, slots=True)
class Seen:
    """What one page shows in a box, by its ink alone. candidates: most probable first."""

    page_id: int
    path: str
    number: int
    candidates: Sequence[Candidate]


@dataclass(frozen=True, slots=True)
class BoxTrail:
    """A box as it stands, what each page shows in it, and what people said of it, oldest first."""

    box: Settled
    seen: Sequence[Seen]
    changes: Sequence[Change]


@dataclass(frozen=True, slots=True)
class StudentTrail:
    """All that is behind one row of the gradebook.

    row: the gradebook's own cells, by column. boxes: in chart order. fates: of all that was handed in and is
    the student's, or called so. about_pages: what people said of whole pages, with the page's id.
    """

    sheet: Sheet
    tally: Tally
    row: Mapping[str, Cell]
    ranked: int
    boxes: Sequence[BoxTrail]
    fates: Sequence[Fate]
    about_pages: Sequence[tuple[int, Change]]

    @property
    def student(self) -> Student:
        return self.sheet.student

    @property
    def changed(self) -> Sequence[BoxTrail]:
        """The boxes of which a person said something that changed what counts."""
        return [each for each in self.boxes if any(c.event is not Event.SPOT_CHECK for c in each.changes)]


@dataclass(frozen=True, slots=True)
class Records:
    """What the ledger holds, as far as a trail shows it. answers, spot_answers: oldest first."""

    pages: Sequence[PageRecord]
    returns: Sequence[ReturnRecord]
    answers: Sequence[AnswerRecord]
    spot_checks: Sequence[SpotCheck]
    spot_answers: Sequence[SpotAnswer]


def trails(
    book: Book, challenge: Challenge, records: Records, fates: Sequence[Fate]
) -> tuple[StudentTrail, ...]:
    """One a student, in roster order."""
    figures = tallies(book, challenge)
    places = standings(figures, challenge, unowned_pages(book))
    pages = {page.id: page for page in records.pages}
    origins = page_origins(records.returns, records.pages)
    changes = _changes(records)
    about_pages: dict[int, list[Change]] = {}
    for answer in records.answers:
        if answer.box == "chart" and answer.page_id is not None:
            about_pages.setdefault(answer.page_id, []).append(_change(answer))
    theirs: dict[str, list[Fate]] = {}
    for fate in fates:
        theirs.setdefault(fate.student_id or fate.named, []).append(fate)
    found = []
    for sheet, tally in zip(book.sheets, figures, strict=True):
        student_id = sheet.student.id
        boxes = [
            BoxTrail(
                box, tuple(_seen(box.box, sheet, pages, origins)), changes.get((student_id, box.box), ())
            )
            for box in sorted(sheet.boxes.values(), key=lambda box: chart_order(box.box))
            if not (box.box.startswith("outside:") and box.state is State.BLANK)
        ]
        row = dict(zip(GRADEBOOK_COLUMNS, gradebook_row(tally, places.get(student_id)), strict=True))
        own = theirs.get(student_id, [])
        of_pages = [
            (fate.page_id, change)
            for fate in own
            if fate.page_id is not None
            for change in about_pages.get(fate.page_id, ())
        ]
        across = challenge.prizes.across == "grade"
        ranked = sum(
            other.handed_in and (across or other.student.section == sheet.student.section)
            for other in figures
        )
        found.append(StudentTrail(sheet, tally, row, ranked, boxes, own, of_pages))
    return tuple(found)


def _seen(
    box: str, sheet: Sheet, pages: Mapping[int, PageRecord], origins: Mapping[int, tuple[str, int]]
) -> Iterator[Seen]:
    for page_id in sheet.pages:
        for reading in pages[page_id].readings:
            if reading.box == box:
                yield Seen(page_id, *origins.get(page_id, ("", 1)), merged(reading.candidates))


def _changes(records: Records) -> dict[tuple[str, str], list[Change]]:
    """By student and box, in the order in which they happened."""
    found: dict[tuple[str, str], list[tuple[datetime, Change]]] = {}
    for answer in records.answers:
        if answer.box != "chart":
            changes = found.setdefault((answer.student_id, answer.box), [])
            # what is taken back bears the time of the answer that stands again: it came after the one before
            earliest = changes[-1][0] if changes else answer.at
            changes.append((max(earliest, answer.at), _change(answer)))
    drawn = {(check.id, box.place): box for check in records.spot_checks for box in check.boxes}
    for spot in records.spot_answers:
        box = drawn.get((spot.check_id, spot.place))
        if box and spot.answer:
            look = Change(Event.SPOT_CHECK, spot.at, spot.by, box.reading, spot.answer, "", "", spot.shown)
            found.setdefault((box.student_id, box.box), []).append((spot.at, look))
    return {
        key: [change for _, change in sorted(changes, key=lambda each: each[0])]
        for key, changes in found.items()
    }


def _change(answer: AnswerRecord) -> Change:
    if answer.why == TAKEN_BACK:
        why, event = "", Event.TAKEN_BACK
    else:
        why, event = answer.why, Event.ANSWERED
    return Change(event, answer.at, answer.by, answer.before, answer.answer, why, answer.reason, answer.shown)


COLUMNS = (
    "student_id",
    "first_name",
    "last_name",
    "section",
    "box",
    "event",
    "at",
    "by",
    "before",
    "value",
    "state",
    "confidence",
    "candidates",
    "flags",
    "why",
    "reason",
    "return",
    "page",
)


def trail_csv(found: Sequence[StudentTrail]) -> bytes:
    """The CSV file: of each box what people said of it, oldest first, then how it stands."""
    return to_csv(COLUMNS, [row for trail in found for row in _rows(trail)])


def _rows(trail: StudentTrail) -> Iterator[Sequence[Cell]]:
    student = trail.student
    who = (student.id, student.first_name, student.last_name, student.section)
    for each in trail.boxes:
        box = each.box
        for change in each.changes:
            at = f"{change.at:%Y-%m-%d %H:%M:%S}"
            said = (change.by, change.before, change.after)
            yield (
                *who,
                box.box,
                change.event,
                at,
                *said,
                "",
                "",
                "",
                "",
                change.asked,
                change.reason,
                "",
                "",
            )
        seen = next((one for one in each.seen if one.page_id == box.page_id), None)
        yield (
            *who,
            box.box,
            Event.STANDS,
            "",
            "",
            "",
            None if box.state is State.FLAGGED else box.value,
            box.state,
            confidence_text(box),
            "; ".join(candidate_words(one) for one in seen.candidates) if seen else "",
            ";".join(flag.reason for flag in box.flags),
            " ".join(flag.why for flag in box.flags),
            "",
            seen.path if seen else "",
            seen.number if seen else None,
        )


def candidate_words(candidate: Candidate) -> str:
    """`20 (99.8 %)`, `blank (0.1 %)`, `45 from "45 min" (97.0 %)`."""
    if is_unreadable(candidate):
        what = "no number" if candidate.text == "?" else f'no number, "{candidate.text}"'
    elif candidate.value is None:
        what = "blank"
    else:
        what = str(candidate.value)
        if candidate.text != what:
            what += f' from "{candidate.text}"'
    return f"{what} ({'typed' if candidate.typed else percent(candidate.probability)})"


def percent(share: float) -> str:
    """`99.9 %`; never 100 of what is not certain, nor 0 of what is possible."""
    if share == 1:
        return "100 %"
    if share < 0.0005:
        return "under 0.1 %"
    return f"{min(share * 100, 99.99):.2f} %" if share >= 0.9995 else f"{share * 100:.1f} %"
