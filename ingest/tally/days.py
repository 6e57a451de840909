"""What each day of a student's month can still come to, and from that any figure, as a range.

A figure that grows with every day lies between what the days' lowest and their highest minutes give: days are
answered independently of each other, so both ends can be reached, and nothing lies beyond them.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from ingest.check.answers import MINUTES_IN_A_DAY
from ingest.check.book import Settled, Sheet, State
from ingest.check.settle import WORTH_ASKING
from ingest.plan.challenge import Challenge

LEAST_STREAK = 2  # required days; one day is no streak to speak of


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

    An open day can come to anything from nothing to the most that the plan thinks possible: what the reader
    suggests for it is no proof that it says one of these. Where a suggestion is more than the plan thinks
    possible, the day can come to all its hours. The same goes for unproven days beside it: see `moves`.

    any_page: a page may or may not turn out to be the student's. Then every day can become anything.
    """
    most = challenge.counting.most_per_day
    loose = frozenset[date]().union(*moves(sheet, challenge).values())
    days = {}
    for day in challenge.month.dates():
        box = sheet.boxes.get(f"day:{day}")
        if any_page or day in loose:
            days[day] = Range(0, MINUTES_IN_A_DAY if box and _most_named(box) > most else most)
        else:
            days[day] = Range(taken(box), taken(box))
    return days


def moves(sheet: Sheet, challenge: Challenge) -> Mapping[str, frozenset[date]]:
    """Of each open box whose answer can move minutes, the days that it can move.

    An open day moves itself; and beside it on its row each day that was taken though something else may have
    been worth asking about. For with the answer, the sums of that row may throw doubt on such a day, and then
    it is asked about, too. (With the made-up reader of tests/bench/settle_questions.py, which is worse than
    ours, 929 answers threw doubt on 47 days that had been taken. 35 of them were such days. All 47 had been
    taken rightly, so in the end nothing changed.) Totals count for nothing, so they move nothing.
    """
    found = {}
    for row in challenge.month.weeks(challenge.days.week_starts):
        boxes = [(day, box) for day in row if (box := sheet.boxes.get(f"day:{day}"))]
        unproven = {day for day, box in boxes if _is_unproven(box)}
        for day, box in boxes:
            if box.state is State.FLAGGED:
                found[box.box] = frozenset({day, *unproven})
    return found


def _most_named(box: Settled) -> int:
    return max(box.value or 0, box.most_named)


def _is_unproven(box: Settled) -> bool:
    return box.state is not State.FLAGGED and box.confidence <= 1 - WORTH_ASKING


def taken(box: Settled | None) -> int:
    """The minutes that a day's box counts for now: none while it is open, blank, or not on the chart."""
    return 0 if box is None or box.state is State.FLAGGED else box.value or 0


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
