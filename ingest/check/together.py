"""All boxes of a chart, given each other: its sums, and the hand that wrote it."""

from collections.abc import Mapping, Sequence
from typing import TypeAlias

from ingest.check.colored import adds_up
from ingest.check.echo import held_down
from ingest.check.evidence import certainty
from ingest.check.hand import by_habit, chances_of, habits, mixed
from ingest.check.sums import Candidates, Sums, Week, weigh
from ingest.check.usual import as_usual
from ingest.plan.challenge import Challenge

Rows: TypeAlias = Sequence[tuple[Sequence[str], str]]  # the names of a week's days, and of its total
Boxes: TypeAlias = Mapping[str, Candidates]


def rows_of(challenge: Challenge) -> Rows:
    """For each row of the chart the names of its days' boxes and of its total's."""
    month = set(challenge.month.dates())
    return [
        ([f"day:{day}" for day in row if day in month], f"week:{number}")
        for number, row in enumerate(challenge.month.weeks(challenge.days.week_starts), start=1)
    ]


def together(inks: Boxes, rows: Rows, challenge: Challenge, sure: float) -> tuple[Boxes, Boxes]:
    """The candidates of all boxes by name: before their sums are weighed, and given each other.

    inks: what each says by itself. A chart all of whose boxes are at least `sure` and that adds up, as most
    do, is left as it is: its sums could only make it surer still.
    """
    alone = as_usual(inks, challenge)
    comes_out = _comes_out(alone, rows)
    if comes_out and all(certainty(alone[name]) >= sure for name in _names(alone, rows)):
        return alone, alone
    views = [alone]
    if not comes_out:
        for habit in habits([inks[name] for name in _names(inks, rows)]):
            views.append(as_usual({name: by_habit(ink, habit) for name, ink in inks.items()}, challenge))
    weighed = [weigh(_sums(view, rows), challenge.counting.most_per_day) for view in views]
    chances = chances_of([each.evidence for each in weighed])
    given = [{**view, **_by_name(each.sums, rows, view)} for view, each in zip(views, weighed, strict=True)]
    return alone, held_down(_mixed(chances, given), _mixed(chances, views), rows)


def _mixed(chances: Sequence[float], views: Sequence[Boxes]) -> Boxes:
    if chances[0] == 1:
        return views[0]
    return {name: mixed(chances, [view[name] for view in views]) for name in views[0]}


def _comes_out(boxes: Boxes, rows: Rows) -> bool:
    """Whether all totals, as they are most probably read, are blank or right."""
    days = [name for names, _ in rows for name in names]
    totals = [(boxes[total][0], names) for names, total in (*rows, (days, "month")) if total in boxes]
    return all(
        adds_up(best.value, sum(_minutes(boxes[name]) for name in names), [boxes[name] for name in names])
        for best, names in totals
    )


def _minutes(box: Candidates) -> int:
    return box[0].value or 0


def _names(boxes: Boxes, rows: Rows) -> list[str]:
    """Of the boxes that take part in sums."""
    names = [name for days, total in rows for name in (*days, total)] + ["month"]
    return [name for name in names if name in boxes]


def _sums(boxes: Boxes, rows: Rows) -> Sums:
    weeks = [Week([boxes[day] for day in days], boxes.get(total, ())) for days, total in rows]
    return Sums(weeks, boxes.get("month", ()))


def _by_name(sums: Sums, rows: Rows, boxes: Boxes) -> dict[str, Candidates]:
    """The boxes that take part in sums. boxes: those that there are."""
    found: dict[str, Candidates] = {"month": sums.month}
    for (days, total), week in zip(rows, sums.weeks, strict=True):
        found |= {**dict(zip(days, week.days, strict=True)), total: week.total}
    return {name: box for name, box in found.items() if name in boxes}
