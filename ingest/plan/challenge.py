"""`challenge.toml`: one month's plan, as it is read and checked."""

import re
from collections.abc import Mapping
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Annotated, Any, Literal, Self, get_args

from babel import Locale
from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    Strict,
    ValidationError,
    ValidationInfo,
    model_validator,
)

from ingest.errors import PlanError
from ingest.plan.month import Month
from ingest.rates import parse_one_in
from ingest.settings import parse_toml, problems, shown

FILE_NAME = "challenge.toml"

Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
WEEKDAYS: tuple[Weekday, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")  # date.weekday() order

# Titles of a challenge that was given none. Other languages get the English one: better a plain title
# that a teacher changes than a refused plan.
_TITLES = {"en": "{month} practice challenge", "es": "Reto de práctica de {month}"}


def _to_date(value: object) -> object:
    """Both "2027-10-11" and TOML's own 2027-10-11; no times of day, and no numbers."""
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    if isinstance(value, str) and re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", value):
        try:
            return date.fromisoformat(value)
        except ValueError:
            raise ValueError(f"there is no day {value}") from None
    raise ValueError(f'a date is written like "2027-10-11", not {shown(value)}')


def _in_month(day: date, info: ValidationInfo) -> date:
    month = info.context  # the file's month, where `load_challenge` could read it
    if isinstance(month, Month) and day not in month:
        raise ValueError(f"{day} is not in {month}")
    return day


def _each_once(days: tuple[str, ...]) -> tuple[str, ...]:
    twice = sorted({day for day in days if days.count(day) > 1}, key=days.index)
    if twice:
        raise ValueError(f"{' and '.join(twice)} stands there more than once")
    return days


def _one_line(text: str) -> str:
    if not text.strip() or not text.isprintable():
        raise ValueError(f"must be one line of text, not {shown(text)}")
    return text


# How many boxes there may be to one silent error. People who type numbers in once get 1 in 345 of them wrong
# (Garza et al. 2025: 0.29 %), so nobody wants to go far below; more than a million nobody can count.
ONE_IN = range(100, 1_000_001)


def _to_one_in(value: object) -> int:
    """So many boxes of which one may be wrong, from "1 in 2000"."""
    try:
        many = parse_one_in(value) if isinstance(value, str) else None
    except ValueError:
        many = None
    if many is None:
        raise ValueError(f'a rate is written like "1 in 2000", not {shown(value)}')
    if many not in ONE_IN:
        raise ValueError(f"must be from 1 in {ONE_IN[0]} to 1 in {ONE_IN[-1]:,}, not {shown(value)}")
    return many


Whole = Annotated[int, Strict()]  # neither "15" nor 15.0 nor true
Text = Annotated[str, Strict(), AfterValidator(_one_line)]
Day = Annotated[date, BeforeValidator(_to_date)]
DayOfMonth = Annotated[Day, AfterValidator(_in_month)]


class _Section(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Days(_Section):
    required: Annotated[tuple[Weekday, ...], AfterValidator(_each_once)] = ("mon", "tue", "wed", "thu", "fri")
    no_school: frozenset[DayOfMonth] = frozenset()
    minimum_minutes: Annotated[Whole, Field(ge=1, le=600)] = 15
    week_starts: Literal["sun", "mon"] = "sun"


class Counting(_Section):
    most_per_day: Annotated[Whole, Field(ge=1, le=1440)] = 240
    counts_per_day: Annotated[Whole, Field(ge=0, le=1440)] = 0  # 0: no cap


class Expectation(_Section):
    required_days_allowed_short: Annotated[Whole, Field(ge=0, le=31)] = 0


class Prizes(_Section):
    """certificate: a design in `templates/certificates/`, or the path of a teacher's own."""

    top: Annotated[Whole, Field(ge=0)] = 5
    across: Literal["grade", "section"] = "grade"
    certificate: Text = "fanfare"


MentionKind = Literal["longest-streak", "every-weekday", "most-improved-week", "first-to-hand-in"]
MENTION_KINDS: tuple[MentionKind, ...] = get_args(MentionKind)


class Mention(_Section):
    """An honourable mention. title: what it is called; None for the usual name in its language."""

    kind: MentionKind
    title: Text | None = None


class HandIn(_Section):
    due: Day | None = None  # may lie outside the month
    late: Literal["accept", "flag"] = "accept"


class Grade(_Section):
    points: Annotated[float, Field(gt=0, le=100_000, allow_inf_nan=False, strict=True)] = 10.0
    rule: Literal["met", "share"] = "met"


class Reading(_Section):
    """silent_errors: of so many boxes taken without a person, one may be wrong."""

    silent_errors: Annotated[int, BeforeValidator(_to_one_in)] = 2000


def _in_double_brackets(given: object) -> object:
    if isinstance(given, list | tuple) and all(isinstance(each, Mapping | Mention) for each in given):
        return given
    raise ValueError("each mention is a section of its own that opens with [[mentions]], in double brackets")


def _each_kind_once(mentions: tuple[Mention, ...]) -> tuple[Mention, ...]:
    kinds = [mention.kind for mention in mentions]
    twice = [kind for kind in MENTION_KINDS if kinds.count(kind) > 1]
    if twice:
        raise ValueError(f"{' and '.join(twice)} stands there more than once")
    return mentions


class Challenge(_Section):
    """The whole plan; field for field as in the file. Build it with `load_challenge`.

    A title or a hand-in date that is not given follows from the month.
    """

    title: Text = ""
    month: Month
    design: Text = "minutes"
    paper: Literal["letter", "a4"] = "letter"
    language: Text = "en"
    days: Days = Days()
    counting: Counting = Counting()
    expectation: Expectation = Expectation()
    prizes: Prizes = Prizes()
    hand_in: HandIn = HandIn()
    grade: Grade = Grade()
    reading: Reading = Reading()
    mentions: Annotated[
        tuple[Mention, ...], BeforeValidator(_in_double_brackets), AfterValidator(_each_kind_once)
    ] = ()

    @model_validator(mode="before")
    @classmethod
    def _follow_from_the_month(cls, given: Any) -> Any:
        month = _month_in(given)
        if month is None:
            return given
        language = given.get("language")
        filled = {"title": default_title(month, language if isinstance(language, str) else "en"), **given}
        hand_in = given.get("hand_in", {})
        if isinstance(hand_in, Mapping):
            filled["hand_in"] = {"due": default_due(month), **hand_in}
        return filled

    @model_validator(mode="after")
    def _can_be_met(self) -> Self:
        if not self.required_dates():
            raise ValueError("days.required and days.no_school leave no required day in the month")
        if self.days.minimum_minutes > self.counting.most_per_day:
            raise ValueError(
                f"days.minimum_minutes is {self.days.minimum_minutes}, but counting.most_per_day calls more "
                f"than {self.counting.most_per_day} hardly possible"
            )
        return self

    def required_dates(self) -> tuple[date, ...]:
        """The days on which the minimum is expected, in order; at least one."""
        required = {WEEKDAYS.index(day) for day in self.days.required}
        return tuple(
            day for day in self.month.dates() if day.weekday() in required and day not in self.days.no_school
        )


def load_challenge(folder: Path) -> Challenge:
    """Read the challenge of a folder.

    Raises PlanError with everything that is wrong with the file, each by its dotted key.
    """
    path = folder / FILE_NAME
    if not path.is_file():
        what = f"{folder.resolve()} has no {FILE_NAME}" if folder.is_dir() else f"There is no folder {folder}"
        raise PlanError(
            f"{what}. Go to the challenge's folder or name it with --folder; to start a new one, run "
            "`daybox new FOLDER --month 2027-10` with your month."
        )
    return parse_challenge(path.read_bytes(), str(path))


def parse_challenge(data: bytes, where: str) -> Challenge:
    """Read a challenge from its file's bytes; `where` names the file in messages. Raises PlanError."""
    return make_challenge(parse_toml(data, where, PlanError), where)


def make_challenge(given: Mapping[str, object], where: str) -> Challenge:
    """Check a plan that is given key by key, as in the file. Raises PlanError."""
    try:
        return Challenge.model_validate(given, context=_month_in(given))
    except ValidationError as error:
        raise PlanError(
            f"{where} cannot be used: {'; '.join(problems(error, Challenge))}. Mend that and run the "
            "same command again."
        ) from error


def default_title(month: Month, language: str = "en") -> str:
    """What a challenge is called when nobody says: "October practice challenge"."""
    spoken = language.replace("_", "-").partition("-")[0].lower()  # es-MX is served by es
    if spoken not in _TITLES:
        spoken = "en"
    name = Locale(spoken).months["stand-alone"]["wide"][month.number]
    return _TITLES[spoken].format(month=name)


def default_due(month: Month) -> date:
    """The first weekday after the month's end."""
    day = month.dates()[-1] + timedelta(days=1)
    while day.weekday() >= WEEKDAYS.index("sat"):
        day += timedelta(days=1)
    return day


def _month_in(given: object) -> Month | None:
    """The month of an unchecked plan, if it can be told."""
    month = given.get("month") if isinstance(given, Mapping) else None
    if isinstance(month, str):
        try:
            return Month.parse(month)
        except ValueError:
            return None  # validation says so
    return month if isinstance(month, Month) else None
