"""A table that came out of the school's gradebook: where its header is, and whom each row is about.

Such exports differ: title rows above, rows of averages or possible points among the students, headings of all
kinds. So a row is known by what it says, not by where it stands, and whatever is in doubt is refused.
"""

import csv
import io
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from ingest.errors import DayboxError
from ingest.plan.names import is_same_child
from ingest.plan.roster import Student, meaning_of
from ingest.spans import SEPARATORS, Encoded, RowAt, decode, line_of, split

_HEADER_WITHIN = 20  # rows from the top
_SEPARATOR_LINE = re.compile(r"sep=(.)(?=[\r\n]|\Z)")  # spreadsheet programs put it first
_ABOUT_STUDENTS = frozenset({"student_id", "email", "name", "first_name", "last_name"})
# Without a heading that says so, a column is the students' if at least this share of its cells is; and an
# id of digits alone only from this length on, since marks are numbers, too. Assumptions, no source.
_MOST_CELLS = 0.5
_LONG_ID = 4
_CLOSE_NAME = 0.8  # of difflib's ratio, from which a name may be a misspelt one


@dataclass(frozen=True, slots=True)
class SchoolTable:
    """where: names the file in messages. rows: those below the header. lines: theirs, from 1."""

    where: str
    encoded: Encoded
    separator: str
    header: RowAt
    rows: Sequence[RowAt]
    lines: Sequence[int]


@dataclass(frozen=True, slots=True)
class Found:
    """A row that is one student's. by: what tells, "id", "e-mail" or "name"."""

    row: int
    student: Student
    by: str


@dataclass(frozen=True, slots=True)
class Doubt:
    """A row that may be a student's, and why that is not sure."""

    row: int
    why: str


@dataclass(frozen=True, slots=True)
class Owners:
    """Whose rows are whose, by their places in `SchoolTable.rows`.

    strangers: rows that name somebody or something, but nobody of the roster. Rows that do not are in none.
    """

    found: Sequence[Found]
    doubts: Sequence[Doubt]
    strangers: Sequence[int]


# -- the header ---------------------------------------------------------------------------------------


def read_table(data: bytes, where: str, column: str, is_new: bool = False) -> SchoolTable:
    """Find the header: the row, near the top, that has the column, and tells of students.

    is_new: the column is not there yet. Raises DayboxError if the file is no text, or has no such header.
    """
    encoded = decode(data)
    if encoded is None:
        raise DayboxError(
            f"{where} is no CSV text. Export the gradebook as CSV, not as a spreadsheet program's own file, "
            "and run the same command again."
        )
    own = _SEPARATOR_LINE.match(encoded.text)
    best: tuple[tuple[bool, int, int], str, int, list[RowAt]] | None = None
    for separator in own[1] if own else SEPARATORS:
        rows = split(encoded.text, separator)
        for at in range(1 if own else 0, min(len(rows), _HEADER_WITHIN)):
            texts = rows[at].texts
            known = len({meaning_of(text) for text in texts} & _ABOUT_STUDENTS)
            score = (bool(columns_of(texts, column)), known, len(texts))
            if best is None or score > best[0]:
                best = (score, separator, at, rows)
    if best is None:
        raise DayboxError(f"{where} is empty. Export the gradebook again, and run the same command again.")
    _, separator, at, rows = best
    _refuse_torn(where, encoded.text, separator)
    _check_column(where, column, rows[at].texts, is_new)
    lines = line_of(encoded.text, rows)
    return SchoolTable(where, encoded, separator, rows[at], rows[at + 1 :], lines[at + 1 :])


def _refuse_torn(where: str, text: str, separator: str) -> None:
    """A quotation mark that is not closed swallows rows, and what is filled in would wipe them out."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    try:
        for _ in reader:
            pass
    except csv.Error as error:
        raise DayboxError(
            f"{where}: line {reader.line_num} has a quotation mark that is never closed, or that ends in the "
            "middle of a cell. Export the gradebook again, or mend that line."
        ) from error


def columns_of(header: Sequence[str], column: str) -> list[int]:
    """Which cells have this heading, to the letter; if none has, but for capitals and blanks."""
    exact = [place for place, text in enumerate(header) if text == column]
    return exact or [place for place, text in enumerate(header) if _folded(text) == _folded(column)]


def _check_column(where: str, column: str, header: Sequence[str], is_new: bool) -> None:
    places = columns_of(header, column)
    if is_new and places:
        raise DayboxError(
            f'{where} has a column "{column}" already. Leave out --add-column to fill it, or give the '
            "new one another name."
        )
    if len(places) > 1:
        raise DayboxError(
            f'{where} has {len(places)} columns "{column}", so it cannot be told which is meant. Rename one '
            "in the school's gradebook, export again, and run the same command again."
        )
    if is_new or places:
        return
    names = {_folded(text): text.strip() for text in header if text.strip()}
    close = [name for folded, name in names.items() if _folded(column) in folded or folded in _folded(column)]
    close = close or [names[each] for each in get_close_matches(_folded(column), names, n=3)]
    hint = f"Did you mean {' or '.join(map(_quoted, close[:3]))}? " if close else ""
    raise DayboxError(
        f'{where} has no column "{column}". {hint}It has {_all(names.values())}. '
        "Give one of these with --column, or have a new one added with --add-column."
    )


def _all(names: Iterable[str]) -> str:
    return ", ".join(map(_quoted, names)) or "none"


def _quoted(name: str) -> str:
    return f'"{name}"'


def _folded(text: str) -> str:
    """Without capitals, accents and outer or double blanks."""
    apart = unicodedata.normalize("NFKD", text.casefold())
    plain = "".join(letter for letter in apart if not unicodedata.combining(letter))
    return " ".join(plain.split())


# -- whose row is it? ---------------------------------------------------------------------------------


class _Roster:
    """Whom an id, an address or a name means."""

    def __init__(self, students: Sequence[Student]) -> None:
        self.by_id = {_folded(each.id): each for each in students}
        self._by_mail: dict[str, list[Student]] = {}
        self._by_name: dict[str, dict[str, Student]] = {}
        for each in students:
            if mail := _folded(each.extra.get("email", "")):
                self._by_mail.setdefault(mail, []).append(each)
            for name in (each.name, f"{each.last_name} {each.first_name}"):
                self._by_name.setdefault(_letters(name), {})[each.id] = each
        self.names = [each.name for each in students]

    def mailed(self, text: str) -> Student | None:
        """Brothers and sisters may share a parent's address; then it is nobody's."""
        owners = self._by_mail.get(_folded(text), [])
        return owners[0] if len(owners) == 1 else None

    def named(self, name: str) -> dict[str, Student]:
        """By id, all who are called so, whichever name comes first."""
        return self._by_name.get(_letters(name), {})


def _letters(name: str) -> str:
    """Letters and digits alone: "Marsh, Ana" as "Marsh Ana", "O'Brien" as "OBrien"."""
    return "".join(letter for letter in _folded(name) if letter.isalnum())


@dataclass(frozen=True, slots=True)
class _Columns:
    """Where rows say whom they are about; None where they do not."""

    id: int | None
    mail: int | None
    name: int | None
    first: int | None
    last: int | None


def owners(table: SchoolTable, students: Sequence[Student], besides: int | None = None) -> Owners:
    """Whose each row is. besides: the column to be filled, which tells nothing."""
    roster = _Roster(students)
    texts = [row.texts for row in table.rows]
    columns = _columns(table.header.texts, texts, roster, besides)
    if columns == _Columns(None, None, None, None, None):
        raise DayboxError(
            f"{table.where}: no column has ids, e-mail addresses or names of the roster's students. Check "
            "that it is the right class, or export it with a column of these."
        )
    found: list[Found] = []
    doubts: list[Doubt] = []
    strangers = []
    for row, cells in enumerate(texts):
        match _owner(row, _Said.of(cells, columns), set(map(_folded, cells)), roster):
            case Found() as one:
                found.append(one)
            case Doubt() as doubt:
                doubts.append(doubt)
            case True:
                strangers.append(row)
    rows_of: dict[str, list[int]] = {}
    for one in found:
        rows_of.setdefault(one.student.id, []).append(one.row)
    for rows in rows_of.values():
        if len(rows) > 1:
            at = " and ".join(str(table.lines[row]) for row in rows)
            doubts += [Doubt(row, f"the same student stands on lines {at}") for row in rows]
    once = [one for one in found if len(rows_of[one.student.id]) == 1]
    return Owners(once, sorted(doubts, key=lambda doubt: doubt.row), strangers)


def _columns(
    header: Sequence[str], rows: Sequence[Sequence[str]], roster: _Roster, besides: int | None
) -> _Columns:
    """By headings, and where those say nothing, by what stands in the columns."""
    ids: list[tuple[int, int]] = []  # how many rows, the column
    mails, names, firsts, lasts = [], [], [], []
    for place, heading in enumerate(header):
        if place == besides:
            continue
        meaning = meaning_of(heading)
        cells = [cells[place] for cells in rows if len(cells) > place and cells[place].strip()]
        known = [_folded(cell) for cell in cells if _folded(cell) in roster.by_id]
        is_most = len(set(known)) >= _MOST_CELLS * max(1, len(cells))
        if known and (meaning == "student_id" or (is_most and not any(map(_is_like_a_mark, known)))):
            ids.append((len(known), -place))
        if any(roster.mailed(cell) for cell in cells):
            mails.append((sum(roster.mailed(cell) is not None for cell in cells), -place))
        is_named = sum(bool(roster.named(cell)) for cell in cells) >= _MOST_CELLS * max(1, len(cells))
        if meaning == "name" or (cells and is_named and not meaning):
            names.append(place)
        if meaning == "first_name":
            firsts.append(place)
        if meaning == "last_name":
            lasts.append(place)
    has_both = bool(firsts and lasts)
    return _Columns(
        -max(ids)[1] if ids else None,
        -max(mails)[1] if mails else None,
        names[0] if names else None,
        firsts[0] if has_both else None,
        lasts[0] if has_both else None,
    )


def _is_like_a_mark(text: str) -> bool:
    return text.isdigit() and len(text) < _LONG_ID


@dataclass(frozen=True, slots=True)
class _Said:
    """What a row says of whom it is about; "" where it says nothing."""

    id: str
    mail: str
    name: str

    @classmethod
    def of(cls, cells: Sequence[str], columns: _Columns) -> "_Said":
        def cell(place: int | None) -> str:
            return cells[place].strip() if place is not None and place < len(cells) else ""

        whole = cell(columns.name)
        last, comma, first = whole.partition(",")
        whole = f"{first.strip()} {last.strip()}" if comma else whole
        return cls(
            cell(columns.id),
            cell(columns.mail),
            whole or f"{cell(columns.first)} {cell(columns.last)}".strip(),
        )


def _owner(row: int, said: _Said, cells: set[str], roster: _Roster) -> Found | Doubt | bool:
    """Whose a row is; True for a stranger's, False for one that says nothing of anybody."""
    by_id = roster.by_id.get(_folded(said.id)) if said.id else None
    by_mail = roster.mailed(said.mail) if said.mail else None
    named = roster.named(said.name)
    if by_id and by_mail and by_id != by_mail:
        return Doubt(row, f"the id is {by_id.name}'s, but the e-mail address {by_mail.name}'s")
    if sure := by_id or by_mail:
        what = "id" if by_id else "e-mail"
        if said.name and sure.id not in named and (named or not is_same_child(said.name, sure.name)):
            return Doubt(row, f'the {what} is {sure.name}\'s, but the name says "{said.name}"')
        if not by_id and said.id and sure.id not in named:
            return Doubt(row, f'the e-mail is {sure.name}\'s, but the id "{said.id}" is not')
        return Found(row, sure, what)
    if len(named) > 1:  # namesakes: the section may tell
        named = {key: each for key, each in named.items() if _folded(each.section) in cells} or named
    if len(named) > 1:
        return Doubt(row, f"{' and '.join(each.id for each in named.values())} are both called {said.name}")
    for student in named.values():
        if said.id and said.id.lstrip("0") != student.id.lstrip("0"):
            return Doubt(row, f'the name is {student.name}\'s, but the id "{said.id}" is not')
        return Found(row, student, "name")
    return _stranger(row, said, roster)


def _stranger(row: int, said: _Said, roster: _Roster) -> Doubt | bool:
    if said.name:
        close = get_close_matches(said.name, roster.names, n=2, cutoff=_CLOSE_NAME)
        if close:
            return Doubt(row, f'"{said.name}" is not on the roster; perhaps {" or ".join(close)}')
    if said.id:
        bare = [each for each in roster.by_id.values() if each.id.lstrip("0") == said.id.lstrip("0") != ""]
        if bare:
            return Doubt(row, f'the id "{said.id}" may be {bare[0].id}, {bare[0].name}')
    return bool(said.name or said.id or said.mail)
