"""What `daybox status` says of the boxes that nobody looked at."""

from datetime import datetime

import pytest
from books import answered, book, flagged, october, read, sheet, student

from ingest.check.book import Book, Settled, State
from ingest.check.spot import SpotResult
from ingest.reading.certainty import Threshold, Tried
from ingest.report.trust import accepted, trust

KEPT = Threshold(0.96, 2000, Tried(0.96, accepted=10_000, foreseen=4.0, wrong=4))


def box(name: str, confidence: float, value: int | None = 20) -> Settled:
    return Settled(name, State.BLANK if value is None else State.READ, value, confidence, (), 1)


def of(*boxes: Settled) -> Book:
    return book(sheet(student("S1"), boxes))


def many(count: int, confidence: float) -> Book:
    days = [f"day:{day}" for day in october().month.dates()]
    sheets = [
        sheet(student(f"S{n}"), [box(days[m], confidence) for m in range(31) if 31 * n + m < count])
        for n in range(-(-count // 31))
    ]
    return book(*sheets)


def test_expected_errors_are_what_the_confidences_leave_over() -> None:
    """A box at 0.99 is wrong one time in a hundred; these four: 0.01 + 0.02 + 0.001 + 0.05."""
    found = accepted(
        of(box("day:1", 0.99), box("day:2", 0.98, None), box("week:1", 0.999), box("month", 0.95))
    )
    assert (found.boxes, found.blank) == (4, 1)
    assert found.wrong == pytest.approx(0.081)


def test_only_days_and_totals_that_nobody_looked_at_count() -> None:
    others = (
        flagged("day:3", 20, confidence=0.5),
        answered("day:4", 20),
        read("initials:1", None),
        read("outside:5", None),
    )
    assert accepted(of(box("day:1", 0.99), *others)).boxes == 1


@pytest.mark.parametrize(
    ("boxes", "confidence", "said"),
    [
        (1080, 1 - 0.4 / 1080, "Of 1,080 boxes accepted without you, expect about 0.4 wrong."),
        (1080, 1 - 23.4 / 1080, "Of 1,080 boxes accepted without you, expect about 23 wrong."),
        (31, 0.9999, "Of 31 boxes accepted without you, expect hardly any (less than 0.1) wrong."),
        (1, 0.99, "Of 1 box accepted without you, expect hardly any (less than 0.1) wrong."),
    ],
)
def test_one_plain_line_says_how_many_are_wrong(boxes: int, confidence: float, said: str) -> None:
    assert trust(many(boxes, confidence), KEPT, None) == [said]


def test_blank_boxes_are_named_for_they_are_no_numbers() -> None:
    assert ", 1 of them blank, expect" in trust(of(box("day:1", 0.9), box("day:2", 0.9, None)), KEPT, None)[0]


def test_before_anything_was_accepted_nothing_is_said() -> None:
    assert trust(of(flagged("day:1", 20)), Threshold(0.96, 2000, None), None) == []


@pytest.mark.parametrize(
    ("threshold", "said"),
    [
        (Threshold(0.96, 2000, None), "1 in 2,000, cannot be promised: this reader was not tried"),
        (
            Threshold(0.999, 100_000, Tried(0.999, accepted=9000, foreseen=1.0, wrong=1)),
            "1 in 100,000, cannot be kept: expect 1 in 9,000 at best.",
        ),
        (
            Threshold(0.999, 20_000, Tried(0.999, accepted=9000, foreseen=0.1, wrong=0)),
            "tried on 9,000 boxes, which speak for 1 in 3,000 at best.",  # rule of three
        ),
    ],
)
def test_a_wish_that_cannot_be_promised_is_not(threshold: Threshold, said: str) -> None:
    _, wish = trust(of(box("day:1", 0.99)), threshold, None)
    assert said in wish


def test_the_last_spot_check_is_repeated() -> None:
    spot = SpotResult(datetime(2027, 11, 2), 1080, 80, 80, 19, 0, 0)
    assert trust(of(box("day:1", 0.99)), KEPT, spot)[-1] == (
        "Spot check of 2 November: 80 of 1,080 boxes looked at (19 of them read as blank), none misread. So "
        "at most 1 in 27 of all 1,080 is wrong, 95 % sure."
    )
