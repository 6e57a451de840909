"""Pictures of a class: its month as a calendar, minutes by section, and what totals there are. No names."""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from itertools import pairwise

from babel.dates import format_skeleton

from ingest.chart.lettering import BOLD, typeset, width
from ingest.chart.pen import Pen, points
from ingest.paper import Box, Paper
from ingest.plan.challenge import Challenge
from ingest.report.fitting import fit
from ingest.report.pages import (
    MARGIN,
    Page,
    body,
    draw_pages,
    heading,
    landscape,
    small_print,
)
from ingest.report.palette import INK, PAPER, QUIET, SHADES, shade, steps
from ingest.report.plot import Scale, axis, bar, dashed, hatched, month_cells, scale, weekday_names
from ingest.report.progress_words import counted, progress_words
from ingest.report.student_month import (
    StudentMonth,
    by_section,
    day_average,
    goal,
    open_on,
    week_averages,
)

SECTIONS_ON_A_PAGE = 5
_MOST_BARS = 20  # of the picture of totals
_UNITS_SEEN = 30  # up to so many charts in a bar, each is seen by itself


@dataclass(frozen=True, slots=True)
class Bin:
    """Totals from `low` up to but not including `high`. open: of those, whose total may yet be more."""

    low: int
    high: int
    count: int
    open: int


def bins(months: Sequence[StudentMonth], challenge: Challenge) -> tuple[Bin, ...]:
    """How many charts come to how many minutes, all bins of equal width, the goal in sight."""
    there = [each for each in months if each.handed_in]
    most = max((each.tally.total_minutes for each in there), default=0)
    wide = scale(max(most, goal(challenge)) + 1, _MOST_BARS).step
    all_ones = Counter(each.tally.total_minutes // wide for each in there)
    open_ones = Counter(each.tally.total_minutes // wide for each in there if not each.settled)
    last = max(most, goal(challenge)) // wide
    return tuple(
        Bin(place * wide, (place + 1) * wide, all_ones[place], open_ones[place]) for place in range(last + 1)
    )


def draw_class(challenge: Challenge, months: Sequence[StudentMonth]) -> tuple[bytes, Sequence[str]]:
    """The PDF, and a name for each of its pages: "calendar", "sections" (and "sections-2" ...), "totals"."""
    drawer = _Drawer(challenge, months)
    named = list(drawer.pages())
    title = f"{challenge.title}: {drawer.words.calendar}"
    pdf = draw_pages(drawer.paper, title, drawer.locale, [page for _, page in named])
    return pdf, [name for name, _ in named]


class _Drawer:
    def __init__(self, challenge: Challenge, months: Sequence[StudentMonth]) -> None:
        self.challenge = challenge
        self.months = months
        self.there = [each for each in months if each.handed_in]
        self.words, self.locale = progress_words(challenge.language)
        self.paper: Paper = landscape(challenge.paper)
        self.first = challenge.month.dates()[0]
        self.minimum = challenge.days.minimum_minutes

    def pages(self) -> Iterator[tuple[str, Page]]:
        yield "calendar", self.calendar
        sections = list(by_section(self.months).items())
        for number, start in enumerate(range(0, len(sections), SECTIONS_ON_A_PAGE), 1):
            name = "sections" if number == 1 else f"sections-{number}"
            yield name, partial(self.sections, sections[start : start + SECTIONS_ON_A_PAGE])
        yield "totals", self.totals

    # -- the month as a calendar --------------------------------------------------------------------------

    def calendar(self, pen: Pen) -> None:
        area = body(self.paper)
        self._heading(pen, self.words.calendar, self.words.calendar_lead)
        grid = Box(area.left, area.top + 6, area.width, area.height - 16)
        starts = self.challenge.days.week_starts
        weekday_names(pen, self.challenge.month, starts, grid, self.locale, 10)
        for day, cell in month_cells(self.challenge.month, starts, grid).items():
            self._day(pen, day, cell.grown(-0.5))
        self._legend(pen, grid.bottom + 3.5)
        self._foot(pen)

    def _day(self, pen: Pen, day: date, cell: Box) -> None:
        average, unknown = day_average(self.there, day), open_on(self.there, day)
        ink = INK if average is None else self._known_day(pen, day, cell, average, unknown)
        if average is None:
            # Words stand on plain paper.
            pen.rectangle(cell, thick=0.2, grey=QUIET)
            hatched(pen, Box(cell.left, cell.top + 5.8, cell.width, cell.height - 5.8))
            pen.oval(cell.centre, (6, 3.6), grey=PAPER)
            x, y = cell.centre
            pen.text((x, y + 1.8), f"? {unknown}", 14, bold=True, grey=INK, align="centre")
        elif unknown:
            below = 4.0 if day in self.challenge.days.no_school else 0.0
            place = (cell.right - 1.5, cell.top + 4.6 + below)
            pen.text(place, f"? {unknown}", 9, bold=True, grey=ink, align="right")
        pen.text((cell.left + 1.5, cell.top + 4.6), str(day.day), 10, bold=True, grey=ink)
        if day in self.challenge.days.no_school:
            room, place = cell.width - 10, (cell.right - 1.5, cell.top + 4.4)
            pen.text(place, self.words.no_school, 8, grey=ink, align="right", room=room)

    def _known_day(self, pen: Pen, day: date, cell: Box, average: float, unknown: int) -> str:
        """Returns what is to be written with on it."""
        colors = shade(_rounded(average), self.minimum)
        pen.rounded(cell, 1.2, thick=0.2, grey=QUIET, fill=colors.fill)
        x, y = cell.centre
        room, size = cell.width - 2, min(19.0, cell.height * 0.85)
        text = self.words.minutes.format(minutes=_rounded(average))
        pen.text((x, y + 2.2), text, size, bold=True, grey=colors.ink, align="centre", room=room)
        practiced = sum(bool(each.days[day].minutes) for each in self.there)
        text = self.words.practiced_of.format(count=practiced, all=len(self.there) - unknown)
        pen.text((x, cell.bottom - 1.8), text, 7.5, grey=colors.ink, align="centre", room=room)
        return colors.ink

    def _legend(self, pen: Pen, y: float) -> None:
        low = steps(self.minimum)
        words = [self.words.none]
        words += [self.words.minutes_between.format(low=start, high=end - 1) for start, end in pairwise(low)]
        words.append(self.words.minutes_from.format(low=low[-1]))
        wide = (self.paper.width - 2 * MARGIN) / (len(words) + 1)
        x = MARGIN
        for colors, text in zip(SHADES, words, strict=True):
            pen.rounded(Box(x, y, 6, 4), 0.8, thick=0.2, grey=QUIET, fill=colors.fill)
            pen.text((x + 7.5, y + 3.1), text, 8.5, grey=INK, room=wide - 9)
            x += wide
        pen.text((x + 1, y + 3.3), "?", 11, bold=True, grey=INK)
        pen.text((x + 5, y + 3.1), self.words.unknown, 8.5, grey=INK, room=wide - 6)

    # -- minutes by section -------------------------------------------------------------------------------

    def sections(self, some: Sequence[tuple[str, Sequence[StudentMonth]]], pen: Pen) -> None:
        area = body(self.paper)
        lead = self.words.by_section_lead.format(minimum=self.minimum)
        self._heading(pen, self.words.by_section, lead)
        everything = [members for _, members in by_section(self.months).items()]
        days = [
            average
            for members in everything
            for day in self.challenge.month.dates()
            if (average := day_average(members, day)) is not None
        ]
        weeks = [
            week
            for members in everything
            for week in week_averages(members, self.challenge)
            if week is not None
        ]
        # One scale for all sections, so that a bar means the same wherever it stands.
        by_day = scale(max([self.minimum * 1.2, *days]), 3)
        by_week = scale(max([self.minimum * 5.0, *weeks]), 3)
        label = 34.0
        wide = area.width - label - 22
        left = area.left + label + 8
        day_wide, week_wide = wide * 0.66, wide * 0.34
        pen.text((left, area.top + 2), self.words.a_day, 10, bold=True, grey=INK)
        week_left = left + day_wide + 14
        pen.text((week_left, area.top + 2), self.words.a_week, 10, bold=True, grey=INK)
        row_high = min(52.0, (area.height - 4) / len(some))
        for row, (section, members) in enumerate(some):
            top = area.top + 5 + row * row_high
            there = [each for each in members if each.handed_in]
            name = fit(section, label, 14, most=13, least=8, bold=True, even=False)
            y = top + 6
            for line in name.lines:
                pen.text((area.left, y), line, name.size, bold=True, grey=INK, room=label)
                y += name.height / len(name.lines)
            below = self.words.charts_in.format(count=len(there), all=len(members))
            for line in fit(below, label, 10, most=8, least=7, even=False).lines:
                pen.text((area.left, y), line, 8, grey=QUIET, room=label)
                y += 3.5
            high = row_high - 10
            day_area = Box(left, top + 2, day_wide, high)
            week_area = Box(week_left, top + 2, week_wide, high)
            if not there:
                pen.text((left, day_area.centre[1]), self.words.nothing_in, 10, grey=QUIET)
                continue
            axis(pen, day_area, by_day)
            axis(pen, week_area, by_week)
            self._days(pen, there, day_area, by_day)
            self._weeks(pen, there, week_area, by_week)
        self._foot(pen)

    def _days(self, pen: Pen, there: Sequence[StudentMonth], area: Box, by: Scale) -> None:
        dates = self.challenge.month.dates()
        required = set(self.challenge.required_dates())
        step = area.width / len(dates)
        for place, day in enumerate(dates):
            left = area.left + place * step
            average, unknown = day_average(there, day), open_on(there, day)
            if average is None:
                hatched(pen, Box(left + 0.12 * step, area.bottom - 4, 0.76 * step, 4))
            else:
                bar(pen, area, by, left + 0.12 * step, 0.76 * step, average, pale=day not in required)
            if unknown:
                top = by.up(average, area) if average is not None else area.bottom - 4
                middle = left + step / 2
                pen.text((middle, top - 0.7), "?", 7, bold=True, grey=INK, align="centre")
            if day.day == 1 or day.day % 5 == 0:
                middle = left + step / 2
                pen.text((middle, area.bottom + 3.4), str(day.day), 7.5, grey=QUIET, align="centre")
        y = by.up(self.minimum, area)
        dashed(pen, (area.left, y), (area.right, y), thick=0.35)

    def _weeks(self, pen: Pen, there: Sequence[StudentMonth], area: Box, by: Scale) -> None:
        rows = self.challenge.month.weeks(self.challenge.days.week_starts)
        step = area.width / len(rows)
        for place, (row, average) in enumerate(zip(rows, week_averages(there, self.challenge), strict=True)):
            days = [day for day in row if day in self.challenge.month]
            left, middle = area.left + (place + 0.15) * step, area.left + (place + 0.5) * step
            unknown = sum(open_on(there, day) for day in days)
            if average is None:
                hatched(pen, Box(left, area.bottom - 4, 0.7 * step, 4))
            else:
                bar(pen, area, by, left, 0.7 * step, average, pale=False)
                text = f"{_rounded(average)}{' ?' if unknown else ''}"
                y = by.up(average, area) - 0.8
                pen.text((middle, y), text, 8, bold=True, grey=INK, align="centre", room=step)
            span = str(days[0].day) if len(days) == 1 else f"{days[0].day}–{days[-1].day}"
            pen.text((middle, area.bottom + 3.4), span, 7.5, grey=QUIET, align="centre", room=step)

    # -- totals -------------------------------------------------------------------------------------------

    def totals(self, pen: Pen) -> None:
        self._heading(pen, self.words.totals, self.words.totals_lead)
        whole = body(self.paper)
        area = Box(whole.left + 10, whole.top + 10, whole.width - 12, whole.height - 28)
        found = bins(self.months, self.challenge)
        by = scale(max(each.count for each in found), 5)
        pen.text((whole.left, area.top - 4), self.words.charts, 10, bold=True, grey=INK)
        axis(pen, area, by, 9)
        step = area.width / len(found)
        few = max(each.count for each in found) <= _UNITS_SEEN
        for place, each in enumerate(found):
            left, wide = area.left + (place + 0.06) * step, 0.88 * step
            settled = each.count - each.open
            bar(pen, area, by, left, wide, settled, pale=False)
            if each.open:
                top, bottom = by.up(each.count, area), by.up(settled, area)
                hatched(pen, Box(left, top, wide, bottom - top))
            for unit in range(1, settled) if few else ():
                y = by.up(unit, area)
                pen.line((left, y), (left + wide, y), thick=0.35, grey=PAPER)
            pen.text(
                (area.left + place * step, area.bottom + 4.5), str(each.low), 9, grey=QUIET, align="centre"
            )
        pen.text((area.right, area.bottom + 4.5), str(found[-1].high), 9, grey=QUIET, align="centre")
        pen.text(
            (area.right, area.bottom + 10), self.words.total_axis, 10, bold=True, grey=INK, align="right"
        )
        self._goal_line(pen, area, found[-1].high)
        for place, each in enumerate(found):
            if each.count:  # over the line of the goal, on plain paper
                text, at = str(each.count), (area.left + (place + 0.5) * step, by.up(each.count, area) - 1.2)
                half = points(10) * width(typeset(text, BOLD)) / 2 + 0.4
                pen.rounded(Box(at[0] - half, at[1] - 3, 2 * half, 3.6), 0, thick=0, fill=PAPER)
                pen.text(at, text, 10, bold=True, grey=INK, align="centre", room=0.88 * step)
        if any(each.open for each in found):
            hatched(pen, Box(area.left, area.bottom + 7.2, 6, 3.6))
            pen.text((area.left + 8, area.bottom + 10), self.words.at_least, 9, grey=INK, room=130)
        self._foot(pen)

    def _goal_line(self, pen: Pen, area: Box, most: int) -> None:
        aim = goal(self.challenge)
        x = area.left + area.width * aim / most
        dashed(pen, (x, area.top - 3), (x, area.bottom), thick=0.6)
        required = len(self.challenge.required_dates())
        text = self.words.goal.format(goal=aim, required=required, minimum=self.minimum)
        if x < self.paper.width / 2:
            pen.text((x + 1.5, area.top - 4), text, 10, bold=True, grey=INK, room=area.right - x)
        else:
            room = x - area.left - 15
            pen.text((x - 1.5, area.top - 4), text, 10, bold=True, grey=INK, align="right", room=room)

    # -- around -------------------------------------------------------------------------------------------

    def _heading(self, pen: Pen, title: str, lead: str) -> None:
        month = format_skeleton("yMMMM", self.first, locale=self.locale)
        heading(pen, self.paper, f"{title}: {month}", lead)
        right = self.paper.width - MARGIN
        pen.text((right, 10), self.challenge.title, 9, grey=QUIET, align="right", room=right - MARGIN)

    def _foot(self, pen: Pen) -> None:
        status = self.words.charts_in.format(count=len(self.there), all=len(self.months))
        if unknown := sum(each.open_days for each in self.there):
            status += f" {counted(self.words.open_note, unknown)}"
        small_print(pen, self.paper, status, self.words.cautions, self.words.sources)


def _rounded(average: float) -> int:
    """To whole minutes, halves up; what is a little is never shown as nothing."""
    return max(1, math.floor(average + 0.5)) if average > 0 else 0
