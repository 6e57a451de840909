"""Exact little cameras for tests: a flat sheet by a known perspective, or one that is rolled a little."""

from collections.abc import Callable

import cv2
import numpy as np
import numpy.typing as npt
from plain_chart import PX_PER_MM

from ingest.chart.layout import Layout
from ingest.reading.flatten import Pose
from ingest.reading.values import Grey

Floats = npt.NDArray[np.float64]
SIZE = (1600, 1200)  # width, height
DESK = 110


def perspective(layout: Layout, turn: float = 0.0, tilt: float = 0.0, scale: float = 4.6) -> Floats:
    """Page mm to pixels of a picture of SIZE: turned by degrees, tilted about the picture's x axis.

    scale: pixels a mm in the middle of the page.
    """
    spin = cv2.Rodrigues(np.array([0.0, 0.0, np.radians(turn)]))[0]
    tip = cv2.Rodrigues(np.array([np.radians(tilt), 0.0, 0.0]))[0]
    focal = 1300.0
    camera = np.array([[focal, 0, SIZE[0] / 2], [0, focal, SIZE[1] / 2], [0, 0, 1]])
    centred = np.array([[1, 0, -layout.paper.width / 2], [0, 1, -layout.paper.height / 2], [0, 0, 1]])
    rotation = tip @ spin
    place = np.column_stack([rotation[:, 0], rotation[:, 1], [0.0, 0.0, focal / scale]])
    return np.asarray(camera @ place @ centred, np.float64)


def project(matrix: Floats, points: Floats) -> Floats:
    lifted = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(lifted[:, :2] / lifted[:, 2:])


def flat_photo(page: Grey, matrix: Floats, size: tuple[int, int] = SIZE) -> Grey:
    """The drawn page as a camera with that homography sees it."""
    to_mm = np.array([[1 / PX_PER_MM, 0, 0.5 / PX_PER_MM], [0, 1 / PX_PER_MM, 0.5 / PX_PER_MM], [0, 0, 1]])
    soft = cv2.GaussianBlur(page, (0, 0), 1.0)
    seen = cv2.warpPerspective(soft, matrix @ to_mm, size, flags=cv2.INTER_LINEAR, borderValue=DESK)
    return np.asarray(seen, np.uint8)


def rolled_photo(
    page: Grey, layout: Layout, matrix: Floats, rise: float
) -> tuple[Grey, Callable[[Floats], Floats]]:
    """The page with a wave of `rise` mm sideways and down, then seen by `matrix`; and mm to pixels."""

    def bent(points: Floats) -> Floats:
        wave = np.sin(np.pi * points[:, :1] / layout.paper.width) * np.sin(
            np.pi * points[:, 1:] / layout.paper.height
        )
        return points + rise * wave * (0.4, 1.0)

    columns, rows = np.meshgrid(np.arange(SIZE[0], dtype=np.float64), np.arange(SIZE[1], dtype=np.float64))
    goal = project(
        np.asarray(np.linalg.inv(matrix), np.float64), np.column_stack([columns.ravel(), rows.ravel()])
    )
    mm = goal.copy()
    for _ in range(8):  # the wave is gentle: this settles
        mm = goal - (bent(mm) - mm)
    places = (mm * PX_PER_MM - 0.5).astype(np.float32).reshape(SIZE[1], SIZE[0], 2)
    soft = cv2.GaussianBlur(page, (0, 0), 1.0)
    seen = cv2.remap(
        soft,
        np.ascontiguousarray(places[..., 0]),
        np.ascontiguousarray(places[..., 1]),
        cv2.INTER_LINEAR,
        borderValue=DESK,
    )
    return np.asarray(seen, np.uint8), lambda points: project(matrix, bent(points))


def area_corners(layout: Layout) -> Floats:
    """The corners of every writing area, mm; shape (n, 2)."""
    return np.array(
        [
            corner
            for box in (*layout.boxes, *layout.outside)
            for corner in (
                (box.area.left, box.area.top),
                (box.area.right, box.area.top),
                (box.area.right, box.area.bottom),
                (box.area.left, box.area.bottom),
            )
        ]
    )


def miss_mm(pose: Pose, true: Floats, points: Floats) -> Floats:
    """How far from its true place, in pixels, the pose puts each point; in mm on the page."""
    here = pose.to_picture(points)
    slopes = np.stack(
        [(pose.to_picture(points + np.array(step)) - here) / 0.01 for step in ((0.01, 0.0), (0.0, 0.01))],
        axis=-1,
    )
    return np.asarray(np.linalg.norm(np.linalg.solve(slopes, (true - here)[..., None])[..., 0], axis=1))
