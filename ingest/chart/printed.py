"""Whether the plan is still the one that the charts out there were printed by."""

from collections.abc import Iterable, Iterator
from datetime import date

from ingest.chart.layout import Layout
from ingest.errors import PlanError
from ingest.plan.challenge import FILE_NAME, Challenge


def refuse_another_plan(printed: Iterable[Layout], challenge: Challenge) -> None:
    """Refuse a plan whose month or weeks are not those of the charts that were printed.

    Paper, design and all rules may change, for each chart is read by the layout that it was printed with. But
    the days, and the days that a week's total adds up, are taken from the plan alone.
    printed: every layout that the ledger keeps. Raises PlanError.
    """
    layouts = tuple(printed)
    others = sorted({layout.challenge for layout in layouts} - {str(challenge.month)})
    if others:
        raise PlanError(
            f'{FILE_NAME} says month = "{challenge.month}", but charts in this folder were printed for '
            f"{' and '.join(others)}, and their days would be taken for others. One folder holds one month: "
            f'put month = "{others[-1]}" back, or start a new folder with '
            f"`daybox new FOLDER --month {challenge.month}`."
        )
    weeks = [set(week) for week in challenge.month.weeks(challenge.days.week_starts)]
    if not all(any(row <= week for week in weeks) for layout in layouts for row in _rows(layout)):
        now = challenge.days.week_starts
        before = "mon" if now == "sun" else "sun"
        raise PlanError(
            f'{FILE_NAME} says week_starts = "{now}", but charts in this folder were printed with '
            f'"{before}", and the weeks\' totals would be held against the wrong days. Put '
            f'week_starts = "{before}" back, or start a new folder with '
            f"`daybox new FOLDER --month {challenge.month}`."
        )


def _rows(layout: Layout) -> Iterator[set[date]]:
    """The dates that stand beside each other on the chart, row by row."""
    rows: dict[float, set[date]] = {}
    for box in (*layout.boxes, *layout.outside):
        kind, _, day = box.name.partition(":")
        if kind in ("day", "outside"):
            rows.setdefault(box.area.top, set()).add(date.fromisoformat(day))
    yield from rows.values()
