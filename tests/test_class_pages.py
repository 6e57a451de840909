"""Pictures of a class, read back with pdfplumber: their numbers and the heights of their bars are pandas'."""

import io
import math
import re
from typing import Any

import numpy as np
import pandas as pd
import pdfplumber
import pytest
from progress_books import month, plan

from ingest.check.book import Book
from ingest.plan.challenge import Challenge
from ingest.report.class_pages import bins, draw_class
from ingest.report.palette import BAR, PALE_BAR
from ingest.report.student_month import student_months

Page = Any  # pdfplumber's


def pages(made: Book, challenge: Challenge) -> dict[str, Page]:
    content, names = draw_class(challenge, student_months(made, challenge))
    return dict(zip(names, pdfplumber.open(io.BytesIO(content)).pages, strict=True))


def text(page: Page) -> str:
    return " ".join(page.extract_text().split())


def half_up(number: float) -> int:
    return math.floor(number + 0.5)


def days_of(page: Page) -> dict[int, str]:
    """What stands in each day of the calendar, by the day's number, which stands at its top left."""
    words = page.extract_words(extra_attrs=["size", "fontname"])
    labels = [
        word
        for word in words
        if re.fullmatch(r"\d+", word["text"]) and abs(word["size"] - 10) < 0.3 and "Bold" in word["fontname"]
    ]
    found: dict[int, str] = {}
    for label in labels:
        right = min(
            (o["x0"] for o in labels if abs(o["top"] - label["top"]) < 3 and o["x0"] > label["x0"] + 20),
            default=label["x0"] + 100,
        )
        below = min((o["top"] for o in labels if o["top"] > label["top"] + 20), default=label["top"] + 65)
        inside = [
            word["text"]
            for word in words
            if label["x0"] - 4 < word["x0"] < min(right, label["x0"] + 100) - 4
            and label["top"] - 4 < word["top"] < min(below, label["top"] + 65) - 4
        ]
        found[int(label["text"])] = " ".join(inside)
    return found


def bars(page: Page, color: str) -> list[dict[str, float]]:
    """Filled shapes of that colour, from left to right."""
    rgb = tuple(int(color[at : at + 2], 16) / 255 for at in (1, 3, 5))
    shapes = [
        shape
        for shape in (*page.rects, *page.curves)
        if shape["fill"] and np.allclose(shape["non_stroking_color"], rgb, atol=0.01)
    ]
    return sorted(shapes, key=lambda shape: shape["x0"])


# -- the calendar ----------------------------------------------------------------------------------------


def test_each_day_of_the_calendar_has_pandas_mean() -> None:
    challenge = plan()
    made, table = month(challenge, 30, open_share=0.04, missing=[2])
    by_day = table.groupby("day").minutes
    shown = days_of(pages(made, challenge)["calendar"])
    assert len(shown) == 31
    for day, mean in by_day.mean().items():
        assert isinstance(day, pd.Timestamp)
        known, practiced = by_day.count()[day], (table[table.day == day].minutes > 0).sum()
        said = shown[day.day]
        assert f"{half_up(mean)} min" in said, (day, said)
        assert f"{practiced} of {known} practiced" in said
        assert ("?" in said) == (known < 29)
        if known < 29:
            assert f"? {29 - known}" in said


def test_a_day_of_which_nothing_is_known_is_never_shown_as_nothing() -> None:
    challenge = plan()
    made, _ = month(challenge, 2, open_share=1.0)
    shown = days_of(pages(made, challenge)["calendar"])
    assert all("? 2" in said and "min" not in said for said in shown.values())


@pytest.mark.parametrize("paper", ["letter", "a4"])
@pytest.mark.parametrize("which", ["2027-10", "2027-02"])  # six rows and, from Monday, four
def test_everything_is_on_the_paper(paper: str, which: str) -> None:
    challenge = plan(month=which, days={"week_starts": "mon"}, paper=paper, language="es")
    made, _ = month(challenge, 40, [f"Seventh Grade Beginning Woodwinds {n}" for n in range(7)])
    for page in pages(made, challenge).values():
        for char in page.chars:
            assert char["x0"] > 10
            assert char["x1"] < page.width - 10
            assert char["top"] > 10
            assert char["bottom"] < page.height - 10


# -- minutes by section ----------------------------------------------------------------------------------


def test_bars_of_days_are_as_high_as_pandas_means() -> None:
    challenge = plan()
    made, table = month(challenge, 24, ["Flutes"])
    page = pages(made, challenge)["sections"]
    means = table.groupby("day").minutes.mean()
    required = {pd.Timestamp(day) for day in challenge.required_dates()}
    dark, pale = bars(page, BAR), bars(page, PALE_BAR)
    days = sorted([*dark[: len(required)], *pale], key=lambda shape: shape["x0"])
    assert len(days) == 31
    assert [shape in pale for shape in days] == [day not in required for day in means.index]
    heights = np.array([shape["height"] for shape in days])
    assert heights / heights.max() == pytest.approx(means / means.max(), abs=0.01)
    weeks = np.array([shape["height"] for shape in dark[len(required) :]])
    sums = means.groupby(pd.Grouper(freq="W-SAT")).sum()
    assert weeks / weeks.max() == pytest.approx(sums / sums.max(), abs=0.01)
    for value in sums:
        assert f" {half_up(value)} " in f" {text(page)} "


def test_a_scale_is_the_same_for_all_sections() -> None:
    challenge = plan()
    made, table = month(challenge, 20, ["Flutes", "Low Brass"])
    page = pages(made, challenge)["sections"]
    means = table.groupby(["section", "day"]).minutes.mean()
    days = [shape for shape in (*bars(page, BAR), *bars(page, PALE_BAR)) if shape["x1"] < page.width * 0.68]
    heights = np.array(sorted(shape["height"] for shape in days))
    assert heights / heights.max() == pytest.approx(np.sort(means.to_numpy()) / means.max(), abs=0.01)


def test_a_section_of_which_nothing_is_in_says_so() -> None:
    challenge = plan()
    made, _ = month(challenge, 4, missing=[1, 3])
    said = text(pages(made, challenge)["sections"])
    assert "No chart of this section is in yet." in said
    assert "Charts that are in: 0 of 2." in said


def test_many_sections_go_on_further_pages() -> None:
    challenge = plan()
    made, _ = month(challenge, 24, [f"Section {n}" for n in range(12)])
    drawn = pages(made, challenge)
    assert list(drawn) == ["calendar", "sections", "sections-2", "sections-3", "totals"]
    assert "Section 11" in text(drawn["sections-3"])


# -- totals ----------------------------------------------------------------------------------------------


def test_totals_are_counted_as_numpy_counts_them() -> None:
    challenge = plan()
    made, table = month(challenge, 60)
    totals = table.groupby("student_id").minutes.sum()
    found = bins(student_months(made, challenge), challenge)
    edges = [each.low for each in found] + [found[-1].high]
    assert [each.count for each in found] == np.histogram(totals, edges)[0].tolist()
    assert sum(each.open for each in found) == 0
    heights = [shape["height"] for shape in bars(pages(made, challenge)["totals"], BAR)]
    counts = [each.count for each in found if each.count]
    assert np.array(heights) / max(heights) == pytest.approx(np.array(counts) / max(counts), abs=0.01)


def test_the_goal_stands_where_it_belongs_among_the_totals() -> None:
    challenge = plan()
    made, _ = month(challenge, 20)
    page = pages(made, challenge)["totals"]
    assert "Goal: 300 min (20 days with 15)" in text(page)
    found = bins(student_months(made, challenge), challenge)
    words = page.extract_words()
    numbers = {
        word["text"]: (word["x0"] + word["x1"]) / 2
        for word in words
        if word["text"] in {str(each.low) for each in found}
    }
    upright = [line for line in page.lines if abs(line["x0"] - line["x1"]) < 0.1 and line["height"] > 2]
    low = max(each.low for each in found if each.low <= 300)
    high = low + found[0].high
    share = (300 - low) / found[0].high
    wanted = numbers[str(low)] + share * (numbers[str(high)] - numbers[str(low)])
    assert upright[0]["x0"] == pytest.approx(wanted, abs=1)


def test_a_total_that_may_still_rise_is_hatched_and_counted_apart() -> None:
    challenge = plan()
    made, _ = month(challenge, 8, open_share=1.0)
    drawn = pages(made, challenge)["totals"]
    (first, *_) = bins(student_months(made, challenge), challenge)
    assert (first.count, first.open) == (8, 8)
    assert bars(drawn, BAR) == []
    assert "at least so many; more is not yet known" in text(drawn)


# -- what stands around ----------------------------------------------------------------------------------


def test_no_name_and_no_id_is_in_the_pictures_of_a_class() -> None:
    challenge = plan()
    made, _ = month(challenge, 30)
    seen = " ".join(text(page) for page in pages(made, challenge).values())
    for sheet in made.sheets:
        assert sheet.student.id not in seen
        assert sheet.student.name not in seen


def test_minutes_are_praised_with_a_word_of_care() -> None:
    """Players' health: after the publications that the small print names."""
    challenge = plan()
    made, _ = month(challenge, 3)
    for page in pages(made, challenge).values():
        said = text(page)
        for words in ("take breaks", "grow slowly", "stop and tell your teacher", "no medical advice"):
            assert words in said
        assert "Protecting Your Neuromusculoskeletal Health" in said


def test_the_same_figures_make_the_same_file() -> None:
    challenge = plan()
    months = student_months(month(challenge, 5)[0], challenge)
    assert draw_class(challenge, months) == draw_class(challenge, months)
