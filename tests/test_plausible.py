"""The prior over a day's minutes."""

import pytest

from ingest.check.plausible import plausible
from ingest.plan.challenge import make_challenge
from ingest.reading.values import Candidate

PLAN = make_challenge({"month": "2027-10"}, "test")


def box(*pairs: tuple[int | None, float]) -> tuple[Candidate, ...]:
    return tuple(Candidate(value, "" if value is None else str(value), p) for value, p in pairs)


def test_a_round_number_gains_where_the_ink_is_open() -> None:
    (first, second) = plausible(box((26, 0.5), (25, 0.5)), PLAN)
    assert (first.value, second.value) == (25, 26)
    assert first.probability == pytest.approx(10 / 11)


def test_clear_ink_outweighs_it() -> None:
    first, *_ = plausible(box((26, 0.995), (25, 0.005)), PLAN)
    assert first.value == 26
    assert first.probability > 0.95


def test_probability_moves_only_between_the_candidates() -> None:
    before = box((26, 0.5), (25, 0.3), (None, 0.1))
    assert sum(c.probability for c in plausible(before, PLAN)) == pytest.approx(0.9)
    (alone,) = plausible(box((137, 0.96)), PLAN)
    assert alone.probability == pytest.approx(0.96)


def test_more_than_is_possible_hardly_counts_against_what_is() -> None:
    first, second = plausible(box((455, 0.6), (45, 0.4)), PLAN)
    assert first.value == 45
    assert second.probability < 0.05


def test_seventy_five_where_fifteen_is_possible_is_doubted_and_where_it_is_not_stands() -> None:
    first, _ = plausible(box((75, 0.98), (15, 0.02)), PLAN)
    assert first.probability < 0.95
    (alone,) = plausible(box((75, 0.98)), PLAN)
    assert alone.probability == pytest.approx(0.98)


def test_a_box_without_probability_stays() -> None:
    assert plausible(box((20, 0.0)), PLAN) == box((20, 0.0))


def test_a_nought_gains_nothing_over_what_is_no_number() -> None:
    """The mouth on a round sticker looks like a dash."""
    sticker = (Candidate(0, "-", 0.6), Candidate(None, "?", 0.4))
    assert [c.probability for c in plausible(sticker, PLAN)] == pytest.approx([0.6, 0.4])
