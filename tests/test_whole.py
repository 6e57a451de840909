"""A whole chart looked at again: what is held is shown, what is typed changes it, and the reason is kept."""

import csv
from collections.abc import Iterator
from pathlib import Path

import pytest
from books import challenge_folder
from questions import crop_saying

from ingest.check.book import State
from ingest.check.bookkeeper import Bookkeeper
from ingest.cli import main
from ingest.ledger.store import Ledger
from ingest.plan.challenge import load_challenge
from ingest.review.ahead import CropsAhead, Cutter
from ingest.review.lines import ask_in_lines
from ingest.review.prompt import Prompt
from ingest.review.whole import WholeChart
from ingest.review.wording import WHOLE, closing_whole

UNSURE = "day:2027-10-05"
pytestmark = pytest.mark.usefixtures("usual_threshold")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    challenge_folder(tmp_path / "october", unsure=UNSURE)
    return tmp_path / "october"


@pytest.fixture
def ledger(folder: Path) -> Iterator[Ledger]:
    with Ledger.open(folder) as opened:
        yield opened


@pytest.fixture
def keeper(ledger: Ledger, folder: Path) -> Bookkeeper:
    return Bookkeeper(ledger, load_challenge(folder), "Slip: it was 45")


class _Crops:
    """Pictures without a ledger."""

    def __enter__(self) -> Cutter:
        return lambda question: crop_saying(question.box.rpartition("-")[2])

    def __exit__(self, *_: object) -> None:
        pass


def typed(keeper: Bookkeeper, folder: Path, *lines: str) -> tuple[WholeChart, str]:
    """What is said when these lines are typed, and then the end of input."""
    said: list[str] = []
    keys = iter(lines)

    def read(label: str) -> str:
        said.append(label)
        try:
            return next(keys)
        except StopIteration:
            raise EOFError from None

    chart = WholeChart(keeper, "S1")
    clock = iter(range(10_000))
    with CropsAhead(_Crops()) as crops:
        prompt = Prompt(chart, load_challenge(folder), crops, clock=lambda: float(next(clock)), task=WHOLE)
        ask_in_lines(prompt, lambda _: "", read, said.append)
    return chart, "\n".join(said)


def test_every_box_of_the_student_is_asked_about_in_chart_order(keeper: Bookkeeper) -> None:
    boxes = [each.box for each in WholeChart(keeper, "S1").book.questions]
    assert boxes[:31] == [f"day:2027-10-{day:02}" for day in range(1, 32)]
    assert boxes[31:] == [*(f"week:{n}" for n in range(1, 7)), "month"]


def test_enter_keeps_what_is_held_and_writes_nothing(
    keeper: Bookkeeper, ledger: Ledger, folder: Path
) -> None:
    chart, said = typed(keeper, folder, "", "")
    assert "Minutes (Enter: 20 minutes): " in said
    assert "Held as 20, as Daybox read it." in said
    assert "Kept: Ana Marsh, Friday 1 October: 20 minutes." in said
    assert (ledger.answers(), chart.changed) == ((), 0)
    assert next(each.box for each in chart.book.questions) == "day:2027-10-03"
    assert closing_whole("Ana", chart.changed, "Slip", 1) == "Nothing changed on Ana's chart."


def test_a_number_typed_changes_the_box_and_is_kept_with_what_was_before_and_why(
    keeper: Bookkeeper, ledger: Ledger, folder: Path
) -> None:
    chart, said = typed(keeper, folder, "", "45")
    assert "Saved: Ana Marsh, Saturday 2 October: 45 minutes." in said
    (kept,) = ledger.answers()
    assert (kept.box, kept.before, kept.answer) == ("day:2027-10-02", "20", "45")
    assert kept.reason == "Slip: it was 45"
    assert kept.why == "Held as 20, as Daybox read it."
    assert chart.changed == 1
    box = keeper.book.sheets[0].boxes["day:2027-10-02"]
    assert (box.state, box.value) == (State.ANSWERED, 45)


def test_the_number_that_is_held_typed_again_changes_nothing(
    keeper: Bookkeeper, ledger: Ledger, folder: Path
) -> None:
    typed(keeper, folder, "20")
    assert ledger.answers() == ()


def test_an_open_box_offers_nothing_to_wave_through(keeper: Bookkeeper, ledger: Ledger, folder: Path) -> None:
    _, said = typed(keeper, folder, "", "", "", "", "", "")
    assert "Type the number that is written" in said
    assert ledger.answers() == ()


def test_undo_takes_back_a_change_and_a_box_that_was_only_kept(
    keeper: Bookkeeper, ledger: Ledger, folder: Path
) -> None:
    chart, said = typed(keeper, folder, "45", "", "u", "u")
    assert "Taken back: Ana Marsh, Saturday 2 October." in said
    assert "Taken back: Ana Marsh, Friday 1 October." in said
    assert [answer.answer for answer in ledger.answers()] == ["45", ""]
    assert chart.changed == 0
    assert chart.book.questions[0].box == "day:2027-10-01"
    box = keeper.book.sheets[0].boxes["day:2027-10-01"]
    assert (box.state, box.value) == (State.READ, 20)


def corrected(folder: Path, sheet: Path, **answers: str) -> None:
    """Fill the sheet: `d02="45"`."""
    with sheet.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        row["answer"] = answers.get(f"d{row['box'][-2:]}", "") if row["box"].startswith("day") else ""
    with sheet.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)


def test_as_a_spreadsheet_it_corrects_what_the_prompt_said(
    folder: Path, ledger: Ledger, keeper: Bookkeeper, capsys: pytest.CaptureFixture[str]
) -> None:
    typed(keeper, folder, "45")
    sheet = folder / "chart.csv"
    whole = ["review", "--folder", str(folder), "--student", "S1", "--all"]
    assert main([*whole, "--sheet", str(sheet)]) == 0
    assert "38 boxes of Ana Marsh" in capsys.readouterr().out
    corrected(folder, sheet, d01="50", d02="20")
    assert main([*whole, "--reason", "Two slips", "--answers", str(sheet)]) == 0
    assert 'Changed 1 box on Ana Marsh\'s chart, with the reason "Two slips"' in capsys.readouterr().out
    kept = ledger.answers()[-1]
    assert (kept.answer, kept.before, kept.reason, kept.by) == ("50", "45", "Two slips", "sheet")
    assert main([*whole, "--reason", "Two slips", "--answers", str(sheet)]) == 0  # once more changes nothing
    assert ledger.answers()[-1] == kept


def test_a_plain_sheet_still_may_not_contradict_the_prompt(
    folder: Path, keeper: Bookkeeper, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = folder / "chart.csv"
    main(["review", "--folder", str(folder), "--student", "S1", "--all", "--sheet", str(sheet)])
    typed(keeper, folder, "45")
    corrected(folder, sheet, d01="50")
    assert main(["review", "--folder", str(folder), "--answers", str(sheet)]) == 1
    assert '"45" was answered' in capsys.readouterr().err


def test_a_question_that_the_new_sums_raise_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The week's box, read for sure, no longer agrees with its days."""
    challenge_folder(tmp_path / "sums")
    sheet = tmp_path / "fix.csv"
    sheet.write_text("student_id,box,answer\nS1,day:2027-10-05,36\n", encoding="utf-8")
    words = ["--student", "S1", "--all", "--reason", "Slip", "--answers", str(sheet)]
    assert main(["review", "--folder", str(tmp_path / "sums"), *words]) == 0
    told = capsys.readouterr().out
    assert "1 question about it is open, perhaps because the sums changed: `daybox review` asks." in told
    sheet.write_text("student_id,box,answer\nS1,week:2,140\n", encoding="utf-8")
    assert main(["review", "--folder", str(tmp_path / "sums"), *words]) == 0
    assert "`daybox grades` writes the gradebook anew" in capsys.readouterr().out


def test_the_corrected_box_is_answered_in_the_readings(folder: Path, keeper: Bookkeeper) -> None:
    typed(keeper, folder, "45")
    assert main(["readings", "--folder", str(folder)]) == 0
    with (folder / "readings.csv").open(encoding="utf-8", newline="") as file:
        rows = {row["box"]: row for row in csv.DictReader(file)}
    assert rows["day:2027-10-01"]["value"] == "45"
    assert rows["day:2027-10-01"]["state"] == "answered"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--all"], "go together"),
        (["--student", "S1"], "go together"),
        (["--student", "S1", "--all", "--spot-check"], "either --all or --spot-check"),
        (["--student", "S1", "--all", "--reason", "  "], "1 to 300 letters"),
        (["--student", "S1", "--all", "--reason", "x" * 301], "1 to 300 letters"),
    ],
)
def test_what_makes_no_sense_is_wrong_usage(
    folder: Path, words: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["review", "--folder", str(folder), *words]) == 2
    assert told in capsys.readouterr().err


def test_nobody_and_nothing_handed_in_are_said_plainly(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["review", "--folder", str(folder), "--student", "S9", "--all"]) == 1
    assert 'no student id "S9"' in capsys.readouterr().err
    assert main(["review", "--folder", str(folder), "--student", "S2", "--all"]) == 0
    assert "No chart of Ben Okoro counts so far" in capsys.readouterr().out
