"""A school's export with one column filled: byte for byte as it was elsewhere, and nobody mistaken."""

import csv
import io
import re
from pathlib import Path
from typing import Literal

import pandas as pd
import pytest
from books import book, challenge_folder, flagged, month_of, october, sheet
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.cli import main
from ingest.errors import DayboxError
from ingest.plan.roster import Student
from ingest.report.fill import Filled, fill
from ingest.tally.standing import standings
from ingest.tally.student import tallies

PLAN = october(grade={"points": 10, "rule": "share"})


def _student(student_id: str, first: str, last: str, section: str = "Flutes", mail: str = "") -> Student:
    return Student(student_id, first, last, section, {"email": mail})


ANA = _student("10021", "Ana", "Marsh", mail="ana@school.example")
BEN = _student("10022", "Ben", "Okoro", mail="ben@school.example")
CLEO = _student("10023", "Cleo", "O'Neill-Ruiz", mail="cleo@school.example")
DEE = _student("10024", "Dee", "Lee", "Oboes")  # has not handed in
EVA = _student("10025", "Eva", "Łuk", "Oboes", "eva@school.example")  # one box open

BOOK = book(
    sheet(ANA, month_of(PLAN, 20)),
    sheet(BEN, month_of(PLAN, 0)),
    # five of 20 required days are short
    sheet(CLEO, [box for box in month_of(PLAN, 20) if box.box[-2:] not in ("04", "05", "06", "07", "08")]),
    sheet(DEE, [], pages=()),
    sheet(EVA, month_of(PLAN, 20, d5=flagged("day:2027-10-05", 20))),
)
TALLIES = tallies(BOOK, PLAN)
PLACES = standings(TALLIES, PLAN)
POINTS = {"10021": "10", "10022": "0", "10023": "7.5"}  # who gets a mark


def filled(data: bytes, column: str = "Practice", figure: str = "points", is_new: bool = False) -> Filled:
    return fill(data, "export.csv", column, figure, TALLIES, PLACES, is_new)


# -- byte for byte ------------------------------------------------------------------------------------
# In each, [[id|before|after]] is the cell of a student: what stands there, and what must stand there then.

UTF8, MARKED, WIDE, WIDE_BE, WESTERN = "utf-8", "utf-8-sig", "utf-16", "utf-16-be", "cp1252"
EXPORTS = {
    "plain": (UTF8, "id,name,Practice\n10021,Ana Marsh,[[|10]]\n10022,Ben,[[3|0]]\n10023,Cleo,[[|7.5]]\n"),
    "no line end at the end": (UTF8, "id,Practice\n10021,[[|10]]\n10022,[[|0]]\n10023,[[|7.5]]"),
    "marked, CRLF, all in quotes": (
        MARKED,
        ('"ID","Student","Practice","Quiz"\r\n"10021","Marsh, Ana","[[|10]]","4"\r\n'
        '"10022","Okoro, Ben","[[1|0]]",""\r\n"10023","O\'Neill-Ruiz, Cleo","[[|7.5]]","4"\r\n'),
    ),
    "UTF-16 with tabs": (WIDE, "ID\tName\tPractice\r\n10021\tAna Marsh\t[[|10]]\r\n10022\tBen\t[[|0]]\r\n"),
    "UTF-16 without a mark": (WIDE_BE, "ID;Practice\r\n10021;[[|10]]\r\n10023;[[|7.5]]\r\n"),
    "western letters, semicolons, decimal comma": (
        WESTERN,
        ("Matrícula;Apellidos;Nombres;Sección;Prueba;Practice\r\n"
        "10021;Marsh;Ana;Flutes;7,25;[[|10]]\r\n10023;O'Neill-Ruiz;Cleo;Flutes;8;[[9|7,5]]\r\n"),
    ),
    "decimal comma between commas": (UTF8, 'id,Quiz,Practice\n10023,"7,25",[[|"7,5"]]\n10021,,[[|10]]\n'),
    "line ends of all kinds": (UTF8, "id,Practice\r\n10021,[[|10]]\n10022,[[|0]]\r\n\r\n10023,[[|7.5]]\r"),
    "old Mac line ends": (UTF8, "id,Practice\r10021,[[|10]]\r10022,[[|0]]\r"),
    "title rows above, possible points, averages below": (
        UTF8,
        ("Band, Period 2\nPractice\n\nStudent,ID,Practice,Practice (late)\n    Points Possible,,10,10\n"
        '"Marsh, Ana",10021,[[|10]],9\n"Okoro, Ben",10022,[[ 4 |0]],\nAverage,,8.25,\n\n"(2 students)"\n'),
    ),
    "the same heading twice elsewhere": (
        UTF8, "id,Quiz,Quiz,,,Practice,Quiz\n10021,1,2,,,[[|10]],3\n10022,1,2,,,[[x|0]],\n",
    ),
    "quoted line breaks and doubled quotes": (
        UTF8,
        ('Note,"Student ID","Practice"\n"late\nagain, ""sorry"" \r\n",10021,[[|10]]\n,"10022","[[n/a|0]]"\n'
        "6' 2\" tall,10023,[[|7.5]]\n"),
    ),
    "separator named in the first line": (UTF8, "sep=;\r\nid;Practice\r\n10021;[[|10]]\r\n"),
    "other separators where one is named": (
        UTF8, "sep=;\nwho;Quiz, old,Practice,x;Practice\n10021;1;[[|10]]\n10022;;[[|0]]\n",
    ),
    "numbers like ids in the column itself": (
        UTF8, "name,Practice\nAna Marsh,[[10022|10]]\nBen Okoro,[[10021|0]]\n",
    ),
    "rows that end early": (UTF8, "id,Practice,Sum\n10021[[|,10]]\n10022,[[|0]],\n"),
    "separators at the ends of rows": (UTF8, "id,Practice,\n10021,[[|10]],\n10022,[[|0]],\n"),
    "blanks around": (UTF8, " id , Practice \n 10021 ,[[ - |10]]\n10022 ,[[|0]]\n"),
    "vertical bars": (UTF8, "id|a,b|Practice\n10021|1,2|[[|10]]\n10022|1,2|[[|0]]\n"),
    "only e-mail": (UTF8, "Address,Practice\nANA@school.example,[[|10]]\nben@school.example,[[|0]]\n"),
    "only first and last names": (UTF8, "First Name,Surname,Practice\nAna,Marsh,[[|10]]\nBen,Okoro,[[|0]]\n"),
    "names in a column without a heading": (UTF8, ",Practice\nMarsh Ana,[[|10]]\n\"OKORO, ben\",[[|0]]\n"),
    "internal numbers beside the school's": (
        UTF8, "ID,Student,Number at school,Practice\n9,Ana Marsh,10021,[[|10]]\n8,Ben Okoro,10022,[[|0]]\n",
    ),
    "no row to fill": (UTF8, "id,Practice\n10024,\n10025,5\n"),
}  # fmt: skip


def _sides(template: str, encoding: str) -> tuple[bytes, bytes]:
    """The export as it comes and as it must become."""
    before, after, rest = "", "", template
    while "[[" in rest:
        plain, _, rest = rest.partition("[[")
        cell, _, rest = rest.partition("]]")
        old, _, new = cell.partition("|")
        before, after = before + plain + old, after + plain + new
    return (before + rest).encode(encoding), (after + rest).encode(encoding)


@pytest.mark.parametrize("name", EXPORTS)
def test_every_byte_outside_the_column_stays(name: str) -> None:
    encoding, template = EXPORTS[name]
    before, after = _sides(template, encoding)
    done = filled(before)
    assert done.content == after
    assert len(done.written) == template.count("[[")
    assert not done.doubts


Ends = Literal["\n", "\r\n", "\r"]


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
@pytest.mark.parametrize("encoding", [UTF8, MARKED, "utf-16"])
@pytest.mark.parametrize("quoting", [csv.QUOTE_ALL, csv.QUOTE_MINIMAL, csv.QUOTE_NONNUMERIC])
def test_what_pandas_wrote_is_what_pandas_would_write_with_the_marks(
    tmp_path: Path, ends: str, encoding: str, quoting: Literal[0, 1, 2]
) -> None:
    def written(marks: dict[str, str]) -> bytes:
        table = pd.DataFrame(
            {
                "Student": ["Points, possible", "Marsh, Ana", "Okoro, Ben", "Łuk, Eva", "Lee, Dee"],
                "Number": ["", "10021", "10022", "10025", "10024"],
                "Practice": ["10", *(marks.get(key, "") for key in ("10021", "10022")), "6", ""],
                "Remark": ['say "hi"', "a,b", "", "line\nbreak", "é"],
                "Share": [1.0, 0.5, 1 / 3, 0.0, 2e-7],
            }
        )
        path = tmp_path / "export.csv"
        table.to_csv(path, index=True, encoding=encoding, lineterminator=ends, quoting=quoting)
        return path.read_bytes()

    assert filled(written({})).content == written(POINTS)


# Not 5,5: beside a decimal comma marks are written with one, too, which has a test of its own.
CELLS = st.text(alphabet=st.sampled_from("ab,;\t\"' é5.\n"), max_size=6).filter(
    lambda text: not re.fullmatch(r"5+,5+", text.strip())
)


@settings(max_examples=150, deadline=None)
@given(
    rows=st.lists(st.tuples(CELLS, st.sampled_from(["10021", "10022", "10023", "10024"]), CELLS), max_size=4,
                  unique_by=lambda row: row[1]),
    title=st.lists(CELLS, max_size=4),
    place=st.integers(0, 3),
    separator=st.sampled_from(",;\t|"),
    ends=st.sampled_from(["\n", "\r\n"]),
    quoting=st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
)  # fmt: skip
def test_what_pythons_csv_wrote_is_what_it_would_write_with_the_marks(
    rows: list[tuple[str, str, str]], title: list[str], place: int, separator: str, ends: str,
    quoting: Literal[0, 1],
) -> None:  # fmt: skip
    def written(marks: dict[str, str]) -> bytes:
        text = io.StringIO(newline="")
        writer = csv.writer(text, delimiter=separator, lineterminator=ends, quoting=quoting)
        writer.writerow(title)
        for cells, mark in [
            (["note", "student id", "more"], "Practice"),
            *((list(row), marks.get(row[1], "")) for row in rows),
        ]:
            cells.insert(place, mark)
            writer.writerow(cells)
        return text.getvalue().encode()

    if not rows:
        with pytest.raises(DayboxError, match="no column has ids"):
            filled(written({}))
        return
    assert filled(written({})).content == written(POINTS)


# -- a new column -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("id,Quiz\n10021,4\n10022,\n", "id,Quiz,Practice\n10021,4,10\n10022,,0\n"),
        ('"id","Quiz"\r\n"10021","4"\r\n', '"id","Quiz","Practice"\r\n"10021","4","10"\r\n'),
        ("Band\n\nid,Quiz\nmost,10\n10021,4", "Band\n\nid,Quiz,Practice\nmost,10,\n10021,4,10"),
        ("id;Quiz\n10023;4,5\n", "id;Quiz;Practice\n10023;4,5;7,5\n"),
        ("id,Quiz,Sum\n10021\n10024\n", "id,Quiz,Sum,Practice\n10021,,,10\n10024\n"),
    ],
    ids=["plain", "all in quotes", "title rows", "semicolons", "rows that end early"],
)
def test_a_new_column_stands_at_the_right_end_and_all_else_stays(before: str, after: str) -> None:
    assert filled(before.encode(), is_new=True).content == after.encode()


def test_a_new_column_is_not_added_where_it_would_not_stand_below_its_heading() -> None:
    with pytest.raises(DayboxError, match="line 2 has 3 cells"):
        filled(b"id,Quiz\n10021,4,\n", is_new=True)


def test_a_new_heading_that_the_files_encoding_lacks_is_refused() -> None:
    with pytest.raises(DayboxError, match="lacks letters"):
        filled("id,Prüfung\n10021,4\n".encode("cp1252"), "Übung ♪", is_new=True)


def test_a_column_that_is_there_is_not_added_again() -> None:
    with pytest.raises(DayboxError, match="already"):
        filled(b"id,practice\n10021,\n", is_new=True)


# -- what is refused ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "what"),
    [
        (b"id,October practice,Quiz\n10021,,\n", r'no column "Practice"\. Did you mean "October practice"\?'),
        (b"id,Quiz,Essay\n10021,,\n", r'It has "id", "Quiz", "Essay"\. .*--add-column'),
        (b"id,Practice,practice,Practice\n10021,,,\n", r'2 columns "Practice"'),
        (b"id,practice,PRACTICE\n10021,,\n", r'2 columns "Practice"'),
        (b"", "empty"),
        (b"PK\x03\x04\x14\0\x06\0\x08\0\0\0\x80\xff\0", "no CSV text"),
        (b'id,Practice\n10021,"\n10022,5\n', "line 3 has a quotation mark that is never closed"),
        (b"who,Practice\nnobody,5\n", "no column has ids"),
    ],
)
def test_a_file_that_is_not_understood_is_refused(data: bytes, what: str) -> None:
    with pytest.raises(DayboxError, match=what):
        filled(data)


# -- whose row is it? ---------------------------------------------------------------------------------


def doubts(text: str) -> list[tuple[int, str]]:
    done = filled(text.encode())
    assert not {cell.line for cell in done.written} & {doubt.line for doubt in done.doubts}
    return [(doubt.line, doubt.why) for doubt in done.doubts]


@pytest.mark.parametrize(
    ("rows", "line", "why"),
    [
        ("10021,Ben Okoro,,\n", 2, 'the id is Ana Marsh\'s, but the name says "Ben Okoro"'),
        ("10021,Xenia Quill,,\n", 2, "but the name says"),
        ("10021,,ben@school.example,\n", 2, "the id is Ana Marsh's, but the e-mail address Ben Okoro's"),
        ("99999,Ana Marsh,,\n10022,,,\n", 2, 'the name is Ana Marsh\'s, but the id "99999" is not'),
        ("99999,,ana@school.example,\n10022,,,\n", 2, "the e-mail is Ana Marsh's, but the id"),
        (",Anna Marsh,,\n10022,,,\n", 2, "perhaps Ana Marsh"),
        ("10021,,,\n10021,,,\n", 3, "the same student stands on lines 2 and 3"),
        ('10021,,,\n,"Marsh, Ana",,\n', 2, "the same student stands on lines 2 and 3"),
    ],
)
def test_what_is_in_doubt_is_left_alone_and_said(rows: str, line: int, why: str) -> None:
    found = dict(doubts("student id,name,email,Practice\n" + rows))
    assert why in found[line]


def test_namesakes_are_told_apart_by_their_sections_or_not_at_all() -> None:
    twins = [_student("1", "Ana", "Marsh"), _student("2", "Ana", "Marsh", "Oboes")]
    every = tallies(book(*(sheet(each, month_of(PLAN, 20)) for each in twins)), PLAN)
    done = fill(b"name,class,Practice\nAna Marsh,oboes,\nAna Marsh,,\n", "x", "Practice", "points", every, {})
    assert [(cell.line, cell.student.id) for cell in done.written] == [(2, "2")]
    assert [doubt.why for doubt in done.doubts] == ["1 and 2 are both called Ana Marsh"]


def test_an_id_whose_zeros_a_spreadsheet_took_counts_with_the_name_and_not_without() -> None:
    every = tallies(book(sheet(_student("0071", "Ana", "Marsh"), month_of(PLAN, 20)),
                         sheet(_student("1234", "Ben", "Okoro"), month_of(PLAN, 20))), PLAN)  # fmt: skip
    named = fill(b"id,name,P\n71,Ana Marsh,\n1234,,\n", "x", "P", "points", every, {})
    assert named.content == b"id,name,P\n71,Ana Marsh,10\n1234,,10\n"
    bare = fill(b"id,name,P\n71,,\n1234,,\n", "x", "P", "points", every, {})
    assert [doubt.why for doubt in bare.doubts] == ['the id "71" may be 0071, Ana Marsh']


def test_marks_are_not_taken_for_short_ids() -> None:
    """Roster ids 1 to 3, and a quiz with the marks 3, 1, 2 beside the names."""
    who = [_student("1", "Ana", "Marsh"), _student("2", "Ben", "Okoro"), _student("3", "Cleo", "Ruiz")]
    every = tallies(book(*(sheet(each, month_of(PLAN, 20)) for each in who)), PLAN)
    done = fill(b"n,Quiz,P\nAna Marsh,3,\nBen Okoro,1,\nCleo Ruiz,2,\n", "x", "P", "points", every, {})
    assert [cell.student.id for cell in done.written] == ["1", "2", "3"]
    assert {cell.by for cell in done.written} == {"name"}


def test_parents_address_that_two_share_is_nobodys() -> None:
    who = [
        _student("1", "Ana", "Marsh", mail="m@x.example"),
        _student("2", "Bo", "Marsh", mail="m@x.example"),
    ]
    every = tallies(book(*(sheet(each, month_of(PLAN, 20)) for each in who)), PLAN)
    done = fill(b"name,email,P\nBo Marsh,m@x.example,\n", "x", "P", "points", every, {})
    assert [cell.student.id for cell in done.written] == ["2"]


# -- what goes in -------------------------------------------------------------------------------------


def test_not_handed_in_is_no_zero_and_open_is_no_mark() -> None:
    done = filled(b"id,Practice\n10024,as it was\n10025,3\n10021,\n")
    assert done.content == b"id,Practice\n10024,as it was\n10025,3\n10021,10\n"
    assert [each.student for each in done.not_in] == [DEE]
    assert [(each.student, each.why) for each in done.open] == [(EVA, "1 open question")]
    assert [each.id for each in done.absent] == ["10022", "10023"]


@pytest.mark.parametrize(
    ("figure", "values"),
    [
        ("points", ["10", "0", "7.5", ""]),
        ("met", ["yes", "no", "no", ""]),
        ("total_minutes", ["620", "0", "520", ""]),
        ("weekend_minutes", ["200", "0", "200", ""]),
        ("days_met", ["20", "0", "15", ""]),
        ("standing", ["", "4", "3", ""]),
    ],
)
def test_each_figure_is_the_gradebooks(figure: str, values: list[str]) -> None:
    done = filled(b"id,Practice\n10021,\n10022,\n10023,\n10025,\n", figure=figure)
    assert [line.split(",")[1] for line in done.content.decode().split()[1:]] == values


# -- the command --------------------------------------------------------------------------------------


@pytest.fixture
def folder(tmp_path: Path, usual_threshold: float) -> Path:
    """S1, Ana Marsh, has handed in 20 minutes a day; S2, Ben Okoro, nothing."""
    challenge_folder(tmp_path / "october")
    return tmp_path / "october"


def run(folder: Path, *words: str) -> int:
    return main(["grades", "--folder", str(folder), *words])


def test_the_result_goes_beside_the_export_which_stays(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    export = tmp_path / "Period 2.csv"
    export.write_bytes(b"id,name,Practice\nS1,Ana Marsh,4\nS2,Ben Okoro,\n,Class average,4\n")
    assert run(folder, "--fill", str(export), "--column", "Practice") == 0
    assert export.read_bytes() == b"id,name,Practice\nS1,Ana Marsh,4\nS2,Ben Okoro,\n,Class average,4\n"
    assert (tmp_path / "Period 2-filled.csv").read_bytes() == (
        b"id,name,Practice\nS1,Ana Marsh,10\nS2,Ben Okoro,\n,Class average,4\n"
    )
    said = capsys.readouterr().out
    assert "line 2: Ana Marsh (S1), by id: 10 instead of 4" in said
    assert "line 3: Ben Okoro, nothing handed in" in said
    assert "line 4: Class average, 4" in said
    assert not (folder / "gradebook.csv").exists()


def test_doubt_is_told_by_the_exit_code(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "e.csv").write_text("id,name,P\nS1,Ben Okoro,\nS2,,\n", encoding="utf-8")
    assert run(folder, "--fill", str(tmp_path / "e.csv"), "--column", "P", "--value", "met") == 3
    assert "line 2: the id is Ana Marsh's" in capsys.readouterr().out


def test_the_export_is_never_written_over(folder: Path, tmp_path: Path) -> None:
    export = tmp_path / "e.csv"
    export.write_text("id,P\nS1,\n", encoding="utf-8")
    (tmp_path / "same.csv").symlink_to(export)
    for out in (export, tmp_path / "same.csv"):
        assert run(folder, "--fill", str(export), "--column", "P", "--out", str(out)) == 1
    assert export.read_text(encoding="utf-8") == "id,P\nS1,\n"


@pytest.mark.parametrize(
    "words", [["--fill", "e.csv"], ["--column", "P"], ["--value", "met"], ["--add-column"]]
)
def test_options_that_belong_together_are_asked_for(
    folder: Path, words: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder / "e.csv").write_text("id,P\nS1,\n", encoding="utf-8")
    monkeypatch.chdir(folder)
    assert run(folder, *words) == 2
