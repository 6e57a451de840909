"""The chart read as a whole: the days of a week should add up to its total, the weeks to the month's.

Given the ink alone, boxes are independent; the sums tie them together. The model:

- A day says one of its candidates; the probability that they leave over is spread evenly over
  0..most_per_day. A blank day adds nothing. Something that is no number adds nothing in one case of two (a
  drawing, a word, a number struck out and not replaced), else anything from 0 to most_per_day.
- A week's written total is the sum of its days with probability 1 - slips. Otherwise the child slipped:
  some slips miss it by a wrong carry, most land evenly within an hour of the sum (a day forgotten, a digit
  added wrongly), and the rest evenly on anything from nothing to the highest possible sum.
- The month's written total is likewise the sum of all days or, as often, of the written week totals.
- A blank or unreadable total says nothing; nor does one too high for any sum, beyond that it is a slip.

Inference is exact: sums are integers, so their distributions are vectors, and leaving one box out of a
sum is a product of Fourier transforms.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from ingest.reading.values import Candidate

# How often a child adds wrongly. Of 744 children in grades 2 to 6, 5 or 6 in 100 added wrongly by habit (L.
# Cox, "Analysis, Classification, and Frequency of Systematic Error Computational Patterns", 1974, ERIC
# ED092407, its abstract); how many totals that makes, with slips and a grown-up looking on, is an assumption.
# Little hangs on it: from 0.02 to 0.1, errors and questions changed by fewer than two boxes in a thousand
# (tests/bench/proving_ground.py, 380 charts by calibrating hands). Higher: sums settle less, and a total that
# disagrees throws less doubt on the days.
SLIPS = 0.05

# How far the nearer slips miss, in minutes either way. An assumption, no source.
NEAR = 60

# What a carry that is forgotten or made twice is worth. Common practice, no source. Without it, a total that
# is 100 off looks so odd that every day of its week is doubted.
CARRIES = (10, 100)

# How the slips divide: wrong carries, near misses, anything. An assumption, no source.
KINDS = (0.3, 0.5, 0.2)

# How often something that is no number stands for a day without practice. Common practice, no source. With 0,
# a week that adds up without it would prove a face or a sticker to be a 0.
NOTHING = 0.5

MINUTES_IN_A_DAY = 1440  # a day that says more is treated like one that says no number

Vector = npt.NDArray[np.float64]
Candidates = Sequence[Candidate]  # of one box, as in `BoxReading`


@dataclass(frozen=True, slots=True)
class Week:
    """One row of the chart. total: empty if the chart has no such box."""

    days: Sequence[Candidates]
    total: Candidates = ()


@dataclass(frozen=True, slots=True)
class Sums:
    """All boxes of a chart that take part in its sums."""

    weeks: Sequence[Week]
    month: Candidates = ()


@dataclass(frozen=True, slots=True)
class Weighed:
    """A chart given its sums.

    evidence: log of how probable the sums are to come out as they do, against totals that have nothing to do
        with the days. To compare what different inks of the same chart come to.
    """

    sums: Sums
    evidence: float


def weigh(sums: Sums, most_per_day: int, slips: float = SLIPS) -> Weighed:
    """The same boxes and candidates, with probabilities given the whole chart; most probable first.

    A value that is no candidate of a box is never brought in: what the sums alone suggest stays in the
    probability that is left over.
    """
    if all(_says_nothing(box) for box in (*(week.total for week in sums.weeks), sums.month)):
        return Weighed(sums, 0.0)

    top_day = max([most_per_day, *(_value(c) for week in sums.weeks for box in week.days for c in box[:1])])
    tops = [top_day * len(week.days) for week in sums.weeks]
    top_week = max(tops)
    adding = _Adding(slips, np.array([[top + 1.0] for top in tops]))
    monthly = _Adding(slips, np.array([sum(tops) + 1.0]))
    totals = [_total(week.total, top, slips) for week, top in zip(sums.weeks, tops, strict=True)]
    seen = np.array([np.pad(seen, (0, top_week + 1 - len(seen))) for seen, _ in totals])
    silent = np.array([[silence] for _, silence in totals])
    month_seen, month_silent = _total(sums.month, sum(tops), slips)

    # How the days of each week add up. From here on, rows are weeks and columns are sums; what stands beyond
    # the highest sum of a week with fewer days is never used.
    size = _round_size(top_week + 1)
    days = np.fft.rfft(_days(sums.weeks, most_per_day, top_day), size)
    added = np.maximum(np.fft.irfft(days.prod(axis=1), size)[:, : top_week + 1], 0)

    # How the weeks stand to the month's total. It adds either the days, or what the weeks' totals say, where
    # a silent one is passed over for its days: the same probability, laid out by two different sums.
    by_days = added * (silent + adding.told(seen))
    by_total = added * silent + seen * adding.told(added)
    scale = by_days.sum(axis=1, keepdims=True)
    half = monthly.exact(month_seen) / 2
    all_days, rest_days = _together(by_days / scale, month_silent + half + monthly.slipped(month_seen))
    all_total, rest_total = _together(by_total / scale, half)

    # How probable all that is written elsewhere would be, for each sum of a week's days, each value of a
    # day, each value of a week's total, and each value of the month's.
    for_sum = rest_days * (silent + adding.told(seen)) + rest_total * silent + adding.told(seen * rest_total)
    wave = np.fft.rfft(for_sum, size)[:, np.newaxis]
    for_day = np.maximum(np.fft.irfft(wave * _all_but_one(days).conj(), size)[:, :, : top_day + 1], 0)
    for_total = adding.told(added * rest_days) + adding.told(added) * rest_total
    for_silence = (added * (rest_days + rest_total)).sum(axis=1)
    for_month = monthly.exact(all_days + all_total) / 2 + monthly.slipped(all_days)

    for_unknown_day = for_day[:, :, : most_per_day + 1].mean(axis=2)
    weeks = [
        Week(
            [_weigh_day(box, for_day[i, j], float(for_unknown_day[i, j])) for j, box in enumerate(week.days)],
            _weigh_total(week.total, for_total[i, : tops[i] + 1], float(for_silence[i]), slips),
        )
        for i, week in enumerate(sums.weeks)
    ]
    in_all = float((all_days * (month_silent + half + monthly.slipped(month_seen)) + all_total * half).sum())
    evidence = float(np.log(scale).sum()) + math.log(max(in_all, 1e-300))
    return Weighed(Sums(weeks, _weigh_total(sums.month, for_month, float(all_days.sum()), slips)), evidence)


@dataclass(frozen=True, slots=True)
class _Adding:
    """How sums and written totals go together; both run over 0..top along the last axis.

    Each method turns weights over the one into weights over the other, in units of an unrelated pair: 1 means
    that the total is no more probable, given the sum, than by itself.

    counts: top + 1, shaped to go with the rows.
    """

    slips: float
    counts: Vector

    def exact(self, weights: Vector) -> Vector:
        exact: Vector = weights * (self.counts * (1 - self.slips))
        return exact

    def slipped(self, weights: Vector) -> Vector:
        width = weights.shape[-1]
        summed = np.zeros((*weights.shape[:-1], width + 2 * NEAR + 1))
        middle = summed[..., NEAR + 1 : NEAR + 1 + width]
        np.cumsum(weights, axis=-1, out=middle)
        whole = middle[..., -1:]
        summed[..., NEAR + 1 + width :] = whole
        near = summed[..., 2 * NEAR + 1 :] - summed[..., : -2 * NEAR - 1] - weights
        by_carry, by_little, by_any = KINDS
        told: Vector = near * (by_little / (2 * NEAR))
        for step in CARRIES:
            told[..., step:] += weights[..., :-step] * (by_carry / (2 * len(CARRIES)))
            told[..., :-step] += weights[..., step:] * (by_carry / (2 * len(CARRIES)))
        return (told * self.counts + whole * by_any) * self.slips

    def told(self, weights: Vector) -> Vector:
        return self.exact(weights) + self.slipped(weights)


def _days(weeks: Sequence[Week], most_per_day: int, top_day: int) -> Vector:
    """How probable each value of each day is, given its ink; shape (weeks, days, top_day + 1).

    Weeks with fewer days are filled up with days that are 0 for certain.
    """
    days = np.zeros((len(weeks), max(len(week.days) for week in weeks), top_day + 1))
    days[:, :, 0] = 1
    for i, week in enumerate(weeks):
        for j, box in enumerate(week.days):
            known = [(_value(c), c.probability) for c in box if _is_usable(c, top_day)]
            known += [(0, NOTHING * c.probability) for c in box if _is_no_number(c)]
            days[i, j] = 0
            days[i, j, : most_per_day + 1] = max(0.0, 1 - sum(p for _, p in known)) / (most_per_day + 1)
            for value, probability in known:
                days[i, j, value] += probability
    return days


def _total(box: Candidates, top: int, slips: float) -> tuple[Vector, float]:
    """How probable it is, given the ink, that the box says each of 0..top, and that it says nothing."""
    seen = np.full(top + 1, _left_over(box) / (top + 1)) if box else np.zeros(top + 1)
    silence = 0.0 if box else 1.0
    for candidate in box:
        if candidate.value is None:
            silence += candidate.probability
        elif candidate.value > top:
            silence += candidate.probability * slips * KINDS[-1]
        else:
            seen[candidate.value] += candidate.probability
    return seen, silence


def _weigh_day(box: Candidates, likely: Vector, unknown: float) -> Candidates:
    """likely: for each value. unknown: for one that could be any."""

    def weight(candidate: Candidate) -> float:
        if _is_no_number(candidate):
            return NOTHING * float(likely[0]) + (1 - NOTHING) * unknown
        return float(likely[_value(candidate)]) if _is_usable(candidate, len(likely) - 1) else unknown

    return _weighed(box, weight, unknown)


def _weigh_total(box: Candidates, likely: Vector, silent: float, slips: float) -> Candidates:
    def weight(candidate: Candidate) -> float:
        if candidate.value is None:
            return silent
        return float(likely[candidate.value]) if candidate.value < len(likely) else silent * slips * KINDS[-1]

    return _weighed(box, weight, float(likely.mean()))


def _weighed(box: Candidates, weight: Callable[[Candidate], float], left_over: float) -> Candidates:
    """Bayes' rule on one box; `left_over` weighs the probability that no candidate has."""
    products = [c.probability * weight(c) for c in box]
    whole = sum(products) + _left_over(box) * left_over
    if whole <= 0:  # no candidates, or the whole chart is impossible to floating point
        return tuple(box)
    weighed = [Candidate(c.value, c.text, product / whole) for c, product in zip(box, products, strict=True)]
    return tuple(sorted(weighed, key=lambda c: -c.probability))


def _left_over(box: Candidates) -> float:
    return max(0.0, 1 - sum(c.probability for c in box))


def _says_nothing(box: Candidates) -> bool:
    return not box or (box[0].value is None and box[0].probability == 1)


def _is_no_number(candidate: Candidate) -> bool:
    return candidate.value is None and candidate.text != ""


def _is_usable(candidate: Candidate, top: int) -> bool:
    """Whether a day's candidate names what it adds to the week: a possible number, or blank."""
    if candidate.value is None:
        return candidate.text == ""
    return candidate.value <= min(top, MINUTES_IN_A_DAY)


def _value(candidate: Candidate) -> int:
    """What a day's candidate adds to the week; 0 where that is not known."""
    return candidate.value if candidate.value is not None and candidate.value <= MINUTES_IN_A_DAY else 0


def _together(rows: Vector, likely: Vector) -> tuple[Vector, Vector]:
    """The distribution of the rows' sum, and for each row the expectation of `likely` over the other rows.

    rows: shape (n, m), each over 0..m-1. likely: over 0..the highest sum that the rows can have together.
    Returns the shapes of `likely` and of `rows`.
    """
    size = _round_size(len(likely))
    waves = np.fft.rfft(rows, size)
    whole = np.fft.irfft(waves.prod(axis=0), size)[: len(likely)]
    rest = np.fft.irfft(np.fft.rfft(likely, size) * _all_but_one(waves[np.newaxis])[0].conj(), size)
    return np.maximum(whole, 0), np.maximum(rest[:, : rows.shape[1]], 0)


def _all_but_one(waves: npt.NDArray[np.complex128]) -> npt.NDArray[np.complex128]:
    """Products over axis 1 with each entry left out in turn; by products, as an entry may be 0."""
    products = np.ones_like(waves)
    for i in range(1, waves.shape[1]):
        np.multiply(products[:, i - 1], waves[:, i - 1], out=products[:, i])
    after = waves[:, -1].copy()
    for i in range(waves.shape[1] - 2, -1, -1):
        products[:, i] *= after
        after *= waves[:, i]
    return products


@cache
def _round_size(least: int) -> int:
    """The next number without prime factors over 5, for which Fourier transforms are quick."""
    size = least
    while True:
        rest = size
        for prime in (2, 3, 5):
            while rest % prime == 0:
                rest //= prime
        if rest == 1:
            return size
        size += 1
