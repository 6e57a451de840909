"""The book while a person answers: always what a fresh book of the same ledger would be."""

from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest
from factories import NOON, hand_in, october, page_reading, readings, stock, students

from ingest.check.book import Question, State
from ingest.check.bookkeeper import Bookkeeper
from ingest.errors import AnswerError
from ingest.ledger.store import Ledger

PLAN = october(hand_in={"due": "2027-11-01", "late": "flag"})
DAY = "day:2027-10-05"
UNSURE = ((25, 0.7), (75, 0.2))

pytestmark = pytest.mark.usefixtures("usual_threshold")


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    """Three students. Ana: an unsure day, a wrong sum. Ben: a spare chart with an unsure day. Cleo: none."""
    with Ledger.open(tmp_path) as opened:
        stock(opened, students(3))
        ana = readings(PLAN, d5=UNSURE, w2=None, w3=130, month=None)
        ben = readings(PLAN, 15, d5=UNSURE, w2=None, month=None)
        hand_in(opened, [page_reading(ana, code="K001")], "ana.jpg")
        hand_in(opened, [page_reading(ben, code="X001")], "ben.jpg", guess="S002", guess_score=100)
        yield opened


def keys(keeper: Bookkeeper) -> list[tuple[str, str]]:
    return [(question.student_id, question.box) for question in keeper.book.questions]


def find(keeper: Bookkeeper, student_id: str, box: str) -> Question:
    return next(q for q in keeper.book.questions if (q.student_id, q.box) == (student_id, box))


def test_the_book_has_every_student_and_the_page_question_first(ledger: Ledger) -> None:
    keeper = Bookkeeper(ledger, PLAN)
    assert [sheet.student.id for sheet in keeper.book.sheets] == ["S001", "S002", "S003"]
    assert [bool(sheet.boxes) for sheet in keeper.book.sheets] == [True, False, False]
    assert keys(keeper) == [("", "chart"), ("S001", DAY), ("S001", "week:3")]
    assert keeper.book.questions[0].suggestion == "S002"


def test_an_empty_ledger_gives_an_empty_book(tmp_path: Path) -> None:
    with Ledger.open(tmp_path) as empty:
        book = Bookkeeper(empty, PLAN).book
    assert (tuple(book.sheets), tuple(book.questions)) == ((), ())


def test_an_answer_settles_its_box_and_is_kept_with_what_was_before(ledger: Ledger) -> None:
    keeper = Bookkeeper(ledger, PLAN)
    keeper.answer(find(keeper, "S001", DAY), " 35 ", shown=b"PNG")
    box = keeper.book.sheets[0].boxes[DAY]
    assert (box.state, box.value) == (State.ANSWERED, 35)
    assert ("S001", DAY) not in keys(keeper)
    (kept,) = ledger.answers()
    assert (kept.student_id, kept.box, kept.answer, kept.before) == ("S001", DAY, "35", "25")
    assert (kept.by, kept.shown, kept.page_id) == ("prompt", b"PNG", 1)
    assert kept.why == "This cannot be read with certainty."


def test_an_answer_about_a_page_brings_its_boxes_and_their_questions(ledger: Ledger) -> None:
    keeper = Bookkeeper(ledger, PLAN)
    keeper.answer(keeper.book.questions[0], "S002")
    assert keeper.book.sheets[1].pages == (2,)
    assert keys(keeper) == [("S001", DAY), ("S002", DAY), ("S001", "week:3")]
    keeper.take_back()
    assert keeper.book.sheets[1].boxes == {}
    keeper.answer(keeper.book.questions[0], "not ours")
    assert keys(keeper) == [("S001", DAY), ("S001", "week:3")]


def test_a_page_may_be_given_to_another_student_later(ledger: Ledger) -> None:
    keeper = Bookkeeper(ledger, PLAN)
    about_page = keeper.book.questions[0]
    keeper.answer(about_page, "S002")
    keeper.answer(about_page, "S003")
    assert [len(sheet.pages) for sheet in keeper.book.sheets] == [1, 0, 1]
    assert ledger.answers()[-1].before == "S002"


def test_a_box_that_nobody_asked_about_can_be_put_right(ledger: Ledger) -> None:
    keeper = Bookkeeper(ledger, PLAN)
    keeper.answer(Question("S001", "day:2027-10-06", "", 0.0, (), 1), "40")
    assert keeper.book.sheets[0].boxes["day:2027-10-06"].value == 40
    assert ledger.answers()[-1].before == "20"


def test_taking_back_goes_back_answer_by_answer_and_gives_the_question_again(ledger: Ledger) -> None:
    keeper = Bookkeeper(ledger, PLAN)
    before = keeper.book
    day, week = find(keeper, "S001", DAY), find(keeper, "S001", "week:3")
    keeper.answer(day, "25")
    keeper.answer(week, "130")
    assert keeper.take_back() == week
    assert keeper.take_back() == day
    assert keeper.take_back() is None
    assert keeper.book == before
    assert [answer.answer for answer in ledger.answers()] == ["25", "130", "", ""]


def test_answers_of_an_earlier_run_are_not_taken_back_but_restored(ledger: Ledger) -> None:
    first = Bookkeeper(ledger, PLAN)
    day = find(first, "S001", DAY)
    first.answer(day, "25")
    second = Bookkeeper(ledger, PLAN)
    assert second.take_back() is None
    second.answer(day, "26")
    assert second.take_back() == day
    assert second.book.sheets[0].boxes[DAY].value == 25


@pytest.mark.parametrize(
    ("question", "answer"),
    [
        (Question("S001", DAY, "", 0.0, (), 1), "lots"),
        (Question("S001", "day:2027-11-05", "", 0.0, (), 1), "25"),
        (Question("S003", DAY, "", 0.0, (), 1), "25"),
        (Question("S009", DAY, "", 0.0, (), 1), "25"),
        (Question("", "chart", "", 0.0, (), 2), "S009"),
        (Question("", "chart", "", 0.0, (), 99), "S001"),
    ],
)
def test_what_cannot_be_taken_changes_nothing(ledger: Ledger, question: Question, answer: str) -> None:
    keeper = Bookkeeper(ledger, PLAN)
    before = keeper.book
    with pytest.raises(AnswerError):
        keeper.answer(question, answer)
    assert keeper.book == before
    assert ledger.answers() == ()
    assert keeper.take_back() is None


def test_a_page_of_a_student_who_has_left_is_asked_about(ledger: Ledger) -> None:
    _, ben, cleo = students(3)
    ledger.sync_roster((ben, cleo))
    keeper = Bookkeeper(ledger, PLAN)
    assert [q.flags[0].reason for q in keeper.book.questions] == ["student-left", "spare"]
    assert [sheet.student.id for sheet in keeper.book.sheets] == ["S002", "S003"]


def test_a_late_page_counts_once_a_person_says_so(ledger: Ledger) -> None:
    late = NOON.replace(month=11, day=3)
    hand_in(ledger, [page_reading(readings(PLAN), code="K003")], "late.jpg", dated=late)
    keeper = Bookkeeper(ledger, PLAN)
    question = find(keeper, "S003", "chart")
    assert not keeper.book.sheets[2].boxes
    keeper.answer(question, question.suggestion)
    assert keeper.book.sheets[2].boxes
    assert keeper.book.sheets[2].late


@pytest.mark.parametrize("seed", range(4))
def test_after_any_answers_the_book_is_that_of_a_fresh_start(ledger: Ledger, seed: int) -> None:
    """Answers in any order, some taken back, to questions and to boxes that nobody asked about."""
    chance = Random(seed)
    keeper = Bookkeeper(ledger, PLAN)
    for _ in range(12):
        boxes = [
            Question(sheet.student.id, box.box, "", 0.0, (), 1)
            for sheet in keeper.book.sheets
            for box in sheet.boxes.values()
            if box.box.startswith(("day", "week"))
        ]
        pages = [Question("", "chart", "", 0.0, (), page_id) for page_id in (1, 2)]
        step = chance.random()
        if step < 0.25:
            keeper.take_back()
        elif step < 0.45:
            keeper.answer(chance.choice(pages), chance.choice(["S001", "S002", "S003", "not ours"]))
        elif boxes:
            asked = [q for q in keeper.book.questions if q.box != "chart"]
            keeper.answer(
                chance.choice(asked or boxes), chance.choice(["0", "15", "25", "75", "130", "blank"])
            )
        assert keeper.book == Bookkeeper(ledger, PLAN).book
