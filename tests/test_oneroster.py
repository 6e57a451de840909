"""OneRoster packages, in and out, held against the tables of the standard.

1EdTech OneRoster: CSV Binding 1.2 (Candidate Final Public, 1 July 2021): the columns in order, which of them
must have data, the vocabularies, the manifest. The tables below are copied from it, not from the program.
"""

import csv
import io
import re
import uuid
import zipfile
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path

import pytest
from books import book, challenge_folder, flagged, month_of, october, page_question, sheet
from hypothesis import given
from hypothesis import strategies as st

from ingest.cli import main
from ingest.errors import PlanError
from ingest.plan.month import Month
from ingest.plan.oneroster import Enrolled, load_package
from ingest.plan.roster import Student, load_roster, parse_roster
from ingest.report.oneroster import Package, package
from ingest.tally.student import tallies

# -- the standard -------------------------------------------------------------------------------------

# Each column with its kind; ! means that data is required on every row, % that it is for deltas.
STANDARD = {
    "categories.csv": "sourcedId:guid! status:status% dateLastModified:datetime% title:text! weight:integer",
    "lineItems.csv": "sourcedId:guid! status:status% dateLastModified:datetime% title:text! description:text "
    "assignDate:date! dueDate:date! classSourcedId:guid! categorySourcedId:guid! "
    "academicSessionSourcedId:guid! resultValueMin:float resultValueMax:float schoolSourcedId:guid!",
    "results.csv": "sourcedId:guid! status:status% dateLastModified:datetime% lineItemSourcedId:guid! "
    "studentSourcedId:guid! scoreStatus:score! score:float scoreDate:date! comment:text textScore:text "
    "classSourcedId:guid inProgress:boolean incomplete:boolean late:boolean missing:boolean",
    "manifest.csv": "propertyName:text! value:text!",
}
KINDS = {
    "guid": r"[0-9A-Za-z.\-_/@]{1,255}",
    "status": "active|tobedeleted",
    "datetime": r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z",
    "date": r"\d{4}-\d\d-\d\d",
    "score": "exempt|fully graded|not submitted|partially graded|submitted",
    "boolean": "true|false",
    "float": r"-?\d+(\.\d+)?",
    "integer": r"\d+",
    "text": r"[^\r]+",
}
FILES = (
    *("academicSessions", "categories", "classes", "classResources", "courses", "courseResources"),
    *("demographics", "enrollments", "lineItemLearningObjectiveIds", "lineItems", "lineItemScoreScales"),
    *("orgs", "resources", "resultLearningObjectiveIds", "results", "resultScoreScales", "roles"),
    *("scoreScales", "userProfiles", "userResources", "users"),
)


def checked(made: Mapping[str, bytes]) -> dict[str, list[dict[str, str]]]:
    """The rows of a package, after every rule of the standard that can be checked from outside."""
    tables = {}
    for name, content in made.items():
        assert not content.startswith(b"\xef\xbb\xbf")
        rows = list(csv.reader(io.StringIO(content.decode("utf-8"), newline=""), strict=True))
        columns = [column.rstrip("!%").split(":") for column in STANDARD[name].split()]
        assert rows[0] == [column for column, _ in columns], name
        assert len(rows) > 1, f"{name}: a file without rows is not permitted"
        for row in rows[1:]:
            assert len(row) == len(columns)
            for (column, kind), asked, cell in zip(columns, STANDARD[name].split(), row, strict=True):
                assert cell or asked[-1] not in "!%", f"{name}: {column} is required"
                assert not cell or re.fullmatch(KINDS[kind], cell), f"{name}: {column} is {cell}"
        tables[name] = [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]
    _check_manifest(tables["manifest.csv"], set(made))
    _check_references(tables)
    return tables


def _check_manifest(rows: Sequence[Mapping[str, str]], there: set[str]) -> None:
    said = {row["propertyName"]: row["value"] for row in rows}
    required = ["manifest.version", "oneroster.version", *(f"file.{name}" for name in FILES)]
    assert [row["propertyName"] for row in rows][:23] == required
    assert set(said) - set(required) <= {"source.systemName", "source.systemCode"}
    assert (said["manifest.version"], said["oneroster.version"]) == ("1.0", "1.2")
    for name in FILES:
        assert said[f"file.{name}"] == ("delta" if f"{name}.csv" in there else "absent")


def _check_references(tables: Mapping[str, Sequence[Mapping[str, str]]]) -> None:
    for name in ("categories.csv", "lineItems.csv", "results.csv"):
        ids = [row["sourcedId"] for row in tables[name]]
        assert len(set(ids)) == len(ids)
    items = {row["sourcedId"]: row for row in tables["lineItems.csv"]}
    categories = {row["sourcedId"] for row in tables["categories.csv"]}
    assert {row["categorySourcedId"] for row in items.values()} <= categories
    for row in tables["results.csv"]:
        item = items[row["lineItemSourcedId"]]
        assert row["classSourcedId"] == item["classSourcedId"]
        if row["score"]:  # within both bounds, these included
            assert float(item["resultValueMin"]) <= float(row["score"]) <= float(item["resultValueMax"])
            assert row["scoreStatus"] == "fully graded"
        if row["scoreStatus"] == "not submitted":
            assert not row["score"], "a chart not handed in is no zero"


# -- out ----------------------------------------------------------------------------------------------

IDS = {"class_sourced_id": "c-1", "school_sourced_id": "s-1", "term_sourced_id": "t-1"}
NOW = datetime(2027, 11, 5, 20, 15, 30, 250_000, tzinfo=UTC)
SHARE = october(grade={"rule": "share"})


def pupil(number: int, section: str = "Flutes", **ids: str) -> Student:
    known = {"user_sourced_id": f"u-{number}", **IDS, **ids}
    return Student(f"S{number}", f"First{number}", f"Last{number}", section, known)


def made() -> Package:
    """One met, one short, one open, one with a page to confirm, one missing, one late in another class."""
    seventeen = [box for box in month_of(SHARE, 20) if box.box[-2:] not in ("04", "05", "06")]
    every = book(
        sheet(pupil(1), month_of(SHARE, 20)),
        sheet(pupil(2), seventeen),
        sheet(pupil(3), month_of(SHARE, 20, d5=flagged("day:2027-10-05", 20))),
        sheet(pupil(4), [], pages=()),
        sheet(pupil(5), [], pages=()),
        sheet(pupil(6, "Oboes", class_sourced_id="c-2"), month_of(SHARE, 0), late=True),
        questions=[page_question(9, "S4", "S4")],
    )
    return package(tallies(every, SHARE), SHARE, NOW)


def test_a_package_passes_the_standards_tables() -> None:
    tables = checked(made().files)
    assert len(tables["lineItems.csv"]) == 2
    assert len(tables["results.csv"]) == 6
    assert made().made_up == []


def test_not_handed_in_is_no_zero_and_open_is_no_mark() -> None:
    rows = checked(made().files)["results.csv"]
    flags = ("scoreStatus", "score", "inProgress", "late", "missing")
    assert {row["studentSourcedId"]: [row[flag] for flag in flags] for row in rows} == {
        "u-1": ["fully graded", "10", "false", "false", "false"],
        "u-2": ["fully graded", "8.5", "false", "false", "false"],
        "u-3": ["partially graded", "", "true", "false", "false"],
        "u-4": ["partially graded", "", "true", "false", "false"],
        "u-5": ["not submitted", "", "false", "false", "true"],
        "u-6": ["fully graded", "0", "false", "true", "false"],
    }


def test_nothing_is_missing_before_it_is_due() -> None:
    """`missing`: not handed in, and held missing."""
    every = tallies(book(sheet(pupil(1), [], pages=())), SHARE)
    due = datetime(2027, 11, 1, 23, tzinfo=UTC)
    (row,) = checked(package(every, SHARE, due).files)["results.csv"]
    assert (row["scoreStatus"], row["missing"]) == ("not submitted", "false")


def test_line_items_name_the_schools_own_classes_terms_and_dates() -> None:
    flutes, oboes = checked(made().files)["lineItems.csv"]
    assert (flutes["classSourcedId"], oboes["classSourcedId"]) == ("c-1", "c-2")
    assert (flutes["schoolSourcedId"], flutes["academicSessionSourcedId"]) == ("s-1", "t-1")
    assert (flutes["assignDate"], flutes["dueDate"]) == ("2027-10-01", "2027-11-01")
    assert (flutes["resultValueMin"], flutes["resultValueMax"]) == ("0", "10")
    assert flutes["dateLastModified"] == "2027-11-05T20:15:30.250Z"


def test_ids_are_the_same_every_time_and_others_for_another_month() -> None:
    def ids(content: bytes) -> list[str]:
        return [line.split(",")[0] for line in content.decode().splitlines()[1:]]

    november = october().model_copy(update={"month": Month(2027, 11)})
    every = tallies(book(sheet(pupil(1), [], pages=())), SHARE)
    first, later = (package(every, SHARE, at).files for at in (NOW, datetime(2027, 12, 1, tzinfo=UTC)))
    other = package(every, november, NOW).files
    for name in ("lineItems.csv", "results.csv"):
        assert ids(first[name]) == ids(later[name]) != ids(other[name])
        assert uuid.UUID(ids(first[name])[0]).version == 5
    assert ids(first["categories.csv"]) == ids(other["categories.csv"])


@given(
    st.lists(st.tuples(*[st.text(min_size=1, max_size=9)] * 2), min_size=1, max_size=5,
             unique_by=lambda each: each[0])
)  # fmt: skip
def test_a_roster_of_any_ids_and_sections_makes_a_package_that_passes(names: list[tuple[str, str]]) -> None:
    who = [Student(key, "First", "Last", section) for key, section in names]
    made = package(tallies(book(*(sheet(each, [], pages=()) for each in who)), SHARE), SHARE, NOW)
    checked(made.files)
    assert len(made.made_up) == 4


# -- in -----------------------------------------------------------------------------------------------

PACKAGE = {
    "manifest.csv": "propertyName,value\r\nmanifest.version,1.0\r\noneroster.version,1.2\r\n"
    "file.classes,bulk\r\nfile.enrollments,bulk\r\nfile.users,bulk\r\nfile.academicSessions,bulk\r\n",
    "users.csv": "sourcedId,status,dateLastModified,enabledUser,username,userIds,givenName,familyName,"
    "middleName,identifier,email,sms,phone,agentSourcedIds,grades,password,userMasterIdentifier,preferredGivenName,"
    "preferredMiddleName,preferredFamilyName,primaryOrgSourcedId,pronouns\r\n"
    'u1,,,true,ana,,Ana María,Marsh,,1001,ana@x.example,,,"u8,u9",,,,Ana,,,s1,\r\n'
    "u2,,,true,ben,,Ben,Okoro,,1002,,,,,,,,,,,s1,\r\n"
    "u3,,,true,zoe,,Zoë,Łuk,,1003,,,,,,,,,,,s1,\r\n"
    "u4,,,false,old,,Old,Pupil,,1004,,,,,,,,,,,s1,\r\n"
    "t1,,,true,teach,,Terry,Teacher,,T1,,,,,,,,,,,s1,\r\n",
    "classes.csv": "sourcedId,status,dateLastModified,title,grades,courseSourcedId,classCode,classType,"
    "location,schoolSourcedId,termSourcedIds,subjects,subjectCodes,periods\r\n"
    'c1,,,Beginning Band,,k1,BB2,scheduled,,s1,"y1,f1",,,2\r\n'
    "c2,,,Choir,,k2,CH4,scheduled,,s1,f1,,,4\r\n",
    "enrollments.csv": "sourcedId,status,dateLastModified,classSourcedId,schoolSourcedId,userSourcedId,role,"
    "primary,beginDate,endDate\r\n"
    "e1,,,c1,s1,u1,student,,2027-08-20,2028-06-10\r\ne2,,,c1,s1,u3,student,,,\r\ne3,,,c2,s1,u2,student,,,\r\n"
    "e4,,,c1,s1,t1,teacher,true,,\r\ne5,,,c1,s1,u4,student,,,\r\n",
    "academicSessions.csv": "sourcedId,status,dateLastModified,title,type,startDate,endDate,parentSourcedId,"
    "schoolYear\r\ny1,,,Year,schoolYear,2027-08-01,2028-07-01,,2028\r\n"
    "f1,,,Fall,term,2027-08-20,2028-01-15,y1,2028\r\n",
}
OCTOBER = Month(2027, 10)


def pack(tmp_path: Path, **changes: str | None) -> Path:
    """The package as a folder; `users="..."` is another users.csv, None leaves it out."""
    folder = tmp_path / "package"
    folder.mkdir(exist_ok=True)
    for name, text in {**PACKAGE, **{f"{key}.csv": text for key, text in changes.items()}}.items():
        if text is not None:
            (folder / name).write_text(text, encoding="utf-8", newline="")
    return folder


def roster(found: Enrolled) -> dict[str, Student]:
    return {student.id: student for student in parse_roster(found.roster, "roster")}


def test_a_package_becomes_a_roster_with_the_ids_that_marks_go_back_by(tmp_path: Path) -> None:
    found = load_package(pack(tmp_path), OCTOBER)
    assert (found.students, list(found.sections), found.left_out) == (3, ["Beginning Band", "Choir"], 1)
    students = roster(found)
    assert [student.id for student in students.values()] == ["1001", "1003", "1002"]  # by class, then name
    ana = students["1001"]
    assert (ana.first_name, ana.last_name, ana.section) == ("Ana", "Marsh", "Beginning Band")
    assert ana.extra == {
        "email": "ana@x.example",
        "user_sourced_id": "u1",
        "class_sourced_id": "c1",
        "school_sourced_id": "s1",
        "term_sourced_id": "f1",  # the shorter of two that have October in them
    }


@pytest.mark.parametrize("at", ["", "export/"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_a_zip_says_the_same_as_its_folder(tmp_path: Path, at: str, mark: bytes) -> None:
    """Importers must tolerate a byte order mark (binding 1.2)."""
    with zipfile.ZipFile(tmp_path / "p.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in PACKAGE.items():
            archive.writestr(at + name, mark + text.encode())
    assert load_package(tmp_path / "p.zip", OCTOBER) == load_package(pack(tmp_path), OCTOBER)


def test_a_package_of_version_1_1_is_read_too(tmp_path: Path) -> None:
    users = (
        "sourcedId,status,dateLastModified,enabledUser,orgSourcedIds,role,username,userIds,givenName,familyName,"
        "middleName,identifier,email,sms,phone,agentSourcedIds,grades,password\n"
        "u1,,,true,s1,student,ana,,Ana,Marsh,,,,,,,,\nu2,,,true,s1,student,ben,,Ben,Okoro,,,,,,,,\n"
        "u3,,,true,s1,student,zoe,,Zoë,Łuk,,,,,,,,\nu4,,,true,s1,student,o,,Old,Pupil,,,,,,,,\n"
        "t1,,,true,s1,teacher,t,,Terry,Teacher,,,,,,,,\n"
    )
    manifest = PACKAGE["manifest.csv"].replace("oneroster.version,1.2", "oneroster.version,1.1")
    found = load_package(pack(tmp_path, users=users, manifest=manifest), OCTOBER)
    assert {*roster(found)} == {"u1", "u2", "u3", "u4"}, "without identifiers, the ids of the package"


def test_only_some_classes_by_title_code_or_id(tmp_path: Path) -> None:
    for name in ("Choir", "CH4", "c2"):
        assert {*roster(load_package(pack(tmp_path), OCTOBER, [name]))} == {"1002"}
    with pytest.raises(PlanError, match=r'no class "Beginning band"\. Did you mean "Beginning Band"'):
        load_package(pack(tmp_path), OCTOBER, ["Beginning band"])


def test_two_classes_of_one_title_are_told_apart(tmp_path: Path) -> None:
    classes = PACKAGE["classes.csv"].replace("Choir", "Beginning Band")
    found = load_package(pack(tmp_path, classes=classes), OCTOBER)
    assert list(found.sections) == ["Beginning Band (BB2)", "Beginning Band (CH4)"]


@pytest.mark.parametrize(
    ("begin", "end", "is_there"),
    [
        ("2027-10-31", "", True),
        ("2027-11-01", "", False),
        ("", "2027-10-02", True),
        ("", "2027-10-01", False),  # endDate is exclusive (binding 1.2)
    ],
)
def test_who_is_not_in_the_class_in_that_month_is_left_out(
    tmp_path: Path, begin: str, end: str, is_there: bool
) -> None:
    rows = PACKAGE["enrollments.csv"].replace("u3,student,,,", f"u3,student,,{begin},{end}")
    assert ("1003" in roster(load_package(pack(tmp_path, enrollments=rows), OCTOBER))) == is_there


@pytest.mark.parametrize(
    ("file", "old", "new", "told"),
    [
        ("users", "givenName", "GivenName", r'users\.csv, line 1: no column givenName; "GivenName" is spelt'),
        ("users", "u3,,,true", "u1,,,true", r'users\.csv, line 4: the sourcedId "u1" stands on line 2, too'),
        ("users", "Ben,Okoro", ",Okoro", r"users\.csv, line 3: givenName is empty"),
        ("users", "ben,,Ben", "ben,Ben", r"users\.csv, line 3: 21 cells where the header has 22"),
        ("users", "Ana María", '"Ana', r"users\.csv, line 2: a quotation mark that is never closed"),
        ("enrollments", "s1,u2,", "s1,u7,", r'enrollments\.csv, line 4: the user "u7" is not in users\.csv'),
        ("enrollments", "c2,s1", "c9,s1", r'enrollments\.csv, line 4: the class "c9" is not in classes\.csv'),
        ("enrollments", "2027-08-20", "20.8.2027", r"line 2: beginDate is no date: 20\.8\.2027"),
        ("enrollments", "s1,u2,", "s1,u1,", r"line 4: Ana María Marsh is in Choir, and by line 2 in Begin"),
        ("classes", "Choir", "", r"classes\.csv, line 3: title is empty"),
        ("manifest", "file.users,bulk", "file.users,delta", r"manifest\.csv, line 6: users\.csv has only"),
        ("manifest", "version,1.2", "version,2.0", r"manifest\.csv, line 3: OneRoster 2\.0"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_named_by_file_and_line(
    tmp_path: Path, file: str, old: str, new: str, told: str
) -> None:
    text = PACKAGE[f"{file}.csv"]
    assert old in text
    with pytest.raises(PlanError, match=told) as refusal:
        load_package(pack(tmp_path, **{file: text.replace(old, new, 1)}), OCTOBER)
    assert "nothing was taken" in str(refusal.value)


def test_ids_come_through_to_the_letter_and_words_harmless(tmp_path: Path) -> None:
    users = PACKAGE["users.csv"].replace("u2,", "-u2@x/y,").replace("ben,,Ben", "ben,,=Ben()")
    rows = PACKAGE["enrollments.csv"].replace(",u2,", ",-u2@x/y,")
    ben = roster(load_package(pack(tmp_path, users=users, enrollments=rows), OCTOBER))["1002"]
    assert ben.extra["user_sourced_id"] == "-u2@x/y"
    assert ben.first_name == "'=Ben()"


def test_deleted_rows_do_not_count(tmp_path: Path) -> None:
    rows = PACKAGE["enrollments.csv"].replace("e2,,,", "e2,tobedeleted,2027-09-01T00:00:00.000Z,")
    assert {*roster(load_package(pack(tmp_path, enrollments=rows), OCTOBER))} == {"1001", "1002"}


def test_what_is_no_package_is_refused(tmp_path: Path) -> None:
    with pytest.raises(PlanError, match=r"has no enrollments\.csv"):
        load_package(pack(tmp_path, enrollments=None), OCTOBER)
    (tmp_path / "p.zip").write_bytes(b"PK\x03\x04 no zip")
    with pytest.raises(PlanError, match="cannot be opened as a zip"):
        load_package(tmp_path / "p.zip", OCTOBER)
    with zipfile.ZipFile(tmp_path / "p.zip", "w") as archive:
        archive.writestr("users.csv", PACKAGE["users.csv"])
    whole = (tmp_path / "p.zip").read_bytes()
    at = whole.rindex(b"PK\x05\x06")  # the end of the directory says where that begins (APPNOTE.TXT, 4.3.16)
    (tmp_path / "p.zip").write_bytes(whole[: at + 16] + b"\xff\xff\xff\xff" + whole[at + 20 :])
    with pytest.raises(PlanError, match="cannot be opened as a zip"):
        load_package(tmp_path / "p.zip", OCTOBER)


# -- the commands -------------------------------------------------------------------------------------


def test_a_month_starts_from_a_package_and_its_marks_go_back(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    where = tmp_path / "october"
    words = ["--month", "2027-10", "--roster", str(pack(tmp_path)), "--section", "Beginning Band"]
    assert main(["new", str(where), *words]) == 0
    assert (
        "2 students in Beginning Band. Left out, since not enrolled in 2027-10: 1." in capsys.readouterr().out
    )
    assert [student.id for student in load_roster(where / "roster.csv")] == ["1001", "1003"]
    assert main(["charts", "--folder", str(where)]) == 0
    assert main(["grades", "--folder", str(where), "--oneroster", str(tmp_path / "out")]) == 0
    assert "no ids" not in capsys.readouterr().out
    made = {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()}
    assert {row["studentSourcedId"] for row in checked(made)["results.csv"]} == {"u1", "u3"}


def test_nothing_is_written_from_a_package_with_mistakes(tmp_path: Path) -> None:
    rows = PACKAGE["enrollments.csv"].replace("s1,u2,", "s1,u7,")
    words = ["--month", "2027-10", "--roster", str(pack(tmp_path, enrollments=rows))]
    assert main(["new", str(tmp_path / "october"), *words]) == 1
    assert not (tmp_path / "october").exists()


def test_a_plain_class_list_will_do_as_well(tmp_path: Path) -> None:
    (tmp_path / "list.csv").write_text("Student ID;Name;Class\n7;Ana Marsh;Flutes\n", encoding="utf-8")
    assert main(["new", str(tmp_path / "october"), "--roster", str(tmp_path / "list.csv")]) == 0
    assert (tmp_path / "october" / "roster.csv").read_bytes() == (tmp_path / "list.csv").read_bytes()
    assert main(["new", str(tmp_path / "n"), "--roster", str(tmp_path / "list.csv"), "--section", "F"]) == 2


@pytest.mark.usefixtures("usual_threshold")
def test_a_package_from_a_roster_without_the_schools_ids_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    challenge_folder(tmp_path / "october")
    at = ["--folder", str(tmp_path / "october"), "--oneroster"]
    assert main(["grades", *at, str(tmp_path / "marks.zip")]) == 0
    assert "no ids of your school's system" in capsys.readouterr().out
    with zipfile.ZipFile(tmp_path / "marks.zip") as archive:
        checked({name: archive.read(name) for name in archive.namelist()})
    assert main(["grades", *at, str(tmp_path / "marks")]) == 0
    assert main(["grades", *at, str(tmp_path / "marks")]) == 0, "an earlier package is written over"
    assert main(["grades", *at, str(tmp_path / "october")]) == 1, "and nothing else is mixed in"
