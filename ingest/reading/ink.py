"""Where a box is written in, and how dark, whatever the light, the paper and the printed frame do."""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from ingest.reading.values import Grey

Darkness = npt.NDArray[np.float32]  # 0 paper .. about 1 ink

HEIGHT = 48  # the reader's input, px
PAPER_CELL = 15  # px of the reader's input; wider than any stroke

# Ink paler than this against its paper is none: a good scan's paper stays below, faint pencil above.
_PALEST = 0.03
# How many spreads of the paper's own grain a stroke stands above it, once smoothed over a stroke's width.
_ABOVE_GRAIN = 5.0
# From this grain on nothing is blank by looking alone: the net must say so.
_GRAINY = 0.02


def even_out(picture: Grey) -> Darkness:
    """The darkness of ink against the paper around it; light and shadow go, faint pencil is raised.

    picture: at the reader's size. The same steps as in training (`ingest.training.wear.even_out`).
    """
    grey = picture.astype(np.float32) / 255
    paper = _paper(grey, PAPER_CELL)
    dark = np.maximum((paper - grey) / np.maximum(paper, 1 / 255), 0)
    level = max(_top(dark, 0.015), 0.08)
    return np.minimum(dark / level, 1.5).astype(np.float32)


def _paper(grey: Darkness, cell: int) -> Darkness:
    """What the paper would be without strokes: closed over `cell` px, then smoothed as widely."""
    closed = cv2.morphologyEx(grey, cv2.MORPH_CLOSE, np.ones((cell, cell), np.uint8))
    return np.asarray(cv2.blur(closed, (cell, cell), borderType=cv2.BORDER_REPLICATE))


def _top(values: Darkness, share: float) -> float:
    """The value that a share of all values reaches."""
    count = max(1, int(values.size * share))
    return float(np.partition(values.ravel(), -count)[-count])


def without_frame(crop: Grey, edge: int) -> Grey:
    """The crop with its printed frame lifted off; strokes that cross the frame stay.

    edge: width in px of the band along each side that holds the frame and what lies beyond it. What a
    band has all along a stretch of it is print, what it has in one place is ink.
    """
    grey = crop.astype(np.float32)
    height, width = grey.shape
    if min(height, width) < 4 * edge:
        return crop
    paper = _paper(grey, max(9, height // 3) | 1)
    dark = paper - grey
    for side in (dark[:edge], dark[-edge:], dark[:, :edge].T, dark[:, -edge:].T):
        for stretch in np.array_split(side, 4, axis=1):
            stretch -= np.median(stretch, axis=1, keepdims=True)  # in place: a view of `dark`
    return np.clip(paper - dark, 0, 255).astype(np.uint8)


@dataclass(frozen=True, slots=True)
class Ink:
    """Where the writing in a crop lies.

    left, top, right, bottom: px of the crop, of everything that looks like strokes.
    share: share of the crop's inside that is ink.
    clear: whether strokes stand out from the paper; if not, the whole inside is given.
    """

    left: int
    top: int
    right: int
    bottom: int
    share: float
    clear: bool


def find_ink(crop: Grey, edge: int) -> Ink | None:
    """The writing in a crop without its frame, or None where the box is surely empty.

    edge: width in px of the band along the sides where writing counts only as part of what reaches
        into the inside.
    """
    height, width = crop.shape
    if min(height - 2 * edge, width - 2 * edge) < 8:
        return None
    grey = crop.astype(np.float32)
    paper = np.maximum(_paper(grey, max(9, height // 3) | 1), 1)
    # Smoothed over a stroke's width, grain goes and strokes stay; over twice that on grainy pictures.
    stroke = max(0.8, height / 70)
    for width_px in (stroke, 2 * stroke):
        dark = np.maximum(paper - cv2.GaussianBlur(grey, (0, 0), width_px), 0) / paper
        inside = dark[edge : height - edge, edge : width - edge]
        middle = float(np.median(inside))
        grain = 1.4826 * float(np.median(np.abs(inside - middle)))
        if grain < _GRAINY:
            break
    strongest = _top(inside, 0.005)
    bar = max(middle + _PALEST, middle + _ABOVE_GRAIN * grain, 0.4 * strongest)
    count, _, stats, _ = cv2.connectedComponentsWithStats((inside > bar).astype(np.uint8), connectivity=8)
    # A dot of a colon is the smallest thing that counts: about a twentieth of the height across.
    kept = stats[1:count][stats[1:count, cv2.CC_STAT_AREA] >= max(4.0, (height / 20) ** 2)]
    if grain >= _GRAINY or (not len(kept) and strongest - middle > _PALEST):
        return Ink(edge, edge, width - edge, height - edge, 0.0, clear=False)
    if not len(kept):
        return None
    kept = kept[kept[:, cv2.CC_STAT_AREA] >= 0.04 * kept[:, cv2.CC_STAT_AREA].max()]
    left, top = kept[:, cv2.CC_STAT_LEFT], kept[:, cv2.CC_STAT_TOP]
    right, bottom = left + kept[:, cv2.CC_STAT_WIDTH], top + kept[:, cv2.CC_STAT_HEIGHT]
    share = float(kept[:, cv2.CC_STAT_AREA].sum()) / inside.size
    return Ink(
        int(left.min()) + edge, int(top.min()) + edge, int(right.max()) + edge, int(bottom.max()) + edge,
        share, clear=True,
    )  # fmt: skip
