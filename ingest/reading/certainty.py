"""How sure a reading must be to be taken without a person."""

SURE: float = 0.995
"""Least probability of the best candidate, given the whole chart, at which a box is not asked about.

Higher: fewer silent errors, more questions. To be set from the reader's calibration on writers who
neither trained nor tested it; until then a cautious guess.
"""


def calibrated(chance: float) -> float:
    """The reader's own probability of its best candidate, made true: of readings at 0.99, one in a hundred is wrong."""
    return min(chance, 0.9999)
