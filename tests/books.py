"""Books written by hand, for tests of what is made from them."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

from ingest.chart.code import new_code
from ingest.chart.design import load_design
from ingest.chart.layout import lay_out
from ingest.check.book import Book, Flag, Question, Settled, Sheet, State
from ingest.ledger.records import ChartRecord, NewPage, PageRecord, ReturnRecord, ReturnState
from ingest.ledger.store import Ledger
from ingest.plan.challenge import Challenge, load_challenge
from ingest.plan.roster import Student, load_roster
from ingest.reading.values import BoxReading, Candidate, PageReading

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


def challenge_folder(folder: Path, unsure: str = "") -> None:
    """A challenge as it lies on disk: S1 has handed in a chart with 20 minutes a day, S2 has not.

    unsure: a box that could be read either as 25 or as 35, and no totals to tell.
    """
    folder.mkdir(exist_ok=True)
    plan = 'title = "October"\nmonth = "2027-10"\n[days]\nno_school = ["2027-10-11"]\n'
    (folder / "challenge.toml").write_text(plan, encoding="utf-8")
    roster = (
        "student_id,first_name,last_name,section,locker\nS1,Ana,Marsh,Flutes,12\nS2,Ben,Okoro,Flutes,13\n"
    )
    (folder / "roster.csv").write_text(roster, encoding="utf-8")
    challenge = load_challenge(folder)
    layout = lay_out(challenge, load_design(challenge.design, folder))
    minutes = {f"day:{day}": 20 for day in challenge.month.dates()}
    for number, week in enumerate(challenge.month.weeks(challenge.days.week_starts), 1):
        minutes[f"week:{number}"] = 20 * sum(f"day:{day}" in minutes for day in week)
    minutes["month"] = 20 * 31
    if unsure:
        minutes = {box: value for box, value in minutes.items() if box.startswith("day:")}
    either = (Candidate(25, "25", 0.6), Candidate(35, "35", 0.4))
    readings = [
        BoxReading(box.name, either if box.name == unsure else (_seen(minutes.get(box.name)),), 0.1)
        for box in (*layout.boxes, *layout.outside)
    ]
    code = new_code()
    with Ledger.open(folder) as ledger:
        ledger.sync_roster(load_roster(folder / "roster.csv"))
        key = ledger.add_layout(layout)
        ledger.add_charts([ChartRecord(code, "S1", key)])
        return_id = ledger.add_return("october.zip/IMG_1.jpg", "0" * 64, datetime(2027, 10, 31, 18))
        assert return_id is not None
        found = PageReading(code, "2027-10", "qr", "", readings, b"", 0.1, 8, key)
        ledger.finish_return(return_id, [NewPage(1, "", found)], ReturnState.DONE)


def _seen(minutes: int | None) -> Candidate:
    text = "" if minutes is None else str(minutes)
    return Candidate(minutes, text, 0.999999)
