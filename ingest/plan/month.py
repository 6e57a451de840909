"""A month and its grid of weeks."""

import calendar
import re
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # reading processes do without pydantic, and start so much sooner
    from pydantic import GetCoreSchemaHandler
    from pydantic_core import CoreSchema


@dataclass(frozen=True, slots=True, order=True)
class Month:
    """A calendar month, written `2027-10` (ISO 8601)."""

    year: int
    number: int

    def __post_init__(self) -> None:
        if not (1 <= self.number <= 12 and 1900 <= self.year <= 2999):
            raise ValueError(f"no such month: {self.year}-{self.number:02}")

    @classmethod
    def parse(cls, text: str) -> "Month":
        """Raises ValueError on anything but YYYY-MM."""
        found = re.fullmatch(r"([0-9]{4})-([0-9]{2})", text)
        if not found:
            raise ValueError(f'a month is written like "2027-10", not "{text}"')
        return cls(int(found[1]), int(found[2]))

    def __str__(self) -> str:
        return f"{self.year:04}-{self.number:02}"

    @classmethod
    def of(cls, day: date) -> "Month":
        """The month in which `day` lies."""
        return cls(day.year, day.month)

    def __contains__(self, day: date) -> bool:
        return (day.year, day.month) == (self.year, self.number)

    def following(self) -> "Month":
        """The month after this one."""
        return Month.of(self.dates()[-1] + timedelta(days=1))

    def dates(self) -> tuple[date, ...]:
        return _dates(self)

    def weeks(self, week_starts: str) -> tuple[tuple[date, ...], ...]:
        """The grid's rows, each seven days, those of the neighbouring months included.

        week_starts: "sun" or "mon". Four to six rows.
        """
        return _weeks(self, week_starts)

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: "GetCoreSchemaHandler") -> "CoreSchema":
        from pydantic_core import core_schema

        return core_schema.no_info_plain_validator_function(
            lambda value: value if isinstance(value, cls) else cls.parse(str(value)),
            serialization=core_schema.to_string_ser_schema(),
        )


# There are a handful of months, and they are asked for their days with every student.


@lru_cache
def _dates(month: Month) -> tuple[date, ...]:
    last = calendar.monthrange(month.year, month.number)[1]
    return tuple(date(month.year, month.number, day) for day in range(1, last + 1))


@lru_cache
def _weeks(month: Month, week_starts: str) -> tuple[tuple[date, ...], ...]:
    first = {"mon": calendar.MONDAY, "sun": calendar.SUNDAY}[week_starts]
    rows = calendar.Calendar(first).monthdatescalendar(month.year, month.number)
    return tuple(tuple(row) for row in rows)
