"""Which chart this is: the QR code, or the same code in plain letters."""

import logging
import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass

import cv2
import numpy as np
import zxingcpp
from rapidfuzz.distance import Levenshtein

from ingest.chart.code import ALPHABET, parse_code, parse_payload
from ingest.chart.layout import Layout
from ingest.paper import Box
from ingest.reading.flatten import Pose, box_corners, flatten
from ingest.reading.ocr import ONE_LINE, RAW_LINE, OcrError, read_words
from ingest.reading.values import Floats, Grey

log = logging.getLogger(__name__)

_QR_PX_PER_MM = 8.0  # six or more pixels a module
_QR_AROUND_MM = 4.0  # the quiet zone, and some slack where the sheet curls
_WHOLE_SIDE = 2000  # long side, px, of the whole picture when the code is looked for all over it
_LETTERS_PX_PER_MM = 14.0  # capitals of 3 mm come out about 40 px high, which print readers like best
_LETTERS_AROUND_MM = 1.5
# So many letters of a known code may be misread, added or lost. Codes are so far apart that of 500 none is
# likely to be as near to anything else: 21 letters in 8 places make 3.8e10 texts, and 500 x 350 of them are
# within one slip of one of the codes.
_SLIPS_MOST = 1

_QR = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)


@dataclass(frozen=True, slots=True)
class FoundCode:
    """code: `K7QF-3M4P` or None. challenge: `2027-10`, from the QR code only. source: "qr", "letters", ""."""

    code: str | None
    challenge: str | None
    source: str


NO_CODE = FoundCode(None, None, "")


def read_code(grey: Grey, pose: Pose, layout: Layout, known: Collection[str] = ()) -> FoundCode:
    """The chart code of a placed page, by whatever still shows it. known: the codes that were printed."""
    return read_qr(grey, pose, layout) or read_letters(grey, pose, layout, known) or NO_CODE


def read_qr(grey: Grey, pose: Pose, layout: Layout) -> FoundCode | None:
    """The QR code: first where it should be, then anywhere in the picture."""
    around = layout.qr.grown(_QR_AROUND_MM)
    for crop in _ways_to_see(flatten(grey, pose, around, _QR_PX_PER_MM)):
        if found := _decoded(crop):
            return found
    factor = max(grey.shape) / _WHOLE_SIDE
    if factor <= 1:
        return _decoded(grey, _outline(pose, layout))
    size = (max(1, round(grey.shape[1] / factor)), max(1, round(grey.shape[0] / factor)))
    small = np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), np.uint8)
    return _decoded(small, _outline(pose, layout) / factor)


def _outline(pose: Pose, layout: Layout) -> Floats:
    """The sheet in the picture: a code beside it is that of another chart in the same photo."""
    return pose.to_picture(box_corners(Box(0, 0, layout.paper.width, layout.paper.height)))


def read_letters(grey: Grey, pose: Pose, layout: Layout, known: Collection[str] = ()) -> FoundCode | None:
    """The code in plain letters, by OCR. Trouble with the OCR program only means that nothing is read.

    known: the codes that were printed; a text that is one of them but for one letter is taken for it.
    """
    crop = flatten(grey, pose, layout.letters.grown(_LETTERS_AROUND_MM), _LETTERS_PX_PER_MM)
    unknown = ""  # a good code, but not one of those: another chart's, or two letters misread
    try:
        for picture, mode in _ways_to_read(crop):
            text = " ".join(word.text for word in read_words(picture, mode, f"{ALPHABET}-"))
            codes = [code for word in _CODE.findall(text) if (code := parse_code(word))]
            if found := next((code for code in codes if code in known), "") or _nearest(text, known):
                return FoundCode(found, None, "letters")
            if unknown in codes or (codes and not known):  # read twice, it is what stands there
                return FoundCode(unknown or codes[0], None, "letters")
            unknown = unknown or next(iter(codes), "")
    except OcrError as trouble:
        log.info("the print reader did not work: %s", trouble)
    return FoundCode(unknown, None, "letters") if unknown else None


_CODE = re.compile(r"\w{4}\s?[-‐‑‒–—−_.]\s?\w{4}")


def _nearest(text: str, known: Collection[str]) -> str:
    """The known code that the text is, but for a slip; "" if none is, or two are."""
    read = re.sub(rf"[^{ALPHABET}]", "", text)
    near = [
        code
        for code in known
        if Levenshtein.distance(code.replace("-", ""), read, score_cutoff=_SLIPS_MOST) <= _SLIPS_MOST
    ]
    return near[0] if len(near) == 1 else ""


def _ways_to_read(crop: Grey) -> Iterator[tuple[Grey, int]]:
    """The letters made easier to read in different ways, and the mode for each; what mostly does it is first.

    The others were chosen on photos of the severity "hard" in which the first two read nothing.
    """
    even = np.asarray(cv2.createCLAHE(2.0, (2, 2)).apply(crop), np.uint8)
    yield even, ONE_LINE
    yield even, RAW_LINE
    yield _smaller(_lit_evenly(crop)), ONE_LINE
    soft = cv2.GaussianBlur(crop, (0, 0), 4.0)
    sharp = np.asarray(cv2.addWeighted(soft, 3, cv2.GaussianBlur(soft, (0, 0), 10.0), -2, 0), np.uint8)
    yield sharp, ONE_LINE
    yield _smaller(sharp), RAW_LINE


def _lit_evenly(crop: Grey) -> Grey:
    light = cv2.GaussianBlur(crop, (0, 0), 60.0).astype(np.float32)
    even = np.clip(crop.astype(np.float32) / np.maximum(light, 1) * 220, 0, 255).astype(np.uint8)
    return np.asarray(cv2.normalize(even, even.copy(), 0, 255, cv2.NORM_MINMAX), np.uint8)


def _smaller(crop: Grey) -> Grey:
    return np.asarray(cv2.resize(crop, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), np.uint8)


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


def _decoded(picture: Grey, outline: Floats | None = None) -> FoundCode | None:
    """outline: where in the picture the code's middle must lie, shape (4, 2); None: anywhere."""
    if min(picture.shape) < 20:
        return None
    for result in zxingcpp.read_barcodes(np.ascontiguousarray(picture), formats=_QR):
        if outline is not None and not _is_inside(result.position, outline):
            continue
        if payload := parse_payload(result.text):
            return FoundCode(payload[1], payload[0], "qr")
    return None


def _is_inside(position: zxingcpp.Position, outline: Floats) -> bool:
    corners = (position.top_left, position.top_right, position.bottom_right, position.bottom_left)
    middle = (sum(corner.x for corner in corners) / 4, sum(corner.y for corner in corners) / 4)
    return cv2.pointPolygonTest(outline.astype(np.float32), middle, False) >= 0
