"""`daybox charts`, as a teacher runs it."""

import json
from pathlib import Path

import pypdf
import pytest

from ingest.cli import main
from ingest.ledger.store import Ledger
from ingest.shipped import templates

ROSTER = """student_id,first_name,last_name,section
S001,Zoë,Ñandú,Winds 1
S002,Olu,Ade,Winds 2
S003,Li,王,Winds 2
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "challenge.toml").write_text('title = "Practice"\nmonth = "2027-10"\n', encoding="utf-8")
    (tmp_path / "roster.csv").write_text(ROSTER, encoding="utf-8")
    return tmp_path


def run(folder: Path, *words: str) -> int:
    return main(["charts", "--folder", str(folder), *words])


def pages(path: Path) -> list[tuple[str, str]]:
    """Student id and chart code of every page, and the PDF has as many."""
    found = json.loads(path.with_suffix(".layout.json").read_text(encoding="utf-8"))["pages"]
    assert len(pypdf.PdfReader(path).pages) == len(found)
    return [(page["student_id"], page["chart"]) for page in found]


def test_everyone_gets_a_chart_and_the_ledger_knows_it(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(folder, "--spare", "2") == 0
    printed = pages(folder / "charts.pdf")
    assert [student for student, _ in printed] == ["S001", "S002", "S003", "", ""]
    with Ledger.open(folder, create=False) as ledger:
        assert [(c.student_id or "", c.code) for c in ledger.charts()] == printed
        assert set(ledger.layouts()) == {c.layout for c in ledger.charts()}
        assert [student.id for student in ledger.students()] == ["S001", "S002", "S003"]
    said = capsys.readouterr().out
    assert "3 charts with names and 2 spare charts" in said
    assert str(folder / "charts.pdf") in said
    assert "daybox collect --folder" in said
    assert {path.name for path in folder.iterdir()} == {
        "challenge.toml",
        "roster.csv",
        "charts.pdf",
        "charts.layout.json",
        "ledger.sqlite",
    }


def test_second_printing_keeps_students_codes_and_makes_new_spares(folder: Path) -> None:
    run(folder, "--spare", "1")
    first = pages(folder / "charts.pdf")
    out = folder / "again.pdf"
    assert run(folder, "--spare", "1", "--out", str(out)) == 0
    again = pages(out)
    assert again[:3] == first[:3]
    assert again[3] != first[3]
    with Ledger.open(folder) as ledger:
        assert len(ledger.charts()) == 5


def test_an_id_that_passed_to_another_child_gets_a_new_code(folder: Path) -> None:
    run(folder)
    first = pages(folder / "charts.pdf")
    renumbered = ROSTER.replace("Zoë,Ñandú", "Zoe,Nandu").replace("Olu,Ade", "Kim,Sorensen")
    (folder / "roster.csv").write_text(renumbered, encoding="utf-8")
    assert run(folder) == 0
    again = pages(folder / "charts.pdf")
    assert [one == other for one, other in zip(first, again, strict=True)] == [True, False, True]
    with Ledger.open(folder) as ledger:
        assert [chart.name for chart in ledger.charts()] == ["Zoe Nandu", "Olu Ade", "Li 王", "Kim Sorensen"]


def test_other_paper_is_another_chart(folder: Path) -> None:
    run(folder)
    first = pages(folder / "charts.pdf")
    plan = folder / "challenge.toml"
    plan.write_text(plan.read_text(encoding="utf-8") + 'paper = "a4"\n', encoding="utf-8")
    assert run(folder) == 0
    assert not {code for _, code in first} & {code for _, code in pages(folder / "charts.pdf")}
    with Ledger.open(folder) as ledger:
        assert len(ledger.layouts()) == 2


def test_some_can_be_chosen(folder: Path) -> None:
    out = folder / "some.pdf"
    assert run(folder, "--section", "Winds 2", "--out", str(out)) == 0
    assert [student for student, _ in pages(out)] == ["S002", "S003"]
    assert run(folder, "--student", "S003", "--student", "S001", "--out", str(out)) == 0
    assert [student for student, _ in pages(out)] == ["S001", "S003"]


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["--section", "Winds"], 1, 'no section "Winds". Did you mean "Winds '),
        (["--student", "S01"], 1, 'no student id "S01". Did you mean "S001"?'),
        (["--out", "charts.docx"], 2, "should end in .pdf"),
        (["--out", "nowhere/charts.pdf"], 2, "no folder nowhere"),
        (["--spare", "-1"], 2, "--spare"),
    ],
)
def test_what_cannot_be_printed_is_refused_and_leaves_nothing(
    folder: Path, capsys: pytest.CaptureFixture[str], words: list[str], code: int, said: str
) -> None:
    assert run(folder, *words) == code
    assert said in capsys.readouterr().err
    assert {path.name for path in folder.iterdir()} == {"challenge.toml", "roster.csv"}


def test_missing_plan_design_or_language_is_refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan = folder / "challenge.toml"
    text = plan.read_text(encoding="utf-8")
    plan.write_text(text + 'design = "my.toml"\n', encoding="utf-8")
    assert run(folder) == 1
    assert "There is no chart design" in capsys.readouterr().err
    plan.write_text(text + 'language = "tlh"\n', encoding="utf-8")
    assert run(folder) == 1
    assert "no wording for the language" in capsys.readouterr().err
    plan.unlink()
    assert run(folder) == 1
    assert "challenge.toml" in capsys.readouterr().err
    assert {path.name for path in folder.iterdir()} == {"roster.csv"}


def test_a_month_of_which_nothing_could_be_drawn_may_still_be_changed(folder: Path) -> None:
    plan, own = folder / "challenge.toml", folder / "my.toml"
    shipped = (templates() / "minutes.toml").read_text(encoding="utf-8")
    own.write_text(shipped.replace("[words.es]", "[words.tlh]"), encoding="utf-8")  # no calendar has it
    text = plan.read_text(encoding="utf-8")
    plan.write_text(text + 'design = "my.toml"\nlanguage = "tlh"\n', encoding="utf-8")
    assert run(folder) == 1
    plan.write_text(text.replace("2027-10", "2027-11"), encoding="utf-8")
    assert run(folder) == 0


def fields(path: Path) -> set[str]:
    return set(pypdf.PdfReader(path).get_form_text_fields(full_qualified_name=True))


def test_each_writes_a_file_for_each_student_with_the_same_charts(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(folder, "--each", "--fillable", "--spare", "1", "--out", str(folder / "forms.pdf")) == 0
    codes = dict(pages(folder / "forms.pdf"))
    single = folder / "forms"
    files = {path.relative_to(single).as_posix(): path for path in single.rglob("*.pdf")}
    assert set(files) == {
        "Winds 1/Ñandú Zoë S001.pdf",
        "Winds 2/Ade Olu S002.pdf",
        "Winds 2/王 Li S003.pdf",
        f"Spare charts/{codes['']}.pdf",
    }
    for name, student in (("Winds 1/Ñandú Zoë S001.pdf", "S001"), (f"Spare charts/{codes['']}.pdf", "")):
        assert len(pypdf.PdfReader(files[name]).pages) == 1
        assert {field.partition(".")[0] for field in fields(files[name])} == {codes[student]}
    whole = fields(folder / "forms.pdf")
    assert whole == set().union(*(fields(path) for path in files.values()))
    said = capsys.readouterr().out
    assert "To be typed into" in said
    assert str(single) in said


def test_charts_without_fields_are_printed_unless_asked_for(folder: Path) -> None:
    assert run(folder, "--each") == 0
    assert fields(folder / "charts.pdf") == set()
    assert len(list((folder / "charts").rglob("*.pdf"))) == 3


def test_files_to_be_handed_out_are_no_returns(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A teacher may collect the very folder that the challenge is in."""
    assert run(folder, "--each", "--fillable") == 0
    capsys.readouterr()
    assert main(["collect", "--folder", str(folder), str(folder)]) == 0
    assert "There are no files" in capsys.readouterr().out


def test_circles_cannot_be_typed_into(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan = (folder / "challenge.toml").read_text(encoding="utf-8")
    (folder / "challenge.toml").write_text(f'design = "color-in"\n{plan}', encoding="utf-8")
    assert run(folder, "--fillable") == 1
    assert 'Use the design "minutes"' in capsys.readouterr().err
    assert not (folder / "charts.pdf").exists()
    with Ledger.open(folder) as ledger:
        assert ledger.charts() == ()
