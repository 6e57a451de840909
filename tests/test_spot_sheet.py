"""A spot check as a spreadsheet, and as a command."""

import csv
import os
import re
import signal
from collections.abc import Callable
from pathlib import Path

import pytest
from books import challenge_folder
from test_review_command import Terminal

from ingest.cli import main
from ingest.ledger.spots import spot_answers, spot_checks
from ingest.ledger.store import Ledger


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Ana has 20 minutes every day and the totals that follow: 38 boxes, all accepted."""
    challenge_folder(tmp_path / "october")
    return tmp_path / "october"


def review(folder: Path, *words: str) -> int:
    return main(["review", "--folder", str(folder), *words])


def fill(path: Path, answer: Callable[[dict[str, str]], str]) -> None:
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows({**row, "answer": answer(row)} for row in rows)


def as_written(row: dict[str, str]) -> str:
    """What Ana wrote in a box: October 2027 begins on a Friday, weeks on Sundays."""
    kind, _, which = row["box"].partition(":")
    if kind == "week":
        return str(20 * {1: 2, 2: 7, 3: 7, 4: 7, 5: 7, 6: 1}[int(which)])
    return "620" if kind == "month" else "20"


def answers(folder: Path) -> list[str]:
    with Ledger.open(folder) as ledger:
        return [each.answer for each in spot_answers(ledger)]


def said(capsys: pytest.CaptureFixture[str]) -> str:
    taken = capsys.readouterr()
    return " ".join((taken.out + taken.err).split())


def test_the_sheet_tells_nothing_of_the_readings_and_comes_back_as_a_result(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = folder / "spot.csv"
    assert review(folder, "--spot-check", "10", "--sheet", str(sheet)) == 0
    told = said(capsys)
    assert "10 of 38 boxes, drawn at random" in told
    assert f"--spot-check --answers {sheet}" in told
    with sheet.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 10
    assert {row["suggestion"] for row in rows} == {""}
    assert not any(re.search(r"\b20\b", row["why"]) for row in rows)
    fill(sheet, as_written)
    assert review(folder, "--spot-check", "--answers", str(sheet)) == 0
    assert "10 of 38 boxes looked at, none misread. So at most 1 in 3 of all 38 is wrong" in said(capsys)
    assert review(folder, "--spot-check", "--answers", str(sheet)) == 0
    assert "Rows that say what is known already: 10." in said(capsys)
    assert len(answers(folder)) == 10


def test_what_differs_in_the_sheet_is_asked_in_the_next_review(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = folder / "spot.csv"
    review(folder, "--spot-check", "5", "--sheet", str(sheet))
    fill(sheet, lambda row: "7")
    assert review(folder, "--spot-check", "--answers", str(sheet)) == 0
    assert "In 5 you and Daybox differ" in said(capsys)
    assert main(["status", "--folder", str(folder)]) == 0
    told = said(capsys)
    assert "To review: 5 boxes on 1 chart" in told
    assert "Spot check of" in told
    assert review(folder, "--sheet", str(folder / "review.csv")) == 0
    with (folder / "review.csv").open(encoding="utf-8-sig", newline="") as file:
        assert all("in the spot check you typed 7" in row["why"] for row in csv.DictReader(file))


def test_a_spot_checks_sheet_is_not_taken_for_answers_of_a_review(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = folder / "spot.csv"
    review(folder, "--spot-check", "3", "--sheet", str(sheet))
    fill(sheet, lambda row: "7")
    assert review(folder, "--answers", str(sheet)) == 1
    assert "is of a spot check" in said(capsys)
    with Ledger.open(folder) as ledger:
        assert ledger.answers() == ()


def test_a_sheet_of_an_earlier_spot_check_is_refused_whole(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    early = folder / "early.csv"
    review(folder, "--spot-check", "37", "--sheet", str(early))
    review(folder, "--spot-check", "38", "--sheet", str(folder / "late.csv"))
    fill(early, as_written)
    assert review(folder, "--spot-check", "--answers", str(early)) == 1
    assert "was not drawn for the last spot check" in said(capsys)
    assert answers(folder) == []


def test_a_bad_row_is_named_and_nothing_is_taken(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet = folder / "spot.csv"
    review(folder, "--spot-check", "3", "--sheet", str(sheet))
    fill(sheet, lambda row: "twenty")
    assert review(folder, "--spot-check", "--answers", str(sheet)) == 1
    assert 'line 2: "twenty" is neither a number of minutes nor "blank"' in said(capsys)
    assert answers(folder) == []


def test_typing_that_was_not_taken_yet_is_not_written_over(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = folder / "spot.csv"
    review(folder, "--spot-check", "3", "--sheet", str(sheet))
    fill(sheet, as_written)
    assert review(folder, "--spot-check", "3", "--sheet", str(sheet)) == 1
    assert "--spot-check --answers spot.csv" in said(capsys)


def test_answers_before_any_spot_check_are_refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "spot.csv").write_text("student_id,box,answer\nS1,month,620\n", encoding="utf-8")
    assert review(folder, "--spot-check", "--answers", str(folder / "spot.csv")) == 1
    assert "No spot check was begun" in said(capsys)


def test_without_a_terminal_nothing_is_drawn(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert review(folder, "--spot-check") == 1
    assert "takes a terminal" in said(capsys)
    with Ledger.open(folder) as ledger:
        assert spot_checks(ledger) == ()


@pytest.mark.parametrize("number", ["-1", "some"])
def test_a_number_that_is_none_is_wrong_usage(folder: Path, number: str) -> None:
    assert review(folder, f"--spot-check={number}") == 2


# -- in a terminal --------------------------------------------------------------------------------------

pty = pytest.mark.skipif(os.name == "nt", reason="pseudo-terminals are for POSIX")


@pty
def test_a_killed_spot_check_goes_on_where_it_was(folder: Path) -> None:
    first = Terminal(folder, words=["--spot-check", "3"])
    try:
        first.wait_for("3 of 38 boxes, drawn at random")
        first.type("20\r")
        first.wait_for("Saved")
        first.process.send_signal(signal.SIGKILL)
        first.process.wait()
    finally:
        first.close()
    assert answers(folder) == ["20"]
    again = Terminal(folder, words=["--spot-check"])
    try:
        again.wait_for("Going on with the spot check")
        again.type("30\r")
        again.wait_for("Saved")
        again.type("q")
        again.wait_for("1 of the 3 drawn are left")
        assert again.process.wait(20) == 0
    finally:
        again.close()
    assert answers(folder) == ["20", "30"]


@pty
@pytest.mark.parametrize("environ", [{}, {"NO_COLOR": "1"}], ids=["screen", "lines"])
def test_what_differs_is_shown_again_with_both_numbers_and_settled(
    folder: Path, environ: dict[str, str]
) -> None:
    terminal = Terminal(folder, words=["--spot-check", "1"], **environ)
    try:
        terminal.wait_for("1 of 38 boxes, drawn at random")
        terminal.type("7\r")
        terminal.wait_for("That was the last box")
        seen = terminal.seen
        assert "differ" not in seen
        terminal.type("\r")
        terminal.wait_for("but in the spot check you typed 7.")
        terminal.wait_for("In 1 box you and Daybox differ.")
        terminal.type("7\r")
        terminal.wait_for("All that differed is settled.")
        terminal.type("\r")
        terminal.wait_for("1 misread")
        assert terminal.process.wait(20) == 0
    finally:
        terminal.close()
    with Ledger.open(folder) as ledger:
        (kept,) = ledger.answers()
        assert (kept.answer, kept.by) == ("7", "prompt")
        assert "but in the spot check you typed 7." in kept.why
