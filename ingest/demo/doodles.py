"""What children draw into boxes: ticks, faces, hearts, and stickers that come from a roll."""

import math
from collections.abc import Callable, Mapping
from types import MappingProxyType

import cv2
import numpy as np

from ingest.demo.hands import Points, curve
from ingest.demo.ink import Picture
from ingest.paper import Box

Lines = tuple[Points, ...]  # in units of the drawing's size, around (0, 0), y downwards


def _circle(x: float, y: float, radius: float, first: float = 0.0, last: float = 2 * math.pi) -> Points:
    at = np.linspace(first, last, 28)
    return np.column_stack([x + radius * np.cos(at), y + radius * np.sin(at)])


def _smiley(rng: np.random.Generator) -> Lines:
    mouth = _circle(0, 0.0, 0.28, 0.15 * math.pi, 0.85 * math.pi)
    round_ = _circle(0, 0, 0.5, 0.0, 2 * math.pi * rng.uniform(0.97, 1.05))
    return round_, np.array([[-0.17, -0.15]]), np.array([[0.17, -0.15]]), mouth


def _heart(rng: np.random.Generator) -> Lines:
    at = np.linspace(0, 2 * math.pi, 40)
    y = 13 * np.cos(at) - 5 * np.cos(2 * at) - 2 * np.cos(3 * at) - np.cos(4 * at)
    return (np.column_stack([16 * np.sin(at) ** 3, -y]) / 34,)


def _star(rng: np.random.Generator) -> Lines:
    turn = -math.pi / 2 + rng.normal(0, 0.1) + 4 * math.pi / 5 * np.arange(6)
    return (np.column_stack([np.cos(turn), np.sin(turn)]) / 2,)


def _tick(rng: np.random.Generator) -> Lines:
    return (curve(np.array([[-0.4, 0.05], [-0.12, 0.4], [0.1, 0.0], [0.5, -0.45]])),)


def _cross(rng: np.random.Generator) -> Lines:
    ends = np.array([[-0.4, -0.4], [0.0, 0.0], [0.4, 0.4]])
    return curve(ends), curve(ends * [1, -1])


def _note(rng: np.random.Generator) -> Lines:
    return _circle(-0.15, 0.35, 0.15), curve(np.array([[0.0, 0.32], [0.0, -0.1], [0.0, -0.5], [0.25, -0.3]]))


def _question(rng: np.random.Generator) -> Lines:
    hook = [[-0.2, -0.25], [0.0, -0.5], [0.22, -0.25], [0.0, 0.0], [0.0, 0.22]]
    return curve(np.array(hook)), np.array([[0.0, 0.45]])


DOODLES: Mapping[str, Callable[[np.random.Generator], Lines]] = MappingProxyType(
    {
        "smiley": _smiley,
        "heart": _heart,
        "star": _star,
        "tick": _tick,
        "cross": _cross,
        "note": _note,
        "question mark": _question,
    }
)


def doodle(name: str, box: Box, rng: np.random.Generator) -> Lines:
    """Pen lines, page mm, of a drawing in `box`. Raises KeyError for a name not in DOODLES."""
    size = min(box.width, box.height) * rng.uniform(0.55, 0.9)
    turn = rng.normal(0, 0.12)
    spin = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    slack = np.maximum(np.array([box.width, box.height]) - size, 0)
    middle = np.array(box.centre) + slack * rng.uniform(-0.35, 0.35, 2)
    return tuple(line * rng.normal(1, 0.04, 2) @ spin * size + middle for line in DOODLES[name](rng))


def line_through(box: Box, rng: np.random.Generator) -> Lines:
    """A level line through a box from side to side, as drawn through days that were left out."""
    y = box.centre[1] + rng.normal(0, 0.8, 4)
    x = np.linspace(box.left - 1.2, box.right + 1.2, 4)
    return (curve(np.column_stack([x, y])),)


_ROLL = ((246, 205, 40), (238, 92, 88), (98, 176, 84), (84, 140, 214), (240, 150, 190), (250, 160, 60))


def stick(picture: Picture, px_per_mm: float, box: Box, rng: np.random.Generator) -> None:
    """A round or star-shaped sticker on `box`, in place: coloured, with a white rim and a face."""
    size = min(box.width, box.height) * rng.uniform(0.75, 1.15)
    middle = np.array(box.centre) + rng.normal(0, 1.0, 2)
    colour = _ROLL[int(rng.integers(len(_ROLL)))]
    points = 5 if rng.random() < 0.4 else 0
    at = np.linspace(0, 2 * math.pi, 10 if points else 40, endpoint=False) + rng.uniform(0, 6)
    reach = np.where(np.arange(len(at)) % 2, 0.5, 1.0) if points else np.ones(len(at))
    outline = np.column_stack([np.cos(at), np.sin(at)]) * reach[:, None]

    def put(lines: Points, tint: tuple[int, int, int]) -> None:
        corners = np.rint((middle + lines * size / 2) * px_per_mm * 16).astype(np.int32)
        cv2.fillPoly(picture, [corners], tint, cv2.LINE_AA, shift=4)

    put(outline * 1.1, (250, 250, 250))
    put(outline, colour)
    for x in (-0.18, 0.18):
        put(_circle(x, -0.12, 0.07), (40, 36, 34))
    smile = np.concatenate(
        [_circle(0, 0, 0.3, 0.2 * math.pi, 0.8 * math.pi), _circle(0, 0, 0.22, 0.8 * math.pi, 0.2 * math.pi)]
    )
    put(smile, (40, 36, 34))
