"""What to ask a person, as far as one chart tells: what may count most in it first.

What of it decides a prize follows from all charts together: see `ingest.tally.stakes`, which keeps this
order where nothing else decides.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from ingest.check.answers import BLANK
from ingest.check.book import Question, Settled, Sheet, State
from ingest.check.settle import Doubt
from ingest.plan.challenge import Challenge


@dataclass(frozen=True, slots=True)
class Asked:
    """A question and its place: smaller ranks are asked first, ties in the order of the book."""

    question: Question
    rank: tuple[int, float]


# The first part of a rank.
_PAGE, _DECISIVE, _DAY, _TOTAL, _OUTSIDE = range(5)


def about_page(question: Question) -> Asked:
    """Whose page it is comes first: until then nothing on it counts."""
    return Asked(question, (_PAGE, 0.0))


def about_boxes(sheet: Sheet, doubts: Mapping[str, Doubt], challenge: Challenge) -> tuple[Asked, ...]:
    """The questions about a student's flagged boxes.

    First the required days on which it hangs whether the student meets the challenge, then all other
    days, each time those first that could change most minutes; then totals, which count for nothing.
    """
    open_race = _may_still_meet(sheet, challenge)
    required = {f"day:{day}" for day in challenge.required_dates()} if open_race else set()
    asked = []
    for name, doubt in doubts.items():
        box = sheet.boxes[name]
        kind = name.partition(":")[0]
        if kind == "day":
            group = _DECISIVE if name in required and doubt.crosses else _DAY
        else:
            group = _OUTSIDE if kind == "outside" else _TOTAL
        asked.append(Asked(_question(sheet.student.id, box), (group, -doubt.minutes)))
    return tuple(asked)


def _may_still_meet(sheet: Sheet, challenge: Challenge) -> bool:
    """Whether the settled days leave it open that the student meets the challenge."""
    short = 0
    for day in challenge.required_dates():
        box = sheet.boxes.get(f"day:{day}")
        if box and box.state is not State.FLAGGED:
            short += (box.value or 0) < challenge.days.minimum_minutes
    return short <= challenge.expectation.required_days_allowed_short


def _question(student_id: str, box: Settled) -> Question:
    assert box.page_id is not None  # every flag comes from a page
    guess = BLANK if box.value is None else str(box.value)
    suggestion = guess if box.confidence > 0 else ""
    return Question(student_id, box.box, suggestion, box.confidence, box.flags, box.page_id)
