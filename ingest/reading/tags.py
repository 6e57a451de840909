"""The square marks around a chart, found in a picture."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import cv2
import numpy as np
import numpy.typing as npt

from ingest.reading.sampling import sample
from ingest.reading.values import Grey

Floats: TypeAlias = npt.NDArray[np.float64]

# Long side, in pixels, to which a picture is reduced before looking for tags. A chart that fills
# two thirds of the picture's length then has 4 pixels a tag cell; the decoder needs two to three.
QUICK_SIDE = 1200
HARD_SIDE = 2400
_CELLS = 8  # across a tag, with its black border
_ALIKE = 0.6  # correlation with a tag's cells: other tags of a chart stay under 0.5, sharp or blurred
_ENLARGE = 2.0  # the hard search enlarges small pictures by so much at most


@dataclass(frozen=True, slots=True, eq=False)
class SeenTag:
    """A tag in a picture.

    corners: shape (4, 2), pixels with (0, 0) the middle of the first pixel; from the tag's own top left
        corner clockwise as printed, so the picture may be turned, but not mirrored.
    """

    id: int
    corners: npt.NDArray[np.float64]

    @property
    def centre(self) -> npt.NDArray[np.float64]:
        return np.asarray(self.corners.mean(axis=0))

    @property
    def side(self) -> float:
        """Mean length of a side in pixels."""
        return float(np.linalg.norm(np.roll(self.corners, 1, axis=0) - self.corners, axis=1).mean())


def find_tags(grey: Grey, wanted: Collection[int], *, hard: bool = False) -> tuple[SeenTag, ...]:
    """The wanted tags in a picture; an id may come more than once where two charts are in view.

    hard: look longer: larger picture, evened-out contrast, wider neighbourhoods.
    """
    long_side = max(grey.shape[:2], default=0)
    if min(grey.shape[:2], default=0) < 16:
        return ()
    if not hard:
        small, scale = _reduced(grey, QUICK_SIDE)
        return _detect(small, scale, wanted, _parameters(small, 9, 9, 10))
    target = min(HARD_SIDE, int(long_side * _ENLARGE))
    large, scale = _resized(grey, target)
    evened = np.asarray(cv2.createCLAHE(clipLimit=4.0, tileGridSize=(8, 8)).apply(large), np.uint8)
    soft = np.asarray(cv2.GaussianBlur(large, (0, 0), 1.2), np.uint8)
    found = [
        *_detect(evened, scale, wanted, _parameters(large, 5, 65, 12)),
        *_detect(soft, scale, wanted, _parameters(large, 5, 65, 12)),
    ]
    return merged(found)


def recognise_tag(patch: Grey, wanted: int) -> SeenTag | None:
    """One tag in a flattened patch of the page where it is expected, upright, even if too blurred to decode.

    A dark square with the right pattern of light and dark inside is good enough here: it is known what
    should stand in this place.
    """
    soft = np.asarray(cv2.GaussianBlur(patch, (0, 0), 1.0), np.uint8)
    parameters = _parameters(soft, 9, 45, 12)
    dictionary = _dictionary([wanted])
    quads, _, others = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(soft)
    if quads:
        return SeenTag(wanted, _sharpened(soft, quads[0])[0])
    pattern = cv2.aruco.generateImageMarker(dictionary, 0, _CELLS)
    best, found = _ALIKE, None
    for quad in others:
        corners = _upright(quad.reshape(4, 2).astype(np.float32))
        fine = _sharpened(soft, corners)[0]
        alike = _likeness(patch, fine.astype(np.float32), np.asarray(pattern, np.float32))
        if alike > best:
            best, found = alike, fine
    return None if found is None else SeenTag(wanted, found)


def _upright(corners: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """The corners of a roughly upright square clockwise from its top left."""
    around = corners - corners.mean(axis=0)
    order = np.argsort(np.arctan2(around[:, 1], around[:, 0]))  # y downwards: clockwise from the upper left
    return np.ascontiguousarray(corners[order])


def _likeness(patch: Grey, corners: npt.NDArray[np.float32], pattern: npt.NDArray[np.float32]) -> float:
    """Correlation, -1 to 1, of a square in the patch with a tag's cells."""
    side = _CELLS * 4
    square = np.array([[0, 0], [side, 0], [side, side], [0, side]], np.float32) - 0.5
    straight = cv2.warpPerspective(patch, cv2.getPerspectiveTransform(corners, square), (side, side))
    cells = cv2.resize(straight, (_CELLS, _CELLS), interpolation=cv2.INTER_AREA).astype(np.float32)
    if cells.std() < 4:
        return -1.0
    return float(np.corrcoef(cells.ravel(), pattern.ravel())[0, 1])


def merged(tags: Iterable[SeenTag]) -> tuple[SeenTag, ...]:
    """The tags with repeats of the same tag at the same place left out; the first one stays."""
    kept: list[SeenTag] = []
    for tag in tags:
        if not any(tag.id == k.id and np.linalg.norm(tag.centre - k.centre) < k.side / 2 for k in kept):
            kept.append(tag)
    return tuple(kept)


def _reduced(grey: Grey, long_side: int) -> tuple[Grey, float]:
    """The picture shrunk by a whole number (fast), and that number."""
    factor = max(1, round(max(grey.shape) / long_side))
    if factor == 1:
        return grey, 1.0
    size = (max(1, grey.shape[1] // factor), max(1, grey.shape[0] // factor))
    # Cut to a multiple first, so that the scale is exactly `factor` in both directions.
    cut = grey[: size[1] * factor, : size[0] * factor]
    return np.asarray(cv2.resize(cut, size, interpolation=cv2.INTER_AREA), np.uint8), float(factor)


def _resized(grey: Grey, long_side: int) -> tuple[Grey, float]:
    factor = max(grey.shape) / long_side
    size = (max(1, round(grey.shape[1] / factor)), max(1, round(grey.shape[0] / factor)))
    how = cv2.INTER_AREA if factor > 1 else cv2.INTER_CUBIC
    return np.asarray(cv2.resize(grey, size, interpolation=how), np.uint8), factor


def _parameters(picture: Grey, narrowest: int, widest: int, step: int) -> cv2.aruco.DetectorParameters:
    """How to look, with neighbourhoods from `narrowest` to `widest` pixels."""
    parameters = cv2.aruco.DetectorParameters()
    dark, light = np.percentile(picture[::8, ::8], (2, 98))
    # How much darker than around it, in grey levels, a mark must be. Measured on 34 simulated photos:
    # with 12 instead of OpenCV's 7 a cloth under the page no longer costs ten times the time.
    parameters.adaptiveThreshConstant = float(np.clip(0.07 * (light - dark), 3, 12))
    parameters.minMarkerPerimeterRate = 0.035
    parameters.adaptiveThreshWinSizeMin = narrowest
    parameters.adaptiveThreshWinSizeMax = widest
    parameters.adaptiveThreshWinSizeStep = step
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_CONTOUR
    return parameters


def _detect(
    picture: Grey, scale: float, wanted: Collection[int], parameters: cv2.aruco.DetectorParameters
) -> tuple[SeenTag, ...]:
    ids = sorted(wanted)
    quads, places, _ = cv2.aruco.ArucoDetector(_dictionary(ids), parameters).detectMarkers(picture)
    if not quads:
        return ()  # and then places is None
    return tuple(
        SeenTag(ids[int(place)], (corners + 0.5) * scale - 0.5)
        for place, corners in zip(places.ravel(), _sharpened(picture, np.asarray(quads)), strict=True)
    )


def _dictionary(ids: Sequence[int]) -> cv2.aruco.Dictionary:
    """Those tags alone, numbered in that order.

    Each dark square in a picture is compared with all tags in all turns; with a chart's own eight instead of
    the family's 587, looking takes half the time. They differ in so many cells that the same are found.
    """
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    return cv2.aruco.Dictionary(family.bytesList[list(ids)], family.markerSize, family.maxCorrectionBits)


def _sharpened(picture: Grey, quads: npt.NDArray[Any]) -> Floats:
    """Corners of dark squares, shape (n, 4, 2), clockwise: where straight lines along their edges cross."""
    start = quads.reshape(-1, 4, 2).astype(np.float64)
    side = np.roll(start, -1, axis=1) - start
    length = np.linalg.norm(side, axis=2, keepdims=True)
    outward = np.stack([side[..., 1], -side[..., 0]], axis=-1) / length
    # Look less than a cell inwards and outwards: beyond that there is other ink.
    reach = 0.9 * length.mean(axis=1, keepdims=True) / _CELLS
    along = np.linspace(0.12, 0.88, 12)
    beyond = np.linspace(-1, 1, 25)
    foot = start[:, :, None] + along[:, None] * side[:, :, None]
    places = foot[:, :, :, None] + (beyond[:, None] * (reach * outward)[:, :, None, None])
    x, y = np.moveaxis(places, -1, 0).reshape(2, -1, len(beyond)).astype(np.float32)
    profile = sample(picture, x, y).reshape(places.shape[:-1])
    rise = np.maximum(np.diff(profile.astype(np.float64)), 0)
    rise[rise < 0.3 * rise.max(axis=-1, keepdims=True)] = 0
    weight = np.maximum(rise.sum(axis=-1), 1e-6)
    edge = (rise * (beyond[1:] + beyond[:-1]) / 2).sum(axis=-1) / weight
    middle, slope = _straight(along - 0.5, edge)
    ends = [
        start + reach * outward * (middle - slope / 2)[..., None],
        start + side + reach * outward * (middle + slope / 2)[..., None],
    ]
    return _crossings(np.roll(ends[0], 1, axis=1), np.roll(ends[1], 1, axis=1), ends[0], ends[1])


def _straight(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Height at 0 and slope of the lines through y over x, along the last axis, outliers left out."""
    weight = np.ones_like(y)
    for _ in range(4):
        total = weight.sum(axis=-1, keepdims=True)
        mean_x = (weight * x).sum(axis=-1, keepdims=True) / total
        mean_y = (weight * y).sum(axis=-1, keepdims=True) / total
        spread = (weight * (x - mean_x) ** 2).sum(axis=-1, keepdims=True)
        slope = (weight * (x - mean_x) * (y - mean_y)).sum(axis=-1, keepdims=True) / spread
        miss = y - mean_y - slope * (x - mean_x)
        weight = 1 / (1 + (miss / 0.1) ** 2)  # of a cell, nearly
    return (mean_y - slope * mean_x)[..., 0], slope[..., 0]


def _crossings(a: Floats, b: Floats, c: Floats, d: Floats) -> Floats:
    """Where the lines a-b and c-d cross; shape (..., 2)."""
    first, second = b - a, d - c
    turn = first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0]
    gap = c - a
    part = (gap[..., 0] * second[..., 1] - gap[..., 1] * second[..., 0]) / np.where(turn == 0, 1e-9, turn)
    return np.asarray(a + part[..., None] * first)
