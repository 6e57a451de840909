"""`daybox missing`: who has nothing usable in, why, and the words to remind them."""

import csv
import io
import re
from datetime import date
from pathlib import Path

import pytest
from books import challenge_folder, month_of, october, sheet, student
from rich.console import Console

from ingest import cli
from ingest.chart.design import load_design
from ingest.check.book import Book
from ingest.check.fate import Fate, Outcome, What
from ingest.plan.roster import Student
from ingest.report.missing import Lack, Missing, missing, missing_csv, missing_table
from ingest.report.reminder import reminder_to_all, reminder_to_one

PLAN = october(hand_in={"due": "2027-11-01"})
SPANISH = PLAN.model_copy(update={"language": "es"})
DESIGN = load_design("minutes", Path())
BEFORE, AFTER = date(2027, 11, 1), date(2027, 11, 2)


def a_fate(
    what: What, outcome: Outcome, student_id: str = "", named: str = "", path: str = "a/1.jpg"
) -> Fate:
    return Fate(path, 1, 1, 1, student_id, named, what, outcome, "Because.")


def absent(*fates: Fate) -> Missing:
    (found,) = missing(Book((sheet(student("S1"), [], pages=()),), ()), fates)
    return found


@pytest.mark.parametrize(
    ("what", "outcome", "lack"),
    [
        (What.NONE, Outcome.UNREAD, Lack.UNREAD),
        (What.CLOSED, Outcome.UNREAD, Lack.UNREAD),
        (What.NOT_YET, Outcome.WAITING, Lack.UNREAD),
        (What.OTHER, Outcome.ASIDE, Lack.OTHER),
        (What.BLANK, Outcome.ASIDE, Lack.BLANK),
        (What.BLANK, Outcome.ASKED, Lack.ASKED),
        (What.SPARE, Outcome.ASKED, Lack.ASKED),
        (What.UNKNOWN, Outcome.ASIDE, Lack.ASIDE),
        (What.COPY, Outcome.ASIDE, Lack.ASIDE),
    ],
)
def test_who_handed_in_something_is_told_from_who_handed_in_nothing(
    what: What, outcome: Outcome, lack: Lack
) -> None:
    assert absent(a_fate(what, outcome, named="S1")).lack is lack
    assert absent(a_fate(what, outcome, named="S2")).lack is Lack.NOTHING


def test_what_waits_for_an_answer_outweighs_all_else() -> None:
    cat, asked = a_fate(What.NONE, Outcome.UNREAD, named="S1"), a_fate(What.CHART, Outcome.ASKED, "S1")
    assert absent(cat, asked).lack is Lack.ASKED
    assert len(absent(cat, asked).fates) == 2


def test_who_has_something_usable_in_is_not_missing() -> None:
    there = sheet(student("S1"), month_of(PLAN, 20))
    assert missing(Book((there,), ()), [a_fate(What.NONE, Outcome.UNREAD, named="S1")]) == ()


def shown(found: tuple[Missing, ...], of: tuple[Student, ...]) -> list[str]:
    text = io.StringIO()
    Console(file=text, width=80, no_color=True).print(missing_table(found, of))
    return [line.rstrip() for line in text.getvalue().splitlines()]


def test_the_list_goes_by_section_and_says_why() -> None:
    roster = (student("S1"), student("S2", "Horns"), student("S3", "Horns"), student("S4", "[b]Drums"))
    book = Book(
        (sheet(roster[0], month_of(PLAN, 20)), *(sheet(each, [], pages=()) for each in roster[1:])), ()
    )
    found = missing(book, [a_fate(What.NONE, Outcome.UNREAD, named="S3", path="b/cat.jpg")])
    lines = shown(found, roster)
    assert lines[0] == "3 of 4 students have nothing usable in yet"
    assert "Horns: 2 of 2" in lines
    assert "[b]Drums: 1 of 1" in lines
    assert not any(line.startswith("Flutes") for line in lines)
    assert [" ".join(line.split()) for line in lines if line.startswith("  ")] == [
        "FirstS2 LastS2 nothing handed in",
        "FirstS3 LastS3 cat.jpg could not be read as a chart",
        "FirstS4 LastS4 nothing handed in",
    ]
    assert shown((), roster) == ["Something usable has come in of everybody."]


def test_the_csv_is_for_a_mail_merge() -> None:
    who = student("S1", email="ana@example.org")
    found = Missing(who, Lack.UNREAD, [a_fate(What.NONE, Outcome.UNREAD, named="S1")])
    (row,) = csv.DictReader(io.StringIO(missing_csv([found], {"S1": "Hello\nyou"}).decode()))
    assert row == {
        "student_id": "S1",
        "first_name": "FirstS1",
        "last_name": "LastS1",
        "section": "Flutes",
        "email": "ana@example.org",
        "state": "could not be read",
        "why": "a/1.jpg: Because.",
        "reminder": "Hello\nyou",
    }
    assert "email" not in missing_csv([Missing(student("S2"), Lack.NOTHING, [])], {}).decode()


# -- the words ----------------------------------------------------------------------------------------


def test_the_text_for_all_has_the_date_and_how_to_hand_in_and_no_name() -> None:
    assert reminder_to_all(PLAN, DESIGN, BEFORE) == (
        "Is your practice chart for October not in yet?\n"
        "Please hand it in by Monday, November 1.\n"
        "\n"
        "Lay the chart flat in good light.\n"
        "Take one photo with the whole page and all eight black squares in it.\n"
        "\n"
        "Did you lose your chart? Ask me for a new one.\n"
        "Thank you!"
    )
    assert "were due on Monday, November 1." in reminder_to_all(PLAN, DESIGN, AFTER)


def test_the_text_is_in_the_challenges_language() -> None:
    text = reminder_to_all(SPANISH, DESIGN, BEFORE)
    assert "hoja de práctica de octubre" in text
    assert "a más tardar el lunes 1 de noviembre." in text
    assert "con los ocho cuadros negros." in text
    assert "era el lunes 1 de noviembre" in reminder_to_all(SPANISH, DESIGN, AFTER)
    mexican = PLAN.model_copy(update={"language": "es-MX"})
    assert reminder_to_all(mexican, DESIGN, BEFORE) == text


@pytest.mark.parametrize("plan", [PLAN, SPANISH], ids=["en", "es"])
@pytest.mark.parametrize("today", [BEFORE, AFTER])
@pytest.mark.parametrize("lack", [lack for lack in Lack if lack is not Lack.ASKED])
def test_every_text_is_complete_and_names_only_the_child(plan: object, today: date, lack: Lack) -> None:
    assert plan in (PLAN, SPANISH)
    text = reminder_to_one("Zo{ë}", lack, PLAN if plan is PLAN else SPANISH, DESIGN, today)
    assert text.count("Zo{ë}") == 1
    assert not re.search(r"[{}]", text.replace("Zo{ë}", ""))
    assert re.search(r"November 1|1 de noviembre", text)
    assert max(map(len, text.splitlines())) <= 84


def test_each_lack_is_told_in_its_own_words() -> None:
    said = {lack: reminder_to_one("Ana", lack, PLAN, DESIGN, BEFORE) for lack in Lack}
    assert said[Lack.ASKED] == ""  # the teacher has to look first
    assert len(set(said.values())) == len(Lack)
    assert "no practice chart can be read in it" in said[Lack.UNREAD]
    assert "do not have" in said[Lack.NOTHING]


def test_without_a_due_date_none_is_named() -> None:
    whenever = PLAN.model_copy(update={"hand_in": PLAN.hand_in.model_copy(update={"due": None})})
    for text in (
        reminder_to_all(whenever, DESIGN, BEFORE),
        reminder_to_one("Ana", Lack.NOTHING, whenever, DESIGN, BEFORE),
    ):
        assert "as soon as you can" in text
        assert "due on" not in text


# -- the command --------------------------------------------------------------------------------------


def run(folder: Path, *words: str) -> int:
    return cli.main(["missing", "--folder", str(folder), *words])


def test_the_command_shows_the_list_and_the_texts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "october"
    challenge_folder(folder)
    assert run(folder) == 0
    said = capsys.readouterr().out
    assert "1 of 2 students has nothing usable in yet" in said
    assert re.search(r"Ben Okoro +nothing handed in", said)
    reminder = said.partition("it names nobody")[2]
    assert "Ben" not in reminder
    assert "Ana" not in said
    assert run(folder, "--each") == 0
    assert "Hello Ben," in capsys.readouterr().out


def test_the_command_writes_a_text_for_each(tmp_path: Path) -> None:
    folder, out = tmp_path / "october", tmp_path / "missing.csv"
    challenge_folder(folder)
    assert run(folder, "--out", str(out)) == 0
    (row,) = csv.DictReader(io.StringIO(out.read_text(encoding="utf-8")))
    assert (row["student_id"], row["state"]) == ("S2", "nothing handed in")
    assert row["reminder"].startswith("Hello Ben,\n")


def test_a_section_that_is_not_there_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "october"
    challenge_folder(folder)
    assert run(folder, "--section", "Flute") == 1
    assert 'Did you mean "Flutes"?' in capsys.readouterr().err
