"""Half a chart in one photo, the rest in another."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from factories import hand_in, october, origin, page, page_reading, readings, stock, students

from ingest.check.book import State
from ingest.check.bookkeeper import Bookkeeper
from ingest.check.evidence import HIDDEN, OwnPage
from ingest.check.halves import other_halves
from ingest.ledger.store import Ledger
from ingest.reading.values import BoxReading

PLAN = october()
OWNERS = {"K001": "S001", "K002": "S002"}
DAYS: dict[str, Any] = {f"d{day}": 15 + day for day in range(1, 32)}  # no two alike
ALL_ALIKE: dict[str, Any] = {f"d{day}": 20 for day in range(14, 21)}
TOTALS: dict[str, Any] = {"month": None, **{f"w{week}": None for week in range(1, 7)}}


def half(first: int, last: int, **said: Any) -> tuple[BoxReading, ...]:
    """A chart of which the picture shows the days from first to last; the later half, the totals as well."""
    whole = readings(PLAN, **{**DAYS, **TOTALS, **said})
    shown = {f"day:2027-10-{day:02}" for day in range(first, last + 1)}
    return tuple(
        each
        if each.box in shown
        or each.box.startswith(("outside", "initials"))
        or (last == 31 and each.box.startswith(("week", "month")))
        else BoxReading(each.box, HIDDEN, 0.0)
        for each in whole
    )


def upper(page_id: int = 1, code: str = "K001", **said: Any) -> OwnPage:
    return OwnPage(page(half(1, 20, **said), page_id, code=code), origin(page_id))


def lower(code: str | None = None, **said: Any) -> OwnPage:
    return OwnPage(page(half(14, 31, **said), 2, code=code), origin(2))


def test_a_half_without_a_code_belongs_to_the_one_that_lacks_just_what_it_shows() -> None:
    assert other_halves([upper(), lower()], OWNERS) == {2: "S001"}


ELSEWHERE = replace(lower(), origin=replace(origin(2), path="somebody else/IMG_2.jpg"))


@pytest.mark.parametrize(
    ("first", "second"),
    [
        pytest.param(upper(), lower(d16=55), id="a number differs"),
        pytest.param(upper(), ELSEWHERE, id="it came another way"),
        pytest.param(upper(), lower(code="K002"), id="it has a code of its own"),
        pytest.param(upper(**ALL_ALIKE), lower(**ALL_ALIKE), id="all that both show is one number"),
    ],
)
def test_what_is_not_beyond_doubt_is_left_to_a_person(first: OwnPage, second: OwnPage) -> None:
    assert other_halves([first, second], OWNERS) == {}


def test_a_half_that_fits_two_students_is_left_to_a_person() -> None:
    assert other_halves([upper(), upper(3, "K002"), lower()], OWNERS) == {}


def test_a_photo_of_the_whole_is_no_half() -> None:
    whole = OwnPage(page(readings(PLAN, **DAYS), 2, code=None), origin(2))
    assert other_halves([upper(), whole], OWNERS) == {}


def test_where_both_are_joined_nothing_is_asked(tmp_path: Path) -> None:
    with Ledger.open(tmp_path) as ledger:
        key = stock(ledger, students(2))
        hand_in(ledger, [page_reading(half(1, 20), layout=key)], "october.zip/IMG_1.jpg")
        hand_in(ledger, [page_reading(half(14, 31), layout=key, code=None)], "october.zip/IMG_2.jpg")
        book = Bookkeeper(ledger, PLAN).book
    assert book.questions == ()
    boxes = book.sheets[0].boxes
    assert [boxes[f"day:2027-10-{day:02}"].value for day in range(1, 32)] == [
        15 + day for day in range(1, 32)
    ]
    assert all(box.state is not State.FLAGGED for box in boxes.values())
