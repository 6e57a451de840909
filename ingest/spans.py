"""A CSV file as it is written: where each cell stands, so that one can be changed and the rest left alone.

`csv` says what cells mean, but not where they were, and writing its rows again makes another file: other
quotation marks, other line ends. Here the meaning is `csv`'s own, and every cell keeps its place in the text.
"""

import re
from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

SEPARATORS = ",;\t|"
_QUOTE = '"'
_ENDS = "\r\n"


@dataclass(frozen=True, slots=True)
class CellAt:
    """One cell. start, end: in characters, quotation marks included. text: what it means."""

    start: int
    end: int
    text: str


@dataclass(frozen=True, slots=True)
class RowAt:
    """One row. start, end: with its line end, which the last row may lack. cells: none in an empty line."""

    start: int
    end: int
    cells: Sequence[CellAt]

    @property
    def texts(self) -> list[str]:
        return [cell.text for cell in self.cells]


def split(text: str, separator: str = ",") -> list[RowAt]:
    """The rows of a text, as `csv.reader` understands it, which is mild: nothing is refused.

    separator: one character. Lines end in LF, CRLF or CR, each as it likes.
    """
    rows: list[RowAt] = []
    at = 0
    while at < len(text):
        start = at
        cells: list[CellAt] = []
        if text[at] not in _ENDS:
            at = _cells(text, separator, at, cells)
        at += 2 if text.startswith("\r\n", at) else at < len(text)
        rows.append(RowAt(start, at, cells))
    return rows


def _cells(text: str, separator: str, at: int, cells: list[CellAt]) -> int:
    """Add the cells of the row that starts here; where its line end stands, or the text ends."""
    while True:
        start = at
        meant = []
        if text.startswith(_QUOTE, at):
            at += 1
            while at < len(text):
                close = text.find(_QUOTE, at)
                close = len(text) if close < 0 else close
                meant.append(text[at:close])
                at = min(close + 1, len(text))
                if not text.startswith(_QUOTE, at):
                    break
                meant.append(_QUOTE)
                at += 1
        plain = at  # what follows a closed quotation mark is taken as it stands
        while at < len(text) and text[at] != separator and text[at] not in _ENDS:
            at += 1
        meant.append(text[plain:at])
        cells.append(CellAt(start, at, "".join(meant)))
        if not text.startswith(separator, at):
            return at
        at += 1


@dataclass(frozen=True, slots=True)
class Encoded:
    """A file's text and how to get its bytes back. mark: the byte order mark, as it stands there."""

    text: str
    encoding: str
    mark: bytes

    def encode(self, text: str) -> bytes:
        """Raises UnicodeEncodeError for a letter that the file's encoding lacks."""
        return self.mark + text.encode(self.encoding)


_MARKS = ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"))


def decode(data: bytes) -> Encoded | None:
    """What spreadsheets and school systems save: UTF-8 or UTF-16 with a mark or without, or cp1252.

    None if it is no text, or if the same bytes would not come back.
    """
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            return _decoded(data[len(mark) :], encoding, mark)
    for encoding in _unmarked(data):
        if found := _decoded(data, encoding, b""):
            return found
    return None


def _unmarked(data: bytes) -> Iterable[str]:
    # UTF-16 of western text has a zero in every second byte; no other encoding here has any.
    if b"\0" not in data:
        return ("utf-8", "cp1252")
    return ("utf-16-le",) if data[1::2].count(0) > data[::2].count(0) else ("utf-16-be",)


def _decoded(data: bytes, encoding: str, mark: bytes) -> Encoded | None:
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        return None
    if "\0" in text or text.encode(encoding) != data:
        return None
    return Encoded(text, encoding, mark)


def replaced(text: str, changes: Mapping[tuple[int, int], str]) -> str:
    """The text with other text in the spans given, which must not overlap; an empty span is put in."""
    parts, at = [], 0
    for (start, end), new in sorted(changes.items()):
        if start < at:
            raise ValueError(f"spans overlap at {start}")
        parts += [text[at:start], new]
        at = end
    return "".join([*parts, text[at:]])


def line_of(text: str, rows: Sequence[RowAt]) -> Sequence[int]:
    """For each row, the line of the file on which it starts, from 1, as an editor counts."""
    ends = [end.end() for end in re.finditer(r"\r\n|\r|\n", text)]
    return [bisect_right(ends, row.start) + 1 for row in rows]
