"""The poster: what all came to together, nobody left out, nobody before another."""

import io
from dataclasses import replace
from typing import Any

import numpy as np
import pdfplumber
import pytest
from award_books import NAMES_30, named
from books import book, flagged, month_of, sheet, student
from progress_books import month, plan

from ingest.check.book import Book
from ingest.plan.challenge import Challenge
from ingest.plan.roster import Student
from ingest.report.palette import BAR, STAR
from ingest.report.poster import Shown, draw_poster
from ingest.report.student_month import student_months

CHALLENGE = plan()


def pages(made: Book, shown: Shown, challenge: Challenge = CHALLENGE) -> list[Any]:
    content, count = draw_poster(challenge, student_months(made, challenge), shown)
    drawn = list(pdfplumber.open(io.BytesIO(content)).pages)
    assert len(drawn) == count
    return drawn


def text(page: Any) -> str:
    return " ".join(page.extract_text().split())


def filled(page: Any, color: str) -> list[Any]:
    """Shapes of that colour, from left to right."""
    rgb = tuple(int(color[at : at + 2], 16) / 255 for at in (1, 3, 5))
    shapes = [
        shape
        for shape in page.curves
        if shape["fill"] and np.allclose(shape["non_stroking_color"], rgb, atol=0.01)
    ]
    return sorted(shapes, key=lambda shape: shape["x0"])


def star_count(page: Any) -> int:
    return len(filled(page, STAR))


def test_it_says_what_all_came_to_together() -> None:
    made, table = month(CHALLENGE, 25, missing=[1])
    said = text(pages(made, "numbers")[0])
    assert f"{int(table.minutes.sum() // 60)} hours" in said
    assert f"{int((table.minutes > 0).sum())} days with an instrument in hand" in said


def test_there_is_a_star_for_each_on_the_roster_whatever_they_did() -> None:
    for count in (1, 3, 26, 400):
        made, _ = month(CHALLENGE, count, missing=range(1, count, 3))
        assert star_count(pages(made, "numbers")[0]) == count


def test_without_names_no_name_is_on_it() -> None:
    made, _ = month(CHALLENGE, 30)
    said = text(pages(made, "numbers")[0])
    for each in made.sheets:
        assert each.student.id not in said
        assert len(each.student.first_name) < 3 or each.student.first_name not in said


def test_with_names_everybody_is_on_it_in_the_order_of_the_alphabet_and_without_a_last_name() -> None:
    names = ["Zoë Last", "Ben Last", "Amina Last", "Łukasz Last", "ben Last", "Ángel Last"]
    students = [Student(f"S{n}", name.split()[0], "Last", "Flutes") for n, name in enumerate(names)]
    # Ben has handed in nothing; Zoë has most, Amina least.
    made = book(
        *(sheet(each, month_of(CHALLENGE, 40 - n) if n != 1 else []) for n, each in enumerate(students))
    )
    page = pages(made, "names")[0]
    words = page.extract_words(extra_attrs=["size"])
    shown = [word for word in words if f"{word['text']} Last" in names]
    shown.sort(key=lambda word: (round(word["x0"] / 20), word["top"]))  # column by column
    # Ł has no accent by Unicode, and comes last.
    assert [word["text"] for word in shown] == ["Amina", "Ángel", "Ben", "ben", "Zoë", "Łukasz"]
    assert "Last" not in text(page)
    assert len({round(word["size"], 1) for word in shown}) == 1  # all alike


def test_nobodys_minutes_are_on_it() -> None:
    students = named(["Ana", "Ben", "Cleo"])
    made = book(*(sheet(each, month_of(CHALLENGE, 13 + n)) for n, each in enumerate(students)))
    said = text(pages(made, "names")[0])
    for minutes in (13, 14, 15, 13 * 31, 14 * 31, 15 * 31):
        assert f" {minutes} " not in f" {said} "
    assert "1 of us met the challenge" in said


def test_when_nobody_met_the_challenge_it_does_not_say_so() -> None:
    made = book(sheet(student("S1"), month_of(CHALLENGE, 10)))
    assert "challenge" not in text(pages(made, "numbers")[0]).replace("practice challenge", "")


def test_what_is_not_known_yet_is_said() -> None:
    boxes = month_of(CHALLENGE, 20, d5=flagged("day:2027-10-05", 45))
    said = text(pages(book(sheet(student("S1"), boxes)), "numbers")[0])
    assert "1 day is not yet known, so there may be more." in said
    assert "10 hours" in said  # 30 days of 20 minutes


def test_a_few_minutes_are_not_called_no_hours() -> None:
    boxes = month_of(CHALLENGE, 2)
    assert "62 minutes" in text(pages(book(sheet(student("S1"), boxes)), "numbers")[0])


@pytest.mark.parametrize(("paper", "count"), [("letter", 3), ("a4", 30), ("letter", 120)])
def test_names_of_any_length_and_script_stand_on_the_paper_and_keep_apart(paper: str, count: int) -> None:
    challenge = plan(paper=paper, language="es")
    names = [name.split()[0] for name in NAMES_30]
    students = named([names[n % 30] for n in range(count)])
    made = book(*(sheet(each, month_of(challenge, 20)) for each in students))
    drawn = pages(made, "names", challenge)
    assert sum(star_count(page) for page in drawn) == count
    for page in drawn:
        assert page.height > page.width
        for char in page.chars:
            assert char["x0"] > 10
            assert char["x1"] < page.width - 10
            assert char["top"] > 10
            assert char["bottom"] < page.height - 10
        foot = min(
            char["top"] for char in page.chars if char["size"] < 7.1 and char["top"] > page.height - 90
        )
        assert all(char["bottom"] < foot + 1 for char in page.chars if char["top"] < foot - 1)


def test_each_day_is_a_note_and_more_minutes_stand_higher() -> None:
    boxes = month_of(CHALLENGE, 20, d5=flagged("day:2027-10-05", 45))
    rising = [box if box.box.endswith("05") else replace(box, value=n + 1) for n, box in enumerate(boxes)]
    page = pages(book(sheet(student("S1"), rising)), "numbers")[0]
    heads = filled(page, BAR)
    assert len(heads) == 30  # and a rest on the 5th
    tops = [shape["top"] for shape in heads]
    assert tops == sorted(tops, reverse=True)
    assert tops[0] > tops[-1]
