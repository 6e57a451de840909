"""Colours of the pictures: one blue from pale to dark, so that grey print and every eye see the same order.

Nothing is told by colour alone: a number, a frame or a hatching says it again. The blue is Okabe and Ito's
("Color Universal Design", 2002) made lighter; contrasts are held to WCAG 2.2 by tests/test_palette.py.
"""

from dataclasses import dataclass

PAPER = "#FFFFFF"
INK = "#1A1A1A"  # words and frames
QUIET = "#595959"  # words that are not the main thing; 7.0 : 1 on white
GRID = "#C8C8C8"  # lines behind a picture, which say nothing by themselves
BAR = "#0072B2"
PALE_BAR = "#A6CEE6"  # always framed in BAR
STAR = "#F5BE41"  # always framed in INK


@dataclass(frozen=True, slots=True)
class Shade:
    """A filling and the ink that is read on it."""

    fill: str
    ink: str


# From no minutes to many.
SHADES = (
    Shade(PAPER, INK),
    Shade("#DCEAF5", INK),
    Shade("#A6CEE6", INK),
    Shade("#5BA3D0", "#000000"),
    Shade("#005E93", PAPER),
)


def steps(minimum: int) -> tuple[float, ...]:
    """From which minutes the second shade is used, the third ...: any, half the minimum, it, half more.

    Above that nothing gets darker: a picture should not praise a huge day.
    """
    return (0.5, max(1.0, minimum / 2), float(minimum), 1.5 * minimum)


def shade(minutes: float, minimum: int) -> Shade:
    return SHADES[sum(minutes >= step for step in steps(minimum))]
