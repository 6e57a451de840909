"""How much of a chart is in doubt.

In faint pencil, in bad light or by an odd hand, what goes wrong in one box goes wrong in others as well; some
of them look sure, and may even bear each other out. So of two boxes with the same confidence, the one on a
chart whose other boxes are clear is right more often.
"""

from collections.abc import Mapping

from ingest.check.evidence import Evidence, certainty

# Boxes in doubt, on top of those that are: no chart is so clear that nothing could be wrong with it. On 2,160
# photos by calibrating hands 0.05 and 0.5 told as much.
_LEAST = 0.2

# From here on a chart is so murky that a box must be surer than else. The average over all charts, by which a
# threshold is chosen, would let 11 silent errors in 7,525 boxes pass on such (7,200 photos by calibrating
# hands, of all severities, at 0.99); with this, it was 2 in 5,514.
MURKY = 0.1
SURE_IF_MURKY = 0.9995

NUMBERS = ("day", "week", "month")


def murk(found: Mapping[str, Evidence]) -> dict[str, float]:
    """For each box with a number the share of the chart's others that the ink leaves in doubt, above 0.

    What a person answered, and what the sums make of it, changes nothing: the ink is no clearer for it.
    """
    doubts = {
        name: 1 - certainty(each.ink) for name, each in found.items() if name.partition(":")[0] in NUMBERS
    }
    every = sum(doubts.values()) + _LEAST
    return {name: (every - doubt) / len(doubts) for name, doubt in doubts.items()}


def needed(sure: float, murk: float) -> float:
    """The confidence that a box needs to be taken without a person. sure: where nothing is murky."""
    return max(sure, SURE_IF_MURKY) if murk >= MURKY else sure
