"""A made-up book with questions, and a keeper that keeps it in memory: for tests of the review prompt."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace

import cv2
import numpy as np

from ingest.check.book import Book, Flag, Question, Sheet
from ingest.plan.challenge import Challenge
from ingest.plan.month import Month
from ingest.plan.roster import Student
from ingest.reading.values import Grey
from ingest.review.ahead import Cutter

CHALLENGE = Challenge(title="October practice", month=Month(2027, 10))

STUDENTS = (
    Student("S001", "Maria", "Lopez", "Period 2"),
    Student("S002", "Zoë", "Okonkwo-Lind", "Period 2"),
    Student("S003", "Aurelio", "Lopes", "Period 5"),
    Student("S004", "Petra", "Quill", "Period 5"),
)


def box_question(
    day: int,
    suggestion: str = "25",
    confidence: float = 0.6,
    student: str = "S001",
    reason: str = "illegible",
) -> Question:
    flag = Flag(reason, "The writing is hard to read.")
    return Question(student, f"day:2027-10-{day:02}", suggestion, confidence, (flag,), page_id=1)


def chart_question(suggestion: str = "", confidence: float = 0.0) -> Question:
    flag = Flag("no-code", "No chart code can be read on this page.")
    return Question("", "chart", suggestion, confidence, (flag,), page_id=2)


class FakeKeeper:
    """Takes answers as the bookkeeper does. `answers`: those that stand, oldest first."""

    def __init__(self, questions: Sequence[Question], students: Sequence[Student] = STUDENTS) -> None:
        sheets = tuple(Sheet(student, {}, (), late=False) for student in students)
        self.book = Book(sheets, tuple(questions))
        self.answers: list[tuple[Question, str, bytes, str]] = []
        self._before: list[Book] = []

    def answer(self, question: Question, answer: str, shown: bytes = b"", by: str = "prompt") -> None:
        self._before.append(self.book)
        self.answers.append((question, answer, shown, by))
        left = tuple(other for other in self.book.questions if other != question)
        self.book = replace(self.book, questions=left)

    def take_back(self) -> Question | None:
        if not self.answers:
            return None
        self.book = self._before.pop()
        return self.answers.pop()[0]

    def said(self) -> list[tuple[str, str]]:
        """(box, answer) of the answers that stand."""
        return [(question.box, answer) for question, answer, _, _ in self.answers]


def crop_saying(text: str) -> Grey:
    """A box as it lies on a flattened page, with frame, grain and pencil."""
    grain = np.random.default_rng(7).normal(200, 4, (96, 174))
    picture = np.clip(grain, 0, 255).astype(np.uint8)
    cv2.rectangle(picture, (8, 8), (165, 87), 150, 2)
    cv2.putText(picture, text, (36, 66), cv2.FONT_HERSHEY_SIMPLEX, 1.6, 90, 3, cv2.LINE_AA)
    return picture


@contextmanager
def fake_crops() -> Iterator[Cutter]:
    """Every box shows its own day of the month."""
    yield lambda question: crop_saying(question.box.rpartition("-")[2])
