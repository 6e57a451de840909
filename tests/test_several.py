"""Several pages of one student, blank ones, and what the gradebook says before and after the answers."""

import csv
import io
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from factories import NOON, Said, hand_in, october, page_reading, readings, stock, students

from ingest.check.book import Question
from ingest.check.bookkeeper import Bookkeeper
from ingest.check.fate import Fate, Outcome, What
from ingest.ledger.records import ChartRecord, ReturnState
from ingest.ledger.store import Ledger
from ingest.reading.values import PageReading
from ingest.report.gradebook import gradebook
from ingest.report.missing import Lack, missing

PLAN = october()

LATER = NOON + timedelta(days=1)


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    """Ana, Ben and Cleo with charts K001 to K003, spare charts X001 and X002."""
    with Ledger.open(tmp_path) as opened:
        stock(opened, students(3), spares=2)
        yield opened


def chart(code: str, minutes: int | None = 20, **said: Said) -> PageReading:
    """A chart without totals."""
    totals: dict[str, Any] = {**dict.fromkeys([f"w{n}" for n in range(1, 7)]), "month": None}
    return page_reading(readings(PLAN, minutes, **{**totals, **said}), code=code)


def part(code: str, first: int, last: int, minutes: int = 20) -> PageReading:
    """A chart on which only some days are filled in."""
    days: dict[str, Any] = {f"d{n}": minutes if first <= n <= last else None for n in range(1, 32)}
    return chart(code, **days)


def blank(code: str) -> PageReading:
    initials: dict[str, Any] = dict.fromkeys([f"i{n}" for n in range(1, 7)])
    return chart(code, None, **initials)


def row(keeper: Bookkeeper, student_id: str) -> dict[str, str]:
    """The student's row of the gradebook."""
    text = gradebook(keeper.book, PLAN).decode()
    return next(row for row in csv.DictReader(io.StringIO(text)) if row["student_id"] == student_id)


def marks(keeper: Bookkeeper, student_id: str) -> tuple[str, ...]:
    """handed_in, total_minutes, met, points, open_flags."""
    found = row(keeper, student_id)
    return tuple(found[name] for name in ("handed_in", "total_minutes", "met", "points", "open_flags"))


NOTHING = ("no", "", "", "", "0")


def only(keeper: Bookkeeper) -> Question:
    (question,) = keeper.book.questions
    return question


def reason(question: Question) -> str:
    return question.flags[0].reason


def fate(keeper: Bookkeeper, path: str) -> Fate:
    return next(each for each in keeper.fates() if each.path == path)


# -- a blank chart ------------------------------------------------------------------------------------


def test_a_blank_chart_is_never_a_zero_unless_a_person_says_so(ledger: Ledger) -> None:
    hand_in(ledger, [blank("K001")], "ana.jpg")
    keeper = Bookkeeper(ledger, PLAN)
    question = only(keeper)
    assert (question.student_id, reason(question)) == ("S001", "blank-chart")
    assert "Ana One's chart, but nothing is written on it" in question.flags[0].why
    assert marks(keeper, "S001") == ("no", "", "", "", "1")
    assert (fate(keeper, "ana.jpg").what, fate(keeper, "ana.jpg").outcome) == (What.BLANK, Outcome.ASKED)

    keeper.answer(question, "S001")
    assert marks(keeper, "S001") == ("yes", "0", "no", "0", "0")
    assert fate(keeper, "ana.jpg").outcome is Outcome.COUNTS
    keeper.take_back()
    keeper.answer(only(keeper), "not ours")
    assert marks(keeper, "S001") == NOTHING
    assert fate(keeper, "ana.jpg").outcome is Outcome.ASIDE


def test_written_zeros_are_not_blank(ledger: Ledger) -> None:
    hand_in(ledger, [chart("K001", 0)], "ana.jpg")
    assert marks(Bookkeeper(ledger, PLAN), "S001") == ("yes", "0", "no", "0", "0")


def test_a_chart_that_turns_out_to_be_blank_box_by_box_is_asked_about_as_a_whole(ledger: Ledger) -> None:
    hand_in(ledger, [chart("K001", None, d5="?")], "ana.jpg")
    keeper = Bookkeeper(ledger, PLAN)
    assert only(keeper).box == "day:2027-10-05"  # a smudge
    keeper.answer(only(keeper), "blank")
    assert reason(only(keeper)) == "blank-chart"
    assert marks(keeper, "S001") == ("no", "", "", "", "1")
    assert keeper.book == Bookkeeper(ledger, PLAN).book


def test_who_says_whose_a_blank_chart_is_is_told_that_it_is_blank(ledger: Ledger) -> None:
    hand_in(ledger, [blank("X001")], "spare.jpg", guess="S001", guess_score=100)
    keeper = Bookkeeper(ledger, PLAN)
    assert [flag.reason for flag in only(keeper).flags] == ["spare", "blank-chart"]
    assert only(keeper).confidence <= 0.5  # not to be waved through
    keeper.answer(only(keeper), "S001")
    assert marks(keeper, "S001") == ("yes", "0", "no", "0", "0")


def test_late_and_blank_is_one_question(ledger: Ledger) -> None:
    hand_in(ledger, [blank("K001")], "ana.jpg", dated=datetime(2027, 11, 3, 9))
    keeper = Bookkeeper(ledger, october(hand_in={"due": "2027-11-01", "late": "flag"}))
    assert [flag.reason for flag in only(keeper).flags] == ["late", "blank-chart"]
    assert (only(keeper).student_id, only(keeper).confidence) == ("S001", 0.5)
    keeper.answer(only(keeper), "S001")
    assert marks(keeper, "S001")[:2] == ("yes", "0")


def test_a_spare_chart_that_turns_out_to_be_blank_is_asked_about_again(ledger: Ledger) -> None:
    hand_in(ledger, [chart("X001", None, d5="?")], "spare.jpg", guess="S001", guess_score=100)
    keeper = Bookkeeper(ledger, PLAN)
    keeper.answer(only(keeper), "S001")
    keeper.answer(only(keeper), "blank")  # the smudge
    assert reason(only(keeper)) == "blank-chart"
    assert marks(keeper, "S001") == ("no", "", "", "", "1")
    keeper.answer(only(keeper), "S001")
    assert marks(keeper, "S001") == ("yes", "0", "no", "0", "0")
    assert keeper.book == Bookkeeper(ledger, PLAN).book


@pytest.mark.parametrize("blank_first", [True, False])
def test_beside_a_filled_chart_a_blank_one_says_nothing(ledger: Ledger, blank_first: bool) -> None:
    times = (NOON, LATER) if blank_first else (LATER, NOON)
    hand_in(ledger, [blank("K001")], "blank.jpg", dated=times[0])
    hand_in(ledger, [chart("K001")], "filled.jpg", dated=times[1])
    keeper = Bookkeeper(ledger, PLAN)
    assert keeper.book.questions == ()
    assert marks(keeper, "S001") == ("yes", str(31 * 20), "yes", "10", "0")
    assert fate(keeper, "blank.jpg").outcome is Outcome.ASIDE


def test_of_two_blank_ones_the_newest_is_asked_about(ledger: Ledger) -> None:
    hand_in(ledger, [blank("K001")], "newer.jpg", dated=LATER)
    hand_in(ledger, [blank("K001")], "older.jpg")
    keeper = Bookkeeper(ledger, PLAN)
    assert reason(only(keeper)) == "blank-chart"
    assert [fate(keeper, f"{name}.jpg").outcome for name in ("newer", "older")] == [
        Outcome.ASKED,
        Outcome.ASIDE,
    ]
    keeper.answer(only(keeper), "not ours")
    assert reason(only(keeper)) == "blank-chart"  # now the older
    keeper.answer(only(keeper), "not ours")
    assert marks(keeper, "S001") == NOTHING


# -- two returns of one chart -------------------------------------------------------------------------


def test_a_newer_photo_of_the_same_chart_goes_on_where_the_older_ends(ledger: Ledger) -> None:
    hand_in(ledger, [part("K001", 1, 31)], "end of month.jpg", dated=NOON)
    hand_in(ledger, [part("K001", 1, 14)], "mid month.jpg", dated=NOON - timedelta(days=16))
    keeper = Bookkeeper(ledger, PLAN)
    assert keeper.book.questions == ()
    assert marks(keeper, "S001") == ("yes", str(31 * 20), "yes", "10", "0")
    assert fate(keeper, "mid month.jpg").why == "Put together with end of month.jpg."


def test_a_few_days_that_differ_are_asked_day_by_day(ledger: Ledger) -> None:
    hand_in(ledger, [chart("K001", d5=20)], "first.jpg")
    hand_in(ledger, [chart("K001", d5=35)], "second.jpg", dated=LATER)
    keeper = Bookkeeper(ledger, PLAN)
    assert (only(keeper).box, reason(only(keeper))) == ("day:2027-10-05", "returns-differ")
    keeper.answer(only(keeper), "35")
    assert marks(keeper, "S001") == ("yes", str(31 * 20 + 15), "yes", "10", "0")


def test_many_days_that_differ_are_asked_about_as_a_whole_the_older_first(ledger: Ledger) -> None:
    hand_in(ledger, [chart("K001", 20)], "old.jpg")
    hand_in(ledger, [chart("K001", 30)], "new.jpg", dated=LATER)
    keeper = Bookkeeper(ledger, PLAN)
    question = only(keeper)
    assert (question.student_id, reason(question), question.page_id) == ("S001", "second-chart", 1)
    assert question.flags[0].why == (
        "Two returns of Ana One's chart differ in 31 days: this one of 31 October, and new.jpg of "
        "1 November. Does this one count?"
    )
    assert marks(keeper, "S001") == ("yes", str(31 * 30), "", "", "1")  # the newer, as far as it goes
    keeper.answer(question, "not ours")
    assert marks(keeper, "S001") == ("yes", str(31 * 30), "yes", "10", "0")

    keeper.take_back()
    keeper.answer(only(keeper), "S001")
    assert only(keeper).page_id == 2  # then does the newer one count?
    assert "this one of 1 November, and old.jpg of 31 October" in only(keeper).flags[0].why
    keeper.answer(only(keeper), "not ours")
    assert marks(keeper, "S001") == ("yes", str(31 * 20), "yes", "10", "0")
    keeper.take_back()
    keeper.answer(only(keeper), "S001")
    assert {reason(each) for each in keeper.book.questions} == {"returns-differ"}  # then day by day
    assert len(keeper.book.questions) == 31


def test_what_was_answered_about_a_return_goes_with_it(ledger: Ledger) -> None:
    hand_in(ledger, [chart("K001", 20, d5=((25, 0.6), (75, 0.3)))], "old.jpg")
    first = Bookkeeper(ledger, PLAN)
    first.answer(only(first), "75")
    hand_in(ledger, [chart("K001", 30, d5=((25, 0.6), (75, 0.3)))], "new.jpg", dated=LATER)
    keeper = Bookkeeper(ledger, PLAN)
    keeper.answer(keeper.book.questions[0], "not ours")  # the old one
    assert (only(keeper).box, only(keeper).page_id) == ("day:2027-10-05", 2)  # 75 stood on the other paper
    keeper.answer(only(keeper), "25")
    assert marks(keeper, "S001")[:2] == ("yes", str(30 * 30 + 25))
    assert keeper.book == Bookkeeper(ledger, PLAN).book


def test_without_times_apart_nothing_that_is_gone_passes_for_added(ledger: Ledger) -> None:
    """Downloaded by hand, both files bear one day: nobody knows which was first."""
    hand_in(ledger, [part("K001", 1, 14)], "a.jpg")
    hand_in(ledger, [part("K001", 1, 31)], "b.jpg")
    keeper = Bookkeeper(ledger, PLAN)
    assert (reason(only(keeper)), only(keeper).page_id) == ("second-chart", 1)
    keeper.answer(only(keeper), "not ours")
    assert marks(keeper, "S001") == ("yes", str(31 * 20), "yes", "10", "0")


# -- two different charts of one student --------------------------------------------------------------


def print_again(ledger: Ledger) -> None:
    """Another chart of Ana's, K901, as after a change of the paper."""
    ledger.add_charts([ChartRecord("K901", "S001", ledger.charts()[0].layout)])


def test_own_and_spare_chart_with_different_days_are_put_together_once_a_person_says_so(
    ledger: Ledger,
) -> None:
    hand_in(ledger, [part("K001", 1, 14)], "own.jpg")
    hand_in(ledger, [part("X001", 15, 31)], "spare.jpg", dated=LATER, guess="S001", guess_score=100)
    keeper = Bookkeeper(ledger, PLAN)
    assert reason(only(keeper)) == "spare"
    assert row(keeper, "S001")["met"] == ""
    keeper.answer(only(keeper), "S001")
    assert keeper.book.questions == ()
    assert marks(keeper, "S001") == ("yes", str(31 * 20), "yes", "10", "0")


def test_two_charts_that_both_say_whose_they_are_are_not_put_together_silently(ledger: Ledger) -> None:
    print_again(ledger)
    hand_in(ledger, [part("K001", 1, 14)], "own.jpg")
    hand_in(ledger, [part("K901", 15, 31)], "again.jpg", dated=LATER)
    keeper = Bookkeeper(ledger, PLAN)
    question = only(keeper)
    # the newer goes on where the older ends
    assert (reason(question), question.page_id) == ("second-chart", 2)
    assert "has handed in two charts, with different days filled in" in question.flags[0].why
    assert marks(keeper, "S001") == ("yes", str(14 * 20), "", "", "1")
    keeper.answer(question, "S001")
    assert marks(keeper, "S001") == ("yes", str(31 * 20), "yes", "10", "0")
    keeper.take_back()
    keeper.answer(only(keeper), "not ours")
    assert marks(keeper, "S001") == ("yes", str(14 * 20), "no", "0", "0")
    assert keeper.book == Bookkeeper(ledger, PLAN).book


def test_whoever_confirmed_a_chart_before_the_other_came_in_is_asked_again(ledger: Ledger) -> None:
    hand_in(ledger, [part("X001", 15, 31)], "spare.jpg", guess="S001", guess_score=100)
    first = Bookkeeper(ledger, PLAN)
    first.answer(only(first), "S001")
    hand_in(ledger, [part("K001", 1, 14)], "own.jpg", dated=LATER)
    keeper = Bookkeeper(ledger, PLAN)
    assert (reason(only(keeper)), only(keeper).page_id) == ("second-chart", 2)
    keeper.answer(only(keeper), "S001")
    assert marks(keeper, "S001") == ("yes", str(31 * 20), "yes", "10", "0")


def test_two_charts_that_say_the_same_need_no_answer(ledger: Ledger) -> None:
    print_again(ledger)
    hand_in(ledger, [chart("K001")], "own.jpg")
    hand_in(ledger, [chart("K901")], "again.jpg", dated=LATER)
    keeper = Bookkeeper(ledger, PLAN)
    assert keeper.book.questions == ()
    assert marks(keeper, "S001") == ("yes", str(31 * 20), "yes", "10", "0")


def test_another_childs_chart_may_be_given_away_in_the_answer(ledger: Ledger) -> None:
    """Two children with one chart, under names that say nothing."""
    hand_in(ledger, [chart("K001", 20)], "IMG_1.jpg")
    hand_in(ledger, [chart("K001", 30)], "IMG_2.jpg", dated=LATER)
    keeper = Bookkeeper(ledger, PLAN)
    keeper.answer(only(keeper), "S002")  # the older one's name is crossed out, Ben wrote his
    assert keeper.book.questions == ()
    assert marks(keeper, "S001")[:2] == ("yes", str(31 * 30))
    assert marks(keeper, "S002")[:2] == ("yes", str(31 * 20))


# -- two students with one chart, late ones, one who left ---------------------------------------------


def test_one_chart_under_two_students_names(ledger: Ledger) -> None:
    hand_in(ledger, [chart("K001", 20)], "Ana One/1.jpg", guess="S001", guess_score=100)
    hand_in(ledger, [chart("K001", 30)], "Ben Two/1.jpg", guess="S002", guess_score=100)
    keeper = Bookkeeper(ledger, PLAN)
    assert reason(only(keeper)) == "shared-code"
    assert marks(keeper, "S001")[:2] == ("yes", str(31 * 20))
    keeper.answer(only(keeper), "S002")
    assert marks(keeper, "S002") == ("yes", str(31 * 30), "yes", "10", "0")
    assert marks(keeper, "S001") == ("yes", str(31 * 20), "yes", "10", "0")


def test_the_very_same_file_under_two_students_names(ledger: Ledger) -> None:
    hand_in(ledger, [chart("K001", 20)], "Ana One/1.jpg", guess="S001", guess_score=100)
    sha256 = ledger.returns()[0].sha256
    ledger.add_copy("Ben Two/1.jpg", sha256, "S002", 100.0)
    keeper = Bookkeeper(ledger, PLAN)
    assert reason(only(keeper)) == "shared-code"
    assert marks(keeper, "S001")[0] == "no"
    keeper.answer(only(keeper), "S001")
    assert marks(keeper, "S001") == ("yes", str(31 * 20), "yes", "10", "0")
    assert marks(keeper, "S002") == NOTHING
    copy = fate(keeper, "Ben Two/1.jpg")
    assert (copy.what, copy.named, copy.why) == (What.COPY, "S002", "The very same file as Ana One/1.jpg.")


def test_a_late_return_is_told_or_asked_as_the_plan_says(ledger: Ledger) -> None:
    late = datetime(2027, 11, 3, 9)
    hand_in(ledger, [chart("K001")], "ana.jpg", dated=late)
    accepting = Bookkeeper(ledger, october(hand_in={"due": "2027-11-01", "late": "accept"}))
    assert accepting.book.questions == ()
    assert accepting.book.sheets[0].late
    assert fate(accepting, "ana.jpg").late

    plan = october(hand_in={"due": "2027-11-01", "late": "flag"})
    asking = Bookkeeper(ledger, plan)
    assert (reason(only(asking)), only(asking).suggestion) == ("late", "S001")
    assert marks(asking, "S001") == ("no", "", "", "", "1")
    asking.answer(only(asking), "not ours")
    assert marks(asking, "S001") == NOTHING
    left_out = fate(asking, "ana.jpg")
    assert (left_out.student_id, left_out.outcome) == ("S001", Outcome.ASIDE)
    (absent, *_) = missing(asking.book, asking.fates())
    assert (absent.student.id, absent.lack) == ("S001", Lack.ASIDE)  # not "nothing handed in"
    asking.take_back()
    asking.answer(only(asking), "S001")
    assert marks(asking, "S001") == ("yes", str(31 * 20), "yes", "10", "0")


def test_a_retake_after_the_due_date_does_not_make_a_return_in_time_late(ledger: Ledger) -> None:
    plan = october(hand_in={"due": "2027-11-01"})
    hand_in(ledger, [chart("K001", d5="?")], "blurred.jpg", dated=NOON)
    hand_in(ledger, [chart("K001")], "retake.jpg", dated=datetime(2027, 11, 3, 9))
    keeper = Bookkeeper(ledger, plan)
    assert keeper.book.questions == ()
    assert not keeper.book.sheets[0].late


def test_who_left_has_no_row_and_returns_who_comes_back(ledger: Ledger) -> None:
    hand_in(ledger, [chart("K001")], "ana.jpg")
    ana, ben, cleo = students(3)
    ledger.sync_roster((ben, cleo))
    keeper = Bookkeeper(ledger, PLAN)
    assert reason(only(keeper)) == "student-left"
    keeper.answer(only(keeper), "not ours")
    assert "S001" not in gradebook(keeper.book, PLAN).decode()
    keeper.take_back()
    ledger.sync_roster((ana, ben, cleo))
    back = Bookkeeper(ledger, PLAN)
    assert back.book.questions == ()
    assert marks(back, "S001") == ("yes", str(31 * 20), "yes", "10", "0")


# -- the wrong thing ----------------------------------------------------------------------------------


def test_the_wrong_thing_is_listed_with_the_student_whom_its_path_names(ledger: Ledger) -> None:
    september = page_reading((), code="ZZZZ", code_challenge="2027-09", layout=None)
    stranger = page_reading(readings(PLAN), code="YYYY")
    hand_in(ledger, [september], "Ana One/1.jpg", guess="S001", guess_score=100)
    hand_in(ledger, [stranger], "Ben Two/1.jpg", guess="S002", guess_score=100)
    ledger.add_return("Cleo Three/essay.docx", "cc", NOON, "This is a document of an office program.")
    keeper = Bookkeeper(ledger, PLAN)
    assert reason(only(keeper)) == "unknown-code"
    assert [(each.named, each.what, each.outcome, each.student_id) for each in keeper.fates()] == [
        ("S001", What.OTHER, Outcome.ASIDE, ""),
        ("S002", What.UNKNOWN, Outcome.ASKED, ""),
        ("S003", What.CLOSED, Outcome.UNREAD, ""),
    ]
    assert [marks(keeper, student)[0] for student in ("S001", "S002", "S003")] == ["no"] * 3
    keeper.answer(only(keeper), "not ours")
    assert [marks(keeper, student) for student in ("S001", "S002", "S003")] == [NOTHING] * 3


def test_what_waits_to_be_read_is_listed_too(ledger: Ledger) -> None:
    ledger.add_return("Ana One/1.jpg", "aa", NOON)
    (found,) = Bookkeeper(ledger, PLAN).fates()
    assert (found.named, found.what, found.outcome) == ("S001", What.NOT_YET, Outcome.WAITING)
    assert ledger.returns()[0].state is ReturnState.WAITING
