"""Several charts in one picture: siblings' on one table, or two printed to a page."""

import cv2
import numpy as np
import pytest
from plain_chart import draw_plain, plain_layout
from test_page import Recorder

from ingest.errors import PageError
from ingest.reading.page import read_pages
from ingest.reading.values import Grey, PageReading

OCTOBER = plain_layout()
CODES = ("MKJ7-9MPP", "4TFP-N4Q7")


def _side_by_side(*pages: Grey, gap: int = 60, down: bool = False) -> Grey:
    """Charts at 4 px/mm on a grey table."""
    small = [cv2.resize(page, (1118, 864), interpolation=cv2.INTER_AREA) for page in pages]
    framed = [np.pad(page, gap, constant_values=150) for page in small]
    return np.asarray(np.concatenate(framed, axis=0 if down else 1), np.uint8)


def _read(picture: Grey) -> list[PageReading]:
    return list(read_pages(picture, {"oct": OCTOBER}, dict.fromkeys(CODES, "oct"), Recorder()))


@pytest.mark.parametrize("down", [False, True])
def test_two_charts_in_one_picture_are_two_pages(down: bool) -> None:
    picture = _side_by_side(*(draw_plain(OCTOBER, code) for code in CODES), down=down)
    pages = _read(picture)
    assert sorted(page.code or "" for page in pages) == sorted(CODES)
    assert all(page.residual_mm < 0.4 for page in pages)


def test_siblings_in_a_mirrored_photo_are_both_read() -> None:
    picture = _side_by_side(*(draw_plain(OCTOBER, code) for code in CODES))
    assert {page.code for page in _read(np.ascontiguousarray(picture[:, ::-1]))} == set(CODES)


def test_a_chart_whose_code_is_spoilt_does_not_take_the_code_of_its_neighbour() -> None:
    pages = _read(_side_by_side(draw_plain(OCTOBER, CODES[0]), draw_plain(OCTOBER, None)))
    assert sorted((page.code_source, page.code or "") for page in pages) == [("", ""), ("qr", CODES[0])]


def test_a_second_chart_that_is_cut_off_is_never_blank_where_it_cannot_be_seen() -> None:
    first, second = (draw_plain(OCTOBER, code) for code in CODES)
    seen = 60 + 1118 + 60 + 60 + 140  # of the second only the marks at its left edge
    pages = _read(_side_by_side(first, second)[:, :seen])
    assert len(pages) == 2
    unseen = {box.name for box in OCTOBER.boxes if box.area.left * 4 > 150}
    assert len(unseen) > 30
    assert not any(box.is_blank for box in pages[1].readings if box.box in unseen)


def test_a_second_chart_that_cannot_be_placed_is_refused_and_the_first_one_stays(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def fail(*_: object) -> None:
        raise PageError("nothing fits")

    monkeypatch.setattr("ingest.reading.page.find_another", fail)
    picture = _side_by_side(*(draw_plain(OCTOBER, code) for code in CODES))
    pages = read_pages(picture, {"oct": OCTOBER}, dict.fromkeys(CODES, "oct"), Recorder())
    assert next(pages).code in CODES
    with pytest.raises(PageError, match="another chart in this picture"):
        next(pages)


def test_one_chart_is_one_page() -> None:
    assert len(_read(_side_by_side(draw_plain(OCTOBER, CODES[0])))) == 1
