"""A day or a week that stands out for one child: worth a friendly word, and nothing else.

Players are advised to avoid sudden increases in practice time (NASM-PAMA, "Protecting Your
Neuromusculoskeletal Health"), and many minutes at once may also be a slip of the pencil. A child is only ever
compared with itself. That every day has the same number says nothing: many children plan it so.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from statistics import median_low

from ingest.check.book import Sheet, State
from ingest.plan.challenge import Challenge

# From here on something stands out. The advice names no numbers: these are assumptions, no source. Lower:
# more children are named who only had a good day.
TIMES_A_DAY = 3  # the usual day
LEAST_A_DAY = 60  # minutes; what is less is no strain, however unusual
TIMES_A_WEEK = 2  # the most of any week before
LEAST_MORE_A_WEEK = 120  # minutes more than that
MOST_DAYS = 2  # more days than this that stand out are a habit, and none of them does
LEAST_DAYS = 5  # with practice, beside the one in question, before anything can be called usual
LEAST_OF_A_WEEK = 5  # days of the month that a row must have to be compared


@dataclass(frozen=True, slots=True)
class Jump:
    """first, last: the day, or the days of the week. minutes: written there. usual: minutes to compare with.

    For a day that is the child's median of the other days with practice, for a week the most of any before.
    """

    first: date
    last: date
    minutes: int
    usual: int

    @property
    def reason(self) -> str:
        """In a plain sentence."""
        if self.first == self.last:
            return (
                f"{_day(self.first)} has {self.minutes} minutes; the other days with practice have "
                f"{self.usual} or so."
            )
        return (
            f"The week from {_day(self.first)} has {self.minutes} minutes; the most in a week before that "
            f"was {self.usual}."
        )


def jumps(sheet: Sheet, challenge: Challenge) -> tuple[Jump, ...]:
    """What stands out for a student, days before weeks; boxes that are open are left out."""
    minutes = {
        day: box.value or 0
        for day in challenge.month.dates()
        if (box := sheet.boxes.get(f"day:{day}")) and box.state is not State.FLAGGED
    }
    days = tuple(_days(minutes))
    return (*(days if len(days) <= MOST_DAYS else ()), *_weeks(minutes, challenge))


def _days(minutes: Mapping[date, int]) -> Iterator[Jump]:
    for day, own in minutes.items():
        others = [each for other, each in minutes.items() if each and other != day]
        if len(others) < LEAST_DAYS:
            continue
        usual = median_low(others)
        if own >= max(LEAST_A_DAY, TIMES_A_DAY * usual):
            yield Jump(day, day, own, usual)


def _weeks(minutes: Mapping[date, int], challenge: Challenge) -> Iterator[Jump]:
    most = 0
    for row in challenge.month.weeks(challenge.days.week_starts):
        days = [day for day in row if day in challenge.month]
        if len(days) < LEAST_OF_A_WEEK or any(day not in minutes for day in days):
            continue
        own = sum(minutes[day] for day in days)
        if most and own >= max(TIMES_A_WEEK * most, most + LEAST_MORE_A_WEEK):
            yield Jump(days[0], days[-1], own, most)
        most = max(most, own)


def _day(day: date) -> str:
    return f"{day:%A} {day.day} {day:%B}"
