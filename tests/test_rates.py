"""Bounds against published values and an independent library; rates as people write them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from ingest.rates import one_in, parse_one_in, upper_bound

TWO_SIDED = 0.975  # the upper end of a two-sided 95 % interval leaves out 2.5 %

# Newcombe, "Two-sided confidence intervals for the single proportion", Statistics in Medicine 17:857-872,
# 1998, table I: upper ends of the Clopper-Pearson intervals.
NEWCOMBE = [(81, 263, 0.3676), (15, 148, 0.1617), (0, 20, 0.1684), (1, 29, 0.1776)]


@pytest.mark.parametrize(("wrong", "of", "upper"), NEWCOMBE)
def test_newcombes_worked_examples(wrong: int, of: int, upper: float) -> None:
    assert upper_bound(wrong, of, TWO_SIDED) == pytest.approx(upper, abs=5e-5)


@pytest.mark.parametrize(("wrong", "per_thousand"), [(2, 24.113), (1, 18.616)])
def test_published_bounds_of_typed_fields(wrong: int, per_thousand: float) -> None:
    """Paulsen, Overgaard & Lauritsen, PLoS ONE 7(4):e35087, 2012: of 297 hand-written number fields."""
    assert upper_bound(wrong, 297, TWO_SIDED) == pytest.approx(per_thousand / 1000, abs=5e-7)


@pytest.mark.parametrize("of", [30, 100, 300, 1000, 3000])
def test_the_rule_of_three(of: int) -> None:
    """Hanley & Lippman-Hand, JAMA 249:1743-1745, 1983: nothing in n, so under 3/n; exactly 1 - 0.05^(1/n)."""
    assert upper_bound(0, of) == pytest.approx(1 - 0.05 ** (1 / of), rel=1e-12)
    assert 0.95 * 3 / of < upper_bound(0, of) < 3 / of


def test_none_wrong_of_1500_is_under_1_in_500() -> None:
    """The published example of the rule of three."""
    assert one_in(upper_bound(0, 1500)) == "1 in 500"


@given(st.integers(1, 3000).flatmap(lambda of: st.tuples(st.integers(0, min(of, 60)), st.just(of))))
def test_scipy_comes_to_the_same_bound(counted: tuple[int, int]) -> None:
    wrong, of = counted
    upper = binomtest(wrong, of, alternative="less").proportion_ci(0.95, "exact").high
    assert upper_bound(wrong, of) == pytest.approx(upper, rel=1e-9)


def test_of_nothing_anything_may_be_wrong() -> None:
    assert upper_bound(0, 0) == 1
    assert upper_bound(7, 7) == 1


@pytest.mark.parametrize(("wrong", "of"), [(-1, 5), (6, 5)])
def test_a_count_that_cannot_be_is_refused(wrong: int, of: int) -> None:
    with pytest.raises(ValueError, match="no bound"):
        upper_bound(wrong, of)


@pytest.mark.parametrize(
    ("rate", "words"),
    [
        (1, "1 in 1"),
        (0.0368, "1 in 27"),
        (1 / 129, "1 in 120"),
        (0.0005, "1 in 2,000"),
        (1 / 12_345, "1 in 12,000"),
    ],
)
def test_a_rate_in_words_is_short_and_never_too_good(rate: float, words: str) -> None:
    assert one_in(rate) == words
    assert 1 / parse_one_in(words) >= rate


@pytest.mark.parametrize(
    ("text", "many"),
    [
        ("1 in 2000", 2000),
        ("1 in 20,000", 20_000),
        ("  1  in  20 000 ", 20_000),
        ("1 in 20.000", 20_000),  # as in Spanish
        ("One in 1,000,000", 1_000_000),
        ("1:2000", 2000),
        ("1/2000", 2000),
        ("0.05 %", 2000),
        ("0,05%", 2000),
        ("0.3 percent", 333),
    ],
)
def test_usual_spellings_of_a_rate(text: str, many: int) -> None:
    assert parse_one_in(text) == many


@pytest.mark.parametrize(
    "text",
    ["", "2000", "2 in 2000", "1 in", "1 in 0", "1 in 20,00", "1 in 1,000.000", "1 in ²", "0 %", "low"],
)
def test_what_is_no_rate(text: str) -> None:
    with pytest.raises(ValueError, match="no rate"):
        parse_one_in(text)
