"""Certificates as a PDF: one to a page, or four that are cut apart.

What all share is drawn once, as a form XObject (ISO 32000-1, 8.10), as on the charts; so is each seal.
Nothing in the file says when it was made, so that the same awards make the same file.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from io import BytesIO

from reportlab.pdfgen.canvas import Canvas

from ingest import __version__
from ingest.chart import decoration
from ingest.chart.lettering import BOLD, REGULAR, load_face, typeset, width
from ingest.chart.pen import Ink, Pen, points
from ingest.paper import PAPERS, POINTS_PER_MM, Box, Paper
from ingest.plan.roster import Student
from ingest.report.award_words import Phrases
from ingest.report.awards import Awards
from ingest.report.certificate_design import CertificateDesign
from ingest.report.fitting import fit, set_lines
from ingest.report.ornament import STAFF, frame, seal

_COMMON = "common"
_CUT_MARGIN = 7.6  # mm from the edge of a quarter to its frame; printers leave 6 blank, and notes reach out
_CLEARANCE = 3.0  # mm between text and the seal
_READABLE = 6.5  # points; the small print is not printed smaller


@dataclass(frozen=True, slots=True)
class Certificate:
    """One award to one student. why: "" where it is not said. sign: what the seal shows, see `seal`."""

    student: Student
    title: str
    why: str
    sign: str


def certificates(awards: Awards, said: Phrases) -> tuple[Certificate, ...]:
    """One for each award that is settled, in the order in which the sheet has them."""
    return tuple(
        Certificate(
            winner.student,
            said.title(honour, winner.place),
            said.why(honour, winner),
            str(winner.place) if winner.place else honour.kind,
        )
        for honour in awards.all
        for winner in honour.winners
    )


def draw_certificates(
    given: Sequence[Certificate], said: Phrases, design: CertificateDesign, *, four: bool
) -> bytes:
    """The PDF. four: to a page, each half as wide and high."""
    challenge = said.challenge
    paper = PAPERS[challenge.paper]
    scale = 0.5 if four else 1.0
    page = _Page(said, design, paper, scale)
    size = (paper.width * POINTS_PER_MM, paper.height * POINTS_PER_MM)
    file = BytesIO()
    canvas = Canvas(
        file,
        pagesize=size,
        pageCompression=1,
        lang=challenge.language.replace("_", "-"),  # a language tag (RFC 5646)
        initialFontName=load_face(REGULAR).pdf_name,
        invariant=1,
    )
    canvas.setTitle(page.event)
    canvas.setAuthor("")
    canvas.setSubject("")
    canvas.setCreator(f"Daybox {__version__}")
    canvas.setViewerPreference("DisplayDocTitle", "true")
    _form(canvas, _COMMON, paper, page.draw_common)
    for sign in dict.fromkeys(each.sign for each in given) if design.parts.seal else ():
        _form(canvas, f"seal-{sign}", paper, partial(page.draw_seal, sign))
    places = list(_places(paper, four))
    for number, each in enumerate(given):
        place = number % len(places)
        if number and place == 0:
            canvas.showPage()
        if place == 0 and four:
            canvas.saveState()
            _cut_marks(Pen(canvas, paper), paper)
            canvas.restoreState()
        canvas.saveState()
        canvas.translate(*places[place])
        canvas.scale(scale, scale)
        canvas.doForm(_COMMON)
        if design.parts.seal:
            canvas.doForm(f"seal-{each.sign}")
        page.draw_own(Pen(canvas, paper), each)
        canvas.restoreState()
    canvas.showPage()
    canvas.save()
    return file.getvalue()


def _form(canvas: Canvas, name: str, paper: Paper, draw: Callable[[Pen], None]) -> None:
    canvas.beginForm(name, 0, 0, paper.width * POINTS_PER_MM, paper.height * POINTS_PER_MM)
    draw(Pen(canvas, paper))
    canvas.endForm()


def _places(paper: Paper, four: bool) -> Iterator[tuple[float, float]]:
    """Where certificates lie on a sheet: their lower left corners in points, row by row."""
    if not four:
        yield 0, 0
        return
    for row in (1, 0):
        for column in (0, 1):
            yield column * paper.width / 2 * POINTS_PER_MM, row * paper.height / 2 * POINTS_PER_MM


def _cut_marks(pen: Pen, paper: Paper) -> None:
    """Short lines at the edges and a cross in the middle, where the sheet is cut."""
    x, y = paper.width / 2, paper.height / 2
    for start, end in (
        ((x, 0), (x, 5)),
        ((x, paper.height - 5), (x, paper.height)),
        ((0, y), (5, y)),
        ((paper.width - 5, y), (paper.width, y)),
        ((x - 2, y), (x + 2, y)),
        ((x, y - 2), (x, y + 2)),
    ):
        pen.line(start, end, thick=0.15, grey=0.5)


class _Page:
    """The parts of a certificate, in millimetres on a whole sheet. scale: how much smaller it is printed."""

    def __init__(self, said: Phrases, design: CertificateDesign, paper: Paper, scale: float) -> None:
        self.said = said
        self.design = design
        self.event = said.fill(said.words.event)
        margin = max(design.sizes.margin, _CUT_MARGIN / scale if scale < 1 else 0)
        self.border = Box(0, 0, paper.width, paper.height).grown(-margin)
        inner = self.border.grown(-STAFF)
        self.inner = inner
        self.middle = Box(inner.left + 12, inner.top, inner.width - 24, inner.height)
        self.small_print = max(design.sizes.small_print, _READABLE / scale)
        self.radius = 0.115 * inner.height
        # The foot belongs to lines and small print on the left, and to the seal on the right.
        wide = self.middle.width - (2.6 * self.radius if design.parts.seal else 0)
        top = self._at(0.835 if scale == 1 else 0.81)
        self.foot = Box(self.middle.left, top, wide, self._at(0.98) - top)
        # A long sentence must not run into the seal.
        self.why = self._band(0.66, 0.765)
        if design.parts.seal:
            clear = self.middle.width - 2 * (2 * self.radius + _CLEARANCE)
            self.why = Box(self.middle.centre[0] - clear / 2, self.why.top, clear, self.why.height)

    def _at(self, share: float) -> float:
        """How far down the inner page, mm."""
        return self.inner.top + share * self.inner.height

    def _band(self, top: float, bottom: float) -> Box:
        """Between two shares of the inner page."""
        return Box(self.middle.left, self._at(top), self.middle.width, self._at(bottom) - self._at(top))

    def draw_common(self, pen: Pen) -> None:
        sizes, colors, words = self.design.sizes, self.design.colors, self.said.words
        frame(pen, self.border, colors.frame, tune=self.design.parts.tune)
        heading = fit(
            self.said.fill(words.heading), self.middle.width - 60, 26, most=sizes.heading, bold=True
        )
        set_lines(pen, heading, self._band(0.06, 0.2), bold=True, grey=colors.frame)
        wide = max(width(typeset(line, BOLD)) for line in heading.lines) * points(heading.size)
        self._beside_heading(pen, wide / 2 + 15)
        self._line(pen, self.event, self._band(0.2, 0.265), 1.2 * sizes.text)
        self._line(pen, self.said.fill(words.to), self._band(0.275, 0.33), sizes.text, False, 0.3)
        caution = self.foot
        if self.design.parts.signature:
            line = self.foot.top + 0.5
            half = (self.foot.width - 10) / 2
            for place, label in enumerate((words.date, words.signature)):
                x = self.foot.left + place * (half + 10)
                pen.line((x, line), (x + half, line), thick=0.25, grey=0.3)
                below = line + 1.2 * points(self.small_print)
                pen.text((x, below), self.said.fill(label), self.small_print, grey=0.3, room=half)
            top = line + 1.7 * points(self.small_print)
            caution = Box(caution.left, top, caution.width, caution.bottom - top)
        text = self.said.fill(words.cautions)
        fitted = fit(text, caution.width, caution.height, most=self.small_print, least=_READABLE)
        em = points(fitted.size)
        y = caution.bottom - fitted.height
        for line_number, line_text in enumerate(fitted.lines):
            baseline = y + (line_number * 1.3 + 1) * em
            pen.text((caution.left, baseline), line_text, fitted.size, grey=0.2, room=caution.width)

    def _beside_heading(self, pen: Pen, aside: float) -> None:
        """Two drawings to color in, so far from the middle."""
        x, y = self.middle.centre[0], self._at(0.145)
        size = 0.03 * self.inner.height
        decoration.smiling_note(pen, (x - aside, y), size)
        decoration.star(pen, (x + aside, y - 0.8 * size), 1.7 * size, turn=12)

    def draw_seal(self, sign: str, pen: Pen) -> None:
        colors = self.design.colors
        centre = (self.middle.right - self.radius * 0.9, self._at(0.955) - 1.75 * self.radius)
        seal(pen, centre, self.radius, sign, fill=colors.seal, ribbon=colors.frame)

    def draw_own(self, pen: Pen, each: Certificate) -> None:
        sizes, student = self.design.sizes, each.student
        name = self._band(0.33, 0.475)
        fitted = fit(student.name, name.width, name.height, most=sizes.name, least=14, bold=True)
        set_lines(pen, fitted, name, bold=True)
        section = self.said.fill(self.said.words.section, student)
        self._line(pen, section, self._band(0.48, 0.54), sizes.text, False, 0.3)
        self._line(pen, each.title, self._band(0.555, 0.67), sizes.award, True, self.design.colors.frame)
        if each.why:
            self._line(pen, each.why, self.why, sizes.text)

    def _line(self, pen: Pen, text: str, area: Box, most: float, bold: bool = False, grey: Ink = 0.0) -> None:
        set_lines(pen, fit(text, area.width, area.height, most=most, bold=bold), area, bold=bold, grey=grey)
