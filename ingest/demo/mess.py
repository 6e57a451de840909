"""What children put into boxes besides one plain number, and how often.

How often is common practice, no source: counts that a teacher would find likely, for the worse children
raised until a bench sees enough of each.
"""

from dataclasses import dataclass, replace

import numpy as np

from ingest.demo.doodles import DOODLES
from ingest.demo.fill import LINE, STICKER, Entry, Mishap
from ingest.demo.hands import Hand

WORDS = ("sick", "no", "none", "off", "ill", "rest", "lesson", "concert", "tired", "lost it", "later")


@dataclass(frozen=True, slots=True)
class Mess:
    """Chances, 0..1, that a box holds something odd.

    struck_out: a number struck out and not replaced. overwritten: one number on top of another. two: two
    numbers. words: a word. drawings: a drawing or sticker and no number. decorated: one beside the number.
    lines: that a line runs through all days of a week.
    """

    struck_out: float = 0.0
    overwritten: float = 0.0
    two: float = 0.0
    words: float = 0.0
    drawings: float = 0.0
    decorated: float = 0.0
    lines: float = 0.0

    def times(self, factor: float) -> "Mess":
        return Mess(*(getattr(self, name) * factor for name in self.__slots__))


TIDY = Mess()


@dataclass(frozen=True, slots=True)
class Oddity:
    """An odd box. truth: minutes that a person would answer, None for blank.

    is_number: whether it says one number after all, so that a reader may take it without asking.
    """

    entry: Entry
    truth: int | None
    is_number: bool = False

    @classmethod
    def line(cls) -> "Oddity":
        """Part of a line through a week: no practice, and nothing to ask."""
        return cls(Entry("", drawing=LINE), None, is_number=True)


def odd_day(minutes: int | None, mess: Mess, hand: Hand, rng: np.random.Generator) -> Oddity | None:
    """What stands in a day's box in place of `minutes`; None, mostly: just the minutes."""
    other = _another(minutes or 0, rng)
    lot = rng.random()
    written = bool(minutes)
    for chance, odd in (
        (mess.struck_out, Oddity(Entry("", Mishap.STRUCK_OUT, other), None)),
        (mess.words, _word(hand, rng)),
        (mess.drawings, Oddity(Entry("", drawing=_drawing(rng)), None)),
        (mess.overwritten if written else 0.0, _overwritten(minutes or 0, other)),
        (mess.two if written else 0.0, _two(minutes or 0, other, rng)),
    ):
        if lot < chance:
            return odd
        lot -= chance
    return None


def odd_total(total: int, mess: Mess, rng: np.random.Generator) -> Oddity | None:
    """The same for a written total."""
    other = str(total + int(rng.choice([-20, -10, 10, 15, 30]))) if total > 20 else str(total + 10)
    lot = rng.random()
    if lot < mess.struck_out:
        return Oddity(Entry("", Mishap.STRUCK_OUT, other), None)
    return _overwritten(total, other) if lot < mess.struck_out + mess.overwritten else None


def decoration(entry: Entry, mess: Mess, rng: np.random.Generator) -> Entry:
    """The entry, now and then with a drawing or a sticker beside its number."""
    if rng.random() >= mess.decorated or not entry.text.isdigit() or entry.mishap or entry.drawing:
        return entry
    return replace(entry, drawing=_drawing(rng))


def _another(minutes: int, rng: np.random.Generator) -> str:
    others = [value for value in (5, 10, 15, 20, 25, 30, 35, 45, 60) if value != minutes]
    return str(others[int(rng.integers(len(others)))])


def _overwritten(value: int, earlier: str) -> Oddity:
    return Oddity(Entry(str(value), Mishap.OVERWRITTEN, earlier), value, is_number=True)


def _two(minutes: int, other: str, rng: np.random.Generator) -> Oddity:
    """Two numbers that both stand; a person would add them."""
    if rng.random() < 0.4:
        return Oddity(Entry(f"{other}+{minutes}"), minutes + int(other))
    return Oddity(Entry(str(minutes), Mishap.TWO, other), minutes + int(other))


def _word(hand: Hand, rng: np.random.Generator) -> Oddity:
    known = [word for word in WORDS if hand.can_write(word)]
    return Oddity(Entry(known[int(rng.integers(len(known)))] if known else "--"), None)


def _drawing(rng: np.random.Generator) -> str:
    return STICKER if rng.random() < 0.4 else str(rng.choice(sorted(DOODLES)))
