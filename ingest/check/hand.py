"""The child's hand: signs that it writes alike.

The reader knows how most people write. Of a child whose every 4 looks like a 9 it is wrong by habit, and
surely so: it reads 40 as 90, 45 as 95, and the 4 of the week's total as a 9, too. Box by box that is past
help. Given the whole chart it is not: if the sums come out once every 9 may be a 4, and do not as read, so
it is.

The model: either the reader is right about this hand as it is about others; or, seldom, the hand has a habit,
and wherever one certain sign is read, the odds that another is meant are higher by the same factor. How well
the sums come out tells how probable each is.
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import product

from ingest.check.sums import Candidates
from ingest.reading.texts import written_minutes
from ingest.reading.values import Candidate

# How probable a habit is of a hand on whose chart something speaks for it. An assumption: of 18 calibrating
# hands two write a 4 that is read as a 9. From 0.0005 to 0.002 nothing changed by more than one box in 2,000.
HABIT = 0.001

# With a habit the odds of the sign that is meant are so many times what the reader thinks. Its surest errors
# call right what it holds for one in a thousand; 1,000 did as well, 100 mended fewer.
ODDS = 500

# What the reader does not name is so probable, as a share of its best text.
UNNAMED = 1e-4

# What it names with this probability somewhere on the chart is reckoned with.
RECKONED = 1e-3

# So many habits are tried, the likeliest first; 5 did no better.
MOST = 3


@dataclass(frozen=True, slots=True)
class Habit:
    """Where the sign `read` is read, `meant` may be meant."""

    meant: str
    read: str


def habits(boxes: Iterable[Candidates]) -> list[Habit]:
    """The habits that something on a chart speaks for: one sign for another where two texts else agree."""
    found: defaultdict[Habit, float] = defaultdict(float)
    for box in boxes:
        for other in box[1:]:
            if other.probability >= RECKONED and (habit := _between(box[0].text, other.text)):
                found[habit] += other.probability
    return sorted(found, key=lambda habit: -found[habit])[:MOST]


def by_habit(box: Candidates, habit: Habit) -> Candidates:
    """A box as it is to be read if the hand has the habit; most probable first.

    Probability only moves between texts that differ in nothing but these two signs.
    """
    if box[0].typed or not box[0].value:
        return box
    alike: dict[str, list[Candidate]] = {}
    for candidate in (*box, *_unnamed(box, habit)):
        alike.setdefault(candidate.text.replace(habit.meant, habit.read), []).append(candidate)
    new: list[Candidate] = []
    for some in alike.values():
        raised = [c.probability * float(ODDS) ** c.text.count(habit.meant) for c in some]
        scale = sum(c.probability for c in some if c in box) / (sum(raised) or 1.0)
        new += [c.at(each * scale) for c, each in zip(some, raised, strict=True)]
    return tuple(sorted(new, key=lambda c: -c.probability))


def mixed(chances: Sequence[float], boxes: Sequence[Candidates]) -> Candidates:
    """One box as several views of the chart have it, each as probable as `chances` say; these sum to 1."""
    found: dict[tuple[int | None, str], Candidate] = {}
    for chance, box in zip(chances, boxes, strict=True):
        for c in box:
            key = (c.value, c.text)
            before = found[key].probability if key in found else 0.0
            found[key] = c.at(before + chance * c.probability)
    return tuple(sorted(found.values(), key=lambda c: -c.probability))


def chances_of(evidence: Sequence[float]) -> list[float]:
    """How probable no habit is, and then each habit.

    evidence: log probabilities of all sums on the chart, without a habit and with each.
    """
    without = evidence[0]
    weights = [1.0, *(HABIT * max(0.0, math.exp(min(each - without, 100)) - 1) for each in evidence[1:])]
    return [weight / sum(weights) for weight in weights]


def _unnamed(box: Candidates, habit: Habit) -> list[Candidate]:
    """The texts that the best might be by the habit and that the reader does not name."""
    best, named = box[0], {c.text for c in box}
    ways = [(habit.read, habit.meant) if sign == habit.read else (sign,) for sign in best.text]
    texts = ["".join(signs) for signs in product(*ways)]
    found = [(text, written_minutes(text)) for text in texts if text not in named]
    return [Candidate(value, text, UNNAMED * best.probability) for text, value in found if value is not None]


def _between(read: str, meant: str) -> Habit | None:
    """The habit that would make the one text of the other, or None."""
    if len(read) != len(meant):
        return None
    pairs = {(a, b) for a, b in zip(read, meant, strict=True) if a != b}
    if len(pairs) != 1:
        return None
    one, other = pairs.pop()
    return Habit(meant=other, read=one) if one.isdigit() and other.isdigit() else None
