"""`daybox progress`: what it writes, from a folder as it lies on disk, and what it refuses."""

import csv
import shutil
from io import BytesIO
from pathlib import Path

import pytest
from books import challenge_folder
from PIL import Image
from progress_books import figures
from pypdf import PdfReader

from ingest.cli import main
from ingest.report.class_figures import FILE_NAME as FIGURES
from ingest.report.class_figures import to_json

UNSURE = "day:2027-10-05"
pytestmark = pytest.mark.usefixtures("usual_threshold")

PICTURES = {"calendar.png", "sections.png", "totals.png", "poster.png"}
PDFS = {"class.pdf", "students.pdf", "poster.pdf"}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """S1, Ana Marsh, has handed in, with one day that is not settled; S2, Ben Okoro, has not."""
    challenge_folder(tmp_path / "october", unsure=UNSURE)
    return tmp_path / "october"


def run(folder: Path, *words: str) -> int:
    return main(["progress", "--folder", str(folder), *words])


def text(pdf: Path) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(pdf).pages).split())


def test_it_writes_the_class_the_students_and_a_poster(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(folder) == 0
    where = folder / "progress"
    assert {path.name for path in where.iterdir()} == PICTURES | PDFS
    said = capsys.readouterr().out
    assert "October: 1 of 2 charts are in, 1 day not known yet." in said
    assert "After `daybox review`, draw again." in said
    assert len(PdfReader(where / "students.pdf").pages) == 2
    assert "600 min" in text(where / "students.pdf")  # 30 days of 20, and one that nobody knows
    assert "Ana" not in text(where / "poster.pdf")
    assert "Ana" not in text(where / "class.pdf")


def test_pictures_are_the_pages_of_the_pdfs(folder: Path) -> None:
    run(folder)
    for name in PICTURES:
        with Image.open(folder / "progress" / name) as picture:
            assert picture.format == "PNG"
            wide, high = picture.size
        # Letter at 150 dots an inch: 11 x 8.5 inches, the poster upright
        assert sorted((wide, high)) == pytest.approx([1275, 1650], abs=1)
        assert (wide < high) == (name == "poster.png")


def test_pdfs_are_vectors_in_the_charts_language_and_name_no_time(folder: Path) -> None:
    plan = folder / "challenge.toml"
    plan.write_text('language = "es-MX"\n' + plan.read_text(encoding="utf-8"), encoding="utf-8")
    run(folder)
    for name in PDFS:
        reader = PdfReader(folder / "progress" / name)
        assert str(reader.root_object["/Lang"]) == "es-MX"
        assert not any(page.images for page in reader.pages)
    first = {name: (folder / "progress" / name).read_bytes() for name in PDFS | PICTURES}
    run(folder)
    assert first == {name: (folder / "progress" / name).read_bytes() for name in PDFS | PICTURES}
    assert "Todavía no se sabe si el reto está cumplido." in text(folder / "progress" / "students.pdf")


def test_the_poster_has_first_names_only_by_choice(folder: Path) -> None:
    run(folder, "--poster", "names")
    said = text(folder / "progress" / "poster.pdf")
    assert "Ana" in said
    assert "Ben" in said  # whose chart is not in
    assert "Marsh" not in said
    assert run(folder, "--poster", "faces") == 2


def test_single_pages_are_named_as_charts_are(folder: Path) -> None:
    run(folder, "--each")
    main(["charts", "--folder", str(folder), "--each"])
    single = folder / "progress" / "students"
    found = sorted(path.relative_to(single) for path in single.rglob("*.pdf"))
    charts = folder / "charts"
    assert found == sorted(path.relative_to(charts) for path in charts.rglob("*.pdf"))
    (ana,) = [path for path in found if "Marsh" in path.name]
    assert "Okoro" not in text(single / ana)


def test_some_students_get_pages_and_the_class_stays_as_it_was(folder: Path) -> None:
    assert run(folder, "--student", "S2", "--out", str(folder / "ben")) == 0
    assert [path.name for path in (folder / "ben").iterdir()] == ["students.pdf"]
    said = text(folder / "ben" / "students.pdf")
    assert "Ben Okoro" in said
    assert "Your chart is not here yet" in said
    assert "Ana" not in said


def test_pictures_of_an_earlier_run_that_are_no_longer_true_go(folder: Path) -> None:
    where = folder / "progress"
    where.mkdir()
    for name in ("sections-2.png", "poster-7.png", "mine.png"):
        (where / name).write_bytes(b"old")
    run(folder)
    assert {path.name for path in where.glob("*.png")} == PICTURES | {"mine.png"}


def test_where_no_chart_counts_there_is_nothing_to_draw(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    challenge_folder(tmp_path / "october")
    roster = tmp_path / "october" / "roster.csv"
    roster.write_text("student_id,first_name,last_name,section\nS2,Ben,Okoro,Flutes\n", encoding="utf-8")
    assert run(tmp_path / "october") == 1
    assert "nothing to draw" in capsys.readouterr().err
    assert not (tmp_path / "october" / "progress").exists()


# -- months beside each other --------------------------------------------------------------------------------


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture
def others(folder: Path) -> list[Path]:
    """A copy of the month, and a folder that has only what was kept of one without names."""
    again = folder.parent / "again"
    shutil.copytree(folder, again)
    gone = folder.parent / "gone"
    gone.mkdir()
    (gone / FIGURES).write_bytes(to_json(figures("2026-10", "flutes", count=12)))
    return [again, gone]


def test_months_are_compared_also_with_one_whose_names_are_gone(
    folder: Path, others: list[Path], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(folder, "--with", str(others[0]), str(others[1])) == 0
    where = folder / "progress"
    assert {path.name for path in where.iterdir()} == {"comparison.pdf", "comparison.png", "comparison.csv"}
    found = rows(where / "comparison.csv")
    assert [row["month"] for row in found] == ["2026-10"] * 2 + ["2027-10"] * 4
    assert [row["section"] for row in found] == ["", "flutes", "", "Flutes", "", "Flutes"]
    assert "3 months: the class as a whole and 1 section that match" in capsys.readouterr().out
    assert "Ana" not in text(where / "comparison.pdf")
    with Image.open(BytesIO((where / "comparison.png").read_bytes())) as picture:
        assert picture.size == pytest.approx((1650, 1275), abs=1)


def test_with_may_be_repeated_and_a_folder_counts_once(folder: Path, others: list[Path]) -> None:
    again, gone = (str(path) for path in others)
    assert run(folder, "--with", gone, "--with", again, "--with", f"{again}/../october") == 0
    assert len({row["title"] for row in rows(folder / "progress" / "comparison.csv")}) == 2
    assert len(rows(folder / "progress" / "comparison.csv")) == 6


def test_a_month_whose_names_are_gone_can_be_the_one_at_home(folder: Path, others: list[Path]) -> None:
    gone = others[1]
    assert run(gone, "--with", str(folder)) == 0
    assert (gone / "progress" / "comparison.csv").exists()


@pytest.mark.parametrize("what", ["nowhere", "", "october"])
def test_a_folder_that_is_no_month_is_refused(
    folder: Path, what: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(folder, "--with", str(folder.parent / what)) == 1
    said = capsys.readouterr().err
    assert "holds no month" in said or "names only the folder" in said
    assert not (folder / "progress").exists()


def test_comparing_whole_months_goes_with_nothing_about_students(folder: Path) -> None:
    assert run(folder, "--with", str(folder), "--each") == 2
    assert run(folder, "--with", str(folder), "--student", "S1") == 2
    assert run(folder, "elsewhere") == 2
