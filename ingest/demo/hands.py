"""Hands: one writer's own digits each, written the way a child writes in a box.

A glyph is a list of pen strokes in units of the writer's usual digit height, y downwards, its
bounding box starting at (0, 0). `write` lays glyphs out in a box of the paper and gives pen lines in
millimetres; `ingest.demo.ink` draws them.
"""

import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

from ingest.paper import Box
from ingest.shipped import samples

Points: TypeAlias = npt.NDArray[Any]  # float64, shape (n, 2): x, y
Glyph: TypeAlias = tuple[Points, ...]  # one array a stroke, unit: the writer's digit height

QUANTUM = 1 / 200  # of the digit height: the grid on which `hands.npz` keeps points

# Where a sign hangs between the baseline (0) and the top of a digit (1), its middle; letters stand on
# the line. Common practice, no source.
MIDDLE = {"-": 0.45, ":": 0.42, "~": 0.45, "=": 0.45, "+": 0.45, "'": 0.9}


@dataclass(frozen=True, slots=True)
class Hand:
    """What one writer's characters look like; several samples of each."""

    writer: str  # `provider/id`, as in the data
    glyphs: Mapping[str, Sequence[Glyph]]

    def can_write(self, text: str) -> bool:
        """Whether every character is there, or is one that anybody draws alike."""
        return all(sign in self.glyphs or sign in " -:" for sign in text)

    def glyph(self, sign: str, rng: np.random.Generator) -> Glyph:
        """One sample of a character. A dash and a colon that the writer lacks are drawn plainly.

        Raises KeyError for any other character that the writer lacks.
        """
        known = self.glyphs.get(sign)
        if known:
            return known[int(rng.integers(len(known)))]
        if sign == "-":
            sag = rng.normal(0, 0.04)
            return (np.array([[0.0, 0.05], [0.22, 0.05 + sag], [0.45, 0.05]]),)
        if sign == ":":
            gap = rng.uniform(0.35, 0.5)
            return (np.array([[0.05, 0.0]]), np.array([[0.05 + rng.normal(0, 0.02), gap]]))
        raise KeyError(f"{self.writer} has no sample of {sign!r}")


def load_hands(path: Path | None = None) -> tuple[Hand, ...]:
    """The hands in an archive that `pack` made; by default those shipped in `samples/`."""
    return unpack((path or samples() / "hands.npz").read_bytes())


def pack(hands: Sequence[Hand]) -> bytes:
    """Hands as a small NumPy archive: points as int16 steps of QUANTUM from one to the next."""
    writer, sign, strokes, lengths, steps = [], [], [], [], []
    for index, hand in enumerate(hands):
        for character, glyphs in sorted(hand.glyphs.items()):
            for glyph in glyphs:
                grid = np.rint(np.concatenate(glyph) / QUANTUM).astype(np.int16)
                writer.append(index)
                sign.append(character)
                strokes.append(len(glyph))
                lengths += [len(stroke) for stroke in glyph]
                steps.append(np.diff(grid, axis=0, prepend=np.zeros((1, 2), np.int16)))
    buffer = io.BytesIO()
    np.savez_compressed(
        buffer,
        writers=np.array([hand.writer for hand in hands]),
        writer=np.array(writer, np.uint8),
        sign=np.array(sign),
        strokes=np.array(strokes, np.uint8),
        lengths=np.array(lengths, np.uint8),
        steps=np.concatenate(steps),
    )
    return buffer.getvalue()


def unpack(archive: bytes) -> tuple[Hand, ...]:
    """The inverse of `pack`, to within half a QUANTUM."""
    with np.load(io.BytesIO(archive)) as file:
        data = {name: file[name] for name in file.files}
    glyphs: list[dict[str, list[Glyph]]] = [{} for _ in data["writers"]]
    stroke = point = 0
    for writer, sign, count in zip(data["writer"], data["sign"], data["strokes"], strict=True):
        lengths = data["lengths"][stroke : stroke + int(count)]
        total = int(lengths.sum())
        grid = np.cumsum(data["steps"][point : point + total].astype(np.int64), axis=0) * QUANTUM
        parts = np.split(grid, np.cumsum(lengths)[:-1].astype(int))
        glyphs[writer].setdefault(str(sign), []).append(tuple(parts))
        stroke, point = stroke + int(count), point + total
    return tuple(Hand(str(w), g) for w, g in zip(data["writers"], glyphs, strict=True))


@dataclass(frozen=True, slots=True)
class Manner:
    """How one child fills a chart. Shares are of the box's height unless said otherwise.

    height: of a digit, 0.45 to 0.9 for most, 0.3 to 1.1 for some; varies by `uneven` (a standard
        deviation, relative).
    slant: sideways shift per height; positive leans right.
    gap: between characters, share of the digit height; below 0 they touch.
    wobble: how far characters leave the line, share of the digit height, standard deviation.
    place: where in the box, 0 left .. 0.5 middle .. 1 right; varies by `stray`.
    overrun: how often a number touches or crosses the box's edge, 0..1. reach: by how much at most, mm.
    shake: how unsteady the strokes are, share of the digit height.
    """

    height: float
    uneven: float
    slant: float
    gap: float
    wobble: float
    place: float
    stray: float
    overrun: float
    reach: float = 1.0
    shake: float = 0.0


def any_manner(rng: np.random.Generator) -> Manner:
    """A child's manner, drawn at random: mostly tidy enough, now and then large and crowded."""
    return Manner(
        height=float(np.clip(rng.normal(0.62, 0.11), 0.45, 0.9)),
        uneven=float(rng.uniform(0.04, 0.12)),
        slant=float(rng.normal(0.05, 0.12)),
        gap=float(rng.choice([rng.uniform(0.1, 0.35), rng.uniform(-0.06, 0.1)], p=[0.75, 0.25])),
        wobble=float(rng.uniform(0.02, 0.08)),
        place=float(rng.choice([0.5, 0.12, 0.35])),
        stray=float(rng.uniform(0.06, 0.2)),
        overrun=float(rng.choice([0.01, 0.06, 0.15], p=[0.6, 0.3, 0.1])),
    )


def write(hand: Hand, text: str, box: Box, manner: Manner, rng: np.random.Generator) -> tuple[Points, ...]:
    """Pen lines in page millimetres for `text` written in `box`.

    A text too wide for the box is squeezed, as a child would. It may touch the box's edge, and cross
    it by up to `manner.reach`, where `manner.overrun` says so. A line of one point is a dot.
    """
    least, most = min(0.42, manner.height), max(0.92, manner.height)
    tall = float(np.clip(manner.height * (1 + rng.normal(0, manner.uneven)), least, most))
    placed: list[Points] = []
    x = 0.0
    for sign in text:
        if sign == " ":
            x += 0.3
            continue
        size = 1 + rng.normal(0, 0.06)
        glyph = [stroke * size for stroke in hand.glyph(sign, rng)]
        if manner.shake:
            glyph = _shaken(glyph, manner.shake, rng)
        bottom = max(float(stroke[:, 1].max()) for stroke in glyph)
        width = max(float(stroke[:, 0].max()) for stroke in glyph)
        # A one or a colon run into its neighbour would be another character to anybody; the pen's own
        # width takes up to 0.1.
        air = max(0.0, 0.16 - manner.gap) if width < 0.2 else 0.0
        x += air if placed else 0.0
        lift = MIDDLE[sign] - bottom / 2 if sign in MIDDLE else 0.0
        drop = -bottom - lift + rng.normal(0, manner.wobble)
        tilt = rng.normal(0, 0.05) - manner.slant  # y is negative above the line
        for stroke in glyph:
            y = stroke[:, 1] + drop
            placed.append(np.column_stack([x + stroke[:, 0] + tilt * y, y]))
        x += width + manner.gap * rng.uniform(0.6, 1.4) + air
    if not placed:
        return ()
    low = np.min([line.min(axis=0) for line in placed], axis=0)
    size_xy = np.max([line.max(axis=0) for line in placed], axis=0) - low
    scale = tall * box.height
    squeeze_y = min(1.0, max(0.98, manner.height) * box.height / max(size_xy[1] * scale, 1e-9))
    squeeze_x = min(squeeze_y, 0.96 * box.width / max(size_xy[0] * scale, 1e-9))
    if squeeze_x < 0.75 * squeeze_y:  # nobody writes that narrow: everything gets smaller
        squeeze_y = squeeze_x / 0.75
    stretch = np.array([scale * squeeze_x, scale * squeeze_y])
    extent = size_xy * stretch
    room = np.array([box.width, box.height]) - extent
    at = np.array(
        [
            room[0] * np.clip(rng.normal(manner.place, manner.stray), 0.03, 0.97),
            room[1] * np.clip(rng.normal(0.5, 0.2), 0.03, 0.97),
        ]
    )
    if rng.random() < manner.overrun:
        at += _over_an_edge(room, at, manner.reach, rng)
    corner = np.array([box.left, box.top]) + at
    turn = rng.normal(0, 0.02)
    cos, sin = math.cos(turn), math.sin(turn)
    middle = extent / 2
    lines = []
    for line in placed:
        flat = (line - low) * stretch - middle
        turned = flat @ np.array([[cos, sin], [-sin, cos]])
        lines.append(turned + middle + corner)
    return tuple(lines)


def _shaken(glyph: Sequence[Points], amount: float, rng: np.random.Generator) -> list[Points]:
    """The strokes bent smoothly, each time otherwise, as by a hand that is still learning."""
    pace, phase = rng.uniform(2.0, 7.0, (2, 2)), rng.uniform(0, 2 * math.pi, (2, 2))
    reach = rng.normal(0, amount, (2, 2))
    out = []
    for stroke in glyph:
        moved = stroke.copy()
        for axis in (0, 1):
            for other in (0, 1):
                wave = np.sin(pace[axis, other] * stroke[:, other] + phase[axis, other])
                moved[:, axis] += reach[axis, other] * wave
        out.append(moved)
    low = np.min([stroke.min(axis=0) for stroke in out], axis=0)
    return [stroke - low for stroke in out]


def _over_an_edge(room: Points, at: Points, reach: float, rng: np.random.Generator) -> Points:
    """The shift that brings the text onto one edge of its box or across it by up to `reach` mm."""
    over = rng.uniform(0.2, reach)
    edge = rng.integers(4)
    if edge == 0:
        return np.array([-at[0] - over, 0.0])
    if edge == 1:
        return np.array([room[0] - at[0] + over, 0.0])
    return np.array([0.0, -at[1] - over if edge == 2 else room[1] - at[1] + over])


def scribble(box: Box, rng: np.random.Generator, loops: int | None = None) -> tuple[Points, ...]:
    """A back-and-forth scrawl that covers most of `box`, as over a number that is to vanish."""
    turns = loops or int(rng.integers(5, 10))
    steps = np.arange(turns * 2 + 1)
    x = box.left + box.width * (0.08 + 0.84 * steps / steps[-1])
    y = np.where(steps % 2 == 0, box.top + 0.15 * box.height, box.top + 0.85 * box.height)
    jitter = rng.normal(0, 0.04 * box.height, (len(steps), 2))
    return (curve(np.column_stack([x, y]) + jitter),)


def initials(box: Box, rng: np.random.Generator) -> tuple[Points, ...]:
    """A grown-up's hurried initials: a few loops and a tail."""
    width = box.width * rng.uniform(0.35, 0.75)
    height = box.height * rng.uniform(0.4, 0.75)
    left = box.left + (box.width - width) * rng.uniform(0.15, 0.85)
    top = box.top + (box.height - height) * rng.uniform(0.2, 0.8)
    turns = rng.uniform(2.0, 4.5)
    along = np.linspace(0, 1, 90)
    size = np.interp(along, np.linspace(0, 1, 5), rng.uniform(0.35, 1.0, 5)) * np.linspace(1.1, 0.6, 90)
    angle = 2 * np.pi * turns * along + rng.uniform(0, 2 * np.pi)
    x = along + 0.5 / turns * rng.uniform(0.3, 1.1) * np.cos(angle)
    y = 0.6 - 0.5 * size * np.sin(angle + rng.uniform(-0.6, 0.6)) - 0.15 * along
    lines = [np.column_stack([left + x * width, top + y * height])]
    if rng.random() < 0.5:
        tail = np.array([[0.0, 0.9], [0.5, 1.0], [1.1, 0.8]]) + rng.normal(0, 0.05, (3, 2))
        lines.append(curve(tail * [width, height] + [left, top]))
    return tuple(np.clip(line, [box.left, box.top], [box.right, box.bottom]) for line in lines)


def strike(lines: Sequence[Points], rng: np.random.Generator) -> tuple[Points, ...]:
    """One or two strokes through what `lines` say."""
    everything = np.concatenate(lines)
    low, high = everything.min(axis=0), everything.max(axis=0)
    out = []
    for _ in range(int(rng.integers(1, 3))):
        y = low[1] + (high[1] - low[1]) * rng.uniform(0.3, 0.7, 3)
        x = np.linspace(low[0] - rng.uniform(0.3, 1.2), high[0] + rng.uniform(0.3, 1.2), 3)
        out.append(curve(np.column_stack([x, y])))
    return tuple(out)


def curve(knots: Points, dense: int = 8) -> Points:
    """A smooth line through `knots`: a Catmull-Rom spline, `dense` points a span."""
    if len(knots) < 3:
        return knots
    padded = np.concatenate([2 * knots[:1] - knots[1:2], knots, 2 * knots[-1:] - knots[-2:-1]])
    a, b, c, d = padded[:-3, None], padded[1:-2, None], padded[2:-1, None], padded[3:, None]
    t = np.linspace(0, 1, dense, endpoint=False)[None, :, None]
    spans = 0.5 * (2 * b + (c - a) * t + (2 * a - 5 * b + 4 * c - d) * t**2 + (3 * b - a - 3 * c + d) * t**3)
    return np.concatenate([spans.reshape(-1, 2), knots[-1:]])
