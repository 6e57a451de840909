from datetime import date

import pytest

from ingest.plan.month import Month

# month, days, first day (ISO number), counts Monday to Sunday, rows from Monday, rows from Sunday, and the
# ISO 8601 weeks of its first and last day. Published calendar facts: wall calendars of those years, and
# ISO 8601-1:2019 for the numbering (Monday 1; week 1 holds the year's first Thursday).
CALENDAR = [
    ("2027-03", 31, 1, (5, 5, 5, 4, 4, 4, 4), 5, 5, (2027, 9), (2027, 13)),
    ("2028-02", 29, 2, (4, 5, 4, 4, 4, 4, 4), 5, 5, (2028, 5), (2028, 9)),
    ("2026-05", 31, 5, (4, 4, 4, 4, 5, 5, 5), 5, 6, (2026, 18), (2026, 22)),
    ("2026-08", 31, 6, (5, 4, 4, 4, 4, 5, 5), 6, 6, (2026, 31), (2026, 36)),
    ("2027-02", 28, 1, (4, 4, 4, 4, 4, 4, 4), 4, 5, (2027, 5), (2027, 8)),
    ("2026-02", 28, 7, (4, 4, 4, 4, 4, 4, 4), 5, 4, (2026, 5), (2026, 9)),
    ("2025-11", 30, 6, (4, 4, 4, 4, 4, 5, 5), 5, 6, (2025, 44), (2025, 48)),
    ("2026-12", 31, 2, (4, 5, 5, 5, 4, 4, 4), 5, 5, (2026, 49), (2026, 53)),
]


@pytest.mark.parametrize(
    ("name", "days", "first", "counts", "from_monday", "from_sunday", "first_week", "last_week"), CALENDAR
)
def test_month_agrees_with_the_calendar(
    name: str,
    days: int,
    first: int,
    counts: tuple[int, ...],
    from_monday: int,
    from_sunday: int,
    first_week: tuple[int, int],
    last_week: tuple[int, int],
) -> None:
    month = Month.parse(name)
    dates = month.dates()
    assert len(dates) == days
    assert dates[0].isoweekday() == first
    assert tuple(sum(day.isoweekday() == number for day in dates) for number in range(1, 8)) == counts
    assert len(month.weeks("mon")) == from_monday
    assert len(month.weeks("sun")) == from_sunday
    assert tuple(dates[0].isocalendar())[:2] == first_week
    assert tuple(dates[-1].isocalendar())[:2] == last_week


# From memory; the rule is ISO 8601's.
@pytest.mark.parametrize(
    ("day", "week", "weekday"),
    [
        (date(2021, 1, 3), (2020, 53), 7),
        (date(2026, 12, 31), (2026, 53), 4),
        (date(2027, 1, 1), (2026, 53), 5),
        (date(2027, 1, 4), (2027, 1), 1),
        (date(2008, 12, 29), (2009, 1), 1),
        (date(2010, 1, 3), (2009, 53), 7),
    ],
)
def test_rows_from_monday_are_iso_weeks(day: date, week: tuple[int, int], weekday: int) -> None:
    (row,) = [row for row in Month.of(day).weeks("mon") if day in row]
    assert row.index(day) + 1 == weekday
    assert {tuple(each.isocalendar())[:2] for each in row} == {week}


def test_the_calendar_covers_every_first_weekday_and_every_number_of_rows() -> None:
    """Twelve months of a year and one more: every start of a month on every day of the week."""
    firsts, rows = set(), set()
    for year in range(2024, 2036):
        for number in range(1, 13):
            month = Month(year, number)
            for starts, first in (("mon", 1), ("sun", 7)):
                weeks = month.weeks(starts)
                assert all(len(row) == 7 and row[0].isoweekday() == first for row in weeks)
                assert [day for row in weeks for day in row if day in month] == list(month.dates())
                assert any(day in month for day in weeks[0])
                assert any(day in month for day in weeks[-1])
                rows.add((starts, len(weeks)))
            firsts.add(month.dates()[0].isoweekday())
    assert firsts == set(range(1, 8))
    assert rows == {(starts, count) for starts in ("mon", "sun") for count in (4, 5, 6)}


@pytest.mark.parametrize(("year", "days"), [(2000, 29), (1900, 28), (2100, 28), (2028, 29), (2027, 28)])
def test_february_has_its_leap_day(year: int, days: int) -> None:
    """The Gregorian rule: 2000 and 2028 are leap years, 1900 and 2100 are not."""
    assert len(Month(year, 2).dates()) == days


@pytest.mark.parametrize(
    "text", ["2027-13", "2027-00", "2027-1", "27-10", "2027/10", "october", "", "2027-10-01"]
)
def test_only_year_and_month_make_a_month(text: str) -> None:
    with pytest.raises(ValueError, match="month"):
        Month.parse(text)


def test_month_is_written_as_it_is_read() -> None:
    assert str(Month.parse("2027-03")) == "2027-03"


def test_after_december_comes_january() -> None:
    assert Month(2027, 12).following() == Month(2028, 1)
    assert Month(2027, 9).following() == Month(2027, 10)
