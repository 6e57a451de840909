"""From a grey crop to the darkness of its ink, as the handwriting reader wants it."""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from ingest.reading.values import Grey

Darkness = npt.NDArray[np.float32]  # 0 paper .. about 1 ink

HEIGHT = 48  # the reader's input, px
PAPER_CELL = 15  # px of the reader's input; wider than any stroke


def even_out(picture: Grey) -> Darkness:
    """The darkness of ink against the paper around it; light and shadow go, faint pencil is raised.

    picture: at the reader's size. The same steps as in training (`ingest.training.wear.even_out`).
    """
    grey = picture.astype(np.float32) / 255
    cell = np.ones((PAPER_CELL, PAPER_CELL), np.uint8)
    paper = cv2.blur(
        cv2.morphologyEx(grey, cv2.MORPH_CLOSE, cell), (PAPER_CELL, PAPER_CELL), borderType=cv2.BORDER_REPLICATE
    )
    dark = np.maximum((paper - grey) / np.maximum(paper, 1 / 255), 0)
    count = max(1, int(dark.size * 0.015))
    level = max(float(np.partition(dark.ravel(), -count)[-count]), 0.08)
    return np.minimum(dark / level, 1.5).astype(np.float32)


@dataclass(frozen=True, slots=True)
class Ink:
    """Where the writing in a crop lies.

    left, top, right, bottom: px of the crop, of everything that looks like strokes.
    share: share of the crop's inside that is ink. contrast: how dark it is against the paper, 0..1.
    """

    left: int
    top: int
    right: int
    bottom: int
    share: float
    contrast: float


def find_ink(crop: Grey, edge: int) -> Ink | None:
    """The writing in a crop, or None where there is none at all.

    edge: width in px of the band along the crop's sides that may hold the printed frame; strokes
        count there only as far as they reach into the inside.
    """
    height, width = crop.shape
    cell = max(9, height // 3) | 1
    grey = cv2.GaussianBlur(crop, (3, 3), 0)
    paper = cv2.blur(
        cv2.morphologyEx(grey, cv2.MORPH_CLOSE, np.ones((cell, cell), np.uint8)),
        (cell, cell), borderType=cv2.BORDER_REPLICATE,
    ).astype(np.float32)
    dark = np.maximum(paper - grey, 0) / np.maximum(paper, 1)
    inside = dark[edge : height - edge, edge : width - edge]
    if not inside.size:
        return None
    # What the paper's own grain reaches; strokes stand out above it.
    grain = float(np.median(inside)) + 4 * 1.4826 * float(np.median(np.abs(inside - np.median(inside))))
    strongest = float(np.partition(inside.ravel(), -max(1, inside.size // 200))[-max(1, inside.size // 200)])
    bar = max(0.04, grain, 0.35 * strongest)
    mask = (inside > bar).astype(np.uint8)
    count, _, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    # A dot of a colon is the smallest thing that counts: about 1/20 of the height across.
    least = max(4.0, (height / 20) ** 2)
    kept = [stats[k] for k in range(1, count) if stats[k][cv2.CC_STAT_AREA] >= least]
    if not kept:
        return None
    largest = max(int(s[cv2.CC_STAT_AREA]) for s in kept)
    kept = [s for s in kept if s[cv2.CC_STAT_AREA] >= 0.04 * largest]
    left = min(int(s[cv2.CC_STAT_LEFT]) for s in kept)
    top = min(int(s[cv2.CC_STAT_TOP]) for s in kept)
    right = max(int(s[cv2.CC_STAT_LEFT] + s[cv2.CC_STAT_WIDTH]) for s in kept)
    bottom = max(int(s[cv2.CC_STAT_TOP] + s[cv2.CC_STAT_HEIGHT]) for s in kept)
    area = sum(int(s[cv2.CC_STAT_AREA]) for s in kept)
    return Ink(left + edge, top + edge, right + edge, bottom + edge, area / mask.size, strongest)
