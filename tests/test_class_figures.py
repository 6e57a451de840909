"""Class figures against pandas; what may be kept of them; their file."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from books import book, flagged, month_of, sheet, student
from progress_books import month, plan

from ingest.errors import DayboxError
from ingest.report.class_figures import (
    LEAST_CHARTS,
    ClassFigures,
    anonymous,
    class_figures,
    load_figures,
    to_json,
)

CHALLENGE = plan()


def sized(**sections: int) -> ClassFigures:
    """A month with so many charts in each section."""
    students = [
        student(f"{name}{number}", name) for name, count in sections.items() for number in range(count)
    ]
    return class_figures(book(*(sheet(each, month_of(CHALLENGE, 20)) for each in students)), CHALLENGE)


def test_figures_are_those_of_pandas() -> None:
    made, table = month(CHALLENGE, 31, ["Flutes", "Low Brass", "Horns"], missing=[0, 7])
    found = class_figures(made, CHALLENGE)
    required = [str(day) for day in CHALLENGE.required_dates()]
    table["met"] = (table.minutes >= 15) & table.day.dt.strftime("%Y-%m-%d").isin(required)
    for group in (found.whole, *found.sections):
        of = table[table.section == group.section] if group.section else table
        totals = of.groupby("student_id").minutes.sum()
        assert group.handed_in == len(totals)
        assert group.median_minutes == totals.median()
        assert group.total_minutes == of.minutes.sum()
        assert group.met == (of.groupby("student_id").met.sum() == len(required)).sum()
    assert found.whole.students == 31
    assert found.required_days == 20


def test_open_boxes_keep_a_share_open_and_a_chart_out_of_the_median() -> None:
    sheets = [sheet(student(f"S{n}"), month_of(CHALLENGE, 20 + n)) for n in range(3)]
    sheets.append(sheet(student("S9"), month_of(CHALLENGE, 90, d5=flagged("day:2027-10-05", 90))))
    whole = class_figures(book(*sheets), CHALLENGE).whole
    assert (whole.met, whole.met_open, whole.unsettled) == (3, 1, 1)
    assert whole.share_met is None
    assert whole.median_minutes == 21 * 31
    assert whole.total_minutes == (20 + 21 + 22) * 31 + 90 * 30


def test_where_nobody_handed_in_there_is_neither_median_nor_share() -> None:
    whole = class_figures(book(sheet(student("S1"), [])), CHALLENGE).whole
    assert (whole.median_minutes, whole.share_met, whole.handed_in, whole.students) == (None, None, 0, 1)


def test_what_is_kept_names_nobody_and_leaves_small_sections_out() -> None:
    kept = anonymous(sized(Flutes=6, Horns=7, Tubas=5, Piccolo=4, Bassoon=3))
    assert kept is not None
    assert [each.section for each in kept.sections] == ["Flutes", "Horns", "Tubas"]  # 7 others, in no section
    assert b"First" not in to_json(kept)


def test_a_small_section_cannot_be_reckoned_from_the_rest() -> None:
    kept = anonymous(sized(Flutes=6, Horns=7, Piccolo=1))
    assert kept is not None
    assert [each.section for each in kept.sections] == ["Horns"]  # what is left holds 7, not 1
    for sizes in ({"Flutes": 9, "Piccolo": 1}, {"Flutes": 5, "Horns": 5, "Bassoon": 4}, {"Flutes": 5}):
        found = anonymous(sized(**sizes))
        assert found is not None
        rest = found.whole.handed_in - sum(each.handed_in for each in found.sections)
        assert rest == 0 or rest >= LEAST_CHARTS


def test_of_a_handful_nothing_is_kept() -> None:
    assert anonymous(sized(Flutes=2, Horns=2)) is None


def test_the_file_gives_back_what_went_in(tmp_path: Path) -> None:
    found = sized(Flutes=6, Horns=7)
    file = tmp_path / "class-figures.json"
    file.write_bytes(to_json(found))
    assert load_figures(file) == found
    assert json.loads(file.read_bytes())["month"] == "2027-10"


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\xff\xfe",
        b"[]",
        b'{"month": "2027-13"}',
        to_json(sized(Flutes=6)).replace(b'"met": 6', b'"met": "six"'),
        to_json(sized(Flutes=6)).replace(b'"met": 6', b'"met": 6, "names": []'),
    ],
)
def test_a_file_that_is_something_else_is_refused(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "class-figures.json"
    file.write_bytes(content)
    with pytest.raises(DayboxError, match=r"class-figures\.json cannot be used"):
        load_figures(file)


def test_months_with_the_same_figures_are_equal() -> None:
    found = sized(Flutes=6)
    assert replace(found, title="Other") != found == sized(Flutes=6)
