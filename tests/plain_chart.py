"""A chart drawn plainly from its layout with OpenCV: quick, and apart from the code that draws the PDF."""

from collections.abc import Iterable
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import Literal

import cv2
import numpy as np
import segno

from ingest.chart.code import qr_payload
from ingest.chart.design import load_design
from ingest.chart.layout import ChartBox, Layout, lay_out
from ingest.paper import Box
from ingest.plan.challenge import Challenge, Days
from ingest.plan.month import Month
from ingest.reading.values import Grey

PX_PER_MM = 10
FRAME_GREY = 166  # the shipped design's 0.65 of white
SHIFT = 4  # fractional bits of OpenCV's drawing coordinates


@lru_cache
def plain_layout(month: str = "2027-10", paper: Literal["letter", "a4"] = "letter") -> Layout:
    days = Days(no_school=frozenset({date.fromisoformat(f"{month}-11")}))
    challenge = Challenge(title="Practice", month=Month.parse(month), paper=paper, days=days)
    return lay_out(challenge, load_design("minutes", Path()))


def draw_plain(
    layout: Layout,
    code: str | None = None,
    *,
    challenge: str | None = None,
    qr: bool = True,
    letters: bool = True,
    without_tags: Iterable[int] = (),
) -> Grey:
    """The whole page at PX_PER_MM, with day numbers above the boxes, but nothing written in them."""
    height, width = round(layout.paper.height * PX_PER_MM), round(layout.paper.width * PX_PER_MM)
    page = np.full((height, width), 250, np.uint8)
    for box in layout.boxes:  # the cells outside the month have no frame
        _frame(page, box)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    for tag in layout.tags:
        if tag.id not in set(without_tags):
            side = round(tag.area.width * PX_PER_MM)
            _paste(
                page, np.asarray(cv2.aruco.generateImageMarker(dictionary, tag.id, side), np.uint8), tag.area
            )
    if code and qr:
        made = segno.make(qr_payload(challenge or layout.challenge, code), error="q", boost_error=False)
        modules = np.array([[0 if dark else 255 for dark in row] for row in made.matrix], np.uint8)
        side = round(layout.qr.width * PX_PER_MM)
        _paste(
            page,
            np.asarray(cv2.resize(modules, (side, side), interpolation=cv2.INTER_NEAREST), np.uint8),
            layout.qr,
        )
    if code and letters:
        at = (round(layout.letters.left * PX_PER_MM) + 10, round(layout.letters.bottom * PX_PER_MM) - 12)
        cv2.putText(page, code, at, cv2.FONT_HERSHEY_SIMPLEX, 1.1, 20, 3, cv2.LINE_AA)
    return page


def _frame(page: Grey, box: ChartBox) -> None:
    frame = box.frame
    ends = [(frame.left, frame.top), (frame.right, frame.bottom)]
    first, last = (tuple(round((v * PX_PER_MM - 0.5) * 2**SHIFT) for v in end) for end in ends)
    cv2.rectangle(page, first, last, FRAME_GREY, 4, cv2.LINE_AA, SHIFT)
    at = (round(frame.left * PX_PER_MM) + 8, round(frame.top * PX_PER_MM) - 10)
    cv2.putText(page, box.name[-2:], at, cv2.FONT_HERSHEY_SIMPLEX, 1.0, 90, 2, cv2.LINE_AA)


def _paste(page: Grey, picture: Grey, area: Box) -> None:
    top, left = round(area.top * PX_PER_MM), round(area.left * PX_PER_MM)
    page[top : top + picture.shape[0], left : left + picture.shape[1]] = picture
