"""What the page lies on: table tops and cloths, drawn from noise."""

import math

import cv2
import numpy as np

from ingest.demo.ink import FloatArray, Picture


def desk(size: tuple[int, int], rng: np.random.Generator, px_per_mm: float) -> Picture:
    """A background of `size` (width, height) px, at about the photo's scale."""
    # Drawn at about one pixel a millimetre and enlarged: the lens is focused on the sheet.
    shrink = min(1.0, 1.6 / px_per_mm)
    width, height = max(16, round(size[0] * shrink)), max(16, round(size[1] * shrink))
    scale = px_per_mm * shrink
    kind = rng.choice(["wood", "checked", "plain", "stone", "weave"], p=[0.4, 0.15, 0.2, 0.15, 0.1])
    surface = {"wood": _wood, "checked": _checked, "plain": _plain, "stone": _stone, "weave": _weave}[kind]
    small = surface(width, height, scale, rng)
    angle = rng.uniform(-40, 40)
    grown = 1.6  # so that no corner is left bare by the turn
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), angle, grown)
    small = cv2.warpAffine(small, turn, (width, height), borderMode=cv2.BORDER_REFLECT)
    return cv2.resize(np.asarray(np.clip(small, 0, 255), np.uint8), size)


def _cloud(width: int, height: int, cell_x: float, cell_y: float, rng: np.random.Generator) -> FloatArray:
    """Smooth noise around 0, with features of about that many px."""
    small = rng.normal(0, 1, (max(2, round(height / cell_y)), max(2, round(width / cell_x))))
    return cv2.resize(small.astype(np.float32), (width, height), interpolation=cv2.INTER_CUBIC)


def _tinted(shade: FloatArray, colour: tuple[int, int, int]) -> FloatArray:
    return (shade[..., None] * np.array(colour, np.float32)).astype(np.float32)


def _wood(width: int, height: int, scale: float, rng: np.random.Generator) -> FloatArray:
    colour = [(181, 136, 92), (128, 86, 54), (214, 180, 136), (96, 66, 48), (160, 120, 88)][
        int(rng.integers(5))
    ]
    y = np.mgrid[0:height, 0:width][0].astype(np.float32) / scale
    warp = 14 * _cloud(width, height, 220 * scale, 60 * scale, rng)
    rings = np.sin((y + warp) / rng.uniform(2.0, 5.0))
    fibre = _cloud(width, height, 50 * scale, 1.0 * scale, rng)
    shade = 0.92 + 0.05 * rings + 0.05 * fibre + 0.05 * _cloud(width, height, 150 * scale, 40 * scale, rng)
    board = rng.uniform(90, 160)
    seam = np.abs((y / board) % 1 - 0.5) * board
    shade = shade * np.where(seam < 0.8, 0.6, 1.0)
    return _tinted(shade.astype(np.float32), colour)


def _checked(width: int, height: int, scale: float, rng: np.random.Generator) -> FloatArray:
    colour = np.array([(190, 40, 45), (50, 90, 160), (60, 130, 80), (200, 160, 60)][int(rng.integers(4))])
    cell = rng.uniform(8, 20) * scale
    y, x = np.mgrid[0:height, 0:width]
    share = 0.5 * ((x // cell) % 2) + 0.5 * ((y // cell) % 2)
    cloth = 235 * (1 - share[..., None]) + colour * share[..., None]
    rough = 1 + 0.04 * _cloud(width, height, 1.2, 1.2, rng) + 0.05 * _cloud(width, height, 90, 90, rng)
    return np.asarray(cloth * rough[..., None], np.float32)


def _plain(width: int, height: int, scale: float, rng: np.random.Generator) -> FloatArray:
    colour = [(222, 218, 210), (60, 62, 68), (140, 146, 150), (196, 188, 170), (238, 236, 232)][
        int(rng.integers(5))
    ]
    shade = 1 + 0.015 * _cloud(width, height, 1.5, 1.5, rng) + 0.04 * _cloud(width, height, 120, 120, rng)
    return _tinted(shade.astype(np.float32), colour)


def _stone(width: int, height: int, scale: float, rng: np.random.Generator) -> FloatArray:
    colour = [(200, 196, 190), (120, 116, 112), (70, 66, 66)][int(rng.integers(3))]
    specks = _cloud(width, height, 2.2 * scale, 2.2 * scale, rng)
    veins = np.abs(_cloud(width, height, 60 * scale, 60 * scale, rng))
    shade = 0.95 + 0.09 * np.tanh(2 * specks) + 0.1 * np.minimum(veins, 0.6)
    return _tinted(shade.astype(np.float32), colour)


def _weave(width: int, height: int, scale: float, rng: np.random.Generator) -> FloatArray:
    colour = [(170, 150, 120), (90, 110, 140), (150, 80, 90), (110, 130, 100)][int(rng.integers(4))]
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    thread = 2 * math.pi / max(3.0, rng.uniform(2.2, 4.0) * scale)
    shade = 0.92 + 0.07 * np.sin(x * thread) * np.sin(y * thread)
    shade = shade + 0.05 * _cloud(width, height, 2, 2, rng)
    return _tinted(shade.astype(np.float32), colour)
