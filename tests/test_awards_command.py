"""`daybox awards`, as a teacher types it."""

import csv
import io
from pathlib import Path

import pypdf
import pytest
from books import challenge_folder

from ingest import cli

MENTION = '[[mentions]]\nkind = "longest-streak"\ntitle = "Steady as a drum"\n'


def run(folder: Path, *words: str) -> int:
    return cli.main(["awards", "--folder", str(folder), *words])


def pages(path: Path) -> int:
    return len(pypdf.PdfReader(io.BytesIO(path.read_bytes())).pages)


def add(folder: Path, text: str) -> None:
    with (folder / "challenge.toml").open("a", encoding="utf-8") as plan:
        plan.write(text)


def test_it_writes_a_sheet_a_spreadsheet_and_certificates(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    challenge_folder(tmp_path)
    add(tmp_path, MENTION)
    assert run(tmp_path) == 0
    said = capsys.readouterr().out
    assert "October: 1 of 1 who handed in met the challenge.\nPlaces 1 to 5: 1 given.\n" in said
    assert "Steady as a drum: Ana Marsh." in said
    assert "3 certificates, one to a page." in said
    assert "still open" not in said
    assert pages(tmp_path / "certificates.pdf") == 3
    assert pages(tmp_path / "awards.pdf") >= 1
    content = (tmp_path / "awards.csv").read_text(encoding="utf-8")
    assert [row["award"] for row in csv.DictReader(io.StringIO(content))] == [
        "met",
        "place",
        "longest-streak",
    ]


def test_four_to_a_page_or_none_and_elsewhere(tmp_path: Path) -> None:
    challenge_folder(tmp_path / "oct")
    assert run(tmp_path / "oct", "--certificates", "four", "--out", str(tmp_path / "a" / "b")) == 0
    assert {path.name for path in (tmp_path / "a" / "b").iterdir()} == {
        "awards.csv",
        "awards.pdf",
        "certificates.pdf",
    }
    assert pages(tmp_path / "a" / "b" / "certificates.pdf") == 1
    assert not (tmp_path / "oct" / "awards.csv").exists()
    assert run(tmp_path / "oct", "--certificates", "none") == 0
    assert not (tmp_path / "oct" / "certificates.pdf").exists()
    assert (tmp_path / "oct" / "awards.pdf").exists()


def test_an_open_box_gives_nothing_and_takes_an_earlier_runs_certificates_away(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    challenge_folder(tmp_path, unsure="day:2027-10-04")
    add(tmp_path, "[prizes]\ntop = 0\n")
    (tmp_path / "certificates.pdf").write_bytes(b"of an earlier run")
    assert run(tmp_path) == 0
    said = capsys.readouterr().out
    assert "0 of 1 who handed in met the challenge; open for 1." in said
    assert "No certificates" in said
    assert f"Next: daybox review --folder {tmp_path}, then this command again." in said
    assert not (tmp_path / "certificates.pdf").exists()


def test_running_it_again_writes_the_same_files(tmp_path: Path) -> None:
    challenge_folder(tmp_path)
    files = [tmp_path / name for name in ("awards.csv", "awards.pdf", "certificates.pdf")]
    run(tmp_path)
    before = [file.read_bytes() for file in files]
    run(tmp_path)
    assert [file.read_bytes() for file in files] == before


def test_an_own_design_is_copied_once_and_used(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    challenge_folder(tmp_path)
    assert run(tmp_path, "--own-design") == 0
    assert 'under [prizes]: certificate = "my-fanfare.toml"' in capsys.readouterr().out
    assert not (tmp_path / "awards.csv").exists()
    copy = tmp_path / "my-fanfare.toml"
    copy.write_text(copy.read_text("utf-8").replace('"Certificate"', '"Bravo"'), encoding="utf-8")
    add(tmp_path, '[prizes]\ncertificate = "my-fanfare.toml"\n')
    assert run(tmp_path) == 0
    page = pypdf.PdfReader(tmp_path / "certificates.pdf").pages[0]
    assert "Bravo" in page.extract_text()
    assert run(tmp_path, "--own-design") == 1
    assert "is there already, and was left as it is" in capsys.readouterr().err
    assert "Bravo" in copy.read_text("utf-8")


def test_a_bad_design_is_refused_by_its_key_and_nothing_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    challenge_folder(tmp_path)
    run(tmp_path, "--own-design")
    copy = tmp_path / "my-fanfare.toml"
    copy.write_text(copy.read_text("utf-8").replace("heading = 50.0", "heading = 5"), encoding="utf-8")
    add(tmp_path, '[prizes]\ncertificate = "my-fanfare.toml"\n')
    capsys.readouterr()
    assert run(tmp_path) == 1
    assert "sizes.heading must be at least 20, not 5" in capsys.readouterr().err
    assert not (tmp_path / "awards.csv").exists()


def test_a_folder_without_a_ledger_is_refused_in_plain_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    challenge_folder(tmp_path)
    (tmp_path / "ledger.sqlite").unlink()
    assert run(tmp_path) == 1
    assert "`daybox charts`" in capsys.readouterr().err
    assert not (tmp_path / "awards.csv").exists()
