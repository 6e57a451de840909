"""A box in two parts: a number, and beside it something that is none.

Who errs strikes the number out and writes the right one beside it; others draw a smiley behind theirs. As a
whole such a box is no number. Cut in two where no ink is, one part may well be.
"""

from collections.abc import Iterator

import cv2
import numpy as np
import numpy.typing as npt

from ingest.reading.ink import Flattened, Ink, Traces
from ingest.reading.values import Grey

Mask = npt.NDArray[np.bool_]

# A gap between two parts, as a share of the crop's height: about half a millimetre.
_GAP = 0.03


def cuts(flat: Flattened, traces: Traces) -> Iterator[tuple[tuple[Grey, Ink], tuple[Grey, Ink]]]:
    """Each way to cut a box's writing in two from top to bottom where no ink is, from the left.

    Yields for the left and the right part a picture of the box without the other, and where its ink lies.
    """
    ink = traces.ink
    if ink is None or not ink.clear:
        return
    smooth = cv2.GaussianBlur(flat.dark, (0, 0), max(0.5, len(flat.dark) / 75))
    mask: Mask = np.zeros(smooth.shape, np.bool_)
    where = slice(ink.top, ink.bottom), slice(ink.left, ink.right)
    mask[where] = smooth[where] > max(5 * traces.grain, 0.4 * traces.contrast)
    columns = mask.any(axis=0)
    edges = np.flatnonzero(np.diff(np.pad(columns, 1).astype(np.int8)))  # where ink begins, ends, begins ...
    for end, start in zip(edges[1:-1:2], edges[2::2], strict=True):
        if start - end >= _GAP * len(mask):
            middle = (int(end) + int(start)) // 2
            yield _part(flat, mask, 0, middle), _part(flat, mask, middle, mask.shape[1])


def _part(flat: Flattened, mask: Mask, low: int, high: int) -> tuple[Grey, Ink]:
    """What stands between two columns."""
    only = np.zeros_like(flat.dark)
    only[:, low:high] = flat.dark[:, low:high]
    inked = mask[:, low:high]
    rows, columns = np.flatnonzero(inked.any(axis=1)), np.flatnonzero(inked.any(axis=0))
    ink = Ink(
        left=low + int(columns[0]),
        top=int(rows[0]),
        right=low + int(columns[-1]) + 1,
        bottom=int(rows[-1]) + 1,
        share=float(inked.mean()),
        clear=True,
    )
    return Flattened(only, flat.edge).picture, ink
