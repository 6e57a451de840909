"""How sure a reading is, and how sure it must be to be taken without a person."""

import json
import math
from dataclasses import dataclass
from importlib import resources

SURE: float = 0.96
"""Least probability of the best candidate, given the whole chart, at which a box is not asked about.

Of 8,719 boxes by calibrating hands, 94.5 in 100 are that sure before the sums have their say; 1 in 275 of
those is wrong, or 1 in 912 without two hands whose 4 is anybody's 9. The sums catch most of these.
"""

_LEAST = 1e-9


@dataclass(frozen=True, slots=True)
class Calibration:
    """Turns the net's own probability of its best candidate into a true one.

    Logistic in the log odds (Platt, "Probabilistic outputs for support vector machines", 1999), fitted
    by `ingest.training.calibrate` on writers who neither trained nor test the net.

    most, blank: no reading, and no box blank by looking alone, is held surer than the number of boxes
    that were counted can support.
    """

    slope: float = 1.0
    shift: float = 0.0
    most: float = 0.9999
    blank: float = 0.9995

    @classmethod
    def load(cls) -> "Calibration":
        """The calibration that ships with the reader."""
        text = (resources.files("ingest.reading") / "model" / "calibration.json").read_text("utf-8")
        figures = json.loads(text)
        return cls(figures["slope"], figures["shift"], figures["most"], figures["blank"])

    def certainty(self, chance: float) -> float:
        """chance: the net's probability, 0..1. Returns 0..most."""
        chance = min(max(chance, _LEAST), 1 - _LEAST)
        odds = self.slope * math.log(chance / (1 - chance)) + self.shift
        return min(self.most, 1 / (1 + math.exp(-max(-30.0, min(30.0, odds)))))
