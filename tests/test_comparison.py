"""Months beside each other: the CSV against pandas, sections that match, bars as high as the figures."""

import io
from typing import Any

import numpy as np
import pandas as pd
import pdfplumber
import pytest
from books import book, flagged, month_of, sheet, student
from progress_books import figures, month, plan

from ingest.report.class_figures import ClassFigures, class_figures
from ingest.report.comparison import COLUMNS, comparison_csv, group_of, in_order, matching
from ingest.report.comparison_page import draw_comparison
from ingest.report.palette import BAR


def table(*months: ClassFigures) -> pd.DataFrame:
    return pd.read_csv(io.BytesIO(comparison_csv(months)), dtype={"section": str}, keep_default_na=True)


def pages(*months: ClassFigures, language: str = "en", paper: str = "letter") -> list[Any]:
    content, count = draw_comparison(months, paper, language)
    drawn = list(pdfplumber.open(io.BytesIO(content)).pages)
    assert len(drawn) == count
    return drawn


def text(page: Any) -> str:
    return " ".join(page.extract_text().split())


def heights(page: Any) -> list[float]:
    """Of the bars, row by row, each from left to right."""
    rgb = tuple(int(BAR[at : at + 2], 16) / 255 for at in (1, 3, 5))
    shapes = [
        shape
        for shape in page.curves
        if shape["fill"] and np.allclose(shape["non_stroking_color"], rgb, atol=0.01)
    ]
    shapes.sort(key=lambda shape: (round(shape["bottom"] / 10), shape["x0"]))
    return [shape["height"] for shape in shapes]


def test_months_stand_in_their_order() -> None:
    found = in_order(
        [figures("2027-10", "Flutes"), figures("2026-10", "Flutes"), figures("2027-09", "Flutes")]
    )
    assert [str(each.month) for each in found] == ["2026-10", "2027-09", "2027-10"]


def test_sections_match_whatever_their_capitals() -> None:
    october, november = (
        figures("2027-10", "Period 2", "Period 4"),
        figures("2027-11", "period  2", "Period 6"),
    )
    assert matching([october, november]) == ("Period 2",)
    assert matching([october]) == ()
    group = group_of(november, "Period 2")
    assert group is not None
    assert group.section == "period  2"
    assert group_of(november, "Period 4") is None
    assert group_of(november, "") is november.whole


def test_the_csv_has_every_month_and_section_as_pandas_reckons_them() -> None:
    challenge = plan()
    made, minutes = month(challenge, 21, ["Flutes", "Low Brass"], missing=[5])
    found = table(class_figures(made, challenge), figures("2027-11", "Flutes"))
    assert tuple(found.columns) == COLUMNS
    assert found.section.fillna("").tolist() == ["", "Flutes", "Low Brass", "", "Flutes"]
    totals = minutes.groupby("student_id").minutes.sum()
    whole = found.iloc[0]
    assert whole.median_minutes == pytest.approx(totals.median(), abs=0.05)
    assert whole.total_minutes == totals.sum()
    assert (whole.students, whole.handed_in) == (21, 20)


def test_a_share_that_is_open_stays_empty() -> None:
    challenge = plan()
    boxes = [month_of(challenge, 20), month_of(challenge, 20, d5=flagged("day:2027-10-05", 20))]
    sheets = [sheet(student(f"S{n}"), each) for n, each in enumerate(boxes)]
    found = table(class_figures(book(*sheets), challenge))
    assert found.percent_met.isna().all()
    assert found.met_open.tolist() == [1, 1]
    settled = table(class_figures(book(sheets[0]), challenge))
    assert settled.percent_met.tolist() == [100, 100]


def test_what_a_spreadsheet_would_run_is_made_harmless() -> None:
    found = figures("2027-10", "=1+1", title="@SUM(A1)")
    text_ = comparison_csv([found]).decode()
    assert "'=1+1" in text_
    assert "'@SUM(A1)" in text_


def test_bars_are_as_high_as_the_figures() -> None:
    months = [figures("2027-10", "Flutes"), figures("2027-11", "Flutes"), figures("2027-12", "Flutes")]
    (page,) = pages(*months)
    found = heights(page)
    medians = [each.whole.median_minutes or 0 for each in months]
    hours = [each.whole.total_minutes for each in months]
    assert np.array(found[:3]) / max(found[:3]) == pytest.approx(np.array(medians) / max(medians), abs=0.01)
    last = found[len(found) // 2 - 3 : len(found) // 2]  # of the first of two rows
    assert np.array(last) / max(last) == pytest.approx(np.array(hours) / max(hours), abs=0.01)
    for each in months:
        assert f"{each.whole.median_minutes:.0f}" in text(page)
        assert f"{each.whole.total_minutes / 60:.0f}" in text(page)


def test_what_is_not_known_yet_is_shown_as_from_to() -> None:
    challenge = plan()
    boxes = [month_of(challenge, 20), month_of(challenge, 20, d5=flagged("day:2027-10-05", 20))]
    sheets = [sheet(student(f"S{n}"), each) for n, each in enumerate(boxes)]
    said = text(pages(class_figures(book(*sheets), challenge), figures("2027-11", "Horns"))[0])
    assert "50–100" in said
    assert "620 ?" in said  # the median of the settled chart


def test_a_month_of_which_nothing_came_in_is_a_question_and_no_nought() -> None:
    challenge = plan()
    nothing = class_figures(book(sheet(student("S1"), [])), challenge)
    (page,) = pages(nothing, figures("2027-11", "Horns"))
    assert [word["text"] for word in page.extract_words() if word["text"] == "?"] == ["?"] * 3


def test_no_student_is_in_it() -> None:
    challenge = plan()
    made, _ = month(challenge, 30)
    months = [class_figures(made, challenge), figures("2027-11", "Flutes")]
    seen = text(pages(*months)[0]) + comparison_csv(months).decode()
    for each in made.sheets:
        assert each.student.id not in seen
        assert each.student.name not in seen


@pytest.mark.parametrize(("paper", "language"), [("letter", "en"), ("a4", "es")])
def test_many_months_and_sections_stay_on_the_paper(paper: str, language: str) -> None:
    sections = ("Seventh Grade Beginning Woodwinds", "Period 2", "Period 3", "Period 4", "Period 5")
    months = [figures(f"2027-{n:02}", *sections, count=10) for n in range(1, 13)]
    drawn = pages(*months, paper=paper, language=language)
    assert len(drawn) == 2
    for page in drawn:
        assert min(char["x0"] for char in page.chars) > 10
        assert max(char["x1"] for char in page.chars) < page.width - 10
        assert max(char["bottom"] for char in page.chars) < page.height - 10


def test_two_challenges_of_one_month_are_told_apart_by_their_titles() -> None:
    said = text(pages(figures("2027-10", "A", title="Winds"), figures("2027-10", "B", title="Brass"))[0])
    assert "Winds" in said
    assert "Brass" in said
