"""From the net's scores to texts with probabilities, and from a text to minutes."""

import math
import re
import unicodedata

import numpy as np
import numpy.typing as npt

# Class 0 is CTC's blank; class k is ALPHABET[k - 1]. The same as ingest.training.strings.ALPHABET.
ALPHABET = "0123456789-:hmrins"

BEAMS = 8
_LEAST = 1e-5  # a class less probable than this at a step is not followed


def likely_texts(chances: npt.NDArray[np.float32]) -> list[tuple[str, float]]:
    """The most probable texts, best first, each with its probability over all its alignments.

    chances: shape (steps, classes), each row a distribution.
    Prefix beam search after Graves et al. 2006; exact but for beams dropped.
    """
    followed = chances > _LEAST
    followed[:, 0] = False
    steps, classes = np.nonzero(followed)
    letters: dict[int, list[tuple[str, float]]] = {}
    for step, k, chance in zip(steps.tolist(), classes.tolist(), chances[followed].tolist(), strict=True):
        letters.setdefault(step, []).append((ALPHABET[k - 1], chance))
    # prefix -> (probability ending in blank, ending in its last character)
    beams: dict[str, tuple[float, float]] = {"": (1.0, 0.0)}
    nils = chances[:, 0].tolist()
    done = 0  # steps
    for step in (*letters, len(nils)):
        if done < step:  # steps in which there can be nothing but a blank: nine in ten, taken together
            silence = math.prod(nils[done:step])
            beams = {text: ((b + c) * silence, 0.0) for text, (b, c) in beams.items()}
        if step == len(nils):
            break
        done = step + 1
        grown: dict[str, tuple[float, float]] = {}
        for text, (blank, lettered) in beams.items():
            either = blank + lettered
            last = text[-1:]
            ends_blank, ends_lettered = grown.get(text, (0.0, 0.0))
            for letter, chance in letters[step]:
                more = either * chance
                if letter == last:
                    ends_lettered += lettered * chance
                    more = blank * chance
                longer = text + letter
                before = grown.get(longer, (0.0, 0.0))
                grown[longer] = (before[0], before[1] + more)
            grown[text] = (ends_blank + either * nils[step], ends_lettered)
        kept = sorted(grown.items(), key=lambda item: -(item[1][0] + item[1][1]))[:BEAMS]
        beams = dict(kept)
    return sorted(((text, b + c) for text, (b, c) in beams.items()), key=lambda item: -item[1])


_MINUTES = re.compile(r"(\d{1,4})(?:m|mn|mins?)?")
_CLOCK = re.compile(r"(\d):([0-5]\d)")
_HOURS = re.compile(r"(\d)(?:h|hr|hrs)(?:([0-5]?\d)(?:m|mn|mins?)?)?")


def minutes_of(text: str) -> int | None:
    """The minutes a text stands for, or None where it stands for none.

    `45`, `45min` 45; `1:15`, `1h15`, `1hr15min` 75; `1hr` 60; `-` 0: nothing was practised.
    """
    if text == "-":
        return 0
    if found := _MINUTES.fullmatch(text):
        return int(found[1])
    if found := _CLOCK.fullmatch(text):
        return 60 * int(found[1]) + int(found[2])
    if found := _HOURS.fullmatch(text):
        return 60 * int(found[1]) + int(found[2] or 0)
    return None


# A hand in a hurry leaves of `min` an m and some strokes; the net's spelling wavers between 20mi, 20mn and
# 20minn, and no other unit is meant by any.
_SCRAWLED = ((re.compile(r"(?<=\d)m[ins]+"), "min"), (re.compile(r"(?<=\d)h[rs]+"), "hr"))


def written_minutes(text: str) -> int | None:
    """The minutes that a text as the net reads it from handwriting stands for; as `minutes_of`."""
    for unit, short in _SCRAWLED:
        text = unit.sub(short, text)
    return minutes_of(text)


# What is typed may be spelled out and spaced. A dot or a comma makes a number no whole one, but with hours.
_UNITS = (
    (re.compile(r"(?<=[\d ])(?:minutes?|minutos?|mins?|mn|m|['′])\.?"), "min"),
    (re.compile(r"(?<=[\d ])(?:hours?|horas?|hrs?|h)\.?"), "hr"),
)
_AROUND_UNIT = re.compile(r" ?(min|hr) ?")
_PART_OF_HOURS = re.compile(r"(\d{1,2})[.,](\d{1,2})hr")


def typed_minutes(text: str) -> int | None:
    """The minutes that a typed text stands for, or None where they are not beyond doubt.

    As `minutes_of`, and besides: units spelled out in English or Spanish, with spaces before them; hours with
    a fraction, `1.5 h` or `1,5 h`, that makes whole minutes; digits and dashes of any script or width.
    Not `1,5`, `-5`, `20-30`, `2 0`, `20?`, `twenty`: what is meant there, only a person can say.
    """
    spelled = _plain(text)
    if spelled is None:
        return None
    for unit, short in _UNITS:
        spelled = unit.sub(short, spelled)
    spelled = _AROUND_UNIT.sub(r"\1", spelled)
    if found := _PART_OF_HOURS.fullmatch(spelled):
        minutes, rest = divmod(60 * int(found[1] + found[2]), 10 ** len(found[2]))
        return None if rest else minutes
    return minutes_of(spelled.removeprefix("0") if re.fullmatch(r"0\d:\d\d", spelled) else spelled)


def is_empty(text: str) -> bool:
    """Whether a typed text shows nothing."""
    return not _visible(text).strip()


def _visible(text: str) -> str:
    """Without what has no shape of its own, such as marks of direction."""
    return "".join(letter for letter in text if unicodedata.category(letter) not in ("Cf", "Cc", "Cn"))


def _plain(text: str) -> str | None:
    """Small letters, digits, dashes and single spaces of ASCII where that is what they are.

    None for raised digits and fractions, which would pass for plain ones.
    """
    if any(unicodedata.category(letter) == "No" for letter in text):
        return None
    letters = []
    for letter in unicodedata.normalize("NFKC", _visible(text.translate(_BREAKS))).casefold():
        digit = unicodedata.decimal(letter, None)
        if digit is not None:
            letters.append(str(digit))
        elif unicodedata.category(letter) == "Pd" or letter == "−":
            letters.append("-")
        else:
            letters.append(letter)
    return " ".join("".join(letters).split()).removesuffix(".")


_BREAKS = str.maketrans("\n\r\t\v\f", "     ")
