"""The name in a chart's name box: printed there, or written or typed on a spare chart."""

import cv2
import numpy as np

from ingest.chart.layout import Layout
from ingest.reading.numerals import FLAT_PX_PER_MM
from ingest.reading.ocr import ONE_BLOCK, read_words
from ingest.reading.values import Grey

_LARGER = 2  # times; so that small letters come out about 30 px high
_AROUND_PX = 24  # Tesseract wants paper around the letters
_SURE_LEAST = 10.0  # of 100, Tesseract's own; under it, it sees letters in bare paper
LONGEST = 80  # letters kept; a name box has no room for more


def read_name(flat_jpeg: bytes, layout: Layout) -> str:
    """What Tesseract makes of the name box, for a comparison with names that are known; "" for nothing.

    flat_jpeg: the flattened page, as in `PageReading`. Raises OcrError.
    """
    picture = _name_box(flat_jpeg, layout)
    if picture is None:
        return ""
    words = [
        word.text
        for word in read_words(picture, ONE_BLOCK)
        if word.confidence >= _SURE_LEAST and any(map(str.isalpha, word.text))
    ]
    return " ".join(words)[:LONGEST].strip()


def _name_box(flat_jpeg: bytes, layout: Layout) -> Grey | None:
    flat = cv2.imdecode(np.frombuffer(flat_jpeg, np.uint8), cv2.IMREAD_GRAYSCALE) if flat_jpeg else None
    if flat is None:
        return None
    area = layout.name
    left, top, right, bottom = (
        max(0, round(edge * FLAT_PX_PER_MM)) for edge in (area.left, area.top, area.right, area.bottom)
    )
    box = flat[top:bottom, left:right]
    if not box.size:
        return None
    large = cv2.resize(box, None, fx=_LARGER, fy=_LARGER, interpolation=cv2.INTER_CUBIC)
    around = _AROUND_PX
    bordered = cv2.copyMakeBorder(large, around, around, around, around, cv2.BORDER_REPLICATE)
    return np.asarray(bordered, np.uint8)
