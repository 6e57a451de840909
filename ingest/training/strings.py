"""Draws strings as children write them, as three layers of coverage: ink, ghost and print.

Layers are drawn at twice the reader's resolution; `wear` makes photographs of them.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw, ImageFilter

from ingest.training.doodles import DOODLES, face, outline
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
    alike: Mapping[tuple[str, int], npt.NDArray[np.float32]]
    """Digits of all writers by character and number of strokes, (n, strokes, EVEN, 2), height 1 about 0."""

    @classmethod
    def of(cls, writers: Sequence[Writer], scans: Mapping[str, Sequence[npt.NDArray[np.uint8]]]) -> "Sources":
        # The square root keeps the few writers of hundreds of digits from drowning the rest.
        counts = np.sqrt([min(writer.count, 250) for writer in writers])
        pools: dict[tuple[str, int], list[npt.NDArray[np.float32]]] = {}
        for writer in writers:
            for digit in DIGITS:
                for glyph in writer.glyphs.get(digit, ()):
                    even = normal(np.stack([evenly(stroke) for stroke in glyph.strokes]))
                    pools.setdefault((digit, len(even)), []).append(even)
        alike = {key: np.stack(some) for key, some in pools.items()}
        return cls(writers, counts / counts.sum(), scans, alike)


EVEN = 32  # points of a stroke when glyphs are compared or blended


def evenly(stroke: Points) -> Points:
    """The stroke as EVEN points at equal distances along it."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(stroke, axis=0).T))])
    at = np.linspace(0.0, along[-1], EVEN)
    return np.stack([np.interp(at, along, stroke[:, axis]) for axis in range(2)], axis=1).astype(np.float32)


def normal(strokes: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Strokes (strokes, EVEN, 2) moved and scaled to height 1 about the middle."""
    low, high = strokes.min(axis=(0, 1)), strokes.max(axis=(0, 1))
    return np.asarray((strokes - (low + high) / 2) / max(float(high[1] - low[1]), 0.05), np.float32)


def some_text(rng: np.random.Generator, long: bool) -> str:
    """A string to write. Values are spread evenly: what is plausible is the chart's business."""
    kind = rng.random()
    if long:
        if kind < 0.6:
            return "".join(rng.choice(list(DIGITS), size=rng.integers(4, 9)))
        minutes, hours = int(rng.integers(0, 180)), int(rng.integers(1, 4))
        tail = str(rng.choice(["min", "min", "mins", "m", "mn"]))
        if kind < 0.85:
            return f"{minutes}{tail}"
        unit = str(rng.choice(["h", "hr", "hrs"]))
        return f"{hours}{unit}{int(rng.integers(1, 60))}" + (tail if rng.random() < 0.5 else "")
    if kind < 0.68:
        length = int(rng.choice([1, 2, 3], p=[0.2, 0.45, 0.35]))
        return "".join(rng.choice(list(DIGITS), size=length))
    if kind < 0.85:
        return str(5 * int(rng.integers(0, 37)))
    if kind < 0.89:
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

    def patch(self, layer: int, outline: Points, value: int) -> None:
        """A filled shape."""
        self.draws[layer].polygon([(x, y) for x, y in outline.tolist()], fill=value)

    def layers(self) -> Layers:
        return np.stack([np.asarray(picture) for picture in self.pictures])


def _moved(strokes: Sequence[Points], x: float, y: float) -> list[Points]:
    return [(stroke + np.array([x, y])).astype(np.float32) for stroke in strokes]


def _pick(sources: Sources, writer: Writer, character: str, rng: np.random.Generator) -> Glyph:
    """The writer's own glyph, or that of another who wrote the character."""
    own = writer.glyphs.get(character)
    while not own:
        other = sources.writers[int(rng.choice(len(sources.writers), p=sources.weights))]
        own = other.glyphs.get(character)
    return own[int(rng.integers(len(own)))]


ALIKE = 0.16  # mean distance, in digit heights, up to which two glyphs are blended
TRIES = 6


def _blend(sources: Sources, character: str, strokes: list[Points], rng: np.random.Generator) -> list[Points]:
    """The digit part of the way towards, or away from, one like it by any writer: a hand in between."""
    pool = sources.alike.get((character, len(strokes)))
    if pool is None:
        return strokes
    own = np.stack([evenly(stroke) for stroke in strokes])
    low, high = own.min(axis=(0, 1)), own.max(axis=(0, 1))
    centre, height = (low + high) / 2, max(float(high[1] - low[1]), 0.05)
    others = pool[rng.integers(len(pool), size=TRIES)]
    shift = others - (own - centre) / height
    distance = np.abs(shift).sum(axis=3).mean(axis=(1, 2))
    nearest = int(np.argmin(distance + (distance < 0.01)))  # not the glyph itself
    if not 0.01 <= distance[nearest] < ALIKE:
        return strokes
    return list((own + float(rng.uniform(-0.5, 0.6)) * height * shift[nearest]).astype(np.float32))


def _hurry(stroke: Points, rng: np.random.Generator) -> Points:
    """The stroke as somebody in a hurry has it: corners rounded, ends cut short or shaky."""
    if len(stroke) < 8:
        return stroke
    way = rng.random(3)
    if way[0] < 0.2:
        reach = int(rng.integers(1, 4))
        padded = np.concatenate([np.repeat(stroke[:1], reach, 0), stroke, np.repeat(stroke[-1:], reach, 0)])
        sums = np.cumsum(np.concatenate([np.zeros((1, 2), np.float32), padded]), axis=0)
        stroke = ((sums[2 * reach + 1 :] - sums[: -2 * reach - 1]) / (2 * reach + 1)).astype(np.float32)
    if way[1] < 0.25:
        first, last = (int(len(stroke) * share) for share in rng.uniform(0, 0.09, 2))
        stroke = stroke[first : len(stroke) - last]
    if way[2] < 0.25:
        shake = np.cumsum(rng.normal(0, rng.uniform(0.002, 0.008), (len(stroke), 2)), axis=0)
        shake -= np.linspace(shake[0], shake[-1], len(stroke))
        stroke = (stroke + shake).astype(np.float32)
    return stroke


def _adorn(character: str, strokes: list[Points], rng: np.random.Generator) -> list[Points]:
    """What some schools teach and others do not: bars on sevens, slashes in zeros, flags and feet on ones.

    strokes: one glyph; returned with the addition, if any. Common practice, no source.
    """
    if len(strokes) != 1 or len(strokes[0]) < 3:
        return strokes
    stroke = strokes[0]
    low, high = stroke.min(axis=0), stroke.max(axis=0)
    wide, tall = np.maximum(high - low, 0.05)
    if character == "7" and rng.random() < 0.2:
        lower = stroke[len(stroke) // 3 :]
        x, y = lower[int(np.argmin(np.abs(lower[:, 1] - (low[1] + tall * rng.uniform(0.42, 0.65)))))]
        half, rise = float(rng.uniform(0.12, 0.3)) * tall, float(rng.normal(0, 0.06)) * tall
        return [
            stroke,
            np.array([[x - half, y + rise], [x + half * rng.uniform(0.6, 1.2), y - rise]], np.float32),
        ]
    if character == "0" and rng.random() < 0.08:
        middle, reach = (low + high) / 2, float(rng.uniform(0.8, 1.3)) / 2
        tip = np.array([wide * reach, -tall * reach * rng.uniform(0.6, 1.0)])
        return [stroke, np.array([middle - tip, middle + tip], np.float32)]
    if character == "1" and wide < 0.3 * tall:
        added = list(strokes)
        top = stroke[int(np.argmin(stroke[:, 1]))]
        if rng.random() < 0.25:
            long, slope = float(rng.uniform(0.15, 0.55)) * tall, float(rng.uniform(0.6, 1.2))
            tip = top + np.array([-math.cos(slope), math.sin(slope)]) * long
            added.append(np.array([tip, top], np.float32))
        if rng.random() < 0.12:
            x, y = stroke[int(np.argmax(stroke[:, 1]))]
            left, right = rng.uniform(0.1, 0.35, 2) * tall
            added.append(np.array([[x - left, y], [x + right, y]], np.float32))
        return added
    return strokes


def _vary(sources: Sources, character: str, glyph: Glyph, rng: np.random.Generator) -> list[Points]:
    """A digit's strokes as another hand might have them."""
    strokes = list(glyph.strokes)
    if rng.random() < 0.5:
        strokes = _blend(sources, character, strokes, rng)
    if rng.random() < 0.5:
        strokes = [_hurry(stroke, rng) for stroke in strokes]
    strokes = _adorn(character, strokes, rng)
    if len(strokes) > 1 and rng.random() < 0.5:
        # The hat of a five, the bar of a four: seldom just where they belong.
        apart = float(rng.choice([0.02, 0.05]))
        strokes = [stroke + rng.normal(0, apart, 2).astype(np.float32) for stroke in strokes]
    return strokes


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


def write_strokes(sources: Sources, text: str, rng: np.random.Generator, *, varied: bool = False) -> Written:
    """The text in one writer's hand, with that writer's wobble.

    varied: digits are blended, hurried and adorned as other hands might have them; for training.
    """
    mixed = varied and rng.random() < 0.12  # every digit by somebody else
    writer = sources.writers[int(rng.choice(len(sources.writers), p=sources.weights))]
    gap = float(np.clip(rng.normal(0.17, 0.11), -0.03, 0.6))
    wobble, uneven = rng.uniform(0, 0.08), rng.uniform(0, 0.13)
    slant, bend = float(rng.normal(0, 0.16 if varied else 0.14)), rng.uniform(0, 0.035)
    stretch = float(np.exp(rng.normal(0, 0.15)))
    own_size = rng.random() < 0.6
    repeat = rng.random() < 0.3  # some hands write the same digit alike every time
    chosen: dict[str, list[Points]] = {}
    strokes: list[Points] = []
    x = 0.0
    for place, character in enumerate(text):
        given = chosen.get(character) if repeat else None
        if given is None:
            if mixed:
                writer = sources.writers[int(rng.choice(len(sources.writers), p=sources.weights))]
            glyph = _pick(sources, writer, character, rng)
            digit = varied and character in DIGITS
            given = _vary(sources, character, glyph, rng) if digit else list(glyph.strokes)
            chosen[character] = given
        low = np.min([s.min(axis=0) for s in given], axis=0)
        high = np.max([s.max(axis=0) for s in given], axis=0)
        height = max(float(high[1] - low[1]), 0.05)
        size = float(np.exp(rng.normal(0, uneven)))
        if character in DIGITS and (own_size or height < 0.5 or height > 1.7):
            size /= height
        rise = float(rng.normal(0, wobble))
        if character == "-":
            size *= float(np.exp(rng.normal(0.0, 0.4)))
            rise -= float(rng.uniform(0.3, 0.6))
        elif character == ":":
            rise -= float(rng.uniform(0.0, 0.25))
        turn = float(rng.normal(0, 0.06))
        cos, sin = math.cos(turn) * size, math.sin(turn) * size
        centre = (low + high) / 2
        left = math.inf
        shaped: list[Points] = []
        for s in given:
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
    return float(rng.uniform(0.045, 0.13) if rng.random() < 0.8 else rng.uniform(0.13, 0.24))


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


def _put_rulings(pencil: Pencil, width: int, rng: np.random.Generator) -> None:
    """Printed lines under, through or behind the writing: a line to write on, a form's background."""
    w, h = width * DOUBLE, HEIGHT * DOUBLE
    if rng.random() < 0.5:
        y, tilt = float(rng.uniform(0.1, 0.95)) * h, float(rng.normal(0, 2))
        pencil.stroke(2, np.array([[0, y + tilt], [w, y - tilt]], np.float32), float(rng.uniform(1, 3)), 160)
        return
    gap, slope = float(rng.uniform(5, 26)), float(rng.uniform(-1.2, 1.2))
    pen, value = float(rng.uniform(1, 2.5)), int(rng.integers(40, 140))
    upright = rng.random() < 0.3
    for at in np.arange(-h * 1.5, (w if upright else h) + h * 1.5, gap):
        ends = [[at, 0], [at + slope * h, h]] if upright else [[0, at], [w, at + slope * w * 0.4]]
        pencil.stroke(2, np.array(ends, np.float32), pen, value)


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


_THICKNESS: Sequence[Callable[[Image.Image], Image.Image]] = (
    lambda picture: picture,
    lambda picture: picture,
    lambda picture: picture.filter(ImageFilter.MinFilter(3)),
    lambda picture: picture.filter(ImageFilter.MaxFilter(3)),
    lambda picture: picture.filter(ImageFilter.MaxFilter(5)),
)


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
        grown = _THICKNESS[int(rng.integers(len(_THICKNESS)))](grown)
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


def _spot(width: int, rng: np.random.Generator) -> tuple[Points, float]:
    """Where a drawing goes: its middle, and half its height, in layer pixels."""
    w, h = width * DOUBLE, HEIGHT * DOUBLE
    middle = np.array([rng.uniform(0.3, 0.7) * w, rng.uniform(0.4, 0.6) * h], np.float32)
    return middle, float(rng.uniform(0.18, 0.42)) * h


def _doodle(width: int, rng: np.random.Generator) -> list[Points]:
    middle, r = _spot(width, rng)
    turn, tall = float(rng.normal(0, 0.15)), float(np.exp(rng.normal(0, 0.15)))
    spin = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn) * tall, math.cos(turn) * tall]])
    lines = DOODLES[int(rng.integers(len(DOODLES)))](rng)
    return [(_jolt(line, rng, 0.03) @ spin * r + middle).astype(np.float32) for line in lines]


def _put_sticker(pencil: Pencil, width: int, rng: np.random.Generator) -> None:
    """As from a roll: coloured, with or without a face."""
    middle, r = _spot(width, rng)
    pencil.patch(0, (outline(rng) * r * 1.2 + middle).astype(np.float32), int(rng.integers(50, 230)))
    if rng.random() < 0.6:
        for line in face(rng):
            pencil.stroke(0, (0.7 * line * r + middle).astype(np.float32), max(2.0, 0.12 * r))


def _put(pencil: Pencil, layer: int, strokes: Sequence[Points], pen: float) -> None:
    for stroke in strokes:
        pencil.stroke(layer, stroke, pen)


def _not_a_number(
    pencil: Pencil, sources: Sources, width: int, rng: np.random.Generator, height: float
) -> None:
    """Something that must be refused."""

    def written(text: str, size: float = height) -> tuple[list[Points], float]:
        return _place(write_strokes(sources, text, rng, varied=True).strokes, width, rng, size)

    pen, kind = _pen(rng), rng.random()
    if kind < 0.28:
        return _put(pencil, 0, _doodle(width, rng), pen * height)
    if kind < 0.32:
        return _put_sticker(pencil, width, rng)
    if kind < 0.46:  # letters and signs
        pool = [c for c in "hmrins+=/~" if any(c in writer.glyphs for writer in sources.writers)]
        strokes, scale = written("".join(rng.choice(pool, size=int(rng.integers(2, 6)))))
        return _put(pencil, 0, strokes, pen * scale)
    if kind < 0.58:  # two numbers: side by side, a sum, or one above the other
        first, second = str(rng.integers(1, 100)), str(rng.integers(1, 100))
        if rng.random() < 0.3:
            strokes, scale = written(first, height * 0.5)
            lift = min(float(s[:, 1].min()) for s in strokes) - MARGIN
            _put(pencil, 0, _moved(strokes, 0, -lift), pen * scale)
            strokes, scale = written(second, height * 0.5)
            drop = HEIGHT * DOUBLE - MARGIN - max(float(s[:, 1].max()) for s in strokes)
            return _put(pencil, 0, _moved(strokes, 0, drop), pen * scale)
        left = write_strokes(sources, first, rng, varied=True)
        sign = rng.choice(["", "", "+", "/"])
        strokes = list(left.strokes)
        at = left.width + float(rng.uniform(0.2, 0.4) if sign else rng.uniform(0.9, 1.6))
        if sign and any(sign in writer.glyphs for writer in sources.writers):
            between = write_strokes(sources, str(sign), rng)
            strokes += _moved(between.strokes, at, 0)
            at += between.width + float(rng.uniform(0.2, 0.4))
        strokes += _moved(write_strokes(sources, second, rng, varied=True).strokes, at, 0)
        placed, scale = _place(strokes, width, rng, height)
        return _put(pencil, 0, placed, pen * scale)
    strokes, scale = written(some_text(rng, False).replace("-", "0"))
    _put(pencil, 0, strokes, pen * scale)
    if kind < 0.86:  # struck out, and sometimes written anew beside it
        _put(pencil, 0, _strike(strokes, rng), pen * scale * float(rng.uniform(0.8, 1.3)))
        every = np.concatenate(strokes)
        free = width * DOUBLE - float(every[:, 0].max())
        if rng.random() < 0.5 and free > 50:
            new = write_strokes(sources, str(rng.integers(1, 100)), rng, varied=True)
            size = min(scale, (free - 16) / max(new.width, 0.2))
            beside = [stroke * size for stroke in new.strokes]
            _put(pencil, 0, _moved(beside, every[:, 0].max() + 10, every[:, 1].max()), pen * scale)
        return None
    over, scale = written(some_text(rng, False).replace("-", "0"))  # one number written over another
    return _put(pencil, 0, over, pen * scale * float(rng.uniform(0.9, 1.5)))


# Signs around a number that change nothing: 15' for minutes, 20. or 30.- from bills, =45 under a sum.
_BEFORE, _AFTER = ("=", "~", "+"), ("'", "'", ".", ".", "-", "=")


def _with_signs(sources: Sources, written: Written, rng: np.random.Generator) -> list[Points]:
    strokes = list(written.strokes)
    if rng.random() < 0.75:
        sign = str(rng.choice(_AFTER))
        if any(sign in writer.glyphs for writer in sources.writers):
            rise = -float(rng.uniform(0.6, 0.9)) if sign == "'" else 0.0
            at = written.width + float(rng.uniform(0.1, 0.3))
            strokes += _moved(write_strokes(sources, sign, rng).strokes, at, rise)
    else:
        sign = str(rng.choice(_BEFORE))
        if any(sign in writer.glyphs for writer in sources.writers):
            before = write_strokes(sources, sign, rng)
            at = before.width + float(rng.uniform(0.15, 0.4))
            rise = -float(rng.uniform(0.1, 0.35))
            strokes += _moved(before.strokes, -at, rise)
    return strokes


BLANK, NOT_A_NUMBER = 0.04, 0.10  # shares of what is drawn


def draw(sources: Sources, width: int, long: bool, rng: np.random.Generator) -> Drawn:
    """One box, drawn at random. width: px of the reader's input; long: strings of four and more."""
    pencil = Pencil(width)
    kind = rng.random()
    height = float(np.clip(rng.normal(0.70, 0.13), 0.4, 0.97)) * HEIGHT * DOUBLE
    pen = _pen(rng)
    if rng.random() < 0.45:
        _put_frame(pencil, width, rng)
    if rng.random() < 0.08:
        _put_rulings(pencil, width, rng)
    if rng.random() < 0.15:
        _put_specks(pencil, width, rng)
    if rng.random() < 0.10:
        _put_neighbour(pencil, sources, width, rng)
    rubbed_out = rng.random() < (0.4 if kind < BLANK else 0.05)
    if rubbed_out:  # a faint thing that was written before
        before = write_strokes(sources, some_text(rng, False), rng, varied=True)
        ghost, scale = _place(before.strokes, width, rng, height)
        _put(pencil, 1, ghost, pen * scale)
    if kind < BLANK:
        return Drawn(pencil.layers(), "")
    if kind < BLANK + NOT_A_NUMBER:
        _not_a_number(pencil, sources, width, rng, height)
        return Drawn(pencil.layers(), None)
    text = some_text(rng, long)
    digits = all(c in DIGITS for c in text)
    if digits and rng.random() < 0.3:
        _put_scan(pencil, sources, text, width, rng, height)
        return Drawn(pencil.layers(), text)
    written = write_strokes(sources, text, rng, varied=True)
    signs = digits and rng.random() < 0.05
    strokes, scale = _place(
        _with_signs(sources, written, rng) if signs else written.strokes, width, rng, height
    )
    uneven = rng.random() < 0.25  # some strokes pressed less
    for stroke, thick in zip(strokes, np.exp(rng.normal(0, 0.08, len(strokes))), strict=True):
        value = int(255 * rng.uniform(0.45, 1.0)) if uneven and rng.random() < 0.5 else 255
        pencil.stroke(0, stroke, pen * scale * float(thick), value)
    return Drawn(pencil.layers(), text)
