"""Circles that were colored in: what is counted, and what is left to a person.

Drawn with OpenCV straight onto a flattened page, apart from the chart's own drawing.
"""

from collections.abc import Callable, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import TypeAlias

import cv2
import numpy as np
import numpy.typing as npt
import pypdfium2
import pytest

from ingest.chart.charts import Chart
from ingest.chart.code import new_code
from ingest.chart.design import load_design
from ingest.chart.drawing import draw_charts
from ingest.chart.layout import ChartBox, Circle, Layout, lay_out
from ingest.plan.challenge import make_challenge
from ingest.reading.certainty import SURE
from ingest.reading.counts import candidates, read_circles
from ingest.reading.numerals import FLAT_PX_PER_MM, Numerals
from ingest.reading.page import read_page
from ingest.reading.values import Candidate, Grey

FINE = 4  # pages are drawn so many times larger and shrunk, for soft edges
DAYS = [f"day:2027-10-{day:02}" for day in range(1, 32)]
Drawing: TypeAlias = Callable[[Grey, Circle], None]


@cache
def layout() -> Layout:
    challenge = make_challenge({"month": "2027-10", "design": "color-in"}, "a test's plan")
    return lay_out(challenge, load_design("color-in", Path()))


@cache
def empty_page() -> Grey:
    """The rings and the frames in grey on off-white, FINE times too large."""
    scale = FLAT_PX_PER_MM * FINE
    paper = layout().paper
    page = np.full((round(paper.height * scale), round(paper.width * scale)), 244, np.uint8)
    for box in layout().boxes:
        frame = box.frame
        ends = [
            (round(x * scale), round(y * scale))
            for x, y in ((frame.left, frame.top), (frame.right, frame.bottom))
        ]
        cv2.rectangle(page, ends[0], ends[1], 155, round(0.35 * scale))
        for circle in box.circles:
            cv2.circle(page, at(circle), round(circle.radius * scale), 155, round(0.3 * scale))
    return page


def at(circle: Circle, right: float = 0.0, down: float = 0.0) -> tuple[int, int]:
    """A place in pixels, by so many mm beside the circle's middle."""
    scale = FLAT_PX_PER_MM * FINE
    return round((circle.x + right) * scale), round((circle.y + down) * scale)


def mm(length: float) -> int:
    return max(1, round(length * FLAT_PX_PER_MM * FINE))


def fill(page: Grey, circle: Circle, dark: int = 90, reach: float = 0.95) -> None:
    cv2.circle(page, at(circle), mm(circle.radius * reach), dark, -1)


def tick(page: Grey, circle: Circle) -> None:
    for one, other in (((-1.2, 0.0), (-0.3, 1.1)), ((-0.3, 1.1), (1.5, -1.5))):
        cv2.line(page, at(circle, *one), at(circle, *other), 80, mm(0.5))


def cross(page: Grey, circle: Circle, reach: float = 1.4, thick: float = 0.5) -> None:
    for slope in (-1, 1):
        cv2.line(page, at(circle, -reach, -reach * slope), at(circle, reach, reach * slope), 60, mm(thick))


def half(page: Grey, circle: Circle) -> None:
    cv2.ellipse(page, at(circle), (mm(circle.radius * 0.95),) * 2, 90, 0, 180, 90, -1)


def around(page: Grey, circle: Circle) -> None:
    cv2.circle(page, at(circle), mm(circle.radius * 1.2), 70, mm(0.5))


def rubbed_out(page: Grey, circle: Circle) -> None:
    fill(page, circle, dark=226)


def page_with(marks: Mapping[str, Sequence[tuple[int, Drawing]]]) -> Grey:
    """The flattened page with marks, by day: which circles (from 0) and how."""
    page = empty_page().copy()
    for name, drawn in marks.items():
        box = layout().box(name)
        for place, drawing in drawn:
            drawing(page, box.circles[place])
    return finished(page)


def finished(page: Grey, seed: int = 7) -> Grey:
    """In the size of a flattened page, with the grain of a photo."""
    size = (page.shape[1] // FINE, page.shape[0] // FINE)
    small = cv2.GaussianBlur(cv2.resize(page, size, interpolation=cv2.INTER_AREA), (0, 0), 0.8).astype(
        np.float32
    )
    grain = np.random.default_rng(seed).normal(0, 3, small.shape)
    seen: Grey = np.clip(small + grain, 0, 255).astype(np.uint8)
    return seen


def filled_month(days: Sequence[str] = DAYS, usual: int = 4) -> dict[str, Sequence[tuple[int, Drawing]]]:
    """A page full of filled circles, for a child's own manner to show."""
    return {name: [(place, fill) for place in range(usual)] for name in days}


def read(flat: Grey, name: str) -> tuple[Candidate, ...]:
    return read_circles(flat, layout().boxes)[name][0]


def is_sure(found: Sequence[Candidate]) -> bool:
    return found[0].text != "?" and found[0].probability >= SURE


@pytest.mark.parametrize("count", range(13))
def test_filled_circles_are_counted(count: int) -> None:
    month = filled_month(DAYS[:20])
    month[DAYS[5]] = [(place, fill) for place in range(count)]
    found = read(page_with(month), DAYS[5])
    assert is_sure(found)
    assert found[0].value == (5 * count or None)
    assert found[0].text == ("x" * count + "o" * (12 - count) if count else "")


def test_a_blank_page_is_blank_all_over() -> None:
    found = read_circles(page_with({}), layout().boxes)
    assert list(found) == DAYS
    assert all(options[0].text == "" and is_sure(options) for options, _ in found.values())
    assert all(ink < 0.02 for _, ink in found.values())


@pytest.mark.parametrize("dark", [40, 90, 140, 180])
def test_pencil_counts_however_dark_it_is(dark: int) -> None:
    def press(page: Grey, circle: Circle) -> None:
        fill(page, circle, dark)

    month = {name: [(0, press), (1, press), (2, press)] for name in DAYS[:15]}
    found = read_circles(page_with(month), layout().boxes)
    assert [found[name][0][0].value for name in DAYS] == [15] * 15 + [None] * 16
    assert all(is_sure(options) for options, _ in found.values())


def test_shadow_and_dim_light_change_nothing() -> None:
    flat = page_with(filled_month(DAYS[:20], 3)).astype(np.float32)
    down, across = np.mgrid[0 : flat.shape[0], 0 : flat.shape[1]] / 1000
    light = (0.75 - 0.2 * across) * (1 - 0.45 / (1 + np.exp((down - 0.65 + 0.2 * across) * 40)))
    found = read_circles((flat * light).astype(np.uint8), layout().boxes)
    assert [found[name][0][0].value for name in DAYS] == [15] * 20 + [None] * 11
    assert all(is_sure(options) for options, _ in found.values())


@pytest.mark.parametrize("drawing", [tick, cross], ids=["ticked", "crossed"])
def test_a_child_who_marks_otherwise_all_month_means_it(drawing: Drawing) -> None:
    month = {name: [(place, drawing) for place in range(3)] for name in DAYS[:20]}
    found = read_circles(page_with(month), layout().boxes)
    assert [found[name][0][0].value for name in DAYS] == [15] * 20 + [None] * 11
    assert all(is_sure(options) for options, _ in found.values())


@pytest.mark.parametrize(
    "drawing", [tick, cross, half, around, rubbed_out], ids=["ticked", "crossed", "half", "circled", "erased"]
)
def test_one_mark_that_is_unlike_the_others_is_asked_about(drawing: Drawing) -> None:
    month = filled_month(DAYS[:20], 3)
    month[DAYS[5]] = [(0, fill), (1, fill), (2, drawing)]
    flat = page_with(month)
    found = read(flat, DAYS[5])
    assert not is_sure(found)
    assert {option.value for option in found[:2]} == {10, 15}
    assert is_sure(read(flat, DAYS[6]))


def test_what_was_rubbed_out_is_rather_not_meant() -> None:
    month = filled_month(DAYS[:20], 3)
    month[DAYS[5]] = [(0, fill), (1, fill), (2, rubbed_out)]
    assert read(page_with(month), DAYS[5])[0].value == 10


def test_what_was_rubbed_out_well_is_blank() -> None:
    def hardly(page: Grey, circle: Circle) -> None:
        fill(page, circle, dark=241)

    month = filled_month(DAYS[:20], 3)
    month[DAYS[5]] = [(0, hardly)]
    assert read(page_with(month), DAYS[5])[0].text == ""


def test_a_page_of_marks_that_hardly_show_is_asked_about_as_a_whole() -> None:
    def pale(page: Grey, circle: Circle) -> None:
        fill(page, circle, dark=234)

    month = {name: [(place, pale) for place in range(3)] for name in DAYS[:20]}
    found = read_circles(page_with(month), layout().boxes)
    assert not any(is_sure(options) for options, _ in found.values())


@pytest.mark.parametrize("places", [(0, 1, 3), (11, 10, 9), (5,)])
def test_circles_out_of_order_are_counted_but_asked_about(places: Sequence[int]) -> None:
    month = filled_month(DAYS[:20], 3)
    month[DAYS[5]] = [(place, fill) for place in places]
    found = read(page_with(month), DAYS[5])
    assert not is_sure(found)
    assert found[0].value == 5 * len(places)
    assert [place for place, letter in enumerate(found[0].text) if letter == "x"] == sorted(places)


def test_a_circle_crossed_out_after_it_was_filled_is_asked_about() -> None:
    def struck(page: Grey, circle: Circle) -> None:
        fill(page, circle)
        cross(page, circle, reach=2.6, thick=0.6)

    month = filled_month(DAYS[:20], 3)
    month[DAYS[5]] = [(0, fill), (1, fill), (2, struck)]
    assert not is_sure(read(page_with(month), DAYS[5]))


def test_a_line_through_filled_circles_is_asked_about() -> None:
    page = empty_page().copy()
    for name in DAYS[:20]:
        for circle in layout().box(name).circles[:3]:
            fill(page, circle)
    first, _, last = layout().box(DAYS[5]).circles[:3]
    cv2.line(page, at(first, -3.0), at(last, 3.0), 60, mm(0.6))
    found = read_circles(finished(page), layout().boxes)
    assert not is_sure(found[DAYS[5]][0])
    assert is_sure(found[DAYS[6]][0])


def test_rows_colored_in_one_go_count_where_that_is_the_childs_way() -> None:
    page = empty_page().copy()
    for name in DAYS[:20]:
        first, _, last = layout().box(name).circles[:3]
        cv2.line(page, at(first), at(last), 90, mm(first.radius * 1.9))
    found = read_circles(finished(page), layout().boxes)
    assert [found[name][0][0].value for name in DAYS] == [15] * 20 + [None] * 11
    assert all(is_sure(options) for options, _ in found.values())


@pytest.mark.parametrize("what", ["scribble", "number"])
def test_what_is_drawn_across_a_day_is_no_number_of_circles(what: str) -> None:
    page = empty_page().copy()
    for name in DAYS[:20]:
        for circle in layout().box(name).circles[:3]:
            fill(page, circle)
    area = layout().box(DAYS[25]).area
    corner = Circle(area.left, area.top, 1)
    if what == "number":
        cv2.putText(page, "25", at(corner, 4, 15), cv2.FONT_HERSHEY_SIMPLEX, 11, 70, mm(0.7))
    else:
        for step in range(8):
            ends = (2.0, 3 + 2 * step), (area.width - 2, 2 + 2 * step)
            cv2.line(page, at(corner, *ends[0]), at(corner, *ends[1]), 70, mm(0.6))
    found = read(finished(page), DAYS[25])
    assert not is_sure(found)
    assert found[0].text == "?"


def test_paper_of_one_tone_and_all_black_are_no_crash() -> None:
    shape = (round(layout().paper.height * FLAT_PX_PER_MM), round(layout().paper.width * FLAT_PX_PER_MM))
    for tone in (0, 128, 255):
        found = read_circles(np.full(shape, tone, np.uint8), layout().boxes)
        assert all(options[0].value is None for options, _ in found.values())


def test_a_chart_without_circles_has_none_to_count() -> None:
    minutes = make_challenge({"month": "2027-10"}, "a test's plan")
    boxes = lay_out(minutes, load_design("minutes", Path())).boxes
    assert read_circles(np.full((1295, 1676), 255, np.uint8), boxes) == {}


# -- from circles to candidates -----------------------------------------------------------------------


def box_of(count: int, each: int = 5) -> ChartBox:
    box = layout().box(DAYS[0])
    return ChartBox(box.name, box.kind, box.area, box.frame, box.circles[:count], each)


def said(chances: Sequence[float], unclear: Sequence[int] = ()) -> tuple[Candidate, ...]:
    clear = np.array([place not in unclear for place in range(len(chances))])
    return candidates(np.array(chances, np.float64), clear, box_of(len(chances)))


def test_probabilities_sum_to_no_more_than_one_and_fall() -> None:
    for chances, unclear in (
        ([1, 1, 0, 0], ()),
        ([1, 0.6, 0.3, 0], (1, 2)),
        ([0, 0, 0, 0], ()),
        ([0.5] * 4, range(4)),
    ):
        found = said(chances, list(unclear))
        assert sum(option.probability for option in found) <= 1 + 1e-9
        assert [o.probability for o in found] == sorted((o.probability for o in found), reverse=True)
        assert len({option.text for option in found}) == len(found)  # a text names its candidate


def test_an_unclear_circle_leaves_both_numbers_open() -> None:
    found = said([1, 1, 0.7, 0], [2])
    assert [(option.value, option.text) for option in found] == [(15, "xxxo"), (10, "xxoo")]
    assert found[0].probability < SURE


def test_an_unclear_circle_between_filled_ones_is_rather_filled() -> None:
    found = said([1, 0.5, 1, 0], [1])
    assert found[0].text == "xxxo"
    assert 0.8 < found[0].probability < SURE


def test_too_many_unclear_circles_are_nobodys_number() -> None:
    found = said([0.7] * 4, range(4))
    assert (found[0].value, found[0].text) == (None, "?")
    assert found[1].value == 20


def test_each_circle_counts_what_the_design_says() -> None:
    found = candidates(np.array([1.0, 1.0, 0.0]), np.ones(3, np.bool_), box_of(3, each=10))
    assert found[0].value == 20


# -- the whole page -----------------------------------------------------------------------------------


def test_a_page_is_read_from_its_picture() -> None:
    """Printed by the program, filled in, photographed straight from above, a little small."""
    challenge = make_challenge({"month": "2027-10", "design": "color-in"}, "a test's plan")
    code = new_code()
    pdf = draw_charts(challenge, load_design("color-in", Path()), layout(), [Chart(code, None)])
    scale = 8.0
    with pypdfium2.PdfDocument(pdf) as document:
        bitmap = document[0].render(scale=scale * 25.4 / 72).to_pil().convert("L")
    page: npt.NDArray[np.uint8] = np.array(bitmap, np.uint8)
    for name, count in (("day:2027-10-04", 3), ("day:2027-10-09", 12), ("day:2027-10-31", 1)):
        for circle in layout().box(name).circles[:count]:
            middle = (round(circle.x * scale), round(circle.y * scale))
            cv2.circle(page, middle, round(circle.radius * 0.9 * scale), 90, -1)
    photo = cv2.copyMakeBorder(page, 60, 80, 90, 50, cv2.BORDER_CONSTANT, value=120)
    reading = read_page(np.asarray(photo, np.uint8), {"l": layout()}, {code: "l"}, Numerals.load())
    assert reading.code == code
    found = {each.box: each.best for each in reading.readings}
    values = {name: found[name].value for name in DAYS if found[name].value is not None}
    assert values == {"day:2027-10-04": 15, "day:2027-10-09": 60, "day:2027-10-31": 5}
    assert all(found[name].probability >= SURE for name in DAYS)
    assert found["week:1"].text == ""
