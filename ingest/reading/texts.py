"""From the net's scores to texts with probabilities, and from a text to minutes."""

import re
from collections import defaultdict

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
    # prefix -> [probability ending in blank, ending in its last character]
    beams: dict[str, tuple[float, float]] = {"": (1.0, 0.0)}
    for step in chances:
        nil = float(step[0])
        live = [(int(k), float(step[k])) for k in np.flatnonzero(step[1:] > _LEAST) + 1]
        if not live:
            beams = {text: ((b + c) * nil, 0.0) for text, (b, c) in beams.items()}
            continue
        grown: defaultdict[str, list[float]] = defaultdict(lambda: [0.0, 0.0])
        for text, (blank, lettered) in beams.items():
            here = grown[text]
            here[0] += (blank + lettered) * nil
            for k, chance in live:
                letter = ALPHABET[k - 1]
                if text and text[-1] == letter:
                    here[1] += lettered * chance
                    grown[text + letter][1] += blank * chance
                else:
                    grown[text + letter][1] += (blank + lettered) * chance
        kept = sorted(grown.items(), key=lambda item: -(item[1][0] + item[1][1]))[:BEAMS]
        beams = {text: (blank, lettered) for text, (blank, lettered) in kept}
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
