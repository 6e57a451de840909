"""When a student's first chart came in, as far as the times of files tell."""

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

from factories import NOON, hand_in, october, origin, page, page_reading, readings, stock, students

from ingest.check.arrival import Arrival, arrivals
from ingest.check.bookkeeper import Bookkeeper
from ingest.check.fate import Fate, Outcome, What
from ingest.ledger.records import ReturnRecord
from ingest.ledger.store import Ledger
from ingest.plan.month import Month

OCTOBER = Month(2027, 10)
BEGAN = datetime(2027, 10, 1)


def fate(page_id: int | None, student_id: str = "S001", outcome: Outcome = Outcome.COUNTS) -> Fate:
    return Fate(f"IMG_{page_id}.jpg", 1, 1, page_id, student_id, "", What.CHART, outcome, "")


def first_of(*returns: ReturnRecord) -> Arrival:
    """Of S001, whose pages all these are."""
    fates = [fate(each.id) for each in returns]
    found = arrivals(fates, [page((), each.id) for each in returns], returns, OCTOBER)
    return found.counted["S001"]


def test_a_files_time_is_the_hand_in_to_the_minute() -> None:
    dated = datetime(2027, 10, 29, 16, 5, 42)
    at = datetime(2027, 10, 29, 16, 5)
    assert first_of(origin(1, dated)) == Arrival(at, at)


def test_the_earliest_of_several_charts_counts() -> None:
    early, late = NOON - timedelta(days=2), NOON
    assert first_of(origin(1, late), origin(2, early)) == Arrival(early, early)


def test_without_a_time_it_was_between_the_photo_and_the_collecting() -> None:
    taken = datetime(2027, 10, 30, 9)
    assert first_of(replace(origin(1, None), taken=taken)) == Arrival(taken, NOON)
    assert first_of(origin(1, None)) == Arrival(BEGAN, NOON)


def test_times_before_the_month_or_far_ahead_of_the_clock_are_not_believed() -> None:
    assert first_of(origin(1, datetime(1980, 1, 1))) == Arrival(BEGAN, NOON)  # what a zip has without a time
    assert first_of(origin(1, NOON + timedelta(days=3))) == Arrival(BEGAN, NOON)
    assert first_of(replace(origin(1, None), taken=NOON + timedelta(days=9))) == Arrival(NOON, NOON)


def test_one_time_on_a_whole_heap_is_that_of_the_download() -> None:
    heap = [origin(n, NOON - timedelta(seconds=n)) for n in range(1, 7)]
    assert first_of(*heap) == Arrival(BEGAN, NOON)
    apart = [origin(n, NOON - timedelta(hours=n)) for n in range(1, 7)]
    assert first_of(*apart).earliest == NOON - timedelta(hours=6)


def test_only_what_counts_is_somebodys_and_what_is_asked_about_is_told_apart() -> None:
    returns = [origin(1, NOON), origin(2, NOON - timedelta(days=1)), origin(3, NOON - timedelta(days=2))]
    fates = [fate(1), fate(2, "", Outcome.ASKED), fate(3, outcome=Outcome.ASIDE), fate(None)]
    found = arrivals(fates, [page((), each.id) for each in returns], returns, OCTOBER)
    assert found.counted == {"S001": Arrival(NOON, NOON)}
    assert [each.earliest for each in found.asked] == [NOON - timedelta(days=1)]


def test_it_works_on_a_ledger_in_which_two_files_have_one_path(tmp_path: Path) -> None:
    plan = october()
    with Ledger.open(tmp_path) as ledger:
        stock(ledger, students(2))
        for n, code in enumerate(("K001", "K002")):
            chart = page_reading(readings(plan), code=code)
            hand_in(ledger, [chart], "IMG_1.jpg", dated=NOON - timedelta(hours=n))
        fates = Bookkeeper(ledger, plan).fates()
        returns = [replace(each, collected_at=NOON) for each in ledger.returns()]  # not by today's clock
        found = arrivals(fates, ledger.pages(), returns, plan.month)
    assert [found.counted[one].earliest for one in ("S001", "S002")] == [NOON, NOON - timedelta(hours=1)]
