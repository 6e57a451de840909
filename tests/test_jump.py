from datetime import date

import pytest
from books import flagged, month_of, october, read, sheet, student
from hypothesis import given
from hypothesis import strategies as st

from ingest.check.book import Settled
from ingest.tally.jump import Jump, jumps

PLAN = october()


def found(minutes: int, **days: int | Settled) -> tuple[Jump, ...]:
    """A month of so many minutes a day, but for some days: `d5=120`."""
    boxes = {
        name: read(f"day:2027-10-{int(name[1:]):02}", value) if isinstance(value, int) else value
        for name, value in days.items()
    }
    return jumps(sheet(student("S1"), month_of(PLAN, minutes, **boxes)), PLAN)


def test_one_huge_day_stands_out_and_says_why_without_accusing() -> None:
    (jump,) = found(20, d16=150)
    assert jump == Jump(date(2027, 10, 16), date(2027, 10, 16), 150, 20)
    assert jump.reason == "Saturday 16 October has 150 minutes; the other days with practice have 20 or so."


@given(st.integers(0, 240))
def test_the_same_number_every_day_is_no_jump(minutes: int) -> None:
    assert found(minutes) == ()


@given(st.integers(0, 31), st.integers(1, 240))
def test_nor_is_the_same_number_on_every_day_with_practice(days: int, minutes: int) -> None:
    boxes = [read(f"day:2027-10-{n:02}", minutes if n % 7 in (1, 3) else None) for n in range(1, days + 1)]
    assert jumps(sheet(student("S1"), boxes), PLAN) == ()


@pytest.mark.parametrize("minutes", [59, 60])
def test_under_an_hour_no_day_stands_out(minutes: int) -> None:
    assert len(found(10, d16=minutes)) == (minutes >= 60)


@pytest.mark.parametrize("minutes", [89, 90])
def test_a_day_must_be_three_times_the_usual_one(minutes: int) -> None:
    assert len(found(30, d16=minutes)) == (minutes >= 90)


def test_where_hardly_anything_is_written_nothing_is_usual() -> None:
    few = {f"d{n}": 10 for n in range(4, 8)}
    assert found(0, **few, d16=150) == ()
    assert len(found(0, **few, d8=10, d16=150)) == 1


def test_long_days_again_and_again_are_a_habit() -> None:
    assert len(found(20, d9=90, d16=90)) == 2
    assert found(20, d9=90, d16=90, d23=90) == ()


def test_a_week_of_twice_the_minutes_stands_out_against_those_before_it() -> None:
    # October 2027 begins on a Friday: whole weeks from the 3rd, the 10th, the 17th and the 24th
    third = {f"d{n}": 45 for n in range(17, 24)}
    (jump,) = found(20, **third)
    assert jump == Jump(date(2027, 10, 17), date(2027, 10, 23), 315, 140)
    assert jump.reason == (
        "The week from Sunday 17 October has 315 minutes; the most in a week before that was 140."
    )


def test_a_week_after_a_holiday_is_compared_with_the_weeks_before_the_holiday() -> None:
    ill = {f"d{n}": 5 for n in range(10, 17)}
    assert found(30, **ill) == ()


def test_growing_little_by_little_is_no_jump() -> None:
    weeks = {f"d{n}": 15 + 10 * ((n + 4) // 7) for n in range(3, 31)}
    assert found(15, **weeks) == ()


def test_boxes_that_are_open_say_nothing() -> None:
    assert found(20, d16=flagged("day:2027-10-16", 150)) == ()


def test_nobody_who_did_not_hand_in_stands_out() -> None:
    assert jumps(sheet(student("S1"), [], pages=()), PLAN) == ()
