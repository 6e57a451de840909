"""Months to be drawn, and the same as a table, so that pandas can say what the pictures must show."""

from collections.abc import Sequence
from random import Random
from typing import Any

import pandas as pd
from award_books import NAMES_30
from books import book, flagged, read, sheet

from ingest.check.book import Book
from ingest.plan.challenge import Challenge, make_challenge
from ingest.plan.roster import Student
from ingest.report.class_figures import ClassFigures, class_figures


def plan(**given: object) -> Challenge:
    """October 2027, six rows of weeks, with the 11th off: 20 required days of 15 minutes."""
    return make_challenge(
        {"month": "2027-10", "days": {"no_school": ["2027-10-11"]}, **given}, "a test's plan"
    )


def month(
    challenge: Challenge,
    count: int,
    sections: Sequence[str] = ("Flutes", "Low Brass"),
    *,
    open_share: float = 0.0,
    missing: Sequence[int] = (),
    seed: int = 1,
) -> tuple[Book, pd.DataFrame]:
    """A book, and a row for each day of each chart: student_id, section, day, minutes (NaN if open).

    missing: which students, from 0, have handed in nothing.
    """
    chance = Random(seed)
    sheets, rows = [], []
    for number in range(count):
        first, _, last = NAMES_30[number % len(NAMES_30)].partition(" ")
        student = Student(f"S{number + 1:03}", first, last, sections[number % len(sections)])
        if number in missing:
            sheets.append(sheet(student, [], []))
            continue
        boxes = []
        for day in challenge.month.dates():
            minutes = chance.choice([None, 0, 5, 10, 15, 15, 20, 30, 45, 61])
            is_open = chance.random() < open_share
            boxes.append(flagged(f"day:{day}", minutes) if is_open else read(f"day:{day}", minutes))
            seen = float("nan") if is_open else float(minutes or 0)
            rows.append((student.id, student.section, pd.Timestamp(day), seen))
        sheets.append(sheet(student, boxes))
    return book(*sheets), pd.DataFrame(rows, columns=["student_id", "section", "day", "minutes"])


def figures(which: str, *sections: str, count: int = 20, **given: Any) -> ClassFigures:
    """Of a month such as "2027-10", whose 11th is off, with so many charts in the sections by turns."""
    challenge = plan(month=which, days={"no_school": [f"{which}-11"]}, **given)
    return class_figures(month(challenge, count, sections, seed=int(which[-2:]))[0], challenge)
