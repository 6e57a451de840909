"""Text of any length and script in a place of given size: how large, and broken where."""

from dataclasses import dataclass

from ingest.chart.lettering import BOLD, REGULAR, typeset, width, wrap
from ingest.chart.pen import Ink, Pen, points
from ingest.paper import Box

PITCH = 1.3  # from line to line, in the size of the type; scripts with signs above and below need it
_SMALLEST = 3.0  # points; nothing is set smaller, whatever it is
_STEP = 0.5
_RISE = 0.95  # from the top of a line to its baseline, in the size of the type


@dataclass(frozen=True, slots=True)
class Fitted:
    """size: points. lines: from top to bottom."""

    size: float
    lines: tuple[str, ...]

    @property
    def height(self) -> float:
        """Millimetres."""
        return len(self.lines) * PITCH * points(self.size)


def fit(
    text: str,
    room: float,
    height: float,
    *,
    most: float,
    least: float = 9,
    bold: bool = False,
    even: bool = True,
) -> Fitted:
    """The largest type that fits.

    room, height: mm. most, least: points. Down to `least` no word is broken; below, any may be.
    even: in lines of about equal length.
    """
    face = BOLD if bold else REGULAR
    longest = max((width(typeset(word, face)) for word in text.split()), default=0.0)
    size = most
    while size > _SMALLEST:
        em = points(size)
        if longest * em <= room or size <= least:
            lines = wrap(text, room / em, face)
            if len(lines) * PITCH * em <= height:
                break
        size -= _STEP
    size = max(size, _SMALLEST)
    if not even:
        return Fitted(size, tuple(wrap(text, room / points(size), face)))
    return Fitted(size, _balanced(text, room / points(size), face, longest))


def set_lines(pen: Pen, fitted: Fitted, area: Box, *, bold: bool = False, grey: Ink = 0.0) -> None:
    """Draw them in the middle of the area, each centred."""
    em = points(fitted.size)
    y = area.centre[1] - fitted.height / 2
    for line in fitted.lines:
        place = (area.centre[0], y + (PITCH - 1) / 2 * em + _RISE * em * 0.9)
        pen.text(place, line, fitted.size, bold=bold, grey=grey, room=area.width, align="centre")
        y += PITCH * em


def _balanced(text: str, room: float, face: str, longest: float) -> tuple[str, ...]:
    """The same number of lines as fill `room` ems, but as even as can be."""
    lines = wrap(text, room, face)
    narrow = max(longest, width(typeset(text, face)) / max(1, len(lines)))
    if longest > room:
        return tuple(lines)
    while narrow < room:
        even = wrap(text, narrow, face)
        if len(even) == len(lines):
            return tuple(even)
        narrow += 0.25
    return tuple(lines)
