"""`challenge.toml`: one month's plan."""

from datetime import date
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from ingest.plan.month import Month

Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
WEEKDAYS: tuple[Weekday, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")  # date.weekday() order


class _Section(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=False)


class Days(_Section):
    required: tuple[Weekday, ...] = ("mon", "tue", "wed", "thu", "fri")
    no_school: frozenset[date] = frozenset()
    minimum_minutes: Annotated[int, Field(ge=1, le=600)] = 15
    week_starts: Literal["sun", "mon"] = "sun"


class Counting(_Section):
    most_per_day: Annotated[int, Field(ge=1, le=1440)] = 240
    counts_per_day: Annotated[int, Field(ge=0, le=1440)] = 0  # 0: no cap


class Expectation(_Section):
    required_days_allowed_short: Annotated[int, Field(ge=0, le=31)] = 0


class Prizes(_Section):
    top: Annotated[int, Field(ge=0)] = 5
    across: Literal["grade", "section"] = "grade"


class HandIn(_Section):
    due: date | None = None
    late: Literal["accept", "flag"] = "accept"


class Grade(_Section):
    points: Annotated[float, Field(gt=0)] = 10
    rule: Literal["met", "share"] = "met"


class Challenge(_Section):
    """The whole plan; field for field as in the file. Build it with `load_challenge`."""

    title: str
    month: Month
    design: str = "minutes"
    paper: Literal["letter", "a4"] = "letter"
    language: str = "en"
    days: Days = Days()
    counting: Counting = Counting()
    expectation: Expectation = Expectation()
    prizes: Prizes = Prizes()
    hand_in: HandIn = HandIn()
    grade: Grade = Grade()

    def required_dates(self) -> tuple[date, ...]:
        """The days on which the minimum is expected, in order."""
        required = {WEEKDAYS.index(day) for day in self.days.required}
        return tuple(
            day
            for day in self.month.dates()
            if day.weekday() in required and day not in self.days.no_school
        )
