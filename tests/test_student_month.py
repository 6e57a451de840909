"""A student's month and a class's averages, against pandas."""

from datetime import date

import pandas as pd
import pytest
from books import answered, book, flagged, month_of, page_question, read, sheet, student
from progress_books import month, plan

from ingest.check.book import Book
from ingest.report.student_month import (
    Day,
    by_section,
    day_average,
    goal,
    open_on,
    student_months,
    week_averages,
)

CHALLENGE = plan()


def test_a_day_is_known_blank_or_not_known_yet() -> None:
    boxes = month_of(
        CHALLENGE,
        20,
        d1=read("day:2027-10-01", None),
        d2=flagged("day:2027-10-02", 30),
        d3=answered("day:2027-10-03", 0),
        d4=answered("day:2027-10-04", None),
    )
    (own,) = student_months(book(sheet(student("S1"), boxes)), CHALLENGE)
    days = list(own.days.values())
    assert days[:5] == [Day(0, True), Day(None), Day(0), Day(0, True), Day(20)]
    assert own.open_days == 1
    assert not own.settled
    assert own.practiced == 27
    assert own.tally.total_minutes == own.running()[-1] == 27 * 20


def test_the_running_total_is_pandas_cumulative_sum() -> None:
    made, table = month(CHALLENGE, 12)
    for own in student_months(made, CHALLENGE):
        mine = table[table.student_id == own.student.id]
        assert list(own.running()) == mine.minutes.cumsum().tolist()
        most, days = own.best()
        assert most == mine.minutes.max()
        assert list(days) == mine.loc[mine.minutes == most, "day"].dt.date.tolist()


def test_averages_leave_out_what_is_not_known_and_never_take_it_for_nothing() -> None:
    made, table = month(CHALLENGE, 30, open_share=0.1, missing=[3, 4])
    months = student_months(made, CHALLENGE)
    assert table.minutes.isna().sum() > 20
    by_day = table.groupby("day").minutes  # pandas leaves NaN out of means
    for day in CHALLENGE.month.dates():
        assert day_average(months, day) == pytest.approx(by_day.mean()[pd.Timestamp(day)])
        assert open_on(months, day) == 28 - by_day.count()[pd.Timestamp(day)]
    sunday_first = pd.Grouper(freq="W-SAT")  # weeks that end with Saturday
    weeks = by_day.mean().groupby(sunday_first).sum()
    assert list(week_averages(months, CHALLENGE)) == pytest.approx(weeks.tolist())
    assert len(weeks) == 6


def test_a_day_of_which_nothing_is_known_has_no_average() -> None:
    boxes = month_of(CHALLENGE, 20, d1=flagged("day:2027-10-01", 20), d2=flagged("day:2027-10-02", 20))
    months = student_months(book(sheet(student("S1"), boxes), sheet(student("S2"), [])), CHALLENGE)
    assert day_average(months, date(2027, 10, 1)) is None
    assert week_averages(months, CHALLENGE)[0] is None
    assert week_averages(months, CHALLENGE)[1] == 140


def test_a_page_that_must_be_confirmed_keeps_a_month_open() -> None:
    made = book(sheet(student("S1"), month_of(CHALLENGE, 20)))
    (own,) = student_months(Book(made.sheets, [page_question(7, "S1")]), CHALLENGE)
    assert own.open_days == 0
    assert not own.settled


def test_the_goal_is_the_minimum_on_every_required_day() -> None:
    assert goal(CHALLENGE) == 20 * 15  # October 2027 has 21 weekdays, of which one is off


def test_sections_stand_in_the_rosters_order() -> None:
    made, _ = month(CHALLENGE, 5, ["Tubas", "Flutes"])
    grouped = by_section(student_months(made, CHALLENGE))
    assert {name: len(members) for name, members in grouped.items()} == {"Tubas": 3, "Flutes": 2}
    assert list(grouped) == ["Tubas", "Flutes"]
