"""Pictures of single boxes and of whole pages, cut out of the flattened pages in the ledger."""

from collections.abc import Mapping

import cv2
import numpy as np

from ingest.chart.layout import Layout
from ingest.errors import LedgerError
from ingest.ledger.forgotten import gone
from ingest.ledger.store import Ledger
from ingest.paper import Box
from ingest.reading.numerals import FLAT_PX_PER_MM
from ingest.reading.values import Grey

# What is shown around a box's writing area: the frame (0.8 mm out) and the ink that ran over it, so
# that a person sees a little more than the reader did.
SHOWN_MARGIN_MM = 3.0

PAGE_WIDTH_PX = 1100  # a whole page reduced: a box's 26 mm are some 100 px, enough to read a number


class Pictures:
    """Cuts pictures for one sitting. Knows the pages that the ledger held when it was made."""

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger
        layouts = ledger.layouts()
        self._layouts: Mapping[int, Layout] = {
            page.id: layouts[page.layout] for page in ledger.pages() if page.layout in layouts
        }
        self._forgotten = gone(ledger)
        self._last: tuple[int, Grey] | None = None  # boxes of one page mostly follow each other

    def layout(self, page_id: int) -> Layout | None:
        """What the page was read with; None if no layout fitted."""
        return self._layouts.get(page_id)

    def box(self, page_id: int, box: str, margin_mm: float = SHOWN_MARGIN_MM) -> Grey:
        """The box with so much paper around it, grey, FLAT_PX_PER_MM pixels a millimetre.

        Raises LedgerError if the page has no picture, or no such box.
        """
        layout = self._layouts.get(page_id)
        try:
            area = layout.box(box).area if layout else None
        except KeyError:
            area = None
        if area is None:
            raise LedgerError(
                f'Page {page_id} has no box "{box}", so it cannot be shown. Look at the original in the '
                'folder "originals", and run `daybox collect` again if the charts were printed anew.'
            )
        return cut(self.page(page_id), area.grown(margin_mm))

    def page(self, page_id: int) -> Grey:
        """The whole flattened page, grey, FLAT_PX_PER_MM pixels a millimetre.

        Raises LedgerError if none was made, or it is gone or damaged.
        """
        if self._last is None or self._last[0] != page_id:
            self._last = (page_id, self._load(page_id))
        return self._last[1]

    def _load(self, page_id: int) -> Grey:
        try:
            path = self._ledger.page_picture(page_id)
            coded = np.frombuffer(path.read_bytes(), np.uint8) if path else np.empty(0, np.uint8)
        except (KeyError, OSError):
            coded = np.empty(0, np.uint8)
        # decoding bytes, not a path: OpenCV cannot open every file name on every system
        picture = cv2.imdecode(coded, cv2.IMREAD_GRAYSCALE) if coded.size else None
        if picture is None and self._forgotten:
            raise LedgerError(
                f"There is no picture of page {page_id} any more. {self._forgotten} What was read stays."
            )
        if picture is None:
            raise LedgerError(
                f'The picture of page {page_id} is not in the folder "pages". Look at the original in the '
                'folder "originals"; if "pages" was emptied, put it back from your copy.'
            )
        return np.asarray(picture, np.uint8)


def cut(page: Grey, area: Box) -> Grey:
    """The part of a flattened page; what lies beyond its edge is left out.

    page: FLAT_PX_PER_MM pixels a millimetre. area: mm; must lie on the page at least in part.
    """
    left, top, right, bottom = (
        round(edge * FLAT_PX_PER_MM) for edge in (area.left, area.top, area.right, area.bottom)
    )
    return page[max(top, 0) : bottom, max(left, 0) : right]


def png(picture: Grey, widest_px: int | None = None) -> bytes:
    """The picture as a PNG file, reduced to `widest_px` pixels if it is wider."""
    height, width = picture.shape
    if widest_px is not None and width > widest_px:
        size = (widest_px, max(1, round(height * widest_px / width)))
        picture = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)
    done, coded = cv2.imencode(".png", picture)
    if not done:
        raise ValueError(f"cannot write a picture of {width} x {height} pixels as PNG")
    return coded.tobytes()


def jpeg(picture: Grey, px_per_mm: float, quality: int) -> bytes:
    """The picture as a JPEG file, reduced from FLAT_PX_PER_MM pixels a millimetre to so many.

    quality: 0 to 100.
    """
    scale = px_per_mm / FLAT_PX_PER_MM
    if scale < 1:
        size = (max(1, round(picture.shape[1] * scale)), max(1, round(picture.shape[0] * scale)))
        picture = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)
    done, coded = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not done:
        raise ValueError(f"cannot write a picture of {picture.shape} pixels as JPEG")
    return coded.tobytes()
