"""Books written by hand, for tests of what is made from them."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from ingest.check.book import Book, Flag, Question, Settled, Sheet, State
from ingest.ledger.records import PageRecord, ReturnRecord, ReturnState
from ingest.plan.challenge import Challenge
from ingest.plan.roster import Student

ILLEGIBLE = Flag("illegible", "Cannot be read with certainty.")


def october(**sections: Mapping[str, Any]) -> Challenge:
    """October 2027, which begins on a Friday; the 11th is a holiday on a Monday: 20 required days."""
    plan: dict[str, Any] = {
        "title": "October practice challenge",
        "month": "2027-10",
        "days": {"no_school": ["2027-10-11"]},
    }
    for name, keys in sections.items():
        plan[name] = {**plan.get(name, {}), **keys}
    return Challenge.model_validate(plan)


def student(student_id: str, section: str = "Flutes", **extra: str) -> Student:
    return Student(student_id, f"First{student_id}", f"Last{student_id}", section, extra)


def read(box: str, value: int | None, page_id: int = 1) -> Settled:
    state = State.BLANK if value is None else State.READ
    return Settled(box, state, value, 0.9999, (), page_id)


def flagged(box: str, guess: int | None, page_id: int = 1, confidence: float = 0.6) -> Settled:
    return Settled(box, State.FLAGGED, guess, confidence, (ILLEGIBLE,), page_id)


def answered(box: str, value: int | None, page_id: int | None = 1) -> Settled:
    return Settled(box, State.ANSWERED, value, 1.0, (), page_id)


def sheet(who: Student, boxes: Sequence[Settled], pages: Sequence[int] = (1,), late: bool = False) -> Sheet:
    return Sheet(who, {box.box: box for box in boxes}, pages, late)


def month_of(challenge: Challenge, minutes: int | None, **other: Settled) -> list[Settled]:
    """Every day box of the month, all alike, but for those given by day number: `d5=flagged(...)`."""
    days: dict[date, Settled] = {day: read(f"day:{day}", minutes) for day in challenge.month.dates()}
    for name, box in other.items():
        day = date(challenge.month.year, challenge.month.number, int(name[1:]))
        days[day] = box
    return list(days.values())


def book(*sheets: Sheet, questions: Sequence[Question] | None = None) -> Book:
    """A book of those sheets; unless given, the questions are those of its flagged boxes."""
    if questions is None:
        questions = [question(each, box) for each in sheets for box in each.boxes.values() if _is_open(box)]
    return Book(sheets, questions)


def _is_open(box: Settled) -> bool:
    return box.state is State.FLAGGED


def question(of: Sheet, box: Settled) -> Question:
    suggestion = "blank" if box.value is None else str(box.value)
    assert box.page_id is not None
    return Question(of.student.id, box.box, suggestion, box.confidence, box.flags, box.page_id)


def page_question(
    page_id: int, student_id: str = "", suggestion: str = "", reason: str = "no-code", confidence: float = 0.5
) -> Question:
    flag = Flag(reason, "No chart code was found on the page.")
    return Question(student_id, "chart", suggestion, confidence, (flag,), page_id)


def a_return(return_id: int, path: str) -> ReturnRecord:
    noon = datetime(2027, 11, 1, 12)
    return ReturnRecord(return_id, path, f"{return_id:064x}", noon, noon, ReturnState.DONE, "")


def a_page(page_id: int, return_id: int, number: int = 1, problem: str = "") -> PageRecord:
    return PageRecord(page_id, return_id, number, problem, None, None, "", "", 0.1, 8, "layout", "", 0.0, ())
