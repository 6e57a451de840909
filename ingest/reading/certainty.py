"""How sure a reading is, and how sure it must be to be taken without a person."""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import Any

from ingest.rates import upper_bound
from ingest.reading.blank import Blankness, Signs

SURE: float = 0.96
"""From here on one page's word is set against another's, or against an earlier answer.

What is taken without a person follows from `threshold`; from this only where that was never tried.
"""

_LEAST = 1e-9


@dataclass(frozen=True, slots=True)
class Tried:
    """What came of one threshold on charts by calibrating hands, read and added up as all charts are.

    sure: the threshold. accepted: boxes taken without a person. foreseen: how many of these should be wrong
    by their confidences, the sum of 1 - confidence. wrong: how many were.
    """

    sure: float
    accepted: int
    foreseen: float
    wrong: int

    @property
    def expected(self) -> float:
        """The rate of silent errors to reckon with: what was foreseen or what was counted, whichever is more.

        What was counted is true but a handful, in which one odd hand weighs much, and of many thresholds one
        is chosen at which luck has counted few; what is foreseen runs smooth but is only as good as the
        confidences. By the mean of both, more came than wished on four in ten of the halves that were held
        out, so on one in twenty (tests/bench/threshold_rule.py).
        """
        return max(self.foreseen, self.wrong) / self.accepted if self.accepted else 1.0

    @property
    def bound(self) -> float:
        """What the rate does not exceed by the count alone, 95 % sure, were each box by a hand of its own."""
        return upper_bound(self.wrong, self.accepted)


@dataclass(frozen=True, slots=True)
class Threshold:
    """From which confidence on, given the whole chart, a box is taken without a person.

    wished: of so many boxes taken, one may be wrong. tried: what the calibration says of this threshold; None
    where it tried none.
    """

    sure: float
    wished: int
    tried: Tried | None

    @property
    def is_kept(self) -> bool:
        """Whether no more errors are to be expected than wished."""
        return self.tried is not None and self.tried.expected * self.wished <= 1

    @property
    def provable(self) -> float:
        """The lowest rate that so many boxes could prove, 95 % sure, had none of them been wrong."""
        return upper_bound(0, self.tried.accepted) if self.tried else 1.0

    @property
    def is_borne_out(self) -> bool:
        """Whether the boxes that were counted are enough to speak of such a rate at all."""
        return self.is_kept and self.provable * self.wished <= 1


# Errors are kept to this share of what is wished for: hands differ more than the few that were calibrated by
# can show (tests/bench/threshold_rule.py). On ordinary photos by calibrating hands, at a wish of 1 in 2,000,
# half the wish asked about 2.6 % of boxes with 28 silent errors in 162,000; this, about 2.9 % with 13.
MARGIN = 0.375


def choose(wished: int, table: Sequence[Tried]) -> Threshold:
    """The threshold for a wish: one silent error in so many boxes taken.

    The mildest one in the table at which no more than MARGIN of these errors are to be expected; where there
    is none, the one at which fewest are. Of an empty table, SURE. Whether the wish is kept, `Threshold` says.
    """
    if not table:
        return Threshold(SURE, wished, None)
    for row in sorted(table, key=lambda row: row.sure):
        if row.expected * wished <= MARGIN:
            return Threshold(row.sure, wished, row)
    best = min(table, key=lambda row: row.expected)
    return Threshold(best.sure, wished, best)


@dataclass(frozen=True, slots=True)
class Calibration:
    """Turns the net's own probability of its best candidate into a true one.

    Logistic in the log odds (Platt, "Probabilistic outputs for support vector machines", 1999), fitted
    by `ingest.training.calibrate` on writers who neither trained nor test the net. A 9 is wrong more often
    than it seems: of 18 calibrating hands two close every fifth 4 at the top so that the net sees one.

    nine: what a 9 in the text takes from, or adds to, the log odds.

    most, blank: no reading, and no blank box, is held surer than the number of boxes that were counted can
    support. blankness: what tells blank boxes.
    """

    slope: float = 1.0
    shift: float = 0.0
    nine: float = 0.0
    most: float = 0.9999
    blank: float = 0.9995
    blankness: Blankness = field(default_factory=Blankness)

    @classmethod
    def load(cls) -> "Calibration":
        """The calibration that ships with the reader."""
        figures = _figures()
        return cls.of(figures)

    @classmethod
    def of(cls, figures: Mapping[str, Any]) -> "Calibration":
        """From the figures that `ingest.training.calibrate` writes."""
        blankness = Blankness(*figures["blankness"])
        names = ("slope", "shift", "nine", "most", "blank")
        return cls(**{name: figures[name] for name in names}, blankness=blankness)

    def certainty(self, text: str, chance: float) -> float:
        """text: what is read. chance: the net's probability of it, 0..1. Returns 0..most."""
        chance = min(max(chance, _LEAST), 1 - _LEAST)
        odds = self.slope * math.log(chance / (1 - chance)) + self.shift + self.nine * ("9" in text)
        return min(self.most, 1 / (1 + math.exp(-max(-30.0, min(30.0, odds)))))

    def blank_chance(self, signs: Signs) -> float:
        """The probability that a box is blank, 0..blank."""
        return min(self.blank, self.blankness.chance(signs))


@dataclass(frozen=True, slots=True)
class Clearness:
    """Turns the confidence that ink, hand and sums leave of a box into a true one, by how clear its chart is.

    Logistic in the log odds of the confidence and the logarithm of the chart's murk (`ingest.check.murk`),
    fitted by `ingest.training.calibrate` on whole charts by calibrating hands. By itself, confidence was too
    humble on clear charts and too bold on murky ones.

    most: no box is held surer than the number that were counted can support.
    """

    slope: float = 1.0
    murk: float = 0.0
    shift: float = 0.0
    most: float = 1.0

    @classmethod
    @cache
    def load(cls) -> "Clearness":
        """As calibrated for the reader that ships."""
        return cls(**_figures()["clearness"])

    def chance(self, confidence: float, murk: float) -> float:
        """confidence: 0..1. murk: share of the chart's other boxes in doubt, above 0. Returns 0..most."""
        confidence = min(max(confidence, _LEAST), 1 - _LEAST)
        odds = self.slope * math.log(confidence / (1 - confidence)) + self.murk * math.log(murk) + self.shift
        return min(self.most, 1 / (1 + math.exp(-max(-30.0, min(30.0, odds)))))


@cache
def threshold(wished: int) -> Threshold:
    """The threshold for a wish by the calibration that ships with the reader; see `choose`."""
    return choose(wished, tried(_figures()))


def tried(figures: Mapping[str, Any]) -> tuple[Tried, ...]:
    """The thresholds that `ingest.training.calibrate` tried and wrote among its figures; () if it did not."""
    return tuple(Tried(**row) for row in figures.get("thresholds", ()))


def _figures() -> Mapping[str, Any]:
    text = (resources.files("ingest.reading") / "model" / "calibration.json").read_text("utf-8")
    figures: Mapping[str, Any] = json.loads(text)
    return figures
