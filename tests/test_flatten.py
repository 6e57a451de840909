from dataclasses import replace

import numpy as np
import pytest
from plain_chart import PX_PER_MM, draw_plain, plain_layout
from plain_photo import SIZE, area_corners, flat_photo, miss_mm, perspective, project

from ingest.errors import PageError
from ingest.paper import Box
from ingest.reading.bend import Bend, Samples, fit_bend
from ingest.reading.flatten import Pose, find_near, flatten, place, shrink_to, tag_corners
from ingest.reading.tags import SeenTag

LAYOUT = plain_layout()
WIDTH, HEIGHT = LAYOUT.paper.width, LAYOUT.paper.height
WHERE = tag_corners(LAYOUT.tags)


def seen_by(matrix: np.ndarray[tuple[int, ...], np.dtype[np.float64]], *ids: int) -> list[SeenTag]:
    return [SeenTag(number, project(matrix, WHERE[number])) for number in ids]


@pytest.mark.parametrize("turn", [0, 90, 180, 270, 211])
@pytest.mark.parametrize("tilt", [0, 25, 45])
def test_exact_projections_give_the_exact_pose(turn: int, tilt: int) -> None:
    matrix = perspective(LAYOUT, turn, tilt)
    pose, agreed = place(seen_by(matrix, *range(8)), LAYOUT.tags, LAYOUT.paper, SIZE)
    corners = area_corners(LAYOUT)
    assert len(agreed) == 8
    assert miss_mm(pose, project(matrix, corners), corners).max() < 0.01


@pytest.mark.parametrize("ids", [(0, 4), (2, 6), (1, 5), (0, 1), (3, 4)])
def test_two_tags_are_enough_to_come_within_reach_of_the_frames(ids: tuple[int, int]) -> None:
    matrix = perspective(LAYOUT, 77, 20)
    pose, agreed = place(seen_by(matrix, *ids), LAYOUT.tags, LAYOUT.paper, SIZE)
    corners = area_corners(LAYOUT)
    assert {tag.id for tag in agreed} == set(ids)
    assert miss_mm(pose, project(matrix, corners), corners).max() < 1.2


@pytest.mark.parametrize(("ids", "count"), [((), "none"), ((5,), "only one")])
def test_fewer_than_two_tags_are_refused_in_plain_words(ids: tuple[int, ...], count: str) -> None:
    with pytest.raises(PageError, match=f"8 square marks {count} can be made out.*whole page in view"):
        place(seen_by(perspective(LAYOUT), *ids), LAYOUT.tags, LAYOUT.paper, SIZE)


def test_tags_of_another_sheet_in_view_are_left_out() -> None:
    matrix = perspective(LAYOUT, 5, 10)
    other = perspective(LAYOUT, 170, 10)
    tags = [*seen_by(other, 0, 2), *seen_by(matrix, *range(1, 8))]
    pose, agreed = place(tags, LAYOUT.tags, LAYOUT.paper, SIZE)
    corners = area_corners(LAYOUT)
    assert {tag.id for tag in agreed} == set(range(1, 8))
    assert miss_mm(pose, project(matrix, corners), corners).max() < 0.01


def test_a_mirrored_sheet_is_refused() -> None:
    mirror = np.diag([-1.0, 1.0, 1.0]) @ perspective(LAYOUT)
    with pytest.raises(PageError, match="do not lie as on a sheet"):
        place(seen_by(mirror, *range(8)), LAYOUT.tags, LAYOUT.paper, SIZE)


def test_unknown_tags_and_tags_in_one_point_are_no_chart() -> None:
    point = np.full((4, 2), 7.0)
    with pytest.raises(PageError):
        place([SeenTag(400, point), SeenTag(401, point)], LAYOUT.tags, LAYOUT.paper, SIZE)
    with pytest.raises(PageError):
        place([SeenTag(0, point), SeenTag(1, point)], LAYOUT.tags, LAYOUT.paper, SIZE)


def test_the_flattened_page_is_the_drawn_page() -> None:
    page = draw_plain(LAYOUT)
    matrix = perspective(LAYOUT, 90, 20, scale=9.0)
    matrix = np.array([[1, 0, 1000], [0, 1, 1000], [0, 0, 1]]) @ matrix
    photo = flat_photo(page, matrix, (4000, 4000))
    pose = Pose(matrix, Bend.none(WIDTH, HEIGHT))
    area = Box(20.0, 40.0, 120.0, 100.0)
    flat = flatten(photo, pose, area, PX_PER_MM)
    drawn = page[400:1400, 200:1400]
    assert flat.shape == drawn.shape
    # A shift by one pixel (0.1 mm) would cost ten times this much.
    assert np.abs(flat.astype(int) - drawn).mean() < 2.0
    assert np.abs(flat[:, 2:].astype(int) - drawn[:, :-2]).mean() > 2.0


def test_a_shrunk_picture_keeps_every_point_in_its_place() -> None:
    matrix = perspective(LAYOUT, 30, 20, scale=13.0)
    pose = Pose(matrix, Bend.none(WIDTH, HEIGHT))
    photo = np.zeros((1200, 1600), np.uint8)
    small, near = shrink_to(photo, pose, 6.0)
    points = area_corners(LAYOUT)
    assert small.shape == (600, 800)
    assert np.allclose((near.to_picture(points) + 0.5) * 2 - 0.5, pose.to_picture(points))
    assert shrink_to(photo, pose, 10.0) == (photo, pose)


def test_outside_the_picture_the_flat_page_is_grey() -> None:
    pose = Pose(np.array([[1.0, 0, -5000.0], [0, 1, 0], [0, 0, 1]]), Bend.none(WIDTH, HEIGHT))
    flat = flatten(np.full((50, 50), 255, np.uint8), pose, Box(0, 0, 30, 20), 2)
    assert flat.shape == (40, 60)
    assert set(np.unique(flat)) == {128}


def test_missing_tags_are_looked_for_near_their_places() -> None:
    matrix = perspective(LAYOUT, 180, 25)
    photo = flat_photo(draw_plain(LAYOUT), matrix)
    pose, _ = place(seen_by(matrix, 0, 2, 4), LAYOUT.tags, LAYOUT.paper, SIZE)
    found = find_near(photo, pose, [LAYOUT.tags[6], replace(LAYOUT.tags[6], id=99)])
    assert [tag.id for tag in found] == [6]
    assert np.abs(found[0].corners - project(matrix, WHERE[6])).max() < 1.0  # px


def test_a_bend_follows_smooth_measurements_and_shrugs_off_a_wild_one() -> None:
    rng = np.random.default_rng(3)
    points = rng.uniform((0, 0), (WIDTH, HEIGHT), (300, 2))

    def truth(
        at: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
    ) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
        return np.asarray(4 * np.sin(np.pi * at[:, 0] / WIDTH) + 0.01 * at[:, 1])

    values = truth(points)
    values[::10] += 3.0  # one in ten is a pencil stroke taken for a line
    samples = Samples(points, values, np.ones(300), np.zeros(300, np.bool_))
    bend = fit_bend(Bend.none(WIDTH, HEIGHT), samples, samples, tolerance=0.3)
    corners = area_corners(LAYOUT)
    assert np.abs(bend.at(corners)[:, 0] - truth(corners)).max() < 0.15
    across, down = bend.on_grid(corners[:5, 0], corners[:7, 1])
    assert across.shape == down.shape == (7, 5)
    assert down[6, 2] == pytest.approx(bend.at(np.array([[corners[2, 0], corners[6, 1]]]))[0, 1])
