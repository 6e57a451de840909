"""The questions of a keeper in the order of what hangs on them, for a `Prompt` and for sheets."""

from dataclasses import replace

from ingest.check.book import Book, Question, Sheet
from ingest.plan.challenge import Challenge
from ingest.review.prompt import Keeper
from ingest.tally.stakes import Stakes, stakes, verdict
from ingest.tally.student import Tally, open_pages, tally


class MattersFirst:
    """A keeper whose questions come in the order of `ingest.tally.stakes`.

    verdict: that no prize hangs on the open questions any more, in words; "" if one does, or none is open.
    """

    def __init__(self, keeper: Keeper, challenge: Challenge) -> None:
        self._keeper = keeper
        self._challenge = challenge
        self._tallies: dict[str, tuple[Sheet, int, Tally]] = {}  # with what each was made from
        self._of: Book | None = None  # the keeper's book that the rest was made from
        self._book = Book((), ())
        self._verdict = ""

    @property
    def book(self) -> Book:
        self._look()
        return self._book

    @property
    def verdict(self) -> str:
        self._look()
        return self._verdict

    def answer(self, question: Question, answer: str, shown: bytes = b"", by: str = "prompt") -> None:
        """As the keeper's."""
        self._keeper.answer(question, answer, shown, by)

    def take_back(self) -> Question | None:
        """As the keeper's."""
        return self._keeper.take_back()

    def _look(self) -> None:
        book = self._keeper.book
        if book is self._of:
            return
        found = self._stakes(book)
        self._book = replace(book, questions=found.in_order(book.questions))
        self._verdict = verdict(found, book.questions)
        self._of = book

    def _stakes(self, book: Book) -> Stakes:
        """Only students whose sheet or pages have changed are added up anew."""
        pages = open_pages(book)
        for sheet in book.sheets:
            own = pages[sheet.student.id]
            known = self._tallies.get(sheet.student.id)
            if known is None or known[0] is not sheet or known[1] != own:
                made = tally(sheet, self._challenge, own)
                self._tallies[sheet.student.id] = (sheet, own, made)
        return stakes(book, [self._tallies[sheet.student.id][2] for sheet in book.sheets], self._challenge)
