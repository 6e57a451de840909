"""Text from outside, made fit for a terminal."""

import unicodedata

_JOINERS = "\N{ZERO WIDTH NON-JOINER}\N{ZERO WIDTH JOINER}"  # part of Persian and Indic spelling


def steers(letter: str) -> bool:
    """Whether a letter would move a terminal's cursor, turn its writing direction, or break the line."""
    return letter not in _JOINERS and unicodedata.category(letter) in ("Cc", "Cf", "Cs", "Zl", "Zp")


def printable(text: str) -> str:
    """The text without what would steer the terminal: names and cells of files come from strangers."""
    return "".join("?" if steers(letter) else letter for letter in text)
