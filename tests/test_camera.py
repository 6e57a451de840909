"""The demo's camera: its map of page to photo is checked by another library's tag detector."""

import io
from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image, ImageOps

from ingest.demo.camera import (
    EXIF_ORIENTATION,
    GENTLE,
    HARD,
    ORDINARY,
    SEVERITIES,
    UNMOVED,
    Photo,
    Severity,
    flatbed,
    photocopied,
    photograph,
)
from ingest.demo.desk import desk

PAGE_MM = (279.4, 215.9)
PX_PER_MM = 6.0
TAG_MM = 20.0
CORNERS = {0: (10.0, 10.0), 1: (249.4, 10.0), 2: (249.4, 185.9), 3: (10.0, 185.9), 4: (130.0, 98.0)}
QUICK = replace(ORDINARY, megapixels=(2.0,))


def _dictionary() -> cv2.aruco.Dictionary:
    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36H11)


@pytest.fixture(scope="module")
def page() -> np.ndarray:
    """A sheet with five tags, their edges on whole pixels."""
    grey = np.full((round(PAGE_MM[1] * PX_PER_MM), round(PAGE_MM[0] * PX_PER_MM)), 250, np.uint8)
    side = round(TAG_MM * PX_PER_MM)
    for number, (left, top) in CORNERS.items():
        x, y = round(left * PX_PER_MM), round(top * PX_PER_MM)
        grey[y : y + side, x : x + side] = cv2.aruco.generateImageMarker(_dictionary(), number, side)
    return grey


def _shown(photo: Photo) -> np.ndarray:
    """What a viewer shows, by Pillow, which obeys the Exif orientation."""
    return np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(photo.jpeg))).convert("L"))


def _misses(photo: Photo) -> list[float]:
    """Distance in mm on the page between each tag corner as detected and as the map says."""
    detector = cv2.aruco.ArucoDetector(_dictionary())
    parameters = detector.getDetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector.setDetectorParameters(parameters)
    found, numbers, _ = detector.detectMarkers(_shown(photo))
    square = np.array([[0, 0], [TAG_MM, 0], [TAG_MM, TAG_MM], [0, TAG_MM]])
    misses: list[float] = []
    for quad, number in zip(found, [] if numbers is None else numbers.ravel(), strict=True):
        # A pixel of the page is 1/6 mm wide; the tag fills whole pixels, so its edge may be off by 0.1 mm.
        expected = photo.to_photo(np.array(CORNERS[int(number)]) + square)
        scale = np.hypot(*(expected[1] - expected[0])) / TAG_MM
        misses += (np.hypot(*(quad[0] - expected).T) / scale).tolist()
    return misses


@pytest.mark.parametrize(
    "severity",
    [
        GENTLE,
        ORDINARY,
        HARD,
        replace(QUICK, name="copied", photocopy=1.0),
        replace(QUICK, name="scanned by phone", scan_mode=1.0),
        replace(QUICK, name="folded", folds=1.0, fold=(12, 16), curl=(15, 20)),
        replace(QUICK, name="crumpled", tilt=(20, 45), crumple=1.0, crumple_mm=(1.0, 2.0)),
    ],
    ids=lambda severity: severity.name,
)
def test_the_map_says_where_another_library_sees_the_tags(page: np.ndarray, severity: Severity) -> None:
    camera = replace(severity, megapixels=(2.0,), noise=(1, 2), low_light=0.0, glare=0.0, mirrored=0.0)
    misses: list[float] = []
    for seed in range(3):
        misses += _misses(photograph(page, PAGE_MM, np.random.default_rng(seed), camera))
    assert len(misses) >= 3 * 4 * 3  # at least three of five tags a photo
    assert np.median(misses) < 0.35
    assert np.quantile(misses, 0.95) < 0.8


def test_the_ruler_notices_a_wrong_map(page: np.ndarray) -> None:
    photo = photograph(page, PAGE_MM, np.random.default_rng(1), replace(QUICK, scan_mode=0.0))
    shifted = replace(photo, grid=photo.grid + 15)
    assert np.median(_misses(shifted)) > 2


def test_a_mirrored_photo_is_mirrored_in_its_map_too(page: np.ndarray) -> None:
    def turns_right(photo: Photo) -> bool:
        a, b, c = photo.to_photo(np.array([[50.0, 50.0], [150.0, 50.0], [50.0, 150.0]]))
        return float(np.cross(np.append(b - a, 0), np.append(c - a, 0))[2]) > 0

    for seed in range(3):
        plain = photograph(page, PAGE_MM, np.random.default_rng(seed), QUICK)
        turned = photograph(page, PAGE_MM, np.random.default_rng(seed), replace(QUICK, mirrored=1.0))
        assert turns_right(plain)
        assert not turns_right(turned)
        assert _misses(turned) == []  # a mirrored tag is none


def test_every_exif_orientation_occurs_and_is_undone(page: np.ndarray) -> None:
    small = replace(GENTLE, megapixels=(0.3,), exif=0.9)
    seen: set[int] = set()
    for seed in range(100):
        photo = photograph(page[::2, ::2], PAGE_MM, np.random.default_rng(seed), small)
        with Image.open(io.BytesIO(photo.jpeg)) as image:
            orientation = image.getexif()[EXIF_ORIENTATION]
            stored = image.size
        assert stored == (photo.size[::-1] if orientation >= 5 else photo.size)  # TIFF 6.0
        if orientation not in seen:
            assert np.median(_misses(photo)) < 0.5
        seen.add(orientation)
        if seen >= {1, 3, 6, 8} and seen & {2, 4, 5, 7}:
            break
    assert seen >= {1, 3, 6, 8}
    assert seen & {2, 4, 5, 7}


@pytest.mark.parametrize("severity", SEVERITIES.values(), ids=lambda severity: severity.name)
def test_the_sheet_fills_the_frame_as_the_settings_say(page: np.ndarray, severity: Severity) -> None:
    camera = replace(severity, megapixels=(0.5,), scan_mode=0.0, corner_out=0.0, folds=0.0, curl=(0, 0))
    for seed in range(6):
        photo = photograph(page[::3, ::3], PAGE_MM, np.random.default_rng(seed), camera)
        corners = photo.to_photo(np.array([[0, 0], [279.4, 0], [279.4, 215.9], [0, 215.9]]))
        share = ((corners.max(axis=0) - corners.min(axis=0)) / photo.size).max()
        assert severity.fill[0] - 0.05 < share < severity.fill[1] + 0.05
        assert photo.size[0] * photo.size[1] == pytest.approx(0.5e6, rel=0.02)
        if camera.photocopy == 0:
            assert corners.min() > -5  # the whole sheet is in the frame
            assert np.all(corners < np.array(photo.size) + 5)


def test_one_corner_and_no_more_leaves_the_frame(page: np.ndarray) -> None:
    flat = replace(HARD, megapixels=(0.5,), scan_mode=0.0, curl=(0, 0), folds=0.0)
    camera = replace(flat, corner_out=1.0, skew=6, tilt=(0, 5))
    outside = []
    for seed in range(6):
        photo = photograph(page[::3, ::3], PAGE_MM, np.random.default_rng(seed), camera)
        assert "corner out of the frame" in photo.damage
        corners = photo.to_photo(np.array([[0, 0], [279.4, 0], [279.4, 215.9], [0, 215.9]]))
        beyond = np.any((corners < -1) | (corners > np.array(photo.size) + 1), axis=1)
        outside.append(int(beyond.sum()))
        assert beyond.sum() <= 2
    assert sum(outside) >= 5


def test_paper_is_lighter_than_its_print_and_the_photo_uses_the_settings(page: np.ndarray) -> None:
    dark = replace(QUICK, low_light=1.0, shadow=(0, 0), scan_mode=0.0)
    light = replace(QUICK, low_light=0.0, shadow=(0, 0), scan_mode=0.0)
    at = np.array([[100.0, 60.0]])  # bare paper
    levels = []
    for camera in (dark, light):
        photo = photograph(page, PAGE_MM, np.random.default_rng(4), camera)
        x, y = photo.to_photo(at)[0].round().astype(int)
        levels.append(float(_shown(photo)[y - 5 : y + 5, x - 5 : x + 5].mean()))
    assert levels[0] < 0.8 * levels[1]


def test_same_chance_same_photo_and_grey_or_colour_will_do(page: np.ndarray) -> None:
    small = replace(QUICK, megapixels=(0.3,))
    one = photograph(page, PAGE_MM, np.random.default_rng(6), small)
    two = photograph(np.dstack([page] * 3), PAGE_MM, np.random.default_rng(6), small)
    assert one.jpeg == two.jpeg
    assert one.jpeg != photograph(page, PAGE_MM, np.random.default_rng(7), small).jpeg


def test_a_flatbed_scan_is_grey_and_bare_of_any_desk(page: np.ndarray) -> None:
    data = flatbed(np.dstack([page] * 3), PAGE_MM, np.random.default_rng(1))
    with Image.open(io.BytesIO(data)) as image:
        assert image.mode == "L"
        assert sorted(image.size) == sorted(page.shape)
        assert np.median(np.asarray(image)) > 240


def test_desks_cover_the_whole_picture() -> None:
    rng = np.random.default_rng(0)
    for _ in range(12):
        picture = desk((320, 240), rng, 4.0)
        assert picture.shape == (240, 320, 3)
        assert picture.dtype == np.uint8
        assert picture.max() > 30


def test_what_a_copy_moved_is_found_where_it_then_lies(page: np.ndarray) -> None:
    """A sheet that was copied, written on and photographed: the map must know of the copier, too."""
    copy, lies = photocopied(np.repeat(page[..., None], 3, axis=2), PAGE_MM, np.random.default_rng(5), 3)
    assert np.abs(lies - UNMOVED).max() > 0.01  # or the test could not fail
    photo = photograph(copy, PAGE_MM, np.random.default_rng(6), QUICK, lies)
    assert np.median(_misses(photo)) < 0.35
    unaware = photograph(copy, PAGE_MM, np.random.default_rng(6), QUICK)
    assert np.median(_misses(unaware)) > 0.5
