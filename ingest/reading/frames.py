"""The printed frames, found in the picture, correct the pose where paper is curled or folded."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from ingest.chart.layout import Layout
from ingest.paper import Box
from ingest.reading.bend import Bend, Floats, fit_component
from ingest.reading.flatten import Pose, flatten, shrink_to, tag_corners, tag_shifts
from ingest.reading.numerals import FLAT_PX_PER_MM
from ingest.reading.tags import SeenTag
from ingest.reading.values import Grey

PIECE_MM = 5.0  # frames are looked at in pieces of this length
_CORNER_MM = 1.5  # frames may have rounded corners: keep away from them

_DARKEST = 0.45  # share of the paper's brightness; what is darker than that is pencil, not a frame
_FAINTEST = 0.02  # share of the paper's brightness by which a frame must be darker than the paper
LOST_MM = 1.0  # counted as the miss of a frame side that cannot be found


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """Short pieces of printed lines, n in all, in page mm.

    centres: (n, 2). lies: (n,) True where the line runs from left to right.
    owner: (n,) index into the boxes and then the outside cells of the layout.
    side: (n,) number of the frame side that the piece is cut from.
    """

    centres: Floats
    lies: npt.NDArray[np.bool_]
    owner: npt.NDArray[np.int64]
    side: npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A refined pose.

    flat: the whole page flattened with it, FLAT_PX_PER_MM pixels a mm.
    residual_mm: 95th centile over frame sides of how far they still lie off; LOST_MM for a side that
        was not found at all.
    seen: for each of the layout's boxes and outside cells, share of its frame that was found, 0..1.
    """

    pose: Pose
    flat: Grey
    residual_mm: float
    seen: Floats


@dataclass(frozen=True, slots=True)
class _Look:
    """One round of looking for the frames: how far (mm), how finely, and what miss is still trusted (mm)."""

    reach: float
    px_per_mm: float
    tolerance: float


# Rows of frames stand 4.6 mm apart: a reach of half that could take a line for its neighbour.
_LOOKS = (_Look(1.6, 4.0, 0.5), _Look(0.9, 6.0, 0.25))


@lru_cache(maxsize=16)
def pieces_of(layout: Layout) -> Pieces:
    """The frames' sides, cut into pieces."""
    rows: list[tuple[float, float, bool, int, int]] = []
    side = 0
    for owner, box in enumerate((*layout.boxes, *layout.outside)):
        frame = box.frame
        for y in (frame.top, frame.bottom):
            rows += [(x, y, True, owner, side) for x in _middles(frame.left, frame.right)]
            side += 1
        for x in (frame.left, frame.right):
            rows += [(x, y, False, owner, side) for y in _middles(frame.top, frame.bottom)]
            side += 1
    return Pieces(
        np.array([row[:2] for row in rows], np.float64).reshape(-1, 2),
        np.array([row[2] for row in rows], np.bool_),
        np.array([row[3] for row in rows], np.int64),
        np.array([row[4] for row in rows], np.int64),
    )


def refine(grey: Grey, pose: Pose, layout: Layout, seen: Sequence[SeenTag]) -> Fit:
    """The pose corrected by the printed frames, and the page flattened with it."""
    pieces = pieces_of(layout)
    page = Box(0, 0, layout.paper.width, layout.paper.height)
    tags = tag_shifts(pose.matrix, seen, tag_corners(layout.tags))
    small, placed = shrink_to(grey, pose, FLAT_PX_PER_MM)
    for look in _LOOKS:
        flat = flatten(small, placed, page, look.px_per_mm)
        shift = _measure(flat, look.px_per_mm, pieces, look.reach)
        placed = replace(placed, bend=_fitted(placed.bend, pieces, shift, tags, look.tolerance))
    flat = flatten(small, placed, page, FLAT_PX_PER_MM)
    shift = _measure(flat, FLAT_PX_PER_MM, pieces, LOST_MM)
    residual, shares = _judged(pieces, shift, len(layout.boxes) + len(layout.outside))
    return Fit(replace(pose, bend=placed.bend), flat, residual, shares)


def _middles(start: float, end: float) -> list[float]:
    length = end - start - 2 * _CORNER_MM
    if length <= 0:
        return []
    count = max(1, round(length / PIECE_MM))
    return [start + _CORNER_MM + (i + 0.5) * length / count for i in range(count)]


def _measure(flat: Grey, scale: float, pieces: Pieces, reach: float) -> Floats:
    """Look for every piece within `reach` mm of its place on the flattened page.

    scale: pixels a mm. Returns (n,) mm across the line, downwards or to the right; nan where there is
    no line.
    """
    steps = round(reach * scale)
    half = max(1, round((PIECE_MM / 2) * scale))
    shift = np.full(len(pieces.lies), np.nan)
    for lies, picture in ((True, flat), (False, np.ascontiguousarray(flat.T))):
        chosen = np.flatnonzero(pieces.lies == lies)
        along, across = (0, 1) if lies else (1, 0)
        # Pixel i has its middle at (i + 0.5) / scale mm.
        column = np.round(pieces.centres[chosen, along] * scale - 0.5).astype(np.int64)
        exact = pieces.centres[chosen, across] * scale - 0.5
        row = np.round(exact).astype(np.int64)
        offset = _dark_line(picture, row, column, steps, half)
        shift[chosen] = (row - exact + offset) / scale
    return shift


def _dark_line(
    picture: Grey, rows: npt.NDArray[np.int64], columns: npt.NDArray[np.int64], steps: int, half: int
) -> Floats:
    """The thin dark line that runs along each place: how many pixels below it.

    Looks at columns - half .. + half and rows - steps .. + steps. nan where there is none.
    """
    tall = np.clip(rows[:, None] + np.arange(-steps - 2, steps + 3), 0, picture.shape[0] - 1)
    wide = np.clip(columns[:, None] + np.arange(-half, half + 1), 0, picture.shape[1] - 1)
    strip = picture[tall[:, :, None], wide[:, None, :]].astype(np.float32)
    paper = np.maximum(np.percentile(strip.mean(axis=2), 75, axis=1), 1.0)[:, None, None]
    darkness = np.clip(1.0 - strip / paper, 0.0, _DARKEST).mean(axis=2)
    soft = darkness[:, :-2] + 2 * darkness[:, 1:-1] + darkness[:, 2:]
    base = np.median(soft, axis=1, keepdims=True)
    soft = (soft - base) / 4
    places = np.arange(-steps - 1, steps + 2)
    # Of two lines that are about as dark, the nearer one is meant.
    favoured = soft * (1 - 0.3 * (places / (steps + 2)) ** 2)
    peak = np.clip(favoured.argmax(axis=1), 1, len(places) - 2)
    each = np.arange(len(peak))
    around = np.maximum(soft[each[:, None], peak[:, None] + np.arange(-1, 2)], 0.0)
    mass = around.sum(axis=1)
    offset = places[peak] + (around[:, 2] - around[:, 0]) / np.maximum(mass, 1e-6)
    found = soft[each, peak] > _FAINTEST
    return np.where(found, offset, np.nan)


def _fitted(bend: Bend, pieces: Pieces, shift: Floats, tags: tuple[Floats, Floats], tolerance: float) -> Bend:
    """The bend fitted anew; what is off by much more than `tolerance` mm counts little.

    shift: what was measured with `bend`. tags: places on the page and their whole shift.
    """
    weights = bend.weights.copy()
    for component, lies in ((0, False), (1, True)):
        chosen = np.flatnonzero((pieces.lies == lies) & ~np.isnan(shift))
        at = pieces.centres[chosen]
        moved = at.copy()
        moved[:, component] += shift[chosen]
        # A line seen s mm off its place lies, in the picture, where the bend so far puts place + s.
        whole = shift[chosen] + bend.at(moved)[:, component]
        points = np.concatenate([at, tags[0]])
        values = np.concatenate([whole, tags[1][:, component]])
        trust = np.ones(len(values))
        for _ in range(3):
            weights[component] = fit_component(bend.grid, points, values, trust)
            miss = values - Bend(bend.grid, weights).at(points)[:, component]
            trust = 1 / (1 + (miss / tolerance) ** 2) ** 2
    return Bend(bend.grid, weights)


def _judged(pieces: Pieces, shift: Floats, owners: int) -> tuple[float, Floats]:
    """The residual, and the share of each owner's frame that was found."""
    found = ~np.isnan(shift)
    sides = int(pieces.side.max()) + 1
    counts = np.bincount(pieces.side, found, sides)
    total = np.bincount(pieces.side, np.where(found, np.abs(shift), 0.0), sides)
    miss = np.where(counts > 0, total / np.maximum(counts, 1), LOST_MM)
    seen = np.bincount(pieces.owner, found, owners)
    return float(np.percentile(miss, 95)), seen / np.maximum(np.bincount(pieces.owner, minlength=owners), 1)
