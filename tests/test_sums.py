"""The chart read as a whole: against going through every possible chart, and in what a teacher meets."""

import itertools
import math
from collections.abc import Iterator
from unittest.mock import patch

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from ingest.check import sums
from ingest.check.sums import Candidates, Sums, Week, Weighed, weigh
from ingest.reading.values import Candidate

MOST = 2  # minutes a day, small enough that every possible chart can be gone through


def says(*pairs: tuple[int | str | None, float]) -> Candidates:
    """Numbers; None for blank; "?" for something that is no number."""
    return tuple(
        Candidate(value, str(value), p) if isinstance(value, int) else Candidate(None, value or "", p)
        for value, p in pairs
    )


# -- the ruler: every possible chart, one after another -----------------------------------------------


def possible(box: Candidates, values: range, is_day: bool) -> Iterator[tuple[int | None, int | None, float]]:
    """(which candidate, what it says, probability); the left-over spreads over `values`."""
    for i, candidate in enumerate(box):
        if candidate.text == "?" and is_day:
            yield i, 0, sums.NOTHING * candidate.probability
            for value in values:
                yield i, value, (1 - sums.NOTHING) * candidate.probability / len(values)
        else:
            yield i, candidate.value, candidate.probability
    left = 1 - sum(c.probability for c in box)
    for value in values:
        yield None, value, left / len(values)


def written(value: int, true: int, top: int, slips: float) -> float:
    """P(the child writes `value` | the true sum), as `sums` describes it."""
    near = 1 / (2 * sums.NEAR) if 1 <= abs(value - true) <= sums.NEAR else 0.0
    carry = 1 / (2 * len(sums.CARRIES)) if abs(value - true) in sums.CARRIES else 0.0
    kinds = zip(sums.KINDS, (carry, near, 1 / (top + 1)), strict=True)
    return (1 - slips) * (value == true) + slips * sum(share * chance for share, chance in kinds)


def enumerated(chart: Sums, slips: float) -> Weighed:
    day_values = range(MOST + 1)
    tops = [MOST * len(week.days) for week in chart.weeks]
    top_month = sum(tops)
    boxes: list[Candidates] = []
    ranges = []
    are_days: list[bool] = []
    for week, top in zip(chart.weeks, tops, strict=True):
        boxes += [*week.days, week.total]
        ranges += [day_values] * len(week.days) + [range(top + 1)]
        are_days += [True] * len(week.days) + [False]
    boxes.append(chart.month)
    ranges.append(range(top_month + 1))
    are_days.append(False)

    weight: list[list[float]] = [[0.0] * len(box) for box in boxes]
    whole = 0.0
    choices = [
        list(possible(box, values, is_day)) if box else [(None, None, 1.0)]
        for box, values, is_day in zip(boxes, ranges, are_days, strict=True)
    ]
    for chosen in itertools.product(*choices):
        p = 1.0
        at = 0
        days_sum = weeks_sum = 0
        for week, top in zip(chart.weeks, tops, strict=True):
            true = sum(value or 0 for _, value, _ in chosen[at : at + len(week.days)])
            at += len(week.days)
            total = chosen[at][1]
            at += 1
            if total is not None:
                p *= written(total, true, top, slips) * (top + 1)
            days_sum += true
            weeks_sum += true if total is None else total
        month = chosen[at][1]
        if month is not None:
            by_days = written(month, days_sum, top_month, slips)
            by_weeks = (1 - slips) * (month == weeks_sum) - (1 - slips) * (month == days_sum)
            p *= (by_days + by_weeks / 2) * (top_month + 1)
        for _, _, probability in chosen:
            p *= probability
        whole += p
        for weights, (which, _, _) in zip(weight, chosen, strict=True):
            if which is not None:
                weights[which] += p
    new = [
        tuple(Candidate(c.value, c.text, w / whole) for c, w in zip(box, weights, strict=True))
        for box, weights in zip(boxes, weight, strict=True)
    ]
    weeks = []
    at = 0
    for week in chart.weeks:
        weeks.append(Week(new[at : at + len(week.days)], new[at + len(week.days)]))
        at += len(week.days) + 1
    return Weighed(Sums(weeks, new[at]), math.log(whole))


def flat(chart: Sums) -> list[dict[str, float]]:
    boxes = [box for week in chart.weeks for box in (*week.days, week.total)] + [chart.month]
    return [{c.text: c.probability for c in box} for box in boxes]


def is_silent(box: Candidates) -> bool:
    return not box or (box[0].text == "" and box[0].probability == 1)


def same(left: Sums, right: Sums) -> bool:
    return all(a == pytest.approx(b, abs=1e-9) for a, b in zip(flat(left), flat(right), strict=True))


# -- exactness ----------------------------------------------------------------------------------------


def boxes(values: range) -> st.SearchStrategy[Candidates]:
    def normal(pairs: list[tuple[int | str | None, int]]) -> Candidates:
        left = 1 + sum(weight for _, weight in pairs)
        return says(*((value, w / left) for value, w in sorted(pairs, key=lambda pair: -pair[1])))

    said = st.one_of(st.none(), st.just("?"), st.sampled_from(values))
    pairs = st.tuples(said, st.integers(1, 200))
    return st.lists(pairs, min_size=1, max_size=2, unique_by=lambda pair: pair[0]).map(normal)


days = boxes(range(MOST + 1))
charts = st.builds(
    Sums,
    st.tuples(
        st.builds(Week, st.tuples(days, days), st.one_of(st.just(()), boxes(range(2 * MOST + 1)))),
        st.builds(Week, st.tuples(days), st.one_of(st.just(()), boxes(range(MOST + 1)))),
    ),
    st.one_of(st.just(()), boxes(range(3 * MOST + 1))),
)


@settings(max_examples=40, deadline=None, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@given(charts, st.sampled_from([0.05, 0.3]), st.sampled_from([1, 60]), st.sampled_from([(1, 2), (10, 100)]))
def test_every_probability_is_that_of_going_through_all_possible_charts(
    chart: Sums, slips: float, near: int, carries: tuple[int, ...]
) -> None:
    with patch.object(sums, "NEAR", near), patch.object(sums, "CARRIES", carries):
        weighed, ruler = weigh(chart, MOST, slips), enumerated(chart, slips)
    assert same(weighed.sums, ruler.sums)
    if not all(is_silent(box) for box in (*(week.total for week in chart.weeks), chart.month)):
        assert weighed.evidence == pytest.approx(ruler.evidence, abs=1e-9)


def test_the_ruler_tells_two_rates_of_slips_apart() -> None:
    chart = Sums([Week([says((1, 0.6), (3, 0.3)), says((2, 0.9))], says((5, 0.9)))])
    assert not same(weigh(chart, MOST, 0.05).sums, enumerated(chart, 0.3).sums)


@settings(max_examples=50, deadline=None)
@given(charts)
def test_probabilities_stay_probabilities_most_probable_first(chart: Sums) -> None:
    result = weigh(chart, MOST).sums
    for box in [b for week in result.weeks for b in (*week.days, week.total)] + [result.month]:
        shares = [c.probability for c in box]
        assert all(0 <= share <= 1 + 1e-12 for share in shares)
        assert sum(shares) <= 1 + 1e-9
        assert shares == sorted(shares, reverse=True)


# -- what a teacher meets -----------------------------------------------------------------------------

MOST_PER_DAY = 240
MINUTES = (15, 20, 30, 15, 0, 25, None)  # 105


def sure(value: int | None, p: float = 0.9999) -> Candidates:
    return says((value, p))


def month_of(*weeks: Week, total: int | None = None) -> Sums:
    """Those weeks and three plain ones; the month's box says the true total unless told otherwise."""
    plain = Week([sure(m) for m in MINUTES], sure(105))
    return Sums([*weeks, plain, plain, plain], sure(105 * (3 + len(weeks)) if total is None else total))


def test_a_sum_that_agrees_settles_an_unsure_day() -> None:
    unsure = says((75, 0.5), (15, 0.45))
    result = weigh(month_of(Week([unsure, *map(sure, MINUTES[1:])], sure(105))), MOST_PER_DAY).sums
    best, other = result.weeks[0].days[0]
    assert best.value == 15
    assert best.probability > 0.999
    assert other.probability < 0.001


def test_a_sum_that_agrees_makes_sure_days_surer() -> None:
    week = Week([sure(m, 0.99) for m in MINUTES], sure(105))
    result = weigh(month_of(week), MOST_PER_DAY).sums
    assert all(box[0].probability > 0.999 for box in result.weeks[0].days)


def test_a_confident_misreading_is_exposed_when_week_and_month_disagree_with_it() -> None:
    misread = says((75, 0.999), (15, 0.0009))
    result = weigh(month_of(Week([misread, *map(sure, MINUTES[1:])], sure(105))), MOST_PER_DAY).sums
    best, other = result.weeks[0].days[0]
    assert (best.value, other.value) == (15, 75)
    assert other.probability < 0.2  # it was 0.999; a person will be asked


@pytest.mark.parametrize("slip", [-10, -1, 1, 30])
def test_a_child_who_adds_wrongly_does_not_change_sure_days(slip: int) -> None:
    week = Week([sure(m) for m in MINUTES], sure(105 + slip))
    for month in (420, 420 + slip):  # the month's total may repeat the slip or not
        result = weigh(month_of(week, total=month), MOST_PER_DAY).sums
        for minutes, box in zip(MINUTES, result.weeks[0].days, strict=True):
            assert box[0].value == minutes
            assert box[0].probability > 0.995


def test_a_misread_total_is_put_right_by_its_days() -> None:
    week = Week([sure(m) for m in MINUTES], says((165, 0.9), (105, 0.08)))
    total = weigh(month_of(week), MOST_PER_DAY).sums.weeks[0].total
    assert total[0].value == 105
    assert total[0].probability > 0.995


def test_the_month_may_add_the_weeks_as_written() -> None:
    """A week added wrongly, and the slip carried on: the month's 415 is no reason for doubt."""
    week = Week([sure(m) for m in MINUTES], sure(100))
    month = weigh(month_of(week, total=415), MOST_PER_DAY).sums.month
    assert month[0].probability > 0.9999


def test_blank_totals_say_nothing() -> None:
    week = Week([says((15, 0.7), (75, 0.2)), sure(20)], says((None, 1.0)))
    chart = Sums([week], says((None, 1.0)))
    assert weigh(chart, MOST_PER_DAY).sums == chart


def test_a_total_that_is_probably_blank_says_next_to_nothing() -> None:
    week = Week([says((15, 0.7), (75, 0.2)), sure(20)], says((None, 0.9999)))
    result = weigh(Sums([week]), MOST_PER_DAY).sums.weeks[0]
    assert result.days[0][0].probability == pytest.approx(0.7, abs=1e-3)
    assert result.total[0].probability == pytest.approx(0.9999, abs=1e-4)


def test_a_value_that_only_the_sums_suggest_is_not_brought_in() -> None:
    """The week's total wants 45, the ink says nothing of the kind: the box stays unsure."""
    scrawl = says((None, 0.2), (1, 0.1))
    result = weigh(month_of(Week([scrawl, *map(sure, MINUTES[1:])], sure(135)), total=450), MOST_PER_DAY).sums
    assert sum(c.probability for c in result.weeks[0].days[0]) < 0.1


def test_something_that_is_no_number_takes_part_as_an_unknown() -> None:
    mark = (Candidate(None, "?", 0.99),)
    result = weigh(month_of(Week([mark, *map(sure, MINUTES[1:])], sure(135)), total=450), MOST_PER_DAY).sums
    assert result.weeks[0].days[0][0].probability > 0.98
    assert all(box[0].probability > 0.999 for box in result.weeks[0].days[1:])


def test_a_week_that_adds_up_without_it_does_not_prove_a_sticker_to_be_a_nought() -> None:
    sticker = says(("?", 0.5), (0, 0.4))
    result = weigh(month_of(Week([sticker, *map(sure, MINUTES[1:])], sure(90)), total=405), MOST_PER_DAY).sums
    by_text = {c.text: c.probability for c in result.weeks[0].days[0]}
    assert by_text["?"] > 0.3
    assert by_text["0"] < 0.7


def test_a_total_that_is_a_hundred_off_throws_no_doubt_on_sure_days() -> None:
    week = Week([*(sure(m, 0.9985) for m in MINUTES)], sure(205, 0.9965))
    result = weigh(month_of(week, total=520), MOST_PER_DAY).sums
    assert all(box[0].probability > 0.99 for box in result.weeks[0].days)


@pytest.mark.parametrize("value", [241, 1440, 1441, 99999])
def test_values_beyond_the_possible_do_no_harm(value: int) -> None:
    week = Week([sure(value), *map(sure, MINUTES[1:])], sure(value + 90))
    result = weigh(month_of(week), MOST_PER_DAY).sums
    assert result.weeks[0].days[0][0].value == value
    assert all(box[0].value == m for m, box in zip(MINUTES[1:], result.weeks[0].days[1:], strict=True))


def test_weeks_may_have_any_number_of_days() -> None:
    lengths = (1, 7, 7, 7, 7, 2)
    weeks = [Week([sure(20)] * n, sure(20 * n)) for n in lengths]
    result = weigh(Sums(weeks, sure(20 * sum(lengths))), MOST_PER_DAY).sums
    assert [len(week.days) for week in result.weeks] == list(lengths)
    assert all(box[0].probability > 0.9999 for week in result.weeks for box in week.days)
