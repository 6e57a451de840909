"""Boxes cut out of the flattened page."""

from collections.abc import Iterable

import numpy as np

from ingest.chart.layout import ChartBox
from ingest.paper import Box
from ingest.reading.numerals import CROP_MARGIN_MM, FLAT_PX_PER_MM
from ingest.reading.values import Grey


def crop(flat: Grey, area: Box, px_per_mm: float = FLAT_PX_PER_MM) -> Grey:
    """The part of a flattened page in `area` (mm), to the nearest pixel; cut off at the page's edge."""
    left, top = round(area.left * px_per_mm), round(area.top * px_per_mm)
    width, height = round(area.width * px_per_mm), round(area.height * px_per_mm)
    return np.ascontiguousarray(flat[max(0, top) : max(0, top + height), max(0, left) : max(0, left + width)])


def box_crops(flat: Grey, boxes: Iterable[ChartBox]) -> list[Grey]:
    """What the handwriting reader wants: each box's area and CROP_MARGIN_MM around it."""
    return [crop(flat, box.area.grown(CROP_MARGIN_MM)) for box in boxes]
