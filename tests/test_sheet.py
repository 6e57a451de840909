import cv2
import numpy as np
import pytest
from plain_chart import plain_layout
from plain_photo import SIZE, Floats, area_corners, perspective, project

from ingest.reading.flatten import tag_corners
from ingest.reading.sheet import Sheet, fit_sheet

LAYOUT = plain_layout()
PAGE = (LAYOUT.paper.width, LAYOUT.paper.height)
TAGS = np.concatenate(list(tag_corners(LAYOUT.tags).values()))


def rolled(points: Floats, radius: float, tilt: float) -> Floats:
    """Where a camera tilted by degrees sees a sheet that is part of a cylinder about an upright axis.

    A second account of bent paper, apart from the one under test: an arc keeps its length exactly.
    """
    angle = (points[:, 0] - PAGE[0] / 2) / radius
    space = np.column_stack(
        [radius * np.sin(angle), points[:, 1] - PAGE[1] / 2, radius * (np.cos(angle) - 1)]
    )  # z away from the camera: the middle is farthest where radius < 0, nearest where it is > 0
    turn = cv2.Rodrigues(np.array([0.0, np.radians(tilt), 0.0]))[0]
    seen = space @ turn.T + (0, 0, 300.0)
    return np.asarray(seen[:, :2] / seen[:, 2:] * 1300 + np.array(SIZE) / 2)


def plane(paper: Floats, pixels: Floats) -> Floats:
    return np.asarray(cv2.findHomography(paper, pixels, 0)[0], np.float64)


@pytest.mark.parametrize("radius", [500.0, -800.0])  # 20 mm and 12 mm high
@pytest.mark.parametrize("tilt", [20, 40])
def test_the_tags_of_a_rolled_sheet_place_its_middle(radius: float, tilt: float) -> None:
    pixels = rolled(TAGS, radius, tilt)
    flat = plane(TAGS, pixels)
    sheet = fit_sheet(flat, TAGS, pixels, PAGE, SIZE)
    assert sheet is not None
    inside = area_corners(LAYOUT)
    true = rolled(inside, radius, tilt)
    scale = 1300 / 300  # px a mm
    miss = np.linalg.norm(sheet.to_picture(inside) - true, axis=1) / scale
    miss_flat = np.linalg.norm(project(flat, inside) - true, axis=1) / scale
    assert miss_flat.max() > 2.0
    assert miss.max() < 0.6
    assert miss.max() < miss_flat.max() / 4
    assert sheet.miss < 1.0


def test_a_flat_sheet_stays_flat() -> None:
    matrix = perspective(LAYOUT, 33, 25)
    sheet = fit_sheet(matrix, TAGS, project(matrix, TAGS), PAGE, SIZE)
    assert sheet is not None
    inside = area_corners(LAYOUT)
    assert np.abs(sheet.to_picture(inside) - project(matrix, inside)).max() < 0.5  # px of 4.6 a mm
    assert np.abs(project(sheet.matrix, inside) - project(matrix, inside)).max() < 2.0


def test_without_heights_the_homography_is_the_sheet() -> None:
    numbers = np.concatenate([[0.3, -0.2, 1.0], [5.0, -8.0, 320.0], [7.2, 30.0, -20.0], np.zeros(7)])
    sheet = Sheet(numbers, np.array(PAGE), np.array([3000.0, 4000.0]), 0.0)
    inside = area_corners(LAYOUT)
    assert np.allclose(project(sheet.matrix, inside), sheet.to_picture(inside))


def test_nonsense_is_no_sheet() -> None:
    assert fit_sheet(np.full((3, 3), np.nan), TAGS, TAGS, PAGE, SIZE) is None
