"""A student's figures, and how far open questions could still move them."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal

from ingest.check.book import Book, Sheet, State
from ingest.plan.challenge import Challenge
from ingest.plan.roster import Student
from ingest.tally.days import (
    Days,
    Range,
    counted,
    counted_total,
    days_met,
    longest_run,
    longest_streak,
    moves,
    possible_days,
    taken,
    total,
)
from ingest.tally.improvement import improvement

_SATURDAY = 5  # date.weekday()


@dataclass(frozen=True, slots=True)
class Tally:
    """One student's figures. Plain figures count settled boxes only; an open box adds nothing.

    handed_in: something usable came back. If not, every figure is 0, or None.
    total_minutes, weekend_minutes: as written; weekend is Saturday and Sunday, whatever is required.
    counted_minutes: each day cut to `counts_per_day`, if there is such a cap; what places go by.
    longest_streak: most required days in a row with the minimum; days not required do not break it.
    days: what each day can still come to. Any other figure's range follows from it: see `ingest.tally.days`.
    total_range, counted_range, days_met_range, streak_range: what open boxes could make of those figures.
    improvement_range: of the biggest rise from a week to the next, as `ingest.tally.improvement` has it.
    met, points: None while an open question could still change them.
    moves: the open boxes that can move minutes, each with the days that it can move.
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
    days: Days
    moves: Mapping[str, frozenset[date]]
    total_range: Range
    counted_range: Range
    days_met_range: Range
    streak_range: Range
    improvement_range: Range
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
    pages = open_pages(book)
    return tuple(tally(sheet, challenge, pages[sheet.student.id]) for sheet in book.sheets)


def open_pages(book: Book) -> Counter[str]:
    """How many pages are held to be each student's that a person must confirm, by student id."""
    asked = (question for question in book.questions if question.box == "chart")
    return Counter(question.student_id or question.suggestion for question in asked)


def tally(sheet: Sheet, challenge: Challenge, open_pages: int = 0) -> Tally:
    """The figures of one student.

    open_pages: pages that may or may not turn out to be this student's. While there is one, every
        day of the month could still become anything.
    """
    required = challenge.required_dates()
    days = possible_days(sheet, challenge, any_page=open_pages > 0)
    now = {day: taken(sheet.boxes.get(f"day:{day}")) for day in days}
    reached = [now[day] >= challenge.days.minimum_minutes for day in required]
    met_range = days_met(days, challenge)
    handed_in = bool(sheet.boxes)
    decided = handed_in and not open_pages
    return Tally(
        student=sheet.student,
        handed_in=handed_in,
        late=sheet.late,
        total_minutes=sum(now.values()),
        counted_minutes=sum(counted(minutes, challenge) for minutes in now.values()),
        weekend_minutes=sum(minutes for day, minutes in now.items() if day.weekday() >= _SATURDAY),
        required_days=len(required),
        days_met=sum(reached),
        longest_streak=longest_run(reached),
        days=days,
        moves=moves(sheet, challenge),
        total_range=total(days),
        counted_range=counted_total(days, challenge),
        days_met_range=met_range,
        streak_range=longest_streak(days, challenge),
        improvement_range=improvement(days, challenge),
        met=_met(met_range, len(required), challenge) if decided else None,
        points=_points(met_range, len(required), challenge) if decided else None,
        open_boxes=sum(box.state is State.FLAGGED for box in sheet.boxes.values()),
        open_pages=open_pages,
    )


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
