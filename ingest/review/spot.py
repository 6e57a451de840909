"""A spot check as something to ask: what is seen in each box, before anything is said of what was read."""

from collections.abc import Sequence
from dataclasses import replace

from ingest.check.answers import parse_answer
from ingest.check.book import Book, Question
from ingest.check.spot import draw, remaining, sample_size, standing, taken
from ingest.errors import AnswerError
from ingest.ledger.records import SpotAnswer, SpotBox, SpotCheck
from ingest.ledger.spots import answer_spot, begin_spot_check, spot_answers, spot_checks
from ingest.ledger.store import Ledger
from ingest.review.prompt import Keeper

DISPUTED = "spot-check"  # the flag of a box in which a person saw something else than was read


def unfinished(ledger: Ledger, book: Book, size: int | None = None) -> SpotCheck | None:
    """The last spot check, if there is still something to look at in it; else None.

    size: as many boxes are wanted; None: any number.
    """
    check = last(ledger)
    if check is None or size not in (None, len(check.boxes)):
        return None
    return check if SpotKeeper(ledger, book, check).book.questions else None


def last(ledger: Ledger) -> SpotCheck | None:
    """The spot check that was begun last."""
    return next(reversed(spot_checks(ledger)), None)


def begin(ledger: Ledger, book: Book, size: int | None, seed: int) -> SpotCheck | None:
    """Draw a new sample and keep it; None if nothing was taken without a person.

    size: boxes to look at; None: as many as the table of `check.spot` says. seed: what chance follows from.
    """
    lot = len(taken(book))
    boxes = draw(book, sample_size(lot) if size is None else size, seed)
    return begin_spot_check(ledger, seed, lot, boxes) if boxes else None


class SpotKeeper:
    """Asks about the boxes of one spot check; for a `Prompt`.

    Its questions hold neither reading nor confidence nor reason, and come in the random order of the sample.
    What is answered is kept by the spot check and changes nothing else.
    """

    def __init__(self, ledger: Ledger, book: Book, check: SpotCheck) -> None:
        self.check = check
        self._ledger = ledger
        self._sheets = book.sheets
        self._here = {sheet.student.id: frozenset(sheet.pages) for sheet in book.sheets}
        self._places = {(box.student_id, box.box): box for box in check.boxes}
        self._answers: list[SpotAnswer] = list(spot_answers(ledger, pictures=False))
        self._given: list[SpotBox] = []  # in this run, for taking back
        self._book: Book | None = None

    @property
    def book(self) -> Book:
        """All students, and what is still to be looked at."""
        if self._book is None:
            left = remaining(self.check, self._answers, self._here)
            self._book = Book(self._sheets, tuple(map(_question, left)))
        return self._book

    def answer(self, question: Question, answer: str, shown: bytes = b"", by: str = "prompt") -> None:
        """Keep what the person saw. answer: as `parse_answer` takes it.

        Raises AnswerError, and LedgerError if it could not be kept.
        """
        box = self._places.get((question.student_id, question.box))
        if box is None:
            raise AnswerError(
                f"The box {question.box} of {question.student_id} is none of those drawn for the spot check."
            )
        self._keep(box, parse_answer(box.box, answer, {}), by, shown)
        self._given.append(box)

    def take_back(self) -> Question | None:
        """Undo the last answer of this run; its question, or None if there is none."""
        if not self._given:
            return None
        box = self._given[-1]
        self._keep(box, "", "prompt", b"")
        self._given.pop()
        return _question(box)

    def drawn(self, student_id: str, box: str) -> SpotBox | None:
        """A box of the sample, looked at or not."""
        return self._places.get((student_id, box))

    def said(self, box: SpotBox) -> str:
        """What the person saw in it; "" if it was not looked at."""
        return standing(self.check, self._answers).get(box.place, "")

    def _keep(self, box: SpotBox, answer: str, by: str, shown: bytes) -> None:
        self._answers.append(answer_spot(self._ledger, self.check.id, box.place, answer, by=by, shown=shown))
        self._book = None


class Disputes:
    """Of a keeper, only the questions in which a person and the reader differ; for a `Prompt`."""

    def __init__(self, keeper: Keeper) -> None:
        self._keeper = keeper

    @property
    def book(self) -> Book:
        book = self._keeper.book
        return replace(book, questions=tuple(disputed(book.questions)))

    def answer(self, question: Question, answer: str, shown: bytes = b"", by: str = "prompt") -> None:
        self._keeper.answer(question, answer, shown, by)

    def take_back(self) -> Question | None:
        return self._keeper.take_back()


def disputed(questions: Sequence[Question]) -> list[Question]:
    """Those about boxes in which a person saw something else than was read."""
    return [each for each in questions if any(flag.reason == DISPUTED for flag in each.flags)]


def _question(box: SpotBox) -> Question:
    return Question(box.student_id, box.box, "", 0.0, (), box.page_id)
