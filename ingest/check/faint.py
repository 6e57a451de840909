"""Whether a page's blank boxes can be believed, and numbers of one digit.

Where pencil is near the limit of what a photo shows, some boxes come out as writing, some as blank, and some
hang between. `reading.blank` measures each by the page's numbers, but knows only those that it could read;
the neighbours that hang tell of those that it could not. On a page where every other box is clearly written
in or clearly blank, a blank one stands.

Where a digit is lost, in faint pencil or at the frame, 25 is 5: the net sees a 5 and is sure of it.
"""

from collections.abc import Mapping

from ingest.check.colored import minutes_each
from ingest.check.sums import Candidates
from ingest.reading.values import Candidate

# Boxes that hang between, as a share of those written in, at which a blank one is believed half. Measured on
# 900 photos of all severities by calibrating hands: where the share was below 0.05, 4 of 840 boxes called
# blank on hard photos were numbers, and none of 3,800 on others; from there to 0.1, 7 of 24; above, half.
# Higher: faint pencil passes for nothing (with 0.08, on 900 further photos, four more boxes). Lower: more
# blank boxes are asked about.
HALF_BELIEVED = 0.06
_STEEP = 4  # how fast belief falls around there
# What is left of belief at the least: on the worst pages, of three boxes called blank one was. Sums may still
# bear such a box out.
LEAST = 0.3
# A box surer than this by either side hangs nowhere: many blank boxes together must not doubt each other.
CLEAR = 0.995

# What is left of belief in a number of one digit. Hardly a child writes down fewer than ten minutes: on 900
# photos by calibrating hands, of 18 days that the net was sure were such, 6 were. Sums may bear one out.
ONE_DIGIT = 0.9

# And in one that begins with a 0, as nobody writes it: of 38 boxes that the net read so, 15 said what follows
# the 0. It takes a crumb of frame or of another number for one.
PADDED = 0.4

_NUMBERS = ("day", "week", "month")


def believed(boxes: Mapping[str, Candidates]) -> dict[str, Candidates]:
    """The boxes of one page by name, blank ones as probable as the others let them be.

    The probability that a blank or a digit loses goes to no other candidate: who knows what stands there.
    """
    blank = {
        name: sum(c.probability for c in box if _is_blank(c))
        for name, box in boxes.items()
        # of circles, all the page's together have told already which are empty
        if name.partition(":")[0] in _NUMBERS and not minutes_each(box)
    }
    between = sum(_between(chance) for chance in blank.values())
    written = sum(1 - chance for chance in blank.values())
    out = dict(boxes)
    for name, chance in blank.items():
        others = max(written - (1 - chance), 1e-9)
        out[name] = _all_there(_doubted(boxes[name], (between - _between(chance)) / others))
    return out


def _between(blank: float) -> float:
    """How far a box hangs between written and blank, by its chance to be blank: 0 clear .. 0.5."""
    least = min(blank, 1 - blank)
    return least if least > 1 - CLEAR else 0.0


def _doubted(box: Candidates, share: float) -> Candidates:
    """share: of the page's other boxes that are written in, so many hang between."""
    if share == 0:
        return box
    odds = (share / HALF_BELIEVED) ** _STEEP
    belief = 1 - (1 - LEAST) * odds / (1 + odds)
    less = [c.at(c.probability * belief) if _is_blank(c) else c for c in box]
    return tuple(sorted(less, key=lambda c: -c.probability))


def _all_there(box: Candidates) -> Candidates:
    """With a number that may have lost a digit, or begins with one too many, as probable as it may be."""
    best, *others = box
    if best.typed or best.value is None:
        return box
    padded = best.text[:1] == "0" and best.text[1:2].isdigit()
    left = PADDED if padded else ONE_DIGIT if 0 < best.value < 10 else 1.0
    return tuple(sorted((best.at(best.probability * left), *others), key=lambda c: -c.probability))


def _is_blank(candidate: Candidate) -> bool:
    return candidate.value is None and candidate.text == ""
