"""A small chart as a PDF, drawn plainly from its layout, and what families' programs do to it."""

import io
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import cv2
from plain_chart import plain_layout
from pypdf import PdfReader, PdfWriter
from pypdf.generic import ArrayObject, NameObject, TextStringObject
from reportlab.pdfgen.canvas import Canvas
from threadpoolctl import threadpool_limits

from ingest.chart.charts import Chart
from ingest.chart.code import qr_payload
from ingest.chart.design import load_design
from ingest.chart.form import make_fillable
from ingest.chart.layout import Layout
from ingest.chart.marks import qr_squares, tag_squares
from ingest.collect.pictures import PagePicture, open_pages
from ingest.paper import POINTS_PER_MM, Box, to_points
from ingest.plan.challenge import Challenge
from ingest.plan.month import Month
from ingest.plan.roster import Student
from ingest.reading.numerals import Numerals
from ingest.reading.page import read_page
from ingest.reading.values import Candidate, Grey, PageReading, TextLayer

CODE = "MKJ7-9MPP"
LAYOUT = plain_layout()
ANA = Student("S001", "Ana", "One", "Flutes")
SIZE = (LAYOUT.paper.width * POINTS_PER_MM, LAYOUT.paper.height * POINTS_PER_MM)
DAYS = [box.name for box in LAYOUT.boxes if box.name.startswith("day:")]
MINUTES = {day: (20, 45, 15, 30, 0, 120, 60, 5, 25, 35)[n % 10] for n, day in enumerate(DAYS)}

Draw = Callable[[Canvas], None]


def points(name: str, layout: Layout = LAYOUT) -> tuple[float, float, float, float]:
    """A box's writing area: x, y, width, height, in points from the page's lower left corner."""
    return to_points(layout.box(name).area, layout.paper.height)


def pdf(*draws: Draw, size: tuple[float, float] = SIZE) -> bytes:
    """One page with all that drawn on it."""
    out = io.BytesIO()
    canvas = Canvas(out, size, pageCompression=1)
    for draw in draws:
        draw(canvas)
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def chart(canvas: Canvas, layout: Layout = LAYOUT, code: str = CODE) -> None:
    """Tags, QR code, frames and the days' numbers above them; the code in letters, too."""

    def rectangles(boxes: list[Box]) -> None:
        for box in boxes:
            canvas.rect(*to_points(box, layout.paper.height), stroke=0, fill=1)

    rectangles([square for tag in layout.tags for square in tag_squares(tag)])
    rectangles(qr_squares(qr_payload(layout.challenge, code), layout.qr))
    canvas.setStrokeGray(0.6)
    canvas.setFont("Helvetica", 8)
    for box in layout.boxes:
        x, y, width, height = to_points(box.frame, layout.paper.height)
        canvas.rect(x, y, width, height)
        kind, _, which = box.name.partition(":")
        canvas.drawString(x + 2, y + height + 2, str(int(which[-2:])) if kind == "day" else box.name)
    x, y, _, _ = to_points(layout.letters, layout.paper.height)
    canvas.drawString(x + 10, y + 4, code)


def typed(texts: Mapping[str, object], font: str = "Helvetica", size: float = 14) -> Draw:
    """The texts in the middle of their boxes."""

    def draw(canvas: Canvas) -> None:
        canvas.setFont(font, size)
        for name, text in texts.items():
            x, y, width, height = points(name)
            canvas.drawCentredString(x + width / 2, y + height / 2 - size / 3, str(text))

    return draw


def changed(data: bytes, change: Callable[[PdfWriter], object]) -> bytes:
    writer = PdfWriter(PdfReader(io.BytesIO(data)))
    change(writer)
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


def fillable(code: str = CODE, student: Student | None = ANA) -> bytes:
    """The small chart as a form."""
    challenge = Challenge(title="Practice", month=Month.parse("2027-10"))
    design = load_design("minutes", Path())
    return make_fillable(
        pdf(lambda canvas: chart(canvas, code=code)), challenge, design, LAYOUT, [Chart(code, student)]
    )


def filled(texts: Mapping[str, object], looks: bool = True) -> bytes:
    """The form filled in by pypdf, with or without the fields' looks drawn anew."""

    def fill(writer: PdfWriter) -> None:
        if looks:
            values = {name: str(text) for name, text in texts.items()}
            writer.update_page_form_field_values(writer.pages[0], values, auto_regenerate=False)
            return
        for field in widgets(writer):
            if field["/T"] in texts:
                field[NameObject("/V")] = TextStringObject(str(texts[field["/T"]]))

    return changed(fillable(), fill)


def widgets(file: PdfWriter | PdfReader, page: int = 0) -> list[Any]:
    """What is attached to a page."""
    array = file.pages[page]["/Annots"]
    assert isinstance(array, ArrayObject)
    return [entry.get_object() for entry in array]


class Desk:
    """Reads files as `daybox collect` does, without a ledger."""

    def __init__(self, folder: Path, layout: Layout = LAYOUT) -> None:
        cv2.setNumThreads(1)
        threadpool_limits(1)
        self._folder = folder
        self._layouts = {"key": layout}
        self._numerals = Numerals.load()

    def read(self, grey: Grey, text: TextLayer | None) -> PageReading:
        return read_page(grey, self._layouts, {CODE: "key"}, self._numerals, text)

    def pictures(self, data: bytes) -> list[PagePicture]:
        path = self._folder / "return"
        path.write_bytes(data)
        return list(open_pages(path))

    def pages(self, data: bytes) -> list[PageReading]:
        found = []
        for picture in self.pictures(data):
            assert picture.grey is not None, picture.problem
            found.append(self.read(picture.grey, picture.text))
        return found

    def boxes(self, data: bytes) -> dict[str, tuple[Candidate, ...]]:
        """What the boxes of the only page may say."""
        (page,) = self.pages(data)
        return {reading.box: reading.candidates for reading in page.readings}

    def typed(self, data: bytes) -> dict[str, int | None]:
        """The boxes that say for certain what was typed there."""
        return {
            name: candidates[0].value
            for name, candidates in self.boxes(data).items()
            if candidates[0].typed and candidates[0].probability == 1
        }
