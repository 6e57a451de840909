"""A smooth displacement over the page: what curl and folds leave after a flat sheet's perspective.

Both components are tensor-product cubic B-splines on a regular grid of control points, fitted to
scattered measurements by penalised least squares (Eilers & Marx, "Flexible smoothing with B-splines
and penalties", Statistical Science 11(2), 1996).
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

SPACING_MM = 24.0  # between control points; a sharp fold is rounded off over about this length

# How strongly paper is expected to bend or stretch, relative to a measurement known to 0.1 mm. A gentle
# curl of 5 mm over a page's width changes its slope by 0.01 between control points: 0.2 mm in the
# spline's second difference.
_BEND_WEIGHT = 0.02
_STRETCH_WEIGHT = 0.01
_SHIFT_WEIGHT = 1e-4  # keeps the system solvable where nothing was measured
_STEADY = 0.05  # where no measurement's trust changes by so much, weighing them anew would change nothing


@dataclass(frozen=True, slots=True)
class Grid:
    """The control points' grid over a page of width x height mm, one ring beyond its edges."""

    width: float
    height: float

    @property
    def columns(self) -> int:
        return int(np.ceil(self.width / SPACING_MM)) + 3

    @property
    def rows(self) -> int:
        return int(np.ceil(self.height / SPACING_MM)) + 3


@dataclass(frozen=True, slots=True, eq=False)
class Bend:
    """Displacement in mm at any point of the page.

    weights: shape (2, rows, columns): control values of the x and the y displacement.
    """

    grid: Grid
    weights: Floats

    @classmethod
    def none(cls, width: float, height: float) -> "Bend":
        grid = Grid(width, height)
        return cls(grid, np.zeros((2, grid.rows, grid.columns)))

    def at(self, points: Floats) -> Floats:
        """Displacement at points of shape (n, 2), mm; same shape."""
        across, down = _bases(self.grid, points)
        return np.asarray(((down @ self.weights) * across).sum(axis=2).T)

    def on_grid(self, xs: Floats, ys: Floats) -> tuple[Floats, Floats]:
        """x and y displacement where columns at `xs` cross rows at `ys` (mm); shape (len(ys), len(xs))."""
        across = _basis(xs, self.grid.columns)
        down = _basis(ys, self.grid.rows)
        return down @ self.weights[0] @ across.T, down @ self.weights[1] @ across.T


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """Measurements of one component of the displacement.

    points: (n, 2) mm. values: (n,) mm. trust: (n,) weights; 1.0 for a measurement good to 0.1 mm.
    sure: (n,) True for what cannot be a mistake, however far it is off.
    """

    points: Floats
    values: Floats
    trust: Floats
    sure: npt.NDArray[np.bool_]

    def __add__(self, other: "Samples") -> "Samples":
        return Samples(
            np.concatenate([self.points, other.points]),
            np.concatenate([self.values, other.values]),
            np.concatenate([self.trust, other.trust]),
            np.concatenate([self.sure, other.sure]),
        )


def fit_bend(base: Bend, x: Samples, y: Samples, tolerance: float = np.inf, rounds: int = 3) -> Bend:
    """The bend that differs smoothly from `base` and is nearest to measurements of both components.

    tolerance: measurements that miss the bend by much more mm than this come to count little.
    """
    fitted = [
        _fit_component(base.grid, weights, part, tolerance, rounds)
        for weights, part in zip(base.weights, (x, y), strict=True)
    ]
    return Bend(base.grid, np.stack(fitted))


def _fit_component(grid: Grid, base: Floats, samples: Samples, tolerance: float, rounds: int) -> Floats:
    """Control values of the field nearest to the samples that differs smoothly from that of `base`."""
    # Single precision: seven digits are more than was measured, and take half the time.
    across, down = (basis.astype(np.float32) for basis in _bases(grid, samples.points))
    shares = (down[:, :, None] * across[:, None, :]).reshape(len(across), -1)
    values = samples.values - shares @ base.ravel()
    trust = samples.trust
    for _ in range(rounds):
        weighted = shares.T * trust.astype(np.float32)
        control = np.linalg.solve(weighted @ shares + _smoothness(grid), weighted @ values)
        miss = values - shares @ control
        doubt = np.where(samples.sure, 0.0, miss / tolerance)
        before, trust = trust, samples.trust / (1 + doubt**2) ** 2
        if np.abs(trust - before).max(initial=0.0) < _STEADY:
            break
    return base + control.reshape(base.shape)


def _basis(places: Floats, count: int) -> Floats:
    """What each of `count` control points in a row counts at each place (mm); shape (places, count)."""
    u = places / SPACING_MM
    first = np.clip(np.floor(u), 0, count - 4).astype(np.int64)
    # Beyond the grid the outermost cell's polynomial would run away: hold the place at its edge.
    t = np.clip(u - first, -0.5, 1.5)
    rest, square, cube = 1 - t, t * t, t * t * t
    matrix = np.zeros((len(places), count))
    each = np.arange(len(places))
    # The four cubic B-splines that are not 0 there.
    matrix[each, first] = rest * rest * rest / 6
    matrix[each, first + 1] = (3 * cube - 6 * square + 4) / 6
    matrix[each, first + 2] = (-3 * cube + 3 * square + 3 * t + 1) / 6
    matrix[each, first + 3] = cube / 6
    return matrix


def _bases(grid: Grid, points: Floats) -> tuple[Floats, Floats]:
    """What each column of control points counts at each point, and each row."""
    return _basis(points[:, 0], grid.columns), _basis(points[:, 1], grid.rows)


@lru_cache(maxsize=8)
def _smoothness(grid: Grid) -> Floats:
    """The penalty on bending, stretching and shifting, as a matrix over all control points."""

    def difference(count: int, order: int) -> Floats:
        return np.asarray(np.diff(np.eye(count), n=order, axis=0))

    def square(matrix: Floats) -> Floats:
        return np.asarray(matrix.T @ matrix)

    across = {k: square(difference(grid.columns, k)) for k in (1, 2)}
    down = {k: square(difference(grid.rows, k)) for k in (1, 2)}
    still_across, still_down = np.eye(grid.columns), np.eye(grid.rows)
    bending = (
        np.kron(still_down, across[2]) + 2 * np.kron(down[1], across[1]) + np.kron(down[2], still_across)
    )
    stretching = np.kron(still_down, across[1]) + np.kron(down[1], still_across)
    size = grid.rows * grid.columns
    penalty: Floats = np.asarray(
        _BEND_WEIGHT * bending + _STRETCH_WEIGHT * stretching + _SHIFT_WEIGHT * np.eye(size), np.float64
    )
    penalty.flags.writeable = False
    return penalty
