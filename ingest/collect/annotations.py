"""What is attached to the pages of a PDF: what a form's fields hold, and notes whose look is left to viewers.

Values are read from the file as they were typed, whatever their look shows; what the look shows is on the
page for `text_layer` to find.
"""

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

from pypdf import PdfReader
from pypdf.generic import ArrayObject, DictionaryObject, StreamObject

from ingest.chart.code import parse_code

Corners = tuple[float, float, float, float]  # left, bottom, right, top in points of the page, y upwards

_ANNOTATIONS_MOST = 5000  # of one page that are looked at; a chart has some fifty
_ANCESTORS_MOST = 16
_TEXT_MOST = 200  # letters; nobody writes more into a box
_UNSEEN = 1 | 2 | 32  # Invisible, Hidden, NoView: bits 1, 2 and 6 (ISO 32000-1, table 165)

# The names of the boxes in `charts.layout.json`; a program that joins files may number those alike.
_BOX = re.compile(r"((?:day|outside):\d{4}-\d\d-\d\d|(?:week|initials):\d|month|name)(?:[#_ -]\d+)?")


@dataclass(frozen=True, slots=True)
class Field:
    """A field for text. box: that its name means, or "". value: "" where nothing was typed."""

    box: str
    value: str
    place: Corners


@dataclass(frozen=True, slots=True)
class Note:
    """Text that a viewer shows at a place. is_pinned: only when it is asked for, from a symbol there."""

    text: str
    place: Corners
    is_pinned: bool


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line that viewers draw. points: x and y of the page. width: points. grey: 0 black .. 1 white."""

    points: Sequence[tuple[float, float]]
    width: float
    grey: float


@dataclass(frozen=True, slots=True)
class Annotations:
    """Of one page. code, challenge: what most of its fields' names say, or None.

    strokes: of drawings that come without a look.
    """

    fields: Sequence[Field] = ()
    notes: Sequence[Note] = ()
    strokes: Sequence[Stroke] = ()
    code: str | None = None
    challenge: str | None = None


class AnnotatedFile:
    """The annotations of a PDF, page by page; it is opened when the first is asked for."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._reader: PdfReader | None = None

    def on_page(self, index: int) -> Annotations:
        """index: 0 for the first. Nothing where the file is such that they cannot be had."""
        try:
            if self._reader is None:
                self._reader = PdfReader(self._path)  # which tries the empty password by itself
            return _sorted_out(_annotations(self._reader, index))
        except Exception:  # as in `pictures.open_pages`; what was typed is still to be seen on the page
            return Annotations()


def _annotations(reader: PdfReader, index: int) -> list[DictionaryObject]:
    array = _value(reader.pages[index], "/Annots")
    if not isinstance(array, ArrayObject):
        return []
    found = [entry.get_object() for entry in islice(array, _ANNOTATIONS_MOST)]
    return [
        entry
        for entry in found
        if isinstance(entry, DictionaryObject) and not int(_value(entry, "/F") or 0) & _UNSEEN
    ]


def _value(entry: DictionaryObject, key: str) -> Any:
    """What stands there, wherever in the file it lies; None for nothing."""
    return entry[key] if key in entry else None  # noqa: SIM401 - `get` does not follow references


def _sorted_out(annotations: Sequence[DictionaryObject]) -> Annotations:
    fields: list[Field] = []
    notes: list[Note] = []
    strokes: list[Stroke] = []
    codes: Counter[str] = Counter()
    months: Counter[str] = Counter()
    for entry in annotations:
        place = _place(entry)
        if place is None:
            continue
        kind = _value(entry, "/Subtype")
        if kind == "/Widget" and _inherited(entry, "/FT") == "/Tx":
            names = _names(entry)
            box = next((found[1] for name in names if (found := _BOX.fullmatch(name))), "")
            codes.update(code for name in names if (code := parse_code(name)))
            if box.startswith("day:"):
                months[box[4:11]] += 1
            fields.append(Field(box, _text(_inherited(entry, "/V")), place))
        elif kind == "/FreeText" and not _has_look(entry):
            notes.append(Note(_text(_value(entry, "/Contents")), place, is_pinned=False))
        elif kind == "/Text":
            notes.append(Note(_text(_value(entry, "/Contents")), place, is_pinned=True))
        elif kind in _DRAWINGS and not _has_look(entry):
            strokes += _strokes(entry, _DRAWINGS[kind])
    return Annotations(fields, notes, strokes[:_STROKES_MOST], _most(codes), _most(months))


def _most(counted: Counter[str]) -> str | None:
    return counted.most_common(1)[0][0] if counted else None


def _place(entry: DictionaryObject) -> Corners | None:
    array = _value(entry, "/Rect")
    if not isinstance(array, ArrayObject) or len(array) != 4:
        return None
    x0, y0, x1, y1 = (float(number.get_object()) for number in array)
    return min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)


def _with_ancestors(entry: DictionaryObject) -> Iterator[DictionaryObject]:
    """A field and what it is part of (ISO 32000-1, 12.7.3.2)."""
    part: Any = entry
    for _ in range(_ANCESTORS_MOST):
        if not isinstance(part, DictionaryObject):
            return
        yield part
        part = _value(part, "/Parent")


def _inherited(entry: DictionaryObject, key: str) -> Any:
    return next((part[key] for part in _with_ancestors(entry) if key in part), None)


def _names(entry: DictionaryObject) -> list[str]:
    """The parts of a field's full name, its own first; some programs put all of them into one part."""
    names = (str(part["/T"]) for part in _with_ancestors(entry) if "/T" in part)
    return [part for name in names for part in reversed(name.split("."))]


def _text(value: Any) -> str:
    """A text string, a stream of text where it is long, or a number as some programs put it."""
    if isinstance(value, StreamObject):
        value = value.get_data()[: 4 * _TEXT_MOST].decode("utf-8", "replace")
    elif isinstance(value, bytes):
        value = value.decode("latin-1")
    return str(value)[:_TEXT_MOST] if isinstance(value, str | int | float) else ""


def _strokes(entry: DictionaryObject, key: str) -> list[Stroke]:
    """The lines of a drawing (ISO 32000-1, 12.5.6.7, 12.5.6.9 and 12.5.6.13)."""
    lists = _value(entry, key)
    if not isinstance(lists, ArrayObject):
        return []
    style, color = _value(entry, "/BS"), _value(entry, "/C")
    width = _value(style, "/W") if isinstance(style, DictionaryObject) else None
    found = []
    for each in lists if key == "/InkList" else [lists]:
        line = each.get_object()
        if not isinstance(line, ArrayObject):
            continue
        numbers = [float(number.get_object()) for number in islice(line, _NUMBERS_MOST)]
        points = list(zip(numbers[::2], numbers[1::2], strict=False))
        if points and all(abs(number) < _FARTHEST for number in numbers):
            found.append(Stroke(points, min(max(float(width or 1), 0.5), 20), _grey(color)))
    return found


def _grey(color: Any) -> float:
    """By the weights of ITU-R BT.601, which PDFium and Pillow use, too. What says no color is drawn black."""
    parts = [float(part.get_object()) for part in color] if isinstance(color, ArrayObject) else []
    if len(parts) == 3:
        return 0.299 * parts[0] + 0.587 * parts[1] + 0.114 * parts[2]
    if len(parts) == 4:  # cyan, magenta, yellow, black
        return (1 - parts[3]) * (1 - (0.299 * parts[0] + 0.587 * parts[1] + 0.114 * parts[2]))
    return parts[0] if len(parts) == 1 else 0.0


_DRAWINGS = {"/Ink": "/InkList", "/Line": "/L", "/PolyLine": "/Vertices"}
_STROKES_MOST, _NUMBERS_MOST, _FARTHEST = 5000, 20_000, 1e5


def _has_look(entry: DictionaryObject) -> bool:
    look = _value(entry, "/AP")
    return isinstance(look, DictionaryObject) and "/N" in look
