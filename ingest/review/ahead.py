"""Crops fetched ahead of the person, so that the next box is there when a key is pressed."""

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import AbstractContextManager, contextmanager
from functools import partial
from pathlib import Path
from types import TracebackType
from typing import Self, TypeAlias

from ingest.check.book import Question
from ingest.ledger.pictures import Pictures
from ingest.ledger.store import Ledger
from ingest.reading.values import Grey
from ingest.review.crop import asked

Key: TypeAlias = tuple[int, str, str]
Cutter: TypeAlias = Callable[[Question], Grey]

KEPT = 24  # crops held at a time, about 20 KB each


def key_of(question: Question) -> Key:
    """What makes a question the same one when the book has been made anew."""
    return question.page_id, question.student_id, question.box


@contextmanager
def ledger_crops(folder: Path) -> Iterator[Cutter]:
    """Cuts crops out of the pages in the ledger of `folder`; for one thread."""
    with Ledger.open(folder, create=False) as ledger:
        yield partial(asked, Pictures(ledger))


class CropsAhead:
    """A context manager around one thread that cuts crops out of pages.

    source: gives the function that cuts. It is entered, used and left in that thread alone, for a
        connection to a ledger must stay in one. What the function raises comes out of `get`.
    """

    def __init__(self, source: AbstractContextManager[Cutter]) -> None:
        self._source = source
        self._cutter: Cutter | None = None
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="crops")
        self._crops: dict[Key, Future[Grey]] = {}  # oldest first

    def __enter__(self) -> Self:
        try:
            self._cutter = self._thread.submit(self._source.__enter__).result()
        except BaseException:
            self._thread.shutdown()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for crop in self._crops.values():
            crop.cancel()
        self._thread.submit(self._source.__exit__, kind, error, trace).result()
        self._thread.shutdown()

    def fetch(self, questions: Iterable[Question]) -> None:
        """Start on these, in this order; returns at once."""
        for question in questions:
            self._future(question)
        for key in list(self._crops)[:-KEPT]:
            self._crops.pop(key).cancel()

    def get(self, question: Question) -> Grey:
        """The crop; waits for it if need be."""
        return self._future(question).result()

    def _future(self, question: Question) -> Future[Grey]:
        if self._cutter is None:
            raise RuntimeError("CropsAhead is used outside its with block")
        key = key_of(question)
        future = self._crops.pop(key, None)
        if future is None or future.cancelled():
            future = self._thread.submit(self._cutter, question)
        self._crops[key] = future
        return future
