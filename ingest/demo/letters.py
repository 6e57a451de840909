"""Plain hand-printed letters and signs, for words that the hands of the open data lack letters for.

Drawn by us as knots of smooth strokes; `ingest.demo.hands.write` gives them the writer's slant and wobble.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

import numpy as np

from ingest.demo.hands import Glyph, Hand, curve

# Knots (x, y) of each stroke in hundredths of a digit's height; small letters go from 45 to the line, 100.
_KNOTS: Mapping[str, Sequence[Sequence[tuple[int, int]]]] = {
    "a": [[(40, 52), (20, 45), (2, 70), (15, 98), (35, 90), (42, 50), (42, 90), (50, 100)]],
    "c": [[(38, 55), (20, 45), (2, 72), (20, 100), (40, 90)]],
    "d": [[(40, 55), (20, 45), (2, 72), (18, 100), (40, 85)], [(42, 0), (42, 50), (42, 100)]],
    "e": [[(3, 72), (38, 68), (22, 45), (2, 72), (20, 100), (42, 90)]],
    "f": [[(42, 8), (28, 0), (18, 20), (18, 60), (18, 100)], [(2, 45), (20, 45), (38, 45)]],
    "h": [[(4, 0), (4, 50), (4, 100)], [(5, 62), (20, 46), (34, 58), (36, 100)]],
    "i": [[(5, 45), (5, 72), (5, 100)], [(5, 20)]],
    "k": [[(4, 0), (4, 50), (4, 100)], [(38, 45), (5, 75), (40, 100)]],
    "l": [[(5, 0), (5, 50), (5, 100)]],
    "m": [
        [(4, 47), (4, 72), (4, 100)],
        [(5, 60), (17, 46), (27, 60), (28, 100)],
        [(29, 60), (41, 46), (51, 60), (52, 100)],
    ],
    "n": [[(4, 47), (4, 72), (4, 100)], [(5, 62), (20, 46), (34, 58), (36, 100)]],
    "o": [[(22, 45), (2, 72), (22, 100), (42, 72), (22, 45)]],
    "r": [[(4, 45), (4, 72), (4, 100)], [(5, 65), (18, 48), (32, 50)]],
    "s": [[(34, 52), (16, 45), (6, 60), (28, 78), (30, 95), (4, 95)]],
    "t": [[(16, 10), (16, 90), (30, 100)], [(0, 42), (17, 42), (34, 42)]],
    "'": [[(6, 0), (4, 12), (2, 25)]],
    "+": [[(0, 20), (20, 20), (40, 20)], [(20, 0), (20, 20), (20, 40)]],
    "/": [[(35, 0), (18, 50), (0, 100)]],
}


def _glyph(knots: Sequence[Sequence[tuple[int, int]]]) -> Glyph:
    strokes = [curve(np.array(stroke, np.float64) / 100) for stroke in knots]
    low = np.min([stroke.min(axis=0) for stroke in strokes], axis=0)
    return tuple(stroke - low for stroke in strokes)


PLAIN: Mapping[str, Glyph] = MappingProxyType({sign: _glyph(knots) for sign, knots in _KNOTS.items()})


def with_letters(hand: Hand) -> Hand:
    """The hand, with plain letters and signs for those that it lacks."""
    lent = {sign: (glyph,) for sign, glyph in PLAIN.items() if sign not in hand.glyphs}
    return replace(hand, glyphs={**hand.glyphs, **lent})
