"""What children draw into boxes: pen lines that are no number, about 2 high around (0, 0), y downwards."""

import math
from collections.abc import Callable

import numpy as np

from ingest.training.ink import Points, round_corners


def ring(x: float, y: float, r: float, turns: float = 1.0) -> Points:
    """A circle, drawn round and round if `turns` is more than one."""
    t = np.linspace(0, 2 * math.pi * turns, 40)
    return np.stack([x + r * np.cos(t), y + r * np.sin(t)], axis=1).astype(np.float32)


def _line(*corners: tuple[float, float]) -> Points:
    return np.array(corners, np.float32)


def _through(*corners: tuple[float, float]) -> Points:
    """A smooth line from the first corner to the last."""
    return round_corners(_line(*corners), 3)


def _tick(rng: np.random.Generator) -> list[Points]:
    return [_line((-1, 0), (-0.3, 0.8), (1.2, -1))]


def _cross(rng: np.random.Generator) -> list[Points]:
    return [_line((-1, -1), (1, 1)), _line((-1, 1), (1, -1))]


def face(rng: np.random.Generator) -> list[Points]:
    """Two eyes and a smile, without the ring around them."""
    t = np.linspace(0, math.pi, 20)
    mouth = np.stack([0.55 * np.cos(t), 0.15 + 0.4 * np.sin(t)], axis=1).astype(np.float32)
    return [mouth, _line((-0.35, -0.3)), _line((0.35, -0.3))]


def _smiley(rng: np.random.Generator) -> list[Points]:
    return [ring(0, 0, 1), *face(rng)]


def _star(rng: np.random.Generator) -> list[Points]:
    a = -math.pi / 2 + 4 * math.pi / 5 * np.arange(6)
    return [np.stack([np.cos(a), np.sin(a)], axis=1).astype(np.float32)]


def _wave(rng: np.random.Generator) -> list[Points]:
    x = np.linspace(-1.5, rng.uniform(0.3, 1.5), 60)
    y = rng.uniform(0.2, 0.6) * np.sin(x * rng.uniform(4, 12)) + np.cumsum(rng.normal(0, 0.03, 60))
    return [np.stack([x, y], axis=1).astype(np.float32)]


def _heart(rng: np.random.Generator) -> list[Points]:
    """Closed or not, in one line or two."""
    dip, wide, low = rng.uniform(-0.6, -0.2), rng.uniform(0.8, 1.1), rng.uniform(-0.3, 0.1)
    left = [(0.0, dip), (-0.3, -1.0), (-wide, -0.9), (-wide, low), (0.0, 1.0)]
    right = [(0.0, 1.0), (wide, low), (wide, -0.9), (0.3, -1.0), (rng.normal(0, 0.06), dip)]
    return [_through(*left, *right)] if rng.random() < 0.5 else [_through(*left), _through(*right)]


def _sun(rng: np.random.Generator) -> list[Points]:
    rays = np.linspace(0, 2 * math.pi, int(rng.integers(6, 12)), endpoint=False)
    ways = np.stack([np.cos(rays), np.sin(rays)], axis=1)
    return [ring(0, 0, 0.5), *(np.stack([0.65 * way, way]).astype(np.float32) for way in ways)]


def _notes(rng: np.random.Generator) -> list[Points]:
    """One with a flag, or two under a beam."""
    heads = [-0.5] if rng.random() < 0.6 else [-0.7, 0.4]
    end = (0.65, -0.9) if len(heads) > 1 else (0.3, -0.4)
    found = [_line((heads[0] + 0.25, -0.9), end)]
    for x in heads:
        found += [ring(x, 0.7, 0.25, 3), _line((x + 0.25, 0.7), (x + 0.25, -0.9))]
    return found


def _flower(rng: np.random.Generator) -> list[Points]:
    around = np.linspace(0, 2 * math.pi, 6)[:5]
    return [ring(0, 0, 0.3), *(ring(0.62 * math.cos(a), 0.62 * math.sin(a), 0.34) for a in around)]


def _spiral(rng: np.random.Generator) -> list[Points]:
    t = np.linspace(0, 2 * math.pi * rng.uniform(1.6, 3.5), 70)
    out = np.stack([np.cos(t), np.sin(t)], axis=1) * (t / t[-1])[:, None]
    return [out.astype(np.float32)]


def _arrow(rng: np.random.Generator) -> list[Points]:
    return [_through((-1.2, 0.2), (0, 0), (1.2, 0)), _line((0.7, -0.5), (1.2, 0), (0.7, 0.5))]


def _mark(rng: np.random.Generator) -> list[Points]:
    """Of a question or an exclamation."""
    hook = _through((-0.5, -0.5), (-0.2, -1.1), (0.5, -0.8), (0.3, -0.2), (0, 0.0), (0, 0.5))
    return [hook if rng.random() < 0.6 else _line((0, -1), (0, 0.5)), _line((0, 1))]


def _scrawl(rng: np.random.Generator) -> list[Points]:
    walk = np.cumsum(rng.normal(0, 1, (int(rng.integers(8, 40)), 2)), axis=0)
    walk -= walk.mean(axis=0)
    return [(walk / (np.abs(walk).max() + 1e-6) * np.array([1.6, 1.0])).astype(np.float32)]


# Hearts twice: they are what children draw most, and what a reader takes for a zero.
DOODLES: tuple[Callable[[np.random.Generator], list[Points]], ...] = (
    *(_tick, _cross, _smiley, _star, _wave, _heart, _heart, _sun, _notes, _flower, _spiral, _arrow, _mark),
    _scrawl,
)


def outline(rng: np.random.Generator) -> Points:
    """The outline of a sticker: a disc, or a star of five to seven points."""
    if rng.random() < 0.5:
        return ring(0, 0, 1)
    points = int(rng.integers(5, 8))
    a = np.linspace(0, 2 * math.pi, 2 * points, endpoint=False) + rng.uniform(0, 6)
    reach = np.where(np.arange(2 * points) % 2, rng.uniform(0.4, 0.7), 1.0)
    return np.stack([np.cos(a) * reach, np.sin(a) * reach], axis=1).astype(np.float32)
