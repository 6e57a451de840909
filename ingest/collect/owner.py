"""Whose return is it, by the names of its file and folders? A guess, which a person must confirm."""

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeAlias

import numpy as np
from rapidfuzz import fuzz, process

from ingest.plan.roster import Student


@dataclass(frozen=True, slots=True)
class Guess:
    """student_id: "" where no student is meant more clearly than all others. score: 0..100."""

    student_id: str
    score: float


NOBODY = Guess("", 0.0)

ALIKE_LEAST = 75.0  # of 100, below which two words are not one word misspelt: one letter in four differs
HALF_A_NAME = 0.5  # what a first or a last name alone is worth
PART_OF_A_NAME = 0.95  # what one of two last names is worth, as against both
TOGETHER_LEAST = 90.0  # the same for first and last name written as one word
LEAD_LEAST = 10.0  # by how much the best guess, unless it is exact, must lead
WORDS_MOST = 3  # words that may make up one part of a name: van den Berg

# Words that file names and folders carry anyway. They count in a whole name, not by themselves: April
# Jones is found by "April Jones", and not by the folder "April". English and Spanish; common practice.
_NOISE_WORDS = """
img image photo foto picture pic scan scanned escaneo document doc file archivo copy copia final late
tarde submission attempt practice practica chart charts log sheet hoja page pagina band class clase
section period january february march april may june july august september october november december enero
febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre jpg jpeg png heic webp
tif tiff bmp gif pdf zip pxl dsc screenshot whatsapp camera mobile new the and for of de
"""
_NOISE = frozenset(_NOISE_WORDS.split())


def guess_owner(label: str, roster: Sequence[Student]) -> Guess:
    """The student whom a label such as `october.zip/Lopez Maria_late_123/IMG_1.jpg` seems to name.

    100: the whole name stands there, or the student id. 50 and less: only half a name, which nobody
    else has. Two students who fit about as well give nobody, and so do an id and a name at odds.
    """
    by_id = _by_id(label, roster)
    by_name = _by_name(label, roster)
    if by_id.student_id and by_name.student_id not in ("", by_id.student_id):
        return by_id if by_name.score <= 100 * HALF_A_NAME else NOBODY
    return by_id if by_id.score >= by_name.score else by_name


# -- by id --------------------------------------------------------------------------------------------


def _by_id(label: str, roster: Sequence[Student]) -> Guess:
    """The one student whose id stands in the label as a word of its own.

    Bare numbers are everywhere in file names (dates, cameras' counters), so a short one counts only where it
    is the whole name of the file or of a folder.
    """
    folded = unicodedata.normalize("NFKC", label).casefold()
    stems = {re.sub(r"\.\w{2,4}$", "", part) for part in folded.split("/")}
    found = []
    for student in roster:
        wanted = student.id.casefold()
        if wanted in stems:
            found.append(Guess(student.id, 100.0))
        elif wanted in folded and re.search(rf"(?<![^\W_]){re.escape(wanted)}(?![^\W_])", folded):
            if not wanted.isdigit():
                found.append(Guess(student.id, 100.0))
            elif len(wanted) >= 5:
                found.append(Guess(student.id, 90.0))
    return found[0] if len(found) == 1 else NOBODY


# -- by name ------------------------------------------------------------------------------------------

_Names: TypeAlias = tuple[tuple[str, str], ...]  # first and last names, in the roster's order


def _by_name(label: str, roster: Sequence[Student]) -> Guess:
    names = tuple((student.first_name, student.last_name) for student in roster)
    parts = [_words(part) for part in label.split("/")]
    scores = _highest([_scores(words, names) for words in parts])
    if len(parts) > 1 and max(scores.values(), default=0.0) <= 100 * HALF_A_NAME:
        # `Lopez/Maria/1.jpg` names one student in two parts
        scores = _highest([scores, _scores(tuple(word for words in parts for word in words), names)])
    ranked = sorted(scores, key=lambda place: -scores[place])
    if not ranked:
        return NOBODY
    best = scores[ranked[0]]
    second = scores[ranked[1]] if len(ranked) > 1 else 0.0
    is_clear = second < best if best == 100 else second <= best - LEAD_LEAST
    return Guess(roster[ranked[0]].id, best) if is_clear else NOBODY


def _highest(tables: Sequence[Mapping[int, float]]) -> dict[int, float]:
    scores: dict[int, float] = {}
    for table in tables:
        for place, score in table.items():
            scores[place] = max(score, scores.get(place, 0.0))
    return scores


@lru_cache(maxsize=4096)
def _words(text: str) -> tuple[str, ...]:
    """The words of a name: no capitals, accents, digits or signs; `MariaLopez` is two."""
    apart = re.sub(r"(?<=[a-zß-ÿ])(?=[A-ZÀ-Þ])", " ", unicodedata.normalize("NFC", text))
    plain = _folded(re.sub(r"['’‘`´]", "", apart))  # O'Brien is one word
    return tuple(re.findall(r"[^\W\d_]+", plain))


# Letters that Unicode does not take apart into a plain one and a mark.
_PLAIN = str.maketrans({"ł": "l", "ø": "o", "đ": "d", "ð": "d", "þ": "th", "æ": "ae", "œ": "oe", "ı": "i"})


def _folded(text: str) -> str:
    apart = unicodedata.normalize("NFKD", text.casefold())
    return "".join(letter for letter in apart if not unicodedata.combining(letter)).translate(_PLAIN)


@dataclass(frozen=True, slots=True)
class _Forms:
    """The ways in which a student's name may be written, each as one word without blanks.

    whole: first and last name run together, in either order.
    first, last: all words of that part run together, or only some of them.
    """

    whole: tuple[str, ...]
    first: tuple[str, ...]
    last: tuple[str, ...]


@lru_cache(maxsize=2)
def _forms(names: _Names) -> tuple[_Forms, ...]:
    found = []
    for first_name, last_name in names:
        first, last = _words(first_name), _words(last_name)
        joined = "".join(first), "".join(last)
        found.append(
            _Forms(
                (joined[0] + joined[1], joined[1] + joined[0]),
                tuple(dict.fromkeys((joined[0], *first[:1]))),
                tuple(dict.fromkeys((joined[1], *(word for word in last if len(word) > 3)))),
            )
        )
    return tuple(found)


@lru_cache(maxsize=2)
def _vocabulary(names: _Names) -> Mapping[str, set[int]]:
    """All forms of all names, with the places in the roster of those who have them."""
    places: dict[str, set[int]] = {}
    for place, student in enumerate(_forms(names)):
        for form in (*student.whole, *student.first, *student.last):
            if form:
                places.setdefault(form, set()).add(place)
    return places


@lru_cache(maxsize=4096)
def _scores(words: tuple[str, ...], names: _Names) -> Mapping[int, float]:
    """How well words name each student, 0..100, by place in the roster; those not named are left out."""
    if _NOISE.issuperset(words):
        return {}
    spans = [
        (start, end)
        for start in range(len(words))
        for end in range(start + 1, min(start + WORDS_MOST, len(words)) + 1)
    ]
    texts = ["".join(words[start:end]) for start, end in spans]
    vocabulary = _vocabulary(names)
    spellings = tuple(vocabulary)
    table = process.cdist(spellings, texts, scorer=fuzz.ratio, score_cutoff=ALIKE_LEAST)
    found: dict[str, dict[_Span, float]] = {}
    for row, column in np.argwhere(table):
        found.setdefault(spellings[row], {})[spans[column]] = float(table[row, column])
    forms = _forms(names)
    named = sorted(set().union(*(vocabulary[form] for form in found)))
    scores = {place: _score(forms[place], found, words) for place in named}
    return {place: score for place, score in scores.items() if score}


_Span: TypeAlias = tuple[int, int]  # first word, and the word after the last


def _score(forms: _Forms, found: Mapping[str, Mapping[_Span, float]], words: Sequence[str]) -> float:
    """found: for each form, the spans of words that are like it, and how like, 0..100."""
    together = [  # almost exact only: `Lopez` is not a misspelt Sam Lopez
        alike
        for form in forms.whole
        for (start, end), alike in found.get(form, {}).items()
        if end == start + 1 and alike >= TOGETHER_LEAST
    ]
    first, last = (_matches(part, found) for part in (forms.first, forms.last))
    lengths = len(forms.first[0]), len(forms.last[0])
    apart = [
        (a * lengths[0] + b * lengths[1]) / sum(lengths)
        for one, a in first.items()
        for other, b in last.items()
        if one[1] <= other[0] or other[1] <= one[0]  # "Lee" alone is not Lee Lee
    ]
    half = [
        HALF_A_NAME * alike
        for span, alike in (*first.items(), *last.items())
        if alike >= 100 * PART_OF_A_NAME and not _NOISE.issuperset(words[slice(*span)])
    ]
    return max((*together, *apart, *half), default=0.0)


def _matches(forms: Sequence[str], found: Mapping[str, Mapping[_Span, float]]) -> dict[_Span, float]:
    """The spans that are like one part of a name. The first form is the whole part."""
    matches: dict[_Span, float] = {}
    for form in forms:
        worth = 1.0 if form == forms[0] else PART_OF_A_NAME
        for span, alike in found.get(form, {}).items():
            matches[span] = max(worth * alike, matches.get(span, 0.0))
    return matches
