"""What minutes children write: a mild prior, so that 25 beats 26 where the ink leaves both open."""

from ingest.check.sums import Candidates
from ingest.plan.challenge import Challenge

# How much likelier than any other whole number. Common practice, no source: children round to five, and a day
# of more than four times the minimum is rare. Kept mild: 10 is what the first would be if three numbers in
# ten were no multiples of five. A child who writes 26, or 90, must be able to say so: clear ink outweighs
# these. What they catch is the hand whose every 15 looks like 75. Measured by tests/bench/proving_ground.py
# on 180 charts by calibrating hands: against 5 and 0.15, 3 in 1,000 fewer are asked, none more is wrong.
_FIVES = 10.0
_FAR_OVER_MINIMUM = 0.05
_OVER_THE_POSSIBLE = 0.02
_FAR = 4  # times the minimum
_NOTHING = 2.0  # a blank box, 0, and what is no number at all: a sticker must not become a 0


def plausible(box: Candidates, challenge: Challenge) -> Candidates:
    """A day's candidates, reweighed by how plausible their minutes are; most probable first.

    Probability only moves between the candidates: what they leave over stays as it is.
    """
    if len(box) == 1:
        return box
    weighed = [(c, c.probability * weight_of(c.value, challenge)) for c in box]
    total = sum(weight for _, weight in weighed)
    if total <= 0:
        return box
    share = sum(c.probability for c in box) / total
    found = [c.at(weight * share) for c, weight in weighed]
    return tuple(sorted(found, key=lambda c: -c.probability))


def weight_of(minutes: int | None, challenge: Challenge) -> float:
    """How much likelier so many minutes are than a number that is no multiple of five; None: no number."""
    if not minutes:  # a 0 or a dash is no likelier than an empty box
        return _NOTHING
    weight = _FIVES if minutes % 5 == 0 else 1.0
    if minutes > challenge.counting.most_per_day:
        return weight * _OVER_THE_POSSIBLE
    return weight * _FAR_OVER_MINIMUM if minutes > _FAR * challenge.days.minimum_minutes else weight
