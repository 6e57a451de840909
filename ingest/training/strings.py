"""Draws strings as children write them, as three layers of coverage: ink, ghost and print.

Layers are drawn at twice the reader's resolution; `wear` makes photographs of them.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw

from ingest.training.ink import Glyph, Points, Writer, round_corners

HEIGHT = 48  # the reader's input, px
DOUBLE = 2  # layers are drawn so many times larger
DIGITS = "0123456789"
ALPHABET = DIGITS + "-:hmrins"  # class 0 is CTC's blank; see net.py

MARGIN = 6.0  # px of a layer left free around the writing, so that bending does not cut it off

Layers = npt.NDArray[np.uint8]  # shape (3, HEIGHT * DOUBLE, width * DOUBLE): ink, ghost, print


@dataclass(frozen=True, slots=True)
class Drawn:
    """A drawn box.

    text: what it says; "" for blank; None when it is not a number and must be refused.
    """

    layers: Layers
    text: str | None


@dataclass(frozen=True, slots=True)
class Sources:
    """What strings are drawn from. weights: how often each writer is chosen; they sum to 1."""

    writers: Sequence[Writer]
    weights: npt.NDArray[np.float64]
    scans: Mapping[str, Sequence[npt.NDArray[np.uint8]]]

    @classmethod
    def of(cls, writers: Sequence[Writer], scans: Mapping[str, Sequence[npt.NDArray[np.uint8]]]) -> "Sources":
        # The square root keeps the few writers of hundreds of digits from drowning the rest.
        counts = np.sqrt([min(writer.count, 250) for writer in writers])
        return cls(writers, counts / counts.sum(), scans)


def some_text(rng: np.random.Generator, long: bool) -> str:
    """A string to write. Values are spread evenly: what is plausible is the chart's business."""
    kind = rng.random()
    if long:
        if kind < 0.45:
            return "".join(rng.choice(list(DIGITS), size=rng.integers(4, 8)))
        minutes, hours = int(rng.integers(0, 180)), int(rng.integers(1, 4))
        tail = str(rng.choice(["min", "min", "mins", "m", "mn"]))
        if kind < 0.8:
            return f"{minutes}{tail}"
        unit = str(rng.choice(["h", "hr", "hrs"]))
        return f"{hours}{unit}{int(rng.integers(1, 60))}" + (tail if rng.random() < 0.5 else "")
    if kind < 0.68:
        length = int(rng.choice([1, 2, 3], p=[0.2, 0.45, 0.35]))
        return "".join(rng.choice(list(DIGITS), size=length))
    if kind < 0.86:
        return str(5 * int(rng.integers(0, 37)))
    if kind < 0.90:
        return f"{int(rng.integers(0, 4))}:{int(rng.integers(0, 60)):02}"
    if kind < 0.94:
        return "-"
    if kind < 0.965:
        return f"{int(rng.integers(1, 100))}m"
    return f"{int(rng.integers(1, 5))}" + str(rng.choice(["h", "hr", "hrs"]))


class Pencil:
    """One box being drawn. Coordinates in layer pixels."""

    def __init__(self, width: int) -> None:
        size = (width * DOUBLE, HEIGHT * DOUBLE)
        self.pictures = [Image.new("L", size, 0) for _ in range(3)]
        self.draws = [ImageDraw.Draw(picture) for picture in self.pictures]

    def stroke(self, layer: int, points: Points, width: float, value: int = 255) -> None:
        """A polyline with round caps; a single point is a dot."""
        draw, pen = self.draws[layer], max(1, round(width))
        flat = points.tolist()
        ends = [0, len(flat) - 1]
        if len(flat) > 1:
            draw.line([(x, y) for x, y in flat], fill=value, width=pen)
        if len(flat) > 2 and pen > 2:
            # Only at a sharp turn does the gap between two wide segments show.
            way = np.arctan2(*np.diff(points, axis=0).T[::-1])
            turn = np.abs((np.diff(way) + math.pi) % (2 * math.pi) - math.pi)
            ends += (np.flatnonzero(turn > 0.35) + 1).tolist()
        r = pen / 2
        for x, y in (flat[k] for k in ends):
            draw.ellipse((x - r, y - r, x + r, y + r), fill=value)

    def layers(self) -> Layers:
        return np.stack([np.asarray(picture) for picture in self.pictures])


def _pick(sources: Sources, writer: Writer, character: str, rng: np.random.Generator) -> Glyph:
    """The writer's own glyph, or that of another who wrote the character."""
    own = writer.glyphs.get(character)
    while not own:
        other = sources.writers[int(rng.choice(len(sources.writers), p=sources.weights))]
        own = other.glyphs.get(character)
    return own[int(rng.integers(len(own)))]


def _jolt(points: Points, rng: np.random.Generator, amount: float) -> Points:
    """A smooth random bend of the plane, so that no two drawings of one glyph are alike."""
    waves = rng.normal(0, amount, (2, 2))
    phase, pace = rng.uniform(0, 2 * math.pi, (2, 2)), rng.uniform(1.5, 5.0, (2, 2))
    bent = points.copy()
    for axis in range(2):
        for other in range(2):
            bent[:, axis] += waves[axis, other] * np.sin(
                pace[axis, other] * points[:, other] + phase[axis, other]
            )
    return bent


@dataclass(frozen=True, slots=True)
class Written:
    """A string as strokes in units of a digit's height, baseline at y = 0 (y down), starting at x = 0."""

    strokes: list[Points]
    width: float


def write_strokes(sources: Sources, text: str, rng: np.random.Generator) -> Written:
    """The text in one writer's hand, with that writer's wobble."""
    writer = sources.writers[int(rng.choice(len(sources.writers), p=sources.weights))]
    gap = float(np.clip(rng.normal(0.17, 0.11), -0.03, 0.6))
    wobble, uneven = rng.uniform(0, 0.08), rng.uniform(0, 0.13)
    slant, bend = float(rng.normal(0, 0.14)), rng.uniform(0, 0.035)
    stretch = float(np.exp(rng.normal(0, 0.15)))
    own_size = rng.random() < 0.6
    repeat = rng.random() < 0.3  # some hands write the same digit alike every time
    chosen: dict[str, Glyph] = {}
    strokes: list[Points] = []
    x = 0.0
    for place, character in enumerate(text):
        glyph = chosen.get(character) if repeat else None
        if glyph is None:
            glyph = chosen[character] = _pick(sources, writer, character, rng)
        low = np.min([s.min(axis=0) for s in glyph.strokes], axis=0)
        high = np.max([s.max(axis=0) for s in glyph.strokes], axis=0)
        height = max(float(high[1] - low[1]), 0.05)
        size = float(np.exp(rng.normal(0, uneven)))
        if character in DIGITS and (own_size or height < 0.5 or height > 1.7):
            size /= height
        rise = float(rng.normal(0, wobble))
        if character == "-":
            size *= float(np.exp(rng.normal(0.1, 0.3)))
            rise -= float(rng.uniform(0.3, 0.6))
        elif character == ":":
            rise -= float(rng.uniform(0.0, 0.25))
        turn = float(rng.normal(0, 0.06))
        cos, sin = math.cos(turn) * size, math.sin(turn) * size
        centre = (low + high) / 2
        left = math.inf
        shaped: list[Points] = []
        for s in glyph.strokes:
            p = s - centre
            p = np.stack([cos * p[:, 0] - sin * p[:, 1], sin * p[:, 0] + cos * p[:, 1]], axis=1)
            p[:, 1] += rise - height * size / 2
            p[:, 0] = p[:, 0] * stretch - slant * p[:, 1]
            p = _jolt(p.astype(np.float32), rng, bend)
            left = min(left, float(p[:, 0].min()))
            shaped.append(p)
        start = x + (gap + float(rng.normal(0, 0.07)) if place else 0.0)
        # Units often stand apart from the number.
        if place and (text[place - 1] in DIGITS) != (character in DIGITS) and character not in ":-":
            start += float(abs(rng.normal(0, 0.25)))
        right = x
        for p in shaped:
            p[:, 0] += start - left
            right = max(right, float(p[:, 0].max()))
            strokes.append(p)
        x = right
    return Written(strokes, x)


def _place(
    strokes: Sequence[Points], width: int, rng: np.random.Generator, scale: float
) -> tuple[list[Points], float]:
    """Turn, scale and shift strokes into the layer; shrink what would not fit. Returns the scale used."""
    turn = float(rng.normal(0, 0.06))
    cos, sin = math.cos(turn), math.sin(turn)
    turned = [
        np.stack([cos * p[:, 0] - sin * p[:, 1], sin * p[:, 0] + cos * p[:, 1]], axis=1) for p in strokes
    ]
    every = np.concatenate(turned)
    low, high = every.min(axis=0), every.max(axis=0)
    span = np.maximum(high - low, 1e-3)
    room = np.array([width * DOUBLE, HEIGHT * DOUBLE]) - 2 * MARGIN
    scale = float(min(scale, room[0] / span[0], room[1] / span[1]))
    slack = room - span * scale
    # Mostly near the middle, as the reader's own crop puts it; sometimes anywhere.
    where = np.clip(rng.normal(0.5, 0.16 if rng.random() < 0.75 else 0.5, 2), 0.0, 1.0)
    shift = MARGIN + slack * where - low * scale
    return [(p * scale + shift).astype(np.float32) for p in turned], scale


def _pen(rng: np.random.Generator) -> float:
    """Pen width as a share of the digit height."""
    return float(rng.uniform(0.045, 0.13) if rng.random() < 0.82 else rng.uniform(0.13, 0.22))


def _put_frame(pencil: Pencil, width: int, rng: np.random.Generator) -> None:
    """Printed lines of the box near the edges of what the reader sees."""
    w, h = width * DOUBLE, HEIGHT * DOUBLE
    pen, tilt = float(rng.uniform(1, 5)), rng.normal(0, 2.0, 4)
    if rng.random() < 0.6:
        y = float(rng.uniform(0, 14))
        pencil.stroke(2, np.array([[0, y + tilt[0]], [w, y - tilt[0]]], np.float32), pen)
    if rng.random() < 0.6:
        y = h - float(rng.uniform(0, 14))
        pencil.stroke(2, np.array([[0, y + tilt[1]], [w, y - tilt[1]]], np.float32), pen)
    if rng.random() < 0.35:
        x = float(rng.uniform(0, 14))
        pencil.stroke(2, np.array([[x + tilt[2], 0], [x - tilt[2], h]], np.float32), pen)
    if rng.random() < 0.35:
        x = w - float(rng.uniform(0, 14))
        pencil.stroke(2, np.array([[x + tilt[3], 0], [x - tilt[3], h]], np.float32), pen)


def _put_specks(pencil: Pencil, width: int, rng: np.random.Generator) -> None:
    w, h = width * DOUBLE, HEIGHT * DOUBLE
    for _ in range(int(rng.integers(1, 5))):
        x, y, r = rng.uniform(0, w), rng.uniform(0, h), rng.uniform(0.5, 2.2)
        pencil.stroke(int(rng.integers(0, 2)), np.array([[x, y]], np.float32), 2 * r)


def _put_neighbour(pencil: Pencil, sources: Sources, width: int, rng: np.random.Generator) -> None:
    """The tail of something written next door, cut off by the edge."""
    w, h = width * DOUBLE, HEIGHT * DOUBLE
    written = write_strokes(sources, str(rng.choice(list(DIGITS))), rng)
    every = np.concatenate(written.strokes)
    size, depth = float(rng.uniform(40, 80)), float(rng.uniform(1, 6))
    side = rng.integers(4)
    for p in written.strokes:
        q = p * size
        top, left = every[:, 1].min() * size, every[:, 0].min() * size
        bottom, right = every[:, 1].max() * size, every[:, 0].max() * size
        if side == 0:
            q = q + np.array([rng.uniform(0, w), depth - bottom])
        elif side == 1:
            q = q + np.array([rng.uniform(0, w), h - depth - top])
        elif side == 2:
            q = q + np.array([depth - right, rng.uniform(0, h) - top])
        else:
            q = q + np.array([w - depth - left, rng.uniform(0, h) - top])
        pencil.stroke(0, q.astype(np.float32), 6)


def _put_scan(
    pencil: Pencil, sources: Sources, text: str, width: int, rng: np.random.Generator, height: float
) -> None:
    """Digits from scans, side by side; strokes are as thick as the scan has them."""
    gap = float(np.clip(rng.normal(0.14, 0.1), -0.06, 0.5))
    slant, stretch = float(rng.normal(0, 0.12)), float(np.exp(rng.normal(0, 0.15)))
    parts: list[Image.Image] = []
    for character in text:
        some = sources.scans[character]
        picture = Image.fromarray(some[int(rng.integers(len(some)))])
        tall = max(8.0, height * float(np.exp(rng.normal(0, 0.08))))
        wide = max(4.0, tall * picture.width / picture.height * stretch)
        pad = int(abs(slant) * tall) + 1
        grown = picture.resize((round(wide), round(tall)), Image.Resampling.BICUBIC)
        board = Image.new("L", (grown.width + 2 * pad, grown.height), 0)
        board.paste(grown, (pad, 0))
        board = board.transform(
            board.size,
            Image.Transform.AFFINE,
            (1, slant, -slant * tall / 2, 0, 1, 0),
            Image.Resampling.BILINEAR,
        )
        box = board.getbbox()
        parts.append(board.crop(box) if box else board)
    total = sum(p.width for p in parts) + gap * height * (len(parts) - 1)
    room = width * DOUBLE - 6
    shrink = min(1.0, room / max(total, 1))
    if shrink < 1:
        parts = [p.resize((max(2, int(p.width * shrink)), max(4, int(p.height * shrink)))) for p in parts]
        total, height = total * shrink, height * shrink
    x = 3 + (room - total) * float(np.clip(rng.normal(0.5, 0.2), 0, 1))
    middle = HEIGHT * DOUBLE / 2 + float(rng.normal(0, 1)) * max(0.0, HEIGHT * DOUBLE - 6 - height) / 6
    for p in parts:
        y = middle - p.height / 2 + float(rng.normal(0, 0.03)) * height
        y = float(np.clip(y, 0, max(0, HEIGHT * DOUBLE - p.height)))
        spot = Image.new("L", pencil.pictures[0].size, 0)
        spot.paste(p, (round(x), round(y)))
        pencil.pictures[0].paste(255, (0, 0), spot)
        x += p.width + gap * height + float(rng.normal(0, 0.03)) * height


def _strike(strokes: Sequence[Points], rng: np.random.Generator) -> list[Points]:
    """Lines through what is written: one, a few, a cross or a scrawl, in layer pixels."""
    every = np.concatenate(strokes)
    low, high = every.min(axis=0) - 4, every.max(axis=0) + 4
    way = rng.random()

    def spot(x: float, y: float) -> list[float]:
        return [float(low[0] + (high[0] - low[0]) * x), float(low[1] + (high[1] - low[1]) * y)]

    def near(x: float) -> float:
        return x + float(rng.normal(0, 0.08))

    if way < 0.35:  # one or two level lines
        return [
            np.array([spot(near(0), near(y)), spot(near(0.5), near(y)), spot(near(1), near(y))], np.float32)
            for y in rng.uniform(0.3, 0.7, int(rng.integers(1, 3)))
        ]
    if way < 0.55:  # one slanting line
        ends = [spot(near(0), near(0.9)), spot(near(1), near(0.1))]
        return [np.array(ends if rng.random() < 0.7 else [spot(0, 0.1), spot(1, 0.9)], np.float32)]
    if way < 0.7:  # a cross
        return [
            np.array([spot(near(0), near(0)), spot(near(1), near(1))], np.float32),
            np.array([spot(near(0), near(1)), spot(near(1), near(0))], np.float32),
        ]
    turns = int(rng.integers(6, 22))
    back = [spot(i / turns, (i % 2) * 0.9 + float(rng.normal(0.05, 0.12))) for i in range(turns)]
    return [round_corners(np.array(back, np.float32), 2)]


def _doodle(width: int, rng: np.random.Generator) -> list[Points]:
    """Ticks, crosses, faces, stars, loops, wavy lines: not numbers."""
    w, h = width * DOUBLE, HEIGHT * DOUBLE
    cx, cy, r = rng.uniform(0.3, 0.7) * w, rng.uniform(0.4, 0.6) * h, rng.uniform(0.18, 0.42) * h
    t = np.linspace(0, 2 * math.pi, 40)
    circle = np.stack([cx + r * np.cos(t), cy + r * np.sin(t)], axis=1)
    kind = rng.integers(6)
    if kind == 0:
        found = [np.array([[cx - r, cy], [cx - 0.3 * r, cy + r * 0.8], [cx + 1.2 * r, cy - r]])]
    elif kind == 1:
        found = [
            np.array([[cx - r, cy - r], [cx + r, cy + r]]),
            np.array([[cx - r, cy + r], [cx + r, cy - r]]),
        ]
    elif kind == 2:
        smile = t[t < math.pi]
        found = [
            circle,
            np.array([[cx - 0.35 * r, cy - 0.3 * r]]),
            np.array([[cx + 0.35 * r, cy - 0.3 * r]]),
            np.stack([cx + 0.55 * r * np.cos(smile), cy + 0.15 * r + 0.4 * r * np.sin(smile)], axis=1),
        ]
    elif kind == 3:
        a = -math.pi / 2 + 4 * math.pi / 5 * np.arange(6)
        found = [np.stack([cx + r * np.cos(a), cy + r * np.sin(a)], axis=1)]
    elif kind == 4:
        x = np.linspace(0.1 * w, rng.uniform(0.5, 0.9) * w, 60)
        wave = (
            cy + rng.uniform(0.1, 0.3) * h * np.sin(x / rng.uniform(3, 9)) + np.cumsum(rng.normal(0, 1, 60))
        )
        found = [np.stack([x, wave], axis=1)]
    else:
        steps = rng.normal(0, 12, (int(rng.integers(8, 40)), 2))
        walk = np.cumsum(steps, axis=0) * 0.6
        walk = (walk - walk.mean(axis=0)) / (np.abs(walk - walk.mean(axis=0)).max() + 1e-6)
        found = [walk * np.array([0.4 * w, 0.4 * h]) + np.array([w / 2, h / 2])]
    return [_jolt(p.astype(np.float32), rng, 1.0) for p in found]


def draw(sources: Sources, width: int, long: bool, rng: np.random.Generator) -> Drawn:
    """One box, drawn at random. width: px of the reader's input; long: strings of four and more."""
    pencil = Pencil(width)
    kind = rng.random()
    height = float(np.clip(rng.normal(0.70, 0.13), 0.4, 0.97)) * HEIGHT * DOUBLE
    pen = _pen(rng)
    if rng.random() < 0.45:
        _put_frame(pencil, width, rng)
    if rng.random() < 0.15:
        _put_specks(pencil, width, rng)
    if rng.random() < 0.10:
        _put_neighbour(pencil, sources, width, rng)
    if kind < 0.04:
        if rng.random() < 0.4:  # a faint thing rubbed out and nothing written since
            ghost, scale = _place(
                write_strokes(sources, some_text(rng, False), rng).strokes, width, rng, height
            )
            for p in ghost:
                pencil.stroke(1, p, pen * scale)
        return Drawn(pencil.layers(), "")
    if kind < 0.08:
        for p in _doodle(width, rng):
            pencil.stroke(0, p, pen * height)
        return Drawn(pencil.layers(), None)
    if kind < 0.11:  # letters and signs
        pool = [c for c in "hmrins+=/~" if any(c in writer.glyphs for writer in sources.writers)]
        word = "".join(rng.choice(pool, size=int(rng.integers(2, 6))))
        strokes, scale = _place(write_strokes(sources, word, rng).strokes, width, rng, height)
        for p in strokes:
            pencil.stroke(0, p, pen * scale)
        return Drawn(pencil.layers(), None)
    text = some_text(rng, long)
    if rng.random() < 0.3 and all(c in DIGITS for c in text) and kind > 0.2:
        _put_scan(pencil, sources, text, width, rng, height)
        return Drawn(pencil.layers(), text)
    if rng.random() < 0.05:
        ghost, scale = _place(write_strokes(sources, some_text(rng, False), rng).strokes, width, rng, height)
        for p in ghost:
            pencil.stroke(1, p, pen * scale)
    strokes, scale = _place(write_strokes(sources, text, rng).strokes, width, rng, height)
    varied = pen * scale * np.exp(rng.normal(0, 0.08, len(strokes)))
    for p, thick in zip(strokes, varied, strict=True):
        pencil.stroke(0, p, float(thick))
    if kind < 0.15 and text != "-":  # struck out, and sometimes written anew beside it
        for p in _strike(strokes, rng):
            pencil.stroke(0, p, pen * scale * float(rng.uniform(0.8, 1.3)))
        every = np.concatenate(strokes)
        free = width * DOUBLE - float(every[:, 0].max())
        if rng.random() < 0.5 and free > 50:
            new = write_strokes(sources, str(rng.integers(1, 100)), rng)
            size = min(scale, (free - 16) / max(new.width, 0.2))
            for p in new.strokes:
                at = np.array([every[:, 0].max() + 10, float(every[:, 1].max())])
                pencil.stroke(0, (p * size + at).astype(np.float32), pen * scale)
        return Drawn(pencil.layers(), None)
    if kind < 0.165 and not long:  # one number written over another
        over, scale = _place(write_strokes(sources, some_text(rng, False), rng).strokes, width, rng, height)
        for p in over:
            pencil.stroke(0, p, pen * scale * float(rng.uniform(0.9, 1.5)))
        return Drawn(pencil.layers(), None)
    return Drawn(pencil.layers(), text)
