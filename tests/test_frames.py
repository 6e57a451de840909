import cv2
import numpy as np
import pytest
from plain_chart import draw_plain, plain_layout
from plain_photo import area_corners, flat_photo, miss_mm, perspective, project, rolled_photo

from ingest.chart.layout import Layout
from ingest.paper import Box
from ingest.reading.bend import Bend
from ingest.reading.flatten import Pose, place
from ingest.reading.frames import Fit, pieces_of, refine
from ingest.reading.numerals import FLAT_PX_PER_MM
from ingest.reading.tags import find_tags
from ingest.reading.values import Grey

LAYOUT = plain_layout()
CORNERS = area_corners(LAYOUT)


def placed(photo: Grey, layout: Layout = LAYOUT) -> tuple[Pose, Fit]:
    """The pose by a flat sheet's perspective alone, and the refined one."""
    tags = find_tags(photo, {tag.id for tag in layout.tags})
    pose, agreed = place(tags, layout.tags, layout.paper, photo.shape[::-1])
    flat = Pose(pose.matrix, Bend.none(layout.paper.width, layout.paper.height))
    return flat, refine(photo, pose, layout, agreed)


@pytest.mark.parametrize(("rise", "worst_before"), [(1.0, 0.5), (4.0, 2.0), (7.0, 4.0)])
def test_on_a_bent_sheet_frames_find_every_box_where_a_flat_sheet_would_not(
    rise: float, worst_before: float
) -> None:
    photo, true = rolled_photo(draw_plain(LAYOUT), LAYOUT, perspective(LAYOUT, 180, 15), rise)
    before, fit = placed(photo)
    assert miss_mm(before, true(CORNERS), CORNERS).max() > worst_before
    assert miss_mm(fit.pose, true(CORNERS), CORNERS).max() < 0.3
    assert fit.residual_mm < 0.15
    assert fit.seen.min() > 0.9


def test_writing_over_the_frames_does_not_drag_them() -> None:
    page = draw_plain(LAYOUT)
    rng = np.random.default_rng(5)
    for box in LAYOUT.boxes:
        x, y = box.frame.left * 10, box.frame.top * 10
        for _ in range(3):
            start, end = rng.uniform((x, y - 20), (x + 270, y + 150), (2, 2)).astype(int)
            cv2.line(page, start.tolist(), end.tolist(), 40, 6, cv2.LINE_AA)
        cv2.line(page, (int(x) + 20, int(y) + 12), (int(x) + 120, int(y) + 12), 40, 6)  # a dash by the line
    photo, true = rolled_photo(page, LAYOUT, perspective(LAYOUT, 3, 10), 3.0)
    _, fit = placed(photo)
    assert np.percentile(miss_mm(fit.pose, true(CORNERS), CORNERS), 95) < 0.3


def test_the_flat_page_has_every_frame_where_the_layout_says() -> None:
    photo, _ = rolled_photo(draw_plain(LAYOUT), LAYOUT, perspective(LAYOUT, 90, 10, scale=4.0), 3.0)
    _, fit = placed(photo)
    assert fit.flat.shape == (
        round(LAYOUT.paper.height * FLAT_PX_PER_MM),
        round(LAYOUT.paper.width * FLAT_PX_PER_MM),
    )
    for box in LAYOUT.boxes[::6]:
        column = fit.flat[:, round(box.area.centre[0] * FLAT_PX_PER_MM)].astype(int)
        row = round(box.frame.bottom * FLAT_PX_PER_MM - 0.5)
        assert abs(int(column[row - 6 : row + 7].argmin()) - 6) <= 2  # a third of a mm


def test_a_covered_box_is_not_seen_and_the_others_are() -> None:
    page = draw_plain(LAYOUT)
    hidden = LAYOUT.box("day:2027-10-20")
    area = hidden.frame.grown(2.0)
    page[round(area.top * 10) : round(area.bottom * 10), round(area.left * 10) : round(area.right * 10)] = 250
    _, fit = placed(flat_photo(page, perspective(LAYOUT, 0, 10)))
    seen = dict(zip([box.name for box in LAYOUT.boxes], fit.seen, strict=True))
    assert seen.pop(hidden.name) < 0.2
    assert sum(share > 0.9 for share in seen.values()) >= len(seen) - 6  # neighbours lost some lines too


def test_frames_of_another_chart_leave_a_large_residual() -> None:
    four_rows = plain_layout("2026-02")
    assert four_rows.tags == LAYOUT.tags
    _, right = placed(flat_photo(draw_plain(LAYOUT), perspective(LAYOUT)))
    _, wrong = placed(flat_photo(draw_plain(four_rows), perspective(LAYOUT)))
    assert right.residual_mm < 0.15 < 0.5 < wrong.residual_mm


def test_a_line_that_two_boxes_share_is_looked_at_once() -> None:
    pieces = pieces_of(LAYOUT)
    places = {
        (*np.round(centre, 3), bool(lies)) for centre, lies in zip(pieces.centres, pieces.lies, strict=True)
    }
    assert len(places) == len(pieces.lies)
    assert pieces.of_box.shape == (len(LAYOUT.boxes), 4)
    paper = Box(0, 0, LAYOUT.paper.width, LAYOUT.paper.height)
    assert (pieces.centres > 0).all()
    assert (pieces.centres < (paper.width, paper.height)).all()
    assert project(np.eye(3), pieces.centres) == pytest.approx(pieces.centres)


def test_writing_where_frames_have_faded_is_not_taken_for_them() -> None:
    page = draw_plain(LAYOUT)
    rng = np.random.default_rng(2)
    page[450:1950, 1900:2680][page[450:1950, 1900:2680] > 150] = 250  # a copier lost the pale lines
    for box in LAYOUT.boxes:
        if box.frame.left > 190:
            at = rng.uniform(
                (box.frame.left, box.frame.top + 5), (box.frame.right - 10, box.frame.bottom + 3)
            )
            cv2.putText(page, "7144", (at * 10).astype(int).tolist(), 0, 2.5, 60, 5, cv2.LINE_AA)
    photo, true = rolled_photo(page, LAYOUT, perspective(LAYOUT, 0, 8), 0.5)
    _, fit = placed(photo)
    assert miss_mm(fit.pose, true(CORNERS), CORNERS).max() < 1.0
    assert fit.seen.mean() < 0.85
