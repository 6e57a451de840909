"""Where a box is written in, and how dark, whatever the light, the paper and the printed frame do."""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt

from ingest.reading.values import Grey

Darkness = npt.NDArray[np.float32]  # 0 paper .. about 1 ink

HEIGHT = 48  # the reader's input, px
PAPER_CELL = 15  # px of the reader's input; wider than any stroke

# How far the darkest half per cent of a box stands above its paper, as a share of the paper's brightness,
# and in spreads of the paper's own grain. Measured with ingest.training.calibrate on 1504 boxes under the
# demo's camera: written boxes 0.096 and 4.9 at the least; nine blank ones in ten at most 0.05 and 4.4.
# Under both of either pair a box is blank for sure; anything else the net must say.
_SURELY_BLANK = ((0.04, 6.0), (0.08, 3.6))
# A mark smaller than this share of the crop's height each way, not two millimetres, is dirt, not writing.
_SPECK = 0.12
# From this grain on strokes cannot be told from the paper by their outline.
_GRAINY = 0.03


def even_out(picture: Grey) -> Darkness:
    """The darkness of ink against the paper around it; light and shadow go, faint pencil is raised.

    picture: at the reader's size. The same steps as in training (`ingest.training.wear.even_out`).
    """
    grey = picture.astype(np.float32) / np.float32(255)
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


@dataclass(frozen=True, slots=True, eq=False)
class Flattened:
    """A box without its light and its frame.

    dark: (height, width), 0 paper .. 1 black; the paper's grain lies around 0.
    edge: px along each side that may hold the frame and what lies beyond it.
    """

    dark: Darkness
    edge: int

    @property
    def picture(self) -> Grey:
        """As a grey picture on even paper."""
        return np.clip(235 * (1 - self.dark), 0, 255).astype(np.uint8)

    def inside(self, dark: Darkness) -> Darkness:
        height, width = dark.shape
        return dark[self.edge : height - self.edge, self.edge : width - self.edge]


def flatten(crop: Grey, edge: int) -> Flattened:
    """The crop under even light, its printed frame lifted off; strokes that cross the frame stay.

    What a band along the side has all along a stretch of it is print, what it has in one place is ink.
    Crops smaller than 8 px inside are taken as they are.
    """
    grey = crop.astype(np.float32)
    paper = np.maximum(_lit_paper(grey), 1)
    dark = np.asarray((paper - grey) / paper, np.float32)
    flat = Flattened(dark, edge)
    inside = flat.inside(dark)
    if min(inside.shape, default=0) < 8:
        return Flattened(dark, 0)
    dark -= np.median(inside)
    if edge:
        for side in (dark[:edge], dark[-edge:], dark[:, :edge].T, dark[:, -edge:].T):
            for stretch in np.array_split(side, 4, axis=1):  # views: `dark` itself changes
                stretch -= np.maximum(np.median(stretch, axis=1, keepdims=True), 0)
    return flat


_ROWS, _COLUMNS = 5, 9  # of the grid that the paper's brightness is taken on


def _lit_paper(grey: Darkness) -> Darkness:
    """The paper's brightness as a smooth (quadratic) surface through what lies between the strokes."""
    height, width = grey.shape
    if min(height, width) < 32:
        return np.full_like(grey, np.percentile(grey, 80))
    small = cv2.resize(grey, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    cell = max(5, height // 12) | 1
    closed = cv2.morphologyEx(small, cv2.MORPH_CLOSE, np.ones((cell, cell), np.uint8))
    rim = cell // 4  # closing is wrong at the very edge
    core = closed[rim : len(closed) - rim, rim : closed.shape[1] - rim]
    seen = cv2.resize(core, (_COLUMNS, _ROWS), interpolation=cv2.INTER_AREA)
    fit, surface = _surfaces(height, width, rim, core.shape, closed.shape)
    return (surface @ (fit @ seen.ravel())).reshape(height, width)


@lru_cache(maxsize=64)  # the boxes of a chart come in a handful of sizes
def _surfaces(
    height: int, width: int, rim: int, core: tuple[int, int], closed: tuple[int, int]
) -> tuple[Darkness, Darkness]:
    """(6, grid) from what the grid shows to a quadratic's weights; (height x width, 6) from those to px."""
    y, x = np.meshgrid(
        (rim + (np.arange(_ROWS) + 0.5) / _ROWS * core[0]) / closed[0],
        (rim + (np.arange(_COLUMNS) + 0.5) / _COLUMNS * core[1]) / closed[1],
        indexing="ij",
    )
    fit = np.linalg.pinv(_quadratic(x, y))
    y, x = np.meshgrid((np.arange(height) + 0.5) / height, (np.arange(width) + 0.5) / width, indexing="ij")
    return fit.astype(np.float32), _quadratic(x, y).astype(np.float32)


def _quadratic(x: npt.NDArray[np.float64], y: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1).reshape(-1, 6)


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

    @property
    def width(self) -> int:
        return self.right - self.left

    @property
    def height(self) -> int:
        return self.bottom - self.top


def find_ink(flat: Flattened) -> Ink | None:
    """The writing in a box, or None where it is surely empty."""
    height, width = flat.dark.shape
    edge = flat.edge
    if min(height, width) < 8:
        return None
    # Smoothed over a stroke's width, grain goes and strokes stay.
    smooth = cv2.GaussianBlur(flat.dark, (0, 0), max(0.8, height / 70))
    inside = flat.inside(np.asarray(smooth, np.float32))
    middle = float(np.median(inside))
    grain = 1.4826 * float(np.median(np.abs(inside - middle)))
    above = _top(inside, 0.005) - middle
    if any(above < most and above < spreads * max(grain, 1e-3) for most, spreads in _SURELY_BLANK):
        return None
    whole = Ink(edge, edge, width - edge, height - edge, 0.0, clear=False)
    if grain > _GRAINY:
        return whole
    mask = (inside > middle + max(5 * grain, 0.4 * above)).astype(np.uint8)
    count, _, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    # A dot of a colon is the smallest thing that counts: about a twentieth of the height across.
    kept = stats[1:count][stats[1:count, cv2.CC_STAT_AREA] >= max(4.0, (height / 20) ** 2)]
    if not len(kept):
        return whole
    kept = kept[kept[:, cv2.CC_STAT_AREA] >= 0.04 * kept[:, cv2.CC_STAT_AREA].max()]
    left, top = kept[:, cv2.CC_STAT_LEFT], kept[:, cv2.CC_STAT_TOP]
    right, bottom = left + kept[:, cv2.CC_STAT_WIDTH], top + kept[:, cv2.CC_STAT_HEIGHT]
    ink = Ink(
        left=int(left.min()) + edge,
        top=int(top.min()) + edge,
        right=int(right.max()) + edge,
        bottom=int(bottom.max()) + edge,
        share=float(kept[:, cv2.CC_STAT_AREA].sum()) / inside.size,
        clear=True,
    )
    is_dirt = max(ink.width, ink.height) < _SPECK * height and ink.width < 2 * ink.height  # no short dash
    return None if is_dirt else ink
