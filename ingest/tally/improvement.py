"""The most improved week: a rise in minutes, reckoned so that no leap is praised."""

from collections.abc import Sequence
from itertools import pairwise

from ingest.plan.challenge import Challenge
from ingest.tally.days import Days, Range

# A day counts at most so many times the minimum: practising steadily is what is praised. Players are warned
# of sudden increases (NASM-PAMA, Protecting Your Neuromusculoskeletal Health).
MOST_OF_A_DAY = 2


def improvement(days: Days, challenge: Challenge) -> Range:
    """The biggest rise in minutes from one whole week of the month to the next; 0 where there is none.

    A day counts at most twice the minimum.
    """
    most = MOST_OF_A_DAY * challenge.days.minimum_minutes
    weeks = [
        Range(
            sum(min(days[day].lowest, most) for day in week),
            sum(min(days[day].highest, most) for day in week),
        )
        for week in challenge.month.weeks(challenge.days.week_starts)
        if all(day in days for day in week)
    ]
    highest = max((after.highest - before.lowest for before, after in pairwise(weeks)), default=0)
    return Range(_least_rise(weeks), max(0, highest))


def _least_rise(weeks: Sequence[Range]) -> int:
    """The least that the biggest rise from a week to the next can be, whatever lies within the ranges.

    From the most of one week to the least of a later one the minutes must climb, at the gentlest in equal
    steps; the steepest of these climbs cannot be avoided, and no more is needed.
    """
    climbs = [
        (weeks[later].lowest - weeks[earlier].highest, later - earlier)
        for later in range(len(weeks))
        for earlier in range(later)
    ]
    return max((-(-minutes // steps) for minutes, steps in climbs if minutes > 0), default=0)


def any_month(challenge: Challenge) -> Days:
    """The month of somebody of whom nothing is known."""
    return {day: Range(0, challenge.counting.most_per_day) for day in challenge.month.dates()}
