import io
from collections.abc import Sequence

import cv2
import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageOps
from plain_chart import PX_PER_MM, draw_plain, plain_layout
from plain_photo import flat_photo, perspective, project

from ingest.chart.layout import Kind
from ingest.demo.camera import ORDINARY, photograph
from ingest.errors import PageError
from ingest.reading.numerals import CROP_MARGIN_MM, FLAT_PX_PER_MM, Numerals
from ingest.reading.page import read_page
from ingest.reading.values import Candidate, Grey, PageReading

OCTOBER = plain_layout()
MARCH = plain_layout("2028-03")
A4 = plain_layout("2027-10", "a4")
CODE = "MKJ7-9MPP"
NAMES = [box.name for box in (*OCTOBER.boxes, *OCTOBER.outside)]


class Recorder(Numerals):
    """Stands in for the handwriting reader: everything is blank, and the crops are kept."""

    def __init__(self) -> None:
        self.crops: list[Grey] = []
        self.kinds: list[Kind] = []

    def read(self, crops: Sequence[Grey], kinds: Sequence[Kind]) -> list[tuple[tuple[Candidate, ...], float]]:
        self.crops, self.kinds = list(crops), list(kinds)
        return [((Candidate(None, "", 0.99),), 0.0) for _ in crops]


def read(grey: Grey, numerals: Numerals | None = None) -> PageReading:
    return read_page(grey, {"oct": OCTOBER}, {CODE: "oct"}, numerals or Recorder())


@pytest.mark.parametrize("turn", [0, 90, 180, 270, 45, 200])
def test_a_page_is_read_at_any_turn(turn: int) -> None:
    numerals = Recorder()
    page = read(flat_photo(draw_plain(OCTOBER, CODE), perspective(OCTOBER, turn, 20, scale=3.0)), numerals)
    assert (page.code, page.code_challenge, page.code_source) == (CODE, "2027-10", "qr")
    assert page.tags_seen == 8
    assert page.residual_mm < 0.2
    assert [reading.box for reading in page.readings] == NAMES
    assert all(reading.is_blank for reading in page.readings)
    area = OCTOBER.boxes[0].area.grown(CROP_MARGIN_MM)
    assert numerals.crops[0].shape == (
        round(area.height * FLAT_PX_PER_MM),
        round(area.width * FLAT_PX_PER_MM),
    )
    assert numerals.kinds[0] is Kind.MINUTES


def test_the_flattened_page_is_a_grey_jpeg_of_the_whole_sheet() -> None:
    page = read(flat_photo(draw_plain(OCTOBER, CODE), perspective(OCTOBER, 180)))
    with Image.open(io.BytesIO(page.flat_jpeg)) as picture:
        assert picture.format == "JPEG"
        assert picture.mode == "L"
        assert picture.size == (round(279.4 * FLAT_PX_PER_MM), round(215.9 * FLAT_PX_PER_MM))
        flat = np.asarray(picture)
    tag = OCTOBER.tags[0].area
    left, top = round(tag.left * FLAT_PX_PER_MM), round(tag.top * FLAT_PX_PER_MM)
    assert flat[top + 2 : top + 6, left + 2 : left + 60].mean() < 60  # the first tag's black border


def test_a_mirrored_photo_is_turned_back() -> None:
    photo = flat_photo(draw_plain(OCTOBER, CODE), perspective(OCTOBER, 90, 15, scale=3.8))
    page = read(np.ascontiguousarray(photo[:, ::-1]))
    assert (page.code, page.tags_seen) == (CODE, 8)
    assert page.residual_mm < 0.2


def test_a_crumpled_phone_photo_is_read() -> None:
    paper = (OCTOBER.paper.width, OCTOBER.paper.height)
    photo = photograph(draw_plain(OCTOBER, CODE), paper, np.random.default_rng(4), ORDINARY)
    grey = np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(photo.jpeg))).convert("L"))
    page = read(grey)
    assert page.code == CODE
    assert page.residual_mm < 0.3


def test_six_of_eight_tags_may_be_missing() -> None:
    photo = flat_photo(draw_plain(OCTOBER, CODE, without_tags=(1, 2, 3, 5, 6, 7)), perspective(OCTOBER, 0, 5))
    page = read(photo)
    assert (page.code, page.tags_seen) == (CODE, 2)
    assert page.residual_mm < 0.3


def test_a_page_with_one_tag_is_refused() -> None:
    photo = flat_photo(draw_plain(OCTOBER, CODE, without_tags=range(1, 8)), perspective(OCTOBER))
    with pytest.raises(PageError, match="only one can be made out"):
        read(photo)


def test_a_box_cut_off_or_covered_is_never_blank() -> None:
    drawn = draw_plain(OCTOBER, CODE)
    hidden = OCTOBER.box("day:2027-10-20").frame.grown(3.0)
    rows = slice(round(hidden.top * PX_PER_MM), round(hidden.bottom * PX_PER_MM))
    columns = slice(round(hidden.left * PX_PER_MM), round(hidden.right * PX_PER_MM))
    drawn[rows, columns] = 250  # a slip of paper
    photo = flat_photo(drawn, perspective(OCTOBER, 0, 10))
    cut = np.ascontiguousarray(photo[:, :1290])  # without the right edge: initials and QR code
    page = read(cut)
    readings = {reading.box: reading for reading in page.readings}
    assert set(readings) == set(NAMES)
    for lost in ("day:2027-10-20", "initials:1", "initials:5"):
        assert readings[lost].best == Candidate(None, "?", 1.0)
    assert readings["day:2027-10-05"].is_blank
    assert sum(not reading.is_blank for reading in page.readings) <= 8


def test_the_layout_is_chosen_by_the_code() -> None:
    layouts, codes = {"oct": OCTOBER, "mar": MARCH, "a4": A4}, {CODE: "a4", "4TFP-N4Q7": "mar"}
    photo = flat_photo(draw_plain(A4, CODE), perspective(A4, 0, 10, scale=4.2))
    page = read_page(photo, layouts, codes, Recorder())
    assert [reading.box for reading in page.readings] == [box.name for box in (*A4.boxes, *A4.outside)]
    assert page.residual_mm < 0.2


def test_without_a_code_the_layout_whose_frames_fit_is_taken() -> None:
    february = plain_layout("2026-02", "letter")  # four weeks: other rows
    photo = flat_photo(draw_plain(february), perspective(february, 180, 10))
    page = read_page(photo, {"oct": OCTOBER, "feb": february}, {CODE: "oct"}, Recorder())
    assert (page.code, page.code_source) == (None, "")
    assert page.readings[0].box == "day:2026-02-01"
    assert page.residual_mm < 0.2


def test_a_chart_of_another_challenge_is_flattened_but_not_read() -> None:
    page = read_page(
        flat_photo(draw_plain(MARCH, CODE), perspective(MARCH)), {"oct": OCTOBER}, {}, Recorder()
    )
    assert (page.code, page.code_challenge, page.code_source) == (CODE, "2028-03", "qr")
    assert page.readings == ()
    assert len(page.flat_jpeg) > 10_000
    assert page.tags_seen == 8


def test_an_unknown_code_of_this_challenge_is_read_all_the_same() -> None:
    photo = flat_photo(draw_plain(OCTOBER, CODE), perspective(OCTOBER))
    page = read_page(photo, {"oct": OCTOBER}, {"4TFP-N4Q7": "oct"}, Recorder())
    assert page.code == CODE
    assert len(page.readings) == len(NAMES)


def test_no_layouts_at_all_is_refused() -> None:
    with pytest.raises(PageError, match="print the charts first"):
        read_page(flat_photo(draw_plain(OCTOBER), perspective(OCTOBER)), {}, {}, Recorder())


def texture(seed: int) -> Grey:
    """Something furry: smoothed noise at several sizes."""
    rng = np.random.default_rng(seed)
    picture = np.zeros((700, 900), np.float32)
    for size in (2, 8, 30):
        picture += cv2.GaussianBlur(rng.normal(0, size, picture.shape).astype(np.float32), (0, 0), size) * 8
    return np.asarray(np.clip(picture + 128, 0, 255), np.uint8)


@pytest.mark.parametrize(
    "picture",
    [np.full((900, 1200), 245, np.uint8), np.zeros((900, 1200), np.uint8), texture(1), texture(2)],
    ids=["paper", "dark", "fur", "more fur"],
)
def test_what_is_no_chart_is_refused_in_plain_words(picture: Grey) -> None:
    with pytest.raises(PageError, match="no chart was found in this picture"):
        read(picture)


@settings(max_examples=10, deadline=None)
@given(
    height=st.integers(0, 300),
    width=st.integers(0, 300),
    levels=st.integers(1, 256),
    seed=st.integers(0, 1000),
)
@example(height=0, width=0, levels=1, seed=0)
@example(height=1, width=1, levels=256, seed=0)
@example(height=1, width=20_000, levels=256, seed=0)
@example(height=4000, width=101, levels=2, seed=0)
def test_any_array_is_a_page_or_a_refusal(height: int, width: int, levels: int, seed: int) -> None:
    grey = np.random.default_rng(seed).integers(0, levels, (height, width)).astype(np.uint8)
    with pytest.raises(PageError):
        read(grey)


# -- a picture that can be had finer ------------------------------------------------------------------


def fine_and_coarse(scale: float) -> tuple[Grey, Grey]:
    """A photo with `scale` px/mm in its coarse form and twice that in its fine one."""
    twice = np.array([[2, 0, 0.5], [0, 2, 0.5], [0, 0, 1]])
    matrix = twice @ perspective(OCTOBER, 90 if scale < 4 else 0, 10, scale)
    fine = flat_photo(draw_plain(OCTOBER, CODE), matrix, (3200, 2400))
    return fine, np.asarray(cv2.resize(fine, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), np.uint8)


def read_either(coarse: Grey, fine: Grey, numerals: Numerals | None = None) -> tuple[PageReading, bool]:
    """The page as read, and whether the fine picture was asked for."""
    asked = []

    def finer() -> Grey:
        asked.append(True)
        return fine

    page = read_page(coarse, {"oct": OCTOBER}, {CODE: "oct"}, numerals or Recorder(), finer=finer)
    return page, bool(asked)


def test_a_chart_that_fills_the_picture_is_read_as_it_is() -> None:
    fine, coarse = fine_and_coarse(5.4)
    page, asked = read_either(coarse, fine)
    assert (page.code, page.tags_seen, asked) == (CODE, 8, False)


@pytest.mark.parametrize("mirrored", [False, True])
def test_a_small_chart_in_a_large_photo_is_read_in_all_its_detail(mirrored: bool) -> None:
    fine, coarse = fine_and_coarse(3.0)
    if mirrored:
        fine, coarse = (np.ascontiguousarray(picture[:, ::-1]) for picture in (fine, coarse))
    either, whole = Recorder(), Recorder()
    page, asked = read_either(coarse, fine, either)
    assert (page.code, page.tags_seen, asked) == (CODE, 8, True)
    assert page.residual_mm < 0.2
    read(fine, whole)
    read(coarse, coarsely := Recorder())
    apart, lost = (
        np.mean([np.abs(a.astype(float) - b).mean() for a, b in zip(each.crops, whole.crops, strict=True)])
        for each in (either, coarsely)
    )
    assert apart < lost / 4


def test_what_the_coarse_picture_does_not_show_is_looked_for_in_the_fine_one() -> None:
    fine, coarse = fine_and_coarse(5.4)
    page, asked = read_either(np.full_like(coarse, 128), fine)
    assert (page.code, page.tags_seen, asked) == (CODE, 8, True)
    left, top = project(perspective(OCTOBER, 0, 10, 5.4), np.array([[OCTOBER.qr.left, OCTOBER.qr.top]]))[0]
    coarse[int(top) : int(top) + 130, int(left) : int(left) + 130] = 250
    page, asked = read_either(coarse, fine)
    assert (page.code, asked) == (CODE, True)
