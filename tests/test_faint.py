"""Blank boxes on pages whose writing can hardly be seen."""

import pytest

from ingest.check.faint import LEAST, ONE_DIGIT, PADDED, believed
from ingest.check.sums import Candidates
from ingest.reading.values import Candidate


def blank(sure: float) -> Candidates:
    rest = () if sure == 1 else (Candidate(15, "15", (1 - sure) / 2),)
    return (Candidate(None, "", sure), *rest)


def written(sure: float) -> Candidates:
    return (Candidate(20, "20", sure), Candidate(None, "", 1 - sure))


def days(*boxes: Candidates) -> dict[str, Candidates]:
    return {f"day:2027-10-{number:02}": box for number, box in enumerate(boxes, start=1)}


def of_first(boxes: dict[str, Candidates]) -> float:
    (first, *_) = believed(boxes).values()
    return next(c.probability for c in first if c.value is None and c.text == "")


def test_a_blank_box_stands_among_clear_ones() -> None:
    clear = days(blank(0.9985), *[written(0.999)] * 20, *[blank(0.9985)] * 15)
    assert of_first(clear) == pytest.approx(0.9985)


def test_many_blank_boxes_do_not_doubt_each_other() -> None:
    """A child who practised once and added nothing up."""
    assert of_first(days(blank(0.9985), written(0.9999), *[blank(0.9985)] * 34)) == pytest.approx(0.9985)


def test_a_page_on_which_hardly_anything_is_seen_is_doubted_for_little() -> None:
    """All pencil gone but a trace: one box hangs between, and next to nothing is clearly written."""
    gone = days(blank(0.999), blank(0.92), written(0.9999), *[blank(0.999)] * 30)
    assert of_first(gone) < 0.8
    there = days(blank(0.999), blank(0.92), *[written(0.9999)] * 30, blank(0.999))
    assert of_first(there) > 0.99


def test_it_is_doubted_where_others_hang_between_written_and_blank() -> None:
    faint = days(blank(0.9985), *[written(0.7)] * 3, *[blank(0.6)] * 2)
    assert of_first(faint) < 0.6
    worse = days(blank(0.9985), *[blank(0.5)] * 20)
    assert LEAST * 0.99 < of_first(worse) < LEAST * 1.2


def test_its_own_doubt_is_not_counted_against_it() -> None:
    one = days(blank(0.6), *[written(0.9999)] * 10)
    assert of_first(one) == pytest.approx(0.6, abs=1e-3)


def test_the_doubt_goes_to_nobody() -> None:
    boxes = days(blank(0.97), *[blank(0.5)] * 6)
    (before, *_), (after, *_) = boxes.values(), believed(boxes).values()
    assert [c.probability for c in after if c.value == 15] == [c.probability for c in before if c.value == 15]
    assert sum(c.probability for c in after) < 0.5


def test_numbers_and_initials_stay_as_they_are() -> None:
    boxes = days(written(0.98), *[blank(0.5)] * 6) | {"initials:1": blank(0.99)}
    after = believed(boxes)
    assert after["initials:1"] == boxes["initials:1"]
    assert after["day:2027-10-01"][0] == boxes["day:2027-10-01"][0]


def test_what_is_no_number_hangs_nowhere() -> None:
    covered = (Candidate(None, "?", 1.0),)
    assert of_first(days(blank(0.9985), *[covered] * 12)) == pytest.approx(0.9985)


def test_the_most_probable_stays_first() -> None:
    boxes = days((Candidate(None, "", 0.6), Candidate(15, "15", 0.4)), *[blank(0.5)] * 6)
    first = believed(boxes)["day:2027-10-01"]
    assert first[0].value == 15


def test_a_number_of_one_digit_may_have_lost_another() -> None:
    five, sure = (Candidate(5, "5", 0.998),), (Candidate(25, "25", 0.998),)
    found = list(believed(days(five, sure, (Candidate(5, "5", 1.0, typed=True),))).values())
    assert [box[0].probability for box in found] == pytest.approx([0.998 * ONE_DIGIT, 0.998, 1.0])
    assert len(found[0]) == 1  # who knows what stands there


@pytest.mark.parametrize(("text", "minutes", "left"), [("08", 8, PADDED), ("00", 0, PADDED), ("0:45", 45, 1)])
def test_nobody_begins_a_number_with_a_0(text: str, minutes: int, left: float) -> None:
    ((found, *_),) = believed(days((Candidate(minutes, text, 0.99),))).values()
    assert found.probability == pytest.approx(0.99 * left)


def test_a_0_by_itself_and_a_dash_are_whole() -> None:
    boxes = days((Candidate(0, "0", 0.99),), (Candidate(0, "-", 0.99),))
    assert list(believed(boxes).values()) == list(boxes.values())


def test_a_circle_has_no_digits_to_lose() -> None:
    circle = (Candidate(5, "xooo", 0.998),)
    assert list(believed(days(circle)).values()) == [circle]
