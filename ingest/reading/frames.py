"""The printed frames, found in the picture, correct the pose where paper is curled or folded."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from ingest.chart.layout import Layout
from ingest.paper import Box
from ingest.reading.bend import Bend, Floats, Samples, fit_bend
from ingest.reading.flatten import Pose, flatten, shrink_to, tag_shifts
from ingest.reading.numerals import FLAT_PX_PER_MM
from ingest.reading.pattern import follow
from ingest.reading.sampling import sample
from ingest.reading.tags import SeenTag
from ingest.reading.values import Grey

Shares: TypeAlias = npt.NDArray[np.float32]  # of the paper's brightness

LOST_MM = 2.0  # counted at most as the miss of a frame side that cannot be found ...
_SURE_MM = 0.2  # ... and at least
_LEAST_SHARE = 0.25  # of the frames; with less in sight nothing is known of the tags' own quality

_PIECE_MM = 5.0  # frames are looked at in pieces of this length
_CORNER_MM = 1.5  # frames may have rounded corners: keep away from them
_ALONG_PX_PER_MM = 2.0
_ACROSS_PX_PER_MM = 5.0

_DARKEST = 0.45  # share of the paper's brightness; what is darker than that is pencil, not a frame
_FAINTEST = 0.012  # share of the paper's brightness by which a frame must be darker than the paper
_CLEAREST = 2.0  # ... and so many times the noise of a row

_BESIDE = (3, 4)  # rows beside a line, at _ACROSS_PX_PER_MM, that must be brighter than it

# Of a side's pieces so many must lie near the middle one, within so much of the reach.
_SIDE_SHARE = 0.6
_SIDE_MISS = 0.35

# Rows of frames stand 4.6 mm apart: a reach of half that could take a line for its neighbour.
_REACHES_MM = (1.6, 1.0, 1.0)
_SETTLED_MM = 0.5  # no piece was off by more: looking again would change nothing

# If fewer of the pieces than this come to lie within 0.3 mm, lines may have been taken for others.
_GOOD_SHARE = 0.95
# Where the frames moved the pose hardly anywhere, what is missing is only hard to see.
_TAME_SHARE = 0.75
_TAME_MM = 0.7
_BETTER_SHARE = 0.03  # writing taken for lines may make a worse fit look better by less than this
_GOOD_MISS_MM = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """Short pieces of printed lines, n in all, in page mm; a line that two boxes share is there once.

    centres: (n, 2). lies: (n,) True where the line runs from left to right.
    side: (n,) number of the side that the piece is cut from, 0 .. m - 1.
    of_side: (m, most) the pieces of each side, then -1.
    of_box: (boxes, 4) the sides of each of the layout's boxes.
    """

    centres: Floats
    lies: npt.NDArray[np.bool_]
    side: npt.NDArray[np.int64]
    of_side: npt.NDArray[np.int64]
    of_box: npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A refined pose.

    flat: the whole page flattened with it, FLAT_PX_PER_MM pixels a mm.
    residual_mm: 95th centile over frame sides of how far they still lie off. For a side that does not
        show: how far the tags alone may be off, judged by the sides that do; at most LOST_MM.
    seen: for each of the layout's boxes, share of its frame that was found, 0..1.
    """

    pose: Pose
    flat: Grey
    residual_mm: float
    seen: Floats


@lru_cache(maxsize=16)
def pieces_of(layout: Layout) -> Pieces:
    """The frames' sides, cut into pieces."""
    sides: dict[tuple[bool, float, float, float], int] = {}
    of_box = []
    for box in layout.boxes:  # cells outside the month are not drawn
        frame = box.frame
        of_box.append(
            [
                sides.setdefault(side, len(sides))
                for side in (
                    (True, frame.top, frame.left, round(frame.right, 2)),
                    (True, round(frame.bottom, 2), frame.left, round(frame.right, 2)),
                    (False, frame.left, frame.top, round(frame.bottom, 2)),
                    (False, round(frame.right, 2), frame.top, round(frame.bottom, 2)),
                )
            ]
        )
    rows = [
        ((middle, across) if lies else (across, middle), lies, number)
        for (lies, across, start, end), number in sides.items()
        for middle in _middles(start, end)
    ]
    side = np.array([row[2] for row in rows], np.int64)
    counts = np.bincount(side, minlength=len(sides))
    of_side = np.full((len(sides), counts.max(initial=0)), -1)
    of_side[np.arange(of_side.shape[1]) < counts[:, None]] = np.arange(len(rows))
    return Pieces(
        np.array([row[0] for row in rows], np.float64).reshape(-1, 2),
        np.array([row[1] for row in rows], np.bool_),
        side,
        of_side,
        np.array(of_box, np.int64).reshape(-1, 4),
    )


def refine(grey: Grey, pose: Pose, layout: Layout, seen: Sequence[SeenTag]) -> Fit:
    """The pose corrected by the printed frames, and the page flattened with it."""
    pieces = pieces_of(layout)
    tags = tag_shifts(pose.matrix, seen, layout.tags)
    small, placed = shrink_to(grey, pose, FLAT_PX_PER_MM)
    near, shift = _settled(small, placed, pieces, tags)
    starts = _other_starts(small, near, layout, tags)
    moved = np.abs(_moved(placed, near, pieces))
    enough = _GOOD_SHARE if moved.max() > _TAME_MM else _TAME_SHARE
    while _share(shift) < enough and (other := next(starts, None)) is not None:
        settled, left = _settled(small, other, pieces, tags)
        if _share(left) > _share(shift) + _BETTER_SHARE:
            near, shift, moved = settled, left, np.abs(_moved(placed, settled, pieces))
    page = Box(0, 0, layout.paper.width, layout.paper.height)
    flat = flatten(small, near, page, FLAT_PX_PER_MM)
    return Fit(replace(pose, bend=near.bend), flat, *_judged(pieces, shift, moved))


def _middles(start: float, end: float) -> list[float]:
    """The middles of the pieces of a side; at least one."""
    count = max(1, round((end - start - 2 * _CORNER_MM) / _PIECE_MM))
    length = max(end - start - 2 * _CORNER_MM, 0.0)
    return [(start + end - length) / 2 + (i + 0.5) * length / count for i in range(count)]


def _settled(grey: Grey, pose: Pose, pieces: Pieces, tags: tuple[Samples, Samples]) -> tuple[Pose, Floats]:
    """The pose with its bend fitted to the frames near it, and how far off the pieces then still are."""
    left = np.full(len(pieces.lies), np.nan)
    for reach in _REACHES_MM:
        shift = _measure(grey, pose, pieces, reach)
        before, pose = pose, replace(pose, bend=_fitted(pose.bend, pieces, shift, tags, reach / 4))
        left = shift - _moved(before, pose, pieces)
        if reach < _REACHES_MM[0] and np.nan_to_num(np.abs(shift)).max(initial=0.0) < _SETTLED_MM:
            break
    return pose, left


def _other_starts(grey: Grey, near: Pose, layout: Layout, tags: tuple[Samples, Samples]) -> Iterator[Pose]:
    """Where else the search may begin: at the whole pattern, or at the tags' own smoothest bend."""
    yield follow(grey, near, layout, tags)
    smoothest = fit_bend(Bend.none(layout.paper.width, layout.paper.height), *tags)
    yield replace(near, bend=smoothest)


def _share(shift: Floats) -> float:
    """The share of all pieces that were found where they should be."""
    return float((np.abs(shift) < _GOOD_MISS_MM).mean())  # nan counts as missing


def _measure(grey: Grey, pose: Pose, pieces: Pieces, reach: float) -> Floats:
    """Look for every piece within `reach` mm of where the pose puts it.

    Returns (n,) mm across the line, downwards or to the right; nan where there is no line.
    """
    steps, half = round(reach * _ACROSS_PX_PER_MM), round(_PIECE_MM / 2 * _ALONG_PX_PER_MM)
    along = np.where(pieces.lies[:, None], (1.0, 0.0), (0.0, 1.0))
    nodes = np.concatenate([pieces.centres, pieces.centres + along, pieces.centres + along[:, ::-1]])
    middle, *ends = pose.to_picture(nodes).reshape(3, -1, 2).astype(np.float32)
    # One mm along and across each piece, in pixels of the picture.
    step_along, step_across = (end - middle for end in ends)
    beyond = steps + _BESIDE[-1] + 1
    rows = np.arange(-beyond, beyond + 1, dtype=np.float32) / _ACROSS_PX_PER_MM
    columns = np.arange(-half, half + 1, dtype=np.float32)[:, None] / _ALONG_PX_PER_MM
    x, y = (
        (middle[:, axis] + columns * step_along[:, axis])[:, :, None] + rows * step_across[:, axis, None]
        for axis in (0, 1)
    )
    strips = sample(grey, x.reshape(-1, len(rows)), y.reshape(-1, len(rows))).reshape(x.shape)
    shift = _dark_line(strips) / _ACROSS_PX_PER_MM
    inside = np.all((middle >= 0) & (middle <= np.array(grey.shape[::-1]) - 1), axis=1)
    return _agreeing(np.where(inside, shift, np.nan), pieces, _SIDE_MISS * reach)


def _agreeing(shift: Floats, pieces: Pieces, tolerance: float) -> Floats:
    """The shifts without those of sides whose pieces do not lie on one line: there, writing was found."""
    table = np.where(pieces.of_side >= 0, shift[pieces.of_side], np.nan)
    ordered = np.sort(table, axis=1)  # nan last
    middle = np.maximum((~np.isnan(table)).sum(axis=1) - 1, 0) // 2
    usual = ordered[np.arange(len(ordered)), middle]
    agree = np.abs(shift - usual[pieces.side]) < tolerance
    share = np.bincount(pieces.side, agree) / np.bincount(pieces.side)
    return np.where(agree & (share[pieces.side] >= _SIDE_SHARE), shift, np.nan)


def _dark_line(strips: Grey) -> Floats:
    """How many rows below its middle each strip has a thin dark line; or nan.

    strips: shape (columns, n, rows).
    """
    paper = np.maximum(np.rint(_ranked(strips.mean(axis=0, dtype=np.float32), 0.75)), 1)
    most, least = (np.repeat(part * paper, strips.shape[2], axis=1) for part in (1, 1 - _DARKEST))
    bounded = np.minimum(np.maximum(strips, least.astype(np.uint8)), most.astype(np.uint8))
    middle = len(strips) // 2
    left, right = (
        1 - part.mean(axis=0, dtype=np.float32) / paper for part in (bounded[:middle], bounded[middle:])
    )
    darkness = (left + right) / 2
    # A line is dark in both halves of its row; noise is not. 1.48: from the median to a standard deviation.
    noise = 1.48 * _ranked(np.abs(left - right), 0.5)[:, 0] / 2
    soft = (darkness[:, :-2] + 2 * darkness[:, 1:-1] + darkness[:, 2:]) / 4
    # A line is darker than what lies on either side of it; the edge of a shadow or of print is not.
    far = _BESIDE[-1]
    count = soft.shape[1] - 2 * far
    above, below = (
        np.mean([soft[:, far + sign * step :][:, :count] for step in _BESIDE], axis=0) for sign in (-1, 1)
    )
    soft = soft[:, far : far + count] - np.maximum(above, below)
    reach = count // 2
    places = np.arange(-reach, reach + 1)
    # Of two lines that are about as dark, the nearer one is meant.
    favoured = soft * (1 - 0.3 * (places / reach) ** 2)
    peak = np.clip(favoured.argmax(axis=1), 1, len(places) - 2)
    each = np.arange(len(peak))
    before, top, after = (soft[each, peak + step] for step in (-1, 0, 1))
    # The vertex of the parabola through the darkest row and its neighbours.
    offset = places[peak] + np.clip(
        (after - before) / np.maximum(4 * top - 2 * (before + after), 1e-6), -1, 1
    )
    found = top > np.maximum(_FAINTEST, _CLEAREST * noise)
    return np.where(found, offset, np.nan).astype(np.float64)


def _ranked(values: Shares, rank: float) -> Shares:
    """The value of each row that such a share of the row stays under; shape (n, 1)."""
    place = int(rank * values.shape[1])
    return np.partition(values, place, axis=1)[:, place, None]


def _across(vectors: Floats, pieces: Pieces) -> Floats:
    """The component of each piece's vector, shape (n, 2), that is across the line."""
    return np.where(pieces.lies, vectors[:, 1], vectors[:, 0])


def _whole_shift(bend: Bend, pieces: Pieces, shift: Floats) -> Floats:
    """The displacement across each line from a flat sheet, where `shift` was measured beyond `bend`."""
    moved = (
        pieces.centres
        + np.where(pieces.lies[:, None], (0.0, 1.0), (1.0, 0.0)) * np.nan_to_num(shift)[:, None]
    )
    # A line seen s mm off its place lies, in the picture, where the bend so far puts place + s.
    return shift + _across(bend.at(moved), pieces)


def _fitted(
    bend: Bend, pieces: Pieces, shift: Floats, tags: tuple[Samples, Samples], tolerance: float
) -> Bend:
    """The bend fitted anew; shift: what was measured with `bend`."""
    whole = _whole_shift(bend, pieces, shift)
    found = ~np.isnan(shift)
    x, y = (
        Samples(
            pieces.centres[chosen], whole[chosen], np.ones(chosen.sum()), np.zeros(chosen.sum(), np.bool_)
        )
        for chosen in (found & ~pieces.lies, found & pieces.lies)
    )
    return fit_bend(bend, x + tags[0], y + tags[1], tolerance)


def _moved(before: Pose, after: Pose, pieces: Pieces) -> Floats:
    """How far each piece was moved across its line, mm, downwards or to the right."""
    change = Bend(before.bend.grid, after.bend.weights - before.bend.weights)
    return _across(change.at(pieces.centres), pieces)


def _judged(pieces: Pieces, shift: Floats, moved: Floats) -> tuple[float, Floats]:
    """The residual, and the share of each box's frame that was found. moved: by the frames, from the tags."""
    found = ~np.isnan(shift)
    # Where no frame shows, the tags alone must do, and they are about as good as they were elsewhere.
    lost = LOST_MM
    if found.mean() > _LEAST_SHARE:
        lost = min(LOST_MM, max(_SURE_MM, 1.5 * float(np.percentile(moved[found], 95))))
    counts, total = np.bincount(pieces.side, found), np.bincount(pieces.side)
    off = np.bincount(pieces.side, np.where(found, np.abs(shift), 0.0))
    miss = np.where(counts > 0, off / np.maximum(counts, 1), lost)
    return float(np.percentile(miss, 95)), (counts / total)[pieces.of_box].mean(axis=1)
