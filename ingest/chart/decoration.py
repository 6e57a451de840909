"""Small drawings that make the chart a pleasant sheet: a staff with notes, stars to color in.

Outlines only, so that they copy well and do not use up a printer.
"""

import math

from ingest.chart.pen import Pen
from ingest.paper import Box

_THICK = 0.3
_GREY = 0.25

# Quarter notes and beamed pairs along the staff: (share of its width, steps above the middle line).
_TUNE = [(0.16, -2), (0.26, 0), (0.36, 2), (0.5, 1), (0.57, 3), (0.68, 0), (0.79, 2), (0.86, 1)]
_BEAMED = [(3, 4), (6, 7)]  # pairs of _TUNE under one beam


def staff(pen: Pen, area: Box) -> None:
    """Five lines that sway a little, as if drawn by hand, and a tune on them, led by a smiling note."""
    gap = area.height / 8  # between two lines; stems and the smiling note reach beyond the lines

    def sway(share: float) -> float:
        return area.top + area.height * 0.56 + 0.8 * gap * math.sin(2.2 * math.pi * share)

    for line in range(-2, 3):
        knots = []
        for piece in range(9):
            share = piece / 8
            knots.append((area.left + share * area.width, sway(share) + line * gap))
        pen.curve(_smooth(knots), thick=0.2, grey=0.45)
    heads = [(area.left + share * area.width, sway(share) - step * gap / 2) for share, step in _TUNE]
    beamed = {place for pair in _BEAMED for place in pair}
    for place, head in enumerate(heads):
        _note(pen, head, gap, stem=0 if place in beamed else 3.2 * gap)
    for first, second in _BEAMED:
        top = min(heads[first][1], heads[second][1]) - 3.0 * gap
        for place in (first, second):
            x, y = heads[place]
            pen.line((x + 0.6 * gap, y), (x + 0.6 * gap, top), thick=_THICK, grey=_GREY)
        pen.line(
            (heads[first][0] + 0.6 * gap, top), (heads[second][0] + 0.6 * gap, top), thick=0.9, grey=_GREY
        )
    smiling_note(pen, (area.left + 2.6 * gap, sway(0.05) + 0.2 * gap), 2.1 * gap)


def doodles(pen: Pen, area: Box, start: int) -> None:
    """Three small drawings one below the other. start: which comes first, so that edges differ."""
    drawings = [_smile_doodle, _star_doodle, _pair_doodle]
    for place in range(3):
        centre = (area.centre[0], area.top + area.height * (0.15 + 0.35 * place))
        drawings[(start + place) % 3](pen, centre, area.width / 2)


def _smile_doodle(pen: Pen, centre: tuple[float, float], reach: float) -> None:
    smiling_note(pen, (centre[0] - 0.2 * reach, centre[1] + 0.7 * reach), 0.68 * reach)


def _star_doodle(pen: Pen, centre: tuple[float, float], reach: float) -> None:
    star(pen, centre, 0.75 * reach, turn=12)


def _pair_doodle(pen: Pen, centre: tuple[float, float], reach: float) -> None:
    x, y = centre
    heads = [(x - 0.55 * reach, y + 0.7 * reach), (x + 0.45 * reach, y + 0.45 * reach)]
    tops = []
    for head in heads:
        pen.oval(head, (0.36 * reach, 0.26 * reach), turn=22, thick=_THICK, grey=_GREY)
        stem = head[0] + 0.34 * reach
        tops.append((stem, head[1] - 1.5 * reach))
        pen.line((stem, head[1] - 0.1 * reach), tops[-1], thick=_THICK, grey=_GREY)
    pen.line(tops[0], tops[1], thick=0.8, grey=_GREY)


def stars(pen: Pen, area: Box, count: int) -> None:
    """`count` stars to color in, evenly along `area`."""
    step = min(area.width / count, 1.6 * area.height)
    radius = min(area.height / 2, 0.44 * step)
    for place in range(count):
        turn = 8 * math.sin(2.4 * place)
        star(pen, (area.left + (place + 0.5) * step, area.centre[1]), radius, turn)


def star(pen: Pen, centre: tuple[float, float], radius: float, turn: float = 0.0) -> None:
    corners = []
    for point in range(10):
        angle = math.radians(36 * point - 90 + turn)
        reach = radius if point % 2 == 0 else radius * 0.48
        corners.append((centre[0] + reach * math.cos(angle), centre[1] + reach * math.sin(angle)))
    pen.polygon(corners, thick=0.35, grey=0.3)


def _note(pen: Pen, head: tuple[float, float], gap: float, stem: float) -> None:
    x, y = head
    pen.oval(head, (0.68 * gap, 0.48 * gap), turn=22, grey=_GREY)
    if stem:
        pen.line((x + 0.6 * gap, y), (x + 0.6 * gap, y - stem), thick=_THICK, grey=_GREY)


def smiling_note(pen: Pen, centre: tuple[float, float], size: float) -> None:
    """An eighth note, big, to color in, with two eyes and a smile. size: half its width, mm."""
    x, y = centre
    pen.oval(centre, (size, 0.8 * size), turn=15, thick=0.4, grey=0.15)
    stem = (x + 0.96 * size, y - 0.3 * size)
    top = (stem[0], y - 3.0 * size)
    pen.line(stem, top, thick=0.5, grey=0.15)
    flag = [top, (top[0] + 0.2 * size, top[1] + 0.8 * size), (top[0] + 1.3 * size, top[1] + 0.7 * size)]
    flag.append((top[0] + 0.8 * size, top[1] + 1.9 * size))
    pen.curve(flag, thick=0.5, grey=0.15)
    for side in (-0.34, 0.34):
        pen.oval((x + side * size, y - 0.2 * size), (0.09 * size, 0.13 * size), grey=0.15)
    smile = [(x - 0.42 * size, y + 0.16 * size), (x - 0.2 * size, y + 0.5 * size)]
    smile += [(x + 0.2 * size, y + 0.5 * size), (x + 0.42 * size, y + 0.16 * size)]
    pen.curve(smile, thick=0.35, grey=0.15)


def _smooth(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Bezier knots of a smooth curve through points that are evenly spaced in x (Catmull-Rom)."""
    knots = [points[0]]
    for place in range(len(points) - 1):
        before = points[max(place - 1, 0)]
        start, end = points[place], points[place + 1]
        after = points[min(place + 2, len(points) - 1)]
        knots.append((start[0] + (end[0] - before[0]) / 6, start[1] + (end[1] - before[1]) / 6))
        knots.append((end[0] - (after[0] - start[0]) / 6, end[1] - (after[1] - start[1]) / 6))
        knots.append(end)
    return knots
