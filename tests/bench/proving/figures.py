"""Figures that a claim rests on: exact bounds, calibration, risk against coverage."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.stats import beta

BINS = 15  # of equal width: Guo, Pleiss, Sun & Weinberger, "On Calibration of Modern Neural Networks", 2017
# For looking at the surest, among whom all of a reader's errors are dear.
FINE = (0.0, 0.5, 0.8, 0.9, 0.95, 0.98, 0.99, 0.995, 0.998, 0.999, 0.9995, 1.0)


def bounds(hits: int, of: int) -> tuple[float, float]:
    """Clopper and Pearson's 95 % interval for a rate."""
    low = 0.0 if hits == 0 else float(beta.ppf(0.025, hits, of - hits + 1))
    high = 1.0 if hits == of else float(beta.ppf(0.975, hits + 1, of - hits))
    return low, high


@dataclass(frozen=True, slots=True)
class Bin:
    """Answers whose confidence lies in (low, high]. confidence: their mean."""

    low: float
    high: float
    count: int
    right: int
    confidence: float


def reliability(
    confidence: Sequence[float], right: Sequence[bool], edges: Sequence[float] | int = BINS
) -> list[Bin]:
    """Bins that hold something. edges: of the bins, or how many of equal width."""
    sides = np.linspace(0, 1, edges + 1) if isinstance(edges, int) else np.array(edges)
    sure, good = np.array(confidence, float), np.array(right, bool)
    place = np.clip(np.searchsorted(sides, sure, side="left") - 1, 0, len(sides) - 2)
    out = []
    for index in np.unique(place):
        inside = place == index
        mean, hits = float(sure[inside].mean()), int(good[inside].sum())
        out.append(Bin(float(sides[index]), float(sides[index + 1]), int(inside.sum()), hits, mean))
    return out


def calibration_error(confidence: Sequence[float], right: Sequence[bool], bins: int = BINS) -> float:
    """Expected calibration error: equation 3 of the paper at BINS."""
    if not confidence:
        return 0.0
    found = reliability(confidence, right, bins)
    return sum(abs(each.right - each.confidence * each.count) for each in found) / len(confidence)


def risk_against_coverage(
    confidence: Sequence[float], right: Sequence[bool], boxes: int
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Taking the surest first: share of `boxes` taken, and share of the taken that is wrong.

    boxes: all there are, those without a guess included.
    """
    order = np.argsort(-np.array(confidence, float), kind="stable")
    wrong = np.cumsum(~np.array(right, bool)[order])
    taken = np.arange(1, len(order) + 1)
    return taken / boxes, wrong / taken
