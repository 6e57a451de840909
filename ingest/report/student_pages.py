"""A page for each student: the own month, its days, how the minutes grew. Nobody is compared with anybody."""

from collections.abc import Sequence
from datetime import date
from functools import partial
from itertools import pairwise

from babel.dates import format_date, format_skeleton

from ingest.chart.lettering import BOLD, typeset, width
from ingest.chart.pen import Pen, points
from ingest.paper import Box
from ingest.plan.challenge import Challenge
from ingest.report.fitting import fit
from ingest.report.pages import MARGIN, TOP, draw_pages, heading, landscape, small_print
from ingest.report.palette import BAR, INK, PAPER, QUIET, SHADES, STAR, shade
from ingest.report.plot import axis, dashed, hatched, month_cells, scale, star, weekday_names
from ingest.report.progress_words import counted, progress_words
from ingest.report.student_month import StudentMonth, goal

LEAST_STREAK = 2  # practice days; one is no streak


def draw_students(challenge: Challenge, months: Sequence[StudentMonth]) -> bytes:
    """The PDF, a page for each in that order."""
    drawer = _Drawer(challenge)
    pages = [partial(drawer.page, each) for each in months]
    return draw_pages(drawer.paper, drawer.title, drawer.locale, pages)


class _Drawer:
    def __init__(self, challenge: Challenge) -> None:
        self.challenge = challenge
        self.words, self.locale = progress_words(challenge.language)
        self.paper = landscape(challenge.paper)
        self.minimum = challenge.days.minimum_minutes
        self.required = set(challenge.required_dates())
        first = challenge.month.dates()[0]
        month = format_skeleton("yMMMM", first, locale=self.locale)
        self.title = self.words.own.format(month=month[:1].upper() + month[1:])

    def page(self, own: StudentMonth, pen: Pen) -> None:
        student = own.student
        heading(pen, self.paper, student.name, f"{self.title}  ·  {student.section}")
        right = self.paper.width - MARGIN
        bottom = self.paper.height - 17
        low = 52.0  # mm for the growing line
        grid = Box(MARGIN, TOP + 6, 0.56 * (right - MARGIN), bottom - low - 12 - TOP - 6)
        if not own.handed_in:  # room to color in
            grid = Box(grid.left, grid.top, grid.width, bottom - grid.top - 4)
        starts = self.challenge.days.week_starts
        weekday_names(pen, self.challenge.month, starts, grid, self.locale, 9)
        for day, cell in month_cells(self.challenge.month, starts, grid).items():
            self._day(pen, own, day, cell.grown(-0.4))
        facts = Box(grid.right + 9, TOP + 2, right - grid.right - 9, grid.bottom - TOP - 2)
        if own.handed_in:
            self._sign(pen, own, grid.left, grid.bottom + 4.6)
            self._facts(pen, own, facts)
            self._growth(pen, own, Box(MARGIN + 10, bottom - low + 5, right - MARGIN - 12, low - 11))
        else:
            self._not_in(pen, facts)
        small_print(pen, self.paper, self.words.cautions, self.words.sources)

    # -- the month ----------------------------------------------------------------------------------------

    def _day(self, pen: Pen, own: StudentMonth, day: date, cell: Box) -> None:
        said = own.days.get(day)
        x, y = cell.centre
        ink = INK
        if said is not None and said.minutes is None:
            hatched(pen, cell)
            pen.rounded(Box(cell.left + 0.4, cell.top + 0.4, 5.2, 4.2), 0, thick=0, fill=PAPER)
            pen.oval((x, y + 0.3), (3.2, 3.2), grey=1.0)
            if day in self.challenge.days.no_school:
                pen.rounded(
                    Box(cell.left + 0.4, cell.bottom - 3.6, cell.width - 0.8, 3.2), 0, thick=0, fill=PAPER
                )
            pen.text((x, y + 2.2), "?", 14, bold=True, grey=INK, align="centre")
        else:
            colors = shade(said.minutes or 0, self.minimum) if said else SHADES[0]
            ink = colors.ink
            pen.rounded(cell, 1.0, thick=0.25, grey=QUIET, fill=colors.fill)
            if said and not said.blank:
                size = min(17.0, 0.95 * cell.height)
                text = str(said.minutes)
                pen.text((x, y + 2.4), text, size, bold=True, grey=ink, align="centre", room=cell.width - 3)
        pen.text((cell.left + 1.1, cell.top + 3.6), str(day.day), 8, grey=ink)
        if day in self.challenge.days.no_school:
            words = self.words.no_school
            pen.text((x, cell.bottom - 1.2), words, 6.5, grey=ink, align="centre", room=cell.width - 1.5)
        if said and said.minutes is not None and day in self.required and said.minutes >= self.minimum:
            star(pen, (cell.right - 2.9, cell.top + 2.9), 1.9, fill=STAR)

    def _sign(self, pen: Pen, own: StudentMonth, x: float, y: float) -> None:
        star(pen, (x + 1.8, y - 1.1), 1.8, fill=STAR)
        text = self.words.star_sign.format(minimum=self.minimum)
        x += 5 + pen.text((x + 5, y), text, 8, grey=INK, room=70)
        if own.open_days:
            pen.text((x + 6, y), f"?  {self.words.unknown}", 8, bold=True, grey=INK, room=50)

    # -- what it comes to ---------------------------------------------------------------------------------

    def _facts(self, pen: Pen, own: StudentMonth, area: Box) -> None:
        tally = own.tally
        lines = [
            (
                f"{tally.days_met} / {tally.required_days}",
                self._so_far(self.words.days_met.format(minimum=self.minimum), tally.days_met_range.settled),
            ),
            (str(own.practiced), self._so_far(self.words.practiced[own.practiced != 1], own.settled)),
        ]
        if tally.longest_streak >= LEAST_STREAK:
            words = self._so_far(self.words.streak, tally.streak_range.settled)
            lines.append((str(tally.longest_streak), words))
        most, days = own.best()
        if most:
            day = format_date(days[0], "EEEE d", locale=self.locale)
            if len(days) > 1:
                day = self.words.best_more[len(days) != 2].format(day=day, count=len(days) - 1)
            words = self._so_far(self.words.best.format(day=day), own.settled)
            lines.append((self.words.minutes.format(minutes=most), words))
        total = self.words.minutes.format(minutes=tally.total_minutes)
        lines.append((total, self._so_far(self.words.total, tally.total_range.settled)))
        step = min(15.0, (area.height - 17) / len(lines))
        wide = max(width(typeset(figure, BOLD)) for figure, _ in lines) * points(19) + 4
        wide = min(wide, 0.5 * area.width)
        y = area.top
        for figure, text in lines:
            middle = y + step / 2
            pen.text((area.left, middle + 2.3), figure, 19, bold=True, grey=BAR, room=wide - 3)
            said = fit(text, area.width - wide, step - 1, most=11, least=8, even=False)
            pitch = said.height / len(said.lines)
            for number, line in enumerate(said.lines):
                base = middle + 1.4 + (number - (len(said.lines) - 1) / 2) * pitch
                pen.text((area.left + wide, base), line, said.size, grey=INK, room=area.width - wide)
            y += step
            pen.line((area.left, y - 0.6), (area.right, y - 0.6), thick=0.15, grey=0.75)
        closing = {True: self.words.met, None: self.words.undecided, False: self.words.cheer}[tally.met]
        if own.open_days:
            closing += f" {counted(self.words.days_open, own.open_days)}."
        if tally.open_pages:
            closing += f" {self.words.waits}"
        said = fit(closing, area.width, area.bottom - y, most=12, least=8, bold=True, even=False)
        pitch = said.height / len(said.lines)
        for number, line in enumerate(said.lines):
            pen.text(
                (area.left, y + 5 + number * pitch), line, said.size, bold=True, grey=INK, room=area.width
            )

    def _so_far(self, words: str, settled: bool) -> str:
        return words if settled else f"{words} ({self.words.so_far})"

    def _not_in(self, pen: Pen, area: Box) -> None:
        y = area.top + 10
        title = fit(self.words.not_in_heading, area.width, 20, most=18, least=11, bold=True, even=False)
        for line in title.lines:
            pen.text((area.left, y), line, title.size, bold=True, grey=BAR, room=area.width)
            y += title.height / len(title.lines)
        text = fit(self.words.not_in, area.width, area.height - 30, most=13, least=9, even=False)
        y += 4
        for line in text.lines:
            pen.text((area.left, y), line, text.size, grey=INK, room=area.width)
            y += text.height / len(text.lines)

    # -- how the minutes grew -----------------------------------------------------------------------------

    def _growth(self, pen: Pen, own: StudentMonth, area: Box) -> None:
        dates = self.challenge.month.dates()
        running = own.running()
        aim = goal(self.challenge)
        by = scale(max(aim * 1.05, running[-1]), 4)
        step = area.width / len(dates)
        pen.text((MARGIN, area.top - 3), self.words.running, 11, bold=True, grey=INK)
        said = self.words.path.format(minimum=self.minimum)
        used = pen.text((area.right, area.top - 3), said, 8.5, grey=QUIET, align="right")
        x = area.right - used - 2
        pen.line((x - 7, area.top - 4), (x, area.top - 4), thick=0.25, grey=QUIET)
        axis(pen, area, by)
        line = [(area.left, area.bottom)]
        line += [(area.left + (place + 1) * step, by.up(sum_, area)) for place, sum_ in enumerate(running)]
        pen.polygon([*line, (area.right, area.bottom)], thick=0, fill=SHADES[1].fill)
        for tick in by.ticks[1:]:
            y = by.up(tick, area)
            pen.line((area.left, y), (area.right, y), thick=0.1, grey=0.75)
        path, minutes = [(area.left, area.bottom)], 0
        for place, day in enumerate(dates):
            minutes += self.minimum if day in self.required else 0
            path.append((area.left + (place + 1) * step, by.up(minutes, area)))
        for start, end in pairwise(path):
            pen.line(start, end, thick=0.25, grey=QUIET)
        for start, end in pairwise(line):
            pen.line(start, end, thick=0.9, grey=BAR)
        dashed(pen, (area.left, by.up(aim, area)), (area.right, by.up(aim, area)))
        words = self.words.goal.format(goal=aim, required=len(self.required), minimum=self.minimum)
        pen.text((area.left + 2, by.up(aim, area) - 1.2), words, 9, bold=True, grey=INK)
        for place, day in enumerate(dates):
            middle = area.left + (place + 0.5) * step
            pen.text((middle, area.bottom + 3.6), str(day.day), 7.5, grey=QUIET, align="centre", room=step)
            if own.days[day].minutes is None:
                y = by.up(running[place], area)
                pen.oval((middle, y - 2.6), (1.7, 1.7), grey=1.0)
                pen.oval((middle, y - 2.6), (1.7, 1.7), thick=0.2, grey=INK)
                pen.text((middle, y - 1.6), "?", 8, bold=True, grey=INK, align="centre")
        end = line[-1]
        pen.oval(end, (1.1, 1.1), grey=BAR)
