"""The marks that cameras look for: AprilTags and the QR code, as black squares in millimetres."""

from collections.abc import Sequence

import cv2
import segno

from ingest.chart.layout import QR_MODULES, TAG_CELLS, Tag
from ingest.paper import Box


def tag_squares(tag: Tag) -> list[Box]:
    """The black cells of an AprilTag 36h11, border included."""
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    picture = cv2.aruco.generateImageMarker(family, tag.id, TAG_CELLS)  # one pixel a cell; black is 0
    return _squares([[not pixel for pixel in row] for row in picture.tolist()], tag.area)


def qr_squares(payload: str, area: Box) -> list[Box]:
    """The dark modules of the QR code: version 2, error correction H, in alphanumeric mode.

    Raises ValueError if the payload does not fit.
    """
    code = segno.make_qr(payload, version=2, error="h", mode="alphanumeric", boost_error=False)
    if code.symbol_size(border=0) != (QR_MODULES, QR_MODULES):
        raise ValueError(f"the QR code should have {QR_MODULES} modules a side, not {code.symbol_size()}")
    return _squares([[bool(module) for module in row] for row in code.matrix], area)


def _squares(dark: Sequence[Sequence[bool]], area: Box) -> list[Box]:
    """One box for each stretch of dark cells in a row."""
    cell = area.width / len(dark)
    boxes = []
    for row, cells in enumerate(dark):
        column = 0
        while column < len(cells):
            start = column
            while column < len(cells) and cells[column]:
                column += 1
            if column > start:
                boxes.append(
                    Box(area.left + start * cell, area.top + row * cell, (column - start) * cell, cell)
                )
            column += 1
    return boxes
