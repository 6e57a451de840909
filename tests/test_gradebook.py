import csv
import io
from pathlib import Path

import pandas as pd
import pytest
from books import answered, book, challenge_folder, flagged, month_of, october, page_question, sheet, student
from hypothesis import given
from hypothesis import strategies as st

from ingest import cli
from ingest.cells import harmless, to_csv, write_whole
from ingest.plan.roster import Student
from ingest.report.gradebook import gradebook, points_text

HEADER = (  # the contract, to the letter
    "student_id,first_name,last_name,section,handed_in,total_minutes,weekend_minutes,required_days,"
    "days_met,met,standing,points,open_flags"
)

pytestmark = pytest.mark.usefixtures("usual_threshold")


def rows(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode("utf-8"), newline=""), strict=True))


def test_the_header_is_the_contract_then_the_rosters_own_columns() -> None:
    who = [student("S1", email="a@b.example"), student("S2", locker="12", email="")]
    content = gradebook(book(*(sheet(each, [], pages=()) for each in who)), october())
    assert content.split(b"\r\n")[0].decode() == HEADER + ",email,locker"


def test_last_months_gradebook_as_a_roster_brings_no_second_column_of_a_name() -> None:
    content = gradebook(book(sheet(student("S1", points="9"), [], pages=())), october())
    (row,) = rows(content)
    assert (row["points"], row["roster_points"]) == ("", "9")


def test_one_row_a_student_in_roster_order_with_the_missing_ones_empty() -> None:
    plan = october()
    content = gradebook(
        book(
            sheet(student("S2"), month_of(plan, 15)),
            sheet(student("S9"), [], pages=()),
            sheet(student("S1"), month_of(plan, 20)),
        ),
        plan,
    )
    second, missing, first = rows(content)
    assert ",".join(second.values()) == "S2,FirstS2,LastS2,Flutes,yes,465,150,20,20,yes,2,10,0"
    assert ",".join(missing.values()) == "S9,FirstS9,LastS9,Flutes,no,,,,,,,,0"
    assert (first["student_id"], first["standing"]) == ("S1", "1")


def test_what_an_open_box_could_change_is_left_empty() -> None:
    plan = october()
    open_box = flagged("day:2027-10-04", 99)
    content = gradebook(
        book(sheet(student("S1"), month_of(plan, 15, d4=open_box)), sheet(student("S2"), month_of(plan, 16))),
        plan,
    )
    unsure, sure = rows(content)
    assert [unsure[name] for name in ("total_minutes", "days_met", "met", "standing", "points")] == [
        "450",  # settled so far, without the guess of 99
        "19",
        "",
        "",
        "",
    ]
    assert unsure["open_flags"] == "1"
    assert (sure["met"], sure["points"], sure["standing"]) == ("yes", "10", "")  # 496, against 450 to 690


def test_an_answer_settles_it() -> None:
    plan = october()
    settled = answered("day:2027-10-04", 14)
    (row,) = rows(gradebook(book(sheet(student("S1"), month_of(plan, 15, d4=settled))), plan))
    assert (row["total_minutes"], row["met"], row["points"], row["open_flags"]) == ("464", "no", "0", "0")


def test_a_page_that_may_be_anybodys_keeps_places_open_but_not_marks() -> None:
    plan = october()
    handed_in = sheet(student("S1"), month_of(plan, 15))
    (row,) = rows(gradebook(book(handed_in, questions=[page_question(8)]), plan))
    assert (row["met"], row["points"], row["standing"]) == ("yes", "10", "")


@pytest.mark.parametrize(
    ("points", "text"), [(10.0, "10"), (7.5, "7.5"), (6.67, "6.67"), (0.0, "0"), (100.0, "100")]
)
def test_points_without_needless_decimals(points: float, text: str) -> None:
    assert points_text(points) == text


# -- cells -----------------------------------------------------------------------------------------

# OWASP, "CSV Injection", revision of August 2025: its two worked examples, and the start characters
OWASP = [
    ('=1+2";=1+2', '"\'=1+2"";=1+2"'),
    ("=1+2'\" ;,=1+2", '"\'=1+2\'"" ;,=1+2"'),
]


@pytest.mark.parametrize(("text", "cell"), OWASP)
def test_owasps_examples_become_what_owasp_says(text: str, cell: str) -> None:
    assert to_csv(["a"], [[text]]) == f"a\r\n{cell}\r\n".encode()


@pytest.mark.parametrize(
    "text",
    [
        "=1+1", "+1+1", "-Anna", "@SUM(1)", "\t=1", "\r=1", "\n=1", "-2+3+cmd|' /C calc'!A0",
        " =1+1", "＝1+1", "＋1 555", "－1x", "＠SUM(1)", "-", "+",
    ],
)  # fmt: skip
def test_a_cell_that_would_run_is_made_harmless(text: str) -> None:
    assert harmless(text) == "'" + text


@pytest.mark.parametrize(
    "text",
    ["", "Anna", "O'Neil", "'quoted", "a=b", "Ana-Luz", "-5", "+3.5", "-0,5", "Zoë", "a;=1", "2027-10"],
)
def test_what_no_spreadsheet_runs_is_left_alone(text: str) -> None:
    assert harmless(text) == text


def test_numbers_of_ours_are_never_touched() -> None:
    assert to_csv(["a", "b"], [[-5, None]]) == b"a,b\r\n-5,\r\n"


def test_a_dash_before_a_name_is_harmless_in_the_gradebook_and_in_the_rosters_columns() -> None:
    who = Student("S1", "-Anna", '=HYPERLINK("http://x.example")', "@horns", {"note": "+1 now", "seat": "-3"})
    (row,) = rows(gradebook(book(sheet(who, [], pages=())), october()))
    assert row["first_name"] == "'-Anna"
    assert row["last_name"] == '\'=HYPERLINK("http://x.example")'
    assert (row["section"], row["note"], row["seat"]) == ("'@horns", "'+1 now", "-3")


def test_rfc_4180_lines_and_no_byte_order_mark() -> None:
    # RFC 4180, section 2, rules 1, 5, 6 and 7; the expected bytes are in no library's words
    content = to_csv(["aaa", "b", "c", "d", "e"], [["Zoë", 'b"bb', "c\r\nc", "d,d", ""]])
    assert content == 'aaa,b,c,d,e\r\nZoë,"b""bb","c\r\nc","d,d",\r\n'.encode()


names = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=12)


@given(st.lists(names, min_size=4, max_size=4), st.integers(-1440, 44640))
def test_the_whole_file_comes_back_through_csv_and_pandas(texts: list[str], number: int) -> None:
    content = to_csv(["a", "b", "c", "d", "n"], [[*texts, number]])
    expected = [*(harmless(text) for text in texts), str(number)]
    read_back = list(csv.reader(io.StringIO(content.decode("utf-8"), newline=""), strict=True))
    assert read_back[1] == expected
    if not any("\r" in text for text in texts):  # pandas' reader takes a quoted lone CR for a line's end
        frame = pd.read_csv(io.BytesIO(content), dtype=str, keep_default_na=False, na_filter=False)
        assert frame.iloc[0].tolist() == expected


def test_a_spreadsheets_numbers_stay_numbers() -> None:
    plan = october(grade={"rule": "share"})
    full = sheet(student("S1"), month_of(plan, 15))
    short = sheet(student("S2"), month_of(plan, 15, d4=answered("day:2027-10-04", 0)))
    frame = pd.read_csv(io.BytesIO(gradebook(book(full, short), plan)))
    assert frame["points"].tolist() == [10, 9.5]
    assert frame["total_minutes"].sum() == 465 + 450
    assert frame["standing"].tolist() == [1, 2]


# -- the file --------------------------------------------------------------------------------------


def test_a_file_is_replaced_whole_and_nothing_is_left_beside_it(tmp_path: Path) -> None:
    target = tmp_path / "gradebook.csv"
    target.write_bytes(b"old")
    write_whole(target, b"new")
    assert target.read_bytes() == b"new"
    assert [each.name for each in tmp_path.iterdir()] == ["gradebook.csv"]


def test_a_write_that_fails_leaves_the_old_file_and_no_scrap(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def held_open(*_: object) -> None:
        raise PermissionError(13, "held open by another program")

    target = tmp_path / "gradebook.csv"
    target.write_bytes(b"old")
    monkeypatch.setattr("os.replace", held_open)
    with pytest.raises(PermissionError):
        write_whole(target, b"new")
    assert target.read_bytes() == b"old"
    assert [each.name for each in tmp_path.iterdir()] == ["gradebook.csv"]


# -- the command -----------------------------------------------------------------------------------


def test_the_command_writes_into_the_challenges_folder(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "oct"
    challenge_folder(folder)
    assert cli.main(["grades", "--folder", str(folder)]) == 0
    said = capsys.readouterr().out
    assert f"Wrote {folder / 'gradebook.csv'}: 1 of 2 students handed in.\n" in said
    assert "Open flags" not in said
    ana, ben = rows((folder / "gradebook.csv").read_bytes())
    assert ",".join(ana.values()) == "S1,Ana,Marsh,Flutes,yes,620,200,20,20,yes,1,10,0,12"
    assert ",".join(ben.values()) == "S2,Ben,Okoro,Flutes,no,,,,,,,,0,13"


def test_the_command_goes_by_the_roster_as_it_stands_now(tmp_path: Path) -> None:
    challenge_folder(tmp_path)
    with (tmp_path / "roster.csv").open("a", encoding="utf-8") as roster:
        roster.write("S3,Cleo,Lind,Horns,14\n")
    out = tmp_path / "elsewhere.csv"
    assert cli.main(["grades", "--folder", str(tmp_path), "--out", str(out)]) == 0
    assert [row["student_id"] for row in rows(out.read_bytes())] == ["S1", "S2", "S3"]


def test_the_command_says_that_open_flags_leave_figures_incomplete(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    challenge_folder(tmp_path, unsure="day:2027-10-04")
    assert cli.main(["grades", "--folder", str(tmp_path)]) == 0
    said = capsys.readouterr().out
    assert "Open flags: 1." in said
    assert "`daybox review`" in said
    ana = rows((tmp_path / "gradebook.csv").read_bytes())[0]
    assert (ana["total_minutes"], ana["met"], ana["open_flags"]) == ("600", "", "1")


def test_a_folder_without_a_ledger_is_refused_in_plain_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    challenge_folder(tmp_path)
    (tmp_path / "ledger.sqlite").unlink()
    assert cli.main(["grades", "--folder", str(tmp_path)]) == 1
    assert "`daybox charts`" in capsys.readouterr().err
    assert not (tmp_path / "gradebook.csv").exists()
    assert not (tmp_path / "ledger.sqlite").exists()
