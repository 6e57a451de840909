"""What matters is asked first, and it is said when no prize hangs on the rest: in review, in a ledger."""

import csv
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from random import Random
from typing import Any

import pytest
from factories import hand_in, october, page_reading, readings, stock, students
from questions import fake_crops
from test_prompt import SlowHands, picture_of_screen, type_on_screen

from ingest.check.bookkeeper import Bookkeeper
from ingest.ledger.store import Ledger
from ingest.plan.challenge import Challenge
from ingest.review.ahead import CropsAhead
from ingest.review.lines import ask_in_lines
from ingest.review.order import MattersFirst
from ingest.review.prompt import Prompt
from ingest.review.sheet import write_sheet
from ingest.review.wording import closing
from ingest.tally.stakes import stakes, verdict
from ingest.tally.student import tallies

PLAN = october(prizes={"top": 1}, grade={"rule": "share"})

SETTLED = "Everything that decides a prize is settled; "
EITHER = ((25, 0.6), (10, 0.3))  # on either side of 15 minutes


@contextmanager
def ledger_with(folder: Path, *said: dict[str, Any]) -> Iterator[Ledger]:
    """One student for each, whose chart has 20 minutes a day but for what is said, and no totals."""
    with Ledger.open(folder) as ledger:
        roster = students(len(said))
        stock(ledger, roster)
        blank: dict[str, Any] = {**{f"w{n}": None for n in range(1, 7)}, "month": None}
        for student, own in zip(roster, said, strict=True):
            boxes = readings(PLAN, own.pop("minutes", 20), **blank, **own)
            hand_in(ledger, [page_reading(boxes, code=f"K{student.id[1:]}")], student.id)
        yield ledger


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    """S001 is far ahead. Whether S002 meets the challenge hangs on the 5th; S003's weekend on nothing."""
    with ledger_with(
        tmp_path,
        {"minutes": 120},
        {"d2": EITHER, "d5": EITHER},
        {"d3": EITHER, "d4": 0, "d6": EITHER},  # the 4th is short already, so that the 6th is a mark
    ) as made:
        yield made


@contextmanager
def asking(ledger: Ledger, plan: Challenge = PLAN) -> Iterator[Prompt]:
    keeper = MattersFirst(Bookkeeper(ledger, plan), plan)
    with CropsAhead(fake_crops()) as crops:
        yield Prompt(
            keeper,
            plan,
            crops,
            clock=SlowHands(),
            files={page.id: f"IMG_{page.id}.jpg" for page in ledger.pages()},
            verdict=lambda: keeper.verdict,
        )


def asked(ledger: Ledger) -> list[tuple[str, str]]:
    book = MattersFirst(Bookkeeper(ledger, PLAN), PLAN).book
    return [(each.student_id, each.box[-2:]) for each in book.questions]


def test_what_decides_a_prize_is_asked_first_then_marks_then_the_rest(ledger: Ledger) -> None:
    assert asked(ledger)[:2] == [("S002", "05"), ("S003", "06")]
    assert set(asked(ledger)[2:]) == {("S002", "02"), ("S003", "03")}


def test_the_sheet_has_the_same_order(ledger: Ledger, tmp_path: Path) -> None:
    write_sheet(tmp_path / "review.csv", MattersFirst(Bookkeeper(ledger, PLAN), PLAN).book, ledger)
    with (tmp_path / "review.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = [(row["student_id"], row["box"][-2:]) for row in csv.DictReader(file)]
    assert rows == asked(ledger)


def test_it_is_said_at_the_answer_that_settles_the_last_prize_and_taken_back_with_it(ledger: Ledger) -> None:
    with asking(ledger) as prompt:
        assert prompt.count_words == "4 left"
        prompt.enter("25")
        words = f"{SETTLED}3 boxes left that cannot change one. 1 of them can still change a mark."
        assert prompt.said == f"Saved. {words}"
        assert prompt.count_words == "3 left, no prize hangs on them"
        prompt.enter("25")
        assert prompt.said == "Saved: Cleo Three, Wednesday 6 October: 25 minutes."
        assert prompt.verdict == f"{SETTLED}2 boxes left that cannot change one."
        prompt.undo()
        prompt.undo()
        assert prompt.verdict == ""


def test_both_ways_to_ask_say_so(ledger: Ledger) -> None:
    told: list[str] = []
    typed = iter(["25", "q"])
    with asking(ledger) as prompt:
        ask_in_lines(prompt, lambda _: "", lambda _: next(typed), told.append)
    assert any(SETTLED in line for line in told)
    assert "\n3 left, no prize hangs on them" in told
    with asking(ledger) as prompt:
        shown = picture_of_screen(prompt)
    assert "3 left, no prize hangs on them" in shown


def test_who_puts_off_the_rest_is_told_that_nothing_hangs_on_it(ledger: Ledger) -> None:
    with asking(ledger) as prompt:
        type_on_screen(prompt, "25\r", "l", "l", "l")
        assert prompt.question is None
        assert f"{SETTLED}3 boxes left that cannot change one." in prompt.end
        last = closing(prompt.answered, prompt.left, prompt.verdict)
    assert last.startswith(f"1 answer saved. {SETTLED}3 boxes left")
    assert last.endswith("`daybox review` goes on from here.")


def test_a_page_of_nobodys_that_is_left_for_later_is_named_by_its_file(ledger: Ledger) -> None:
    hand_in(ledger, [page_reading(readings(PLAN, 20), code=None, code_source="")], "a/IMG_9.jpg")
    with asking(ledger) as prompt:
        assert prompt.about_chart
        assert prompt.verdict == ""
        prompt.later()
        assert prompt.said == "Left for later: whose page IMG_4.jpg is."
        prompt.undo()
        assert prompt.said == "Asked again: whose page IMG_4.jpg is."


def test_what_is_kept_from_answer_to_answer_is_what_a_fresh_look_finds(tmp_path: Path) -> None:
    chance = Random(3)
    said = [
        {f"d{n}": ((20, 0.6), (75, 0.3)) for n in chance.sample(range(1, 32), chance.randint(0, 3))}
        for _ in range(8)
    ]
    with ledger_with(tmp_path, *said) as ledger:
        hand_in(ledger, [page_reading(readings(PLAN, 20), code=None, code_source="")], "IMG_9.jpg")
        keeper = Bookkeeper(ledger, PLAN)
        kept = MattersFirst(keeper, PLAN)
        while kept.book.questions:
            fresh = stakes(keeper.book, tallies(keeper.book, PLAN), PLAN)
            assert kept.book.questions == fresh.in_order(keeper.book.questions)
            assert kept.verdict == verdict(fresh, keeper.book.questions)
            first = kept.book.questions[0]
            kept.answer(first, "S001" if first.box == "chart" else str(chance.choice([0, 15, 75])))
            if chance.random() < 0.2:
                kept.take_back()


def test_what_is_said_to_be_settled_is_what_comes_out_when_all_is_answered_truly(tmp_path: Path) -> None:
    """Through pages, sums and all: not only for books made by hand."""
    plan, chance = october(prizes={"top": 3}), Random(11)
    with Ledger.open(tmp_path) as ledger:
        roster = students(40)
        stock(ledger, roster)
        truth: dict[tuple[str, str], str] = {}
        for student in roster:
            usual = chance.randint(10, 30)
            said: dict[str, Any] = {}
            for number in chance.sample(range(1, 32), chance.choice([0, 0, 1, 2, 3])):
                other = chance.choice([usual + 60, 5])
                said[f"d{number}"] = ((usual, 0.6), (other, 0.3))
                truth[student.id, f"day:2027-10-{number:02}"] = str(chance.choice([usual, usual, other]))
            if chance.random() < 0.8:
                said |= {**{f"w{n}": None for n in range(1, 7)}, "month": None}
            hand_in(
                ledger, [page_reading(readings(plan, usual, **said), code=f"K{student.id[1:]}")], student.id
            )
        keeper = MattersFirst(Bookkeeper(ledger, plan), plan)
        looked = []
        while keeper.book.questions:
            found = stakes(keeper.book, tallies(keeper.book, plan), plan)
            looked.append((found, {each.student.id: each for each in tallies(keeper.book, plan)}))
            first = keeper.book.questions[0]
            keeper.answer(first, truth.get((first.student_id, first.box), first.suggestion))
        end = {each.student.id: each for each in tallies(keeper.book, plan)}
    assert len(looked) > 10
    assert any(not found.met and not found.places for found, _ in looked)
    totals = [each.counted_minutes for each in end.values()]
    for found, then in looked:
        for who, each in end.items():
            place = 1 + sum(total > each.counted_minutes for total in totals)
            assert who in found.met or then[who].met == each.met
            assert who in found.places or place > 3 or place == found.standings[who].place
            possible = then[who].counted_range
            assert possible.lowest <= each.counted_minutes <= possible.highest
