"""Written or blank? Decided by how a box stands out among the others of its page, and by what the net sees.

Where pencil is near the limit of what a photo shows, one box by itself does not tell faint writing from the
paper's grain. Its page does: nobody writes one box ten times as faintly as the next. So a box's contrast is
measured in that of the page's surely read numbers. On 27,000 boxes by calibrating hands, photos of all
severities, that alone told more than the net did, and both together left a fifth as many ordinary boxes in
doubt as the net alone.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ingest.reading.ink import Traces

# The page's writing is as dark as the faintest tenth of its numbers, if so many were read surely.
ENOUGH = 5
_FAINTEST = 0.1
# Where fewer were, faint writing must be reckoned with, as faint as on one hard photo in twenty by
# calibrating hands; unless many boxes have no grain at all, as on pages that never were on paper.
_FAINT = 0.08
_CLEAN, _MANY = 2e-4, 0.1
# If there are strokes on such a page, a box that stands out by so much may hold more: a scan in black and
# white has wiped pencil away. On 5 such pages among 11,467 photos by calibrating hands 0.003 was the least.
_TRACE = 0.002

# On pages whose writing is as dark as this, a speck is dirt; where it is fainter, something of a number.
_BOLD = 0.15

# Where too much light has bleached the paper, frames fade, and pencil before them. A box is washed out if its
# frame is fainter than so much of those around the page's surely read numbers, again by the faintest tenth.
# Where that was not looked at, of 7,329 photos by calibrating hands a sixth of the silent errors on hard ones
# were such, or more.
_WASHED = 0.6

# What stands out less than this, in the page's writing, is not shown to the net: of 5,600 such boxes on all
# photos, 4 were written in, three of them with a dash.
_NOTHING = 0.05
# What the net would say of such a box: as of the less clear of blank ones.
_UNASKED = 4.0

_MOST = 11.0  # log odds of the net beyond which it was never counted


@dataclass(frozen=True, slots=True)
class Signs:
    """What speaks for a box's being blank, or against it. The first three are natural logarithms.

    net: the net's own odds that it is. contrast: how far its darkest stands above the paper, as a share of
    how far the page's writing does; None where that is not known and the page is clean. grain: the same in
    spreads of the paper's grain. flat: 1 if all that stands out is one low, wide mark, as a dash is, else 0.
    """

    net: float
    contrast: float | None
    grain: float
    flat: float


@dataclass(frozen=True, slots=True)
class Blankness:
    """Logistic weights of the signs, fitted by `ingest.training.calibrate`."""

    bias: float = -0.95
    net: float = 0.39
    contrast: float = -2.31
    grain: float = -0.87
    flat: float = -2.48

    def chance(self, signs: Signs) -> float:
        """The probability that the box is blank, 0..1."""
        if signs.contrast is None:
            odds = signs.net
        else:
            odds = (
                self.bias + self.net * signs.net + self.contrast * signs.contrast + self.grain * signs.grain
            )
        return 1 / (1 + math.exp(-max(-30.0, min(30.0, odds))))


@dataclass(frozen=True, slots=True)
class Writing:
    """A page's writing.

    contrast: how far it stands above the paper, as a share of the paper's brightness. frame: how dark the
    frames around it are, likewise. is_known: whether enough numbers were read to say so. is_clean: whether
    many boxes have no grain. is_there: whether any box shows strokes.
    """

    contrast: float
    frame: float
    is_known: bool
    is_clean: bool
    is_there: bool = True

    @classmethod
    def of(cls, boxes: Sequence[Traces], numbers: Sequence[Traces]) -> "Writing":
        """boxes: of the page. numbers: those of them that were surely read as numbers."""
        is_clean = bool(boxes) and float(np.quantile([each.grain for each in boxes], _MANY)) < _CLEAN
        if len(numbers) < ENOUGH:
            return cls(_FAINT, 0.0, False, is_clean, any(each.ink for each in boxes))
        contrast = float(np.quantile([each.contrast for each in numbers], _FAINTEST))
        frame = float(np.quantile([each.frame for each in numbers], _FAINTEST))
        return cls(max(contrast, 1e-3), frame, True, is_clean)

    def is_washed_out(self, traces: Traces) -> bool:
        """Whether a box lies where writing as faint as the page's may be gone from the picture.

        What was never on paper has no light, but may have text boxes with frames of their own.
        """
        return not self.is_clean and traces.frame < _WASHED * self.frame

    def is_worth_asking(self, traces: Traces) -> bool:
        """Whether the net should look at a box in which no strokes were seen."""
        if self._is_dirt(traces) or self._is_bare:
            return False
        return traces.contrast >= _NOTHING * self.contrast

    @property
    def _is_bare(self) -> bool:
        return self.is_clean and not self.is_known

    def _is_dirt(self, traces: Traces) -> bool:
        return traces.is_speck and max(self.contrast, traces.contrast) >= _BOLD

    def signs(self, traces: Traces, net: float | None, *, flat: bool) -> Signs:
        """net: its probability that the box is blank; None if it was not asked. flat: see `Signs`."""
        seen = 0.0 if self._is_dirt(traces) else traces.contrast
        grain = math.log(min(max(seen / max(traces.grain, 1e-3), 0.3), 1e3))
        if self._is_bare:
            unasked = _UNASKED if self.is_there and traces.contrast >= _TRACE else _MOST
            return Signs(unasked if net is None else _odds(net), None, grain, float(flat))
        contrast = math.log(min(max(seen / self.contrast, _NOTHING / 2), 10))
        return Signs(_UNASKED if net is None else _odds(net), contrast, grain, float(flat))


def _odds(chance: float) -> float:
    return max(-_MOST, min(_MOST, math.log(max(chance, 1e-9) / max(1 - chance, 1e-9))))
