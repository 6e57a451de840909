"""What each circle of a chart that is colored in looks like on the flattened page.

Every circle is looked at along rays from its middle: how dark it is inside against the paper beside it, how
much of it is covered, whether a line goes around it, and what ink lies beyond its line.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt

from ingest.chart.layout import ChartBox
from ingest.reading.numerals import FLAT_PX_PER_MM
from ingest.reading.values import Grey

Darkness = npt.NDArray[np.float32]  # 0 paper .. about 1 ink; of the paper's own brightness
Flags = npt.NDArray[np.bool_]

# OpenCV's type stubs ask for a second map even where the first has both coordinates; then it must be None.
_remap: Callable[..., object] = cv2.remap

_SOFT_MM = 0.25  # smoothed by so much: grain goes, strokes stay
_PAPER_MM = 20  # paper is the brightest within so much; a row of filled circles is less wide the other way

_RAYS = 32
_RINGS = 10  # of equal area, within a circle
_CORE = 0.55  # of the radius: here even a filling that is small or off the middle covers
_FROM_LINE_MM = 0.65  # inside the printed line nothing nearer is looked at
_AROUND = (0.95, 1.05, 1.15, 1.25)  # of the radius: where a line around a circle may lie
# Where a filling that went over the line has ended, and a stroke through it goes on. Nearer, the printed line
# itself may be, thickened by a phone that makes all black and white.
_BEYOND = (1.36, 1.43, 1.5, 1.57)
_FREE_MM = 0.45  # so far from every printed line there is paper

_INK = 0.08  # darker than the paper beside by so much: ink
_SHADE = 0.04  # and paper in the shade, within one box, by at most so much
_INKED = 0.4  # of the darkest in a circle: from here on a place counts as covered


@dataclass(frozen=True, slots=True, eq=False)
class Looks:
    """All circles of a page, n in all, box after box.

    ink: mean darkness within, above the paper beside. middle: the median of it. darkest: of the darkest
        twentieth of it.
    core, core_darkest: the same, well within the circle.
    covered: share of the core that is inked, against its own darkest. least: of the emptiest quarter turn.
    disc: share of the whole circle that is covered.
    around: how dark a closed line around the circle is at its palest (the printed one, if there is no other).
    beyond: share of the paper around that is inked. turned: share of the directions in which it is.
    joined: the darkest on the way to the next circle of its row; nan where there is none.
    """

    ink: Darkness
    middle: Darkness
    darkest: Darkness
    core: Darkness
    core_darkest: Darkness
    covered: Darkness
    least: Darkness
    disc: Darkness
    around: Darkness
    beyond: Darkness
    turned: Darkness
    joined: Darkness


def look(flat: Grey, boxes: Sequence[ChartBox]) -> Looks:
    """flat: the flattened page, FLAT_PX_PER_MM pixels a millimetre. boxes: at least one, all with circles."""
    dark = _darkness(flat)
    rays = _rays(tuple(boxes))
    seen = np.asarray(_remap(dark, rays.places, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))
    count = len(rays.free)
    seen = seen.reshape(count, -1, _RAYS)
    parts = np.split(seen, np.cumsum([_RINGS, _RINGS, len(_AROUND), len(_BEYOND)]), axis=1)
    ground = _ground(parts[3], rays)
    within, core, around, beyond, between = (part - ground[:, None, None] for part in parts)
    flat_within, flat_core = within.reshape(count, -1), core.reshape(count, -1)
    darkest, core_darkest = (_top(part, 0.05) for part in (flat_within, flat_core))
    level = np.maximum(darkest, 0.02)[:, None, None] * _INKED
    quarter = _RAYS // 4
    inked = (core > level).mean(axis=1)
    turns = np.stack([np.roll(inked, -step, axis=1)[:, :quarter].mean(axis=1) for step in range(0, _RAYS, 2)])
    free_inked = (beyond > _INK) & rays.free
    return Looks(
        ink=flat_within.mean(axis=1),
        middle=np.median(flat_within, axis=1),
        darkest=darkest,
        core=flat_core.mean(axis=1),
        core_darkest=core_darkest,
        covered=inked.mean(axis=1),
        least=turns.min(axis=0),
        disc=(within > level).mean(axis=(1, 2)),
        around=np.percentile(around.max(axis=1), 10, axis=1),
        beyond=free_inked.sum(axis=(1, 2)) / np.maximum(rays.free.sum(axis=(1, 2)), 1),
        turned=free_inked.any(axis=1).mean(axis=1),
        joined=np.where(rays.has_next, between.max(axis=(1, 2)), np.nan),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Rays:
    """Where to look.

    places: a map for `cv2.remap`. free: (n, len(_BEYOND), _RAYS), where there is paper by the layout.
    starts: which circle is the first of each box. has_next: whether another stands on its right.
    """

    places: npt.NDArray[np.float32]
    free: Flags
    starts: npt.NDArray[np.int64]
    has_next: Flags


@lru_cache(maxsize=4)
def _rays(boxes: tuple[ChartBox, ...]) -> _Rays:
    angles = np.linspace(0, 2 * np.pi, _RAYS, endpoint=False)
    directions = np.stack([np.cos(angles), np.sin(angles)], axis=-1)
    places, free, has_next = [], [], []
    for box in boxes:
        middles = np.array([[circle.x, circle.y] for circle in box.circles])
        radius = box.circles[0].radius
        even = np.sqrt((np.arange(_RINGS) + 0.5) / _RINGS)
        reaches = np.concatenate(
            [even * (radius - _FROM_LINE_MM), even * (radius * _CORE), np.multiply(_AROUND, radius)]
        )
        beyond = np.multiply(_BEYOND, radius)
        points = middles[:, None, None] + np.concatenate([reaches, beyond])[:, None, None] * directions
        out = points[:, len(reaches) :]
        steps = np.diff(middles, axis=0, append=middles[-1:])
        has_next.append((steps[:, 0] > 0) & (steps[:, 1] == 0))
        halfway = middles + steps / 2
        across = np.stack([np.zeros(_RAYS), np.linspace(-0.5, 0.5, _RAYS) * radius], axis=-1)
        places.append(np.concatenate([points, halfway[:, None, None] + across], axis=1))
        far = np.linalg.norm(out[:, :, :, None] - middles, axis=-1).min(axis=-1) > radius + _FREE_MM
        a = box.area
        free.append(
            far
            & (out[..., 0] > a.left)
            & (out[..., 0] < a.right)
            & (out[..., 1] > a.top)
            & (out[..., 1] < a.bottom)
        )
    mm = np.concatenate(places)
    pixels = (mm * FLAT_PX_PER_MM - 0.5).astype(np.float32)
    starts = np.cumsum([0, *(len(box.circles) for box in boxes[:-1])])
    return _Rays(pixels.reshape(-1, _RAYS, 2), np.concatenate(free), starts, np.concatenate(has_next))


def _darkness(flat: Grey) -> Darkness:
    """How much darker than the paper around it each place of the page is, as a share; softened."""
    soft = cv2.GaussianBlur(flat, (0, 0), _SOFT_MM * FLAT_PX_PER_MM).astype(np.float32)
    step = 1 / FLAT_PX_PER_MM
    small = cv2.resize(flat, None, fx=step, fy=step, interpolation=cv2.INTER_AREA)
    near = cv2.dilate(small, np.ones((3, 3), np.uint8))  # between what is printed
    wide = np.ones((_PAPER_MM, _PAPER_MM), np.uint8)
    paper = cv2.blur(cv2.morphologyEx(near, cv2.MORPH_CLOSE, wide), (5, 5)).astype(np.float32)
    full = cv2.resize(paper, (flat.shape[1], flat.shape[0]), interpolation=cv2.INTER_LINEAR)
    return np.asarray(1 - soft / np.maximum(full, 1), np.float32)


def _ground(beyond: Darkness, rays: _Rays) -> Darkness:
    """The darkness of the paper beside each circle: the mean of what is free there and not inked.

    Not inked is what is hardly darker than the palest third. Where that is inked itself, the paper beside the
    palest circle of the same box must do.
    """
    free = rays.free
    ordered = np.sort(np.where(free, beyond, np.inf).reshape(len(free), -1), axis=1)
    pale = ordered[np.arange(len(ordered)), free.sum(axis=(1, 2)) // 3]
    paper = free & (beyond < (pale + _INK)[:, None, None])
    own = np.where(paper, beyond, 0).sum(axis=(1, 2)) / np.maximum(paper.sum(axis=(1, 2)), 1)
    palest = np.minimum.reduceat(own, rays.starts)
    counts = np.diff([*rays.starts, len(own)])
    return np.asarray(np.minimum(own, np.repeat(palest, counts) + _SHADE), np.float32)


def _top(values: Darkness, share: float) -> Darkness:
    """The value that a share of each row reaches."""
    count = max(1, int(values.shape[1] * share))
    return np.asarray(np.partition(values, -count, axis=1)[:, -count], np.float32)
