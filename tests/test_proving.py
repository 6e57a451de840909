"""The proving ground's own rulers, against published and foreign figures."""

import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binomtest

sys.path.insert(0, str(Path(__file__).parent / "bench"))  # for proving

from proving.cases import plan_of
from proving.figures import bounds, calibration_error, reliability, risk_against_coverage
from proving.verdicts import Chain, Outcome, judge_boxes

from ingest.demo.diary import Diary
from ingest.demo.fill import LINE, Entry, Mishap
from ingest.reading.values import BoxReading, Candidate


@pytest.mark.parametrize(("hits", "of"), [(0, 30), (1, 600), (6, 9000), (17, 17)])
def test_bounds_are_those_of_another_library(hits: int, of: int) -> None:
    """scipy.stats.binomtest, method "exact": Clopper and Pearson 1934."""
    other = binomtest(hits, of).proportion_ci(0.95, method="exact")
    assert bounds(hits, of) == pytest.approx((other.low, other.high), abs=1e-9)


@pytest.mark.parametrize(("bins", "error"), [(10, 0.258), (15, 0.278)])
def test_the_calibration_error_is_that_of_the_worked_example(bins: int, error: float) -> None:
    """Guo et al. 2017, equation 3, worked by hand: bins open on the left."""
    sure, right = [0.95, 0.92, 0.85, 0.65, 0.62], [True, False, True, True, False]
    assert calibration_error(sure, right, bins) == pytest.approx(error, abs=5e-4)


def test_eight_of_ten_at_nine_tenths_are_a_tenth_off() -> None:
    assert calibration_error([0.9] * 10, [True] * 8 + [False] * 2) == pytest.approx(0.1)


def test_every_answer_is_in_one_bin() -> None:
    sure = np.linspace(0, 1, 101)
    assert sum(each.count for each in reliability(sure.tolist(), [True] * 101)) == 101
    (edge,) = reliability([0.5], [True], [0.0, 0.5, 1.0])
    assert (edge.low, edge.high) == (0.0, 0.5)  # open on the left, closed on the right


def test_risk_counts_the_surest_first_and_coverage_those_without_a_guess() -> None:
    coverage, risk = risk_against_coverage([0.5, 0.9, 0.8], [False, True, True], 4)
    assert coverage.tolist() == [0.25, 0.5, 0.75]
    assert risk.tolist() == [0.0, 0.0, pytest.approx(1 / 3)]


# -- verdicts

PLAN = plan_of(0)  # January 2026: day 1 is a Thursday
FIRST, SECOND, THIRD, FOURTH = (f"day:2026-01-{day:02}" for day in (1, 2, 3, 4))


def said(box: str, value: int | None, sure: float, text: str | None = None) -> BoxReading:
    words = text if text is not None else "" if value is None else str(value)
    return BoxReading(box, (Candidate(value, words, sure),), 0.01)


def test_accepted_is_right_or_wrong_and_asked_is_neither() -> None:
    diary = Diary(
        {
            FIRST: Entry("20"),
            SECOND: Entry("20"),
            THIRD: Entry("-"),
            FOURTH: Entry("", Mishap.STRUCK_OUT, "15"),
        },
        {FIRST: 20, SECOND: 20, THIRD: 0, FOURTH: None},
        frozenset({FOURTH}),
    )
    readings = [
        said(FIRST, 20, 0.999),
        said(SECOND, 25, 0.999),
        said(THIRD, None, 0.999),
        said(FOURTH, 15, 0.7),
    ]
    found = {v.box: v for v in judge_boxes(PLAN, diary, readings)[Chain.INK]}
    assert found[FIRST].outcome is Outcome.RIGHT
    assert (found[SECOND].outcome, found[SECOND].changes_minutes) == (Outcome.WRONG, True)
    assert (found[THIRD].outcome, found[THIRD].changes_minutes) == (Outcome.WRONG, False)  # blank for a dash
    assert found[FOURTH].outcome is Outcome.FLAGGED


@pytest.mark.parametrize(
    ("value", "outcome"), [(None, Outcome.RIGHT), (0, Outcome.RIGHT), (1, Outcome.WRONG)]
)
def test_a_line_through_a_day_is_nothing_or_a_dash(value: int | None, outcome: Outcome) -> None:
    diary = Diary({FIRST: Entry("", drawing=LINE), SECOND: Entry("20")}, {FIRST: None, SECOND: 20})
    readings = [said(FIRST, value, 0.9999), said(SECOND, 20, 0.9999)]
    assert judge_boxes(PLAN, diary, readings)[Chain.INK][0].outcome is outcome


@pytest.mark.parametrize("value", [15, None])
def test_what_is_no_number_must_be_asked_whatever_it_is_read_as(value: int | None) -> None:
    entries = {FIRST: Entry("", Mishap.STRUCK_OUT, "15"), SECOND: Entry("20")}
    diary = Diary(entries, {FIRST: None, SECOND: 20}, frozenset({FIRST}))
    readings = [said(FIRST, value, 0.9999), said(SECOND, 20, 0.9999)]
    verdict, _ = judge_boxes(PLAN, diary, readings)[Chain.INK]
    assert verdict.outcome is Outcome.WRONG
    assert not verdict.is_right_guess


def test_a_page_placed_badly_is_trusted_less_where_the_page_counts() -> None:
    diary = Diary({FIRST: Entry("20")}, {FIRST: 20})
    found = judge_boxes(PLAN, diary, [said(FIRST, 20, 0.999)], residual_mm=1.5)
    outcomes = {chain: verdicts[0].outcome for chain, verdicts in found.items()}
    assert outcomes[Chain.INK] is Outcome.RIGHT
    assert outcomes[Chain.PAGE] is outcomes[Chain.CHART] is Outcome.FLAGGED


def test_a_chart_without_writing_is_asked_about_not_taken() -> None:
    diary = Diary({FIRST: Entry("20"), SECOND: Entry("")}, {FIRST: 20, SECOND: None})
    for verdicts in judge_boxes(PLAN, diary, [said(FIRST, None, 0.999), said(SECOND, None, 0.999)]).values():
        assert {verdict.outcome for verdict in verdicts} == {Outcome.FLAGGED}
