"""Where a chart lies in a picture, and the flattened page made from that."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

import cv2
import numpy as np

from ingest.chart.layout import Tag
from ingest.errors import PageError
from ingest.paper import Box, Paper
from ingest.reading.bend import Bend, Floats, Samples, fit_bend
from ingest.reading.sampling import Places, sample
from ingest.reading.sheet import fit_sheet
from ingest.reading.tags import SeenTag, recognise_tag
from ingest.reading.values import Grey

# A tag belongs to the chart if a flat sheet's perspective through the others lands it so near (mm). In a
# steep photo a strong curl moves tags by two centimetres; a tag of another sheet is off by far more.
TAG_TOLERANCE_MM = 30.0

_FLAT_MM = 0.25  # tags that lie so near to a flat sheet's perspective, on average, need no bent sheet
_SHEET_TRUST = 0.05  # a point of the bent sheet against a tag's corner ...
_SHEET_MISS_PX = 2.0  # ... and a fourth of that where the sheet misses the tags by so much

_NEAR_MM = 16.0  # a tag that was missed is looked for so far around its place
_NEAR_PX_PER_MM = 4.5  # five pixels a tag cell: fine enough to decode, coarse enough to be free of noise

_STEP_PX = 16  # the map to the photo is worked out at every 16th pixel and filled in linearly between


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """Page mm to picture pixels: first the bend, then the perspective of a flat sheet.

    matrix: homography, shape (3, 3), that takes a flat sheet's mm to pixels.
    """

    matrix: Floats
    bend: Bend

    def to_picture(self, points: Floats) -> Floats:
        """Points of shape (n, 2), from mm on the page to pixels."""
        return _project(self.matrix, points + self.bend.at(points))

    @property
    def scale(self) -> float:
        """Pixels a mm in the middle of the page."""
        grid = self.bend.grid
        middle = np.array([grid.width / 2, grid.height / 2])
        corners = _project(self.matrix, middle + np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
        across, down = corners[1] - corners[0], corners[2] - corners[0]
        return float(np.sqrt(abs(across[0] * down[1] - across[1] * down[0])))

    def reduced(self, factor: float) -> "Pose":
        """The same pose in a picture whose pixels are `factor` times as large."""
        shrink = np.array(
            [[1 / factor, 0, (0.5 / factor) - 0.5], [0, 1 / factor, (0.5 / factor) - 0.5], [0, 0, 1]]
        )
        return replace(self, matrix=shrink @ self.matrix)

    def map(self, area: Box, px_per_mm: float) -> tuple[Places, Places]:
        """Where each pixel of the flattened area lies in the picture, across and down."""
        width, height = round(area.width * px_per_mm), round(area.height * px_per_mm)
        across, down = -(-width // _STEP_PX) + 2, -(-height // _STEP_PX) + 2
        # Nodes stand in the middle of blocks of 16 pixels, one block beyond the area on every side.
        xs: Floats = area.left + (np.arange(across, dtype=np.float64) - 0.5) * _STEP_PX / px_per_mm
        ys: Floats = area.top + (np.arange(down, dtype=np.float64) - 0.5) * _STEP_PX / px_per_mm
        dx, dy = self.bend.on_grid(xs, ys)
        nodes = np.stack([xs[None, :] + dx, ys[:, None] + dy], axis=-1).reshape(-1, 2)
        places = _project(self.matrix, nodes).T.astype(np.float32, order="C").reshape(2, down, across)
        size = (across * _STEP_PX, down * _STEP_PX)
        x, y = (cv2.resize(each, size, interpolation=cv2.INTER_LINEAR) for each in places)
        inside = np.s_[_STEP_PX : _STEP_PX + height, _STEP_PX : _STEP_PX + width]
        return np.asarray(x[inside], np.float32), np.asarray(y[inside], np.float32)


def flatten(grey: Grey, pose: Pose, area: Box, px_per_mm: float) -> Grey:
    """The part of the page in `area`, seen straight on, `px_per_mm` pixels a mm.

    Where the picture does not reach, the result is mid-grey.
    """
    return sample(grey, *pose.map(area, px_per_mm), continued=False)


def shrink_to(grey: Grey, pose: Pose, px_per_mm: float) -> tuple[Grey, Pose]:
    """The picture shrunk by a whole number so that it still has about `px_per_mm`, and the pose in it.

    Sampling a picture with much more detail than wanted would pick single noisy pixels, slowly.
    """
    factor = int(pose.scale / px_per_mm + 0.25)
    if factor < 2:
        return grey, pose
    height, width = grey.shape[0] // factor, grey.shape[1] // factor
    cut = grey[: height * factor, : width * factor]
    small = cv2.resize(cut, (width, height), interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.uint8), pose.reduced(factor)


def place(
    seen: Sequence[SeenTag], tags: Sequence[Tag], paper: Paper, size: tuple[int, int]
) -> tuple[Pose, tuple[SeenTag, ...]]:
    """The pose of a page whose tags stand at `tags`, and those of the tags seen that agree on it.

    size: the picture's width and height.

    Raises:
        PageError: fewer than two tags agree.
    """
    where = tag_corners(tags)
    known = [tag for tag in seen if tag.id in where]
    agreed = _agreeing(known, where)
    if len(agreed) < 2:
        found = {0: "none", 1: "only one"}[len(agreed)]
        raise PageError(
            f"no chart was found in this picture: of the chart's {len(where)} square marks {found} can be "
            "made out, and at least two are needed; take the photo again with the whole page in view"
        )
    plane = _plane(agreed, where)
    pose = None if plane is None else _posed(_inverse(plane), agreed, tags, paper, size)
    if pose is None:
        raise PageError(
            "a chart's square marks were found in this picture, but they do not lie as on a sheet of paper; "
            "take the photo again from above, with the whole page in view"
        )
    return pose, agreed


def _posed(
    matrix: Floats, agreed: Sequence[SeenTag], tags: Sequence[Tag], paper: Paper, size: tuple[int, int]
) -> Pose | None:
    """Flat if the tags lie as on a flat sheet, else bent; None if they lie as on no sheet at all."""
    flat = Pose(matrix, Bend.none(paper.width, paper.height))
    x, y = tag_shifts(matrix, agreed, tags)
    if len(agreed) > 3 and misfit_mm(flat, agreed, tags) < _FLAT_MM:
        return replace(flat, bend=fit_bend(flat.bend, x, y)) if _shows_front(matrix, paper) else None
    pixels = np.concatenate([tag.corners for tag in agreed])
    sheet = fit_sheet(matrix, x.points, pixels, (paper.width, paper.height), size)
    if sheet is None or not _shows_front(sheet.matrix, paper):
        return None
    # The sheet tells what lies between the tags; the tags have the last word where they are.
    across, down = np.linspace(0, paper.width, 12), np.linspace(0, paper.height, 9)
    points = np.stack(np.meshgrid(across, down), axis=-1).reshape(-1, 2)
    shift = _project(_inverse(sheet.matrix), sheet.to_picture(points)) - points
    # A picture that was pulled straight by a phone's document mode was never seen by one camera.
    weight = _SHEET_TRUST / (1 + (sheet.miss / _SHEET_MISS_PX) ** 2) ** 2
    trust, sure = np.full(len(points), weight), np.ones(len(points), np.bool_)
    between = [Samples(points, shift[:, axis], trust, sure) for axis in (0, 1)]
    x, y = tag_shifts(sheet.matrix, agreed, tags)
    return Pose(sheet.matrix, fit_bend(flat.bend, x + between[0], y + between[1]))


def misfit_mm(pose: Pose, seen: Iterable[SeenTag], tags: Iterable[Tag]) -> float:
    """How far the tags lie from where a flat sheet's perspective would show them, mean of all corners."""
    x, y = tag_shifts(pose.matrix, seen, tags)
    return float(np.hypot(x.values, y.values).mean())


def find_near(grey: Grey, pose: Pose, missing: Iterable[Tag]) -> tuple[SeenTag, ...]:
    """Tags looked for, closely, where the pose says that they should be."""
    found: list[SeenTag] = []
    small, near = shrink_to(grey, pose, _NEAR_PX_PER_MM)
    for tag in missing:
        around = tag.area.grown(_NEAR_MM)
        patch = flatten(small, near, around, _NEAR_PX_PER_MM)
        if seen := recognise_tag(patch, tag.id):
            mm = (seen.corners + 0.5) / _NEAR_PX_PER_MM + (around.left, around.top)
            found.append(SeenTag(tag.id, pose.to_picture(mm)))
    return tuple(found)


def tag_shifts(matrix: Floats, seen: Iterable[SeenTag], tags: Iterable[Tag]) -> tuple[Samples, Samples]:
    """How far beside their places (mm, x and y) a flat sheet's perspective sees the tags' corners."""
    where = tag_corners(tags)
    chosen = tuple(seen)
    paper = np.concatenate([where[tag.id] for tag in chosen])
    pixels = np.concatenate([tag.corners for tag in chosen])
    shift = _project(_inverse(matrix), pixels) - paper
    trust, sure = np.ones(len(paper)), np.ones(len(paper), np.bool_)
    return Samples(paper, shift[:, 0], trust, sure), Samples(paper, shift[:, 1], trust, sure)


def tag_corners(tags: Iterable[Tag]) -> dict[int, Floats]:
    """Each tag's corners on the page in mm, clockwise from the top left; shape (4, 2)."""
    return {tag.id: box_corners(tag.area) for tag in tags}


def box_corners(area: Box) -> Floats:
    """The four corners clockwise from the top left, mm; shape (4, 2)."""
    return np.array(
        [
            [area.left, area.top],
            [area.right, area.top],
            [area.right, area.bottom],
            [area.left, area.bottom],
        ]
    )


def _project(matrix: Floats, points: Floats) -> Floats:
    lifted = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(lifted[:, :2] / lifted[:, 2:])


def _agreeing(known: Sequence[SeenTag], where: Mapping[int, Floats]) -> tuple[SeenTag, ...]:
    """The largest set of tags, each id once, that one sheet's perspective can explain."""
    everything = _plane(known, where)
    if everything is not None and len({tag.id for tag in known}) == len(known):
        best, best_miss = _agreeing_with(everything, known, where)
        if len(best) == len(known):
            return best
    best, best_miss = (), np.inf
    for first, second in product(known, known):
        if first.id >= second.id:
            continue
        matrix = _plane((first, second), where)
        if matrix is None:
            continue
        agreed, miss = _agreeing_with(matrix, known, where)
        # Two neighbours foretell the far tags badly: ask again with all that agree.
        if len(agreed) > 2 and (again := _plane(agreed, where)) is not None:
            agreed, miss = _agreeing_with(again, known, where)
        if (len(agreed), -miss) > (len(best), -best_miss):
            best, best_miss = agreed, miss
    return best or tuple(known[:1])


def _inverse(matrix: Floats) -> Floats:
    return np.asarray(np.linalg.inv(matrix), np.float64)


def _plane(tags: Sequence[SeenTag], where: Mapping[int, Floats]) -> Floats | None:
    """The perspective of a flat sheet, pixels to mm, nearest to all corners of the tags."""
    if not tags:
        return None
    pixels = np.concatenate([tag.corners for tag in tags])
    paper = np.concatenate([where[tag.id] for tag in tags])
    matrix, _ = cv2.findHomography(pixels, paper, 0)
    if matrix is None or not np.all(np.isfinite(matrix)) or abs(np.linalg.det(matrix)) < 1e-12:
        return None
    return np.asarray(matrix, np.float64)


def _agreeing_with(
    matrix: Floats, known: Sequence[SeenTag], where: Mapping[int, Floats]
) -> tuple[tuple[SeenTag, ...], float]:
    """The tags that a picture-to-page perspective lands near their places, and their mean miss in mm."""
    nearest: dict[int, tuple[float, SeenTag]] = {}
    for tag in known:
        miss = float(np.linalg.norm(_project(matrix, tag.corners) - where[tag.id], axis=1).max())
        if miss < min(TAG_TOLERANCE_MM, nearest.get(tag.id, (np.inf, tag))[0]):
            nearest[tag.id] = (miss, tag)
    if not nearest:
        return (), np.inf
    return tuple(tag for _, tag in nearest.values()), float(np.mean([miss for miss, _ in nearest.values()]))


def _shows_front(matrix: Floats, paper: Paper) -> bool:
    """Whether the whole page lies before the camera and is not mirrored."""
    corners = box_corners(Box(0, 0, paper.width, paper.height))
    depth = corners @ matrix[2, :2] + matrix[2, 2]
    if not np.all(np.isfinite(matrix)) or not (np.all(depth > 0) or np.all(depth < 0)):
        return False
    seen = _project(matrix, corners)
    edges = np.roll(seen, -1, axis=0) - seen
    after = np.roll(edges, -1, axis=0)
    turns = edges[:, 0] * after[:, 1] - edges[:, 1] * after[:, 0]
    return bool(np.all(turns > 0))
