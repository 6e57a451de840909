"""Text of PDF pages: where it is seen, checked with pdfplumber, and what is not seen does not count."""

import io
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pdfplumber
import pytest
from PIL import Image
from pypdf import PdfWriter
from pypdf.annotations import FreeText
from pypdf.annotations import Text as StickyNote
from pypdf.generic import (
    ArrayObject,
    DictionaryObject,
    FloatObject,
    NameObject,
    NumberObject,
    RectangleObject,
)
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas
from typed_chart import changed, pdf

from ingest.collect.pictures import open_pages
from ingest.collect.text_layer import beginning
from ingest.reading.values import Floats, Grey, Text, TextLayer


def opened(data: bytes, folder: Path) -> tuple[Grey, TextLayer | None]:
    (folder / "file").write_bytes(data)
    (page,) = open_pages(folder / "file")
    assert page.grey is not None
    return page.grey, page.text


def texts(data: bytes, folder: Path) -> list[str]:
    layer = opened(data, folder)[1]
    return [] if layer is None else [text.text for text in layer.texts]


def write(
    text: str, x: float = 300, y: float = 300, size: float = 20, **how: object
) -> Callable[[Canvas], None]:
    """how: `grey`, or `mode`, a text rendering mode (ISO 32000-1, table 106)."""

    def draw(canvas: Canvas) -> None:
        canvas.saveState()
        line = canvas.beginText(x, y)
        line.setFont("Helvetica", size)
        line.setFillGray(how.get("grey", 0))
        line.setTextRenderMode(how.get("mode", 0))
        line.textOut(text)
        canvas.drawText(line)
        canvas.restoreState()

    return draw


def photo(canvas: Canvas) -> None:
    """A scan of grey paper all over the page."""
    canvas.drawImage(ImageReader(Image.new("L", (1100, 850), 200)), 0, 0, 792, 612)


PAGE = pdf(write("12"), write("345 min", 500, 100), size=(792, 612))


def turned(degrees: int) -> Callable[[PdfWriter], object]:
    return lambda writer: writer.pages[0].rotate(degrees)


def cut(left: float, bottom: float, right: float, top: float) -> Callable[[PdfWriter], object]:
    def change(writer: PdfWriter) -> None:
        writer.pages[0].mediabox = RectangleObject((left, bottom, right, top))
        writer.pages[0].cropbox = RectangleObject((left, bottom, right, top))

    return change


@pytest.mark.parametrize(
    "change",
    [
        turned(0),
        turned(90),
        turned(180),
        turned(270),
        lambda writer: writer.pages[0].scale_by(3),
        cut(100, 50, 700, 500),
        cut(-300, -200, 900, 700),
    ],
    ids=["plain", "90", "180", "270", "poster", "cut", "wider"],
)
def test_letters_lie_where_pdfplumber_sees_them(
    change: Callable[[PdfWriter], object], tmp_path: Path
) -> None:
    data = changed(PAGE, change)
    grey, layer = opened(data, tmp_path)
    assert layer is not None
    with pdfplumber.open(io.BytesIO(data)) as document:
        page = document.pages[0]
        left, top = page.bbox[:2]
        scale = grey.shape[1] / float(page.width)
        seen = [
            (((c["x0"] + c["x1"]) / 2 - left) * scale, ((c["top"] + c["bottom"]) / 2 - top) * scale)
            for c in page.chars
            if c["text"] != " "
        ]
    ours: Floats = np.concatenate([text.middles for text in layer.texts])
    # pdfplumber's boxes are the letters' lines, ours the ink itself: within a third of the type's size
    size = 20 * scale * (3 if change.__name__ == "<lambda>" and grey.shape == (1700, 2200) else 1)
    assert len(ours) == len(seen) == 8
    assert np.abs(ours + 0.5 - np.array(seen)).max() < size / 3
    assert [text.text for text in layer.texts] == ["12", "345 min"]


def test_bare_is_the_same_picture_without_its_text(tmp_path: Path) -> None:
    def stroke(canvas: Canvas) -> None:
        canvas.setLineWidth(3)
        canvas.line(280, 290, 360, 330)

    grey, layer = opened(pdf(stroke, write("12")), tmp_path)
    assert layer is not None
    only_stroke, none = opened(pdf(stroke), tmp_path)
    assert none is None
    assert np.array_equal(layer.bare, only_stroke)
    assert not np.array_equal(grey, only_stroke)


# -- seen or not --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("draws", "found"),
    [
        ([photo, write("20")], ["20"]),
        ([photo, write("20", mode=3)], []),  # as scanner programs lay what they took handwriting for
        ([photo, write("20", mode=3), write("35", 500)], ["35"]),
        ([write("20"), photo], []),
        ([write("20", grey=1)], []),
        ([photo, write("20", grey=0.6)], ["20"]),
    ],
    ids=["over a scan", "invisible", "one of two", "under a scan", "white", "pale"],
)
def test_only_text_that_is_seen_counts(
    draws: list[Callable[[Canvas], None]], found: list[str], tmp_path: Path
) -> None:
    assert texts(pdf(*draws, size=(792, 612)), tmp_path) == found


def test_a_page_that_holds_no_text_costs_no_second_picture(tmp_path: Path) -> None:
    assert opened(pdf(photo, size=(792, 612)), tmp_path)[1] is None


# -- stretches ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("draws", "found"),
    [
        ([write("1 hr 15")], ["1 hr 15"]),
        ([write("20   30")], ["20", "30"]),
        ([write("20"), write("30", 345)], ["20", "30"]),
        ([write("20"), write("20", 300.5)], ["20"]),  # bold, by drawing it twice
        ([write("20"), write("20", 302, 298)], ["20"]),  # with a shadow
        ([write("20"), write("20", 345)], ["20", "20"]),
        ([write("2"), write("0", 300, 278)], ["2", "0"]),
        ([write("10"), write("20", 300, 278)], ["10", "20"]),
        ([write("20"), write("35", 303)], ["20", "35"]),
        ([write("-"), write("-", 300, 200), write("-", 300, 100)], ["-", "-", "-"]),
    ],
    ids=["words", "three spaces", "apart", "twice", "shadow", "alike", "below", "lines", "over", "dashes"],
)
def test_a_gap_ends_a_stretch(
    draws: list[Callable[[Canvas], None]], found: list[str], tmp_path: Path
) -> None:
    assert texts(pdf(*draws), tmp_path) == found


# -- notes --------------------------------------------------------------------------------------------


def only(layer: TextLayer | None) -> Text:
    assert layer is not None
    (text,) = layer.texts
    return text


def test_text_box_without_a_look_counts_by_its_contents(tmp_path: Path) -> None:
    """pypdf writes no appearance for free text, and leaves that to viewers."""
    note = FreeText(text="25", rect=(300, 290, 340, 310))
    data = changed(pdf(size=(792, 612)), lambda writer: writer.add_annotation(0, note))
    text = only(opened(data, tmp_path)[1])
    assert (text.text, text.is_aside) == ("25", False)
    assert text.middles == pytest.approx(np.array([[320 / 792 * 2200, 312 / 612 * 1700]]), abs=1)


def test_sticky_note_is_aside(tmp_path: Path) -> None:
    note = StickyNote(text="25", rect=(300, 290, 320, 310))
    data = changed(pdf(), lambda writer: writer.add_annotation(0, note))
    assert only(opened(data, tmp_path)[1]).is_aside


def test_hidden_note_does_not_count(tmp_path: Path) -> None:
    note = FreeText(text="25", rect=(300, 290, 340, 310))
    note[NameObject("/F")] = NumberObject(2)
    data = changed(pdf(), lambda writer: writer.add_annotation(0, note))
    assert opened(data, tmp_path)[1] is None


@pytest.mark.parametrize(
    ("kind", "key", "numbers"),
    [
        ("/Ink", "/InkList", (110, 110, 200, 250, 290, 110)),
        ("/Ink", "/InkList", (200, 200)),
        ("/Ink", "/InkList", (200, 200, 200, 200)),
        ("/Line", "/L", (110, 110, 290, 250)),
        ("/PolyLine", "/Vertices", (110, 110, 200, 250, 290, 110)),
    ],
    ids=["ink", "dot", "tapped dot", "line", "lines"],
)
def test_drawings_without_a_look_are_drawn(
    kind: str, key: str, numbers: tuple[float, ...], tmp_path: Path
) -> None:
    """They may lack an appearance (ISO 32000-1, 12.5.6.7, 12.5.6.9, 12.5.6.13). A dot makes 15 of 115."""

    def scribble(writer: PdfWriter) -> None:
        drawing = FreeText(text="", rect=(100, 100, 300, 300))
        drawing[NameObject("/Subtype")] = NameObject(kind)
        line = ArrayObject([FloatObject(n) for n in numbers])
        drawing[NameObject(key)] = ArrayObject([line]) if kind == "/Ink" else line
        drawing[NameObject("/C")] = ArrayObject([FloatObject(0)] * 3)
        drawing[NameObject("/BS")] = DictionaryObject({NameObject("/W"): FloatObject(2)})
        writer.add_annotation(0, drawing)

    grey, layer = opened(changed(pdf(size=(792, 612)), scribble), tmp_path)
    assert layer is None
    k = 2200 / 792
    ys, xs = np.nonzero(grey < 100)
    drawn = np.array([xs.min(), xs.max(), ys.min(), ys.max()])
    at = np.array(numbers).reshape(-1, 2)
    here = at.min(axis=0), at.max(axis=0)
    expected = np.array([here[0][0], here[1][0], 612 - here[1][1], 612 - here[0][1]]) * k
    assert drawn == pytest.approx(expected, abs=2.5 * k)
    if len(at) == 1 or kind == "/Line":  # as thick as it should be, all over
        assert len(xs) > 0.7 * 2 * k * (np.hypot(*(at[-1] - at[0])) * k + 2 * k * np.pi / 4)


def test_document_is_told_by_its_first_words(tmp_path: Path) -> None:
    layer = opened(
        pdf(write("My practice log"), write("of a very long month, in which much", 100, 200)), tmp_path
    )[1]
    assert layer is not None
    assert beginning(layer) == "My practice log of a very long month, in…"
