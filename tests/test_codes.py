import logging

import cv2
import numpy as np
import pytest
from plain_chart import PX_PER_MM, draw_plain, plain_layout
from plain_photo import flat_photo, perspective

from ingest.chart.code import parse_code
from ingest.reading import codes
from ingest.reading.bend import Bend
from ingest.reading.codes import NO_CODE, FoundCode, read_code, read_letters, read_qr
from ingest.reading.flatten import Pose
from ingest.reading.ocr import Word
from ingest.reading.values import Grey

LAYOUT = plain_layout()
CODE = "MKJ7-9MPP"
POSE = Pose(perspective(LAYOUT, 90, 20), Bend.none(LAYOUT.paper.width, LAYOUT.paper.height))


def photo(page: Grey) -> Grey:
    return flat_photo(page, POSE.matrix)


def scrawled(page: Grey) -> Grey:
    """The page with the QR code scribbled over beyond repair."""
    qr = LAYOUT.qr
    first, last = (round(qr.left * PX_PER_MM), round(qr.top * PX_PER_MM)), (0, 0)
    last = (round(qr.right * PX_PER_MM), round(qr.bottom * PX_PER_MM))
    for step in range(0, last[0] - first[0], 14):
        cv2.line(page, (first[0] + step, first[1]), (last[0] - step, last[1]), 30, 6)
    return page


def test_the_code_under_test_is_one() -> None:
    assert parse_code(CODE) == CODE


def test_the_qr_code_gives_challenge_and_code() -> None:
    assert read_code(photo(draw_plain(LAYOUT, CODE)), POSE, LAYOUT) == FoundCode(CODE, "2027-10", "qr")


def test_a_qr_code_beside_its_place_is_found_in_the_whole_picture() -> None:
    page = draw_plain(LAYOUT)
    drawn = draw_plain(LAYOUT, CODE, letters=False)
    side, left, top = 300, round(LAYOUT.qr.left * PX_PER_MM) - 40, round(LAYOUT.qr.top * PX_PER_MM) - 40
    page[1700:2000, 600:900] = drawn[top : top + side, left : left + side]
    assert read_qr(photo(page), POSE, LAYOUT) == FoundCode(CODE, "2027-10", "qr")


def test_qr_codes_of_others_are_no_chart_codes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("plain_chart.qr_payload", lambda challenge, code: f"https://example.org/{code}")
    assert read_qr(photo(draw_plain(LAYOUT, CODE)), POSE, LAYOUT) is None


def test_where_the_qr_code_is_spoilt_the_letters_are_read() -> None:
    page = scrawled(draw_plain(LAYOUT, CODE))
    assert read_qr(photo(page), POSE, LAYOUT) is None
    assert read_code(photo(page), POSE, LAYOUT) == FoundCode(CODE, None, "letters")


def saying(monkeypatch: pytest.MonkeyPatch, *texts: str) -> None:
    """Let the print reader say one text after the other, the last one from then on."""
    left = list(texts)

    def read(*args: object) -> tuple[Word, ...]:
        text = left.pop(0) if len(left) > 1 else left[0]
        return tuple(Word(word, 90.0) for word in text.split())

    monkeypatch.setattr(codes, "read_words", read)


@pytest.mark.parametrize("said", ["Chart MKJ7-9MPP", "mkj7 - 9mpp\n", "| MKJ7—9MPP ."])
def test_letters_are_found_among_other_print(monkeypatch: pytest.MonkeyPatch, said: str) -> None:
    saying(monkeypatch, said)
    assert read_letters(photo(draw_plain(LAYOUT)), POSE, LAYOUT) == FoundCode(CODE, None, "letters")


@pytest.mark.parametrize("said", ["", "MKJ7-9MPQ", "MKJ79-MPP", "MKJ7-9M", "Charts and codes"])
def test_a_wrong_check_character_is_no_code(monkeypatch: pytest.MonkeyPatch, said: str) -> None:
    saying(monkeypatch, said)
    assert read_code(photo(draw_plain(LAYOUT)), POSE, LAYOUT) == NO_CODE


KNOWN = (CODE, "4TFP-N4Q7")


@pytest.mark.parametrize("said", ["MKJ7-9MPQ", "MKJ-9MPP", "MKJ79-MPP", "MKJ7-9MPP4", "WMKJ7-9MPP"])
def test_a_known_code_is_known_though_a_letter_is_misread(monkeypatch: pytest.MonkeyPatch, said: str) -> None:
    saying(monkeypatch, said)
    assert read_code(photo(draw_plain(LAYOUT)), POSE, LAYOUT, KNOWN) == FoundCode(CODE, None, "letters")


@pytest.mark.parametrize("said", ["MKJ7-9MQQ", "MKJ7-9M", "", "PPM9-7JKM"])
def test_two_slips_are_too_many(monkeypatch: pytest.MonkeyPatch, said: str) -> None:
    saying(monkeypatch, said)
    assert read_code(photo(draw_plain(LAYOUT)), POSE, LAYOUT, KNOWN) == NO_CODE


def test_between_two_known_codes_nothing_is_guessed(monkeypatch: pytest.MonkeyPatch) -> None:
    saying(monkeypatch, "MKJ7-9MP4")  # one letter from each
    assert read_code(photo(draw_plain(LAYOUT)), POSE, LAYOUT, (CODE, "MKJ7-9MPQ")) == NO_CODE


def test_another_way_to_look_may_show_the_known_code(monkeypatch: pytest.MonkeyPatch) -> None:
    saying(monkeypatch, "4PTF-NN", "", "4TFP-N4Q7")
    assert read_code(photo(draw_plain(LAYOUT)), POSE, LAYOUT, KNOWN).code == "4TFP-N4Q7"


def test_a_good_code_that_is_not_known_is_given_as_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    saying(monkeypatch, "4TFP-N4Q7")
    assert read_code(photo(draw_plain(LAYOUT)), POSE, LAYOUT, (CODE,)).code == "4TFP-N4Q7"


def test_without_tesseract_there_is_a_note_and_no_code(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setenv("PATH", "/nowhere")
    with caplog.at_level(logging.INFO):
        assert read_code(photo(scrawled(draw_plain(LAYOUT, CODE))), POSE, LAYOUT) == NO_CODE
    assert "Tesseract is not installed" in caplog.text


def test_a_faint_blurred_code_is_still_read() -> None:
    page = cv2.GaussianBlur(draw_plain(LAYOUT, CODE, letters=False), (0, 0), 3.0)
    faint = np.asarray(140 + photo(np.asarray(page, np.uint8)) * 0.2, np.uint8)
    assert read_qr(faint, POSE, LAYOUT) == FoundCode(CODE, "2027-10", "qr")
