"""A poster for the wall: what all came to together, without anybody's own minutes, and nobody left out."""

import math
import unicodedata
from collections.abc import Sequence
from functools import partial
from typing import Literal

from babel.dates import format_skeleton
from babel.numbers import format_decimal

from ingest.chart.pen import Pen, Point, points
from ingest.paper import Box, Paper
from ingest.plan.challenge import Challenge
from ingest.report.fitting import fit, set_lines
from ingest.report.pages import MARGIN, Page, draw_pages, small_print, upright
from ingest.report.palette import BAR, INK, QUIET, STAR
from ingest.report.plot import star
from ingest.report.progress_words import progress_words
from ingest.report.student_month import StudentMonth, day_average

Shown = Literal["names", "numbers"]

_NAME_HIGH, _NAME_WIDE = 9.5, 43.0  # mm for a name and its star
_FEW_NAMES = 5  # so many stand in one column
_LEAST_HOURS = 2  # below, together's minutes are said in minutes
_STEPS = 9  # of the tune: from below the lowest line to above the highest


def draw_poster(challenge: Challenge, months: Sequence[StudentMonth], shown: Shown) -> tuple[bytes, int]:
    """The PDF, upright, and how many pages it has: more than one only where there are many names.

    shown: "names" has everybody's first name, all alike and in the order of the alphabet, whatever they
        did; "numbers" has a star for each instead.
    """
    drawer = _Drawer(challenge, months)
    pages = drawer.pages(shown)
    return draw_pages(drawer.paper, challenge.title, drawer.locale, pages), len(pages)


class _Drawer:
    def __init__(self, challenge: Challenge, months: Sequence[StudentMonth]) -> None:
        self.challenge = challenge
        self.months = months
        self.there = [each for each in months if each.handed_in]
        self.words, self.locale = progress_words(challenge.language)
        self.paper: Paper = upright(challenge.paper)
        self.wide = self.paper.width - 2 * MARGIN
        names = (each.student.first_name for each in months)
        self.names = sorted(names, key=_alphabetical)

    def pages(self, shown: Shown) -> list[Page]:
        if shown == "numbers":
            return [self.first_page]
        columns = int(self.wide / _NAME_WIDE)
        area, more_area = self._rest(), Box(MARGIN, 34, self.wide, self.paper.height - 34 - 22)
        first, each = (columns * int(one.height / _NAME_HIGH) for one in (area, more_area))
        pages: list[Page] = [partial(self.first_page, names=self.names[:first])]
        for start in range(first, len(self.names), each):
            pages.append(partial(self.more_names, self.names[start : start + each], more_area))
        return pages

    def first_page(self, pen: Pen, names: Sequence[str] | None = None) -> None:
        middle = self.paper.width / 2
        month = format_skeleton("yMMMM", self.challenge.month.dates()[0], locale=self.locale)
        title = fit(self.challenge.title, self.wide, 16, most=26, least=14, bold=True)
        set_lines(pen, title, Box(MARGIN, 10, self.wide, 16), bold=True, grey=INK)
        pen.text((middle, 33), month, 13, grey=QUIET, align="centre")
        pen.text((middle, 46), self.words.together, 18, grey=INK, align="centre", room=self.wide)
        pen.text((middle, 68), self._sum(), 64, bold=True, grey=BAR, align="centre", room=self.wide)
        y = 79.0
        for line in self._lines():
            pen.text((middle, y), line, 13, grey=INK, align="centre", room=self.wide)
            y += 6.6
        self._tune(pen, Box(MARGIN + 3, 104, self.wide - 6, 20))
        pen.text((middle, 134), self.words.tune, 9.5, grey=QUIET, align="centre", room=self.wide)
        if names is None:
            self._stars(pen, self._rest())
        else:
            self._names(pen, names, self._rest())
        self._foot(pen)

    def more_names(self, names: Sequence[str], area: Box, pen: Pen) -> None:
        pen.text((self.paper.width / 2, 24), self.words.everybody, 22, bold=True, grey=INK, align="centre")
        self._names(pen, names, area)
        self._foot(pen)

    def _rest(self) -> Box:
        """Below figures and tune."""
        return Box(MARGIN, 142, self.wide, self.paper.height - 142 - 22)

    # -- what is on it ------------------------------------------------------------------------------------

    def _sum(self) -> str:
        """All minutes as far as they are known, in whole hours, cut down: it is never less than it says."""
        minutes = sum(each.tally.total_minutes for each in self.there)
        if minutes < _LEAST_HOURS * 60:
            return self.words.minutes_of.format(minutes=minutes)
        return self.words.hours_of.format(hours=format_decimal(minutes // 60, locale=self.locale))

    def _lines(self) -> list[str]:
        practiced = sum(each.practiced for each in self.there)
        lines = [self._said(self.words.days_count, practiced)]
        if met := sum(each.tally.met is True for each in self.there):
            lines.append(self._said(self.words.met_count, met))
        if unknown := sum(each.open_days for each in self.there):
            lines.append(self._said(self.words.may_grow, unknown))
        return lines

    def _said(self, words: tuple[str, str], count: int) -> str:
        return words[count != 1].format(count=format_decimal(count, locale=self.locale))

    def _tune(self, pen: Pen, area: Box) -> None:
        """A note for each day on five lines; a day of which nothing is known is a rest."""
        gap = area.height / 6
        lines = [area.centre[1] + place * gap for place in (-2, -1, 0, 1, 2)]
        for y in lines:
            pen.line((area.left, y), (area.right, y), thick=0.25, grey=QUIET)
        days = self.challenge.month.dates()
        averages = [day_average(self.there, day) for day in days]
        known = [average for average in averages if average is not None]
        least, most = min(known, default=0.0), max(known, default=0.0)
        step = area.width / (len(days) + 0.5)
        for place, average in enumerate(averages):
            x = area.left + (place + 0.75) * step
            if average is None:
                pen.rounded(Box(x - 1, lines[1], 2, gap / 2), 0, thick=0, fill=INK)
                continue
            pitch = round((_STEPS - 1) * (average - least) / (most - least)) if most > least else 0
            _note(pen, (x, lines[4] + gap / 2 - pitch * gap / 2), gap, up=pitch < _STEPS // 2)
        for start in range(0, len(days) + 1, len(days)):
            x = area.left if start == 0 else area.right
            pen.line((x, lines[0]), (x, lines[4]), thick=0.5, grey=INK)

    def _stars(self, pen: Pen, area: Box) -> None:
        """A star for each student on the roster, all alike."""
        count = len(self.names)
        columns = max(1, math.ceil(math.sqrt(count * area.width / area.height)))
        columns = max(columns, math.ceil(area.width / 34)) if count >= area.width / 34 else count
        rows = math.ceil(count / columns)
        step = min(area.width / columns, area.height / rows, 34.0)
        top = area.centre[1] - rows * step / 2
        for place in range(count):
            row, column = divmod(place, columns)
            in_row = min(columns, count - row * columns)
            x = area.centre[0] + (column - (in_row - 1) / 2) * min(step * 1.15, area.width / columns)
            turn = 12 * math.sin(2.4 * place)
            star(pen, (x, top + (row + 0.5) * step), 0.42 * step, fill=STAR, turn=turn)

    def _names(self, pen: Pen, names: Sequence[str], area: Box) -> None:
        columns = min(int(self.wide / _NAME_WIDE), math.ceil(len(names) / _FEW_NAMES))
        rows = math.ceil(len(names) / columns)
        wide, high = min(area.width / columns, 2 * _NAME_WIDE), min(area.height / rows, 16.0)
        area = Box(area.centre[0] - columns * wide / 2, area.top, columns * wide, area.height)
        size = 1.5 * high
        for place, name in enumerate(names):
            column, row = divmod(place, rows)
            x, y = area.left + column * wide, area.top + row * high
            star(pen, (x + 3, y + high / 2), 2.6, fill=STAR, turn=12 * math.sin(2.4 * place))
            said = fit(name, wide - 9, high - 0.5, most=size, least=7, bold=True, even=False)
            pitch = said.height / len(said.lines)
            base = y + high / 2 + 0.33 * points(said.size) - (len(said.lines) - 1) / 2 * pitch
            for number, line in enumerate(said.lines):
                pen.text(
                    (x + 7.5, base + number * pitch), line, said.size, bold=True, grey=INK, room=wide - 9
                )

    def _foot(self, pen: Pen) -> None:
        small_print(pen, self.paper, self.words.cautions, self.words.sources)


def _note(pen: Pen, head: Point, gap: float, *, up: bool) -> None:
    x, y = head
    pen.oval(head, (0.68 * gap, 0.48 * gap), turn=22, grey=BAR)
    side, reach = (0.6, -3.2) if up else (-0.6, 3.2)
    pen.line((x + side * gap, y), (x + side * gap, y + reach * gap), thick=0.35, grey=BAR)


def _alphabetical(name: str) -> tuple[str, str]:
    """Without regard to capitals and accents: Ángel stands beside Angela, not after Zoë."""
    apart = unicodedata.normalize("NFKD", name.casefold())
    return "".join(letter for letter in apart if not unicodedata.combining(letter)), name
