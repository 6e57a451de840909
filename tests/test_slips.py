"""Slips for families, read back by other libraries: what was read, what it adds up to, and nobody else."""

import csv
import re
from pathlib import Path

import cv2
import numpy as np
import pdfplumber
import pytest
from books import challenge_folder
from pypdf import PdfReader

from ingest.cli import main
from ingest.ledger.records import NewPage, ReturnState
from ingest.ledger.store import Ledger
from ingest.reading.values import PageReading

UNSURE = "day:2027-10-05"
pytestmark = pytest.mark.usefixtures("usual_threshold")

# Names of many lengths and scripts; invented.
NAMES = [
    ("Ana", "Marsh"),
    ("Wolfeschlegelsteinhausen-Bergerdorff", "Featherstonehaugh-Cholmondeley van der Westhuizen"),
    ("李", "明"),
    ("مريم", "حداد"),
    ("אורי", "בן־עמי"),
    ("Олена", "Ковальчук"),
    ("अनन्या", "शर्मा"),
    ("สมชาย", "ใจดี"),
    ("민준", "김"),
    ("Minh Châu", "Nguyễn"),
]


def page_picture() -> bytes:
    """As large as a flattened page of letter paper is kept, and as grainy as a poor photo."""
    noise = np.random.default_rng(1).normal(200, 6, (1295, 1676)).clip(0, 255).astype(np.uint8)
    return cv2.imencode(".jpg", noise)[1].tobytes()


def hand_in_again(folder: Path, count: int = 1) -> None:
    """The one chart of the folder, with a picture, so many times."""
    with Ledger.open(folder) as ledger:
        (page,) = ledger.pages()
        for number in range(1, count + 1):
            found = PageReading(
                page.code, "2027-10", "qr", "", page.readings, page_picture(), 0.1, 8, page.layout
            )
            again = ledger.add_return(f"october.zip/more_{number}.jpg", f"{number:064x}", None)
            ledger.finish_return(1 if number == 1 else again or 0, [NewPage(1, "", found)], ReturnState.DONE)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    challenge_folder(tmp_path / "october", unsure=UNSURE)
    hand_in_again(tmp_path / "october")
    return tmp_path / "october"


def plan(folder: Path, **keys: str) -> None:
    """Add keys at the top of the plan."""
    file = folder / "challenge.toml"
    lines = "".join(f'{key} = "{value}"\n' for key, value in keys.items())
    file.write_text(lines + file.read_text(encoding="utf-8"), encoding="utf-8")


def make(folder: Path, *words: str) -> Path:
    assert main(["slips", "--folder", str(folder), *words]) == 0
    return folder / "slips.pdf"


def text_of(pdf: Path) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(pdf).pages).split())


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def answer(folder: Path, box: str, minutes: str) -> None:
    sheet = folder / "fix.csv"
    sheet.write_text(f"student_id,box,answer\nS1,{box},{minutes}\n", encoding="utf-8")
    words = ["--student", "S1", "--all", "--reason", "Slip", "--answers", str(sheet)]
    assert main(["review", "--folder", str(folder), *words]) == 0


# -- what it says ----------------------------------------------------------------------------------------


def test_it_says_what_was_read_what_it_adds_up_to_and_what_is_open(folder: Path) -> None:
    said = text_of(make(folder))
    assert "Ana Marsh" in said
    assert "600 minutes in all" in said
    assert "200 of them on Saturdays and Sundays" in said  # ten of them in October 2027
    assert "19 of 20 required days with 15 minutes or more" in said
    assert "Whether the challenge is met is not decided yet." in said
    assert "count for nothing until your teacher has looked at them: Tuesday 5." in said
    assert "? could not be read for sure" in said
    assert "tell your teacher, or return this slip with the right number written in" in said


def test_its_figures_are_the_gradebooks(folder: Path) -> None:
    answer(folder, UNSURE, "45")
    main(["grades", "--folder", str(folder)])
    said = text_of(make(folder))
    (row,) = [row for row in rows(folder / "gradebook.csv") if row["student_id"] == "S1"]
    assert f"{row['total_minutes']} minutes in all" in said
    assert f"{row['weekend_minutes']} of them on" in said
    assert f"{row['days_met']} of {row['required_days']} required days" in said
    assert row["met"] == "yes"
    assert "The challenge is met." in said
    assert "Everything on the chart could be read." in said
    assert "your teacher looked at it" in said
    (merged,) = rows(folder / "slips.csv")
    figures = ("total_minutes", "weekend_minutes", "required_days", "days_met", "met", "open_flags")
    assert [merged[name] for name in figures] == [row[name] for name in figures]


def test_every_day_stands_where_the_picture_of_it_stands(folder: Path) -> None:
    """The table is the chart's own grid, moved to the right: each reading lies in its box."""
    answer(folder, "day:2027-10-12", "73")
    with pdfplumber.open(make(folder)) as pdf:
        page = pdf.pages[0]
        words = page.extract_words()
        picture = page.images[0]
        (reading,) = [word for word in words if word["text"] == "73"]
        frames = [
            rect
            for rect in page.rects
            if rect["x0"] < reading["x0"] < rect["x1"] and rect["top"] < reading["top"] < rect["bottom"]
        ]
        values = [word["text"] for word in words if word["x0"] > picture["x1"] and word["text"] == "20"]
    assert frames
    assert reading["x0"] > picture["x1"]
    assert picture["top"] < reading["top"] < picture["bottom"]
    assert len(values) >= 29 + 1  # 29 days of 20 minutes, and the 20th's own number


def test_a_week_added_up_otherwise_is_pointed_out(tmp_path: Path) -> None:
    challenge_folder(tmp_path / "plain")
    answer(tmp_path / "plain", "week:2", "150")
    said = text_of(make(tmp_path / "plain"))
    assert "Week 2: the days add up to 140, the box says 150. The days count." in said


def test_it_speaks_the_charts_language(folder: Path) -> None:
    plan(folder, language="es")
    said = text_of(make(folder))
    assert "600 minutos en total" in said
    assert "hasta que tu maestro o maestra los revise: martes 5." in said
    assert "devuelve este papel con el número correcto escrito en él" in said
    (row,) = rows(folder / "slips.csv")
    assert row["message"].startswith(
        "Esto es lo que se leyó en la hoja de práctica de Ana de octubre de 2027:"
    )
    assert str(PdfReader(folder / "slips.pdf").root_object["/Lang"]) == "es"


def test_no_other_child_is_on_it(folder: Path) -> None:
    make(folder, "--each")
    for path in [folder / "slips.pdf", *(folder / "slips").rglob("*.pdf")]:
        assert not re.search("Ben|Okoro|S2", text_of(path))
    assert not re.search("Ben|Okoro|S2", (folder / "slips.csv").read_text(encoding="utf-8"))


# -- as files --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("paper", "size"), [("letter", (792, 612)), ("a4", (842, 595))])
def test_a_slip_is_one_small_page_with_the_picture_as_jpeg(
    folder: Path, paper: str, size: tuple[int, int]
) -> None:
    """Sizes in points: 11 x 8.5 inches, and ISO 216."""
    plan(folder, paper=paper)
    pdf = make(folder)
    (page,) = PdfReader(pdf).pages
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(size, abs=1)
    (image,) = page.images
    assert image.name.endswith((".jpg", ".jpeg"))
    assert pdf.stat().st_size < 250_000  # of mere grain, which packs worst


def test_another_page_that_counts_comes_on_a_page_of_its_own(tmp_path: Path) -> None:
    challenge_folder(tmp_path / "october")
    hand_in_again(tmp_path / "october", count=2)
    pages = PdfReader(make(tmp_path / "october")).pages
    assert len(pages) == 2
    assert "More of your chart" in pages[1].extract_text()
    assert len(pages[1].images) == 1


def test_without_the_picture_it_says_so(folder: Path) -> None:
    for picture in (folder / "pages").iterdir():
        picture.unlink()
    assert "There is no picture of the chart any more." in text_of(make(folder))


def test_single_files_are_named_as_charts_are(folder: Path) -> None:
    make(folder, "--each")
    main(["charts", "--folder", str(folder), "--each", "--student", "S1"])
    slips = [path.relative_to(folder / "slips") for path in (folder / "slips").rglob("*.pdf")]
    assert slips == [path.relative_to(folder / "charts") for path in (folder / "charts").rglob("*.pdf")]
    assert rows(folder / "slips.csv")[0]["file"] == f"slips/{slips[0].as_posix()}"
    assert (folder / rows(folder / "slips.csv")[0]["file"]).exists()


@pytest.mark.parametrize(("first", "last"), NAMES)
def test_names_of_any_length_and_script_fit(folder: Path, first: str, last: str) -> None:
    roster = "student_id,first_name,last_name,section,email\n"
    section = "Seventh Grade Beginning Woodwinds"
    (folder / "roster.csv").write_text(f"{roster}S1,{first},{last},{section},\n", encoding="utf-8")
    with Ledger.open(folder) as ledger, ledger.writing() as db:  # the same child, printed under this name
        db.execute("UPDATE chart SET name = ?", (f"{first} {last}",))
    with pdfplumber.open(make(folder)) as pdf:
        page = pdf.pages[0]
        words = page.extract_words()
        section_starts = min(word["x0"] for word in words if word["text"] == "Seventh")
        rule = next(line for line in page.lines if line["x1"] - line["x0"] > page.width / 2)
        heading = [char for char in page.chars if 40 < char["top"] < rule["top"] - 2]
        name = [char for char in heading if char["x0"] < section_starts]
        assert name
        assert max(char["x1"] for char in name) <= section_starts
        assert all(char["x0"] > 0 and char["x1"] < page.width for char in page.chars)
        assert all(char["top"] > 0 and char["bottom"] < page.height for char in page.chars)


def test_the_csv_is_ready_for_a_mail_merge(folder: Path) -> None:
    text = "student_id,first_name,last_name,section,email\nS1,=1+1,Marsh,Flutes,ana@example.org\n"
    (folder / "roster.csv").write_text(text, encoding="utf-8")
    with Ledger.open(folder) as ledger, ledger.writing() as db:
        db.execute("UPDATE chart SET name = '=1+1 Marsh'")
    make(folder)
    (row,) = rows(folder / "slips.csv")
    assert row["email"] == "ana@example.org"
    assert row["first_name"] == "'=1+1"
    assert row["readings"].startswith("2027-10-01: 20; 2027-10-02: 20;")
    assert "2027-10-05: ?" in row["readings"]
    assert row["not_read"].endswith("Tuesday 5.")
    assert "600 minutes in all, 19 of 20 required days" in row["message"]


def test_where_nothing_counts_there_is_no_slip(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["slips", "--folder", str(folder), "--student", "S2"]) == 1
    assert "daybox missing" in capsys.readouterr().err
    assert not (folder / "slips.pdf").exists()


def test_another_ending_is_wrong_usage(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["slips", "--folder", str(folder), "--out", "slips.doc"]) == 2
    assert ".pdf" in capsys.readouterr().err
