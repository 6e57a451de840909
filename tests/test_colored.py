"""Days with circles to fill in, from what the reader says to what a person is asked."""

from collections.abc import Sequence
from dataclasses import replace

import pytest
from factories import october, origin, page, readings

from ingest.check.book import State
from ingest.check.colored import adds_up, doubt_words, minutes_each
from ingest.check.evidence import HIDDEN, OwnPage
from ingest.check.settle import Chart, settle
from ingest.reading.values import BoxReading, Candidate

PLAN = october()
BLANK = Candidate(None, "", 0.9998)


def circles(text: str, probability: float = 0.9998, each: int = 5) -> Candidate:
    """`xxxoo`: three of five filled."""
    filled = text.count("x")
    return Candidate(each * filled or None, text if filled else "", probability)


def colored(**said: Sequence[Candidate]) -> list[BoxReading]:
    """A whole chart on which every day has 4 of 12 circles filled, then changed: `d5=[...]`, `w2=[...]`."""
    boxes = []
    for box in readings(PLAN, 20, **{name: None for name in said if name[0] != "d"}):
        kind, _, which = box.box.partition(":")
        short = f"d{int(which[-2:])}" if kind == "day" else f"w{which}" if kind == "week" else box.box
        plain = [circles("xxxxoooooooo")] if kind == "day" else list(box.candidates)
        boxes.append(replace(box, candidates=tuple(said.get(short, plain))))
    return boxes


def settled(boxes: Sequence[BoxReading]) -> Chart:
    return settle([OwnPage(page(boxes), origin())], {}, PLAN)


def why(chart: Chart, box: str) -> tuple[str, str]:
    """The state and the first flag's words."""
    found = chart.boxes[box]
    return found.state.value, found.flags[0].why if found.flags else ""


def test_circles_are_minutes_like_any_others() -> None:
    chart = settled(colored(d5=[circles("xooooooooooo")], w2=[Candidate(125, "125", 0.999)], month=[BLANK]))
    box = chart.boxes["day:2027-10-05"]
    assert (box.state, box.value, box.minutes_each) == (State.READ, 5, 5)
    assert chart.boxes["day:2027-10-06"].value == 20
    assert chart.boxes["week:3"].minutes_each == 0


def test_a_day_without_any_is_blank() -> None:
    box = [Candidate(None, "", 0.9998), circles("xooo", 0.0001)]
    chart = settled(colored(d5=box, w2=[BLANK], month=[BLANK]))
    found = chart.boxes["day:2027-10-05"]
    assert (found.state, found.value, found.minutes_each) == (State.BLANK, None, 5)


@pytest.mark.parametrize(
    ("box", "reason", "words"),
    [
        (
            [circles("xxxxoooooooo", 0.6), circles("xxxooooooooo", 0.33)],
            "illegible",
            "It is not clear whether circle 4 is filled.",
        ),
        (
            [Candidate(None, "", 0.75), circles("xooooooooooo", 0.2)],
            "illegible",
            "whether circle 1 is filled.",
        ),
        (
            [circles("xxxxoooooooo", 0.5), circles("xxoooooooooo", 0.3), circles("xxxooooooooo", 0.1)],
            "illegible",
            "It is not clear whether circles 3 and 4 are filled.",
        ),
        (
            [circles("xxoxoooooooo", 0.93)],
            "illegible",
            "A circle was left out before others that are filled.",
        ),
        (
            [circles("ooooooooooxx", 0.93)],
            "illegible",
            "A circle was left out before others that are filled.",
        ),
        (
            [Candidate(None, "?", 0.9), circles("xxxxoooooooo", 0.1)],
            "not-a-number",
            "Something is drawn over these circles, or many are neither filled nor empty.",
        ),
        (list(HIDDEN), "illegible", "This box is covered, torn off or not in the picture."),
    ],
)
def test_unclear_circles_are_asked_about_in_plain_words(
    box: list[Candidate], reason: str, words: str
) -> None:
    chart = settled(colored(d5=box, w2=[BLANK], month=[BLANK]))
    found = chart.boxes["day:2027-10-05"]
    assert found.state is State.FLAGGED
    assert [flag.reason for flag in found.flags] == [reason]
    assert found.flags[0].why.endswith(words)


def test_a_written_total_settles_an_unclear_circle() -> None:
    unclear = [circles("xxxxoooooooo", 0.6), circles("xxxooooooooo", 0.33)]
    for total, value in ((140, 20), (135, 15)):
        chart = settled(colored(d5=unclear, w2=[Candidate(total, str(total), 0.9995)], month=[BLANK]))
        assert (chart.boxes["day:2027-10-05"].state, chart.boxes["day:2027-10-05"].value) == (
            State.READ,
            value,
        )


def test_a_wrong_total_is_asked_about_once_and_no_day_is() -> None:
    chart = settled(colored(w2=[Candidate(150, "150", 0.9995)], month=[BLANK]))
    flagged = [name for name, box in chart.boxes.items() if box.state is State.FLAGGED]
    assert flagged == ["week:2"]
    assert why(chart, "week:2")[1] == "The days add up to 140, the week's box says 150."


def test_a_total_of_circles_is_as_good_as_one_of_minutes() -> None:
    weeks = {f"w{week}": [Candidate(4 * days, str(4 * days), 0.9995)] for week, days in ((2, 7), (3, 7))}
    chart = settled(colored(**weeks, month=[Candidate(124, "124", 0.9995)]))
    assert not [name for name, box in chart.boxes.items() if box.state is State.FLAGGED]
    assert chart.boxes["week:2"].value == 28  # what stands there is not changed


def test_numbers_have_no_circles() -> None:
    numbers = [Candidate(20, "20", 0.6), Candidate(26, "26", 0.3)]
    assert minutes_each(numbers) == 0
    assert doubt_words(numbers) == ""
    assert doubt_words(HIDDEN) == ""
    assert not adds_up(28, 140, [numbers])


def test_circles_of_ten_minutes_count_ten() -> None:
    assert minutes_each([circles("xxo", each=10)]) == 10
    assert adds_up(14, 140, [[BLANK], [circles("xxo", each=10)]])
    assert not adds_up(14, 135, [[circles("xxo", each=10)]])


def test_faint_marks_on_some_days_leave_blank_ones_blank() -> None:
    """All of a page's circles together have told which are empty: what hangs between says nothing more."""
    blank = [Candidate(None, "", 0.9998), circles("xooooooooooo", 0.0001)]
    faint = [Candidate(None, "", 0.75), circles("xooooooooooo", 0.2)]
    days = {f"d{day}": blank for day in range(1, 26)} | {f"d{day}": faint for day in range(26, 30)}
    weeks = {f"w{week}": [BLANK] for week in range(1, 7)}
    chart = settled(colored(**days, **weeks, month=[BLANK]))
    flagged = {name for name, box in chart.boxes.items() if box.state is State.FLAGGED}
    assert flagged == {f"day:2027-10-{day}" for day in range(26, 30)}
