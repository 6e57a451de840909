"""The book: for every student, every box as it stands now. All screens and files are made from it."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from ingest.plan.roster import Student


class State(StrEnum):
    """How far a box is settled. The words are those of `daybox readings`."""

    READ = "read"  # taken without a person; value is set (or, for initials, something is there)
    BLANK = "blank"  # nothing written; value is None
    FLAGGED = "flagged"  # a person must look; value is the best guess and counts for nothing
    ANSWERED = "answered"  # a person said so; value None means blank


_ORDER = ("day", "week", "month", "initials")


def chart_order(box: str) -> tuple[int, int, str]:
    """Sorts boxes as they are read on the chart: days, weeks, the month, initials, all else."""
    kind, _, rest = box.partition(":")
    rank = _ORDER.index(kind) if kind in _ORDER else len(_ORDER)
    number = re.fullmatch(r"\d+", rest)
    return rank, int(number[0]) if number else 0, rest  # week 10 after week 9; dates sort as text


@dataclass(frozen=True, slots=True)
class Flag:
    """A reason a person must look.

    reason: a short fixed word for programs: "illegible", "not-a-number", "sum", "too-much",
        "outside-month", "returns-differ", "typed-differs", "spot-check" for boxes; "unknown-code", "no-code",
        "shared-code", "spare", "renamed", "student-left", "late", "blank-chart", "second-chart",
        "poor-fit" for whole pages.
    why: one plain sentence for the teacher.
    """

    reason: str
    why: str


@dataclass(frozen=True, slots=True)
class Settled:
    """One box of one student's chart.

    confidence: that `value` is right, given the whole chart; 1.0 where a person answered, or where it was
        typed beyond doubt.
    page_id: the page it was read on (for the picture); None only for an answer without a page.
    minutes_each: what one filled circle of the box counts; 0 where a number is written.
    most_named: of a flagged box, the most minutes that anything speaks for, however little; else 0.
    """

    box: str
    state: State
    value: int | None
    confidence: float
    flags: Sequence[Flag]
    page_id: int | None
    minutes_each: int = 0
    most_named: int = 0


@dataclass(frozen=True, slots=True)
class Sheet:
    """Everything known of one student. `boxes` is empty when nothing usable was handed in."""

    student: Student
    boxes: Mapping[str, Settled]
    pages: Sequence[int]  # page ids, oldest first
    late: bool


@dataclass(frozen=True, slots=True)
class Question:
    """One thing to ask a person.

    student_id: "" when it is unknown whose page it is.
    box: a box name, or "chart" for a question about a whole page.
    suggestion: what to offer ("25", "blank", a student id) or "". For boxes: the best guess, however
        unsure; `ingest.review.offer` says when a person is shown it.
    page_id: where the picture is.
    """

    student_id: str
    box: str
    suggestion: str
    confidence: float
    flags: Sequence[Flag]
    page_id: int


@dataclass(frozen=True, slots=True)
class Book:
    """sheets: one a student on the roster, in roster order.

    questions: pages first, then what may count most by itself; `ingest.tally.stakes` goes by prizes.
    """

    sheets: Sequence[Sheet]
    questions: Sequence[Question]
