"""The school's own gradebook export with one column filled, and every other byte as it was."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from ingest.errors import DayboxError
from ingest.plan.roster import Student
from ingest.report.gradebook import points_text
from ingest.report.school_table import Found, SchoolTable, columns_of, owners, read_table
from ingest.spans import RowAt, replaced
from ingest.tally.standing import Standing
from ingest.tally.student import Tally

_DECIMAL_COMMA = re.compile(r"\d+,\d+")
_DECIMAL_POINT = re.compile(r"\d+\.\d+")

# What a cell can be filled with, as in the gradebook. Each says nothing (None) while an open question could
# still change it.
FIGURES: Mapping[str, Callable[[Tally, Standing | None], str | None]] = {
    "points": lambda tally, _: None if tally.points is None else points_text(tally.points),
    "met": lambda tally, _: None if tally.met is None else "yes" if tally.met else "no",
    "total_minutes": lambda tally, _: _settled(tally, tally.total_minutes),
    "weekend_minutes": lambda tally, _: _settled(tally, tally.weekend_minutes),
    "days_met": lambda tally, _: _settled(tally, tally.days_met),
    "standing": lambda _, standing: str(standing.place) if standing and standing.place else None,
}


def _settled(tally: Tally, figure: int) -> str | None:
    return None if tally.open_flags else str(figure)


@dataclass(frozen=True, slots=True)
class Written:
    """A cell that was filled. before: what stood there. line: of the file, from 1."""

    line: int
    student: Student
    by: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Left:
    """A row whose cell was left as it was. why: in words; student: None if it is nobody's for sure."""

    line: int
    student: Student | None
    why: str


@dataclass(frozen=True, slots=True)
class Filled:
    """content: the whole file.

    not_in: not handed in, so no mark. open: an open question could still change the mark.
    doubts: rows that may be a student's. strangers: rows of others, or of no student, with what they say.
    absent: students of the roster of whom there is no row.
    """

    content: bytes
    written: Sequence[Written]
    not_in: Sequence[Left]
    open: Sequence[Left]
    doubts: Sequence[Left]
    strangers: Sequence[Left]
    absent: Sequence[Student]


def fill(
    data: bytes,
    where: str,
    column: str,
    figure: str,
    tallies: Sequence[Tally],
    standings: Mapping[str, Standing],
    is_new: bool = False,
) -> Filled:
    """Fill one column of an export.

    where: names the file in messages. figure: one of FIGURES. is_new: add the column, at the right end.
    Nobody who did not hand in gets anything: that is no mark of zero.

    Raises DayboxError if the file cannot be understood; nothing about it is guessed.
    """
    table = read_table(data, where, column, is_new)
    place = len(table.header.cells) if is_new else columns_of(table.header.texts, column)[0]
    whose = owners(table, [tally.student for tally in tallies], None if is_new else place)
    by_id = {tally.student.id: tally for tally in tallies}
    comma = _writes_commas(table)
    written: list[Written] = []
    not_in: list[Left] = []
    still_open: list[Left] = []
    values: dict[int, str] = {}
    for found in whose.found:
        tally = by_id[found.student.id]
        value = FIGURES[figure](tally, standings.get(found.student.id))
        line = table.lines[found.row]
        if not tally.handed_in and not tally.open_flags:
            not_in.append(Left(line, found.student, "nothing handed in"))
        elif value is None or not tally.handed_in:
            still_open.append(Left(line, found.student, _count(tally.open_flags)))
        else:
            value = value.replace(".", ",") if comma else value
            values[found.row] = value
            written.append(_written(found, line, table.rows[found.row], place, value))
    changes = _new_column(table, column, values) if is_new else _changes(table, place, values)
    try:
        content = table.encoded.encode(replaced(table.encoded.text, changes))
    except UnicodeEncodeError as error:
        raise DayboxError(
            f'{where} is in the encoding {table.encoded.encoding}, which lacks letters of "{column}". Give '
            "the new column another name."
        ) from error
    there = {found.student.id for found in whose.found}
    return Filled(
        content,
        written,
        not_in,
        still_open,
        [Left(table.lines[each.row], None, each.why) for each in whose.doubts],
        [Left(table.lines[row], None, _said(table.rows[row])) for row in whose.strangers],
        [tally.student for tally in tallies if tally.student.id not in there],
    )


def _written(found: Found, line: int, row: RowAt, place: int, value: str) -> Written:
    before = row.cells[place].text if place < len(row.cells) else ""
    return Written(line, found.student, found.by, before, value)


def _count(open_flags: int) -> str:
    if not open_flags:
        return "open, since others' questions could change it"
    return "1 open question" if open_flags == 1 else f"{open_flags} open questions"


def _said(row: RowAt) -> str:
    return ", ".join(text.strip() for text in row.texts if text.strip())[:60]


def _writes_commas(table: SchoolTable) -> bool:
    """Whether the file's own numbers have a decimal comma."""
    cells = [text.strip() for row in table.rows for text in row.texts]
    return any(map(_DECIMAL_COMMA.fullmatch, cells)) and not any(map(_DECIMAL_POINT.fullmatch, cells))


# -- where the bytes go -------------------------------------------------------------------------------


def _changes(table: SchoolTable, place: int, values: Mapping[int, str]) -> dict[tuple[int, int], str]:
    """The spans of the column's cells; of a row that ends before it, what is lacking is put in."""
    changes = {}
    for number, value in values.items():
        row = table.rows[number]
        if place < len(row.cells):
            cell = row.cells[place]
            is_quoted = _is_quoted(table, row, place)
            changes[cell.start, cell.end] = _cell(value, table.separator, is_quoted)
        else:
            lacking = table.separator * (place + 1 - len(row.cells))
            end = row.cells[-1].end
            changes[end, end] = lacking + _cell(value, table.separator, False)
    return changes


def _new_column(table: SchoolTable, column: str, values: Mapping[int, str]) -> dict[tuple[int, int], str]:
    """A cell more at the end of the header and of every row that is as wide; title rows stay as they are."""
    width = len(table.header.cells)
    changes = {}
    for number, row in enumerate([table.header, *table.rows], start=-1):
        value = column if number < 0 else values.get(number, "")
        if len(row.cells) > width:
            raise DayboxError(
                f"{table.where}: line {table.lines[number]} has {len(row.cells)} cells, and the header "
                f"{width}, so a new column would not stand below its heading. Add the column in the school's "
                "gradebook, export again, and leave out --add-column."
            )
        if not row.cells or (len(row.cells) < width and not value):
            continue
        end = row.cells[-1].end
        lacking = table.separator * (width + 1 - len(row.cells))
        is_quoted = _is_quoted(table, row, len(row.cells) - 1)
        changes[end, end] = lacking + _cell(value, table.separator, is_quoted)
    return changes


def _is_quoted(table: SchoolTable, row: RowAt, place: int) -> bool:
    return table.encoded.text.startswith('"', row.cells[place].start)


def _cell(value: str, separator: str, is_quoted: bool) -> str:
    """A cell as RFC 4180 has it, in quotation marks where the one before was, or where it must be."""
    if is_quoted or any(sign in value for sign in (separator, '"', "\r", "\n")):
        return '"' + value.replace('"', '""') + '"'
    return value
