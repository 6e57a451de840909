"""Thresholds tried on charts whose truth is known."""

import pytest
from factories import Said, october, page_reading, readings

from ingest.demo.diary import Diary
from ingest.reading.certainty import Clearness, Tried
from ingest.training.thresholds import TRIED, added, outcomes, try_thresholds

PLAN = october()
DAY = "day:2027-10-05"
NO_TOTALS: dict[str, Said] = {"month": None, **{f"w{number}": None for number in range(1, 7)}}
BOXES = 31 + 6 + 1  # days, weeks and the month; initials and other months' days do not count


def diary(no_number: frozenset[str] = frozenset(), **changed: int | None) -> Diary:
    """20 minutes every day and no totals, but for what is given by day: `d5=25`."""
    truth: dict[str, int | None] = {f"day:{day}": 20 for day in PLAN.month.dates()}
    truth |= {f"week:{number}": None for number in range(1, 7)} | {"month": None}
    truth |= {f"day:2027-10-{int(name[1:]):02}": value for name, value in changed.items()}
    return Diary({}, truth, no_number)


def tried(said: Said, of: Diary) -> dict[float, Tried]:
    """By threshold, a chart that says 20 for sure on every day but the 5th."""
    reading = page_reading(readings(PLAN, d5=said, minutes=20, **NO_TOTALS))
    return {row.sure: row for row in try_thresholds(outcomes(reading, PLAN, of), Clearness())}


def test_a_misread_box_counts_as_wrong_where_it_is_taken_and_not_where_it_is_asked_about() -> None:
    rows = tried(((20, 0.975),), diary(d5=25))
    assert (rows[0.97].accepted, rows[0.97].wrong) == (BOXES, 1)
    assert (rows[0.98].accepted, rows[0.98].wrong) == (BOXES - 1, 0)
    assert list(rows) == list(TRIED)


def test_what_is_foreseen_is_what_the_confidences_leave_over() -> None:
    rows = tried(((20, 0.975),), diary())
    assert rows[0.97].foreseen - rows[0.98].foreseen == pytest.approx(0.025, rel=1e-3)
    assert rows[0.98].foreseen == pytest.approx((BOXES - 1) * 0.0001, rel=1e-3)


def test_blank_taken_for_nothing_written_is_right_and_for_a_number_is_wrong() -> None:
    assert tried(((None, 0.999),), diary(d5=None))[0.99].wrong == 0
    assert tried(((None, 0.999),), diary(d5=20))[0.99].wrong == 1


def test_what_is_no_number_is_wrong_whatever_it_is_taken_for() -> None:
    assert tried(((20, 0.999),), diary(frozenset({DAY})))[0.99].wrong == 1


def test_a_lost_page_counts_for_nothing_and_charts_add_up() -> None:
    assert outcomes(None, PLAN, diary()) == []
    lost = try_thresholds([], Clearness())
    assert {(row.accepted, row.foreseen, row.wrong) for row in lost} == {(0, 0, 0)}
    said = page_reading(readings(PLAN, d5=((25, 0.999),), minutes=20, **NO_TOTALS))
    one = try_thresholds(outcomes(said, PLAN, diary()), Clearness())
    (row,) = (row for row in added([one, lost, one]) if row.sure == 0.9)
    assert (row.accepted, row.wrong) == (2 * BOXES, 2)
    assert row.foreseen == pytest.approx(2 * one[0].foreseen, abs=1e-3)
    assert added([]) == []
