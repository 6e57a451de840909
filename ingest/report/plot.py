"""Small parts that pictures are put together from: scales, hatching, bars, a month's grid, stars."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from babel import Locale
from babel.dates import format_date

from ingest.chart.pen import Ink, Pen, Point
from ingest.paper import Box
from ingest.plan.month import Month
from ingest.report.palette import BAR, GRID, INK, PALE_BAR, QUIET

# Between two ticks: round, and such as minutes and hours are spoken of.
_STEPS = (1, 2, 5, 10, 15, 20, 30, 60, 120, 180, 300, 600, 1200, 1800, 3000, 6000, 12_000, 30_000, 60_000)
_HATCH = 1.3  # mm between two lines


@dataclass(frozen=True, slots=True)
class Scale:
    """Figures from 0 to `top`, and where each stands in a picture; ticks at every `step`."""

    top: float
    step: int

    def up(self, figure: float, area: Box) -> float:
        """The height of a figure in that area: its y, mm."""
        return area.bottom - area.height * figure / self.top

    @property
    def ticks(self) -> Sequence[int]:
        return range(0, math.floor(self.top) + 1, self.step)


def scale(most: float, parts: int = 4) -> Scale:
    """With at most so many ticks above 0, the topmost at least as high as `most`."""
    most = max(most, 1)
    step = next((step for step in _STEPS if step * parts >= most), math.ceil(most / parts))
    return Scale(float(step * math.ceil(most / step)), step)


def axis(pen: Pen, area: Box, by: Scale, size: float = 7.5) -> None:
    """Thin lines across at the ticks, their numbers to the left."""
    for tick in by.ticks:
        y = by.up(tick, area)
        pen.line((area.left, y), (area.right, y), thick=0.15 if tick else 0.35, grey=GRID if tick else INK)
        pen.text((area.left - 1.2, y + 0.9), str(tick), size, grey=QUIET, align="right")


def hatched(pen: Pen, box: Box) -> None:
    """What is not known yet: slanting lines in a frame."""
    offset = -box.height + _HATCH
    while offset < box.width:
        start, end = max(offset, 0.0), min(offset + box.height, box.width)
        pen.line(
            (box.left + start, box.bottom - (start - offset)),
            (box.left + end, box.bottom - (end - offset)),
            thick=0.15,
            grey=QUIET,
        )
        offset += _HATCH
    pen.rectangle(box, thick=0.2, grey=QUIET)


def bar(pen: Pen, area: Box, by: Scale, left: float, wide: float, figure: float, *, pale: bool) -> None:
    """From the ground of the area up to a figure; nothing for 0."""
    y = by.up(figure, area)
    if area.bottom - y > 0.05:
        box = Box(left, y, wide, area.bottom - y)
        pen.rounded(box, 0.0, thick=0.25, grey=BAR, fill=PALE_BAR if pale else BAR)


def dashed(pen: Pen, start: Point, end: Point, *, thick: float = 0.5, ink: Ink = INK) -> None:
    """A line in dashes of 2 mm."""
    long = math.dist(start, end)
    count = max(1, round(long / 3.2))
    for dash in range(count):
        a, b = dash / count, (dash + 0.62) / count
        pen.line(
            (start[0] + a * (end[0] - start[0]), start[1] + a * (end[1] - start[1])),
            (start[0] + b * (end[0] - start[0]), start[1] + b * (end[1] - start[1])),
            thick=thick,
            grey=ink,
        )


def star(pen: Pen, centre: Point, radius: float, *, fill: Ink | None, turn: float = 0.0) -> None:
    corners = []
    for corner in range(10):
        angle = math.radians(36 * corner - 90 + turn)
        reach = radius if corner % 2 == 0 else radius * 0.48
        corners.append((centre[0] + reach * math.cos(angle), centre[1] + reach * math.sin(angle)))
    pen.polygon(corners, thick=min(0.35, radius / 6), grey=INK, fill=fill)


def month_cells(month: Month, week_starts: str, area: Box) -> dict[date, Box]:
    """Where each day of the month stands in a grid that fills the area."""
    rows = month.weeks(week_starts)
    wide, high = area.width / 7, area.height / len(rows)
    return {
        day: Box(area.left + column * wide, area.top + row * high, wide, high)
        for row, week in enumerate(rows)
        for column, day in enumerate(week)
        if day in month
    }


def weekday_names(pen: Pen, month: Month, week_starts: str, area: Box, locale: Locale, size: float) -> None:
    """Above a grid that fills the area."""
    wide = area.width / 7
    for column, day in enumerate(month.weeks(week_starts)[1]):
        name = format_date(day, "ccc" if wide < 24 else "cccc", locale=locale)
        middle = area.left + (column + 0.5) * wide
        pen.text((middle, area.top - 1.5), name, size, grey=QUIET, align="centre", room=wide - 1)
