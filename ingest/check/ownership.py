"""Whose page is it? The chart code says so; where it cannot, a person must."""

import calendar
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from ingest.check.answers import NOT_OURS
from ingest.check.blank import is_blank_page
from ingest.check.book import Flag, Question
from ingest.check.lateness import is_late
from ingest.collect.owner import NOBODY, Guess
from ingest.ledger.records import ChartRecord, CopyRecord, PageRecord, ReturnRecord
from ingest.plan.challenge import Challenge
from ingest.plan.month import Month
from ingest.plan.names import is_same_child
from ingest.plan.roster import Student

# From this score on (of 100) the path names somebody clearly enough to put a printed code in doubt.
CLEARLY_NAMED = 90.0
# From here on the name that was read on the page is the student's own, each letter of it.
SURELY_WRITTEN = 100.0
# Or from here on, where the path names the same student.
LIKELY_WRITTEN = 80.0
# What is left of a guess that nobody should wave through.
DOUBTFUL = 0.5


@dataclass(frozen=True, slots=True)
class Grade:
    """All that tells whose a page may be. charts: by code; students and former: by id."""

    challenge: Challenge
    charts: Mapping[str, ChartRecord]
    students: Mapping[str, Student]
    former: Mapping[str, Student]


@dataclass(frozen=True, slots=True)
class Hints:
    """What else tells whose a page is, for want of a code or against it.

    written: whom the name means that was read on the page. copies: the same file under other names.
    rest_of: the student of whose chart another photo shows the other half; "" if none is known.
    """

    written: Guess = NOBODY
    copies: Sequence[CopyRecord] = ()
    rest_of: str = ""


NO_HINTS = Hints()


@dataclass(frozen=True, slots=True)
class Claim:
    """Whose a page is. owner: "" while a person must say, or for good if nothing on it can count.

    aside: why nothing on it can count, in a plain sentence; else "".
    """

    owner: str
    question: Question | None
    aside: str = ""


def claim(
    page: PageRecord, origin: ReturnRecord, grade: Grade, answer: str, hints: Hints = NO_HINTS
) -> Claim:
    """Whose the page is, or what to ask.

    origin: the return that it came in. answer: what a person said last about this page, or "".
    """
    if page.problem:  # no chart was found on it; there is nothing to own
        return Claim("", None, page.problem)
    if answer == NOT_OURS:
        return Claim("", None, "You said that it does not count.")
    if answer in grade.students:
        return Claim(answer, None)
    if other := other_challenge(page, grade):
        # Its own code says so, and none of its boxes was read: a person could only agree.
        return Claim("", None, other)

    chart = grade.charts.get(page.code) if page.code else None
    flags = list(_doubts(page, chart, grade, hints))
    owner = (chart.student_id if chart else None) or _named(page, grade, hints)
    certain = owner if not flags else ""
    if is_late(origin, grade.challenge) and grade.challenge.hand_in.late == "flag":
        flags.append(_late(origin, grade.challenge))
    if not flags:
        return Claim(owner, None)
    suggestion, confidence = _suggestion(page, certain, flags, grade, hints)
    if is_blank_page(page):  # who says whose it is must know that it will count as nothing practised
        flags.append(Flag("blank-chart", "Nothing is written on it: if it counts, then with 0 minutes."))
        confidence = min(DOUBTFUL, confidence)
    return Claim("", Question(certain, "chart", suggestion, confidence, tuple(flags), page.id))


def other_challenge(page: PageRecord, grade: Grade) -> str:
    """That a page is a chart of another month, in a sentence; else ""."""
    month = str(grade.challenge.month)
    if page.code_challenge in (None, month) or page.code in grade.charts:
        return ""
    theirs, ours = _month_words(str(page.code_challenge)), _month_words(month)
    return f"This is a chart for {theirs}, not for {ours}."


def day_words(day: date) -> str:
    """`3 November`."""
    return f"{day.day} {calendar.month_name[day.month]}"


def _doubts(page: PageRecord, chart: ChartRecord | None, grade: Grade, hints: Hints) -> Iterator[Flag]:
    """Why neither code nor name settles whose page it is; nothing if one does."""
    named = _named(page, grade, hints)
    if not page.code:
        if not named:
            yield Flag("no-code", "No chart code can be read on this page, so it may be anybody's.")
    elif chart is None:
        yield Flag(
            "unknown-code",
            f"The chart code {page.code} is none of those printed for this challenge; perhaps it is another "
            "teacher's chart.",
        )
    elif chart.student_id is None:
        if not named:
            yield Flag("spare", "This is a spare chart, which carries no name.")
    elif chart.student_id in grade.former:
        name = grade.former[chart.student_id].name
        yield Flag("student-left", f"The chart is {name}'s, who is no longer on the roster.")
    else:
        yield from _doubts_of_code(page, chart, grade, hints)
    if not page.readings:
        yield Flag("poor-fit", "The boxes of this page could not be found, so nothing on it was read.")


def _doubts_of_code(page: PageRecord, chart: ChartRecord, grade: Grade, hints: Hints) -> Iterator[Flag]:
    """What speaks against the student for whom a chart was printed."""
    assert chart.student_id is not None
    student = grade.students[chart.student_id]
    if not is_same_child(chart.name, student.name):
        yield Flag(
            "renamed",
            f"The chart was printed for {chart.name}, but the roster now gives the id {student.id} to "
            f"{student.name}.",
        )
        return
    printed = f"the chart was printed for {student.name}"
    if _is_anothers(page.guess, page.guess_score, student, grade):
        yield Flag("shared-code", f"The file's name says {grade.students[page.guess].name}, but {printed}.")
    elif _is_anothers(hints.written.student_id, hints.written.score, student, grade):
        name = grade.students[hints.written.student_id].name
        yield Flag("shared-code", f"The name on it says {name}, but {printed}.")
    for copy in hints.copies:
        if _is_anothers(copy.guess, copy.guess_score, student, grade):
            named = grade.students[copy.guess].name
            yield Flag(
                "shared-code",
                f"The very same file came as {copy.path} too, which says {named}, but {printed}.",
            )
            return


def _is_anothers(guess: str, score: float, student: Student, grade: Grade) -> bool:
    return score >= CLEARLY_NAMED and guess != student.id and guess in grade.students


def _named(page: PageRecord, grade: Grade, hints: Hints) -> str:
    """The student whose name was read on the page, or who handed in the other half of it.

    "" if that is not sure enough, or something says otherwise.
    """
    written = hints.written
    meant = hints.rest_of or written.student_id
    if meant not in grade.students:
        return ""
    others = [page.guess, *(copy.guess for copy in hints.copies)]
    if any(guess in grade.students and guess != meant for guess in others):
        return ""
    if hints.rest_of:
        return hints.rest_of
    is_likely = written.score >= LIKELY_WRITTEN and page.guess == written.student_id
    return written.student_id if is_likely or written.score >= SURELY_WRITTEN else ""


def _suggestion(
    page: PageRecord, certain: str, flags: Sequence[Flag], grade: Grade, hints: Hints
) -> tuple[str, float]:
    """What to offer, and how sure it is."""
    reasons = {flag.reason for flag in flags}
    if certain:
        return certain, 1.0
    if "student-left" in reasons:
        return NOT_OURS, 0.9
    written = hints.written
    guesses = [(page.guess, page.guess_score), (written.student_id, written.score)]
    guess, score = max(guesses, key=lambda each: (each[0] in grade.students, each[1]))
    if guess not in grade.students:
        return "", 0.0
    is_plain = reasons <= {"spare", "no-code", "late", "poor-fit"} and guess == page.guess
    return guess, score / 100 if is_plain else min(DOUBTFUL, score / 100)


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
