"""The printable PDF: one page a chart.

What all pages of a challenge share is drawn once, as a form XObject (ISO 32000-1, 8.10), and each page
adds the name, the QR code and the code in letters.
"""

import math
from collections.abc import Sequence
from io import BytesIO

from babel import Locale, UnknownLocaleError
from babel.dates import format_date, format_skeleton
from reportlab.pdfgen.canvas import Canvas

from ingest import __version__
from ingest.chart import decoration
from ingest.chart.charts import Chart
from ingest.chart.code import qr_payload
from ingest.chart.design import Design, Words
from ingest.chart.layout import ChartBox, Layout
from ingest.chart.lettering import BOLD, REGULAR, load_face, typeset, width, wrap
from ingest.chart.marks import qr_squares, tag_squares
from ingest.chart.pen import Pen, points
from ingest.errors import DesignError
from ingest.paper import POINTS_PER_MM, Box
from ingest.plan.challenge import Challenge

_COMMON = "common"
_EXAMPLE = 3  # filled circles that the legend shows
_TAG_CLEARANCE = 3.0  # mm; a tag needs a light margin of one of its cells, about 1.4 mm


def draw_charts(challenge: Challenge, design: Design, layout: Layout, charts: Sequence[Chart]) -> bytes:
    """The PDF, a page for each chart in that order.

    Raises DesignError if the design or the calendar lacks the challenge's language.
    """
    page = _Page(challenge, design, layout)
    file = BytesIO()
    size = (layout.paper.width * POINTS_PER_MM, layout.paper.height * POINTS_PER_MM)
    canvas = Canvas(
        file,
        pagesize=size,
        pageCompression=1,
        lang=challenge.language.replace("_", "-"),  # a language tag (RFC 5646)
        initialFontName=load_face(REGULAR).pdf_name,
    )
    canvas.setTitle(f"{challenge.title} ({page.month})")
    canvas.setAuthor("")
    canvas.setSubject("")
    canvas.setCreator(f"Daybox {__version__}")
    canvas.setViewerPreference("DisplayDocTitle", "true")
    canvas.beginForm(_COMMON, 0, 0, *size)
    page.draw_common(Pen(canvas, layout.paper))
    canvas.endForm()
    for chart in charts:
        canvas.doForm(_COMMON)
        canvas.saveState()  # programs that add to the page later count on points
        page.draw_own(Pen(canvas, layout.paper), chart)
        canvas.restoreState()
        canvas.showPage()
    canvas.save()
    return file.getvalue()


class _Page:
    """The parts of a page. Everything is placed from the layout, the tags and the grid's edges."""

    def __init__(self, challenge: Challenge, design: Design, layout: Layout) -> None:
        self.challenge = challenge
        self.design = design
        self.layout = layout
        self.words: Words = design.wording(challenge.language)
        try:
            self.locale = Locale.parse(challenge.language.replace("-", "_"))
        except (UnknownLocaleError, ValueError):
            raise DesignError(
                f'The calendar has no month and day names for the language "{challenge.language}". Set '
                'language in challenge.toml to a language tag such as "en", "es" or "pt-BR".'
            ) from None
        first = challenge.month.dates()[0]
        self.month = _capital(format_skeleton("yMMMM", first, locale=self.locale))
        self.required = frozenset(challenge.required_dates())
        grid = [*layout.boxes, *layout.outside]
        self.left = min(box.frame.left for box in grid)
        self.right = max(box.frame.right for box in grid)
        self.days = {
            box.name.partition(":")[2]: box for box in grid if box.name.startswith(("day:", "outside:"))
        }
        self.weeks = challenge.month.weeks(challenge.days.week_starts)
        # Where the first row's strip begins, and where the last row's frames end, mm.
        self.grid_top = design.sizes.header
        self.grid_bottom = max(box.frame.bottom for box in self.days.values())
        self.month_box = layout.box("month")

    # -- what all pages share -----------------------------------------------------------------------

    def draw_common(self, pen: Pen) -> None:
        for tag in self.layout.tags:
            pen.squares(tag_squares(tag))
        self._heading(pen)
        self._column_names(pen)
        for box in self.layout.boxes:
            pen.rectangle(box.frame, thick=self.design.lines.frame, grey=self.design.lines.frame_grey)
        self._circles(pen)
        self._day_strips(pen)
        self._margins(pen)
        self._footer(pen)

    def _heading(self, pen: Pen) -> None:
        top_left, top_middle = self.layout.tags[0].area, self.layout.tags[1].area
        left = top_left.right + _TAG_CLEARANCE
        room = top_middle.left - _TAG_CLEARANCE - left
        y = top_left.top
        pen.text((left, y + 7.5), self.challenge.title, 23, bold=True, room=room, hollow=0.25)
        pen.text((left, y + 14.8), self.month, 15, grey=0.2, room=room)
        usual = set(self.challenge.days.required) == {"mon", "tue", "wed", "thu", "fri"}
        rule = self._filled(self.words.rule if usual else self.words.rule_other_days)
        self._paragraphs(pen, [rule], Box(left, y + 17, room, 10), most=11, bold=True)
        self._line_to_write_on(pen, self._filled(self.words.practice_time), left, y + 33.5, room)
        name = self.layout.name
        pen.text((name.left, name.top - 1.8), self._filled(self.words.name), 8, grey=0.2)
        decoration.staff(pen, Box(name.left, name.bottom + 8, name.width, 10.5))

    def _column_names(self, pen: Pen) -> None:
        columns = [
            (self.days[day.isoformat()], _capital(format_date(day, "cccc", locale=self.locale)), 10.0)
            for day in self.weeks[0]
        ]
        heads = {"week:1": self.words.week_total, "initials:1": self.words.initials}
        columns += [
            (box, self._filled(heads[box.name]), 8.5) for box in self.layout.boxes if box.name in heads
        ]
        bottom = self.grid_top - 1.2
        for box, label, size in columns:
            while len(lines := wrap(label, box.area.width / points(size), BOLD)) > 2 and size > 5:
                size -= 0.5
            em = points(size)
            for above, line in enumerate(reversed(lines)):
                y = bottom - above * 1.15 * em
                pen.text((box.frame.centre[0], y), line, size, bold=True, align="centre")

    def _circles(self, pen: Pen) -> None:
        if style := self.design.circles:
            for box in self.layout.boxes:
                for circle in box.circles:
                    radii = (circle.radius, circle.radius)
                    pen.oval((circle.x, circle.y), radii, thick=style.line, grey=style.line_grey)

    def _day_strips(self, pen: Pen) -> None:
        """Number and hint above each day, far enough from all writing areas."""
        grey = self.design.lines.hint_grey
        for day in self.challenge.month.dates():
            box = self.days[day.isoformat()]
            no_school = day in self.challenge.days.no_school
            hint = self.words.extra_hint
            if no_school:
                hint = self.words.no_school
            elif day in self.required:
                hint = self.words.required_hint
            if box.circles:
                self._beside_circles(pen, box, str(day.day), self._filled(hint), no_school)
                continue
            frame = box.frame
            y = frame.top - 1.0
            used = pen.text((frame.left + 0.6, y), str(day.day), 10.5, bold=True)
            x = frame.left + used + 2.0
            pen.text(
                (x, y - 0.5),
                self._filled(hint),
                7.5,
                bold=no_school,
                grey=0.0 if no_school else grey,
                room=frame.right - 1 - x,
            )
        for box in self.layout.boxes:
            if box.name.startswith("week:"):
                week = self.words.week.format(**self._blanks(), number=box.name.partition(":")[2])
                y = box.frame.top - 1.5
                pen.text((box.frame.left + 0.8, y), week, 7.5, grey=grey, room=box.frame.width - 2)

    def _beside_circles(self, pen: Pen, box: ChartBox, number: str, hint: str, no_school: bool) -> None:
        """Number and hint in the column left of the circles, one word of the hint to a line."""
        left = box.frame.left + 1.1
        room = box.area.left - 0.2 - left
        pen.text((left, box.frame.top + 5.0), number, 13, bold=True, room=room)
        grey = 0.0 if no_school else self.design.lines.hint_grey
        for line, word in enumerate(hint.split()):
            y = box.frame.top + 8.6 + 2.6 * line
            pen.text((left, y), word, 7, bold=no_school, grey=grey, room=room)

    def _margins(self, pen: Pen) -> None:
        """Doodles between the tags of the left and the right edge."""
        tags = [tag.area for tag in self.layout.tags]
        for start, (above, below) in enumerate([(0, 7), (7, 6), (2, 3), (3, 4)]):
            top, bottom = tags[above].bottom + 2 * _TAG_CLEARANCE, tags[below].top - 2 * _TAG_CLEARANCE
            area = Box(tags[above].left + 1, top, tags[above].width - 2, bottom - top)
            decoration.doodles(pen, area, start)

    def _footer(self, pen: Pen) -> None:
        bottom_left, bottom_middle, bottom_right = (self.layout.tags[place].area for place in (6, 5, 4))
        month = self.month_box.frame
        label = (month.left + 0.3, month.top - 2.0)
        pen.text(label, self._filled(self.words.month_total), 9.5, bold=True, room=self.right - label[0])
        top = self.grid_bottom + 2.0
        bottom = bottom_left.top - 2.0
        plan = Box(self.left, top, 100, bottom - top)
        self._work_on(pen, plan)
        middle = plan.right + 6
        half = (month.left - 4 - middle - 5) / 2
        how_to = Box(middle, top, half, bottom - top)
        self._titled(pen, self.words.how_to_title, self.words.how_to, self._legend(pen, how_to))
        hand_in = list(self.words.hand_in)
        if self.challenge.hand_in.due:
            hand_in.append(self.words.hand_in_due)
        self._titled(pen, self.words.hand_in_title, hand_in, Box(middle + half + 5, top, half, bottom - top))
        beside = self.right - month.right
        if beside > 8:
            place = (month.right + beside / 2, month.centre[1])
            decoration.star(pen, place, min(5.0, beside / 2 - 1))
        left = bottom_left.right + _TAG_CLEARANCE
        below = Box(left, bottom_left.top + 1.5, bottom_middle.left - _TAG_CLEARANCE - left, 10)
        self._paragraphs(pen, [self._filled(self.words.cautions)], below, most=7, grey=0.2)
        left = bottom_middle.right + _TAG_CLEARANCE
        row = Box(left, bottom_right.top + 2, bottom_right.left - _TAG_CLEARANCE - left, 8)
        said = pen.text(
            (row.left, row.centre[1] + 1), self._filled(self.words.stars), 9, room=row.width * 0.5
        )
        decoration.stars(
            pen, Box(row.left + said + 4, row.top, row.width - said - 4, row.height), len(self.weeks)
        )

    def _legend(self, pen: Pen, area: Box) -> Box:
        """Filled circles and what they mean, at the foot of `area`; the part of it that is left."""
        style = self.design.circles
        if style is None or not self.words.legend:
            return area
        radius = 1.9
        y = area.bottom - radius - 0.2
        for place in range(_EXAMPLE):
            pen.oval((area.left + radius + place * 2.5 * radius, y), (radius, radius), grey=0.35)
        x = area.left + _EXAMPLE * 2.5 * radius + 0.8
        pen.text((x, y + 1.3), self._filled(self.words.legend), 10, bold=True, room=area.right - x)
        return Box(area.left, area.top, area.width, area.height - 2 * radius - 1.0)

    def _work_on(self, pen: Pen, area: Box) -> None:
        """A short line to write on for each week, in two columns."""
        pen.text(
            (area.left, area.top + 3.5), self._filled(self.words.work_on), 10, bold=True, room=area.width
        )
        rows = math.ceil(len(self.weeks) / 2)
        pitch = min((area.height - 4) / rows, 11)
        wide = (area.width - 5) / 2
        for place in range(len(self.weeks)):
            x = area.left + (place // rows) * (wide + 5)
            y = area.top + 3 + (place % rows + 1) * pitch
            week = self.words.week.format(**self._blanks(), number=place + 1)
            self._line_to_write_on(pen, week, x, y, wide, size=8)

    # -- what each page has for itself --------------------------------------------------------------

    def draw_own(self, pen: Pen, chart: Chart) -> None:
        layout = self.layout
        pen.squares(qr_squares(qr_payload(layout.challenge, chart.code), layout.qr))
        letters = layout.letters
        middle, line = letters.centre[0], letters.bottom - 1.2
        pen.text((middle, line), chart.code, 12, bold=True, room=letters.width, align="centre")
        name = layout.name
        section_y = name.bottom + 4.6
        section = self._filled(self.words.section)
        if chart.student is None:
            pen.rectangle(name.grown(0.8), thick=self.design.lines.frame, grey=self.design.lines.frame_grey)
            self._line_to_write_on(pen, section, name.left, section_y, name.width * 0.6, size=8)
            return
        self._name(pen, chart.student.name)
        said = pen.text((name.left, section_y), f"{section}  ", 8, grey=0.2)
        pen.text((name.left + said, section_y), chart.student.section, 10, room=name.width - said)

    def _name(self, pen: Pen, text: str) -> None:
        """As large as fits; a long one on two lines rather than very small."""
        area = self.layout.name
        ems = width(typeset(text, BOLD))
        if ems * points(11) <= area.width:
            pen.text((area.left, area.top + 7), text, 18, bold=True, room=area.width)
            return
        room = max(ems * 0.55, area.width / points(10.5))
        for place, line in enumerate(wrap(text, room, BOLD)[:2]):
            pen.text((area.left, area.top + 4 + 4.4 * place), line, 10.5, bold=True, room=area.width)

    # -- small parts --------------------------------------------------------------------------------

    def _blanks(self) -> dict[str, str | int]:
        due = self.challenge.hand_in.due
        style = self.design.circles
        step = style.minutes if style else 0
        return {
            "step": step,
            "most": step * max(len(box.circles) for box in self.days.values()),
            "example": step * _EXAMPLE,
            "minutes": self.challenge.days.minimum_minutes,
            "month": self.month,
            "title": self.challenge.title,
            "weekday": str(format_date(due, "EEEE", locale=self.locale)) if due else "",
            "due": str(format_skeleton("MMMMd", due, locale=self.locale)) if due else "",
        }

    def _filled(self, sentence: str) -> str:
        return sentence.format(**self._blanks(), number="")

    def _line_to_write_on(
        self, pen: Pen, label: str, x: float, y: float, room: float, size: float = 10
    ) -> None:
        said = pen.text((x, y), label, size, room=room * 0.6)
        pen.line((x + said + 1.5, y + 0.6), (x + room, y + 0.6), thick=0.25, grey=0.4)

    def _titled(self, pen: Pen, title: str, sentences: Sequence[str], area: Box) -> None:
        pen.text((area.left, area.top + 3.5), self._filled(title), 10, bold=True, room=area.width)
        text = Box(area.left, area.top + 4.6, area.width, area.height - 4.6)
        self._paragraphs(pen, [self._filled(sentence) for sentence in sentences], text, most=10)

    def _paragraphs(
        self,
        pen: Pen,
        texts: Sequence[str],
        area: Box,
        *,
        most: float,
        bold: bool = False,
        grey: float = 0.0,
    ) -> None:
        """Text in lines, in the largest type of at most `most` points that fits the area."""
        face = BOLD if bold else REGULAR
        size = most
        while True:
            em = points(size)
            lines = [
                (line, not place)
                for text in texts
                for place, line in enumerate(wrap(text, area.width / em, face))
            ]
            pitch, between = 1.22 * em, 0.35 * em
            height = len(lines) * pitch + (len(texts) - 1) * between
            if height <= area.height or size <= 4:
                break
            size -= 0.25
        y = area.top
        for place, (line, first) in enumerate(lines):
            y += pitch + (between if first and place else 0)
            pen.text((area.left, y - 0.3 * em), line, size, bold=bold, grey=grey)


def _capital(text: object) -> str:
    """A month or a day as a heading; many languages write them small within a sentence."""
    word = str(text)
    return word[:1].upper() + word[1:]
