"""What a child's other days tell of one that is open."""

import pytest

from ingest.check.sums import Candidates
from ingest.check.usual import COUNTED, NEW, as_usual
from ingest.plan.challenge import make_challenge
from ingest.reading.values import Candidate

PLAN = make_challenge({"month": "2027-10"}, "test")
OPEN = ((15, 0.6), (45, 0.3))


def box(*pairs: tuple[int | str | None, float]) -> Candidates:
    return tuple(
        Candidate(value, str(value), p) if isinstance(value, int) else Candidate(None, value or "", p)
        for value, p in pairs
    )


def first_of(*boxes: Candidates) -> dict[str, float]:
    """The first day's candidates by text, the others given."""
    days = {f"day:2027-10-{number:02}": one for number, one in enumerate(boxes, start=1)}
    return {c.text: c.probability for c in as_usual(days, PLAN)["day:2027-10-01"]}


def test_nine_days_of_fifteen_tell_fifteen_from_forty_five() -> None:
    found = first_of(box(*OPEN), *[box((15, 0.999))] * 9)
    assert found["15"] > 0.85
    assert found["15"] + found["45"] == pytest.approx(0.9)
    assert list(first_of(box(*OPEN), *[box((45, 0.999))] * 9)) == ["45", "15"]


def test_days_that_say_neither_tell_nothing() -> None:
    assert first_of(box(*OPEN), *[box((20, 0.999))] * 9) == pytest.approx(dict(first_of(box(*OPEN))))


def test_by_itself_a_day_stays_as_it_is_and_never_speaks_for_itself() -> None:
    assert first_of(box((15, 0.95), (45, 0.05))) == pytest.approx({"15": 0.95, "45": 0.05})


def test_a_day_counts_only_if_it_is_sure() -> None:
    doubtful = [box((15, COUNTED - 0.01), (75, 0.1))] * 9
    assert first_of(box(*OPEN), *doubtful) == pytest.approx(first_of(box(*OPEN)))


def test_other_days_do_not_tell_whether_anything_is_written() -> None:
    found = first_of(box((None, 0.5), (15, 0.2), (45, 0.1), ("?", 0.1), (0, 0.05)), *[box((15, 0.999))] * 9)
    assert (found[""], found["?"], found["0"]) == (0.5, 0.1, 0.05)


def test_it_is_the_urn_of_hoppe() -> None:
    """So many days as NEW from the prior for any child; here 10 in 1 of it is a given multiple of five."""
    found = first_of(box((20, 0.4), (30, 0.4)), *[box((20, 0.999))] * 6)
    # weights of the plan's values 0..240: 0 counts 2; up to 60, 12 fives and 48 others; above, 36 and 144
    every = 2 + 12 * 10 + 48 + (36 * 10 + 144) * 0.05
    assert found["20"] / found["30"] == pytest.approx((NEW * 10 / every + 6) / (NEW * 10 / every))


def test_circles_are_left_alone() -> None:
    circles = (Candidate(15, "xxxo", 0.6), Candidate(20, "xxxx", 0.4))
    assert first_of(circles, *[(Candidate(20, "xxxx", 0.999),)] * 9) == {"xxxo": 0.6, "xxxx": 0.4}
