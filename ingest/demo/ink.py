"""Pens on paper: draws pen lines onto a picture of a page.

Lines are drawn four times too large with OpenCV and shrunk, so that edges come out soft; then each
pen adds its own grain, skips and pressure.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeAlias

import cv2
import numpy as np
import numpy.typing as npt

from ingest.demo.hands import Points

Picture: TypeAlias = npt.NDArray[Any]  # uint8, shape (height, width, 3), RGB
FloatArray: TypeAlias = npt.NDArray[Any]  # float32

OVERSAMPLE = 4


@dataclass(frozen=True, slots=True)
class Pen:
    """What a child writes with.

    width: of the line, mm. dark: share of light that the ink takes, 0..1, in each of R, G, B.
    grain: how much the paper's tooth breaks the line up, 0 (ink) .. 1 (dry pencil).
    pressure: how much width and darkness change along a line, 0..1.
    """

    name: str
    width: float
    dark: tuple[float, float, float]
    grain: float
    pressure: float

    def pressed(self) -> "Pen":
        """The same pen pressed hard, as by one who writes over something."""
        red, green, blue = (min(0.92, share * 1.25) for share in self.dark)
        return replace(self, width=self.width * 1.35, dark=(red, green, blue))


def faint_pencil(rng: np.random.Generator, least: float = 0.2) -> Pen:
    """A hard or blunt pencil, hardly pressed: `least` of the light taken, or up to twice as much."""
    dark = float(rng.uniform(least, min(2 * least, 0.5)))
    return Pen("faint pencil", float(rng.uniform(0.35, 0.65)), (dark, dark, dark * 0.97), 0.6, 0.3)


def any_pen(rng: np.random.Generator) -> Pen:
    """Mostly pencil, as in a beginners' class; some ballpoint, a few felt-tips."""
    kind = rng.choice(["pencil", "ballpoint", "felt-tip"], p=[0.62, 0.28, 0.10])
    if kind == "pencil":
        dark = float(rng.uniform(0.5, 0.85))
        return Pen("pencil", float(rng.uniform(0.4, 0.75)), (dark, dark, dark * 0.97), 0.55, 0.35)
    if kind == "ballpoint":
        # Blue, black, now and then red or green; red is faint in grey, and people use it anyway.
        ink = rng.choice(4, p=[0.55, 0.3, 0.1, 0.05])
        dark3 = [(0.88, 0.78, 0.38), (0.86, 0.86, 0.84), (0.22, 0.82, 0.75), (0.85, 0.4, 0.7)][ink]
        return Pen("ballpoint", float(rng.uniform(0.3, 0.5)), dark3, 0.12, 0.15)
    ink = rng.choice(4)
    dark3 = [(0.88, 0.75, 0.3), (0.9, 0.9, 0.88), (0.6, 0.85, 0.3), (0.9, 0.55, 0.45)][ink]
    return Pen("felt-tip", float(rng.uniform(0.8, 1.3)), dark3, 0.0, 0.08)


def draw(
    picture: Picture,
    px_per_mm: float,
    lines: Sequence[Points],
    pen: Pen,
    rng: np.random.Generator,
    *,
    strength: float = 1.0,
    soften_mm: float = 0.0,
) -> None:
    """Draw `lines` (page mm) into `picture` in place.

    strength: 1 fresh, 0.1 a ghost that an eraser left. soften_mm: blur, as of a smeared line.
    """
    if not lines:
        return
    margin = 2 * pen.width + 3 * soften_mm + 0.3
    everything = np.concatenate(lines)
    patch = _patch(picture, px_per_mm, everything.min(axis=0) - margin, everything.max(axis=0) + margin)
    if patch is None:
        return
    view, origin = patch
    height, width = view.shape[:2]
    big = np.zeros((height * OVERSAMPLE, width * OVERSAMPLE), np.uint8)
    scale = px_per_mm * OVERSAMPLE
    for line in lines:
        _stroke(big, (line * px_per_mm - origin) * OVERSAMPLE, pen, scale, rng)
    if pen.grain:
        big = _tooth(big, pen.grain, scale, rng)
    ink = cv2.resize(big, (width, height), interpolation=cv2.INTER_AREA)
    soft = cv2.GaussianBlur(ink, (0, 0), max(0.3, (0.05 + soften_mm) * px_per_mm))
    _absorb(view, soft.astype(np.float32) / 255 * strength, pen.dark)


def smear(
    picture: Picture,
    px_per_mm: float,
    low: Points,
    high: Points,
    rng: np.random.Generator,
) -> None:
    """Pull whatever is written between the corners `low` and `high` (mm) sideways, as a hand does."""
    patch = _patch(picture, px_per_mm, low, high)
    if patch is None:
        return
    view, _ = patch
    reach = max(3, int(rng.uniform(1.5, 4.0) * px_per_mm))
    kernel = np.zeros((5, 2 * reach + 1), np.float32)
    kernel[2, : reach + 1] = np.linspace(0, 1, reach + 1)  # one-sided: a smear has a direction
    if rng.random() < 0.5:
        kernel = kernel[:, ::-1].copy()
    kernel /= kernel.sum()
    pulled = cv2.filter2D(view, -1, kernel, borderType=cv2.BORDER_REPLICATE)
    keep = float(rng.uniform(0.6, 0.8))
    edge = _soft_window(view.shape[0], view.shape[1])[..., None] * (1 - keep)
    darker = np.minimum(view, pulled) * 0.6 + pulled * 0.4
    view[:] = (view * (1 - edge) + darker * edge).astype(np.uint8)


def rub(picture: Picture, px_per_mm: float, low: Points, high: Points, rng: np.random.Generator) -> None:
    """The greyish patch that an eraser leaves."""
    patch = _patch(picture, px_per_mm, low, high)
    if patch is None:
        return
    view, _ = patch
    height, width = view.shape[:2]
    rough = rng.random((max(2, height // 12), max(2, width // 30))).astype(np.float32)
    cloud = cv2.resize(rough, (width, height), interpolation=cv2.INTER_CUBIC).clip(0, 1)
    grey = cloud * _soft_window(height, width) * float(rng.uniform(0.04, 0.14))
    _absorb(view, grey, (1.0, 1.0, 1.0))


def _patch(picture: Picture, px_per_mm: float, low: Points, high: Points) -> tuple[Picture, Points] | None:
    """The part of the picture between two corners in mm, as a view, and its origin in px."""
    height, width = picture.shape[:2]
    left, top = np.maximum(np.floor(low * px_per_mm).astype(int), 0)
    right, bottom = np.minimum(np.ceil(high * px_per_mm).astype(int), [width, height])
    if right - left < 2 or bottom - top < 2:
        return None
    return picture[top:bottom, left:right], np.array([left, top], np.float64)


def _stroke(
    big: npt.NDArray[np.uint8], path: Points, pen: Pen, scale: float, rng: np.random.Generator
) -> None:
    """One pen line, in pixels of the enlarged picture, with changing width and pressure."""
    base = pen.width * scale
    if len(path) == 1:
        cv2.circle(big, np.rint(path[0]).astype(int).tolist(), max(1, round(base * 0.65)), 255, -1)
        return
    count = len(path) - 1
    wave = np.interp(np.linspace(0, 1, count), np.linspace(0, 1, 5), rng.normal(0, 0.5, 5))
    ends = np.minimum(np.arange(count), np.arange(count)[::-1]) / max(1.0, count * 0.15)
    press = 1 + pen.pressure * (wave - 0.45 * (1 - np.clip(ends, 0, 1)))
    thick = np.rint(base * np.clip(press, 0.5, 1.3)).astype(int).clip(1).tolist()
    level = (255 * np.clip(0.45 + 0.55 * press, 0.35, 1.0)).tolist()
    pixels = np.rint(path).astype(int).tolist()
    for index in range(count):
        cv2.line(big, pixels[index], pixels[index + 1], level[index], thick[index])


def _tooth(
    big: npt.NDArray[np.uint8], grain: float, scale: float, rng: np.random.Generator
) -> npt.NDArray[np.uint8]:
    """Break the line up where the paper's hollows stay white; hollows are about 0.12 mm."""
    hollow = max(2, round(0.12 * scale))
    height, width = big.shape
    noise = rng.random((height // hollow + 2, width // hollow + 2)).astype(np.float32)
    field = cv2.resize(noise, (width, height), interpolation=cv2.INTER_LINEAR)
    keep = np.clip(1 - grain * (field * 1.7 - 0.35), 0, 1)
    return np.asarray(big * keep, np.uint8)


def _soft_window(height: int, width: int) -> FloatArray:
    """1 in the middle, fading to 0 at the edges."""
    across = np.sin(np.linspace(0, np.pi, width)) ** 0.5
    down = np.sin(np.linspace(0, np.pi, height)) ** 0.5
    return np.outer(down, across).astype(np.float32)


def _absorb(view: Picture, ink: FloatArray, dark: tuple[float, float, float]) -> None:
    """Ink takes its share of the light the paper sends back, colour by colour."""
    for channel, share in enumerate(dark):
        view[..., channel] = (view[..., channel] * (1 - ink * share)).astype(np.uint8)
