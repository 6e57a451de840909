"""A class list out of a OneRoster package: `users.csv`, `classes.csv`, `enrollments.csv`, zipped or not.

1EdTech OneRoster, CSV binding 1.1 and 1.2. Columns are found by their names, which the standard spells to the
letter; what Daybox does not need is not looked at. All is checked before any of it is taken, and what is
wrong is named by file and line.
"""

import csv
import io
import zipfile
import zlib
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches
from pathlib import Path

from ingest.cells import harmless, to_exact_csv
from ingest.errors import PlanError
from ingest.plan.month import Month
from ingest.plan.roster import parse_roster

# Columns that `roster.csv` gets besides the usual ones, by which results find their way back.
USER, CLASS, SCHOOL, TERM = "user_sourced_id", "class_sourced_id", "school_sourced_id", "term_sourced_id"
COLUMNS = ("student_id", "first_name", "last_name", "section", "email", USER, CLASS, SCHOOL, TERM)

_FILES = ("users", "classes", "enrollments")
_MOST_BYTES = 200_000_000  # of one file; a large district's users take a tenth
_LISTED_MOST = 20
# What zipfile raises for damaged, locked and unknown kinds of zips.
BROKEN_ZIP = (
    *(zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, ValueError, OSError),
)
_VERSIONS = ("1.1", "1.2")
_DATES = ("beginDate", "endDate")

_NEEDED = {
    "users": ("sourcedId", "givenName", "familyName"),
    "classes": ("sourcedId", "title"),
    "enrollments": ("sourcedId", "classSourcedId", "userSourcedId", "role"),
}


@dataclass(frozen=True, slots=True)
class Row:
    """A row of a package. line: of its file, from 1. cells: by the header's names; "" where there is none."""

    line: int
    cells: Mapping[str, str]

    def __getitem__(self, column: str) -> str:
        return self.cells.get(column, "")


_Pair = tuple[Row, Row]  # a student's row in users.csv, and of the class


@dataclass(frozen=True, slots=True)
class _Tables:
    """users, classes: by sourcedId."""

    users: Mapping[str, Row]
    classes: Mapping[str, Row]
    enrollments: Sequence[Row]


@dataclass(frozen=True, slots=True)
class Enrolled:
    """roster: the text of a `roster.csv`. students: how many. sections: of which classes, in their order.

    left_out: how many enrolments did not count: of users that are not enabled, or not in the class in this
    month.
    """

    roster: bytes
    students: int
    sections: Sequence[str]
    left_out: int


def load_package(path: Path, month: Month, sections: Sequence[str] = ()) -> Enrolled:
    """Read the students of a package: a folder, or a zip with the files in it.

    month: in which they must be enrolled. sections: only classes of such a title, code or sourcedId.
    Raises PlanError with everything that is wrong, by file and line.
    """
    files = _files(path)
    wrong: list[str] = []
    rows = {name: _table(name, content, wrong) for name, content in files.items()}
    if wrong:
        raise _refusal(path, wrong)
    _check_manifest(rows.get("manifest", []), wrong)
    tables = _Tables(
        _by_id("users", rows["users"], wrong), _by_id("classes", rows["classes"], wrong), rows["enrollments"]
    )
    chosen = _chosen(path, tables.classes, sections)
    pairs, left_out = _enrolled(tables, chosen, month, wrong)
    if wrong:
        raise _refusal(path, wrong)
    if not pairs:
        raise PlanError(
            f"{path} has no students who are in a class in {month}. Check that it is the right package and "
            "the right month, and run the same command again."
        )
    titles = _titles(chosen)
    sessions = {row["sourcedId"]: row for row in rows.get("academicSessions", [])}
    identifiers = [user["identifier"] for user, _ in pairs]
    has_identifiers = all(identifiers) and len(set(identifiers)) == len(identifiers)
    # Ids to the letter, or they would not be found again; what people wrote, so that no spreadsheet runs it.
    table = [
        (
            user["identifier"] if has_identifiers else user["sourcedId"],
            harmless(user["preferredGivenName"] or user["givenName"]),
            harmless(user["preferredFamilyName"] or user["familyName"]),
            harmless(titles[of["sourcedId"]]),
            harmless(user["email"]),
            user["sourcedId"],
            of["sourcedId"],
            of["schoolSourcedId"],
            _term(of, sessions, month),
        )
        for user, of in pairs
    ]
    sections = [harmless(title) for title in titles.values()]
    table.sort(key=lambda row: (sections.index(row[3]), row[2].casefold(), row[1].casefold()))
    found = [section for section in sections if any(row[3] == section for row in table)]
    roster = to_exact_csv(COLUMNS, *table)
    parse_roster(roster, f"The class list in {path}")  # what no column can be blamed for
    return Enrolled(b"\xef\xbb\xbf" + roster, len(table), found, left_out)


# -- the package --------------------------------------------------------------------------------------


def _files(path: Path) -> dict[str, bytes]:
    """The files that matter, by name without `.csv`. Raises PlanError if one that is needed is not there."""
    wanted = {f"{name}.csv": name for name in (*_FILES, "manifest", "academicSessions")}
    found = dict(_of_folder(path, wanted) if path.is_dir() else _of_zip(path, wanted))
    lacking = [f"{name}.csv" for name in _FILES if name not in found]
    if lacking:
        raise PlanError(
            f"{path} is no OneRoster package with a class list: it has no {' and no '.join(lacking)}. Ask "
            "for one with users, classes and enrollments, and run the same command again."
        )
    return found


def _of_folder(path: Path, wanted: Mapping[str, str]) -> Iterator[tuple[str, bytes]]:
    for file, name in wanted.items():
        if (path / file).is_file():
            _refuse_large(path / file, (path / file).stat().st_size)
            yield name, (path / file).read_bytes()


def _of_zip(path: Path, wanted: Mapping[str, str]) -> Iterator[tuple[str, bytes]]:
    """The standard has the files at the root; a zip made of a folder has them one below."""
    try:
        with zipfile.ZipFile(path) as package:
            for entry in package.infolist():
                *folders, file = entry.filename.split("/")
                if len(folders) <= 1 and file in wanted:
                    _refuse_large(path / file, entry.file_size)
                    yield wanted[file], package.read(entry)
    except BROKEN_ZIP as error:
        raise PlanError(
            f"{path} cannot be opened as a zip ({error}). Get it again, or unpack it and name the folder."
        ) from error


def _refuse_large(path: Path, size: int) -> None:
    if size > _MOST_BYTES:
        raise PlanError(f"{path} has {size / 1e6:.0f} MB. Ask for a package of your own classes only.")


def _table(name: str, content: bytes, wrong: list[str]) -> list[Row]:
    """The rows of one file, those marked as deleted left out; what is wrong is added to `wrong`."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        wrong.append(f"{name}.csv, line {line}: a letter that is not in UTF-8")
        return []
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    rows: list[Row] = []
    header: list[str] = []
    line = 1
    try:
        for cells in reader:
            if not header:
                header = cells
                wrong.extend(_bad_header(name, header))
            elif cells and len(cells) != len(header):
                wrong.append(
                    f"{name}.csv, line {line}: {len(cells)} cells where the header has {len(header)}"
                )
            elif cells:
                rows.append(Row(line, dict(zip(header, map(str.strip, cells), strict=True))))
            line = reader.line_num + 1
    except csv.Error:
        wrong.append(f"{name}.csv, line {line}: a quotation mark that is never closed, or a cell too long")
    if not header:
        wrong.append(f"{name}.csv is empty")
    return [row for row in rows if row["status"] != "tobedeleted"]


def _bad_header(name: str, header: Sequence[str]) -> Iterator[str]:
    for column in _NEEDED.get(name, ()):
        if column not in header:
            close = next((each for each in header if each.casefold() == column.casefold()), "")
            hint = f'; "{close}" is spelt otherwise' if close else ""
            yield f"{name}.csv, line 1: no column {column}{hint}"
    if len(set(header)) < len(header):
        yield f"{name}.csv, line 1: a column stands there more than once"


def _check_manifest(rows: Sequence[Row], wrong: list[str]) -> None:
    said = {row["propertyName"]: row for row in rows}
    version = said.get("oneroster.version")
    if version and version["value"] not in _VERSIONS:
        wrong.append(
            f"manifest.csv, line {version.line}: OneRoster {version['value']}, and {' and '.join(_VERSIONS)} "
            "are understood"
        )
    for name in _FILES:
        row = said.get(f"file.{name}")
        if row and row["value"] == "delta":
            wrong.append(
                f"manifest.csv, line {row.line}: {name}.csv has only what has changed (delta); ask for all "
                "of it (bulk)"
            )


def _by_id(name: str, rows: Sequence[Row], wrong: list[str]) -> dict[str, Row]:
    found: dict[str, Row] = {}
    for row in rows:
        key = row["sourcedId"]
        if not key:
            wrong.append(f"{name}.csv, line {row.line}: no sourcedId")
        elif key in found:
            wrong.append(
                f'{name}.csv, line {row.line}: the sourcedId "{key}" stands on line {found[key].line}, too'
            )
        else:
            found[key] = row
    return found


# -- what is in it ------------------------------------------------------------------------------------


def _chosen(path: Path, classes: Mapping[str, Row], sections: Sequence[str]) -> list[Row]:
    """The classes that were asked for, in the order of the file."""
    if not sections:
        return list(classes.values())
    names = ("title", "classCode", "sourcedId")
    for section in sections:
        if not any(section == row[name] for row in classes.values() for name in names):
            titles = [row["title"] for row in classes.values()]
            near = get_close_matches(section, titles, n=1, cutoff=0.5)
            hint = f'Did you mean "{near[0]}"?' if near else f"It has {', '.join(titles[:_LISTED_MOST])}."
            raise PlanError(f'{path} has no class "{section}". {hint}')
    return [row for row in classes.values() if any(row[name] in sections for name in names)]


def _titles(chosen: Sequence[Row]) -> dict[str, str]:
    """What each class is called in the roster, by its sourcedId: two of one title have their codes added."""
    count = Counter(row["title"] for row in chosen)
    return {
        row["sourcedId"]: row["title"]
        if count[row["title"]] == 1
        else f"{row['title']} ({row['classCode'] or row['sourcedId']})"
        for row in chosen
    }


def _enrolled(
    tables: _Tables, chosen: Sequence[Row], month: Month, wrong: list[str]
) -> tuple[list[_Pair], int]:
    """The students of the chosen classes, each with the class, and how many enrolments did not count."""
    found: dict[str, _Pair] = {}
    lines: dict[str, int] = {}
    left_out = 0
    wanted = {row["sourcedId"] for row in chosen}
    first, last = str(month.dates()[0]), str(month.dates()[-1])
    for row in tables.enrollments:
        where = f"enrollments.csv, line {row.line}"
        user, of = tables.users.get(row["userSourcedId"]), tables.classes.get(row["classSourcedId"])
        if row["classSourcedId"] not in wanted and of:
            continue
        if row["role"] != "student":
            continue
        if of is None:
            wrong.append(f'{where}: the class "{row["classSourcedId"]}" is not in classes.csv')
            continue
        if user is None:
            wrong.append(f'{where}: the user "{row["userSourcedId"]}" is not in users.csv')
            continue
        wrong += [
            f"{where}: {column} is no date: {row[column]}" for column in _DATES if not _is_date(row[column])
        ]
        # endDate is the first day on which the student is no longer there
        is_there = (row["beginDate"] or first) <= last and (row["endDate"] or "9999") > first
        if user["enabledUser"] == "false" or not is_there:
            left_out += 1
        elif user["sourcedId"] in found:
            other = found[user["sourcedId"]][1]
            if other["sourcedId"] != of["sourcedId"]:
                wrong.append(
                    f"{where}: {user['givenName']} {user['familyName']} is in {of['title']}, and by line "
                    f"{lines[user['sourcedId']]} in {other['title']}; choose classes with --section"
                )
        else:
            found[user["sourcedId"]] = (user, of)
            lines[user["sourcedId"]] = row.line
            wrong.extend(_bad_user(user))
    wrong.extend(_bad_class(row) for row in chosen if not row["title"].isprintable() or not row["title"])
    return list(found.values()), left_out


def _is_date(text: str) -> bool:
    if not text:
        return True
    try:
        return date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False


def _bad_user(user: Row) -> Iterator[str]:
    for column in ("givenName", "familyName"):
        if not user[column] or not user[column].isprintable():
            yield f"users.csv, line {user.line}: {column} is {'not printable' if user[column] else 'empty'}"


def _bad_class(row: Row) -> str:
    return f"classes.csv, line {row.line}: title is {'not printable' if row['title'] else 'empty'}"


def _term(of: Row, sessions: Mapping[str, Row], month: Month) -> str:
    """Of a class's terms the shortest that has some of the month in it; where that is not said, the first."""
    terms = [term.strip() for term in of["termSourcedIds"].split(",") if term.strip()]
    first, last = str(month.dates()[0]), str(month.dates()[-1])
    now = [
        (_days(session), term)
        for term in terms
        if (session := sessions.get(term))
        and _is_date(session["startDate"])
        and _is_date(session["endDate"])
        and session["startDate"] <= last
        and session["endDate"] > first
    ]
    return min(now)[1] if now else (terms[0] if terms else "")


def _days(session: Row) -> int:
    if not session["startDate"] or not session["endDate"]:
        return 10_000
    return (date.fromisoformat(session["endDate"]) - date.fromisoformat(session["startDate"])).days


def _refusal(path: Path, wrong: Sequence[str]) -> PlanError:
    more = f"; and {len(wrong) - _LISTED_MOST} more" if len(wrong) > _LISTED_MOST else ""
    return PlanError(
        f"{path} cannot be used, and nothing was taken from it: {'; '.join(wrong[:_LISTED_MOST])}{more}. "
        "Have that mended where the package comes from, and run the same command again."
    )
