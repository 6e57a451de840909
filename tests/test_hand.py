"""Signs that a hand writes alike."""

import math

import pytest

from ingest.check.hand import HABIT, ODDS, UNNAMED, Habit, by_habit, chances_of, habits, mixed
from ingest.check.sums import Candidates
from ingest.reading.values import Candidate

FOUR = Habit(meant="4", read="9")


def box(**texts: float) -> Candidates:
    """`t95=0.9`; what is no number by `none`."""
    found = []
    for key, chance in texts.items():
        text = key.removeprefix("t")
        minutes = int(text.removesuffix("min")) if text[0].isdigit() else None
        found.append(Candidate(minutes, text if minutes is not None else "?", chance))
    return tuple(found)


def chances(found: Candidates) -> dict[str, float]:
    return {c.text: c.probability for c in found}


def test_a_habit_is_one_sign_for_another_and_the_likeliest_come_first() -> None:
    chart = [box(t95=0.97, t45=0.002), box(t590=0.9, t540=0.01), box(t15=0.7, t75=0.2)]
    assert habits(chart) == [Habit("7", "1"), Habit("4", "9")]


@pytest.mark.parametrize("other", ["t1", "t115", "t51", "t15min", "none"])
def test_other_lengths_and_two_signs_are_no_habit(other: str) -> None:
    assert habits([box(t15=0.9, **{other: 0.05})]) == []


def test_what_the_reader_hardly_names_is_none_either() -> None:
    assert habits([box(t95=0.999, t45=1e-4)]) == []


def test_by_a_habit_probability_moves_between_texts_that_differ_in_the_two_signs() -> None:
    found = chances(by_habit(box(t95=0.9, t45=0.002, t85=0.05, none=0.04), FOUR))
    assert found["45"] / found["95"] == pytest.approx(0.002 / 0.9 * ODDS)
    assert found["45"] + found["95"] == pytest.approx(0.902)
    assert (found["85"], found["?"]) == pytest.approx((0.05, 0.04))


def test_a_text_that_the_reader_does_not_name_is_reckoned_with() -> None:
    found = by_habit(box(t90min=0.98), FOUR)
    (meant,) = [c for c in found if c.text == "40min"]
    assert meant.value == 40
    assert meant.probability == pytest.approx(0.98 * UNNAMED * ODDS / (1 + UNNAMED * ODDS))
    assert sum(c.probability for c in found) == pytest.approx(0.98)
    assert set(chances(by_habit(box(t99=0.9), FOUR))) == {"99", "49", "94", "44"}


def test_what_is_typed_or_blank_has_no_hand() -> None:
    for certain in ((Candidate(95, "95", 1.0, typed=True),), (Candidate(None, "", 0.99),)):
        assert by_habit(certain, FOUR) == certain


def test_a_habit_is_believed_by_how_much_better_the_sums_come_out() -> None:
    assert chances_of([-3.0]) == [1.0]
    assert chances_of([-3.0, -3.0, -9.0]) == [1.0, 0.0, 0.0]
    none, one = chances_of([-3.0, -3.0 + math.log(1 + 1 / HABIT)])
    assert (none, one) == pytest.approx((0.5, 0.5))
    assert chances_of([-700.0, 0.0])[1] == pytest.approx(1)  # nothing overflows


def test_views_are_mixed_by_their_chances() -> None:
    found = mixed([0.75, 0.25], [box(t95=0.9, t45=0.1), box(t45=0.8, t95=0.1)])
    assert chances(found) == pytest.approx({"95": 0.7, "45": 0.275})
    assert list(chances(found)) == ["95", "45"]
