"""A pen that draws on a PDF page in millimetres, y downwards."""

from collections.abc import Sequence
from typing import Any, Literal

from reportlab.lib.colors import HexColor
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas

from ingest.chart.lettering import BOLD, REGULAR, Run, typeset, width
from ingest.paper import POINTS_PER_MM, Box, Paper, to_points

Point = tuple[float, float]

# A grey, from 0.0 black to 1.0 white, or a colour, such as "#0072B2".
Ink = float | str

_FILLED, _INVISIBLE = 0, 3  # text rendering modes (ISO 32000-1, table 106)
_NONZERO = 1  # reportlab's word for the nonzero winding rule, by which overlapping parts do not cancel


def points(size: float) -> float:
    """Type sizes are spoken of in points; drawn in millimetres."""
    return size / POINTS_PER_MM


class Pen:
    """Draws on one page or one form of `canvas`. Make it as soon as that is begun."""

    def __init__(self, canvas: Canvas, paper: Paper) -> None:
        self._canvas = canvas
        _, y, k, _ = to_points(Box(0, 0, 1, 1), paper.height)
        canvas.transform(k, 0, 0, -k, 0, y + k)  # the same turn as in `to_points`, for all that follows

    def line(self, start: Point, end: Point, *, thick: float, grey: Ink = 0.0) -> None:
        self._stroke(thick, grey)
        self._canvas.line(*start, *end)

    def rectangle(self, box: Box, *, thick: float, grey: Ink = 0.0) -> None:
        """An outline whose line is centred on the edge of `box`."""
        self._stroke(thick, grey)
        self._canvas.rect(box.left, box.top, box.width, box.height)

    def squares(self, boxes: Sequence[Box]) -> None:
        """Black rectangles, filled as one shape so that no hairline shows where they meet."""
        path = self._canvas.beginPath()
        for box in boxes:
            path.rect(box.left, box.top, box.width, box.height)
        self._canvas.setFillGray(0)
        self._canvas.drawPath(path, stroke=0, fill=1)

    def rounded(
        self, box: Box, radius: float, *, thick: float, grey: Ink = 0.0, fill: Ink | None = None
    ) -> None:
        """A rectangle with round corners of that radius, filled if `fill` says with what."""
        self._stroke(thick, grey)
        if fill is not None:
            self._fill(fill)
        self._canvas.roundRect(
            box.left,
            box.top,
            box.width,
            box.height,
            radius,
            stroke=int(thick > 0),
            fill=int(fill is not None),
        )

    def polygon(
        self, corners: Sequence[Point], *, thick: float, grey: Ink = 0.0, fill: Ink | None = None
    ) -> None:
        """A closed outline with rounded corners, filled if `fill` says with what."""
        path = self._canvas.beginPath()
        path.moveTo(*corners[0])
        for corner in corners[1:]:
            path.lineTo(*corner)
        path.close()
        self._stroke(thick, grey)
        if fill is not None:
            self._fill(fill)
        self._canvas.drawPath(path, stroke=int(thick > 0), fill=int(fill is not None))

    def curve(self, knots: Sequence[Point], *, thick: float, grey: Ink = 0.0) -> None:
        """A smooth line: Bezier pieces, knots being start, two controls, end, two controls, end ..."""
        path = self._canvas.beginPath()
        path.moveTo(*knots[0])
        for first, second, end in zip(knots[1::3], knots[2::3], knots[3::3], strict=True):
            path.curveTo(*first, *second, *end)
        self._stroke(thick, grey)
        self._canvas.drawPath(path)

    def oval(
        self, centre: Point, radii: Point, *, turn: float = 0.0, thick: float = 0.0, grey: Ink = 0.0
    ) -> None:
        """An ellipse, outlined if `thick`, else filled. turn: degrees, anticlockwise."""
        canvas = self._canvas
        canvas.saveState()
        canvas.translate(*centre)
        canvas.rotate(-turn)
        self._stroke(thick or 0.1, grey)
        self._fill(grey)
        (a, b) = radii
        canvas.ellipse(-a, -b, a, b, stroke=int(thick > 0), fill=int(thick == 0))
        canvas.restoreState()

    def text(
        self,
        place: Point,
        text: str,
        size: float,
        *,
        bold: bool = False,
        grey: Ink = 0.0,
        room: float | None = None,
        align: Literal["left", "centre", "right"] = "left",
        hollow: float = 0.0,
    ) -> float:
        """One line of type; returns its width in mm.

        place: on the baseline. size: points. room: mm; wider text is set smaller so that it fits.
        hollow: draw only outlines of this thickness (mm), to be colored in.
        """
        runs = typeset(text, BOLD if bold else REGULAR)
        em = points(size)
        ems = width(runs)
        if room is not None and ems * em > room:
            em = room / ems
        x, y = place
        x -= {"left": 0.0, "centre": 0.5, "right": 1.0}[align] * ems * em
        for run in runs:
            self._run((x, y), run, em, grey, hollow)
            x += run.width * em
        return ems * em

    def _run(self, place: Point, run: Run, em: float, grey: Ink, hollow: float) -> None:
        x, y = place
        self._fill(grey)
        line: Any = self._canvas.beginText()
        line.setTextTransform(1, 0, 0, -1, x, y)
        line.setFont(run.face.pdf_name, em)
        if hollow or not run.plain:
            # Drawn as outlines; over them lies invisible text for searching and copying.
            self._outlines(place, run, em, grey, hollow)
            natural = pdfmetrics.stringWidth(run.text, run.face.pdf_name, em)
            line.setHorizScale(100 * run.width * em / natural if natural else 100)
            line.setTextRenderMode(_INVISIBLE)
        line.textOut(run.text)
        line.setTextRenderMode(_FILLED)
        line.setHorizScale(100)
        self._canvas.drawText(line)

    def _outlines(self, place: Point, run: Run, em: float, grey: Ink, hollow: float) -> None:
        path = self._canvas.beginPath()
        for glyph in run.glyphs:
            origin = (place[0] + glyph.x * em, place[1] - glyph.y * em)
            run.face.font.draw_glyph_with_pen(glyph.number, _Outline(path, origin, em / run.face.upem))
        if hollow:  # the white filling hides where parts of a letter overlap
            self._stroke(2 * hollow, grey)
            self._canvas.drawPath(path, stroke=1, fill=0)
            self._canvas.setFillGray(1)
        self._canvas.drawPath(path, stroke=0, fill=1, fillMode=_NONZERO)

    def _fill(self, ink: Ink) -> None:
        if isinstance(ink, str):
            self._canvas.setFillColor(HexColor(ink))
        else:
            self._canvas.setFillGray(ink)

    def _stroke(self, thick: float, grey: Ink) -> None:
        self._canvas.setLineCap(1)
        self._canvas.setLineJoin(1)
        self._canvas.setLineWidth(thick)
        if isinstance(grey, str):
            self._canvas.setStrokeColor(HexColor(grey))
        else:
            self._canvas.setStrokeGray(grey)


class _Outline:
    """Takes a glyph's outline, in the methods that uharfbuzz calls, and adds it to a PDF path."""

    def __init__(self, path: Any, origin: Point, scale: float) -> None:
        self._path = path
        self._origin = origin
        self._scale = scale
        self._at: Point = origin

    def _on_page(self, point: Point) -> Point:
        return self._origin[0] + point[0] * self._scale, self._origin[1] - point[1] * self._scale

    def moveTo(self, to: Point) -> None:  # noqa: N802 - uharfbuzz's names
        self._at = self._on_page(to)
        self._path.moveTo(*self._at)

    def lineTo(self, to: Point) -> None:  # noqa: N802
        self._at = self._on_page(to)
        self._path.lineTo(*self._at)

    def qCurveTo(self, control: Point, to: Point) -> None:  # noqa: N802
        """PDF has cubic curves only; two thirds of the way to the control give the same curve."""
        start, middle, end = self._at, self._on_page(control), self._on_page(to)
        first = tuple(s + 2 / 3 * (m - s) for s, m in zip(start, middle, strict=True))
        second = tuple(e + 2 / 3 * (m - e) for e, m in zip(end, middle, strict=True))
        self._at = end
        self._path.curveTo(*first, *second, *end)

    def curveTo(self, first: Point, second: Point, to: Point) -> None:  # noqa: N802
        self._at = self._on_page(to)
        self._path.curveTo(*self._on_page(first), *self._on_page(second), *self._at)

    def closePath(self) -> None:  # noqa: N802
        self._path.close()
