"""Colours of the pictures: one blue from pale to dark, so that grey print and every eye see the same order.

Nothing is told by colour alone: a number, a frame or a hatching says it again. The blue is Okabe and Ito's
("Color Universal Design", 2002) made lighter; contrasts are held to WCAG 2.2 by tests/test_palette.py.
"""

import math
from dataclasses import dataclass

PAPER = "#FFFFFF"
INK = "#1A1A1A"  # words and frames
QUIET = "#595959"  # words that are not the main thing; 7.0 : 1 on white
GRID = "#C8C8C8"  # lines behind a picture, which say nothing by themselves
BAR = "#0072B2"
PALE_BAR = "#C2DCEE"  # always framed in BAR
STAR = "#F5BE41"  # always framed in INK


@dataclass(frozen=True, slots=True)
class Shade:
    """A filling and the ink that is read on it."""

    fill: str
    ink: str


# From no minutes to many.
SHADES = (
    Shade(PAPER, INK),
    Shade("#D6E7F4", INK),
    Shade("#A3CBE6", INK),
    Shade("#70AED7", INK),
    Shade("#3A86BC", "#000000"),
    Shade("#00568A", PAPER),
)


def steps(minimum: int) -> tuple[int, ...]:
    """Whole minutes from which the second shade is used, the third ...: any, half the minimum, it, more.

    Above five thirds of the minimum nothing gets darker: a picture should not praise a huge day.
    """
    found = [1]
    for thirds in (1.5, 3, 4, 5):
        found.append(max(found[-1] + 1, math.ceil(minimum * thirds / 3)))
    return tuple(found)


def shade(minutes: int, minimum: int) -> Shade:
    return SHADES[sum(minutes >= step for step in steps(minimum))]
