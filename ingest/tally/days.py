"""What each day of a student's month can still come to, and from that any figure, as a range.

A figure that grows with every day lies between what the days' lowest and their highest minutes give: days are
answered independently of each other, so both ends can be reached, and nothing lies beyond them.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from ingest.check.book import Settled, Sheet, State
from ingest.plan.challenge import Challenge

MINUTES_IN_A_DAY = 24 * 60


@dataclass(frozen=True, slots=True)
class Range:
    """The least and the most that a figure can still become; equal when it is settled."""

    lowest: int
    highest: int

    @property
    def settled(self) -> bool:
        return self.lowest == self.highest


Days = Mapping[date, Range]  # every day of the month, in order: the minutes that it can stand for


def possible_days(sheet: Sheet, challenge: Challenge, *, any_page: bool = False) -> Days:
    """What the days of a student can come to, whatever is answered.

    any_page: a page may or may not turn out to be the student's. Then every day can become anything.
    """
    days = {day: _possible(sheet.boxes.get(f"day:{day}"), challenge) for day in challenge.month.dates()}
    if not any_page:
        return days
    most = challenge.counting.most_per_day
    return {day: Range(0, max(most, minutes.highest)) for day, minutes in days.items()}


def _possible(box: Settled | None, challenge: Challenge) -> Range:
    """What a day's box can stand for. A box that the chart lacks, or that is blank, is 0 minutes."""
    if box is None:
        return Range(0, 0)
    if box.state is not State.FLAGGED:
        return Range(box.value or 0, box.value or 0)
    most = challenge.counting.most_per_day
    if box.value is not None and box.value > most:
        most = max(most, MINUTES_IN_A_DAY)  # flagged as hardly possible, yet a person may confirm it
    return Range(0, most)


# -- figures ------------------------------------------------------------------------------------------


def total(days: Days) -> Range:
    """All minutes, weekends included."""
    return _sum(days.values())


def counted_total(days: Days, challenge: Challenge) -> Range:
    """The minutes that places go by: each day cut to `counts_per_day`, if there is such a cap."""
    return _sum(
        Range(counted(day.lowest, challenge), counted(day.highest, challenge)) for day in days.values()
    )


def counted(minutes: int, challenge: Challenge) -> int:
    """What a day's minutes are worth in the ranking."""
    cap = challenge.counting.counts_per_day
    return min(minutes, cap) if cap else minutes


def days_met(days: Days, challenge: Challenge) -> Range:
    """On how many required days the minimum is reached."""
    surely, perhaps = _met(days, challenge)
    return Range(sum(surely), sum(perhaps))


def longest_streak(days: Days, challenge: Challenge) -> Range:
    """The most required days in a row with the minimum; days that are not required do not break it."""
    surely, perhaps = _met(days, challenge)
    return Range(longest_run(surely), longest_run(perhaps))


def week_totals(days: Days, challenge: Challenge) -> tuple[Range, ...]:
    """The minutes of each row of the chart; the first and the last may have fewer than seven days."""
    rows = challenge.month.weeks(challenge.days.week_starts)
    return tuple(_sum(days[day] for day in row if day in days) for row in rows)


def longest_run(reached: Iterable[bool]) -> int:
    """The most True in a row."""
    return max((sum(run) for is_reached, run in groupby(reached) if is_reached), default=0)


def _met(days: Days, challenge: Challenge) -> tuple[list[bool], list[bool]]:
    """Of each required day, whether it surely reaches the minimum, and whether it may."""
    minimum, required = challenge.days.minimum_minutes, challenge.required_dates()
    return [days[day].lowest >= minimum for day in required], [
        days[day].highest >= minimum for day in required
    ]


def _sum(ranges: Iterable[Range]) -> Range:
    parts = tuple(ranges)
    return Range(sum(part.lowest for part in parts), sum(part.highest for part in parts))
