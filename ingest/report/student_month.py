"""One student's month as a picture shows it: each day known or not, the running total, the best day."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import accumulate

from ingest.check.book import Book, Settled, State
from ingest.plan.challenge import Challenge
from ingest.plan.roster import Student
from ingest.tally.student import Tally, tallies


@dataclass(frozen=True, slots=True)
class Day:
    """minutes: None while it is not known yet. blank: nothing was written, which counts as 0."""

    minutes: int | None
    blank: bool = False


@dataclass(frozen=True, slots=True)
class StudentMonth:
    """days: every day of the month, in order; empty if nothing usable was handed in."""

    tally: Tally
    days: Mapping[date, Day]

    @property
    def student(self) -> Student:
        return self.tally.student

    @property
    def handed_in(self) -> bool:
        return self.tally.handed_in

    @property
    def open_days(self) -> int:
        """How many days are not known yet."""
        return sum(day.minutes is None for day in self.days.values())

    @property
    def settled(self) -> bool:
        """Whether no open question can change a minute any more."""
        return not (self.tally.moves or self.tally.open_pages)

    @property
    def practiced(self) -> int:
        """On how many days there was any practice, as far as is known."""
        return sum(bool(day.minutes) for day in self.days.values())

    def running(self) -> Sequence[int]:
        """The minutes up to and with each day; a day that is not known yet adds nothing so far."""
        return tuple(accumulate(day.minutes or 0 for day in self.days.values()))

    def best(self) -> tuple[int, Sequence[date]]:
        """The most minutes of a day, as far as is known, and on which days; (0, ()) if there are none."""
        most = max((day.minutes or 0 for day in self.days.values()), default=0)
        return most, tuple(day for day, said in self.days.items() if most and said.minutes == most)


def student_months(book: Book, challenge: Challenge) -> tuple[StudentMonth, ...]:
    """One for each student, in the book's order."""
    return tuple(
        StudentMonth(
            tally,
            {day: _day(sheet.boxes.get(f"day:{day}")) for day in challenge.month.dates()}
            if sheet.boxes
            else {},
        )
        for sheet, tally in zip(book.sheets, tallies(book, challenge), strict=True)
    )


def _day(box: Settled | None) -> Day:
    if box is None or (box.state is not State.FLAGGED and box.value is None):
        return Day(0, blank=True)
    return Day(None) if box.state is State.FLAGGED else Day(box.value)


def goal(challenge: Challenge) -> int:
    """Minutes of somebody who does just the minimum on every required day."""
    return challenge.days.minimum_minutes * len(challenge.required_dates())


def day_average(months: Sequence[StudentMonth], day: date) -> float | None:
    """Minutes of a chart on that day, over the charts of which it is known; None if there is none."""
    known = [minutes for each in months if each.days and (minutes := each.days[day].minutes) is not None]
    return sum(known) / len(known) if known else None


def open_on(months: Sequence[StudentMonth], day: date) -> int:
    """On how many charts that day is not known yet."""
    return sum(bool(each.days) and each.days[day].minutes is None for each in months)


def week_averages(months: Sequence[StudentMonth], challenge: Challenge) -> tuple[float | None, ...]:
    """Minutes of a chart in each row: the averages of its days added up; None if no day is known."""
    found = []
    for row in challenge.month.weeks(challenge.days.week_starts):
        days = [day_average(months, day) for day in row if day in challenge.month]
        known = [minutes for minutes in days if minutes is not None]
        found.append(sum(known) if known else None)
    return tuple(found)


def by_section(months: Sequence[StudentMonth]) -> Mapping[str, Sequence[StudentMonth]]:
    """In the order in which the sections first stand on the roster."""
    found: dict[str, list[StudentMonth]] = {}
    for each in months:
        found.setdefault(each.student.section, []).append(each)
    return found
