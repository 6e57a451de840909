"""The name in the name box, and on which pages it is read at all."""

from dataclasses import replace
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
import pytest
from factories import page_reading
from PIL import Image, ImageDraw, ImageFont
from plain_chart import draw_plain, plain_layout

from ingest.chart.layout import Layout
from ingest.check.written import guess_written
from ingest.collect.reader import with_name
from ingest.plan.roster import Student
from ingest.reading import name_box
from ingest.reading.name_box import read_name
from ingest.reading.numerals import FLAT_PX_PER_MM
from ingest.reading.ocr import OcrError, OcrMissingError
from ingest.reading.values import PageReading
from ingest.shipped import templates

LAYOUT = plain_layout()
LAYOUTS = {"oct": LAYOUT}
SCHOOL = [Student("S1", "Maria", "Lopez", "A"), Student("S2", "D'Andre", "Whitfield", "A")]


@lru_cache
def page(name: str = "", layout: Layout = LAYOUT) -> bytes:
    """A flattened page with a name in its box, as JPEG; a little soft, as photos are."""
    area = layout.name
    drawn = Image.fromarray(draw_plain(layout))
    font = ImageFont.truetype(str(templates() / "fonts" / "Andika-Regular.ttf"), 52)
    ImageDraw.Draw(drawn).text((area.left * 10 + 15, area.top * 10 + 8), name, fill=70, font=font)
    size = (round(layout.paper.width * FLAT_PX_PER_MM), round(layout.paper.height * FLAT_PX_PER_MM))
    small = cv2.resize(np.asarray(drawn), size, interpolation=cv2.INTER_AREA)
    soft = cv2.GaussianBlur(small, (0, 0), 0.8)
    return cv2.imencode(".jpg", soft, [cv2.IMWRITE_JPEG_QUALITY, 85])[1].tobytes()


@pytest.mark.parametrize("name", ["Maria Lopez", "D'Andre Whitfield"])
def test_a_printed_name_is_read_well_enough_to_know_the_student(name: str) -> None:
    guess = guess_written(read_name(page(name), LAYOUT), SCHOOL)
    assert [student.name for student in SCHOOL if student.id == guess.student_id] == [name]
    assert guess.score == 100


def test_an_empty_name_box_names_nobody() -> None:
    assert guess_written(read_name(page(), LAYOUT), SCHOOL).student_id == ""


@pytest.mark.parametrize("jpeg", [b"", b"no picture"])
def test_without_a_picture_there_is_no_name(jpeg: bytes) -> None:
    assert read_name(jpeg, LAYOUT) == ""


# -- on which pages -----------------------------------------------------------------------------------


def read(code: str | None, **changes: Any) -> PageReading:
    plain = page_reading((), code=code, layout="oct", flat_jpeg=page("Maria Lopez"))
    return replace(plain, **changes) if changes else plain


@pytest.mark.parametrize(
    ("code", "is_read"),
    [("K001", False), ("X001", True), (None, True), ("ZZZZ", True)],
    ids=["a student's chart", "a spare chart", "no code", "an unknown code"],
)
def test_the_name_is_read_where_the_code_does_not_tell(code: str | None, is_read: bool) -> None:
    found, note = with_name(LAYOUTS, {"K001"}, read(code))
    assert (found.written_name == "Maria Lopez") == is_read
    assert note == ""


def test_what_the_file_says_as_text_is_not_read_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(name_box, "read_words", None)
    found, _ = with_name(LAYOUTS, {"K001"}, read("X001", written_name="Ana"))
    assert found.written_name == "Ana"


def test_a_page_of_another_month_has_no_name_box_of_ours(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(name_box, "read_words", None)
    assert with_name(LAYOUTS, {"K001"}, read("ZZZZ", layout=None))[0].written_name == ""


@pytest.mark.parametrize(
    ("trouble", "note"),
    [
        (OcrError("Tesseract hung"), "The name on it could not be read: Tesseract hung."),
        (OcrMissingError("Tesseract is not installed"), ""),  # which is said once for all
    ],
)
def test_trouble_is_a_note_and_the_page_is_read_all_the_same(
    monkeypatch: pytest.MonkeyPatch, trouble: OcrError, note: str
) -> None:
    def fail(*args: object) -> str:
        raise trouble

    monkeypatch.setattr(name_box, "read_words", fail)
    before = read("X001")
    assert with_name(LAYOUTS, {"K001"}, before) == (before, note)
