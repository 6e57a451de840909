"""`daybox returns`: every file handed in, on the screen and as CSV."""

import csv
import io
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from books import challenge_folder, student
from rich.console import Console

from ingest import cli
from ingest.check.fate import Fate, Outcome, What
from ingest.report.returns import COLUMNS, returns_csv, returns_table

ROSTER = (student("S1"), student("S2", "Horns"), student("S3", "Horns"))
WHY = "This is a spare chart, which carries no name."


def a_fate(path: str, student_id: str = "", named: str = "", **changes: Any) -> Fate:
    plain = Fate(path, 1, 1, 1, student_id, named, What.CHART, Outcome.COUNTS, "")
    return replace(plain, **changes)


FATES = (
    a_fate("oct.zip/b/scan.pdf", "S2", pages=2, open_boxes=3, late=True),
    a_fate("oct.zip/b/scan.pdf", "S1", page=2, pages=2, together=1, open_boxes=1, why="Put together with x."),
    a_fate("oct.zip/c/1.jpg", named="S3", what=What.SPARE, outcome=Outcome.ASKED, why=WHY),
    a_fate("oct.zip/cat.jpg", what=What.NONE, outcome=Outcome.UNREAD, why="No chart was found."),
    a_fate("=oct.zip/d/1.jpg", "S1", what=What.BLANK, outcome=Outcome.ASIDE, why="You said so.", untold=True),
)


def shown(fates: tuple[Fate, ...], width: int = 80) -> list[str]:
    text = io.StringIO()
    Console(file=text, width=width, no_color=True).print(returns_table(fates, ROSTER))
    return [line.rstrip() for line in text.getvalue().splitlines()]


def test_the_csv_has_a_row_a_page_with_whole_paths_and_reasons() -> None:
    rows = list(csv.DictReader(io.StringIO(returns_csv(FATES, ROSTER).decode())))
    assert tuple(rows[0]) == COLUMNS
    assert [(row["return"], row["page"], row["student_id"], row["section"]) for row in rows[:3]] == [
        ("oct.zip/b/scan.pdf", "1", "S2", "Horns"),
        ("oct.zip/b/scan.pdf", "2", "S1", "Flutes"),
        ("oct.zip/c/1.jpg", "1", "", ""),
    ]
    assert [(row["what"], row["outcome"], row["why"]) for row in rows[2:4]] == [
        ("spare chart", "asked", WHY),
        ("no chart", "could not be read", "No chart was found."),
    ]
    assert [row["late"] for row in rows] == ["yes", "no", "no", "no", "unknown"]
    assert [row["path_names"] for row in rows] == ["", "", "S3", "", ""]
    assert rows[4]["return"] == "'=oct.zip/d/1.jpg"  # no formula


def test_on_the_screen_what_needs_the_teacher_comes_first() -> None:
    lines = shown(FATES)
    assert [line for line in lines if re.fullmatch(r"[A-Z][a-z ]+: \d", line)] == [
        "To review: 1",
        "Could not be read: 1",
        "Does not count: 1",
        "Counts: 2",
    ]
    text = " ".join(" ".join(lines).split())
    assert "FirstS3 LastS3? c/1.jpg This is a spare chart" in text
    assert "nobody's oct.zip/cat.jpg No chart was found." in text
    assert "FirstS1 LastS1 d/1.jpg Blank chart. You said so." in text
    assert "FirstS1 LastS1 b/scan.pdf, page 2 Counts, with another return; 1 box to review" in text
    assert "FirstS2 LastS2 b/scan.pdf, page 1 Counts, late; 3 boxes to review" in text
    assert 'A name with "?" is only that of the file' in text
    assert "When 1 page was handed in cannot be told" in text


def test_the_screen_keeps_to_80_columns_and_shows_the_end_of_a_long_path() -> None:
    long = a_fate(f"oct.zip/{'x' * 60}/{'照' * 30}.jpg", "S1")
    lines = shown((long, *FATES))
    assert max(map(len, lines)) <= 80
    assert any("照.jpg" in line and "…" in line for line in lines)


def test_a_name_in_brackets_is_no_markup() -> None:
    assert any("[red]x.jpg" in line for line in shown((a_fate("a/[red]x.jpg", "S1"),)))


def test_nothing_handed_in_says_what_to_do() -> None:
    assert "Nothing has come in yet" in shown(())[0]


def test_the_command_shows_and_writes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "october"
    challenge_folder(folder, unsure="day:2027-10-05")
    assert cli.main(["returns", "--folder", str(folder)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Ana Marsh october.zip/IMG_1.jpg Counts; 1 box to review" in said
    out = tmp_path / "returns.csv"
    assert cli.main(["returns", "--folder", str(folder), "--out", str(out)]) == 0
    (row,) = csv.DictReader(io.StringIO(out.read_text(encoding="utf-8")))
    assert (row["return"], row["student_id"], row["outcome"]) == ("october.zip/IMG_1.jpg", "S1", "counts")
