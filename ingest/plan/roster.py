"""`roster.csv`: who takes part.

Rosters come out of school systems and spreadsheets, so headings, separators and encodings vary; what
they mean is worked out here, and anything doubtful is refused by its line. Nothing is taken from a file
unless all of it is good.
"""

import csv
import io
import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from ingest.errors import PlanError
from ingest.spans import decode, line_of, replaced, split


@dataclass(frozen=True, slots=True)
class Student:
    """One row of `roster.csv`."""

    id: str
    first_name: str
    last_name: str
    section: str
    extra: Mapping[str, str] = field(default_factory=dict)  # the other columns, in the file's order

    @property
    def name(self) -> str:
        return f"{self.first_name} {self.last_name}".strip()


REQUIRED = ("student_id", "first_name", "last_name", "section")

# Headings as schools write them, folded by `_folded`: no accents, capitals, spaces or signs.
# Common practice, no source, but for OneRoster's givenName and familyName.
_HEADINGS = {
    "student_id": "studentid id idnumber idno studentnumber studentno studentidnumber localid pupilid "
    "identifier idestudiante iddeestudiante iddelestudiante idalumno iddealumno iddelalumno matricula "
    "numerodeestudiante numerodealumno numerodematricula identificacion",
    "first_name": "firstname first given givenname givennames forename forenames nombres primernombre",
    "last_name": "lastname last surname surnames family familyname apellido apellidos primerapellido",
    "section": "section sectionname class classname classperiod period group homeroom block "
    "seccion clase periodo grupo salon aula",
    "instrument": "instrument instrumento",
    "email": "email emailaddress correo correoelectronico",
    "school": "school schoolname escuela colegio",
    "name": "name nombre student studentname fullname pupil pupilname nombrecompleto alumno estudiante "
    "nombreyapellido nombreyapellidos apellidoynombre apellidosynombres apellidosynombre",
}
_MEANINGS = {heading: meaning for meaning, all_ in _HEADINGS.items() for heading in all_.split()}

# Little words that open a family name: "Ana de la Cruz" is Ana, family de la Cruz.
_PARTICLES = frozenset(
    {
        "da",
        "das",
        "de",
        "del",
        "della",
        "der",
        "di",
        "do",
        "dos",
        "du",
        "la",
        "las",
        "le",
        "los",
        "van",
        "von",
    }
)

_MOST_BYTES = 5_000_000  # ten thousand times what a student takes; above this it is some other file
_LONGEST = 100  # characters; longer than any name, so a sign of a lost separator
_LONGEST_EXTRA = 1000

# Line breaks and other controls, and marks that turn the writing direction of what follows. Joiners
# (U+200C, U+200D) are let through: names in several scripts need them.
_CONTROLS = re.compile("[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
_BLANKS = re.compile(r"[^\S\r\n\t]+")  # no-break spaces, too
_INVISIBLE = "\u200b\u200e\u200f\ufeff"  # web pages leave these at the ends of copied text
_SHORTENED = re.compile(r"[0-9][.,][0-9]+E\+[0-9]+")  # what spreadsheets make of long numbers


@dataclass(frozen=True, slots=True)
class _Columns:
    """Where things stand in a row, counted from 0.

    required: for each of REQUIRED, or with "name" (a whole name) for both names.
    extra: for every other column, under its heading.
    """

    required: Mapping[str, int]
    extra: Mapping[str, int]


_Row = tuple[int, list[str]]  # the line of the file on which the row starts, from 1; its cells
_Problem = tuple[int, str]  # the same line; what is wrong there


def load_roster(path: Path) -> tuple[Student, ...]:
    """Read the students, in the file's order.

    Raises PlanError that names everything wrong with the file, by line.
    """
    if not path.is_file():
        raise PlanError(
            f"There is no roster {path}. Save your class list there as CSV, with the columns "
            f"{', '.join(REQUIRED)}, and run the same command again."
        )
    if path.stat().st_size > _MOST_BYTES:
        raise PlanError(
            f"{path} has {path.stat().st_size / 1e6:.0f} MB, and a roster of 500 students has less than one. "
            "Check that it is the right file, then run the same command again."
        )
    return parse_roster(path.read_bytes(), str(path))


def parse_roster(data: bytes, where: str) -> tuple[Student, ...]:
    """Read the students from a file's bytes; `where` names the file in messages. Raises PlanError."""
    return tuple(student for _, student in _lines_and_students(data, where))


def without_student(data: bytes, where: str, student_id: str) -> bytes:
    """A roster's bytes without the line of one student, and all else as it was. Raises PlanError."""
    lines = {line for line, student in _lines_and_students(data, where) if student.id == student_id}
    found = decode(data)
    assert found is not None  # or the students could not have been read
    rows = split(found.text, _separator(found.text))
    gone = {
        (row.start, row.end): ""
        for row, line in zip(rows, line_of(found.text, rows), strict=True)
        if line in lines
    }
    return found.encode(replaced(found.text, gone))


def _lines_and_students(data: bytes, where: str) -> list[tuple[int, Student]]:
    """The students with the lines of the file on which they stand."""
    rows, problems = _rows(_text(data, where))
    if problems and not rows:
        raise _refusal(where, problems)
    header_line, header = rows[0] if rows else (1, [])
    columns, wrong = _columns(header, [cells for _, cells in rows[1:]])
    if wrong:
        raise _refusal(where, [(header_line, what) for what in wrong])
    students = []
    for line, cells in rows[1:]:
        if len(cells) != len(header):
            hint = "; a cell that holds a comma needs quotation marks" if len(cells) > len(header) else ""
            problems.append((line, f"{len(cells)} cells where the header has {len(header)}{hint}"))
            continue
        student, wrong = _student(cells, columns)
        students.append((line, student))
        problems.extend((line, what) for what in wrong)
    problems.extend(_shared_ids(students))
    if problems:
        raise _refusal(where, problems)
    if not students:
        raise PlanError(
            f"{where} has no students yet. Fill in a line for each, under the header, and run the same "
            "command again."
        )
    return students


def _text(data: bytes, where: str) -> str:
    """Decode what spreadsheets save: UTF-16 or UTF-8 with a mark, UTF-8 without, Windows' western letters."""
    marked = data.startswith((b"\xff\xfe", b"\xfe\xff"))
    for encoding in ("utf-16",) if marked else ("utf-8-sig", "cp1252"):
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:  # else it is a spreadsheet's own format, or UTF-16 without a mark
            return text
    raise PlanError(
        f'{where} is no CSV text. Open it in your spreadsheet program, choose "Save as" and the type '
        "CSV UTF-8, and run the same command again."
    )


def _rows(text: str) -> tuple[list[_Row], list[_Problem]]:
    """All rows but empty ones, split at the sign that gives the most headings that we know."""
    rows: list[_Row] = []
    line = 1
    try:
        reader = csv.reader(_lines(text), delimiter=_separator(text), strict=True)
        for cells in reader:
            clean = [_clean(cell) for cell in cells]
            if any(clean):
                rows.append((line, clean))
            line = reader.line_num + 1  # a quoted cell may run over several lines
    except csv.Error:
        return rows, [(line, "a quotation mark that is never closed, or that ends in the middle of a cell")]
    return rows, []


def _separator(text: str) -> str:
    first = next((one for one in _lines(text) if one.strip()), "")
    return max(",;\t", key=lambda sign: _known(next(csv.reader([first], delimiter=sign), [])))


def _lines(text: str) -> Iterator[str]:
    """The lines with their ends, whichever of LF, CRLF and CR they are."""
    return io.StringIO(text, newline="")


def _clean(cell: str) -> str:
    """Without outer blanks, and with accented letters spelled in one way (NFC), so that equal names match."""
    return unicodedata.normalize("NFC", cell).strip().strip(_INVISIBLE).strip()


def _folded(heading: str) -> str:
    """A heading without accents, capitals, blanks and signs."""
    apart = unicodedata.normalize("NFKD", heading.casefold())
    return "".join(letter for letter in apart if letter.isalnum())


def meaning_of(heading: str) -> str:
    """What a heading means, as schools write them: "student_id", "name" ...; "" for any other."""
    return _MEANINGS.get(_folded(heading), "")


def _known(headings: Iterable[str]) -> int:
    return sum(_folded(heading) in _MEANINGS for heading in headings)


def _columns(header: Sequence[str], rows: Sequence[Sequence[str]]) -> tuple[_Columns, list[str]]:
    """What the headings mean, and what is wrong with them."""
    holders: dict[str, list[int]] = {}  # meaning -> columns
    for place, heading in enumerate(header):
        if meaning := _MEANINGS.get(_folded(heading)):
            holders.setdefault(meaning, []).append(place)
    if "last_name" in holders and "name" in holders:
        whole = holders.pop("name")
        holders.setdefault("first_name", whole)  # "Name, Surname"; else it stands beside both names: an extra

    wrong = list(_bad_headings(header, rows))
    places: dict[str, int] = {}
    for meaning, columns in holders.items():
        named = [place for place in columns if _folded(header[place]) == meaning.replace("_", "")]
        if len(columns) == 1 or len(named) == 1:
            places[meaning] = (named or columns)[0]
        elif meaning in (*REQUIRED, "name"):
            several = " and ".join(f'"{header[place]}"' for place in columns)
            wrong.append(f"{several} could each be the {meaning}; give the one that you mean this heading")

    required = {meaning: places[meaning] for meaning in (*REQUIRED, "name") if meaning in places}
    lacking = [meaning for meaning in REQUIRED if meaning not in holders]
    if "name" in holders:
        lacking = [meaning for meaning in lacking if not meaning.endswith("_name")]
    if lacking:
        there = ", ".join(f'"{heading}"' for heading in header) or "nothing"
        wrong.append(f"no column for {', '.join(lacking)}; the header has {there}")

    names = {place: meaning for meaning, place in places.items()}
    taken = set(required.values())
    extra = {
        names.get(place, heading): place
        for place, heading in enumerate(header)
        if heading and place not in taken
    }
    return _Columns(required, extra), wrong


def _bad_headings(header: Sequence[str], rows: Sequence[Sequence[str]]) -> Iterator[str]:
    seen: set[str] = set()
    for place, heading in enumerate(header):
        if not heading and any(len(cells) > place and cells[place] for cells in rows):
            yield f"column {place + 1} has content, but no heading"
        if heading and heading.casefold() in seen:
            yield f'the heading "{heading}" stands there more than once'
        if _CONTROLS.search(heading):
            yield f"the heading of column {place + 1} has a line break or a control character"
        seen.add(heading.casefold())


def _student(cells: Sequence[str], columns: _Columns) -> tuple[Student, list[str]]:
    """The student of one row, and what is wrong with the row."""
    wrong = []
    found = {key: _BLANKS.sub(" ", cells[place]) for key, place in columns.required.items()}
    if "name" in found:
        found["first_name"], found["last_name"] = _split(found.pop("name"))
    for key in REQUIRED:
        text = found[key]
        if not text:
            wrong.append(f"no {key}")
        elif _CONTROLS.search(text):
            wrong.append(f"a line break or a control character in {key}")
        elif len(text) > _LONGEST:
            wrong.append(f"{key} has {len(text)} characters, more than {_LONGEST}")
        elif "\ufffd" in text or (key.endswith("_name") and "?" in text):
            wrong.append(f'a letter of {key} was lost when the file was saved: "{text}"')
        elif key == "student_id" and _SHORTENED.fullmatch(text):
            wrong.append(f'a spreadsheet shortened the student_id to "{text}"; format that column as text')
    extra = {heading: cells[place] for heading, place in columns.extra.items()}
    for heading, text in extra.items():
        if _CONTROLS.search(re.sub(r"[\r\n\t]", "", text)):
            wrong.append(f"a control character in {heading}")
        if len(text) > _LONGEST_EXTRA:
            wrong.append(f"{heading} has {len(text)} characters, more than {_LONGEST_EXTRA}")
    return Student(
        found["student_id"], found["first_name"], found["last_name"], found["section"], extra
    ), wrong


def _split(name: str) -> tuple[str, str]:
    """A whole name as first and last name: "Lopez, Maria" at the comma, "Maria Lopez" at the last space.

    The last name is "" where there is nothing to split at.
    """
    if "," in name:
        last, _, first = (part.strip() for part in name.partition(","))
        return first, last
    words = name.split(" ")
    start = len(words) - 1
    while start > 1 and words[start - 1].lower() in _PARTICLES:
        start -= 1
    return " ".join(words[:start]) or name, " ".join(words[start:]) if start else ""


def _shared_ids(students: Sequence[tuple[int, Student]]) -> Iterator[_Problem]:
    count = Counter(student.id for _, student in students)
    for line, student in students:
        if student.id and count[student.id] > 1:
            yield line, f'the student_id "{student.id}" is not the only one'


def _refusal(where: str, problems: Iterable[_Problem]) -> PlanError:
    """One paragraph with every problem, the lines that share one named together."""
    lines: dict[str, list[int]] = {}
    for line, what in sorted(problems, key=lambda problem: problem[0]):
        lines.setdefault(what, []).append(line)
    told = [
        f"line{'s' if len(at) > 1 else ''} {', '.join(map(str, at))}: {what}" for what, at in lines.items()
    ]
    return PlanError(
        f"{where} cannot be used, and nothing was taken from it: {'; '.join(told)}. Mend what is named and "
        "run the same command again."
    )
