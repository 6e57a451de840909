"""Where everything stands: by the calendar, by the paper standards, and clear of one another."""

import calendar
import json
from datetime import date, timedelta
from itertools import combinations
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.chart.charts import Chart, assign_codes, choose_students, layout_file
from ingest.chart.code import new_code
from ingest.chart.design import Design, load_design
from ingest.chart.layout import Kind, Layout, lay_out, layout_from_json, layout_to_json
from ingest.errors import DesignError, PlanError
from ingest.paper import Box
from ingest.plan.challenge import Challenge, make_challenge
from ingest.plan.roster import Student

MINUTES = load_design("minutes", Path())
ZOE = Student("S001", "Zoë", "Ñandú", "Winds 1")
OLU = Student("S002", "Olu", "Ade", "Winds 2")


def challenge(month: str = "2027-10", paper: str = "letter", week_starts: str = "sun") -> Challenge:
    given: dict[str, object] = {"month": month, "title": "Practice", "paper": paper}
    given["days"] = {"week_starts": week_starts}
    return make_challenge(given, "a test's plan")


def laid_out(month: str = "2027-10", paper: str = "letter", week_starts: str = "sun") -> Layout:
    return lay_out(challenge(month, paper, week_starts), MINUTES)


# Months of 4, 5 and 6 rows, by the calendar table of the standard library (ISO 8601 weekdays).
MONTHS = [
    ("2027-02", "mon", 4),
    ("2026-02", "sun", 4),
    ("2027-03", "sun", 5),
    ("2028-02", "mon", 5),  # leap
    ("2026-08", "mon", 6),
    ("2026-05", "sun", 6),
    ("2027-10", "sun", 6),
]


@pytest.mark.parametrize("paper", ["letter", "a4"])
@pytest.mark.parametrize(("month", "week_starts", "rows"), MONTHS)
def test_every_day_has_one_box_in_its_weekdays_column(
    month: str, week_starts: str, rows: int, paper: str
) -> None:
    layout = laid_out(month, paper, week_starts)
    days = {b.name[4:]: b for b in layout.boxes if b.name.startswith("day:")}
    year, number = map(int, month.split("-"))
    last = calendar.monthrange(year, number)[1]
    assert list(days) == [date(year, number, day).isoformat() for day in range(1, last + 1)]
    assert len(days) + len(layout.outside) == 7 * rows
    lefts = sorted({b.area.left for b in (*days.values(), *layout.outside)})
    assert len(lefts) == 7
    for name, box in days.items():
        day = date.fromisoformat(name)
        column = day.weekday() if week_starts == "mon" else day.isoweekday() % 7
        assert box.area.left == lefts[column]
        row = (day.day + (date(year, number, 1).weekday() + (week_starts == "sun")) % 7 - 1) // 7 + 1
        assert box.area.top == layout.box(f"week:{row}").area.top
        assert box.kind is Kind.MINUTES
    totals = [b.name for b in layout.boxes if b.kind is Kind.TOTAL]
    assert totals == [f"week:{row}" for row in range(1, rows + 1)] + ["month"]
    assert [b.name for b in layout.boxes if b.kind is Kind.MARK] == [
        f"initials:{row}" for row in range(1, rows + 1)
    ]


def test_outside_cells_are_the_neighbouring_months_days() -> None:
    layout = laid_out("2027-10")
    names = [b.name for b in layout.outside]
    before = [f"outside:{date(2027, 9, 26) + timedelta(days=n)}" for n in range(5)]
    after = [f"outside:{date(2027, 11, 1) + timedelta(days=n)}" for n in range(6)]
    assert names == before + after


@pytest.mark.parametrize("paper", ["letter", "a4"])
@pytest.mark.parametrize(("month", "week_starts"), [case[:2] for case in MONTHS])
def test_nothing_crowds_a_writing_area(month: str, week_starts: str, paper: str) -> None:
    layout = laid_out(month, paper, week_starts)
    boxes = [*layout.boxes, *layout.outside]
    for box in boxes:
        area, frame = box.area, box.frame
        for inner, outer in (
            (area.left, frame.left),
            (area.top, frame.top),
            (frame.right, area.right),
            (frame.bottom, area.bottom),
        ):
            assert inner - outer == pytest.approx(0.8, abs=0.011)
        if box.name.startswith("day:"):
            assert 26 <= area.width <= 28
            assert 13 <= area.height <= 17
        for value in (area.left, area.top, area.width, area.height, frame.left, frame.width):
            assert value == round(value, 2)
    for area, neighbour in combinations([box.area for box in boxes], 2):  # they share a frame line, no more
        assert apart(area, neighbour) >= 1.59
    white = [tag.area.grown(tag.area.width / 8) for tag in layout.tags]
    white.append(layout.qr.grown(4 * layout.qr.width / 25))  # ISO/IEC 18004: quiet zone of 4 modules
    white += [layout.name, layout.letters]
    printed = [*(tag.area for tag in layout.tags), layout.qr, layout.name, layout.letters]
    for box in boxes:
        assert all(apart(box.area, place) >= 1.5 for place in printed)
        assert all(apart(box.frame, place) >= 0 for place in white)
    for one, other in combinations(white, 2):
        assert apart(one, other) > -0.011
    for tag in layout.tags:
        assert tag.area.width == tag.area.height
        assert 10 <= tag.area.width <= 12
    for place in [*(tag.area for tag in layout.tags), *white[8:], *(box.frame for box in boxes)]:
        assert place.left >= 6
        assert place.top >= 6
        assert place.right <= layout.paper.width - 6
        assert place.bottom <= layout.paper.height - 6


def apart(one: Box, other: Box) -> float:
    """How far two boxes are apart, mm; negative if they overlap."""
    across = max(one.left - other.right, other.left - one.right)
    down = max(one.top - other.bottom, other.top - one.bottom)
    return max(across, down)


def test_apart_tells_near_from_far() -> None:
    assert apart(Box(0, 0, 10, 10), Box(12, 5, 1, 1)) == 2
    assert apart(Box(0, 0, 10, 10), Box(5, 13, 1, 1)) == 3
    assert apart(Box(0, 0, 10, 10), Box(9, 9, 5, 5)) == -1


def test_tags_go_clockwise_from_the_top_left() -> None:
    layout = laid_out()
    width, height = layout.paper.width, layout.paper.height
    thirds = [(int(3 * x / width), int(3 * y / height)) for x, y in (tag.area.centre for tag in layout.tags)]
    assert thirds == [(0, 0), (1, 0), (2, 0), (2, 1), (2, 2), (1, 2), (0, 2), (0, 1)]
    assert [tag.id for tag in layout.tags] == list(range(8))


@pytest.mark.parametrize(("paper", "size"), [("letter", (279.4, 215.9)), ("a4", (297.0, 210.0))])
def test_paper_is_that_of_the_standard(paper: str, size: tuple[float, float]) -> None:
    # ASME Y14.1 size A (11 x 8.5 in of 25.4 mm); ISO 216 A4, both landscape.
    layout = laid_out(paper=paper)
    assert (layout.paper.width, layout.paper.height) == size


@settings(max_examples=40, deadline=None)
@given(
    st.dates(date(1990, 1, 1), date(2090, 12, 31)),
    st.sampled_from(["letter", "a4"]),
    st.sampled_from(["sun", "mon"]),
)
def test_layout_survives_json(day: date, paper: str, week_starts: str) -> None:
    layout = laid_out(f"{day:%Y-%m}", paper, week_starts)
    text = layout_to_json(layout)
    assert layout_from_json(text) == layout
    assert layout_to_json(layout_from_json(text)) == text


def changed(part: str, **values: object) -> Design:
    """The shipped design with some values of one part changed, checked like a file."""
    data = MINUTES.model_dump()
    data[part].update(values)
    return Design.model_validate(data)


@pytest.mark.parametrize(
    ("sizes", "said"),
    [
        ({"day_width": 28.0}, r"13\.7 mm too wide for letter.*day_width"),
        ({"header": 60.0}, r"mm too high for letter.*six weeks.*header"),
        (
            {"qr_module": 0.9, "margin": 8.0, "day_width": 25.0},
            "the chart code would run into the names of the columns",
        ),
    ],
)
def test_sizes_that_do_not_fit_are_refused_by_name(sizes: dict[str, object], said: str) -> None:
    with pytest.raises(DesignError, match=said):
        lay_out(challenge(), changed("sizes", **sizes))


def test_columns_can_be_left_out() -> None:
    layout = lay_out(challenge(), changed("columns", week_total=False, initials=False))
    assert {b.name.partition(":")[0] for b in layout.boxes} == {"day", "month"}
    layout = lay_out(challenge(), changed("columns", initials=False))
    assert {b.name.partition(":")[0] for b in layout.boxes} == {"day", "week", "month"}


# -- which charts ------------------------------------------------------------------------------------


def test_student_keeps_a_code_and_spares_are_new() -> None:
    old = new_code()
    charts = assign_codes([ZOE, OLU], 2, {"S001": old}, {old})
    assert charts[0] == Chart(old, ZOE)
    assert charts[1].student == OLU
    assert [chart.student for chart in charts[2:]] == [None, None]
    assert len({chart.code for chart in charts}) == 4


def test_students_are_chosen_by_section_and_id() -> None:
    roster = (ZOE, OLU)
    assert choose_students(roster, [], []) == roster
    assert choose_students(roster, ["Winds 2"], []) == (OLU,)
    assert choose_students(roster, ["Winds 2"], ["S001"]) == roster
    with pytest.raises(PlanError, match=r'no section "winds 2"\. Did you mean "Winds 2"'):
        choose_students(roster, ["winds 2"], [])
    with pytest.raises(PlanError, match='no student id "zebra"'):
        choose_students(roster, [], ["zebra"])


def test_layout_file_is_to_the_contract() -> None:
    layout = laid_out()
    code, spare = new_code(), new_code()
    data = json.loads(layout_file(layout, [Chart(code, ZOE), Chart(spare, None)]))
    pages = data.pop("pages")
    assert data == {
        "version": 1,
        "challenge": "2027-10",
        "paper": "letter",
        "width_mm": 279.4,
        "height_mm": 215.9,
    }
    assert [(p["page"], p["student_id"], p["chart"]) for p in pages] == [(1, "S001", code), (2, "", spare)]
    own = pages[0]["boxes"]
    assert [entry["box"] for entry in own] == [box.name for box in layout.boxes]
    area = layout.box("day:2027-10-01").area
    assert own[0] == {
        "box": "day:2027-10-01",
        "kind": "minutes",
        "x": area.left,
        "y": area.top,
        "w": area.width,
        "h": area.height,
    }
    assert {entry["kind"] for entry in own} == {"minutes", "total", "mark"}
    assert pages[1]["boxes"][:-1] == own
    assert (pages[1]["boxes"][-1]["box"], pages[1]["boxes"][-1]["kind"]) == ("name", "text")
