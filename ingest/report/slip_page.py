"""The slips as a PDF: the picture of the chart, and beside it, box for box, what was read."""

from collections.abc import Callable, Mapping, Sequence
from io import BytesIO

from babel.dates import format_date, format_skeleton
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from ingest import __version__
from ingest.chart.design import Design
from ingest.chart.layout import Layout
from ingest.chart.lettering import BOLD, REGULAR, load_face, typeset, width, wrap
from ingest.chart.pen import Pen, points
from ingest.check.book import Settled, State
from ingest.errors import LedgerError
from ingest.ledger.pictures import Pictures, cut, jpeg
from ingest.paper import PAPERS, POINTS_PER_MM, Box, to_points
from ingest.plan.challenge import Challenge
from ingest.report.fitting import fit
from ingest.report.slip_words import slip_words
from ingest.report.slips import Slip

PICTURE_PX_PER_MM = 4.0  # of the chart's paper; on the slip, at about half its size, some 180 dots an inch
PICTURE_QUALITY = 50  # of JPEG, 0 to 100

_MARGIN = 12.0  # mm
_GAP = 6.0  # between picture and table
_TOP = 40.0  # where both begin
_MOST_HEIGHT = 100.0
_NAMES = 7.2  # shown above the first row: the names of the columns
_STRIP = 4.6  # and the days' numbers, where they stand above the frames
_AROUND = 2.0  # and on the other three sides
_LINES = 4  # corrections that can be written down


class SlipPictures:
    """The part of each page that a slip shows, made once."""

    def __init__(self, pictures: Pictures) -> None:
        self._pictures = pictures
        self._made: dict[int, bytes] = {}

    def layout(self, page_id: int) -> Layout | None:
        return self._pictures.layout(page_id)

    def get(self, page_id: int) -> bytes:
        """JPEG; b"" if there is none any more."""
        if page_id not in self._made:
            layout = self._pictures.layout(page_id)
            try:
                page = self._pictures.page(page_id) if layout else None
            except LedgerError:
                page = None
            self._made[page_id] = (
                b""
                if layout is None or page is None
                else jpeg(cut(page, grid(layout)), PICTURE_PX_PER_MM, PICTURE_QUALITY)
            )
        return self._made[page_id]


def grid(layout: Layout) -> Box:
    """The part of the paper with all boxes and the names of the columns, mm."""
    frames = [box.frame for box in (*layout.boxes, *layout.outside)]
    left = max(0.0, min(frame.left for frame in frames) - _AROUND)
    above = _NAMES if any(box.circles for box in layout.boxes) else _NAMES + _STRIP
    top = max(0.0, min(frame.top for frame in frames) - above)
    right = min(layout.paper.width, max(frame.right for frame in frames) + _AROUND)
    bottom = min(layout.paper.height, max(frame.bottom for frame in frames) + _AROUND)
    return Box(left, top, right - left, bottom - top)


def draw_slips(challenge: Challenge, design: Design, found: Sequence[Slip], pictures: SlipPictures) -> bytes:
    """The PDF: a page for each slip in that order, and more where more than one page of a chart counts."""
    file = BytesIO()
    paper = PAPERS[challenge.paper]
    canvas = Canvas(
        file,
        pagesize=(paper.width * POINTS_PER_MM, paper.height * POINTS_PER_MM),
        pageCompression=1,
        lang=str(slip_words(challenge.language)[1]).replace("_", "-"),  # a language tag (RFC 5646)
        initialFontName=load_face(REGULAR).pdf_name,
    )
    drawer = _Drawer(challenge, design, canvas, pictures)
    canvas.setTitle(drawer.words.title)
    canvas.setAuthor("")
    canvas.setSubject("")
    canvas.setCreator(f"Daybox {__version__}")
    canvas.setViewerPreference("DisplayDocTitle", "true")
    for slip in found:
        drawer.slip(slip)
    canvas.save()
    return file.getvalue()


class _Drawer:
    def __init__(self, challenge: Challenge, design: Design, canvas: Canvas, pictures: SlipPictures) -> None:
        self.challenge = challenge
        self.words, self.locale = slip_words(challenge.language)
        self._chart_words = design.wording(challenge.language)
        self._canvas = canvas
        self._pictures = pictures
        self._paper = PAPERS[challenge.paper]
        self._column = (self._paper.width - 2 * _MARGIN - _GAP) / 2

    def slip(self, slip: Slip) -> None:
        layout = self._pictures.layout(slip.page_id)
        area = grid(layout) if layout else Box(0, 0, self._column, _MOST_HEIGHT / 2)
        scale = min(self._column / area.width, _MOST_HEIGHT / area.height)
        place = Box(_MARGIN, _TOP, area.width * scale, area.height * scale)
        other = Box(self._paper.width - _MARGIN - place.width, _TOP, place.width, place.height)
        self._picture(slip.page_id, place)
        pen = self._pen()
        self._heading(pen, slip)
        self._caption(pen, place, self.words.picture)
        self._caption(pen, other, self.words.read)
        if not self._pictures.get(slip.page_id):
            self._paragraph(pen, self.words.no_picture, place.left + 4, place.top + 10, place.width - 8)
        pen.rectangle(place, thick=0.2, grey=0.6)
        if layout:
            self._table(pen, slip, layout, area, other, scale)
        below = self._signs(pen, slip, other)
        self._texts(pen, slip, max(below, place.bottom) + 7)
        self._foot(pen)
        self._finish()
        for page_id in slip.others:
            self._one_more(slip, page_id)

    # -- the page's parts -------------------------------------------------------------------------------

    def _pen(self) -> Pen:
        self._canvas.saveState()
        return Pen(self._canvas, self._paper)

    def _finish(self) -> None:
        self._canvas.restoreState()
        self._canvas.showPage()

    def _picture(self, page_id: int, place: Box) -> None:
        picture = self._pictures.get(page_id)
        if picture:
            self._canvas.drawImage(ImageReader(BytesIO(picture)), *to_points(place, self._paper.height))

    def _heading(self, pen: Pen, slip: Slip) -> None:
        student, right = slip.student, self._paper.width - _MARGIN
        month = format_skeleton("yMMMM", self.challenge.month.dates()[0], locale=self.locale)
        half = (right - _MARGIN) / 2 - 2
        pen.text((_MARGIN, 16), self.words.title, 10, grey=0.25, room=half)
        pen.text((right, 16), f"{self.challenge.title}, {month}", 10, grey=0.25, room=half, align="right")
        about = f"{student.section}  ·  {student.id}"
        used = pen.text((right, 27), about, 11, room=70, align="right")
        room = right - _MARGIN - used - 6
        name = fit(student.name, room, 11.5, most=19, least=9, bold=True, even=False)
        y = 27 if len(name.lines) == 1 else 27 - name.height / 2 + 1
        for line in name.lines:
            pen.text((_MARGIN, y), line, name.size, bold=True)
            y += 1.3 * points(name.size)
        pen.line((_MARGIN, 31.5), (right, 31.5), thick=0.4)

    def _caption(self, pen: Pen, place: Box, words: str) -> None:
        pen.text((place.left, place.top - 2), words, 10, bold=True, room=place.width)

    def _table(self, pen: Pen, slip: Slip, layout: Layout, area: Box, place: Box, scale: float) -> None:
        """The chart's own grid once more, at the same size, with what was read in place of the writing."""

        def at(box: Box) -> Box:
            return Box(
                place.left + (box.left - area.left) * scale,
                place.top + (box.top - area.top) * scale,
                box.width * scale,
                box.height * scale,
            )

        self._column_names(pen, layout, at, place)
        for chart_box in layout.boxes:
            kind, _, which = chart_box.name.partition(":")
            frame = at(chart_box.frame)
            box = slip.sheet.boxes.get(chart_box.name)
            is_open = box is not None and box.state is State.FLAGGED
            pen.rectangle(frame, thick=0.7 if is_open else 0.2, grey=0.0 if is_open else 0.45)
            if kind == "day":
                day = str(int(which[-2:]))
                if chart_box.circles:
                    pen.text((frame.left + 0.6, frame.top + 2.7), day, 7, grey=0.2)
                else:
                    pen.text((frame.left + 0.3, frame.top - 0.5), day, 6, grey=0.2)
            if kind == "initials":
                if box is not None and box.state is not State.BLANK:
                    self._tick(pen, frame)
            elif box is not None:
                self._reading(pen, box, frame)

    def _column_names(self, pen: Pen, layout: Layout, at: Callable[[Box], Box], place: Box) -> None:
        weeks = self.challenge.month.weeks(self.challenge.days.week_starts)
        names = [
            (f"{'day' if day in set(self.challenge.month.dates()) else 'outside'}:{day}", day)
            for day in weeks[0]
        ]
        heads = [(name, format_date(day, "ccc", locale=self.locale)) for name, day in names]
        heads += [("week:1", self._filled("week_total")), ("initials:1", self._filled("initials"))]
        known = {box.name: box for box in (*layout.boxes, *layout.outside)}
        for name, words in heads:
            if name in known:
                frame = at(known[name].frame)
                head = fit(words, frame.width - 1, 6, most=7, least=4, bold=True, even=False)
                step = 1.1 * points(head.size)
                for above, line in enumerate(reversed(head.lines)):
                    y = place.top + 3.1 - above * step
                    pen.text((frame.centre[0], y), line, head.size, bold=True, align="centre")
        month = known.get("month")
        if month:
            frame = at(month.frame)
            words = self._filled("month_total")
            pen.text((frame.left - 1.5, frame.centre[1] + 1), words, 7.5, bold=True, align="right", room=50)

    def _reading(self, pen: Pen, box: Settled, frame: Box) -> None:
        middle = (frame.centre[0], frame.centre[1] + 1.6)
        if box.state is State.FLAGGED:
            pen.text(middle, "?", 13, bold=True, align="centre")
        elif box.value is None:
            if box.box.startswith("day:") or box.state is State.ANSWERED:
                room = frame.width - 1
                words = self.words.blank
                pen.text((middle[0], middle[1] - 0.5), words, 7, grey=0.35, align="centre", room=room)
        else:
            pen.text(middle, str(box.value), 13, bold=True, align="centre", room=frame.width - 1.5)
        if box.state is State.ANSWERED:
            pen.oval((frame.right - 1.3, frame.top + 1.3), (0.55, 0.55))

    def _tick(self, pen: Pen, frame: Box) -> None:
        x, y = frame.centre
        pen.line((x - 1.4, y), (x - 0.4, y + 1.1), thick=0.35)
        pen.line((x - 0.4, y + 1.1), (x + 1.6, y - 1.4), thick=0.35)

    def _signs(self, pen: Pen, slip: Slip, place: Box) -> float:
        """What the signs in the table mean, as far as there are any; where that ends, mm."""
        y = place.bottom + 3.6
        states = {box.state for box in slip.sheet.boxes.values()}
        if State.FLAGGED in states:
            pen.text((place.left, y), f"?  {self.words.open_sign}", 8, room=place.width)
            y += 3.8
        if State.ANSWERED in states:
            pen.oval((place.left + 0.8, y - 1), (0.55, 0.55))
            pen.text((place.left + 3, y), self.words.person_sign, 8, room=place.width - 3)
            y += 3.8
        return y - 3.8

    def _texts(self, pen: Pen, slip: Slip, top: float) -> None:
        """Three columns: what it adds up to, what could not be read, and what to do if something is wrong."""
        gap = 8.0
        widths = [0.29, 0.27, 0.44]
        whole = self._paper.width - 2 * _MARGIN - 2 * gap
        left = _MARGIN
        bottom = self._paper.height - 17
        for part, share in enumerate(widths):
            room = whole * share
            if part == 0:
                self._block(
                    pen, self.words.add_heading, slip.adds_up, Box(left, top, room, bottom - top), True
                )
            elif part == 1:
                self._block(pen, self.words.open_heading, slip.not_read, Box(left, top, room, bottom - top))
            else:
                area = Box(left, top, room, bottom - top)
                end = self._block(pen, self.words.wrong_heading, [self.words.wrong], area, most=0.5)
                self._to_write(pen, left, end, room, bottom)
            left += room + gap

    def _block(
        self,
        pen: Pen,
        heading: str,
        sentences: Sequence[str],
        area: Box,
        strong_first: bool = False,
        most: float = 1.0,
    ) -> float:
        """A heading and sentences below each other, smaller if there are many; where they end, mm.

        most: of the area's height that they may take.
        """
        y = area.top
        pen.text((area.left, y), heading, 11, bold=True, room=area.width)
        size = 9.5
        while size > 4:
            lines = [wrap(sentence, area.width / points(size), BOLD) for sentence in sentences]
            pitch = 1.35 * points(size)
            height = sum(len(each) * pitch + 0.8 for each in lines) + 2
            if height <= area.height * most:
                break
            size -= 0.5
        y += 1.5
        for number, each in enumerate(lines):
            for line in each:
                y += pitch
                pen.text((area.left, y), line, size, bold=strong_first and number == 0)
            y += 0.8
        return y

    def _to_write(self, pen: Pen, left: float, top: float, room: float, bottom: float) -> None:
        """Lines on which to write what is right."""
        step = min(9.0, (bottom - top) / (_LINES + 1))
        y = top
        for _ in range(_LINES):
            y += step
            self._blanks(pen, self.words.line, left, y, room)
        self._blanks(pen, f"{self.words.sign}               ", left, y + step, room)

    def _blanks(self, pen: Pen, words: str, left: float, y: float, room: float) -> None:
        """A line of words; wherever there are many spaces, room to write, all equal."""
        parts = [part.strip() for part in words.split("     ") if part.strip()]
        gaps = len(parts) - (0 if words.endswith("     ") else 1)
        used = sum(width(typeset(part)) * points(9.5) + 2 for part in parts)
        gap = max(8.0, (room - used) / max(gaps, 1) - 1)
        x = left
        for number, part in enumerate(parts):
            x += pen.text((x, y), part, 9.5) + 1.5
            if number < gaps:
                pen.line((x, y + 0.6), (x + gap - 1.5, y + 0.6), thick=0.25, grey=0.3)
                x += gap

    def _paragraph(self, pen: Pen, words: str, left: float, top: float, room: float) -> None:
        for number, line in enumerate(wrap(words, room / points(9.5))):
            pen.text((left, top + number * 1.35 * points(9.5)), line, 9.5)

    def _foot(self, pen: Pen) -> None:
        """The usual cautions, as the chart has them: this praises minutes, too."""
        room = self._paper.width - 2 * _MARGIN
        lines = wrap(self._filled("cautions"), room / points(7))
        for above, line in enumerate(reversed(lines[:2])):
            pen.text((_MARGIN, self._paper.height - 9 - above * 3.2), line, 7, grey=0.3)

    def _one_more(self, slip: Slip, page_id: int) -> None:
        """Another page of the same chart, by itself."""
        layout = self._pictures.layout(page_id)
        if layout is None or not self._pictures.get(page_id):
            return
        area = grid(layout)
        width_mm, height_mm = self._paper.width - 2 * _MARGIN, self._paper.height - _TOP - _MARGIN
        scale = min(width_mm / area.width, height_mm / area.height)
        place = Box(_MARGIN, _TOP, area.width * scale, area.height * scale)
        self._picture(page_id, place)
        pen = self._pen()
        self._heading(pen, slip)
        self._caption(pen, place, self.words.more)
        pen.rectangle(place, thick=0.2, grey=0.6)
        self._finish()

    def _filled(self, key: str) -> str:
        """A sentence of the chart's own wording, its blanks filled as far as a slip can."""
        blanks: Mapping[str, object] = {
            "minutes": self.challenge.days.minimum_minutes,
            "month": format_skeleton("yMMMM", self.challenge.month.dates()[0], locale=self.locale),
            "title": self.challenge.title,
            "number": "",
            "weekday": "",
            "due": "",
            "step": "",
            "most": "",
            "example": "",
        }
        return str(getattr(self._chart_words, key)).format(**blanks)
