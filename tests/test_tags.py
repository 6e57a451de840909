import cv2
import numpy as np
import pupil_apriltags
import pytest
from plain_chart import draw_plain, plain_layout
from plain_photo import flat_photo, perspective, project

from ingest.reading.flatten import tag_corners
from ingest.reading.tags import SeenTag, find_tags, merged, recognise_tag

LAYOUT = plain_layout()
IDS = {tag.id for tag in LAYOUT.tags}
PAGE = draw_plain(LAYOUT)


@pytest.mark.parametrize("turn", [0, 90, 180, 270, 33])
def test_every_tag_is_found_at_its_true_corners_whatever_the_turn(turn: int) -> None:
    matrix = perspective(LAYOUT, turn, tilt=15, scale=3.2)
    found = find_tags(flat_photo(PAGE, matrix), IDS)
    assert {tag.id for tag in found} == IDS
    for tag in found:
        true = project(matrix, tag_corners(LAYOUT.tags)[tag.id])
        assert np.linalg.norm(tag.corners - true, axis=1).max() < 0.7  # px of 3.2 a mm


def test_a_foreign_detector_sees_the_same_tags_in_the_same_places() -> None:
    photo = flat_photo(PAGE, perspective(LAYOUT, 10, 20, scale=3.8))
    # That library counts from the first pixel's corner, ours from its middle.
    foreign = {tag.tag_id: tag.center - 0.5 for tag in pupil_apriltags.Detector("tag36h11").detect(photo)}
    ours = {tag.id: tag.centre for tag in find_tags(photo, IDS)}
    assert set(foreign) == set(ours) == IDS
    for number, centre in ours.items():
        assert np.linalg.norm(centre - foreign[number]) < 0.4  # px


def test_a_large_picture_gives_corners_in_its_own_pixels() -> None:
    matrix = np.diag([2.5, 2.5, 1.0]) @ perspective(LAYOUT, 5, 10)
    found = find_tags(flat_photo(PAGE, matrix, (4000, 3000)), IDS)
    assert {tag.id for tag in found} == IDS
    for tag in found:
        true = project(matrix, tag_corners(LAYOUT.tags)[tag.id])
        assert np.linalg.norm(tag.corners - true, axis=1).max() < 1.5  # px of 11 a mm


def test_only_wanted_tags_are_given() -> None:
    assert {tag.id for tag in find_tags(flat_photo(PAGE, perspective(LAYOUT)), {3, 500})} == {3}


def test_a_pale_dim_picture_needs_the_hard_look_at_most() -> None:
    photo = flat_photo(PAGE, perspective(LAYOUT, 180, 10))
    pale = (100 + photo * 0.12).astype(np.uint8)  # 30 grey levels between ink and paper
    assert {tag.id for tag in find_tags(pale, IDS, hard=True)} == IDS


@pytest.mark.parametrize("hard", [False, True])
def test_nothing_is_found_on_blank_paper_or_in_noise(hard: bool) -> None:
    noise = np.random.default_rng(1).integers(0, 256, (600, 800)).astype(np.uint8)
    assert find_tags(np.full((600, 800), 240, np.uint8), IDS, hard=hard) == ()
    assert find_tags(noise, IDS, hard=hard) == ()


def test_the_same_tag_at_the_same_place_counts_once() -> None:
    square = np.array([[0, 0], [20, 0], [20, 20], [0, 20]], np.float64)
    first, again, elsewhere = (SeenTag(1, square), SeenTag(1, square + 2), SeenTag(1, square + 300))
    assert merged([first, again, elsewhere]) == (first, elsewhere)


def _patch(number: int, blur: float) -> np.ndarray[tuple[int, int], np.dtype[np.uint8]]:
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    patch = np.full((160, 160), 230, np.uint8)
    patch[50:98, 40:88] = cv2.aruco.generateImageMarker(dictionary, number, 48)
    return np.asarray(cv2.GaussianBlur(patch, (0, 0), blur), np.uint8)


def test_a_tag_too_blurred_to_decode_is_recognised_where_it_is_expected() -> None:
    patch = _patch(3, blur=3.5)
    assert find_tags(patch, {3}, hard=True) == ()
    seen = recognise_tag(patch, 3)
    assert seen is not None
    assert np.abs(seen.corners - [[39.5, 49.5], [87.5, 49.5], [87.5, 97.5], [39.5, 97.5]]).max() < 4


@pytest.mark.parametrize("other", [0, 1, 2, 4, 5, 6, 7, 100, 300])
def test_another_tag_is_not_recognised_in_its_place(other: int) -> None:
    assert recognise_tag(_patch(other, blur=3.5), 3) is None
