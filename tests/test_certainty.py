"""Calibrated certainty."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.optimize import minimize

from ingest.reading.certainty import SURE, Calibration
from ingest.training.calibrate import fit


def test_certainty_grows_with_the_chance_and_is_capped() -> None:
    calibration = Calibration(slope=1.5, shift=-0.5, most=0.9995)
    sure = [calibration.certainty(chance) for chance in np.linspace(0, 1, 201)]
    assert all(b >= a for a, b in pairwise(sure))
    assert 0 <= sure[0] < 0.01
    assert sure[-1] == 0.9995


def test_the_shipped_calibration_can_reach_certainty() -> None:
    calibration = Calibration.load()
    assert calibration.certainty(1.0) > SURE
    assert calibration.certainty(0.5) < 0.9


def test_the_fit_is_the_most_probable_logistic() -> None:
    """Against scipy's general minimiser, on boxes whose true law is known."""
    rng = np.random.default_rng(3)
    odds = rng.normal(2, 2, 4000)
    right = rng.random(4000) < 1 / (1 + np.exp(-(1.3 * odds - 0.7)))
    slope, shift = fit(odds, right)
    good, bad = right.sum(), (~right).sum()
    target = np.where(right, (good + 1) / (good + 2), 1 / (bad + 2))

    def loss(w: np.ndarray) -> float:
        z = w[0] * odds + w[1]
        return float((np.logaddexp(0, z) - target * z).sum())

    best = minimize(loss, [1.0, 0.0]).x
    assert (slope, shift) == pytest.approx(best, abs=1e-3)
    assert (slope, shift) == pytest.approx((1.3, -0.7), abs=0.2)
