"""Which chart this is: the QR code, or the same code in plain letters."""

import logging
import re
from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
import zxingcpp

from ingest.chart.code import ALPHABET, parse_code, parse_payload
from ingest.chart.layout import Layout
from ingest.reading.flatten import Pose, flatten
from ingest.reading.values import Grey

log = logging.getLogger(__name__)

_QR_PX_PER_MM = 8.0  # six or more pixels a module
_QR_AROUND_MM = 4.0  # the quiet zone, and some slack where the sheet curls
_WHOLE_SIDE = 2000  # long side, px, of the whole picture when the code is looked for all over it
_LETTERS_PX_PER_MM = 14.0  # capitals of 3 mm come out about 40 px high, which print readers like best
_LETTERS_AROUND_MM = 1.5
OCR_SECONDS = 8.0  # more than ten times what one line takes; then it has hung

_QR = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)


@dataclass(frozen=True, slots=True)
class FoundCode:
    """code: `K7QF-3M4P` or None. challenge: `2027-10`, from the QR code only. source: "qr", "letters", ""."""

    code: str | None
    challenge: str | None
    source: str


NO_CODE = FoundCode(None, None, "")


def read_code(grey: Grey, pose: Pose, layout: Layout) -> FoundCode:
    """The chart code of a placed page, by whatever still shows it."""
    return read_qr(grey, pose, layout) or read_letters(grey, pose, layout) or NO_CODE


def read_qr(grey: Grey, pose: Pose, layout: Layout) -> FoundCode | None:
    """The QR code: first where it should be, then anywhere in the picture."""
    around = layout.qr.grown(_QR_AROUND_MM)
    for crop in _ways_to_see(flatten(grey, pose, around, _QR_PX_PER_MM)):
        if found := _decoded(crop):
            return found
    factor = max(grey.shape) / _WHOLE_SIDE
    if factor <= 1:
        return _decoded(grey)
    size = (max(1, round(grey.shape[1] / factor)), max(1, round(grey.shape[0] / factor)))
    return _decoded(np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), np.uint8))


def read_letters(grey: Grey, pose: Pose, layout: Layout) -> FoundCode | None:
    """The code in plain letters, by OCR. Trouble with the OCR program only means that nothing is read."""
    crop = flatten(grey, pose, layout.letters.grown(_LETTERS_AROUND_MM), _LETTERS_PX_PER_MM)
    crop = np.asarray(cv2.createCLAHE(2.0, (2, 2)).apply(crop), np.uint8)
    for text in _printed_lines(crop):
        for word in re.findall(r"\w{4}\s?[-‐‑‒–—−_.]\s?\w{4}", text):
            if code := parse_code(word):
                return FoundCode(code, None, "letters")
    return None


def _ways_to_see(crop: Grey) -> Iterator[Grey]:
    """The same crop made easier to read in different ways, cheapest first."""
    yield crop
    soft = np.asarray(cv2.GaussianBlur(crop, (0, 0), 1.5), np.uint8)
    yield np.asarray(
        cv2.addWeighted(crop, 2.5, np.asarray(cv2.GaussianBlur(crop, (0, 0), 4.0)), -1.5, 0), np.uint8
    )
    big = np.asarray(cv2.resize(crop, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC), np.uint8)
    yield big
    for window in (31, 61):
        yield np.asarray(
            cv2.adaptiveThreshold(soft, 255, cv2.ADAPTIVE_THRESH_GAUSSIAN_C, cv2.THRESH_BINARY, window, 3),
            np.uint8,
        )
    yield np.asarray(cv2.threshold(soft, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)[1], np.uint8)


def _decoded(picture: Grey) -> FoundCode | None:
    if min(picture.shape) < 20:
        return None
    for result in zxingcpp.read_barcodes(np.ascontiguousarray(picture), formats=_QR):
        if payload := parse_payload(result.text):
            return FoundCode(payload[1], payload[0], "qr")
    return None


def _printed_lines(crop: Grey) -> Iterator[str]:
    import pytesseract  # here: it loads pandas, and hardly one chart in a hundred needs it

    for layout in (7, 13):  # a line of text, and a raw line
        config = f"--psm {layout} -c tessedit_char_whitelist={ALPHABET}-"
        try:
            yield pytesseract.image_to_string(crop, lang="eng", config=config, timeout=OCR_SECONDS)
        except (OSError, RuntimeError, ValueError) as problem:
            # Missing, killed by its own crash, hung, or without its language file: the batch goes on.
            log.info("the print reader did not work: %s", problem)
            return
