"""Words in any script, ready to be drawn: which font, which glyphs, in which order.

Sizes: everything here is in ems, that is, for type of size 1.
"""

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, cached_property, lru_cache
from itertools import groupby
from pathlib import Path

import uharfbuzz
from bidi import algorithm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from ingest import shipped

REGULAR = "Andika-Regular"
BOLD = "Andika-Bold"

# Which font serves the scripts other than Latin and Cyrillic, by Unicode blocks (first, last), and
# before Andika, which has a few of their letters as signs. What a font covers is asked of the font, so
# the blocks may be generous.
_SCRIPTS = [
    (0x0370, 0x03FF, "NotoSansGreek"),
    (0x1F00, 0x1FFF, "NotoSansGreek"),
    (0x0530, 0x058F, "NotoSansArmenian"),
    (0xFB13, 0xFB17, "NotoSansArmenian"),
    (0x0590, 0x05FF, "NotoSansHebrew"),
    (0xFB1D, 0xFB4F, "NotoSansHebrew"),
    (0x0600, 0x08FF, "NotoSansArabic"),
    (0xFB50, 0xFDFF, "NotoSansArabic"),
    (0xFE70, 0xFEFF, "NotoSansArabic"),
    (0x0900, 0x097F, "NotoSansDevanagari"),
    (0x0980, 0x09FF, "NotoSansBengali"),
    (0x0A00, 0x0A7F, "NotoSansGurmukhi"),
    (0x0A80, 0x0AFF, "NotoSansGujarati"),
    (0x0B80, 0x0BFF, "NotoSansTamil"),
    (0x0C00, 0x0C7F, "NotoSansTelugu"),
    (0x0C80, 0x0CFF, "NotoSansKannada"),
    (0x0D00, 0x0D7F, "NotoSansMalayalam"),
    (0x0D80, 0x0DFF, "NotoSansSinhala"),
    (0x0E00, 0x0E7F, "NotoSansThai"),
    (0x0E80, 0x0EFF, "NotoSansLao"),
    (0x1000, 0x109F, "NotoSansMyanmar"),
    (0x10A0, 0x10FF, "NotoSansGeorgian"),
    (0x1C90, 0x1CBF, "NotoSansGeorgian"),
    (0x1200, 0x139F, "NotoSansEthiopic"),
    (0x1780, 0x17FF, "NotoSansKhmer"),
    (0x3130, 0x318F, "BaekmukDotum"),
    (0x2E80, 0x9FFF, "DroidSansFallback"),
    (0xAC00, 0xD7A3, "BaekmukDotum"),
    (0xF900, 0xFAFF, "DroidSansFallback"),
    (0xFF00, 0xFFEF, "DroidSansFallback"),
]

_MISSING = "\N{REPLACEMENT CHARACTER}"  # stands for a letter that no font has; Andika has it

# Kerning and optional ligatures are left off: without them Latin text needs no shaping, so that it is
# written as ordinary PDF text.
_FEATURES = {"kern": False, "liga": False, "clig": False}


@dataclass(frozen=True, slots=True)
class Glyph:
    """One glyph of a shaped run: its number in the font, and where it stands (ems, y upwards)."""

    number: int
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Run:
    """Letters of one font and one direction.

    text: from left to right, as PDF has it, so that letters of Arabic and Hebrew are in reverse.
    glyphs: from left to right. width: ems.
    plain: the font's own glyph for each letter, one after the other, is right.
    """

    face: "Face"
    text: str
    glyphs: tuple[Glyph, ...]
    width: float
    plain: bool


class Face:
    """One font file. `load_face` keeps each that was used once."""

    def __init__(self, path: Path) -> None:
        self.name = path.stem
        self._blob = uharfbuzz.Blob.from_file_path(str(path))
        self._face = uharfbuzz.Face(self._blob)
        self._path = path
        self.font = uharfbuzz.Font(self._face)
        self.upem: int = self._face.upem
        self.letters: frozenset[int] = frozenset(self._face.unicodes)

    @cached_property
    def pdf_name(self) -> str:
        """The name under which reportlab knows the font; registers it."""
        pdfmetrics.registerFont(TTFont(self.name, str(self._path)))
        return self.name

    def shape(self, text: str, right_to_left: bool) -> Run:
        buffer = uharfbuzz.Buffer()
        buffer.add_str(text)
        buffer.guess_segment_properties()
        buffer.direction = "rtl" if right_to_left else "ltr"
        uharfbuzz.shape(self.font, buffer, _FEATURES)
        x = 0
        glyphs: list[Glyph] = []
        plain = not right_to_left and len(buffer.glyph_infos) == len(text)
        for place, (info, position) in enumerate(
            zip(buffer.glyph_infos, buffer.glyph_positions, strict=True)
        ):
            glyphs.append(
                Glyph(info.codepoint, (x + position.x_offset) / self.upem, position.y_offset / self.upem)
            )
            x += position.x_advance
            plain = (
                plain
                and info.codepoint == self.font.get_nominal_glyph(ord(text[place]))
                and position.x_advance == self.font.get_glyph_h_advance(info.codepoint)
                and not (position.x_offset or position.y_offset)
            )
        seen = text[::-1] if right_to_left else text
        return Run(self, seen, tuple(glyphs), x / self.upem, plain)


@cache  # two dozen fonts at most
def load_face(name: str) -> Face:
    return Face(shipped.templates() / "fonts" / f"{name}.ttf")


@lru_cache(maxsize=4096)
def typeset(text: str, name: str = REGULAR) -> tuple[Run, ...]:
    """The runs of a line, from left to right. name: the font to be used wherever it has the letters.

    Never fails: control characters are dropped, and a letter that no font has becomes a question mark
    in a lozenge.
    """
    line = "".join(
        " " if letter.isspace() else letter
        for letter in unicodedata.normalize("NFC", text)
        if letter.isspace() or unicodedata.category(letter) not in ("Cc", "Cs", "Co", "Cn")
    )
    runs = []
    for level, letters in _visual_order(line):
        for face, part in _by_face(letters, load_face(name)):
            runs.append((level, face.shape(part, right_to_left=level % 2 == 1)))
    return tuple(run for _, run in _reordered(runs))


def width(runs: Sequence[Run]) -> float:
    """Ems."""
    return sum(run.width for run in runs)


def wrap(text: str, room: float, name: str = REGULAR) -> list[str]:
    """Break a paragraph into lines of at most `room` ems; a word that is too long breaks anywhere."""
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if width(typeset(longer, name)) <= room:
            lines[-1] = longer
            continue
        if lines[-1]:
            lines.append("")
        for letter in word:  # also how scripts without spaces are broken
            if lines[-1] and width(typeset(lines[-1] + letter, name)) > room:
                lines.append("")
            lines[-1] += letter
    return lines


def _visual_order(line: str) -> list[tuple[int, str]]:
    """Stretches of one embedding level, by the Unicode Bidirectional Algorithm (UAX 9), as read."""
    storage = algorithm.get_empty_storage()
    base = algorithm.get_base_level(line)
    storage["base_level"] = base
    storage["base_dir"] = ("L", "R")[base]
    algorithm.get_embedding_levels(line, storage)
    algorithm.explicit_embed_and_overrides(storage)
    algorithm.resolve_weak_types(storage)
    algorithm.resolve_neutral_types(storage, False)
    algorithm.resolve_implicit_levels(storage, False)
    return [
        (level, "".join(char["ch"] for char in chars))
        for level, chars in groupby(storage["chars"], key=lambda char: int(char["level"]))
    ]


def _reordered(runs: list[tuple[int, Run]]) -> list[tuple[int, Run]]:
    """UAX 9, rule L2, on whole runs: reverse each stretch at or above every level, highest first."""
    for level in range(max((level for level, _ in runs), default=0), 0, -1):
        ordered: list[tuple[int, Run]] = []
        for high, group in groupby(runs, key=lambda run: run[0] >= level):
            stretch = list(group)
            ordered += reversed(stretch) if high else stretch
        runs = ordered
    return runs


def _by_face(text: str, first: Face) -> list[tuple[Face, str]]:
    """Cut text where the font changes; accents and joiners stay with the letter before."""
    pieces: list[tuple[Face, str]] = []
    for letter in text:
        joins = unicodedata.category(letter) in ("Mn", "Mc", "Me", "Cf") or letter == " "
        if pieces and joins and (letter == " " or ord(letter) in pieces[-1][0].letters):
            face, before = pieces[-1]
            if ord(letter) in face.letters:
                pieces[-1] = (face, before + letter)
                continue
        if unicodedata.category(letter) == "Cf" and ord(letter) not in first.letters:
            continue  # invisible and unknown: nothing to show
        face = _face_for(letter, first)
        shown = letter if ord(letter) in face.letters else _MISSING
        if pieces and pieces[-1][0] is face:
            pieces[-1] = (face, pieces[-1][1] + shown)
        else:
            pieces.append((face, shown))
    return pieces


def _face_for(letter: str, first: Face) -> Face:
    point = ord(letter)
    for start, end, name in _SCRIPTS:
        if start <= point <= end and point in (face := load_face(name)).letters:
            return face
    return first
