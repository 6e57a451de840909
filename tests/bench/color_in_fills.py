"""Young children with pencils, crayons and felt-tips, coloring circles in: for `color_in_check.py`.

Every mark is drawn as pen lines by `ingest.demo.ink`; nothing here knows how marks are read. How often
what happens is a guess, no source: more mishaps than a class would make, so that each is seen often.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import pairwise

import numpy as np

from ingest.chart.layout import ChartBox, Circle, Layout
from ingest.demo.hands import Hand, Points, any_manner, initials, write
from ingest.demo.ink import Pen, Picture, draw, rub, smear

# Share of light that the color takes, in R, G, B.
COLORS: Mapping[str, tuple[float, float, float]] = {
    "black": (0.85, 0.85, 0.83),
    "blue": (0.78, 0.6, 0.2),
    "red": (0.15, 0.78, 0.72),
    "green": (0.66, 0.28, 0.6),
    "purple": (0.5, 0.72, 0.3),
    "brown": (0.45, 0.6, 0.7),
    "orange": (0.05, 0.45, 0.85),
    "pink": (0.06, 0.45, 0.3),
    "sky blue": (0.45, 0.2, 0.08),
    "yellow": (0.02, 0.1, 0.75),
}
DARK = ("black", "blue", "red", "green", "purple", "brown")
PALE = ("orange", "pink", "sky blue", "yellow")


class Style(StrEnum):
    """How a child marks a circle."""

    FULL = "filled"
    LOOSE = "loosely hatched"
    SPIRAL = "spiral"
    DAB = "one fat dab"
    SWEEP = "whole rows in one go"
    TICK = "ticked"
    CROSS = "crossed"
    SLASH = "slashed"
    DOT = "dotted"


STROKES = (Style.TICK, Style.CROSS, Style.SLASH, Style.DOT)


class Mishap(StrEnum):
    """What is unusual about one day."""

    NONE = "none"
    ERASED = "one too many, erased"
    ALL_ERASED = "all erased"
    GAP = "one left out"
    BACKWARDS = "filled from the end"
    SMEARED = "smeared"
    BESIDE = "a stray line beside"
    PALE = "another, pale color"
    HALF = "last one half filled"
    STRUCK = "last one crossed out"
    CIRCLED = "circled instead of filled"
    SCRIBBLED = "scribbled over"
    NUMBER = "a number written over it"
    LINE = "a line through several"
    ODD_ONE = "last one ticked"


# Nobody can say for sure how many minutes these are: whoever takes them without asking guesses.
UNCLEAR = frozenset(
    {Mishap.HALF, Mishap.STRUCK, Mishap.CIRCLED, Mishap.SCRIBBLED, Mishap.NUMBER, Mishap.LINE}
)


@dataclass(frozen=True, slots=True)
class Child:
    """reach: how much of a circle's radius is filled, when it is filled. off: how far beside its middle, mm.
    overflow: how far strokes end from where they should, share of the radius, standard deviation.
    palette: colors used in turn. usual: circles on a usual day. days: how often there is practice.
    mishaps: how often a day has one. adds: how often a week's total is written.
    """

    style: Style
    pen: Pen
    palette: Sequence[str]
    reach: float
    off: float
    overflow: float
    usual: int
    days: float
    mishaps: float
    adds: float


@dataclass(frozen=True, slots=True)
class Day:
    """What was done to one day.

    touched: circles with a mark of any kind. meant: circles that the child means.
    """

    box: str
    circles: int
    touched: int
    meant: int
    mishap: Mishap
    style: Style
    color: str

    @property
    def is_clear(self) -> bool:
        """Whether the marks alone tell what is meant."""
        return self.mishap not in UNCLEAR

    @property
    def count(self) -> int | None:
        """What the marks alone tell; None where they do not."""
        return self.meant if self.is_clear else None

    @property
    def is_pale(self) -> bool:
        """Whether something is colored with what the chart asks not to be used."""
        return self.touched > 0 and self.color in PALE


def any_child(rng: np.random.Generator) -> Child:
    style = Style(
        rng.choice(
            [Style.FULL, Style.LOOSE, Style.SPIRAL, Style.DAB, Style.SWEEP, *STROKES],
            p=[0.44, 0.14, 0.08, 0.06, 0.08, 0.07, 0.06, 0.04, 0.03],
        )
    )
    tool = str(
        rng.choice(
            ["pencil", "color pencil", "crayon", "felt-tip", "ballpoint"], p=[0.4, 0.2, 0.25, 0.1, 0.05]
        )
    )
    if style is Style.DAB and tool in ("pencil", "ballpoint"):
        tool = "felt-tip"
    if style in STROKES and tool == "crayon":
        tool = "color pencil"
    palette: tuple[str, ...] = ("black",)
    if tool == "pencil":
        pen = Pen(tool, float(rng.uniform(0.45, 0.95)), (0.8,) * 3, 0.55, 0.35)
        pen = replace(pen, dark=(float(rng.uniform(0.42, 0.85)),) * 3)
    elif tool == "ballpoint":
        pen = Pen(tool, float(rng.uniform(0.35, 0.5)), (0.8,) * 3, 0.12, 0.15)
        palette = (str(rng.choice(["black", "blue", "red"])),)
    else:
        wide, grain = {
            "color pencil": ((0.7, 1.4), 0.6),
            "crayon": ((1.6, 3.2), 0.75),
            "felt-tip": ((1.0, 2.2), 0.0),
        }[tool]
        pen = Pen(tool, float(rng.uniform(*wide)), (0.8,) * 3, grain, 0.25)
        several = rng.random() < 0.5
        names = list(COLORS) if rng.random() < 0.35 else list(DARK)
        palette = tuple(str(name) for name in rng.permutation(names)[: 4 if several else 1])
    return Child(
        style=style,
        pen=pen,
        palette=palette,
        reach=float(rng.choice([1.0, 0.85, 0.7], p=[0.6, 0.25, 0.15])),
        off=float(rng.choice([0.1, 0.3], p=[0.7, 0.3])),
        overflow=float(rng.choice([0.03, 0.12, 0.25], p=[0.4, 0.4, 0.2])) * (1.3 if tool == "crayon" else 1),
        usual=int(rng.integers(2, 7)),
        days=float(rng.choice([0.95, 0.75, 0.5])),
        mishaps=float(rng.choice([0.0, 0.05, 0.2], p=[0.4, 0.4, 0.2])),
        adds=float(rng.choice([0.0, 0.5, 1.0])),
    )


def color_in(
    picture: Picture,
    px_per_mm: float,
    layout: Layout,
    child: Child,
    hand: Hand,
    rng: np.random.Generator,
) -> list[Day]:
    """Fill a month in, in place; the truth about every day, in the layout's order."""
    days = []
    for box in layout.boxes:
        if box.circles:
            own = np.random.default_rng(rng.integers(2**32))
            days.append(_a_day(picture, px_per_mm, box, child, hand, own))
        elif box.name.startswith("initials:") and rng.random() < 0.8:
            pen = Pen("ballpoint", 0.45, (0.8, 0.7, 0.5), 0.1, 0.2)
            draw(picture, px_per_mm, initials(box.area, rng), pen, rng)
    minutes = {day.box: day.meant * layout.box(day.box).minutes_each for day in days}
    pencil = Pen("pencil", 0.6, (0.7,) * 3, 0.5, 0.3)
    manner = any_manner(rng)
    for box in layout.boxes:
        if box.name.startswith("week:") and rng.random() < child.adds:
            row = [day for day in minutes if layout.box(day).frame.bottom == box.frame.bottom]
            total = sum(minutes[day] for day in row)
            if rng.random() < 0.12:  # children of six add like this
                total = max(0, total + int(rng.choice([-10, -5, 5, 10])))
            draw(picture, px_per_mm, write(hand, str(total), box.area, manner, rng), pencil, rng)
    return days


def _a_day(
    picture: Picture, px: float, box: ChartBox, child: Child, hand: Hand, rng: np.random.Generator
) -> Day:
    most = len(box.circles)
    count = 0
    if rng.random() < child.days:
        count = int(np.clip(round(rng.normal(child.usual, 1.5)), 1, most))
    color = str(rng.choice(list(child.palette)))
    mishap = Mishap.NONE
    if rng.random() < child.mishaps:
        mishap = Mishap(rng.choice([each for each in Mishap if each is not Mishap.NONE]))
    if count == 0 and mishap not in (Mishap.NUMBER, Mishap.SCRIBBLED, Mishap.ALL_ERASED, Mishap.BESIDE):
        mishap = Mishap.NONE
    if count >= most - 1 and mishap in (Mishap.ERASED, Mishap.GAP):
        mishap = Mishap.NONE
    if count < 2 and mishap in (Mishap.LINE, Mishap.ODD_ONE, Mishap.GAP):
        mishap = Mishap.NONE
    if mishap in (Mishap.ODD_ONE, Mishap.HALF) and child.style in STROKES:
        mishap = Mishap.NONE  # nobody ticks half a circle
    if mishap is Mishap.PALE:
        if child.pen.name in ("pencil", "ballpoint"):
            child = replace(child, pen=Pen("color pencil", 1.0, (0.8,) * 3, 0.5, 0.25))
        color = str(rng.choice(PALE))
    pen = _inked(child.pen, color, rng)
    chosen = list(box.circles[:count])
    style = child.style
    meant = _meant(mishap, count, rng)

    if mishap in (Mishap.ERASED, Mishap.ALL_ERASED) and pen.name in ("crayon", "felt-tip", "ballpoint"):
        mishap = Mishap.NONE  # cannot be rubbed out
    if mishap is Mishap.ALL_ERASED:
        gone, chosen, meant = chosen or [box.circles[0]], [], 0
        _erase(picture, px, gone, style, pen, child, rng)
    elif mishap is Mishap.ERASED:
        _erase(picture, px, [box.circles[count]], style, pen, child, rng)
    elif mishap is Mishap.GAP:
        out = int(rng.integers(0, count - 1))
        chosen = [*box.circles[:out], *box.circles[out + 1 : count + 1]]
    elif mishap is Mishap.BACKWARDS:
        chosen = list(box.circles[most - count :])
    elif mishap is Mishap.NUMBER:
        digits = str(meant * box.minutes_each)
        lines = write(hand, digits, box.area, any_manner(rng), rng)
        draw(picture, px, lines, replace(pen, width=min(pen.width, 1.0)), rng)
        return Day(box.name, most, count, meant, mishap, style, color)
    elif mishap is Mishap.SCRIBBLED:
        draw(picture, px, _scrawl(box, rng), pen, rng)

    if mishap is Mishap.CIRCLED:
        for circle in chosen:
            draw(picture, px, [_ring(circle, rng)], replace(pen, width=min(pen.width, 0.9)), rng)
        return Day(box.name, most, count, meant, mishap, style, color)
    last = chosen.pop() if mishap in (Mishap.HALF, Mishap.ODD_ONE) and chosen else None
    if style is Style.SWEEP and mishap not in (Mishap.GAP, Mishap.BACKWARDS):
        _sweep(picture, px, chosen, pen, child, rng)
    else:
        for circle in chosen:
            _mark(picture, px, circle, style, pen, child, rng)
    if last and mishap is Mishap.HALF:
        draw(picture, px, _half(last, pen, rng), pen, rng)
    elif last:
        thin = replace(pen, width=min(pen.width, 0.9))
        _mark(picture, px, last, Style(rng.choice([Style.TICK, Style.CROSS])), thin, child, rng)
    if mishap is Mishap.STRUCK and chosen:
        thin = replace(pen, width=min(pen.width, 0.8), dark=COLORS["black"])
        draw(picture, px, _cross(chosen[-1], rng, reach=1.45), thin, rng)
    elif mishap is Mishap.LINE:
        row = [circle for circle in box.circles[: max(count, 2)] if circle.y == box.circles[0].y]
        thin = replace(pen, width=min(pen.width, 0.8), dark=COLORS["black"])
        ends = np.array([[row[0].x - 2.5, row[0].y], [row[-1].x + 2.5, row[-1].y]])
        draw(picture, px, [_wavy(ends + rng.normal(0, 0.4, (2, 2)), rng)], thin, rng)
    elif mishap is Mishap.BESIDE:
        a = box.area
        at = np.array([a.left + a.width * rng.uniform(0.5, 1), a.bottom + rng.uniform(0.3, 1.5)])
        ends = np.array([at, at + np.array([rng.uniform(-8, 8), rng.uniform(-1.0, 1.5)])])
        draw(picture, px, [_wavy(ends, rng)], replace(pen, width=min(pen.width, 0.8)), rng)
    elif mishap is Mishap.SMEARED and chosen:
        low = np.min([[c.x, c.y] for c in chosen], axis=0) - 3.0
        high = np.max([[c.x, c.y] for c in chosen], axis=0) + 3.0
        smear(picture, px, low, high, rng)
    return Day(box.name, most, count, meant, mishap, style, color)


def _meant(mishap: Mishap, count: int, rng: np.random.Generator) -> int:
    """The circles that a child means who filled `count`, which the marks may not tell."""
    if mishap is Mishap.HALF:
        return count - int(rng.integers(2))
    if mishap is Mishap.STRUCK:
        return max(0, count - 1)
    if mishap in (Mishap.SCRIBBLED, Mishap.LINE):
        return 0
    return max(1, count) if mishap is Mishap.NUMBER else count


def _inked(pen: Pen, color: str, rng: np.random.Generator) -> Pen:
    """The pen with its color, pressed more or less."""
    if pen.name == "pencil":
        return pen
    return replace(pen, dark=_fainter(COLORS[color], float(rng.uniform(0.75, 1.0))))


def _fainter(dark: tuple[float, float, float], share: float) -> tuple[float, float, float]:
    red, green, blue = dark
    return red * share, green * share, blue * share


def _erase(
    picture: Picture,
    px: float,
    circles: Sequence[Circle],
    style: Style,
    pen: Pen,
    child: Child,
    rng: np.random.Generator,
) -> None:
    left = float(rng.uniform(0.03, 0.16))
    faint = replace(pen, dark=_fainter(pen.dark, left))
    for circle in circles:
        _mark(picture, px, circle, style, faint, child, rng)
        middle, reach = np.array([circle.x, circle.y]), circle.radius + 1.0
        rub(picture, px, middle - reach, middle + reach, rng)


def _mark(
    picture: Picture,
    px: float,
    circle: Circle,
    style: Style,
    pen: Pen,
    child: Child,
    rng: np.random.Generator,
) -> None:
    lines: Sequence[Points]
    off = rng.normal(0, child.off, 2)
    circle = Circle(circle.x + off[0], circle.y + off[1], circle.radius)
    if style not in STROKES:
        circle = replace(circle, radius=circle.radius * min(1.1, child.reach * rng.uniform(0.92, 1.08)))
    if style is Style.TICK:
        lines = [_tick(circle, rng)]
    elif style is Style.CROSS:
        lines = _cross(circle, rng)
    elif style is Style.SLASH:
        lines = _cross(circle, rng)[:1]
    elif style is Style.DOT:
        pen = replace(pen, width=max(pen.width, 0.8) * 1.2)
        at = np.array([circle.x, circle.y]) + rng.normal(0, 0.15 * circle.radius, 2)
        lines = [np.array([at + rng.normal(0, 0.25, 2) for _ in range(6)])]
    elif style is Style.SPIRAL:
        lines = [_spiral(circle, pen, child, rng)]
    elif style is Style.DAB:
        pen = replace(pen, width=min(2.6 * circle.radius, max(pen.width, 1.2 * circle.radius)))
        at = np.array([circle.x, circle.y]) + rng.normal(0, 0.12 * circle.radius, 2)
        reach = max(0.2, circle.radius - pen.width / 2)
        lines = [at + rng.normal(0, 0.6 * reach, (7, 2))]
    else:
        apart = rng.uniform(1.15, 1.7) if style is Style.LOOSE else rng.uniform(0.55, 0.9)
        lines = [_hatching(circle, pen, apart, child.overflow, rng)]
    draw(picture, px, lines, pen, rng)


def _hatching(circle: Circle, pen: Pen, apart: float, overflow: float, rng: np.random.Generator) -> Points:
    """To and fro over the disc. apart: of neighbouring lines, in widths of the pen."""
    return _to_and_fro(
        np.array([circle.x, circle.y]), circle.radius, circle.radius, pen, apart, overflow, rng
    )


def _to_and_fro(
    middle: Points,
    long: float,
    high: float,
    pen: Pen,
    apart: float,
    overflow: float,
    rng: np.random.Generator,
    turn: float | None = None,
) -> Points:
    """Zigzag over an ellipse of those half axes, the pen's edge ending about at its rim."""
    turn = float(rng.uniform(0, math.pi)) if turn is None else turn
    inner = np.maximum(np.array([long, high]) - pen.width * 0.42, 0.15)
    step = max(pen.width * apart, 0.25)
    rows = max(2, math.ceil(2 * inner[1] / step) + 1)
    points = []
    for place, y in enumerate(np.linspace(-1, 1, rows)):
        half = math.sqrt(max(0.0, 1 - (0.94 * y) ** 2))
        for sign in (-1, 1) if place % 2 == 0 else (1, -1):
            out = 1 + rng.normal(0.0, 1) * overflow
            points.append(inner * [sign * half * max(out, 0.6), y + rng.normal(0, 0.05)])
    smooth = _dense(np.array(points))
    cos, sin = math.cos(turn), math.sin(turn)
    return np.asarray(middle + rng.normal(0, 0.06, 2) * long + smooth @ np.array([[cos, sin], [-sin, cos]]))


def _dense(points: Points, step: float = 0.4) -> Points:
    out = [points[:1]]
    for a, b in pairwise(points):
        count = max(1, math.ceil(float(np.hypot(*(b - a))) / step))
        out.append(a + (b - a) * np.linspace(0, 1, count + 1)[1:, None])
    return np.concatenate(out)


def _spiral(circle: Circle, pen: Pen, child: Child, rng: np.random.Generator) -> Points:
    reach = max(0.2, circle.radius - 0.4 * pen.width) * (1 + abs(rng.normal(0, child.overflow)) * 0.6)
    turns = max(1.5, reach / (pen.width * rng.uniform(0.6, 1.0)))
    angle = np.linspace(0, 2 * math.pi * turns, max(20, int(24 * turns)))
    radius = reach * np.sqrt(angle / angle[-1]) + rng.normal(0, 0.04, len(angle))
    start = rng.uniform(0, 2 * math.pi)
    return np.column_stack(
        [circle.x + radius * np.cos(angle + start), circle.y + radius * np.sin(angle + start)]
    )


def _sweep(
    picture: Picture, px: float, circles: Sequence[Circle], pen: Pen, child: Child, rng: np.random.Generator
) -> None:
    """Each row's circles in one go, gaps and all."""
    for y in sorted({circle.y for circle in circles}):
        row = [circle for circle in circles if circle.y == y]
        radius = row[0].radius
        middle = np.array([(row[0].x + row[-1].x) / 2, y])
        long = (row[-1].x - row[0].x) / 2
        inner = max(0.2, radius - 0.42 * pen.width)
        step = max(pen.width * rng.uniform(0.6, 0.95), 0.25)
        columns = max(3, math.ceil((2 * long + 2 * inner) / step))
        points = []
        for place, x in enumerate(np.linspace(-long - inner, long + inner, columns)):
            ends = (-1, 1) if place % 2 == 0 else (1, -1)
            for sign in ends:
                out = max(0.6, 1 + rng.normal(0, child.overflow))
                points.append([x + rng.normal(0, 0.1), sign * inner * out])
        draw(picture, px, [middle + _dense(np.array(points))], pen, rng)


def _half(circle: Circle, pen: Pen, rng: np.random.Generator) -> list[Points]:
    """One half of the disc, hatched: left, right, upper or lower."""
    turn = float(rng.choice([0, 0.5, 1, 1.5])) * math.pi + rng.normal(0, 0.2)
    pen_half = pen.width * 0.42
    step = max(pen.width * rng.uniform(0.55, 0.85), 0.25)
    depth = np.arange(-circle.radius + pen_half, 0.05 * circle.radius - pen_half, step)
    depth = depth if len(depth) > 1 else np.array([-0.6, -0.45]) * circle.radius
    points = []
    for place, x in enumerate(depth):
        reach = math.sqrt(max(0.05, circle.radius**2 - x**2)) - pen_half
        for sign in (-1, 1) if place % 2 == 0 else (1, -1):
            points.append([x, sign * max(reach, 0.2)])
    cos, sin = math.cos(turn), math.sin(turn)
    return [np.array([circle.x, circle.y]) + _dense(np.array(points)) @ np.array([[cos, sin], [-sin, cos]])]


def _tick(circle: Circle, rng: np.random.Generator) -> Points:
    r = circle.radius * rng.uniform(0.8, 1.25)
    corners = np.array([[-0.6, 0.0], [-0.15, 0.6], [0.8, -0.8]]) + rng.normal(0, 0.1, (3, 2))
    return np.array([circle.x, circle.y]) + _dense(corners * r)


def _cross(circle: Circle, rng: np.random.Generator, reach: float = 0.85) -> list[Points]:
    r = circle.radius * reach * rng.uniform(0.85, 1.15)
    middle = np.array([circle.x, circle.y]) + rng.normal(0, 0.1, 2) * circle.radius
    out = []
    for slope in (1, -1):
        ends = np.array([[-0.75, -0.75 * slope], [0.75, 0.75 * slope]]) + rng.normal(0, 0.1, (2, 2))
        out.append(middle + _dense(ends * r))
    return out


def _ring(circle: Circle, rng: np.random.Generator) -> Points:
    angle = np.linspace(0, 2 * math.pi * rng.uniform(0.95, 1.1), 40) + rng.uniform(0, 6)
    radius = circle.radius * rng.uniform(0.95, 1.3) * (1 + 0.06 * np.sin(2 * angle + rng.uniform(0, 6)))
    return np.column_stack([circle.x + radius * np.cos(angle), circle.y + radius * np.sin(angle)])


def _wavy(ends: Points, rng: np.random.Generator) -> Points:
    line = _dense(np.asarray(ends))
    wave = 0.3 * np.sin(np.linspace(0, rng.uniform(2, 7), len(line)) + rng.uniform(0, 6))
    return line + np.column_stack([np.zeros(len(line)), wave])


def _scrawl(box: ChartBox, rng: np.random.Generator) -> list[Points]:
    """Back and forth over much of the day: it was the wrong one."""
    a = box.area
    rows = int(rng.integers(3, 9))
    points = []
    low, high = sorted(rng.uniform(0.0, 1.0, 2))
    if high - low < 0.4:
        low, high = 0.1, 0.9
    for place in range(rows):
        y = a.top + a.height * (low + (high - low) * (place + rng.uniform(0, 0.6)) / rows)
        ends = [a.left + a.width * rng.uniform(-0.05, 0.2), a.left + a.width * rng.uniform(0.8, 1.05)]
        points += [[x, y + rng.normal(0, 0.8)] for x in (ends if place % 2 == 0 else ends[::-1])]
    return [_dense(np.array(points))]
