"""What this child usually writes: most practise the same few minutes day after day.

Where the ink leaves open whether a day says 15 or 45, nine other days that surely say 15 tell.
"""

from collections import Counter
from collections.abc import Mapping

from ingest.check.colored import minutes_each
from ingest.check.plausible import weight_of
from ingest.check.sums import Candidates
from ingest.plan.challenge import Challenge
from ingest.reading.values import Candidate

# The prior for any child counts for so many days. Common practice, no source; 8 and 60 did no better (540
# ordinary charts by calibrating hands; without the child's own days, one box in 500 more was asked about).
NEW = 20.0

# Days count from this probability on; below it, a hand whose every 15 looks like 75 would prove itself right.
COUNTED = 0.9


def as_usual(boxes: Mapping[str, Candidates], challenge: Challenge) -> dict[str, Candidates]:
    """The boxes of a chart by name, the days' numbers reweighed by how often its other days surely say them.

    Like the urn of F. Hoppe ("Pólya-like urns and the Ewens' sampling formula", 1984; cited from memory): so
    many days as NEW from the prior for any child, and the child's own.
    Probability only moves between a box's numbers: whether it is blank, or no number, others do not tell.
    """
    every = sum(weight_of(minutes, challenge) for minutes in range(challenge.counting.most_per_day + 1))
    days = {name: box for name, box in boxes.items() if name.startswith("day:") and not minutes_each(box)}
    said = Counter(box[0].value for box in days.values() if _is_counted(box[0]))

    def weighed(candidate: Candidate, best: Candidate) -> float:
        others = said[candidate.value] - (_is_counted(best) and candidate.value == best.value)
        return candidate.probability * (NEW / every + others / weight_of(candidate.value, challenge))

    out = dict(boxes)
    for name, box in days.items():
        numbers = {c: weighed(c, box[0]) for c in box if c.value}
        if len(numbers) > 1:
            scale = sum(c.probability for c in numbers) / sum(numbers.values())
            new = [c.at(numbers[c] * scale) if c in numbers else c for c in box]
            out[name] = tuple(sorted(new, key=lambda c: -c.probability))
    return out


def _is_counted(best: Candidate) -> bool:
    return bool(best.value) and best.probability >= COUNTED
