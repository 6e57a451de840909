import itertools
from collections.abc import Iterable
from dataclasses import replace
from datetime import date

import pandas as pd
import pytest
from books import answered, book, flagged, month_of, october, page_question, read, sheet, student
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.check.book import Settled, Sheet
from ingest.plan.challenge import Challenge
from ingest.tally.days import Range
from ingest.tally.standing import standings, unowned_pages
from ingest.tally.student import Tally, points_for, tallies, tally

ANA = student("S1")


def day(number: int) -> str:
    return f"day:2027-10-{number:02}"


# -- one student -----------------------------------------------------------------------------------


def test_a_full_month_counts_weekends_and_the_holiday_but_requires_neither() -> None:
    # 31 days; 21 weekdays and 10 weekend days (calendar), less the holiday
    assert date(2027, 10, 1).isoweekday() == 5
    full = tally(sheet(ANA, month_of(october(), 20)), october())
    assert (full.total_minutes, full.weekend_minutes) == (31 * 20, 10 * 20)
    assert (full.required_days, full.days_met, full.longest_streak) == (20, 20, 20)
    assert (full.met, full.points) == (True, 10.0)
    assert full.total_range.settled


def test_blank_and_zero_are_no_minutes() -> None:
    boxes = month_of(october(), None, d4=read(day(4), 0), d5=answered(day(5), None), d6=read(day(6), 15))
    figures = tally(sheet(ANA, boxes), october())
    assert (figures.total_minutes, figures.days_met, figures.met, figures.points) == (15, 1, False, 0.0)


def test_the_minimum_itself_is_enough() -> None:
    assert tally(sheet(ANA, month_of(october(), 15)), october()).met is True
    assert tally(sheet(ANA, month_of(october(), 14)), october()).met is False


def test_the_childs_own_totals_and_cells_outside_the_month_count_for_nothing() -> None:
    boxes = [
        *month_of(october(), 10),
        read("week:1", 999),
        read("month", 999),
        read("outside:2027-09-30", 50),
    ]
    assert tally(sheet(ANA, boxes), october()).total_minutes == 310


def test_the_cap_a_day_touches_only_the_counted_minutes() -> None:
    capped = october(counting={"counts_per_day": 60})
    figures = tally(sheet(ANA, month_of(capped, 50, d2=read(day(2), 200))), capped)
    assert (figures.total_minutes, figures.counted_minutes) == (30 * 50 + 200, 30 * 50 + 60)
    assert figures.weekend_minutes == 9 * 50 + 200  # the 2nd is a Saturday


def test_a_streak_runs_over_weekends_and_the_holiday_and_breaks_on_a_short_day() -> None:
    boxes = month_of(
        october(),
        15,
        d2=read(day(2), 0),
        d11=read(day(11), None),
        d20=read(day(20), 14),
        d22=read(day(22), None),
    )
    # required and met before the 20th: the 1st, 4th-8th, 12th-15th, 18th, 19th
    assert tally(sheet(ANA, boxes), october()).longest_streak == 1 + 5 + 4 + 2


def test_days_allowed_short() -> None:
    lenient = october(expectation={"required_days_allowed_short": 2})
    two_short = month_of(lenient, 15, d4=read(day(4), 0), d5=read(day(5), 0))
    three_short = month_of(lenient, 15, d4=read(day(4), 0), d5=read(day(5), 0), d6=read(day(6), 0))
    assert tally(sheet(ANA, two_short), lenient).met is True
    assert tally(sheet(ANA, three_short), lenient).met is False


def test_nobody_who_did_not_hand_in_has_met_or_missed_anything() -> None:
    missing = tally(sheet(ANA, [], pages=()), october())
    assert (missing.handed_in, missing.met, missing.points) == (False, None, None)


@pytest.mark.parametrize("rule", ["met", "share"])
def test_where_no_day_is_required_there_is_nothing_to_fall_short_of(rule: str) -> None:
    # a plan cannot say so today; the rule must not divide by zero if it ever can
    assert points_for(0, 0, october(grade={"rule": rule})) == 10


@pytest.mark.parametrize(
    ("points", "met", "required", "expected"),
    [
        (10, 20, 20, "10.00"),
        (10, 0, 20, "0.00"),
        (10, 2, 3, "6.67"),
        (10, 1, 3, "3.33"),
        (1, 1, 8, "0.13"),  # 0.125: half up, where Python's round() gives 0.12
        (0.2, 1, 8, "0.03"),  # 0.025
        (7.5, 19, 20, "7.13"),  # 7.125
    ],
)
def test_a_share_is_rounded_half_up(points: float, met: int, required: int, expected: str) -> None:
    plan = october(grade={"rule": "share", "points": points})
    assert str(points_for(met, required, plan)) == expected


# -- open boxes ------------------------------------------------------------------------------------


def test_an_open_box_adds_nothing_but_widens_what_is_possible() -> None:
    figures = tally(sheet(ANA, month_of(october(), 15, d4=flagged(day(4), 25))), october())
    assert (figures.total_minutes, figures.days_met) == (450, 19)
    assert figures.total_range == Range(450, 450 + 240)
    assert figures.days_met_range == Range(19, 20)
    assert (figures.met, figures.points, figures.open_flags) == (None, None, 1)


def test_an_open_weekend_box_leaves_the_verdict_standing() -> None:
    figures = tally(sheet(ANA, month_of(october(), 15, d2=flagged(day(2), 25))), october())
    assert (figures.met, figures.points, figures.open_flags) == (True, 10.0, 1)


def test_an_open_total_is_counted_as_open_and_changes_no_figure() -> None:
    figures = tally(sheet(ANA, [*month_of(october(), 15), flagged("week:2", 75)]), october())
    assert (figures.total_range.settled, figures.met, figures.open_flags) == (True, True, 1)


def test_a_box_flagged_as_hardly_possible_may_be_confirmed() -> None:
    figures = tally(sheet(ANA, month_of(october(), 15, d2=flagged(day(2), 300))), october())
    assert figures.total_range.highest == 450 + 24 * 60


def test_a_verdict_is_given_as_soon_as_open_boxes_cannot_change_it() -> None:
    boxes = month_of(october(), 15, d4=read(day(4), 0), d5=flagged(day(5), 15))
    assert tally(sheet(ANA, boxes), october()).met is False
    share = october(grade={"rule": "share"})
    undecided = tally(sheet(ANA, boxes), share)
    assert (undecided.met, undecided.points) == (False, None)  # 18 or 19 of 20


def test_a_page_to_be_confirmed_leaves_everything_open() -> None:
    late = page_question(7, student_id="S1", reason="late")
    figures, other = tallies(
        book(
            sheet(ANA, month_of(october(), 15)),
            sheet(student("S2"), month_of(october(), 15)),
            questions=[late],
        ),
        october(),
    )
    assert (figures.met, figures.points, figures.open_flags) == (None, None, 1)
    assert figures.total_minutes == 465
    assert figures.total_range == Range(0, 31 * 240)
    assert (other.met, other.open_flags) == (True, 0)
    # even where any number of days would do: without the page there is no chart to judge
    lenient = october(expectation={"required_days_allowed_short": 31})
    assert tally(sheet(ANA, month_of(lenient, 15)), lenient, open_pages=1).met is None


def test_a_page_that_seems_to_be_a_missing_students_is_an_open_flag_of_theirs() -> None:
    guess = page_question(7, suggestion="S1")
    (figures,) = tallies(book(sheet(ANA, [], pages=()), questions=[guess]), october())
    assert (figures.handed_in, figures.open_flags) == (False, 1)


SMALL = st.integers(0, 4)  # minutes; the challenge below allows 3 a day


@settings(max_examples=60, deadline=None)
@given(
    settled=st.lists(SMALL, min_size=4, max_size=4),
    open_days=st.sets(st.integers(0, 3), max_size=3),
    cap=st.integers(0, 3),
    minimum=st.integers(1, 3),
    short=st.integers(0, 2),
    rule=st.sampled_from(["met", "share"]),
)
def test_bounds_are_what_trying_every_answer_gives(
    settled: list[int], open_days: set[int], cap: int, minimum: int, short: int, rule: str
) -> None:
    # four days with boxes, so that all answers can be tried; the 1st (Fri) and the 4th (Mon) are required
    plan = october(
        days={"minimum_minutes": minimum, "required": ["mon", "fri"], "no_school": _all_but((1, 2, 4, 5))},
        counting={"most_per_day": 3, "counts_per_day": cap},
        expectation={"required_days_allowed_short": short},
        grade={"rule": rule},
    )
    numbers = (1, 2, 4, 5)

    def with_open(values: dict[int, Settled]) -> Sheet:
        return sheet(ANA, [values.get(i, read(day(number), settled[i])) for i, number in enumerate(numbers)])

    left_open = tally(with_open({i: flagged(day(numbers[i]), 1) for i in open_days}), plan)
    filled = [
        tally(
            with_open({i: answered(day(numbers[i]), v) for i, v in zip(open_days, values, strict=True)}), plan
        )
        for values in itertools.product(range(4), repeat=len(open_days))
    ]
    assert left_open.total_range == _range(each.total_minutes for each in filled)
    assert left_open.counted_range == _range(each.counted_minutes for each in filled)
    assert left_open.days_met_range == _range(each.days_met for each in filled)
    assert left_open.streak_range == _range(each.longest_streak for each in filled)
    assert left_open.met == _only({each.met for each in filled})
    assert left_open.points == _only({each.points for each in filled})


def _all_but(numbers: tuple[int, ...]) -> list[str]:
    return [f"2027-10-{n:02}" for n in range(1, 32) if n not in numbers]


def _range(values: Iterable[int]) -> Range:
    numbers = list(values)
    return Range(min(numbers), max(numbers))


def _only(values: set[object]) -> object:
    return next(iter(values)) if len(values) == 1 else None


# -- places ----------------------------------------------------------------------------------------


def with_minutes(minutes: list[int | tuple[int, int] | None], plan: Challenge) -> list[Tally]:
    """Tallies with those counted minutes; a pair is a range, None has not handed in."""
    blank = tally(sheet(ANA, month_of(plan, 0)), plan)
    made = []
    for number, value in enumerate(minutes):
        least, most = value if isinstance(value, tuple) else (value or 0, value or 0)
        made.append(
            replace(
                blank,
                student=student(f"S{number}"),
                handed_in=value is not None,
                counted_minutes=least,
                counted_range=Range(least, most),
            )
        )
    return made


def places(minutes: list[int | tuple[int, int] | None], strangers: int = 0) -> list[int | None]:
    found = standings(with_minutes(minutes, october()), october(), strangers)
    return [found[f"S{n}"].place if f"S{n}" in found else None for n in range(len(minutes))]


@pytest.mark.parametrize(
    ("minutes", "expected"),
    [
        ([120, 95, 95, 60], [1, 2, 2, 4]),  # standard competition ranking, "1224"
        ([90, 90, 85, 85, 85, 70, 0], [1, 1, 3, 3, 3, 6, 7]),  # pandas Series.rank(method="min")
        ([50, None, 40, 50], [1, None, 3, 1]),  # pandas leaves missing values unranked
        ([0, 0], [1, 1]),
        ([], []),
    ],
)
def test_ties_share_the_better_place(minutes: list[int | None], expected: list[int | None]) -> None:
    assert places(list(minutes)) == expected


@given(st.lists(st.none() | st.integers(0, 12), min_size=1, max_size=30))
def test_places_are_those_of_pandas(minutes: list[int | None]) -> None:
    ranked = pd.Series(minutes, dtype="Int64").rank(ascending=False, method="min")
    assert places(list(minutes)) == [None if pd.isna(place) else int(place) for place in ranked]


def test_a_place_is_withheld_only_where_an_open_box_could_change_it() -> None:
    # the second could still reach or pass the first, but nobody can reach the third from below
    assert places([300, (200, 440), 100, 90]) == [None, None, 3, 4]
    assert places([300, (200, 300), 100]) == [
        1,
        None,
        3,
    ]  # a tie at the most: still first, but second or first
    assert places([300, (200, 299), 100]) == [1, 2, 3]


@given(
    st.lists(
        st.tuples(st.integers(0, 4), st.integers(0, 4)).map(lambda pair: (min(pair), max(pair))),
        min_size=1,
        max_size=4,
    )
)
@settings(max_examples=60, deadline=None)
def test_standings_are_what_trying_every_value_gives(ranges: list[tuple[int, int]]) -> None:
    found = standings(with_minutes(list(ranges), october()), october())
    tried = [
        [1 + sum(other > own for other in values) for own in values]
        for values in itertools.product(*(range(least, most + 1) for least, most in ranges))
    ]
    for number in range(len(ranges)):
        standing = found[f"S{number}"]
        possible = {each[number] for each in tried}
        assert (standing.best, standing.worst) == (min(possible), max(possible))
        assert standing.place == (next(iter(possible)) if len(possible) == 1 else None)


def test_a_page_that_may_be_anybodys_keeps_every_reachable_place_open() -> None:
    assert places([300, 200], strangers=1) == [None, None]
    assert places([31 * 240, 200], strangers=1) == [1, None]  # more than a month's most is out of reach
    assert unowned_pages(book(questions=[page_question(1), page_question(2, student_id="S1")])) == 1


def test_a_student_whose_page_must_be_confirmed_has_no_place_yet() -> None:
    only = with_minutes([300], october())
    found = standings([replace(only[0], open_pages=1)], october())
    assert found["S0"].place is None


def test_places_within_the_section() -> None:
    plan = october(prizes={"across": "section"})
    grade = with_minutes([300, 200, 100, 50], plan)
    sections = ["Flutes", "Horns", "Flutes", "Horns"]
    split = [
        replace(each, student=student(each.student.id, section))
        for each, section in zip(grade, sections, strict=True)
    ]
    assert [standings(split, plan)[f"S{n}"].place for n in range(4)] == [1, 1, 2, 2]
    assert [standings(split, october())[f"S{n}"].place for n in range(4)] == [1, 2, 3, 4]
