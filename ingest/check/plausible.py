"""What minutes children write: a mild prior, so that 25 beats 26 where the ink leaves both open."""

from ingest.check.sums import Candidates
from ingest.plan.challenge import Challenge
from ingest.reading.values import Candidate

# How much likelier than any other whole number. Common practice, no source: children round to five, and few
# practise beyond two hours. Kept mild (the odds that real charts show are several times higher), for a child
# who writes 26 must be able to say so: clear ink outweighs these hundredfold.
_FIVES = 5.0
_OVER_TWO_HOURS = 0.2
_OVER_THE_POSSIBLE = 0.02
_NOTHING = 2.0  # a blank box, and what is no number at all


def plausible(box: Candidates, challenge: Challenge) -> Candidates:
    """A day's candidates, reweighed by how plausible their minutes are; most probable first.

    Probability only moves between the candidates: what they leave over stays as it is.
    """
    weighed = [(c, c.probability * _weight(c, challenge.counting.most_per_day)) for c in box]
    total = sum(weight for _, weight in weighed)
    if total <= 0:
        return box
    share = sum(c.probability for c in box) / total
    found = [Candidate(c.value, c.text, weight * share) for c, weight in weighed]
    return tuple(sorted(found, key=lambda c: -c.probability))


def _weight(candidate: Candidate, most: int) -> float:
    minutes = candidate.value
    if minutes is None:
        return _NOTHING
    weight = _FIVES if minutes % 5 == 0 else 1.0
    if minutes > most:
        return weight * _OVER_THE_POSSIBLE
    return weight * _OVER_TWO_HOURS if minutes > 120 else weight
