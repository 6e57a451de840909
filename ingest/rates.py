"""Error rates: what a count proves, and how people write one: "1 in 2000"."""

import math
import re
from fractions import Fraction

SURELY = 0.95  # how sure a bound is, unless said otherwise

_ROUNDS = 60  # halvings of 0..1: finer than a float can tell

# Groups of three digits, as people set them apart: 20,000, 20 000, 20.000, 20'000, 20_000.
_GROUPED = re.compile(r"[0-9]{1,3}(?:([,.'’_ \u00a0\u2009\u202f])[0-9]{3})(?:\1[0-9]{3})*")
_ONE_IN = re.compile(r"(?:1|one) ?(?:in|:|/) ?(.+)")
_PERCENT = re.compile(r"([0-9]{1,3}(?:[.,][0-9]{1,9})?) ?(?:%|percent|per cent)")


def upper_bound(wrong: int, of: int, surely: float = SURELY) -> float:
    """The rate that the true one does not exceed, `surely` (one-sided), after `wrong` in `of`.

    Exact: the rate at which so few errors would come up with chance 1 - surely (Clopper & Pearson, "The
    use of confidence or fiducial limits", Biometrika 26, 1934). Of nothing, 1.
    """
    if not 0 <= wrong <= of or not 0 < surely < 1:
        raise ValueError(f"there is no bound of {wrong} in {of} at {surely}")
    if wrong == of:
        return 1.0
    low, high = 0.0, 1.0
    for _ in range(_ROUNDS):
        middle = (low + high) / 2
        if _at_most(wrong, of, middle) > 1 - surely:
            low = middle
        else:
            high = middle
    return high


def _at_most(wrong: int, of: int, rate: float) -> float:
    """The chance of at most `wrong` errors in `of`, each with chance `rate`, which is inside 0..1."""
    error, success = math.log(rate), math.log1p(-rate)
    return math.fsum(
        math.exp(
            math.lgamma(of + 1)
            - math.lgamma(k + 1)
            - math.lgamma(of - k + 1)
            + k * error
            + (of - k) * success
        )
        for k in range(wrong + 1)
    )


def one_in(rate: float) -> str:
    """A rate for people, never smaller than it is: "1 in 27", "1 in 2,100"; two digits or three.

    rate: above 0, at most 1.
    """
    many = int(1 / rate)
    step = 10 ** max(0, len(str(many)) - 2) if many >= 100 else 1
    return f"1 in {many // step * step:,}"


def parse_one_in(text: str) -> int:
    """So many of which one may be wrong, from "1 in 2000", "1 in 20,000", "1:2000", "1/2000" or "0.05 %".

    Raises ValueError for anything else.
    """
    plain = " ".join(text.split()).casefold()
    if found := _ONE_IN.fullmatch(plain):
        many = found[1]
        if _GROUPED.fullmatch(many):
            many = re.sub(r"[^0-9]", "", many)
        if many.isascii() and many.isdecimal() and len(many) <= 12 and int(many):
            return int(many)
    if found := _PERCENT.fullmatch(plain):
        share = Fraction(found[1].replace(",", ".")) / 100
        if 0 < share <= 1:
            return round(1 / share)
    raise ValueError(f"{text!r} is no rate")
