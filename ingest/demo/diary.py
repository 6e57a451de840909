"""What one child practised in a month, and what therefore stands on the chart.

Works from `charts.layout.json` alone, as any other program would. How often what happens is common
practice, no source: counts that a teacher would find likely.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from ingest.demo.fill import Entry, Mishap
from ingest.demo.hands import Hand
from ingest.demo.mess import TIDY, Mess, Oddity, decoration, odd_day, odd_total
from ingest.paper import Box


@dataclass(frozen=True, slots=True)
class Habits:
    """How a child practises and keeps the chart. Shares and chances are 0..1.

    usual: minutes on a usual day. weekdays, weekends: how often there is practice.
    nothing: what a day without practice gets: "", "0" or "-".
    odd: how often minutes are no multiple of five.
    units: how often a number gets "min" behind it; hours: how often an hour or more is written 1:15.
    adds: how often a week's total is filled in; adds_wrongly: how often such a total is wrong.
    mishaps: how often a box was corrected or smudged.
    unit: what stands behind a number with a unit. hour: what stands between hours and minutes.
    mess: what else happens.
    """

    usual: int
    weekdays: float
    weekends: float
    nothing: str
    odd: float
    units: float
    hours: float
    adds: float
    adds_wrongly: float
    mishaps: float
    unit: str = " min"
    hour: str = ":"
    mess: Mess = TIDY


def any_habits(rng: np.random.Generator) -> Habits:
    return Habits(
        usual=int(rng.choice([15, 20, 25, 30, 40], p=[0.25, 0.3, 0.2, 0.18, 0.07])),
        weekdays=float(
            rng.choice([1.0, rng.uniform(0.85, 0.98), rng.uniform(0.5, 0.85)], p=[0.45, 0.35, 0.2])
        ),
        weekends=float(rng.choice([0.0, rng.uniform(0.2, 0.8)], p=[0.3, 0.7])),
        nothing=str(rng.choice(["", "0", "-"], p=[0.45, 0.4, 0.15])),
        odd=float(rng.choice([0.02, 0.3], p=[0.8, 0.2])),
        units=float(rng.choice([0.0, 0.05, 0.9], p=[0.75, 0.2, 0.05])),
        hours=float(rng.choice([0.0, 0.7], p=[0.75, 0.25])),
        adds=float(rng.choice([1.0, 0.9, 0.0], p=[0.7, 0.15, 0.15])),
        adds_wrongly=float(rng.choice([0.0, 0.12], p=[0.7, 0.3])),
        mishaps=float(rng.choice([0.01, 0.04, 0.12], p=[0.6, 0.3, 0.1])),
    )


@dataclass(frozen=True, slots=True)
class Diary:
    """One child's chart, filled in.

    entries: by box, what is to be written. truth: by box of kind minutes or total, what stands there in
    the end as whole minutes; None where the box is blank. A badly added total is true to what stands there.
    no_number: boxes that hold something, but no number, or two. Truth is then what a person would answer.
    """

    entries: Mapping[str, Entry]
    truth: Mapping[str, int | None]
    no_number: frozenset[str] = frozenset()

    def minutes(self) -> dict[date, int]:
        """Minutes of every day; a blank day is 0."""
        return {
            date.fromisoformat(box.removeprefix("day:")): value or 0
            for box, value in self.truth.items()
            if box.startswith("day:")
        }


def areas_of(page: Mapping[str, Any]) -> dict[str, Box]:
    """Box name to writing space, from one page of `charts.layout.json`."""
    return {box["box"]: Box(box["x"], box["y"], box["w"], box["h"]) for box in page["boxes"]}


def value_of(text: str) -> int | None:
    """Whole minutes that a child means by such a text; None for nothing written.

    Raises ValueError for what `keep_diary` never writes.
    """
    if text == "":
        return None
    if text == "-":
        return 0
    if hours := re.fullmatch(r"(\d+)(?::| ?hr? ?)(\d\d)", text):
        return int(hours[1]) * 60 + int(hours[2])
    if hours := re.fullmatch(r"(\d+) ?hr?", text):
        return int(hours[1]) * 60
    return int(re.sub(r" ?(?:mins?|m|')$", "", text))


def keep_diary(areas: Mapping[str, Box], habits: Habits, hand: Hand, rng: np.random.Generator) -> Diary:
    """Practise for the month whose boxes are given, and fill the chart in."""
    days = {date.fromisoformat(name[4:]): name for name in areas if name.startswith("day:")}
    sick = _sick_days(sorted(days), rng)
    texts = {days[day]: "" if day in sick else _day_text(day, habits, hand, rng) for day in sorted(days)}
    entries = {name: _entry(text, habits, rng) for name, text in texts.items()}
    truth: dict[str, int | None] = {name: value_of(text) for name, text in texts.items()}
    no_number: set[str] = set()

    def put(name: str, odd: Oddity) -> None:
        entries[name], truth[name] = odd.entry, odd.truth
        if not odd.is_number:
            no_number.add(name)

    weeks = _weeks(areas, list(days.values()))
    if habits.mess is not TIDY:
        for names in weeks.values():
            for name, odd in _odd_week(names, truth, habits.mess, hand, rng).items():
                put(name, odd)
            for name in names:
                entries[name] = decoration(entries[name], habits.mess, rng)

    sums: list[int] = []
    for number, names in weeks.items():
        total = sum(truth[name] or 0 for name in names)
        written = _written_total(total, habits, rng)
        sums.append(total if written is None else written)
        if f"week:{number}" in areas:
            truth[f"week:{number}"] = written
        if f"initials:{number}" in areas and rng.random() < 0.9:
            entries[f"initials:{number}"] = Entry("", mark=True)
    if "month" in areas:
        truth["month"] = _written_total(sum(sums), habits, rng)
    for name in [name for name in truth if not name.startswith("day:")]:
        value = truth[name]
        entries[name] = _entry("" if value is None else str(value), habits, rng)
        if habits.mess is not TIDY and value and (odd_sum := odd_total(value, habits.mess, rng)):
            put(name, odd_sum)
    return Diary(entries, truth, frozenset(no_number))


def _odd_week(
    names: Sequence[str], truth: Mapping[str, int | None], mess: Mess, hand: Hand, rng: np.random.Generator
) -> dict[str, Oddity]:
    """The boxes of a week that do not hold what was practised."""
    if rng.random() < mess.lines:
        return {name: Oddity.line() for name in names}
    found = {name: odd_day(truth[name], mess, hand, rng) for name in names}
    return {name: odd for name, odd in found.items() if odd}


def _weeks(areas: Mapping[str, Box], days: Sequence[str]) -> dict[int, list[str]]:
    """Week number to its day boxes: those that stand on one line, from the top, counted from 1."""
    lines = sorted({round(areas[name].top, 1) for name in days})
    return {
        number: [name for name in days if round(areas[name].top, 1) == line]
        for number, line in enumerate(lines, start=1)
    }


def _sick_days(days: Sequence[date], rng: np.random.Generator) -> set[date]:
    if rng.random() < 0.8:
        return set()
    first = int(rng.integers(0, len(days) - 3))
    return set(days[first : first + int(rng.integers(2, 5))])


def _day_text(day: date, habits: Habits, hand: Hand, rng: np.random.Generator) -> str:
    weekend = day.weekday() >= 5
    if rng.random() >= (habits.weekends if weekend else habits.weekdays):
        if weekend and rng.random() < 0.6:
            return ""
        return habits.nothing
    minutes = habits.usual + 5 * int(rng.choice([0, 1, 2, 3, 6, -1], p=[0.5, 0.18, 0.12, 0.08, 0.05, 0.07]))
    if weekend and rng.random() < 0.15:
        minutes = int(rng.choice([60, 75, 90, 120]))
    if rng.random() < habits.odd:
        minutes += int(rng.integers(-4, 5))
    minutes = max(5, minutes)
    if minutes >= 60 and rng.random() < habits.hours and hand.can_write(":"):
        if minutes % 60 == 0 and hand.can_write("hr"):
            return f"{minutes // 60} hr"
        return f"{minutes // 60}{habits.hour}{minutes % 60:02}"
    if rng.random() < habits.units and hand.can_write(habits.unit):
        return f"{minutes}{habits.unit}"
    return str(minutes)


def _written_total(total: int, habits: Habits, rng: np.random.Generator) -> int | None:
    """What the child puts for a sum: nothing, the sum, or the slip of a carried digit."""
    if rng.random() >= habits.adds:
        return None
    if rng.random() < habits.adds_wrongly:
        return max(0, total + int(rng.choice([-10, 10, 5, -5, 1, 20, 100])))
    return total


def _entry(text: str, habits: Habits, rng: np.random.Generator) -> Entry:
    if rng.random() >= habits.mishaps or not text or not text.isdigit():
        return Entry(text)
    kinds = [Mishap.ERASED, Mishap.STRUCK, Mishap.SCRIBBLED, Mishap.SMUDGED]
    kind = kinds[int(rng.choice(4, p=[0.5, 0.2, 0.1, 0.2]))]
    earlier = "" if kind is Mishap.SMUDGED else str(rng.choice([10, 15, 20, 25, 30, 35, 45]))
    return Entry(text, kind, earlier)
