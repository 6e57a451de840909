"""What tells that a return was late. What files' times are worth is common practice, no source."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from factories import october

from ingest.check.lateness import STAMPED_LEAST, is_late, is_untold, without_stamps
from ingest.ledger.records import ReturnRecord, ReturnState

PLAN = october(hand_in={"due": "2027-11-01"})
IN_TIME = datetime(2027, 10, 31, 18)
LATE = datetime(2027, 11, 3, 18)
EVENING = datetime(2027, 11, 4, 20)  # when the teacher collects


def a_return(
    dated: datetime | None,
    *,
    collected_at: datetime = EVENING,
    taken: datetime | None = None,
    number: int = 1,
    path: str = "october.zip/IMG_1.jpg",
) -> ReturnRecord:
    return ReturnRecord(number, path, f"{number:064x}", dated, collected_at, ReturnState.DONE, "", taken)


@pytest.mark.parametrize(
    ("dated", "late"),
    [
        (IN_TIME, False),
        (datetime(2027, 11, 1, 23, 59), False),  # the due day itself is in time
        (datetime(2027, 11, 2), True),
        (LATE, True),
    ],
)
def test_a_files_time_tells(dated: datetime, late: bool) -> None:
    assert is_late(a_return(dated), PLAN) == late
    assert not is_untold(a_return(dated), PLAN)


def test_what_was_collected_by_the_due_date_is_in_time_whatever_else_is_said() -> None:
    here = datetime(2027, 11, 1, 22)
    in_another_zone = a_return(datetime(2027, 11, 2, 6), collected_at=here)
    assert not is_late(in_another_zone, PLAN)
    assert not is_late(a_return(None, collected_at=here, taken=LATE), PLAN)
    assert not is_untold(a_return(None, collected_at=here), PLAN)


def test_a_computers_clock_that_is_behind_the_files_is_not_believed() -> None:
    assert is_late(a_return(LATE, collected_at=datetime(2026, 1, 1)), PLAN)


def test_without_a_time_only_a_photo_taken_afterwards_is_surely_late() -> None:
    assert is_late(a_return(None, taken=LATE), PLAN)
    assert not is_late(a_return(None, taken=IN_TIME), PLAN)  # but it may have been handed in late
    assert is_untold(a_return(None, taken=IN_TIME), PLAN)
    assert is_untold(a_return(None), PLAN)
    assert not is_untold(a_return(None, taken=LATE), PLAN)


def test_a_camera_that_is_ahead_of_its_time_is_not_believed() -> None:
    assert not is_late(a_return(None, taken=EVENING + timedelta(days=300)), PLAN)


def test_without_a_due_date_nothing_is_late() -> None:
    whenever = PLAN.model_copy(update={"hand_in": PLAN.hand_in.model_copy(update={"due": None})})
    assert not is_late(a_return(LATE), whenever)
    assert not is_untold(a_return(None), whenever)


def heap(times: list[datetime], folder: str = "downloads/october.zip") -> list[ReturnRecord]:
    return [
        a_return(time, number=number, path=f"{folder}/{number}/IMG.jpg") for number, time in enumerate(times)
    ]


def test_one_time_on_most_of_a_zip_is_that_of_its_packing() -> None:
    packed = [LATE + timedelta(seconds=5 * n) for n in range(STAMPED_LEAST)]
    found = without_stamps(heap([*packed, IN_TIME, LATE + timedelta(days=1)]), PLAN)
    assert [each.dated for each in found] == [None] * STAMPED_LEAST + [IN_TIME, LATE + timedelta(days=1)]
    assert all(is_untold(each, PLAN) for each in found[:STAMPED_LEAST])


@pytest.mark.parametrize(
    "times",
    [
        [LATE] * (STAMPED_LEAST - 1),  # a few latecomers
        [LATE] * STAMPED_LEAST + [IN_TIME - timedelta(hours=n) for n in range(STAMPED_LEAST + 1)],
        [IN_TIME] * STAMPED_LEAST,  # harmless
        [LATE + timedelta(hours=n) for n in range(STAMPED_LEAST)],
    ],
)
def test_other_times_are_taken_as_they_are(times: list[datetime]) -> None:
    assert [each.dated for each in without_stamps(heap(times), PLAN)] == times


def test_what_came_apart_is_looked_at_apart() -> None:
    alone = heap([LATE] * 2, "downloads/mail")
    packed = [replace(each, id=each.id + 10) for each in heap([LATE] * STAMPED_LEAST, "downloads/a.zip")]
    inner = [replace(each, id=each.id + 20) for each in heap([LATE] * 2, "downloads/a.zip/b.zip")]
    found = without_stamps([*alone, *packed, *inner], PLAN)
    assert [each.id for each in found if each.dated is None] == [each.id for each in packed]
