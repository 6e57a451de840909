"""What a page of a PDF shows as text: where each letter lies in the picture, and the picture without it.

Text counts only where it is seen. Scanner programs lay what they take handwriting for over the scan, unseen;
such guesses must not pass for something that was typed.
"""

import ctypes
import math
import unicodedata
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import islice

import cv2
import numpy as np
import pypdfium2 as pdfium
from pypdfium2 import raw

from ingest.chart.code import parse_code
from ingest.chart.lettering import REGULAR
from ingest.collect.annotations import Annotations, Corners, Stroke
from ingest.printable import printable
from ingest.reading.values import Floats, Grey, Text, TextLayer

_LETTERS_MOST = 20_000  # a page of a book has 3,000
_OBJECTS_MOST = 50_000
_DEPTH_MOST = 8  # of forms within forms
_SEEN = 24  # of 255 by which a text must change the picture somewhere
_GAP = 0.5  # of a letter's height: more between letters, two spaces, and they belong to different texts
_OFF_LINE = 0.4  # of a letter's height: so far up or down, a letter is on another line

_OUR_TYPE = REGULAR.partition("-")[0]
_UNKNOWN = "\N{REPLACEMENT CHARACTER}"


@dataclass(frozen=True, slots=True)
class _Letter:
    """box: left, top, right, bottom, px. middle: of its ink. along: the unit vector of its line.

    owner: the thing on the page that it is part of, as PDFium numbers them; 0 for none.
    """

    text: str
    box: Corners
    middle: tuple[float, float]
    along: tuple[float, float]
    is_printed: bool
    owner: int


_BREAK = _Letter("\n", (0, 0, 0, 0), (0, 0), (1, 0), False, 0)


def text_layer(
    document: pdfium.PdfDocument, index: int, grey: Grey, scale: float, attached: Annotations | None
) -> TextLayer | None:
    """The text of a page, or None where no text is seen on it.

    grey: the whole page as `render` draws it at `scale`; strokes that PDFium leaves to others are added.
    attached: the page's annotations; None where it has none. They are drawn into the page for good, so do
        everything else with it before.
    """
    if attached is not None:
        with _opened(document, index) as page:
            raw.FPDFPage_Flatten(page, raw.FLAT_NORMALDISPLAY)
    with _opened(document, index) as page:
        to_picture = _Transform.of(page, grey)
        strokes = attached.strokes if attached else ()
        _draw(strokes, to_picture, grey)
        letters = list(_letters(page, to_picture))
        unknown = {letter.owner for letter in letters if _is_unknown(letter.text)}
        letters = [letter for letter in letters if letter.owner not in unknown]
        shown = _hide_text(page, unknown)
        fields = attached.fields if attached else ()
        notes = attached.notes if attached else ()
        if not (letters and shown) and not fields and not notes:
            return None
        bare = render(page, scale) if shown else grey
        _draw(strokes, to_picture, bare)
    if bare.shape != grey.shape:  # the page is not what it was: nothing can be compared
        return None
    texts = [stretch.as_text() for stretch in _stretches(letters) if stretch.is_seen(grey, bare)]
    for field in fields:
        middle = to_picture.box(field.place).mean(axis=0, keepdims=True)
        texts.append(Text(field.value, middle, field.box, is_field=True))
    for note in notes:
        middle = to_picture.box(note.place).mean(axis=0, keepdims=True)
        texts.append(Text(note.text, middle, is_aside=note.is_pinned))
    codes = {code for text in texts if not text.is_field and (code := parse_code(text.text))}
    code = attached.code if attached and attached.code else codes.pop() if len(codes) == 1 else None
    return TextLayer(
        texts=tuple(texts),
        corners={field.box: to_picture.box(field.place) for field in fields if field.box},
        bare=bare,
        code=code,
        challenge=attached.challenge if attached else None,
    )


def _draw(strokes: Sequence[Stroke], to_picture: "_Transform", picture: Grey) -> None:
    """PDFium draws no dots of ink and no lines that come without a look."""
    scale = math.sqrt(abs(np.linalg.det(to_picture.matrix[:, :2])))
    for stroke in strokes:
        points = np.array(stroke.points) @ to_picture.matrix[:, :2].T + to_picture.matrix[:, 2]
        fixed = np.rint(points * 2**_SHIFT).astype(np.int32)
        tone, width = round(255 * min(max(stroke.grey, 0), 1)), max(1.0, stroke.width * scale)
        cv2.polylines(picture, [fixed], False, tone, round(width), cv2.LINE_AA, _SHIFT)
        for x, y in fixed[[0, -1]].tolist():  # round ends, and the whole of a dot
            cv2.circle(picture, (x, y), round(width / 2 * 2**_SHIFT), tone, -1, cv2.LINE_AA, _SHIFT)


_SHIFT = 4  # fractional bits of OpenCV's drawing coordinates


def beginning(layer: TextLayer) -> str:
    """The first words of what is typed, to tell a document by."""
    words = " ".join(printable(text.text) for text in layer.texts[:_WORDS_MOST])
    return words if len(words) <= _BEGINNING else f"{words[:_BEGINNING].rstrip()}…"


_WORDS_MOST, _BEGINNING = 20, 40


def render(page: pdfium.PdfPage, scale: float) -> Grey:
    """The page as it is shown. scale: pixels a point."""
    bitmap = page.render(scale=scale, grayscale=True)
    try:
        grey: Grey = np.array(bitmap.to_numpy(), dtype=np.uint8).reshape(bitmap.height, bitmap.width)
    finally:
        bitmap.close()
    return grey


@contextmanager
def _opened(document: pdfium.PdfDocument, index: int) -> Iterator[pdfium.PdfPage]:
    page = document[index]
    try:
        yield page
    finally:
        page.close()


@dataclass(frozen=True, slots=True, eq=False)
class _Transform:
    """From points of the page, as the file counts them, to pixels. matrix: shape (2, 3)."""

    matrix: Floats

    @classmethod
    def of(cls, page: pdfium.PdfPage, grey: Grey) -> "_Transform":
        """The same that `render` draws with: it knows of turned and cut pages."""
        fine = 256  # pdfium gives whole pixels
        height, width = grey.shape
        ends = []
        for x, y in ((0, 0), (1000, 0), (0, 1000)):
            right, down = ctypes.c_int(), ctypes.c_int()
            raw.FPDF_PageToDevice(page, 0, 0, width * fine, height * fine, 0, x, y, right, down)
            ends.append((right.value / fine, down.value / fine))
        (x0, y0), (x1, y1), (x2, y2) = ends
        return cls(
            np.array(
                [
                    [(x1 - x0) / 1000, (x2 - x0) / 1000, x0 - 0.5],
                    [(y1 - y0) / 1000, (y2 - y0) / 1000, y0 - 0.5],
                ]
            )
        )

    def box(self, corners: Corners) -> Floats:
        """The corners of a rectangle, shape (4, 2), clockwise from its top left as the file has it."""
        left, bottom, right, top = corners
        points = np.array([[left, top], [right, top], [right, bottom], [left, bottom]])
        return np.asarray(points @ self.matrix[:, :2].T + self.matrix[:, 2])


def _letters(page: pdfium.PdfPage, to_picture: _Transform) -> Iterator[_Letter]:
    """All letters in the order in which the page has them; breaks between lines have no box."""
    text_page = page.get_textpage()
    try:
        fonts: dict[int, bool] = {}
        tight = [ctypes.c_double() for _ in range(4)]  # left, right, bottom, top
        loose, turn = raw.FS_RECTF(), raw.FS_MATRIX()
        for n in range(min(text_page.count_chars(), _LETTERS_MOST)):
            code = raw.FPDFText_GetUnicode(text_page, n)
            letter = chr(code) if 0 < code < 0x110000 else _UNKNOWN
            if raw.FPDFText_IsHyphen(text_page, n) == 1:  # one that ends a line has a code of PDFium's own
                letter = "-"
            elif raw.FPDFText_HasUnicodeMapError(text_page, n) == 1:
                letter = _UNKNOWN
            if letter in "\r\n":
                yield _BREAK
                continue
            if not raw.FPDFText_GetCharBox(text_page, n, *tight) or not raw.FPDFText_GetLooseCharBox(
                text_page, n, loose
            ):
                continue
            left, right, bottom, top = (side.value for side in tight)
            around = to_picture.box((loose.left, loose.bottom, loose.right, loose.top))
            middle = to_picture.box((left, bottom, right, top)).mean(axis=0)
            if not (np.isfinite(around).all() and np.isfinite(middle).all()):
                continue
            owner = ctypes.cast(raw.FPDFText_GetTextObject(text_page, n), ctypes.c_void_p).value or 0
            if owner not in fonts:
                fonts[owner] = _is_ours(text_page, n)
            (x0, y0), (x1, y1) = around.min(axis=0), around.max(axis=0)
            raw.FPDFText_GetMatrix(text_page, n, turn)
            right, down = to_picture.matrix[:, :2] @ (turn.a, turn.b)
            long = math.hypot(right, down)
            along = (right / long, down / long) if long > 0 else (1.0, 0.0)
            inked = float(middle[0]), float(middle[1])
            yield _Letter(letter, (x0, y0, x1, y1), inked, along, fonts[owner], owner)
    finally:
        text_page.close()


def _is_unknown(letter: str) -> bool:
    """Whether a font does not say what its letter is. What is set in such a font, only the picture shows."""
    category = unicodedata.category(letter)
    return letter == _UNKNOWN or (category in ("Cc", "Cn", "Co", "Cs") and not letter.isspace())


def _is_ours(text_page: pdfium.PdfTextPage, n: int) -> bool:
    """Whether a letter is set in the type that charts are printed in."""
    name = ctypes.create_string_buffer(128)
    raw.FPDFText_GetFontInfo(text_page, n, name, len(name), ctypes.c_int())
    return name.value.decode("ascii", "replace").rpartition("+")[2].startswith(_OUR_TYPE)


def _hide_text(page: pdfium.PdfPage, unknown: Collection[int]) -> bool:
    """Take the text out of what is drawn of the page, with the lines around text boxes.

    unknown: of text that cannot be read as such and stays, since it is as good as ink.
    Returns whether any of the rest could have been seen.
    """
    could_be_seen = False
    kinds = (raw.FPDF_PAGEOBJ_TEXT, raw.FPDF_PAGEOBJ_PATH)
    for thing in islice(page.get_objects(filter=kinds, max_depth=_DEPTH_MOST), _OBJECTS_MOST):
        if thing.type == raw.FPDF_PAGEOBJ_TEXT:
            if ctypes.cast(thing.raw, ctypes.c_void_p).value in unknown:
                continue
            could_be_seen |= raw.FPDFTextObj_GetTextRenderMode(thing) not in _UNSEEN_MODES
            raw.FPDFPageObj_SetIsActive(thing, False)
        elif (rectangles := _rectangles(thing)) == 1:  # its filling may cover what lies beneath
            filling = ctypes.c_int()
            raw.FPDFPath_GetDrawMode(thing, filling, ctypes.c_int())
            raw.FPDFPath_SetDrawMode(thing, filling, False)
        elif rectangles == 2:  # a filled line, as PDFium itself draws it around a text box
            raw.FPDFPageObj_SetIsActive(thing, False)
    return could_be_seen


def _rectangles(path: pdfium.PdfObject) -> int:
    """1 or 2 where a path is so many upright rectangles, which nobody draws by hand, and nothing else; or 0.

    Thin ones do not count: they may be lines that strike something out.
    """
    count = raw.FPDFPath_CountSegments(path)
    if not 4 <= count <= 10:
        return 0
    parts: list[list[tuple[float, float]]] = []
    x, y = ctypes.c_float(), ctypes.c_float()
    for n in range(count):
        segment = raw.FPDFPath_GetPathSegment(path, n)
        kind = raw.FPDFPathSegment_GetType(segment)
        if kind == raw.FPDF_SEGMENT_MOVETO:
            parts.append([])
        if kind == raw.FPDF_SEGMENT_BEZIERTO or not parts:
            return 0
        raw.FPDFPathSegment_GetPoint(segment, x, y)
        parts[-1].append((round(x.value, 2), round(y.value, 2)))
    return len(parts) if len(parts) <= 2 and all(_is_rectangle(part) for part in parts) else 0


def _is_rectangle(corners: Sequence[tuple[float, float]]) -> bool:
    xs, ys = {x for x, _ in corners}, {y for _, y in corners}
    if not (4 <= len(corners) <= 5 and len(xs) == len(ys) == 2):
        return False
    short, long = sorted((max(xs) - min(xs), max(ys) - min(ys)))
    return long < _THIN * short


_THIN = 8  # times as long as wide
_UNSEEN_MODES = (raw.FPDF_TEXTRENDERMODE_INVISIBLE, raw.FPDF_TEXTRENDERMODE_CLIP)


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Letters without a gap between them."""

    letters: Sequence[_Letter]
    text: str

    @classmethod
    def of(cls, letters: Sequence[_Letter]) -> "_Stretch":
        return cls(tuple(letters), "".join(letter.text for letter in letters).strip())

    def as_text(self) -> Text:
        middles = np.array([letter.middle for letter in self.letters if letter.text != " "])
        return Text(self.text, middles, is_printed=all(letter.is_printed for letter in self.letters))

    def is_seen(self, grey: Grey, bare: Grey) -> bool:
        """Whether the picture is another one where the text stands."""
        boxes = np.array([letter.box for letter in self.letters])
        left, top = np.maximum(np.floor(boxes[:, :2].min(axis=0)), 0).astype(int)
        right, bottom = np.maximum(np.ceil(boxes[:, 2:].max(axis=0)) + 1, 0).astype(int)
        with_text, without = grey[top:bottom, left:right], bare[top:bottom, left:right]
        return bool((np.abs(with_text.astype(np.int16) - without) >= _SEEN).any())


def _stretches(letters: Sequence[_Letter]) -> list[_Stretch]:
    found: list[_Stretch] = []
    now: list[_Letter] = []
    for letter in (*letters, _BREAK):
        is_space = letter.text.isspace()
        if is_space and letter is not _BREAK and now and now[-1].text != " ":
            now.append(replace(now[-1], text=" "))
        elif is_space or (now and not _goes_on(now[-1], letter)):
            stretch = _Stretch.of(now)
            if stretch.text:
                found.append(stretch)
            now = [] if is_space else [letter]
        else:
            now.append(letter)
    return found


def _goes_on(one: _Letter, other: _Letter) -> bool:
    """Whether a letter stands next to another, on the same line."""
    size = max(_height(one), _height(other))
    x, y = (b - a for a, b in zip(_centre(one), _centre(other), strict=True))
    ahead = x * one.along[0] + y * one.along[1]
    beside = abs(y * one.along[0] - x * one.along[1])
    if ahead < 0 and unicodedata.bidirectional(other.text) not in ("R", "AL"):
        return False
    return beside < _OFF_LINE * size and _gap(one, other) <= _GAP * size


def _centre(letter: _Letter) -> tuple[float, float]:
    left, top, right, bottom = letter.box
    return (left + right) / 2, (top + bottom) / 2


def _height(letter: _Letter) -> float:
    left, top, right, bottom = letter.box
    return max(right - left, bottom - top)


def _gap(one: _Letter, other: _Letter) -> float:
    """How far apart two letters' boxes are, px; 0 where they touch."""
    across = max(one.box[0], other.box[0]) - min(one.box[2], other.box[2])
    down = max(one.box[1], other.box[1]) - min(one.box[3], other.box[3])
    return math.hypot(max(across, 0), max(down, 0))
