import unicodedata
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.errors import PlanError
from ingest.plan.roster import Student, load_roster, parse_roster

HEADER = "student_id,first_name,last_name,section\n"


def read(text: str, encoding: str = "utf-8") -> tuple[Student, ...]:
    return parse_roster(text.encode(encoding), "roster.csv")


def refusal(text: str | bytes) -> str:
    with pytest.raises(PlanError) as caught:
        parse_roster(text if isinstance(text, bytes) else text.encode(), "roster.csv")
    message = str(caught.value)
    assert message.startswith("roster.csv ")
    assert message.endswith("run the same command again.")
    assert "\n" not in message
    return message


def test_contract_columns_and_others_in_order() -> None:
    (student,) = read(
        "student_id,first_name,last_name,section,instrument,email,school,Locker\n"
        "0012,Ana,Lopez,Period 1,flute,ana@example.org,Elm Street,B 7\n"
    )
    assert student == Student("0012", "Ana", "Lopez", "Period 1", student.extra)
    assert list(student.extra.items()) == [
        ("instrument", "flute"),
        ("email", "ana@example.org"),
        ("school", "Elm Street"),
        ("Locker", "B 7"),
    ]
    assert student.name == "Ana Lopez"


@pytest.mark.parametrize(
    "header",
    [
        "Student ID,First,Last,Class",
        "ID,First Name,Last Name,Period",
        "id number,Given name,Surname,Group",
        "Student Number,givenName,familyName,Homeroom",  # the names as OneRoster spells them
        "STUDENT_ID,FIRST_NAME,LAST_NAME,SECTION",
        "Matrícula,Nombre,Apellidos,Sección",
        "ID de estudiante,Nombres,Apellido,Clase",
        "Número de alumno,Nombre,Apellidos,Grupo",
        " ID , Name , Surname , Section ",
    ],
)
def test_common_headings_are_understood(header: str) -> None:
    assert read(f"{header}\n7,Ana,Lopez,P1\n") == (Student("7", "Ana", "Lopez", "P1", {}),)


def test_columns_may_stand_in_any_order() -> None:
    assert read("Section,Last,ID,First\nP1,Lopez,7,Ana\n") == (Student("7", "Ana", "Lopez", "P1", {}),)


def test_optional_columns_are_known_by_other_names() -> None:
    (student,) = read("ID,Name,Section,Instrumento,E-mail,Escuela\n7,Ana Lopez,P1,flauta,a@example.org,Sur\n")
    assert student.extra == {"instrument": "flauta", "email": "a@example.org", "school": "Sur"}


@pytest.mark.parametrize(
    ("name", "first", "last"),
    [
        ('"Lopez, Maria"', "Maria", "Lopez"),
        ('"de la Cruz,Ana Sofía"', "Ana Sofía", "de la Cruz"),
        ("Maria Lopez", "Maria", "Lopez"),
        ("Maria\u00a0Lopez", "Maria", "Lopez"),
        ("Mary Ann O'Brien-Lee", "Mary Ann", "O'Brien-Lee"),
        ("Ana de la Cruz", "Ana", "de la Cruz"),
        ("Jan van der Berg", "Jan", "van der Berg"),
        ("De Leon", "De", "Leon"),
    ],
)
def test_whole_name_is_split(name: str, first: str, last: str) -> None:
    (student,) = read(f"ID,Student,Section\n7,{name},P1\n")
    assert (student.first_name, student.last_name) == (first, last)


@pytest.mark.parametrize("name", ["Maria", '"Lopez,"', "", '",Maria"'])
def test_half_a_name_is_refused(name: str) -> None:
    assert "line 2: no " in refusal(f"ID,Student,Section\n7,{name},P1\n")


def test_whole_name_beside_both_names_is_carried_through() -> None:
    (student,) = read("ID,Student,First,Last,Section\n7,Lopez A.,Ana,Lopez,P1\n")
    assert (student.name, student.extra) == ("Ana Lopez", {"Student": "Lopez A."})


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_what_spreadsheets_save_is_read(separator: str, end: str, encoding: str) -> None:
    rows = [
        ['"Note"', "ID", "First", "Last", "Section"],
        ['"a, b; c"', "007", "José", "Muñoz", "P1"],
        ["", "8", "B", "C", "P1"],
    ]
    text = end.join(separator.join(row) for row in rows) + end
    assert read(text, encoding) == (
        Student("007", "José", "Muñoz", "P1", {"Note": "a, b; c"}),
        Student("8", "B", "C", "P1", {"Note": ""}),
    )


@pytest.mark.parametrize("mark", ["utf-16-le", "utf-16-be"])
def test_both_byte_orders_are_read(mark: str) -> None:
    assert read("\ufeff" + HEADER + "7,王,小明,P1\n", mark)[0].name == "王 小明"


@pytest.mark.parametrize(
    "name",
    [
        "O'Brien",
        "D’Arcy",
        "Smith-Jones",
        "Zoë",
        "Nguyễn",
        "Łukasz",
        "王",
        "אבג",
        "Иван",
        "محمد",
        "می\u200cخواهم",
        "J. R.",
    ],
)
def test_names_of_all_kinds_are_kept(name: str) -> None:
    (student,) = read(f"{HEADER}7,{name},{name},P1\n")
    assert student.first_name == student.last_name == name


def test_two_spellings_of_an_accent_are_one() -> None:
    apart = unicodedata.normalize("NFD", "José Muñoz")
    assert len(apart) > len("José Muñoz")
    assert read(f"ID,Name,Section\n7,{apart},P1\n")[0].name == "José Muñoz"


def test_blanks_around_and_blank_lines_are_dropped() -> None:
    text = f"\n{HEADER}\n  7 , Ana\u00a0, \u200bLopez\u200e,P1\n\n , , ,\n8,B,C,P1\n\n"
    assert [(s.id, s.name) for s in read(text)] == [("7", "Ana Lopez"), ("8", "B C")]


def test_empty_columns_at_the_end_are_dropped() -> None:
    assert read("ID,First,Last,Section,,\n7,Ana,Lopez,P1,,\n") == (Student("7", "Ana", "Lopez", "P1", {}),)


def test_all_problems_are_told_by_the_lines_of_the_file() -> None:
    told = refusal(
        HEADER.strip() + ",note\n"  # 1
        '1,Ana,Lopez,P1,"two\nlines"\n'  # 2, 3
        "\n"  # 4
        "1,Ben,Ash,P1,\n"  # 5
        ",Cem,Ates,,\n"  # 6
        "4,,Diaz,P1,\n"  # 7
        "5,Eva,Egli\n"  # 8
        "6,Lopez, Fay,F,P1,\n"  # 9
        "7,Gus,,P1,\n"  # 10
        "8,Mar?a,Hall,P1,\n"  # 11
        "1.23E+11,Ida,Ito,P1,\n"  # 12
        "10,Jo\a,Ju,P1,\n"  # 13
        '11,"Ki\nKi",Ko,P1,\n'  # 14, 15
        "12,Lea,Lum,,\n"  # 16
        f"13,{'M' * 101},Mo,P1,\n"  # 17
        '14,"Nia,Nye,P1,\n'  # 18
    )
    for part in (
        'lines 2, 5: the student_id "1" is not the only one',
        "line 6: no student_id",
        "lines 6, 16: no section",
        "line 7: no first_name",
        "line 8: 3 cells where the header has 5;",
        "line 9: 6 cells where the header has 5; a cell that holds a comma needs quotation marks",
        "line 10: no last_name",
        'line 11: a letter of first_name was lost when the file was saved: "Mar?a"',
        'line 12: a spreadsheet shortened the student_id to "1.23E+11"',
        "lines 13, 14: a line break or a control character in first_name",
        "line 17: first_name has 101 characters",
        "line 18: a quotation mark that is never closed",
    ):
        assert part in told
    assert "nothing was taken from it" in told


@pytest.mark.parametrize(
    ("header", "told"),
    [
        ("student_id,first_name,last_name", "line 1: no column for section; the header has"),
        ("First,Last,Class", "no column for student_id;"),
        ("ID,First,Class", "no column for last_name;"),
        ("ID,First,Last,Class,Period", '"Class" and "Period" could each be the section'),
        ("ID,First,Last,Section,Note,note", 'the heading "note" stands there more than once'),
        ("ID,First,Last,Section,ID", 'the heading "ID" stands there more than once'),
        ("7,Ana,Lopez,P1", "no column for student_id, first_name, last_name, section; the header has"),
        ('ID,First,Last,Section,"No\nte"', "the heading of column 5 has a line break"),
        ('ID,First,Last,"Section', "line 1: a quotation mark that is never closed"),
    ],
)
def test_bad_header_is_refused(header: str, told: str) -> None:
    assert told in refusal(f"{header}\n")


def test_the_contracts_own_heading_wins_over_a_synonym() -> None:
    (student,) = read("student_id,ID,First,Last,Section,Period\n7,x,Ana,Lopez,P1,3\n")
    assert (student.id, student.section, student.extra) == ("7", "P1", {"ID": "x", "Period": "3"})


def test_content_without_a_heading_is_refused() -> None:
    assert "line 1: column 5 has content, but no heading" in refusal(
        "ID,First,Last,Section,\n7,Ana,Lopez,P1,x\n"
    )


def test_header_alone_or_nothing_is_refused() -> None:
    assert "no students yet" in refusal(HEADER)
    assert "the header has nothing" in refusal("")


@pytest.mark.parametrize(
    "data", [b"PK\x03\x04\x14\x00\x06\x00", b"\xd0\xcf\x11\xe0\x00\x00", HEADER.encode("utf-16-le")]
)
def test_other_kinds_of_file_are_refused(data: bytes) -> None:
    assert "is no CSV text" in refusal(data)


def test_huge_files_and_cells_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "roster.csv"
    path.write_bytes(b"x" * 5_000_001)
    with pytest.raises(PlanError, match="has 5 MB"):
        load_roster(path)
    assert "line 1" in refusal("x" * 200_000)
    assert "Note has 2000 characters" in refusal(f"ID,First,Last,Section,Note\n7,Ana,Lopez,P1,{'x' * 2000}\n")


def test_missing_roster_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(
        PlanError, match=r"no roster .*roster\.csv.*student_id, first_name, last_name, section"
    ):
        load_roster(tmp_path / "roster.csv")


@given(st.binary(max_size=200) | st.text(max_size=200).map(lambda text: (HEADER + text).encode()))
def test_no_file_at_all_breaks_the_reader(data: bytes) -> None:
    try:
        students = parse_roster(data, "roster.csv")
    except PlanError:
        return
    assert len({student.id for student in students}) == len(students) > 0
    assert all(student.first_name and student.last_name and student.section for student in students)
