"""Paper in millimetres: origin at the page's top left corner, x to the right, y downwards.

The only other system, PDF points with y upwards, is reached through `to_points` alone.
"""

from dataclasses import dataclass

POINTS_PER_MM = 72 / 25.4  # a PDF point is 1/72 inch (ISO 32000-1, 8.3.2.3)


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle on the paper, in millimetres."""

    left: float
    top: float
    width: float
    height: float

    def __post_init__(self) -> None:
        if not (self.width > 0 and self.height > 0):  # written so that NaN fails too
            raise ValueError(f"Box needs a positive size in mm, got {self.width} x {self.height}")

    @property
    def right(self) -> float:
        return self.left + self.width

    @property
    def bottom(self) -> float:
        return self.top + self.height

    @property
    def centre(self) -> tuple[float, float]:
        return self.left + self.width / 2, self.top + self.height / 2

    def grown(self, margin: float) -> "Box":
        """The box with `margin` mm more on each side (less, if negative)."""
        return Box(self.left - margin, self.top - margin, self.width + 2 * margin, self.height + 2 * margin)


@dataclass(frozen=True, slots=True)
class Paper:
    """A sheet as the chart uses it: landscape."""

    name: str
    width: float  # mm
    height: float  # mm


PAPERS = {
    "letter": Paper("letter", 279.4, 215.9),  # 11 x 8.5 in, ASME Y14.1 size A
    "a4": Paper("a4", 297.0, 210.0),  # ISO 216
}


def to_points(box: Box, page_height: float) -> tuple[float, float, float, float]:
    """Paper mm to PDF points as (x, y, width, height); the only place where y turns upwards."""
    k = POINTS_PER_MM
    return box.left * k, (page_height - box.bottom) * k, box.width * k, box.height * k
