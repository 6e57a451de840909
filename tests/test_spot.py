"""Spot checks: a fair sample, nothing given away, nothing changed in silence, and what it proves."""

from collections import Counter
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest
from books import answered, book, flagged, month_of, october, read, sheet, student
from factories import hand_in, page_reading, readings, stock, students
from factories import october as plan
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chisquare

from ingest.check.book import Book, Question, State
from ingest.check.bookkeeper import Bookkeeper
from ingest.check.spot import LARGEST_SAMPLE, SpotResult, draw, last_result, result, sample_size, taken, words
from ingest.errors import AnswerError
from ingest.ledger.records import SpotAnswer, SpotBox, SpotCheck
from ingest.ledger.spots import answer_spot, begin_spot_check, spot_answers, spot_checks
from ingest.ledger.store import Ledger
from ingest.review.offer import offered
from ingest.review.spot import Disputes, SpotKeeper, begin, disputed, last, unfinished

pytestmark = pytest.mark.usefixtures("usual_threshold")

NOW = datetime(2027, 11, 2, 20)
PLAN = plan()
DAY = "day:2027-10-05"


# -- the sample -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lot", "boxes"),
    [
        *[(151, 32), (280, 32), (281, 50), (500, 50), (501, 80), (1200, 80), (1201, 125), (3200, 125)],
        *[(3201, 200), (10_000, 200), (10_001, 315), (35_000, 315)],
    ],
)
def test_sample_sizes_are_those_of_iso_2859(lot: int, boxes: int) -> None:
    """ISO 2859-1:1999, general inspection level II, normal inspection: letters G to M."""
    assert sample_size(lot) == boxes


def test_a_class_of_thirty_is_a_lot_of_930_and_of_it_80_are_looked_at() -> None:
    assert sample_size(30 * 31) == 80


def test_of_few_boxes_all_are_looked_at_and_of_very_many_no_more_than_a_person_can() -> None:
    assert [sample_size(lot) for lot in (0, 1, 19, 20, 150)] == [0, 1, 19, 20, 20]
    assert sample_size(100_000) == LARGEST_SAMPLE == 500  # letter N


def a_book() -> Book:
    """Two students; of Ana's month one day is flagged, one answered, one blank."""
    october_days = month_of(
        october(),
        20,
        d4=flagged("day:2027-10-04", 25),
        d5=answered("day:2027-10-05", 25),
        d6=read("day:2027-10-06", None),
    )
    extras = [
        read("week:1", 40),
        read("month", None),
        read("initials:1", None),
        read("outside:2027-09-30", None),
    ]
    return book(sheet(student("S1"), [*october_days, *extras]), sheet(student("S2"), month_of(october(), 15)))


def test_the_lot_is_every_day_and_total_that_was_accepted_without_a_person_blank_ones_too() -> None:
    boxes = [(student_id, box.box) for student_id, box in taken(a_book())]
    assert len(boxes) == (31 - 2) + 2 + 31
    assert ("S1", "day:2027-10-06") in boxes
    assert ("S1", "month") in boxes
    assert {box for _, box in boxes}.isdisjoint({"initials:1", "outside:2027-09-30"})
    assert {("S1", "day:2027-10-04"), ("S1", "day:2027-10-05")}.isdisjoint(boxes)


def test_every_box_is_as_likely_to_be_drawn_as_any_other() -> None:
    """Chi-square over 2,000 seeds, 10 of 62 boxes each; seeds are fixed, so it passes always or never."""
    of = a_book()
    times = Counter((box.student_id, box.box) for seed in range(2000) for box in draw(of, 10, seed))
    assert len(times) == len(taken(of))
    assert chisquare(list(times.values())).pvalue > 0.01


def test_the_first_asked_are_no_more_the_books_first_than_chance_has_it() -> None:
    of = a_book()
    firsts = Counter(draw(of, 10, seed)[0].student_id for seed in range(2000))
    assert 0.45 < firsts["S1"] / 2000 < 0.55  # each has 31 boxes of the lot


@given(st.integers(0, 2**48), st.integers(1, 62), st.integers(1, 62))
def test_a_seed_gives_the_same_sample_always_and_a_smaller_one_is_its_beginning(
    seed: int, one: int, other: int
) -> None:
    of = a_book()
    small, large = sorted((one, other))
    drawn = draw(of, large, seed)
    assert draw(of, small, seed) == drawn[:small]
    assert len({(box.student_id, box.box) for box in drawn}) == large
    assert [box.place for box in drawn] == list(range(1, large + 1))


def test_a_sample_remembers_what_had_been_read() -> None:
    drawn = {(box.student_id, box.box): box.reading for box in draw(a_book(), 1000, seed=1)}
    assert len(drawn) == 62
    assert drawn["S1", "day:2027-10-06"] == drawn["S1", "month"] == "blank"
    assert drawn["S2", "day:2027-10-06"] == "15"


# -- what it has shown ----------------------------------------------------------------------------------


def check_of(*readings_of: str, lot: int = 1000) -> SpotCheck:
    boxes = [SpotBox(n, "S1", f"day:2027-10-{n:02}", 1, said) for n, said in enumerate(readings_of, start=1)]
    return SpotCheck(7, NOW, 1, lot, boxes)


def seen(*answers: str) -> list[SpotAnswer]:
    return [SpotAnswer(n, NOW, 7, n, said, "prompt", b"") for n, said in enumerate(answers, start=1)]


def test_what_agrees_is_right_and_a_dash_a_zero_and_nothing_are_one() -> None:
    found = result(check_of("20", "blank", "0", "blank"), seen("20", "blank", "blank", "0"), ())
    assert (found.looked, found.blank, found.wrong) == (4, 2, 0)


def test_what_differs_counts_as_wrong_until_it_is_settled() -> None:
    found = result(check_of("20", "15"), seen("20", "75"), (), asked={("S1", "day:2027-10-02")})
    assert (found.open, found.misread, found.wrong) == (1, 0, 1)


def test_what_was_read_anew_since_was_misread() -> None:
    found = result(check_of("15"), seen("75"), (), asked=())
    assert (found.open, found.misread) == (0, 1)


def test_only_the_last_word_about_a_box_counts_and_one_taken_back_does_not() -> None:
    corrected = [*seen("75", "20"), SpotAnswer(3, NOW, 7, 1, "15", "prompt", b"")]
    assert result(check_of("15", "20"), corrected, ()).wrong == 0
    back = [*seen("75", "20"), SpotAnswer(3, NOW, 7, 1, "", "prompt", b"")]
    assert result(check_of("15", "20"), back, ()).looked == 1


def test_answers_of_another_spot_check_do_not_count() -> None:
    other = SpotAnswer(1, NOW, 6, 1, "75", "prompt", b"")
    assert result(check_of("15"), [other], ()).looked == 0


def shown(
    looked: int, misread: int = 0, open_boxes: int = 0, lot: int = 10_000, drawn: int | None = None
) -> str:
    drawn = looked if drawn is None else drawn
    return words(SpotResult(NOW, lot, drawn, looked, 0, open_boxes, misread))


@pytest.mark.parametrize(
    ("looked", "misread", "rate"),
    [
        (30, 0, "1 in 10"),  # rule of three (Hanley & Lippman-Hand 1983), exactly 0.09503
        (300, 0, "1 in 100"),  # 0.00994
        (1000, 0, "1 in 330"),  # 0.00299
        (80, 0, "1 in 27"),  # scipy: 0.03676
        (200, 3, "1 in 26"),  # scipy: 0.03834
    ],
)
def test_the_result_says_how_many_may_be_wrong_at_most(looked: int, misread: int, rate: str) -> None:
    assert f"So at most {rate} of all 10,000 is wrong, 95 % sure." in shown(looked, misread)


@pytest.mark.parametrize("wrong_of_310", [0, 1, 6, 31])
def test_95_in_100_spot_checks_do_not_promise_too_much(wrong_of_310: int) -> None:
    """What the bound is for: 10 charts, so many of their boxes misread; 400 spot checks of 50 boxes each."""
    of = book(*(sheet(student(f"S{n}"), month_of(october(), 20)) for n in range(10)))
    misread = {(who, box.box) for who, box in taken(of)[::7][:wrong_of_310]}
    kept = 0
    for seed in range(400):
        boxes = draw(of, 50, seed)
        check = SpotCheck(7, NOW, seed, 310, boxes)
        said = seen(*("75" if (box.student_id, box.box) in misread else "20" for box in boxes))
        kept += result(check, said, ()).bound >= wrong_of_310 / 310
    assert kept >= 0.95 * 400


def test_the_result_in_words() -> None:
    assert shown(80).startswith("Spot check of 2 November: 80 of 10,000 boxes looked at, none misread.")
    assert "2 misread. In 1 you and Daybox differ; until `daybox review` settles that, it counts" in shown(
        80, 2, 1
    )
    assert "43 of the 80 drawn are left" in shown(37, drawn=80)
    assert "at most" not in shown(1)
    assert "at most" not in shown(50, lot=50)  # all were looked at: there is nothing left to guess
    assert "is looked at yet" in shown(0, drawn=80)


# -- through the ledger ---------------------------------------------------------------------------------


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    """Two students with 20 minutes every day, rightly added up."""
    with Ledger.open(tmp_path) as opened:
        stock(opened, students(2))
        for name in ("K001", "K002"):
            hand_in(opened, [page_reading(readings(PLAN), code=name)], f"{name}.jpg")
        yield opened


def book_of(ledger: Ledger) -> Book:
    return Bookkeeper(ledger, PLAN).book


def drawn(ledger: Ledger, *boxes: tuple[str, str, str]) -> SpotCheck:
    """A spot check of just these: student, box, reading."""
    chosen = [
        SpotBox(n, who, box, 1 if who == "S001" else 2, said) for n, (who, box, said) in enumerate(boxes, 1)
    ]
    return begin_spot_check(ledger, 1, 76, chosen)


def state_of(ledger: Ledger, box: str = DAY, who: str = "S001") -> tuple[State, int | None]:
    settled = next(each for each in book_of(ledger).sheets if each.student.id == who).boxes[box]
    return settled.state, settled.value


def test_the_ledger_keeps_the_sample_and_every_answer_with_what_was_shown(ledger: Ledger) -> None:
    begun = begin(ledger, book_of(ledger), 5, seed=2**48 - 1)
    assert begun is not None
    assert (begun.seed, begun.lot, len(begun.boxes)) == (2**48 - 1, 2 * 38, 5)
    first = answer_spot(ledger, begun.id, 1, "75", by="prompt", shown=b"\x89PNG")
    answer_spot(ledger, begun.id, 1, "20", by="sheet")
    assert spot_checks(ledger) == (begun,)
    kept = spot_answers(ledger)
    assert [(each.place, each.answer, each.by, each.shown) for each in kept] == [
        (1, "75", "prompt", b"\x89PNG"),
        (1, "20", "sheet", b""),
    ]
    assert kept[0] == first
    assert spot_answers(ledger, pictures=False)[0].shown == b""


def test_nothing_is_begun_where_nothing_was_accepted(tmp_path: Path) -> None:
    with Ledger.open(tmp_path) as empty:
        assert begin(empty, book(), None, seed=1) is None
        assert spot_checks(empty) == ()
        assert last_result(empty, book()) is None


def test_the_questions_give_away_neither_reading_nor_confidence_nor_reason(ledger: Ledger) -> None:
    of = book_of(ledger)
    begun = begin(ledger, of, None, seed=3)
    assert begun is not None
    questions = SpotKeeper(ledger, of, begun).book.questions
    assert len(questions) == 20
    assert {(each.suggestion, each.confidence, tuple(each.flags)) for each in questions} == {("", 0.0, ())}
    assert [(each.student_id, each.box) for each in questions] == [(b.student_id, b.box) for b in begun.boxes]


def test_what_agrees_changes_nothing_and_what_differs_becomes_a_question_with_both_numbers(
    ledger: Ledger,
) -> None:
    check = drawn(ledger, ("S001", DAY, "20"), ("S002", DAY, "20"))
    keeper = SpotKeeper(ledger, book_of(ledger), check)
    first, second = keeper.book.questions
    keeper.answer(first, "20")
    keeper.answer(second, "75")
    assert keeper.book.questions == ()
    assert state_of(ledger) == (State.READ, 20)
    assert state_of(ledger, who="S002") == (State.FLAGGED, 20)
    (question,) = book_of(ledger).questions
    assert (question.student_id, question.box) == ("S002", DAY)
    assert [flag.reason for flag in question.flags] == ["spot-check"]
    assert question.flags[0].why == "Read as 20, but in the spot check you typed 75."
    assert offered(question, {"S002"}, seen=True) == ""
    assert ledger.answers() == ()


@pytest.mark.parametrize(("settled", "misread", "value"), [("75", 1, 75), ("20", 0, 20), ("70", 1, 70)])
def test_settling_it_decides_who_was_wrong(ledger: Ledger, settled: str, misread: int, value: int) -> None:
    check = drawn(ledger, ("S001", DAY, "20"))
    SpotKeeper(ledger, book_of(ledger), check).answer(_only(SpotKeeper(ledger, book_of(ledger), check)), "75")
    keeper = Bookkeeper(ledger, PLAN)
    found = last_result(ledger, keeper.book)
    assert found is not None
    assert (found.open, found.misread, found.wrong) == (1, 0, 1)
    Disputes(keeper).answer(_only(Disputes(keeper)), settled)
    found = last_result(ledger, keeper.book)
    assert found is not None
    assert (found.open, found.misread) == (0, misread)
    assert state_of(ledger) == (State.ANSWERED, value)
    assert disputed(keeper.book.questions) == disputed(book_of(ledger).questions) == []


def _only(keeper: SpotKeeper | Disputes) -> Question:
    (question,) = keeper.book.questions
    return question


def test_blank_against_a_number_is_told_in_words(ledger: Ledger) -> None:
    check = drawn(ledger, ("S001", DAY, "20"))
    keeper = SpotKeeper(ledger, book_of(ledger), check)
    keeper.answer(_only(keeper), "blank")
    (question,) = book_of(ledger).questions
    assert question.flags[0].why == "Read as 20, but in the spot check you found it blank."


def test_a_later_spot_check_that_agrees_ends_the_dispute(ledger: Ledger) -> None:
    for said in ("75", "20"):
        keeper = SpotKeeper(ledger, book_of(ledger), drawn(ledger, ("S001", DAY, "20")))
        keeper.answer(_only(keeper), said)
    assert book_of(ledger).questions == ()


def test_a_reading_that_became_what_the_person_saw_is_no_longer_disputed(ledger: Ledger) -> None:
    keeper = SpotKeeper(ledger, book_of(ledger), drawn(ledger, ("S001", DAY, "75")))
    keeper.answer(_only(keeper), "20")
    assert book_of(ledger).questions == ()
    found = last_result(ledger, book_of(ledger))
    assert found is not None
    assert (found.open, found.misread) == (0, 1)


def test_a_dispute_on_which_the_challenge_hangs_is_asked_before_one_on_which_nothing_does(
    ledger: Ledger,
) -> None:
    check = drawn(
        ledger, ("S001", "day:2027-10-04", "20"), ("S001", DAY, "20"), ("S001", "day:2027-10-06", "20")
    )
    keeper = SpotKeeper(ledger, book_of(ledger), check)
    for question, said in zip(keeper.book.questions, ("25", "10", "100"), strict=True):
        keeper.answer(question, said)
    asked = [question.box for question in book_of(ledger).questions]
    assert asked == [DAY, "day:2027-10-06", "day:2027-10-04"]  # under 15 minutes; then by minutes at stake


def test_undo_asks_again_and_withdraws_the_dispute(ledger: Ledger) -> None:
    check = drawn(ledger, ("S001", DAY, "20"))
    keeper = SpotKeeper(ledger, book_of(ledger), check)
    question = _only(keeper)
    keeper.answer(question, "75")
    assert keeper.take_back() == question
    assert keeper.book.questions == (question,)
    assert book_of(ledger).questions == ()
    assert keeper.take_back() is None
    assert [each.answer for each in spot_answers(ledger)] == ["75", ""]


def test_a_spot_check_goes_on_where_it_was_left_unless_another_size_is_wanted(ledger: Ledger) -> None:
    begun = begin(ledger, book_of(ledger), 3, seed=4)
    assert begun is not None
    keeper = SpotKeeper(ledger, book_of(ledger), begun)
    keeper.answer(keeper.book.questions[0], "20")
    again = unfinished(ledger, book_of(ledger))
    assert again == begun
    assert SpotKeeper(ledger, book_of(ledger), again).book.questions == keeper.book.questions
    assert len(keeper.book.questions) == 2
    assert unfinished(ledger, book_of(ledger), size=3) == begun
    assert unfinished(ledger, book_of(ledger), size=4) is None


def test_a_finished_spot_check_is_not_gone_on_with(ledger: Ledger) -> None:
    keeper = SpotKeeper(ledger, book_of(ledger), drawn(ledger, ("S001", DAY, "20")))
    keeper.answer(_only(keeper), "20")
    assert unfinished(ledger, book_of(ledger)) is None
    assert last(ledger) == keeper.check


def test_a_box_that_was_not_drawn_and_a_number_that_cannot_be_are_refused(ledger: Ledger) -> None:
    keeper = SpotKeeper(ledger, book_of(ledger), drawn(ledger, ("S001", DAY, "20")))
    (other,) = SpotKeeper(ledger, book_of(ledger), drawn(ledger, ("S002", DAY, "20"))).book.questions
    with pytest.raises(AnswerError, match="none of those drawn"):
        keeper.answer(other, "20")
    with pytest.raises(AnswerError, match="no answer"):
        keeper.answer(_only(keeper), "9999")
    assert spot_answers(ledger) == ()


def test_a_box_whose_page_counts_no_longer_is_passed_over(ledger: Ledger) -> None:
    check = begin_spot_check(
        ledger, 1, 76, [SpotBox(1, "S001", DAY, 99, "20"), SpotBox(2, "gone", DAY, 1, "20")]
    )
    assert SpotKeeper(ledger, book_of(ledger), check).book.questions == ()


def test_only_disputes_are_asked_after_a_spot_check(ledger: Ledger) -> None:
    hand_in(
        ledger,
        [page_reading(readings(PLAN, d7=((25, 0.6), (75, 0.3)), w2=None, month=None), code="K002")],
        "b",
    )
    keeper = SpotKeeper(ledger, book_of(ledger), drawn(ledger, ("S001", DAY, "20")))
    keeper.answer(_only(keeper), "75")
    keeper_of_all = Bookkeeper(ledger, PLAN)
    assert len(keeper_of_all.book.questions) > 1
    assert disputed(keeper_of_all.book.questions) == list(Disputes(keeper_of_all).book.questions)
    assert [each.box for each in Disputes(keeper_of_all).book.questions] == [DAY]
