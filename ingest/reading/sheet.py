"""A bent sheet of paper before a camera, as far as its tags tell.

The tags stand at the page's edges. Where paper curls, what a flat sheet's perspective leaves over at the
tags says little of the middle. But a sheet has a height above the table, height moves every point along
one known direction in the picture, and paper does not stretch: nine numbers for the camera and seven for
the height place the middle as well.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

from ingest.reading.bend import Floats

# What is likely before a picture is looked at, as standard deviations. Pixels are those of a picture
# whose long side has 1600.
_LONG_SIDE = 1600
_FOCAL = 0.85 * _LONG_SIDE  # a phone's main lens sees about 65 degrees across the long side
_FOCAL_SPREAD = 0.35  # of its logarithm
_OFF_MIDDLE_PX = 120.0  # of the lens's axis from the picture's middle, where a photo was cropped
_HEIGHTS_MM = np.array([10.0, 4.0, 10.0, 4.0, 4.0, 6.0, 6.0])  # of each shape, at the page's edge or corner
_TAG_PX = 0.7  # how well a tag's corner is known

_FOLD_MM = 4.0  # a fold is rounded within about so much
_TURN, _PLACE, _LENS, _MIDDLE, _HEIGHT = slice(0, 3), slice(3, 6), slice(6, 7), slice(7, 9), slice(9, 16)
_STEPS = 25
_GOOD = 1.0  # squared miss a number at which other starts need not be tried


# Where on the way from the middle to a point slopes are taken, and what each counts: Simpson's rule.
_PARTS = (0.0, 0.5, 1.0)
_WEIGHTS = np.array([1.0, 4.0, 1.0]) / 6


@dataclass(frozen=True, slots=True, eq=False)
class _Ground:
    """Points of the page, and what the shapes are there, whatever the heights.

    places: (2, n), x and y, mm from the page's middle. shapes: (shapes, n).
    slopes: (shapes, 2 * parts * n), along x, then along y, at each part of the way from the middle.
    """

    places: Floats
    shapes: Floats
    slopes: Floats

    @classmethod
    def under(cls, points: Floats, page: Floats) -> "_Ground":
        """points: (n, 2), mm on the page."""
        reach = page / 2
        x, y = places = (points - reach).T
        slopes = [_slopes(x * part, y, reach, 0) for part in _PARTS]
        slopes += [_slopes(x, y * part, reach, 1) for part in _PARTS]
        return cls(places, _shapes(x, y, reach), np.concatenate(slopes, axis=1))


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """numbers: turn (3), place (3, mm), logarithm of the focal length, middle (2, px), heights (7, mm).

    page: width and height, mm. size: the picture's width and height, px.
    miss: how far it shows the tags from where they are seen, root mean square, px of a picture 1600 long.
    """

    numbers: Floats
    page: Floats
    size: Floats
    miss: float

    @property
    def matrix(self) -> Floats:
        """The homography, mm on the page to px, of the same sheet lying flat."""
        turn = cv2.Rodrigues(self.numbers[_TURN])[0]
        flat = np.column_stack([turn[:, 0], turn[:, 1], self.numbers[_PLACE]])
        focal = np.exp(self.numbers[6])
        unit = self.size.max() / _LONG_SIDE
        middle = self.numbers[_MIDDLE] * unit + self.size / 2
        lens = np.array([[focal * unit, 0, middle[0]], [0, focal * unit, middle[1]], [0, 0, 1]])
        to_middle = np.array([[1, 0, -self.page[0] / 2], [0, 1, -self.page[1] / 2], [0, 0, 1]])
        return np.asarray(lens @ flat @ to_middle, np.float64)

    def to_picture(self, points: Floats) -> Floats:
        """Points of shape (n, 2), mm on the page, to px."""
        unit = self.size.max() / _LONG_SIDE
        seen = _project(self.numbers[None], _Ground.under(points, self.page))[0]
        return np.asarray(seen * unit + self.size / 2)


def fit_sheet(
    matrix: Floats, paper: Floats, pixels: Floats, page: tuple[float, float], size: tuple[int, int]
) -> Sheet | None:
    """The likeliest sheet that shows points of the page (n, 2), mm, at pixels (n, 2).

    matrix: a flat sheet's homography to begin with. None where that is no view of a sheet at all.
    """
    whole, extent = np.array(page), np.array(size, np.float64)
    unit = max(size) / _LONG_SIDE
    start = _start(matrix, whole, extent)
    if start is None:
        return None
    target = (pixels - extent / 2) / unit
    ground = _Ground.under(paper, whole)
    best, least = start, np.inf
    for bowed in _bowed(start):
        found, miss = _search(bowed, ground, target)
        if miss < least:
            best, least = found, miss
        if least < _GOOD * target.size:
            break
    seen = _project(best[None], ground)[0]
    miss = float(np.sqrt(((seen - target) ** 2).sum(axis=1).mean()))
    return Sheet(best, whole, extent, miss)


def _start(matrix: Floats, page: Floats, size: Floats) -> Floats | None:
    """Camera and flat sheet as numbers, from a homography and the usual focal length."""
    unit = size.max() / _LONG_SIDE
    to_middle = np.array([[1, 0, -size[0] / 2], [0, 1, -size[1] / 2], [0, 0, unit]]) / unit
    from_middle = np.array([[1, 0, page[0] / 2], [0, 1, page[1] / 2], [0, 0, 1]])
    flat = np.diag([1 / _FOCAL, 1 / _FOCAL, 1]) @ to_middle @ matrix @ from_middle
    flat = flat / np.sqrt(np.linalg.norm(flat[:, 0]) * np.linalg.norm(flat[:, 1]))
    if not np.all(np.isfinite(flat)):
        return None
    if flat[2, 2] < 0:
        flat = -flat
    left, _, right = np.linalg.svd(
        np.column_stack([flat[:, 0], flat[:, 1], np.cross(flat[:, 0], flat[:, 1])])
    )
    turn = cv2.Rodrigues(left @ right)[0].ravel()
    return np.concatenate([turn, flat[:, 2], [np.log(_FOCAL)], np.zeros(2 + len(_HEIGHTS_MM))])


def _bowed(start: Floats) -> Iterator[Floats]:
    """The start with the sheet bowed each way; from a flat sheet the search may go the wrong way."""
    for shape in (0, 2):
        for rise in (10.0, -10.0):
            bowed = start.copy()
            bowed[_HEIGHT.start + shape] = rise
            yield bowed


def _search(start: Floats, ground: _Ground, target: Floats) -> tuple[Floats, float]:
    """Levenberg and Marquardt's method; the numbers found, and what they miss by, squared."""
    nudge = np.concatenate([np.full(3, 1e-5), np.full(3, 1e-2), [1e-4], np.full(len(start) - 7, 1e-2)])

    def misses(guesses: Floats) -> Floats:
        seen = (_project(guesses, ground) - target).reshape(len(guesses), -1) / _TAG_PX
        unlikely = [
            (guesses[:, _LENS] - np.log(_FOCAL)) / _FOCAL_SPREAD,
            guesses[:, _MIDDLE] / _OFF_MIDDLE_PX,
            guesses[:, _HEIGHT] / _HEIGHTS_MM,
        ]
        return np.concatenate([seen, *unlikely], axis=1)

    now, damping = start, 1e-3
    here = misses(now[None])[0]
    for _ in range(_STEPS):
        slopes = ((misses(now + np.diag(nudge)) - here) / nudge[:, None]).T
        system, downhill = slopes.T @ slopes, -slopes.T @ here
        for _ in range(4):
            step = np.linalg.solve(system + damping * np.diag(np.diag(system)), downhill)
            there = misses((now + step)[None])[0]
            if there @ there < here @ here:
                break
            damping *= 10
        else:
            break
        gain = 1 - (there @ there) / (here @ here)
        now, here, damping = now + step, there, damping / 10
        if gain < 2e-3:
            break
    return now, float(here @ here)


def _project(guesses: Floats, ground: _Ground) -> Floats:
    """Where the points are seen, px from the picture's middle: (guesses, points, 2)."""
    heights = guesses[:, _HEIGHT]
    steep = (heights @ ground.slopes) ** 2
    # What a point is nearer to the middle than on flat paper: half the slope's square, summed up.
    lost = np.einsum("gapn,p->gan", steep.reshape(len(guesses), 2, len(_PARTS), -1), _WEIGHTS / 2)
    rise = heights @ ground.shapes
    space = np.concatenate([ground.places * (1 - lost), -rise[:, None]], axis=1)
    turns = np.stack([cv2.Rodrigues(guess)[0] for guess in guesses[:, _TURN]])
    seen = turns @ space + guesses[:, _PLACE, None]
    depth = np.maximum(seen[:, 2:], 1.0)
    pixels = seen[:, :2] / depth * np.exp(guesses[:, _LENS, None]) + guesses[:, _MIDDLE, None]
    return np.asarray(pixels.transpose(0, 2, 1), np.float64)


def _shapes(x: Floats, y: Floats, reach: Floats) -> Floats:
    """What a sheet's height is made of: bows, a twist, lopsided bows, folds through the middle."""
    u, v = x / reach[0], y / reach[1]
    across, along = _FOLD_MM / reach
    return np.stack([u**2, u * v, v**2, u**3, v**3, np.hypot(u, across), np.hypot(v, along)])


def _slopes(x: Floats, y: Floats, reach: Floats, axis: int) -> Floats:
    """The shapes' slopes, mm a mm, along x (axis 0) or y (axis 1)."""
    u, v = x / reach[0], y / reach[1]
    across, along = _FOLD_MM / reach
    none = np.zeros_like(u)
    if axis == 0:
        rows = [2 * u, v, none, 3 * u**2, none, u / np.hypot(u, across), none]
    else:
        rows = [none, u, 2 * v, none, 3 * v**2, none, v / np.hypot(v, along)]
    return np.asarray(np.stack(rows) / reach[axis])
