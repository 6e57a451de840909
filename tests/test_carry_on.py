"""The next month from the last one: roster, settings and wording as they were, dates left to the teacher."""

import shutil
from datetime import date
from pathlib import Path

import pytest

from ingest.cli import main
from ingest.plan.challenge import load_challenge
from ingest.plan.month import Month
from ingest.shipped import templates

PLAN = """\
title = "Practice in October"
month = "2027-10"
design = "my-minutes.toml"
paper = "a4"
language = "en"
[days]
required = ["mon", "tue", "thu"]
no_school = ["2027-10-11", "2027-10-12"]
minimum_minutes = 20
week_starts = "mon"
[counting]
most_per_day = 200
counts_per_day = 60
[expectation]
required_days_allowed_short = 2
[prizes]
top = 3
across = "section"
certificate = "my-fanfare.toml"
[hand_in]
due = "2027-11-05"
late = "flag"
[grade]
points = 7.5
rule = "share"
[reading]
silent_errors = "1 in 5000"
[[mentions]]
kind = "longest-streak"
title = "Steady as a drum"
[[mentions]]
kind = "first-to-hand-in"
"""
ROSTER = "id;name;class;locker\r\n1;Ana Marsh;Flutes;12\r\n2;Zoë Łuk;Oboes;\r\n".encode()


@pytest.fixture
def october(tmp_path: Path) -> Path:
    folder = tmp_path / "october"
    folder.mkdir()
    (folder / "challenge.toml").write_text(PLAN, encoding="utf-8")
    (folder / "roster.csv").write_bytes(ROSTER)
    text = (templates() / "minutes.toml").read_text(encoding="utf-8")
    (folder / "my-minutes.toml").write_text("# mine\n" + text, encoding="utf-8")
    shutil.copy(templates() / "certificates" / "fanfare.toml", folder / "my-fanfare.toml")
    return folder


def new(where: Path, *words: object) -> int:
    return main(["new", str(where), *map(str, words)])


def test_everything_but_the_dates_is_carried_over(october: Path) -> None:
    november = october.parent / "november"
    assert new(november, "--from", october) == 0
    before, after = load_challenge(october), load_challenge(november)
    assert (after.month, after.title) == (Month(2027, 11), "Practice in November")
    assert (after.days.no_school, after.hand_in.due) == (frozenset(), date(2027, 12, 1))
    as_before = {
        "title": before.title,
        "month": before.month,
        "days": before.days,
        "hand_in": before.hand_in,
    }
    assert after.model_copy(update=as_before) == before
    assert after.days.model_copy(update={"no_school": before.days.no_school}) == before.days
    assert after.hand_in.late == before.hand_in.late
    assert (november / "roster.csv").read_bytes() == ROSTER
    for design in ("my-minutes.toml", "my-fanfare.toml"):
        assert (november / design).read_bytes() == (october / design).read_bytes()
    assert {path.name for path in november.iterdir()} == {
        "challenge.toml", "roster.csv", "my-minutes.toml", "my-fanfare.toml"
    }  # fmt: skip


def test_the_old_dates_stand_there_as_comments(october: Path) -> None:
    november = october.parent / "november"
    new(november, "--from", october)
    text = (november / "challenge.toml").read_text(encoding="utf-8")
    assert 'no_school = []\n# In 2027-10 it was ["2027-10-11", "2027-10-12"].\n' in text
    assert 'due = "2027-12-01"\n# In 2027-10 it was "2027-11-05".\n' in text


def test_where_nothing_was_special_there_are_no_such_comments(tmp_path: Path) -> None:
    assert new(tmp_path / "a", "--month", "2027-12") == 0
    with (tmp_path / "a" / "roster.csv").open("a") as file:
        file.write("1,Ana,Marsh,Flutes,,,\n")
    assert new(tmp_path / "b", "--from", tmp_path / "a") == 0
    assert "it was [" not in (tmp_path / "b" / "challenge.toml").read_text(encoding="utf-8")
    after = load_challenge(tmp_path / "b")
    assert (after.month, after.title) == (Month(2028, 1), "January practice challenge")


def test_charts_of_the_next_month_can_be_printed_at_once(october: Path) -> None:
    november = october.parent / "november"
    new(november, "--from", october)
    assert main(["charts", "--folder", str(november)]) == 0


@pytest.mark.parametrize(
    ("old", "month", "language", "title"),
    [
        ("October practice challenge", "2028-02", "en", "February practice challenge"),
        ("Reto de práctica de octubre", "2027-11", "es", "Reto de práctica de noviembre"),
        ("¡Octubre con música!", "2027-11", "es", "¡Noviembre con música!"),
        ("Band 2027-10", "2027-11", "en", "Band 2027-11"),
        ("Thirty days of scales", "2027-11", "en", "Thirty days of scales"),
    ],
)
def test_a_month_in_the_title_is_put_right(
    october: Path, old: str, month: str, language: str, title: str
) -> None:
    plan = PLAN.replace("Practice in October", old).replace('language = "en"', f'language = "{language}"')
    (october / "challenge.toml").write_text(plan, encoding="utf-8")
    assert new(october.parent / "next", "--from", october, "--month", month) == 0
    assert load_challenge(october.parent / "next").title == title


def test_what_is_said_goes_before_what_was(october: Path) -> None:
    words = ["--title", "Spring", "--design", "color-in", "--paper", "letter", "--month", "2028-03"]
    assert new(october.parent / "march", "--from", october, *words) == 0
    march = load_challenge(october.parent / "march")
    assert (march.title, march.design, march.paper, march.month) == (
        "Spring",
        "color-in",
        "letter",
        Month(2028, 3),
    )
    assert march.grade.rule == "share"
    assert not (october.parent / "march" / "my-minutes.toml").exists()


def test_a_design_that_lies_elsewhere_is_found_from_the_new_folder(october: Path, tmp_path: Path) -> None:
    (october / "my-minutes.toml").rename(tmp_path / "band.toml")
    plan = PLAN.replace("my-minutes.toml", "../band.toml")
    (october / "challenge.toml").write_text(plan, encoding="utf-8")
    assert new(tmp_path / "year" / "november", "--from", october) == 0
    assert load_challenge(tmp_path / "year" / "november").design == "../../band.toml"
    assert main(["charts", "--folder", str(tmp_path / "year" / "november")]) == 0


def test_a_design_that_is_gone_is_refused_before_anything_is_written(
    october: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (october / "my-fanfare.toml").unlink()
    assert new(october.parent / "november", "--from", october) == 1
    assert "my-fanfare.toml" in capsys.readouterr().err
    assert not (october.parent / "november").exists()


def test_a_roster_that_cannot_be_used_is_refused_before_anything_is_written(october: Path) -> None:
    (october / "roster.csv").write_text("id;name\n1;Ana\n", encoding="utf-8")
    assert new(october.parent / "november", "--from", october) == 1
    assert not (october.parent / "november").exists()


def test_into_the_same_folder_nothing_is_written(october: Path) -> None:
    assert new(october, "--from", october) == 1
    assert (october / "challenge.toml").read_text(encoding="utf-8") == PLAN


def test_a_month_whose_names_are_gone_gives_its_settings_and_an_empty_roster(
    october: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["charts", "--folder", str(october)])
    main(["forget", "--folder", str(october), "--names", "--yes"])
    assert new(october.parent / "a", "--from", october) == 0
    main(["forget", "--folder", str(october), "--everything", "--yes"])
    assert new(october.parent / "b", "--from", october) == 0
    said = capsys.readouterr().out
    assert "names of" in said
    assert "no roster any more" in said
    for name in ("a", "b"):
        text = (october.parent / name / "roster.csv").read_text(encoding="utf-8-sig")
        assert text.count("\n") == 1
        assert load_challenge(october.parent / name).days.minimum_minutes == 20


def test_the_last_month_is_only_read(october: Path) -> None:
    main(["charts", "--folder", str(october)])
    before = {path: path.read_bytes() for path in october.iterdir()}
    new(october.parent / "november", "--from", october)
    assert before == {path: path.read_bytes() for path in october.iterdir()}


def test_a_new_roster_may_come_with_the_old_settings(october: Path, tmp_path: Path) -> None:
    (tmp_path / "list.csv").write_text("id,name,class\n9,New Child,Flutes\n", encoding="utf-8")
    assert new(tmp_path / "november", "--from", october, "--roster", tmp_path / "list.csv") == 0
    assert b"New Child" in (tmp_path / "november" / "roster.csv").read_bytes()
