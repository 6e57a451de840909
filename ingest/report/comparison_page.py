"""Months beside each other as a picture: the middle chart, the share that met the challenge, hours."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from babel.dates import format_skeleton

from ingest.chart.pen import Pen
from ingest.paper import Box
from ingest.report.class_figures import ClassFigures, GroupFigures
from ingest.report.comparison import group_of, matching
from ingest.report.fitting import fit, set_lines
from ingest.report.pages import body, draw_pages, heading, landscape, small_print
from ingest.report.palette import INK, QUIET
from ingest.report.plot import Scale, axis, bar, hatched, scale
from ingest.report.progress_words import progress_words

ROWS_ON_A_PAGE = 4


@dataclass(frozen=True, slots=True)
class Value:
    """A bar.

    sure: None if nothing is known. open: so much may yet be added. more: it may yet change, nobody knows how.
    """

    sure: float | None
    open: float = 0.0
    more: bool = False


def median_of(group: GroupFigures) -> Value:
    return Value(group.median_minutes, more=group.unsettled > 0)


def share_of(group: GroupFigures) -> Value:
    """Of 100 who handed in."""
    if not group.handed_in:
        return Value(None)
    return Value(100 * group.met / group.handed_in, 100 * group.met_open / group.handed_in)


def hours_of(group: GroupFigures) -> Value:
    return Value(group.total_minutes / 60 if group.handed_in else None, more=group.unsettled > 0)


def draw_comparison(months: Sequence[ClassFigures], paper: str, language: str) -> tuple[bytes, int]:
    """The PDF, and how many pages it has. paper, language: as in the plan."""
    drawer = _Drawer(months, paper, language)
    rows = ["", *matching(months)]
    pages = [
        partial(drawer.page, rows[start : start + ROWS_ON_A_PAGE])
        for start in range(0, len(rows), ROWS_ON_A_PAGE)
    ]
    return draw_pages(drawer.paper, drawer.words.compared, drawer.locale, pages), len(pages)


class _Drawer:
    def __init__(self, months: Sequence[ClassFigures], paper: str, language: str) -> None:
        self.months = months
        self.words, self.locale = progress_words(language)
        self.paper = landscape(paper)
        dates = [each.month.dates()[0] for each in months]
        self.twice = len(set(dates)) < len(dates)
        self.names = [
            (
                format_skeleton("MMM", day, locale=self.locale),
                str(day.year),
                each.title if self.twice else "",
            )
            for day, each in zip(dates, months, strict=True)
        ]

    def page(self, rows: Sequence[str], pen: Pen) -> None:
        area = body(self.paper)
        heading(pen, self.paper, self.words.compared, self.words.compared_lead)
        label, gap = 34.0, 11.0
        wide = (area.width - label - 3 * gap) / 3
        high = min(52.0, (area.height - 6) / len(rows))
        columns: list[tuple[str, Callable[[GroupFigures], Value]]] = [
            (self.words.median, median_of),
            (self.words.share_met, share_of),
            (self.words.hours, hours_of),
        ]
        for column, (title, value_of) in enumerate(columns):
            left = area.left + label + gap + column * (wide + gap)
            pen.text((left, area.top + 2), title, 10, bold=True, grey=INK, room=wide)
            for row, section in enumerate(rows):
                plot = Box(left, area.top + 8 + row * high, wide, high - (22 if self.twice else 16))
                self._plot(pen, plot, section, value_of, hundred=value_of is share_of)
        for row, section in enumerate(rows):
            name = fit(section or self.words.all_together, label, 16, most=13, least=8, bold=True, even=False)
            y = area.top + 13 + row * high
            for line in name.lines:
                pen.text((area.left, y), line, name.size, bold=True, grey=INK, room=label)
                y += name.height / len(name.lines)
        small_print(pen, self.paper, self.words.compared_note, self.words.cautions, self.words.sources)

    def _plot(
        self,
        pen: Pen,
        area: Box,
        section: str,
        value_of: Callable[[GroupFigures], Value],
        *,
        hundred: bool,
    ) -> None:
        groups = [group_of(month, section) for month in self.months]
        values = [value_of(group) if group else None for group in groups]
        by = Scale(100, 50) if hundred else scale(self._most(value_of, section), 3)
        axis(pen, area, by)
        step = area.width / max(len(values), 3)
        for place, (value, name) in enumerate(zip(values, self.names, strict=True)):
            left, middle = area.left + (place + 0.15) * step, area.left + (place + 0.5) * step
            for number, (line, size) in enumerate(zip(name[:2], (8.0, 7.0), strict=True)):
                below = (middle, area.bottom + 3.6 + 3.1 * number)
                pen.text(below, line, size, grey=QUIET, align="centre", room=0.98 * step)
            if title := name[2]:
                below_both = Box(middle - 0.48 * step, area.bottom + 7.4, 0.96 * step, 6)
                set_lines(pen, fit(title, 0.96 * step, 6, most=6.5, least=4.5), below_both, grey=QUIET)
            if value is not None:
                self._bar(pen, area, by, left, 0.7 * step, value)

    def _bar(self, pen: Pen, area: Box, by: Scale, left: float, wide: float, value: Value) -> None:
        middle = left + wide / 2
        if value.sure is None:
            hatched(pen, Box(left, area.bottom - 5, wide, 5))
            pen.text((middle, area.bottom - 6), "?", 9, bold=True, grey=INK, align="centre")
            return
        bar(pen, area, by, left, wide, value.sure, pale=False)
        text = f"{value.sure:.0f}"
        top = value.sure
        if value.open:
            top += value.open
            low, high = by.up(value.sure, area), by.up(top, area)
            hatched(pen, Box(left, high, wide, low - high))
            text = f"{value.sure:.0f}–{top:.0f}"
        if value.more:
            text += " ?"
        above = (middle, by.up(top, area) - 0.9)
        pen.text(above, text, 8.5, bold=True, grey=INK, align="centre", room=wide / 0.72)

    def _most(self, value_of: Callable[[GroupFigures], Value], section: str) -> float:
        """Of all months; for medians of all rows, so that sections may be seen side by side."""
        sections = [section] if value_of is hours_of else ["", *matching(self.months)]
        groups = [group_of(month, each) for month in self.months for each in sections]
        values = [value_of(group) for group in groups if group]
        return max((value.sure or 0 for value in values), default=1)
