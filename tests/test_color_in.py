"""The color-in chart: circles where the layout says, clear of everything, on paper that any copier takes."""

import io
import json
import re
from datetime import date
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
import pdfplumber
import pupil_apriltags
import pypdfium2
import pytest

from ingest import shipped
from ingest.chart.charts import Chart, layout_file
from ingest.chart.code import new_code
from ingest.chart.design import Design, load_design
from ingest.chart.drawing import draw_charts
from ingest.chart.layout import Circle, Kind, Layout, lay_out, layout_from_json, layout_to_json
from ingest.cli import main
from ingest.errors import DesignError
from ingest.paper import POINTS_PER_MM, Box
from ingest.plan.challenge import Challenge, make_challenge
from ingest.plan.roster import Student

COLOR_IN = load_design("color-in", Path())
SOURCE = (shipped.templates() / "color-in.toml").read_text(encoding="utf-8")
ZOE = Student("S001", "Zoë", "Ñandú", "Winds 1")
PX_PER_MM = 12
SPACE = re.compile(r"\s+")

# Months of 4, 5 and 6 rows, by the calendar table of the standard library (ISO 8601 weekdays).
MONTHS = [("2027-02", "mon"), ("2027-03", "sun"), ("2026-08", "mon"), ("2027-10", "sun")]


def plan(**given: object) -> Challenge:
    return make_challenge({"month": "2027-10", "design": "color-in", **given}, "a test's plan")


def changed(**values: object) -> Design:
    """The shipped design with some values of its circles changed, checked like a file."""
    data = COLOR_IN.model_dump()
    data["circles"].update(values)
    return Design.model_validate(data)


def pdf_of(challenge: Challenge, layout: Layout) -> bytes:
    return draw_charts(challenge, COLOR_IN, layout, [Chart(new_code(), ZOE)])


def picture_of(pdf: bytes) -> npt.NDArray[np.uint8]:
    with pypdfium2.PdfDocument(pdf) as document:
        page = document[0].render(scale=PX_PER_MM / POINTS_PER_MM).to_pil().convert("L")
    return np.asarray(page, np.uint8)


def inside(picture: npt.NDArray[np.uint8], circle: Circle, reach: float) -> npt.NDArray[np.uint8]:
    """The pixels up to `reach` mm from a circle's middle."""
    left, top = (int((middle - reach) * PX_PER_MM) - 1 for middle in (circle.x, circle.y))
    wide = int(2 * reach * PX_PER_MM) + 4
    y, x = (np.mgrid[top : top + wide, left : left + wide] + 0.5) / PX_PER_MM
    near = picture[top : top + wide, left : left + wide]
    return np.asarray(near[np.hypot(x - circle.x, y - circle.y) < reach])


@pytest.mark.parametrize("paper", ["letter", "a4"])
@pytest.mark.parametrize(("month", "week_starts"), MONTHS)
def test_every_day_has_circles_for_an_hour_and_room_for_a_crayon(
    month: str, week_starts: str, paper: str
) -> None:
    layout = lay_out(plan(month=month, paper=paper, days={"week_starts": week_starts}), COLOR_IN)
    days = [box for box in layout.boxes if box.name.startswith("day:")]
    assert len(days) >= 28
    for box in days:
        assert box.kind is Kind.MINUTES
        assert box.minutes_each * len(box.circles) == 60
        for circle in box.circles:
            assert circle.radius >= 2.25  # 4.5 mm across; common practice, no source
            assert circle.x - circle.radius >= box.area.left
            assert circle.x + circle.radius <= box.area.right
            assert circle.y - circle.radius >= box.area.top
            assert circle.y + circle.radius <= box.area.bottom
            # The frame's line must not be taken for the circle's, nor the other way round.
            for near, edge in (
                (circle.x - circle.radius, box.frame.left),
                (box.frame.right, circle.x + circle.radius),
                (circle.y - circle.radius, box.frame.top),
                (box.frame.bottom, circle.y + circle.radius),
            ):
                assert near - edge >= 1.4
        apart = [
            np.hypot(one.x - other.x, one.y - other.y) - one.radius - other.radius
            for place, one in enumerate(box.circles)
            for other in box.circles[:place]
        ]
        assert min(apart) >= 0.7
    for box in layout.boxes:
        if not box.name.startswith("day:"):
            assert box.circles == ()
            assert box.minutes_each == 0
    assert all(box.circles == () for box in layout.outside)


def test_circles_go_row_by_row_from_the_upper_left() -> None:
    box = lay_out(plan(), COLOR_IN).box("day:2027-10-01")
    order = [(circle.y, circle.x) for circle in box.circles]
    assert order == sorted(order)
    assert len({circle.y for circle in box.circles}) == 3
    assert len({circle.x for circle in box.circles}) == 4


def test_another_step_makes_other_circles() -> None:
    ten = lay_out(plan(), changed(minutes=10, most_minutes=60, across=3)).box("day:2027-10-01")
    five = lay_out(plan(), COLOR_IN).box("day:2027-10-01")
    assert (len(ten.circles), ten.minutes_each) == (6, 10)
    assert ten.circles[0].radius > five.circles[0].radius


def test_no_more_circles_than_minutes_that_are_thought_possible() -> None:
    box = lay_out(plan(counting={"most_per_day": 33}), COLOR_IN).box("day:2027-10-01")
    assert len(box.circles) == 6


@pytest.mark.parametrize(
    ("values", "given", "said"),
    [
        ({}, {"days": {"minimum_minutes": 75}}, r"circles for 60 minutes.*minimum_minutes asks for 75"),
        ({"most_minutes": 240}, {}, r"48 circles of 4 mm do not fit.*only of [0-9.]+ mm.*most_minutes"),
        ({"diameter": 6.0, "diameter_most": 6.0}, {}, r"12 circles of 6 mm do not fit"),
    ],
)
def test_circles_that_do_not_fit_are_refused_with_what_to_do(
    values: dict[str, object], given: dict[str, object], said: str
) -> None:
    with pytest.raises(DesignError, match=said):
        lay_out(plan(**given), changed(**values))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            "most_minutes = 60",
            "most_minutes = 62",
            r"circles: most_minutes must be a whole number of circles",
        ),
        ("diameter = 4.0", "diameter = 7.0", r"circles: diameter_most is smaller than diameter"),
        ("line_grey = 0.6", "line_grey = 0.2", r"circles\.line_grey must be at least 0\.5"),
        ("gap = 0.8", "gap = 0.1", r"circles\.gap must be at least 0\.7"),
        ("across = 4", "acros = 4", r"circles\.acros is not a key.*did you mean circles\.across"),
        ("[circles]", "[cirlces]", r"cirlces is not a key|words\.en\.rule speaks of circles"),
    ],
)
def test_bad_circles_are_told_the_key(tmp_path: Path, old: str, new: str, said: str) -> None:
    assert old in SOURCE
    (tmp_path / "my.toml").write_text(SOURCE.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(DesignError, match=said):
        load_design("my.toml", tmp_path)


def test_wording_that_speaks_of_circles_needs_some(tmp_path: Path) -> None:
    minutes = (shipped.templates() / "minutes.toml").read_text(encoding="utf-8")
    text = minutes.replace("At least {minutes}", "{step}: at least {minutes}", 1)
    (tmp_path / "my.toml").write_text(text, encoding="utf-8")
    with pytest.raises(DesignError, match=r"words\.en\.rule speaks of circles.*\[circles\]"):
        load_design("my.toml", tmp_path)


def test_layout_with_circles_survives_json() -> None:
    layout = lay_out(plan(), COLOR_IN)
    assert layout_from_json(layout_to_json(layout)) == layout


def test_a_layout_without_circles_is_kept_as_it_always_was() -> None:
    """So that a chart which was printed before keeps its code when it is printed again."""
    minutes = lay_out(plan(), load_design("minutes", Path()))
    box = json.loads(layout_to_json(minutes))["boxes"][0]
    assert set(box) == {"name", "kind", "area", "frame"}


def test_layout_file_names_each_circle() -> None:
    layout = lay_out(plan(), COLOR_IN)
    (page,) = json.loads(layout_file(layout, [Chart(new_code(), ZOE)]))["pages"]
    entry = next(box for box in page["boxes"] if box["box"] == "day:2027-10-01")
    box = layout.box("day:2027-10-01")
    assert entry["kind"] == "minutes"
    assert entry["minutes_each"] == 5
    assert entry["circles"] == [{"cx": c.x, "cy": c.y, "r": c.radius} for c in box.circles]
    total = next(box for box in page["boxes"] if box["box"] == "week:1")
    assert (total["kind"], "circles" in total, "minutes_each" in total) == ("total", False, False)


def test_circles_are_seen_by_another_pdf_reader() -> None:
    challenge = plan()
    layout = lay_out(challenge, COLOR_IN)
    with pdfplumber.open(io.BytesIO(pdf_of(challenge, layout))) as document:
        curves = [curve for curve in document.pages[0].curves if curve["stroke"] and not curve["fill"]]
    seen = sorted(
        (
            round((c["x0"] + c["x1"]) / 2 / POINTS_PER_MM, 1),
            round((c["top"] + c["bottom"]) / 2 / POINTS_PER_MM, 1),
        )
        for c in curves
        if c["stroking_color"] in (0.6, (0.6,), [0.6])
    )
    drawn = sorted((round(c.x, 1), round(c.y, 1)) for box in layout.boxes for c in box.circles)
    assert len(seen) == len(drawn) == 31 * 12
    assert np.abs(np.array(seen) - np.array(drawn)).max() < 0.11


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_circles_are_empty_and_a_copier_keeps_their_lines(paper: str) -> None:
    challenge = plan(paper=paper)
    layout = lay_out(challenge, COLOR_IN)
    picture = picture_of(pdf_of(challenge, layout))
    copied = np.where(cv2.GaussianBlur(picture, (0, 0), 0.8) < 190, 0, 255).astype(np.uint8)
    for box in layout.boxes[:9]:
        for circle in box.circles:
            assert inside(picture, circle, circle.radius - 0.35).min() == 255, box.name
            around = np.linspace(0, 2 * np.pi, 90)
            x = ((circle.x + circle.radius * np.cos(around)) * PX_PER_MM).astype(int)
            y = ((circle.y + circle.radius * np.sin(around)) * PX_PER_MM).astype(int)
            assert (copied[y, x] == 0).mean() > 0.95, box.name
            assert picture[y, x].min() > 140  # paler than any pencil that counts


def test_tags_and_totals_are_as_on_the_other_chart() -> None:
    challenge = plan()
    layout = lay_out(challenge, COLOR_IN)
    picture = picture_of(pdf_of(challenge, layout))
    found = pupil_apriltags.Detector(families="tag36h11").detect(picture)
    assert sorted(int(tag.tag_id) for tag in found) == list(range(8))
    for box in layout.boxes:
        if box.name.startswith(("week:", "month", "initials:")):
            a = box.area.grown(-0.05)
            rows = slice(round(a.top * PX_PER_MM), round(a.bottom * PX_PER_MM))
            assert picture[rows, round(a.left * PX_PER_MM) : round(a.right * PX_PER_MM)].min() == 255


@pytest.mark.parametrize(
    ("language", "sentences"),
    [
        (
            "en",
            ["Color one circle for every 5 minutes.", "At least 15 minutes", "= 15 minutes"],
        ),
        (
            "es",
            [
                "Colorea un círculo por cada 5 minutos.",
                "Al menos 15 minut",
                "= 15 minutos",
            ],
        ),
    ],
)
def test_page_says_what_to_do(language: str, sentences: list[str]) -> None:
    challenge = plan(language=language)
    with pdfplumber.open(io.BytesIO(pdf_of(challenge, lay_out(challenge, COLOR_IN)))) as document:
        text = SPACE.sub(" ", document.pages[0].extract_text())
    for sentence in sentences:
        assert sentence in text


def test_day_numbers_stand_beside_their_circles() -> None:
    challenge = plan()
    layout = lay_out(challenge, COLOR_IN)
    with pdfplumber.open(io.BytesIO(pdf_of(challenge, layout))) as document:
        words = document.pages[0].extract_words()
    for box in layout.boxes:
        if box.circles:
            beside = Box(box.frame.left, box.frame.top, box.area.left - box.frame.left, 6.5)
            said = [
                word["text"]
                for word in words
                if beside.left <= word["x0"] / POINTS_PER_MM < beside.right
                and beside.top <= (word["top"] + word["bottom"]) / 2 / POINTS_PER_MM < beside.bottom
            ]
            assert said[0] == str(date.fromisoformat(box.name[4:]).day)


def test_a_teacher_gets_it_by_its_name(tmp_path: Path) -> None:
    folder = tmp_path / "march"
    words = ["new", str(folder), "--month", "2027-03", "--design", "color-in", "--own-design"]
    assert main(words) == 0
    assert (folder / "my-color-in.toml").read_text(encoding="utf-8") == SOURCE
    (folder / "roster.csv").write_text(
        "student_id,first_name,last_name,section\nS001,Zoë,Ñandú,Winds 1\n", encoding="utf-8"
    )
    assert main(["charts", "--folder", str(folder)]) == 0
    pages = json.loads((folder / "charts.layout.json").read_text(encoding="utf-8"))["pages"]
    assert sum("circles" in box for box in pages[0]["boxes"]) == 31
