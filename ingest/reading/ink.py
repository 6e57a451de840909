"""Where a box is written in, and how dark, whatever the light, the paper and the printed frame do."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt

from ingest.reading.values import Grey

Darkness = npt.NDArray[np.float32]  # 0 paper .. about 1 ink

HEIGHT = 48  # the reader's input, px
_CELL = np.ones((15, 15), np.uint8)  # px of the reader's input; wider than any stroke

# How far the darkest half per cent of a box stands above its paper, as a share of the paper's brightness,
# and in spreads of the paper's own grain. Measured with ingest.training.calibrate on 1504 boxes under the
# demo's camera: written boxes 0.096 and 4.9 at the least; nine blank ones in ten at most 0.05 and 4.4.
# Under both of either pair nothing is seen in a box; how sure that is, `blank` says.
_SURELY_BLANK = ((0.04, 6.0), (0.08, 3.6))
# A mark smaller than this share of the crop's height each way, not two millimetres, is dirt, not writing.
_SPECK = 0.12
# Writing that stands above the paper by fewer spreads of its grain shows only in fragments. Taken for all of
# it, they are read as a dash, or a digit is lost. On 270 hard photos by calibrating hands, of 165 boxes under
# 6 spreads 142 were read right as a whole and 60 by what was found of their strokes; from 6 to 9, of 533, 467
# and 412; from 9 to 12, of 578, 519 and 524.
_LEGIBLE = 9.0
# From this grain on strokes cannot be told from the paper by their outline.
_GRAINY = 0.03


def even_out(picture: Grey) -> Darkness:
    """The darkness of ink against the paper around it; light and shadow go, faint pencil is raised.

    picture: at the reader's size. The same steps as in training (`ingest.training.wear.even_out`).
    """
    # What the paper would be without strokes: closed over a cell, then smoothed as widely.
    closed = cv2.morphologyEx(picture, cv2.MORPH_CLOSE, _CELL)
    paper = cv2.boxFilter(closed, cv2.CV_32F, _CELL.shape, borderType=cv2.BORDER_REPLICATE)
    dark = np.maximum((paper - picture) / np.maximum(paper, 1), np.float32(0))
    level = max(_top(dark, 0.015), 0.08)
    return np.minimum(dark / np.float32(level), np.float32(1.5))


def _top(values: Darkness, share: float) -> float:
    """The value that a share of all values reaches."""
    count = max(1, int(values.size * share))
    return float(np.partition(values.ravel(), -count)[-count])


def _median(values: Darkness) -> float:
    """As `np.median`, which looks for both middle values and so misses numpy's quick way to find one."""
    half = values.size // 2
    ordered = np.partition(values.ravel(), half)
    upper = ordered[half]
    return float(upper if values.size % 2 else (ordered[:half].max() + upper) / 2)


@dataclass(frozen=True, slots=True, eq=False)
class Flattened:
    """A box without its light and its frame.

    dark: (height, width), 0 paper .. 1 black; the paper's grain lies around 0.
    edge: px along each side that may hold the frame and what lies beyond it.
    frame: how dark the frame was, likewise; 0 where there is none.
    """

    dark: Darkness
    edge: int
    frame: float = 0.0

    @property
    def picture(self) -> Grey:
        """As a grey picture on even paper."""
        picture = cv2.addWeighted(self.dark, -235, self.dark, 0, 235, dtype=cv2.CV_8U)  # keeps to 0..255
        return np.asarray(picture, np.uint8)

    def inside(self, dark: Darkness) -> Darkness:
        height, width = dark.shape
        return dark[self.edge : height - self.edge, self.edge : width - self.edge]


def flatten(crop: Grey, edge: int) -> Flattened:
    """The crop under even light, its printed frame lifted off; strokes that cross the frame stay.

    What a band along the side has all along a stretch of it is print, what it has in one place is ink.
    Crops smaller than 8 px inside are taken as they are.
    """
    return flatten_all([crop], edge)[0]


def flatten_all(crops: Sequence[Grey], edge: int) -> list[Flattened]:
    """Many crops as by `flatten`; those of one size at once, which is several times as quick."""
    found: dict[int, Flattened] = {}
    for shape in {crop.shape for crop in crops}:
        places = [n for n, crop in enumerate(crops) if crop.shape == shape]
        dark = _dark([crops[n] for n in places])
        found.update(zip(places, _without_frames(dark, edge), strict=True))
    return [found[n] for n in range(len(crops))]


def _dark(crops: Sequence[Grey]) -> Darkness:
    """How much darker than its paper each pixel of crops of one size is, as a share; shape (n, h, w)."""
    grey = np.stack(crops)
    dark = np.maximum(
        _lit_paper(grey), 1
    )  # paper so far; in place, as new memory for every step takes its time
    np.divide(grey, dark, out=dark)
    np.subtract(1, dark, out=dark)
    return dark


def _without_frames(dark: Darkness, edge: int) -> Iterator[Flattened]:
    """dark: (n, h, w), changed in place."""
    inside = dark[:, edge : dark.shape[1] - edge, edge : dark.shape[2] - edge]
    if min(inside.shape[1:]) < 8:
        yield from (Flattened(each, 0) for each in dark)
        return
    # The middle brightness of a quarter of the pixels tells as much as that of all.
    some = inside[:, ::2, ::2].reshape(len(dark), -1)
    half = some.shape[1] // 2
    dark -= np.partition(some, half, axis=1)[:, half, None, None]
    frames = np.zeros((len(dark), 0), np.float32)
    if edge:
        turned = dark.transpose(0, 2, 1)
        for side in (dark[:, :edge], dark[:, -edge:], turned[:, :edge], turned[:, -edge:]):
            for stretch in np.array_split(side, 4, axis=2):  # views: `dark` itself changes
                ordered = np.sort(stretch, axis=2)
                half = stretch.shape[2] // 2
                middle = (ordered[:, :, (stretch.shape[2] - 1) // 2] + ordered[:, :, half]) / 2
                stretch -= np.maximum(middle, 0)[:, :, None]
                frames = np.column_stack([frames, middle.max(axis=1)])
    for each, stretches in zip(dark, frames, strict=True):
        yield Flattened(each, edge, float(np.median(stretches)) if edge else 0.0)


_ROWS, _COLUMNS = 5, 9  # of the grid that the paper's brightness is taken on


def _lit_paper(grey: Grey) -> Darkness:
    """The paper's brightness as a smooth (quadratic) surface through what lies between the strokes.

    grey: (n, h, w), as is the result.
    """
    _, height, width = grey.shape
    if min(height, width) < 32:
        brightness = np.array([np.percentile(each, 80) for each in grey], np.float32)
        return np.broadcast_to(brightness[:, None, None], grey.shape)
    cell = max(5, height // 12) | 1
    rim = cell // 4  # closing is wrong at the very edge
    square = np.ones((cell, cell), np.uint8)
    seen = np.empty((len(grey), _ROWS * _COLUMNS), np.float32)
    for each, row in zip(grey, seen, strict=True):
        small = cv2.resize(each, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
        closed = cv2.morphologyEx(small, cv2.MORPH_CLOSE, square)
        core = closed[rim : len(closed) - rim, rim : closed.shape[1] - rim]
        row[:] = np.ravel(cv2.resize(core, (_COLUMNS, _ROWS), interpolation=cv2.INTER_AREA))
    fit, surface = _surfaces(height, width, rim, core.shape, closed.shape)
    return np.asarray(seen @ fit.T @ surface.T, np.float32).reshape(grey.shape)


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


@dataclass(frozen=True, slots=True)
class Traces:
    """What stands out from a box's paper.

    contrast: how far the darkest half per cent stands above the paper, as a share of the paper's brightness.
    grain: the spread of the paper itself, likewise. ink: where the writing lies; None where nothing is seen.
    is_speck: all that is seen is too small for writing. It is dirt, or what is left of a faint number.
    frame: how dark the box's printed frame is.
    """

    contrast: float
    grain: float
    ink: Ink | None
    is_speck: bool = False
    frame: float = 0.0

    @property
    def is_legible(self) -> bool:
        """Whether strokes stand out from the grain, so that what was found of them is all of them."""
        return bool(self.ink and self.ink.clear) and self.contrast >= _LEGIBLE * max(self.grain, 1e-3)


def find_traces(flat: Flattened) -> Traces:
    """The writing in a box, if there is any to be seen.

    It is looked for at half the crop's resolution, where grain is less and strokes still stand out.
    """
    height, width = flat.dark.shape
    if min(height, width) < 8:
        return Traces(0.0, 0.0, None)
    half = cv2.resize(flat.inside(flat.dark), None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    # Smoothed over a stroke's width, grain goes and strokes stay.
    smooth = cv2.GaussianBlur(half, (0, 0), max(0.5, height / 150))
    inside: Darkness = np.asarray(smooth, np.float32)
    middle = _median(inside)
    grain = 1.4826 * _median(np.abs(inside - np.float32(middle)))
    contrast = _top(inside, 0.005) - middle
    if any(contrast < most and contrast < spreads * max(grain, 1e-3) for most, spreads in _SURELY_BLANK):
        return Traces(contrast, grain, None, frame=flat.frame)
    ink = _strokes(flat, inside, middle, contrast, grain)
    return Traces(contrast, grain, ink, is_speck=ink is None, frame=flat.frame)


def whole(flat: Flattened) -> Ink:
    """All of a box's inside, where no strokes can be told from the paper."""
    height, width = flat.dark.shape
    return Ink(flat.edge, flat.edge, width - flat.edge, height - flat.edge, 0.0, clear=False)


def _strokes(flat: Flattened, inside: Darkness, middle: float, contrast: float, grain: float) -> Ink | None:
    """The strokes in a box that something stands out in; None where it is dirt.

    inside: at half the crop's resolution, smoothed.
    """
    height, edge = len(flat.dark), flat.edge
    if grain > _GRAINY:
        return whole(flat)
    mask = (inside > middle + max(5 * grain, 0.4 * contrast)).astype(np.uint8)
    left, top, wide, high = cv2.boundingRect(mask)
    if not wide:
        return whole(flat)
    # With labels of 16 bits it takes a third of the time, and boxes have no more pixels than that.
    labels = cv2.CV_16U if mask.size < 2**16 else cv2.CV_32S
    count, _, stats, _ = cv2.connectedComponentsWithStats(
        mask[top : top + high, left : left + wide], connectivity=8, ltype=labels
    )
    # A dot of a colon is the smallest thing that counts: about a twentieth of the height across.
    parts: list[list[int]] = stats[1:count].tolist()  # x, y, width, height, area; cv2.CC_STAT_LEFT is 0
    least = max((height / 40) ** 2, 0.04 * max((part[4] for part in parts), default=0))
    parts = [part for part in parts if part[4] >= least]
    if not parts:
        return whole(flat)
    ink = Ink(
        left=2 * (left + min(part[0] for part in parts)) + edge,
        top=2 * (top + min(part[1] for part in parts)) + edge,
        right=2 * (left + max(part[0] + part[2] for part in parts)) + edge,
        bottom=2 * (top + max(part[1] + part[3] for part in parts)) + edge,
        share=sum(part[4] for part in parts) / inside.size,
        clear=True,
    )
    is_dirt = max(ink.width, ink.height) < _SPECK * height and ink.width < 2 * ink.height  # no short dash
    return None if is_dirt else ink
