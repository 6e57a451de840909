"""A student's figures, and how far open questions could still move them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from ingest.check.book import Book, Settled, Sheet, State
from ingest.plan.challenge import Challenge
from ingest.plan.roster import Student

MINUTES_IN_A_DAY = 24 * 60
_SATURDAY = 5  # date.weekday()


@dataclass(frozen=True, slots=True)
class Range:
    """The least and the most that a figure can still become; equal when it is settled."""

    lowest: int
    highest: int

    @property
    def settled(self) -> bool:
        return self.lowest == self.highest


@dataclass(frozen=True, slots=True)
class Tally:
    """One student's figures. Plain figures count settled boxes only; an open box adds nothing.

    handed_in: something usable came back. If not, every figure is 0, or None.
    total_minutes, weekend_minutes: as written; weekend is Saturday and Sunday, whatever is required.
    counted_minutes: each day cut to `counts_per_day`, if there is such a cap; what places go by.
    longest_streak: most required days in a row with the minimum; days not required do not break it.
    total_range, counted_range, days_met_range: what open boxes could make of those figures.
    met, points: None while an open question could still change them.
    open_boxes: flagged boxes. open_pages: pages held to be this student's that a person must confirm.
    """

    student: Student
    handed_in: bool
    late: bool
    total_minutes: int
    counted_minutes: int
    weekend_minutes: int
    required_days: int
    days_met: int
    longest_streak: int
    total_range: Range
    counted_range: Range
    days_met_range: Range
    met: bool | None
    points: float | None
    open_boxes: int
    open_pages: int

    @property
    def open_flags(self) -> int:
        """Open questions about this student."""
        return self.open_boxes + self.open_pages


def tallies(book: Book, challenge: Challenge) -> tuple[Tally, ...]:
    """One a student, in the book's order."""
    pages: dict[str, int] = {}
    for question in book.questions:
        if question.box == "chart":
            whose = question.student_id or question.suggestion
            pages[whose] = pages.get(whose, 0) + 1
    return tuple(tally(sheet, challenge, pages.get(sheet.student.id, 0)) for sheet in book.sheets)


def tally(sheet: Sheet, challenge: Challenge, open_pages: int = 0) -> Tally:
    """The figures of one student.

    open_pages: pages that may or may not turn out to be this student's. While there is one, every
        day of the month could still become anything.
    """
    required = challenge.required_dates()
    minimum = challenge.days.minimum_minutes
    days = {day: _minutes(sheet.boxes.get(f"day:{day}"), challenge) for day in challenge.month.dates()}
    if open_pages:
        most = challenge.counting.most_per_day
        possible = {day: Range(0, max(most, minutes.highest)) for day, minutes in days.items()}
    else:
        possible = days

    settled = {day: minutes.lowest for day, minutes in days.items()}  # an open day's lowest is 0
    days_met = [settled[day] >= minimum for day in required]
    days_met_range = Range(
        sum(possible[day].lowest >= minimum for day in required),
        sum(possible[day].highest >= minimum for day in required),
    )
    handed_in = bool(sheet.boxes)
    decided = handed_in and not open_pages
    return Tally(
        student=sheet.student,
        handed_in=handed_in,
        late=sheet.late,
        total_minutes=sum(settled.values()),
        counted_minutes=sum(counted(minutes, challenge) for minutes in settled.values()),
        weekend_minutes=sum(minutes for day, minutes in settled.items() if day.weekday() >= _SATURDAY),
        required_days=len(required),
        days_met=sum(days_met),
        longest_streak=_longest_run(days_met),
        total_range=_sum(possible.values()),
        counted_range=_sum(
            Range(counted(minutes.lowest, challenge), counted(minutes.highest, challenge))
            for minutes in possible.values()
        ),
        days_met_range=days_met_range,
        met=_met(days_met_range, len(required), challenge) if decided else None,
        points=_points(days_met_range, len(required), challenge) if decided else None,
        open_boxes=sum(box.state is State.FLAGGED for box in sheet.boxes.values()),
        open_pages=open_pages,
    )


def counted(minutes: int, challenge: Challenge) -> int:
    """What a day's minutes are worth in the ranking."""
    cap = challenge.counting.counts_per_day
    return min(minutes, cap) if cap else minutes


def _minutes(box: Settled | None, challenge: Challenge) -> Range:
    """What a day's box can stand for. A box that the chart lacks, or that is blank, is 0 minutes."""
    if box is None:
        return Range(0, 0)
    if box.state is not State.FLAGGED:
        return Range(box.value or 0, box.value or 0)
    most = challenge.counting.most_per_day
    if box.value is not None and box.value > most:
        most = max(most, MINUTES_IN_A_DAY)  # flagged as hardly possible, yet a person may confirm it
    return Range(0, most)


def _sum(ranges: Iterable[Range]) -> Range:
    parts = tuple(ranges)
    return Range(sum(part.lowest for part in parts), sum(part.highest for part in parts))


def _longest_run(days: Sequence[bool]) -> int:
    longest = run = 0
    for met in days:
        run = run + 1 if met else 0
        longest = max(longest, run)
    return longest


def is_met(days_met: int, required_days: int, challenge: Challenge) -> bool:
    """The rule of `[expectation]`. Where no day is required, whoever handed in has met it."""
    return days_met >= required_days - challenge.expectation.required_days_allowed_short


def points_for(days_met: int, required_days: int, challenge: Challenge) -> Decimal:
    """The rule of `[grade]`, rounded half up to 2 decimals; nothing required is nothing missed."""
    full = Decimal(str(challenge.grade.points))
    if challenge.grade.rule == "met":
        mark = full if is_met(days_met, required_days, challenge) else Decimal(0)
    elif required_days == 0:
        mark = full
    else:
        mark = min(full, full * days_met / required_days)
    return mark.quantize(Decimal("0.01"), ROUND_HALF_UP)


def _met(days_met: Range, required_days: int, challenge: Challenge) -> bool | None:
    # more days met never turns a yes into a no, so the two ends decide
    surely = is_met(days_met.lowest, required_days, challenge)
    possibly = is_met(days_met.highest, required_days, challenge)
    return surely if surely == possibly else None


def _points(days_met: Range, required_days: int, challenge: Challenge) -> float | None:
    least = points_for(days_met.lowest, required_days, challenge)
    most = points_for(days_met.highest, required_days, challenge)
    return float(least) if least == most else None
