"""Every box of one student as something to ask, so that what is held already can be put right."""

from ingest.check.answers import BLANK, parse_answer
from ingest.check.book import Book, Flag, Question, Settled, Sheet, State, chart_order
from ingest.review.prompt import Keeper

_ASKED = ("day", "week", "month", "outside")  # initials and names are only seen, never read


class WholeChart:
    """Asks about all boxes of one student, in chart order, and shows what is held; for a `Prompt`.

    What is answered as it is held already is only ticked off: nothing is kept of it.
    """

    def __init__(self, keeper: Keeper, student_id: str) -> None:
        self.changed = 0
        self._keeper = keeper
        self._student_id = student_id
        self._looked: list[tuple[str, bool]] = []  # boxes looked at in this run, and whether changed

    @property
    def book(self) -> Book:
        """All students, and the boxes of this one that were not looked at yet."""
        book = self._keeper.book
        looked = {box for box, _ in self._looked}
        asked = [each for each in self._questions(book) if each.box not in looked]
        return Book(book.sheets, tuple(asked))

    def answer(self, question: Question, answer: str, shown: bytes = b"", by: str = "prompt") -> None:
        """Keep what is new. Raises as the keeper does."""
        changes = parse_answer(question.box, answer, {}) != self._held(question.box)
        if changes:
            self._keeper.answer(question, answer, shown, by)
            self.changed += 1
        self._looked.append((question.box, changes))

    def take_back(self) -> Question | None:
        """Undo the last answer of this run; its question, or None if there is none."""
        if not self._looked:
            return None
        box, was_changed = self._looked.pop()
        if was_changed:
            self._keeper.take_back()
            self.changed -= 1
        return next((each for each in self._questions(self._keeper.book) if each.box == box), None)

    def _questions(self, book: Book) -> list[Question]:
        sheet = self._sheet(book)
        open_boxes = {
            each.box: each
            for each in book.questions
            if each.student_id == self._student_id and each.box != "chart"
        }
        boxes = sorted(sheet.boxes.values(), key=lambda box: chart_order(box.box))
        return [
            open_boxes.get(box.box) or _as_held(sheet, box)
            for box in boxes
            if box.box.partition(":")[0] in _ASKED
            and not (box.box.startswith("outside:") and box.state is State.BLANK)
        ]

    def _sheet(self, book: Book) -> Sheet:
        return next(sheet for sheet in book.sheets if sheet.student.id == self._student_id)

    def _held(self, box: str) -> str:
        """What counts now, in the words of an answer; "" while a person must say."""
        held = self._sheet(self._keeper.book).boxes[box]
        return "" if held.state is State.FLAGGED else _words(held)


def _as_held(sheet: Sheet, box: Settled) -> Question:
    """A settled box as a question whose suggestion is what it holds."""
    held = "blank" if box.value is None else str(box.value)
    who = "as a person answered" if box.state is State.ANSWERED else "as Daybox read it"
    flag = Flag("held", f"Held as {held}, {who}.")
    page_id = sheet.pages[-1] if box.page_id is None else box.page_id
    return Question(sheet.student.id, box.box, _words(box), 1.0, (flag,), page_id)


def _words(box: Settled) -> str:
    return BLANK if box.value is None else str(box.value)
