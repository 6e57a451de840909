"""A student's page, read back: the own days and sums, fitting names, nobody else, and kind words."""

import io
from datetime import date
from typing import Any

import pandas as pd
import pdfplumber
import pytest
from award_books import NAMES_30, named
from books import book, flagged, month_of, page_question, read, sheet, student
from progress_books import month, plan

from ingest.check.book import Book
from ingest.plan.challenge import Challenge
from ingest.report.palette import BAR
from ingest.report.student_month import student_months
from ingest.report.student_pages import draw_students

CHALLENGE = plan()


def pages(made: Book, challenge: Challenge = CHALLENGE) -> list[Any]:
    return list(pdfplumber.open(io.BytesIO(draw_students(challenge, student_months(made, challenge)))).pages)


def text(page: Any) -> str:
    return " ".join(page.extract_text().split())


def one(*boxes: Any, challenge: Challenge = CHALLENGE) -> Any:
    return pages(book(sheet(student("S1"), boxes)), challenge)[0]


def facts(page: Any) -> str:
    """The column beside the calendar: each large figure with the words beside it, then what stands below."""
    words = page.crop((page.width * 0.57, 90, page.width, page.height * 0.62)).extract_words(
        extra_attrs=["size"], use_text_flow=False
    )
    figures = [word for word in words if word["size"] > 15]
    rows: dict[float, list[str]] = {}
    below: list[str] = []
    for word in figures:
        rows.setdefault(round(word["bottom"]), []).append(word["text"])
    middles = {row: row - 9.5 for row in rows}
    for word in sorted(words, key=lambda word: (round(word["top"]), word["x0"])):
        if word["size"] <= 15:
            middle = (word["top"] + word["bottom"]) / 2
            near = min(rows, key=lambda row: abs(middles[row] - middle))
            (rows[near] if abs(middles[near] - middle) < 18 else below).append(word["text"])
    return " ".join(" ".join(rows[row]) for row in sorted(rows)) + " " + " ".join(below)


def test_it_says_what_pandas_says() -> None:
    made, table = month(CHALLENGE, 4)
    required = [str(day) for day in CHALLENGE.required_dates()]
    for page, sheet_ in zip(pages(made), made.sheets, strict=True):
        mine = table[table.student_id == sheet_.student.id].set_index("day").minutes
        met = mine[[str(day.date()) in required for day in mine.index]] >= 15
        streak = int(met.groupby((~met).cumsum()).sum().max())
        said = facts(page)
        assert f"{met.sum()} / 20 practice days with 15 minutes or more" in said
        assert f"{(mine > 0).sum()} days with my instrument" in said
        assert f"{streak} practice days in a row" in said
        best = pd.Timestamp(str(mine.idxmax()))
        assert f"{int(mine.max())} min on my best day: {best:%A} {best.day}" in said
        assert f"{int(mine.sum())} min in the whole month" in said
        assert "so far" not in said


def test_the_line_of_minutes_is_the_running_total() -> None:
    made, table = month(CHALLENGE, 1)
    (page,) = pages(made)
    rgb = tuple(int(BAR[at : at + 2], 16) / 255 for at in (1, 3, 5))
    line = [each for each in page.lines if each["stroking_color"] == pytest.approx(rgb, abs=0.01)]
    line.sort(key=lambda each: each["x0"])
    rises = [each["bottom"] - each["top"] for each in line]
    minutes = table.minutes.tolist()
    assert len(rises) == 31
    assert [rise / sum(rises) for rise in rises] == pytest.approx(
        [each / sum(minutes) for each in minutes], abs=0.002
    )


def test_a_day_not_known_yet_is_a_question_and_not_a_nought() -> None:
    page = one(*month_of(CHALLENGE, 20, d5=flagged("day:2027-10-05", 45)))
    said = text(page)
    beside = facts(page)
    assert "19 / 20 practice days with 15 minutes or more (so far)" in beside
    assert "600 min in the whole month (so far)" in beside
    assert "1 day is not yet known." in beside
    assert "Whether the challenge is met is not known yet." in beside
    assert said.count("?") == 3  # on the day, in the explanation of the sign, on the line
    assert " 0 " not in beside
    assert "45" not in said


def test_what_an_open_day_cannot_change_is_not_called_so_far() -> None:
    """The 9th is a Saturday."""
    said = facts(one(*month_of(CHALLENGE, 20, d9=flagged("day:2027-10-09", 45))))
    assert "20 / 20 practice days with 15 minutes or more 30 days" in said
    assert "20 practice days in a row, my longest streak 20 min" in said
    assert "600 min in the whole month (so far)" in said
    assert "Challenge met. Well done!" in said


def test_a_page_that_waits_is_told() -> None:
    made = book(sheet(student("S1"), month_of(CHALLENGE, 20)))
    said = facts(pages(Book(made.sheets, [page_question(7, "S1")]))[0])
    assert "Another page that came in still waits for your teacher to look at it." in said
    assert "(so far)" in said


def test_whose_chart_is_not_in_gets_a_month_to_color_in() -> None:
    said = text(one())
    assert "Your chart is not here yet" in said
    assert "Ask your teacher for a new one." in said
    for word in ("0 min", "0 / 20", "?  not", "Goal"):
        assert word not in said


def test_a_month_without_any_practice_is_told_kindly() -> None:
    said = facts(one(*month_of(CHALLENGE, None)))
    assert "0 / 20" in said
    assert "best day" not in said
    assert "streak" not in said
    assert "next month starts fresh" in said


def test_best_days_of_equal_minutes_are_all_counted() -> None:
    boxes = month_of(CHALLENGE, 20, d7=read("day:2027-10-07", 40), d16=read("day:2027-10-16", 40))
    assert "40 min on my best day: Thursday 7 and 1 more day" in facts(one(*boxes))
    assert date(2027, 10, 7).strftime("%A") == "Thursday"


def test_each_page_has_one_student_and_no_places() -> None:
    made, _ = month(CHALLENGE, 5)
    for page, own in zip(pages(made), made.sheets, strict=True):
        said = text(page)
        others = [each.student for each in made.sheets if each is not own]
        assert not any(other.last_name in said for other in others if len(other.last_name) > 3)
        assert "place" not in said.lower()
        assert "average" not in said.lower()


@pytest.mark.parametrize(("paper", "language"), [("letter", "en"), ("a4", "es")])
def test_names_of_any_length_and_script_fit(paper: str, language: str) -> None:
    challenge = plan(paper=paper, language=language)
    names = sorted(NAMES_30, key=len)
    students = named(
        [*names[-3:], *names[:-3:7]],
        ["Seventh Grade Beginning Woodwinds and everybody who likes to join them"],
    )
    made = book(*(sheet(each, month_of(challenge, 20 + n)) for n, each in enumerate(students)))
    drawn = pages(made, challenge)
    assert len(drawn) == 7
    for page in drawn:
        assert max(char["x1"] for char in page.chars) < page.width - 10
        assert min(char["x0"] for char in page.chars) > 10
        grid_right = page.width * 0.56
        right = [char for char in page.chars if 100 < char["top"] < 330 and char["x0"] > grid_right]
        assert min(char["x0"] for char in right) > grid_right + 5  # facts keep off the calendar


def test_it_speaks_the_charts_language() -> None:
    page = one(*month_of(CHALLENGE, 20), challenge=plan(language="es"))
    said = text(page)
    assert "Octubre de 2027: mi práctica" in said
    assert "20 / 20 días obligatorios con 15 minutos o más" in facts(page)
    assert "¡Reto cumplido! ¡Muy bien!" in said
    assert "haz pausas" in said


def test_minutes_are_praised_with_a_word_of_care() -> None:
    said = text(one(*month_of(CHALLENGE, 20)))
    for words in ("take breaks", "grow slowly", "stop and tell your teacher", "no medical advice"):
        assert words in said
