"""Pages of pictures: a PDF of them, the heading and the small print of each, and the same as PNG."""

from collections.abc import Callable, Iterable
from io import BytesIO

import pypdfium2
from babel import Locale
from reportlab.pdfgen.canvas import Canvas

from ingest import __version__
from ingest.chart.lettering import REGULAR, load_face, wrap
from ingest.chart.pen import Pen, points
from ingest.paper import PAPERS, POINTS_PER_MM, Box, Paper
from ingest.report.fitting import fit
from ingest.report.palette import INK, QUIET

MARGIN = 14.0  # mm
TOP = 34.0  # mm; where a picture may begin
FOOT = 19.0  # mm that the small print takes at the bottom
PNG_DOTS = 150  # an inch; a page is about 1650 dots wide

_SMALL = 7.0  # points

Page = Callable[[Pen], None]


def landscape(name: str) -> Paper:
    """name: as in the plan."""
    return PAPERS[name]


def upright(name: str) -> Paper:
    paper = PAPERS[name]
    return Paper(paper.name, paper.height, paper.width)


def draw_pages(paper: Paper, title: str, locale: Locale, pages: Iterable[Page]) -> bytes:
    """The PDF. Nothing in it says when it was made, so that the same figures make the same file."""
    file = BytesIO()
    canvas = Canvas(
        file,
        pagesize=(paper.width * POINTS_PER_MM, paper.height * POINTS_PER_MM),
        pageCompression=1,
        lang=str(locale).replace("_", "-"),  # a language tag (RFC 5646)
        initialFontName=load_face(REGULAR).pdf_name,
        invariant=1,
    )
    canvas.setTitle(title)
    canvas.setAuthor("")
    canvas.setSubject("")
    canvas.setCreator(f"Daybox {__version__}")
    canvas.setViewerPreference("DisplayDocTitle", "true")
    for draw in pages:
        canvas.saveState()
        draw(Pen(canvas, paper))
        canvas.restoreState()
        canvas.showPage()
    canvas.save()
    return file.getvalue()


def to_png(pdf: bytes, page: int = 0) -> bytes:
    """One page of a PDF as a picture. page: from 0."""
    with pypdfium2.PdfDocument(pdf) as document:
        picture = document[page].render(scale=PNG_DOTS / 72).to_pil()
    file = BytesIO()
    picture.save(file, "png", dpi=(PNG_DOTS, PNG_DOTS))
    return file.getvalue()


def heading(pen: Pen, paper: Paper, title: str, below: str) -> None:
    """Two lines at the top of a page, above `TOP`."""
    room = paper.width - 2 * MARGIN
    name = fit(title, room, 12, most=22, least=11, bold=True, even=False)
    y = 20.0 if len(name.lines) == 1 else 14.5
    for line in name.lines:
        pen.text((MARGIN, y), line, name.size, bold=True, grey=INK, room=room)
        y += 1.25 * points(name.size)
    pen.text((MARGIN, 28.5), below, 11, grey=QUIET, room=room)


def small_print(pen: Pen, paper: Paper, *paragraphs: str) -> None:
    """At the foot of a page, from the bottom up."""
    y = paper.height - 8.0
    for paragraph in reversed(paragraphs):
        for line in reversed(wrap(paragraph, (paper.width - 2 * MARGIN) / points(_SMALL))):
            pen.text((MARGIN, y), line, _SMALL, grey=QUIET)
            y -= 3.0


def body(paper: Paper) -> Box:
    """Between heading and small print."""
    return Box(MARGIN, TOP, paper.width - 2 * MARGIN, paper.height - TOP - FOOT)
