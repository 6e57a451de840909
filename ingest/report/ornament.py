"""Drawings of a certificate: a frame of staves with a tune on it, and a seal with ribbons."""

import math
from collections.abc import Callable

from ingest.chart.pen import Ink, Pen, Point
from ingest.paper import Box

STAFF_GAP = 1.7  # mm between two of the frame's five lines
STAFF = 4 * STAFF_GAP
_ROUND = 10.0  # mm, radius of the outer line's corners
_THIN, _THICK = 0.25, 0.6

# A tune of our own: (quarters that a note lasts, half gaps above the staff's middle line).
_TUNE = [
    (1, -2),
    (1, 0),
    (1, 2),
    (1, 4),
    (0.5, 3),
    (0.5, 2),
    (1, 0),
    (2, 1),
    (1, -1),
    (0.5, 0),
    (0.5, 1),
    (2, 3),
]
_TUNE += [(1, 2), (1, 1), (0.5, 0), (0.5, -1), (1, 1), (2, -2)]
_QUARTER = 6.6  # mm
_BAR = 4  # quarters

_LOBES = 20  # of the seal's edge


def frame(pen: Pen, box: Box, ink: Ink, *, tune: bool) -> None:
    """Five lines around the page, as staves have them; box: within the outer one. tune: with notes."""
    for line in range(5):
        thick = _THICK if line in (0, 4) else _THIN
        pen.rounded(box.grown(-line * STAFF_GAP), _ROUND - line * STAFF_GAP, thick=thick, grey=ink)
    if tune:
        room = box.width - 2 * _ROUND - 12
        for y, start in ((box.top, 0), (box.bottom - STAFF, 8)):
            _tune(pen, Box(box.centre[0] - room / 2, y, room, STAFF), ink, start)


def _tune(pen: Pen, area: Box, ink: Ink, start: int) -> None:
    """As much of the tune as there is room for, from a note on; whole bars, in the middle."""
    bars = int(area.width / (_QUARTER * _BAR))
    left = area.centre[0] - bars * _BAR * _QUARTER / 2
    beat, place, before = 0.0, start, None
    while beat < bars * _BAR:
        quarters, step = _TUNE[place % len(_TUNE)]
        quarters = min(quarters, bars * _BAR - beat)
        head = (left + (beat + 0.45) * _QUARTER, area.centre[1] - step * STAFF_GAP / 2)
        up = step < 1
        tip = _note(pen, head, STAFF_GAP, ink, hollow=quarters >= 2, up=up)
        if quarters < 1:
            if before and before[1] == up:
                pen.line(before[0], tip, thick=0.8, grey=ink)
                before = None
            else:
                before = (tip, up)
        beat, place = beat + quarters, place + 1
    for bar in range(bars + 1):
        x = left + bar * _BAR * _QUARTER
        pen.line((x, area.top), (x, area.bottom), thick=_THIN, grey=ink)


def _note(pen: Pen, head: Point, gap: float, ink: Ink, *, hollow: bool, up: bool) -> Point:
    """A note; where its stem ends."""
    x, y = head
    if hollow:
        pen.oval(head, (0.66 * gap, 0.46 * gap), turn=22, grey=1.0)
        pen.oval(head, (0.6 * gap, 0.4 * gap), turn=22, thick=0.4, grey=ink)
    else:
        pen.oval(head, (0.68 * gap, 0.48 * gap), turn=22, grey=ink)
    side = 0.6 * gap if up else -0.6 * gap
    tip = (x + side, y - (3.3 if up else -3.3) * gap)
    pen.line((x + side, y), tip, thick=0.35, grey=ink)
    return tip


def seal(pen: Pen, centre: Point, radius: float, sign: str, *, fill: Ink, ribbon: Ink) -> None:
    """A rosette with two ribbons and a sign on it.

    sign: a number, or the kind of an award ("met", "longest-streak" ...), each of which has its drawing.
    """
    x, y = centre
    for side in (-1, 1):
        _ribbon(pen, centre, radius, side, ribbon)
    edge = []
    for step in range(_LOBES * 8):
        angle = 2 * math.pi * step / (_LOBES * 8)
        reach = radius * (0.96 + 0.04 * math.cos(_LOBES * angle))
        edge.append((x + reach * math.cos(angle), y + reach * math.sin(angle)))
    pen.polygon(edge, thick=0.5, grey=0.15, fill=fill)
    pen.oval(centre, (0.8 * radius, 0.8 * radius), grey=1.0)
    pen.oval(centre, (0.8 * radius, 0.8 * radius), thick=0.5, grey=0.15)
    for step in range(40):  # a ring of dots
        angle = 2 * math.pi * step / 40
        dot = (x + 0.73 * radius * math.cos(angle), y + 0.73 * radius * math.sin(angle))
        pen.oval(dot, (0.016 * radius, 0.016 * radius), grey=0.3)
    if sign.isdecimal():
        size = 1.0 * radius
        pen.text((x, y + 0.36 * size), sign, size * 72 / 25.4, bold=True, room=1.2 * radius, align="centre")
    else:
        _SIGNS.get(sign, _star)(pen, centre, 0.55 * radius, fill)


def _ribbon(pen: Pen, centre: Point, radius: float, side: int, ink: Ink) -> None:
    x, y = centre
    lean = side * 0.38
    wide, long = 0.42 * radius, 1.75 * radius

    def at(across: float, down: float) -> Point:
        return (x + side * 0.3 * radius + across + lean * down, y + down)

    end = [at(-wide / 2, long), at(0, long - 0.28 * radius), at(wide / 2, long)]
    pen.polygon(
        [at(-wide / 2, 0.3 * radius), *end, at(wide / 2, 0.3 * radius)], thick=0.4, grey=0.15, fill=ink
    )


def _star(pen: Pen, centre: Point, reach: float, fill: Ink) -> None:
    corners = []
    for point in range(10):
        angle = math.radians(36 * point - 90)
        far = reach if point % 2 == 0 else 0.48 * reach
        corners.append((centre[0] + far * math.cos(angle), centre[1] + far * math.sin(angle)))
    pen.polygon(corners, thick=0.5, grey=0.15, fill=fill)


def _streak(pen: Pen, centre: Point, reach: float, fill: Ink) -> None:
    """Four notes under one beam."""
    x, y = centre
    heads = [(x + reach * across, y + 0.45 * reach) for across in (-0.85, -0.32, 0.21, 0.74)]
    for head in heads:
        pen.oval(head, (0.2 * reach, 0.15 * reach), turn=22, grey=0.1)
        pen.line(
            (head[0] + 0.18 * reach, head[1]), (head[0] + 0.18 * reach, y - 0.6 * reach), thick=0.5, grey=0.1
        )
    ends = [(heads[place][0] + 0.18 * reach, y - 0.55 * reach) for place in (0, -1)]
    pen.line(ends[0], ends[1], thick=0.16 * reach, grey=0.1)


def _check(pen: Pen, centre: Point, reach: float, fill: Ink) -> None:
    x, y = centre
    corners = [(-0.8, 0.05), (-0.5, -0.25), (-0.18, 0.1), (0.6, -0.75), (0.88, -0.48), (-0.18, 0.7)]
    pen.polygon([(x + a * reach, y + b * reach) for a, b in corners], thick=0.5, grey=0.15, fill=fill)


def _rise(pen: Pen, centre: Point, reach: float, fill: Ink) -> None:
    """Four bars, each higher than the last."""
    x, y = centre
    for step in range(4):
        high = (0.4 + 0.35 * step) * reach
        bar = Box(x + (-0.86 + 0.45 * step) * reach, y + 0.7 * reach - high, 0.36 * reach, high)
        pen.rounded(bar, 0.06 * reach, thick=0.5, grey=0.15, fill=fill)


def _clock(pen: Pen, centre: Point, reach: float, fill: Ink) -> None:
    x, y = centre
    pen.oval(centre, (0.85 * reach, 0.85 * reach), grey=fill)
    pen.oval(centre, (0.85 * reach, 0.85 * reach), thick=0.6, grey=0.15)
    pen.line(centre, (x, y - 0.6 * reach), thick=0.9, grey=0.1)
    pen.line(centre, (x + 0.4 * reach, y + 0.15 * reach), thick=0.9, grey=0.1)


_SIGNS: dict[str, Callable[[Pen, Point, float, Ink], None]] = {
    "met": _star,
    "longest-streak": _streak,
    "every-weekday": _check,
    "most-improved-week": _rise,
    "first-to-hand-in": _clock,
}
