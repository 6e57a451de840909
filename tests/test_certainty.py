"""Calibrated certainty."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize

from ingest.reading.certainty import SURE, Calibration, Clearness, Threshold, Tried, choose, threshold, tried
from ingest.training.calibrate import fit


def test_certainty_grows_with_the_chance_and_is_capped() -> None:
    calibration = Calibration(slope=1.5, shift=-0.5, most=0.9995)
    sure = [calibration.certainty("45", chance) for chance in np.linspace(0, 1, 201)]
    assert all(b >= a for a, b in pairwise(sure))
    assert 0 <= sure[0] < 0.01
    assert sure[-1] == 0.9995


def test_a_nine_is_trusted_less() -> None:
    shipped = Calibration.load()
    assert shipped.certainty("90", 0.998) < shipped.certainty("80", 0.998) - 0.01
    assert Calibration().certainty("90", 0.998) == Calibration().certainty("80", 0.998)


def test_the_shipped_calibration_can_reach_certainty() -> None:
    calibration = Calibration.load()
    assert calibration.certainty("45", 1.0) > threshold(2000).sure
    assert calibration.certainty("45", 0.5) < 0.9


def test_the_fit_is_the_most_probable_logistic() -> None:
    """Against scipy's general minimiser, on boxes whose true law is known."""
    rng = np.random.default_rng(3)
    odds = rng.normal(2, 2, 4000)
    right = rng.random(4000) < 1 / (1 + np.exp(-(1.3 * odds - 0.7)))
    slope, shift = fit(odds[:, None], right)
    good, bad = right.sum(), (~right).sum()
    target = np.where(right, (good + 1) / (good + 2), 1 / (bad + 2))

    def loss(w: np.ndarray) -> float:
        z = w[0] * odds + w[1]
        return float((np.logaddexp(0, z) - target * z).sum())

    best = minimize(loss, [1.0, 0.0]).x
    assert (slope, shift) == pytest.approx(best, abs=1e-3)
    assert (slope, shift) == pytest.approx((1.3, -0.7), abs=0.2)


# -- the threshold --------------------------------------------------------------------------------------

TABLE = (
    Tried(0.90, accepted=10_400, foreseen=20.0, wrong=16),
    Tried(0.96, accepted=10_200, foreseen=10.0, wrong=10),
    Tried(0.99, accepted=10_000, foreseen=4.0, wrong=5),
    Tried(0.999, accepted=9_000, foreseen=0.8, wrong=0),
    Tried(0.9999, accepted=2_000, foreseen=0.4, wrong=0),
)
TABLES = st.lists(
    st.builds(
        Tried, st.floats(0.5, 0.9999), st.integers(1, 20_000), st.floats(0, 50), st.integers(0, 50)
    ).filter(lambda row: row.wrong <= row.accepted),
    min_size=1,
    unique_by=lambda row: row.sure,
)
WISHES = st.integers(100, 1_000_000)


def test_what_is_expected_is_the_worse_of_foreseen_and_counted() -> None:
    assert Tried(0.99, accepted=10_000, foreseen=4.0, wrong=5).expected == pytest.approx(1 / 2000)
    assert Tried(0.99, accepted=10_000, foreseen=5.0, wrong=4).expected == pytest.approx(1 / 2000)


@pytest.mark.parametrize(
    ("wished", "sure"),
    [(195, 0.90), (196, 0.96), (382, 0.96), (383, 0.99), (750, 0.99), (751, 0.999), (4200, 0.999)],
)
def test_the_mildest_threshold_that_keeps_the_wish_with_a_margin_is_taken(wished: int, sure: float) -> None:
    chosen = choose(wished, TABLE)
    assert chosen.sure == sure
    assert chosen.is_kept
    assert choose(wished, TABLE[::-1]) == chosen


def test_a_wish_that_nothing_keeps_gets_the_best_there_is_and_says_so() -> None:
    chosen = choose(100_000, TABLE)
    assert chosen == Threshold(0.999, 100_000, TABLE[3])
    assert not chosen.is_kept
    assert not chosen.is_borne_out


def test_a_wish_beyond_what_was_counted_is_kept_at_best_but_never_borne_out() -> None:
    """How many boxes, all right, prove a rate at one-sided 95 %: 29,956 for 0.01 % (scipy)."""
    few, enough = Tried(0.99, 29_955, 0.1, 0), Tried(0.99, 29_956, 0.1, 0)
    assert choose(10_000, [few]).is_kept
    assert not choose(10_000, [few]).is_borne_out
    assert choose(10_000, [enough]).is_borne_out


def test_many_boxes_bear_out_no_wish_that_the_errors_among_them_deny() -> None:
    poor = choose(2000, [Tried(0.99, accepted=10_000, foreseen=20.0, wrong=20)])
    assert not poor.is_kept
    assert not poor.is_borne_out


def test_on_a_murky_chart_the_same_confidence_is_worth_less() -> None:
    plain, shipped = Clearness(), Clearness.load()
    assert plain.chance(0.97, 0.01) == pytest.approx(0.97)
    assert plain.chance(0.97, 0.3) == pytest.approx(0.97)
    assert shipped.chance(0.97, 0.006) > 0.99 > shipped.chance(0.97, 0.3)
    assert shipped.chance(0.99, 0.05) > shipped.chance(0.98, 0.05)
    assert shipped.chance(1.0, 0.006) == shipped.most < 1


@given(TABLES, WISHES, WISHES)
def test_a_stricter_wish_never_leads_to_a_milder_threshold(table: list[Tried], one: int, other: int) -> None:
    mild, strict = sorted((one, other))
    assert choose(mild, table).sure <= choose(strict, table).sure


def test_a_threshold_at_which_nothing_was_taken_shows_nothing() -> None:
    nothing = Tried(0.9, accepted=0, foreseen=0.0, wrong=0)
    assert choose(2000, [nothing, TABLE[2]]).sure == 0.99
    assert not choose(2000, [nothing]).is_kept


def test_a_calibration_that_tried_no_threshold_promises_nothing() -> None:
    chosen = choose(2000, tried({"slope": 1.0}))
    assert chosen.sure == SURE
    assert not chosen.is_kept
    assert not chosen.is_borne_out
    assert chosen.provable == 1


def test_the_shipped_calibration_gives_every_wish_a_threshold_that_it_tried() -> None:
    for wished in (100, 2000, 1_000_000):
        chosen = threshold(wished)
        assert 0.5 <= chosen.sure < 1
        assert chosen.tried is None or chosen.tried.sure == chosen.sure
