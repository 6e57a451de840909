"""Whose page is it? The chart code says so; where it cannot, a person must."""

import calendar
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from ingest.check.answers import NOT_OURS
from ingest.check.book import Flag, Question
from ingest.ledger.records import ChartRecord, PageRecord, ReturnRecord
from ingest.plan.challenge import Challenge
from ingest.plan.month import Month
from ingest.plan.roster import Student

# From this score on (of 100) the path names somebody clearly enough to put a printed code in doubt.
CLEARLY_NAMED = 90.0


@dataclass(frozen=True, slots=True)
class Grade:
    """All that tells whose a page may be. charts: by code; students and former: by id."""

    challenge: Challenge
    charts: Mapping[str, ChartRecord]
    students: Mapping[str, Student]
    former: Mapping[str, Student]


@dataclass(frozen=True, slots=True)
class Claim:
    """Whose a page is. owner: "" while a person must say, or for good if it is not ours."""

    owner: str
    question: Question | None


def claim(page: PageRecord, origin: ReturnRecord, grade: Grade, answer: str) -> Claim:
    """Whose the page is, or what to ask.

    origin: the return that it came in. answer: what a person said last about this page, or "".
    """
    if page.problem:  # no chart was found on it; there is nothing to own
        return Claim("", None)
    if answer == NOT_OURS:
        return Claim("", None)
    if answer in grade.students:
        return Claim(answer, None)

    chart = grade.charts.get(page.code) if page.code else None
    owner = chart.student_id or "" if chart else ""
    flags = list(_doubts(page, chart, grade))
    certain = owner if not flags else ""
    if is_late(origin, grade.challenge) and grade.challenge.hand_in.late == "flag":
        flags.append(_late(origin, grade.challenge))
    if not flags:
        return Claim(owner, None)
    suggestion, confidence = _suggestion(page, certain, flags, grade)
    return Claim("", Question(certain, "chart", suggestion, confidence, tuple(flags), page.id))


def is_late(origin: ReturnRecord, challenge: Challenge) -> bool:
    """Whether a return says that it was handed in after the due date; one without a date is not late."""
    due = challenge.hand_in.due
    return due is not None and origin.dated is not None and origin.dated.date() > due


def day_words(day: date) -> str:
    """`3 November`."""
    return f"{day.day} {calendar.month_name[day.month]}"


def _doubts(page: PageRecord, chart: ChartRecord | None, grade: Grade) -> Iterator[Flag]:
    """Why the code does not settle whose page it is; nothing if it does."""
    month = grade.challenge.month
    if chart is None and page.code_challenge not in (None, str(month)):
        theirs, ours = _month_words(str(page.code_challenge)), _month_words(str(month))
        yield Flag("other-challenge", f"This is a chart for {theirs}, not for {ours}.")
        return
    if not page.code:
        yield Flag("no-code", "No chart code can be read on this page, so it may be anybody's.")
    elif chart is None:
        yield Flag("unknown-code", f"The chart code {page.code} is none of those printed for this challenge.")
    elif chart.student_id is None:
        yield Flag("spare", "This is a spare chart, which carries no name.")
    elif chart.student_id in grade.former:
        name = grade.former[chart.student_id].name
        yield Flag("student-left", f"The chart is {name}'s, who is no longer on the roster.")
    elif (
        page.guess_score >= CLEARLY_NAMED and page.guess != chart.student_id and page.guess in grade.students
    ):
        named, printed = grade.students[page.guess].name, grade.students[chart.student_id].name
        yield Flag("shared-code", f"The file's name says {named}, but the chart was printed for {printed}.")
    if not page.readings:
        yield Flag("poor-fit", "The boxes of this page could not be found, so nothing on it was read.")


def _suggestion(page: PageRecord, certain: str, flags: Sequence[Flag], grade: Grade) -> tuple[str, float]:
    """What to offer, and how sure it is."""
    reasons = {flag.reason for flag in flags}
    if certain:
        return certain, 1.0
    if "other-challenge" in reasons:
        return NOT_OURS, 1.0
    if page.guess not in grade.students:
        return "", 0.0
    return page.guess, 0.5 if "shared-code" in reasons else page.guess_score / 100


def _late(origin: ReturnRecord, challenge: Challenge) -> Flag:
    assert origin.dated is not None
    assert challenge.hand_in.due is not None
    handed_in, due = day_words(origin.dated.date()), day_words(challenge.hand_in.due)
    return Flag("late", f"Handed in on {handed_in}; it was due on {due}. Does it count?")


def _month_words(month: str) -> str:
    """`September 2027`; what is no month, as it stands."""
    try:
        parsed = Month.parse(month)
    except ValueError:
        return month
    return f"{calendar.month_name[parsed.number]} {parsed.year}"
