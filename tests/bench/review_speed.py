"""How long a person waits between a key and the next box in `daybox review`; the bar is 50 ms.

    PYTHONPATH=tests python tests/bench/review_speed.py

A ledger of 500 made-up students with some 220 questions; crops are cut out of real JPEG pages of Letter
size. The time runs from the byte of Enter in the terminal to the last byte of the next question on the
screen, answer kept on the disk and the book brought up to date, through the whole of prompt_toolkit.
"""

import io
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import cv2
import numpy as np
from factories import busy_month, october
from prompt_toolkit.data_structures import Size
from prompt_toolkit.input import create_pipe_input
from prompt_toolkit.output.vt100 import Vt100_Output
from questions import crop_saying

from ingest.check.book import Question
from ingest.check.bookkeeper import Bookkeeper
from ingest.ledger.store import Ledger
from ingest.paper import PAPERS
from ingest.reading.numerals import FLAT_PX_PER_MM
from ingest.reading.values import Grey
from ingest.review.ahead import CropsAhead, Cutter
from ingest.review.order import MattersFirst
from ingest.review.prompt import Prompt
from ingest.review.screen import Screen

BAR_MS = 50.0
STUDENTS = 500
QUESTIONS = 70  # answered at each size of the terminal


def made_up_page() -> bytes:
    """A JPEG of a page as large as a flattened one, a written box at its corner."""
    letter = PAPERS["letter"]
    grain = np.random.default_rng(1).normal(
        205, 4, (round(letter.height * FLAT_PX_PER_MM), round(letter.width * FLAT_PX_PER_MM))
    )
    page = np.clip(grain, 0, 255).astype(np.uint8)
    page[:96, :174] = crop_saying("25")
    done, jpeg = cv2.imencode(".jpg", page)
    if not done:
        raise RuntimeError("OpenCV wrote no JPEG")
    return jpeg.tobytes()


@contextmanager
def pages() -> Iterator[Cutter]:
    """Decodes a page when a question is about another one than the last, as the real cutter does."""
    jpeg = np.frombuffer(made_up_page(), np.uint8)
    last: list[int] = []
    page: list[Grey] = []

    def cutter(question: Question) -> Grey:
        if last != [question.page_id]:
            last[:] = [question.page_id]
            page[:] = [np.asarray(cv2.imdecode(jpeg, cv2.IMREAD_GRAYSCALE), np.uint8)]
        return page[0][:96, :174]

    yield cutter


def waits(keeper: MattersFirst, columns: int, rows: int) -> list[float]:
    """Milliseconds from Enter to the next box, of QUESTIONS answers."""
    waited: list[float] = []
    with CropsAhead(pages()) as crops, create_pipe_input() as source:
        prompt = Prompt(keeper, october(), crops, verdict=lambda: keeper.verdict)
        output = Vt100_Output(io.StringIO(), lambda: Size(rows=rows, columns=columns))
        screen = Screen(prompt, "October practice", lambda _: "", source=source, output=output)
        asked = prompt.question
        sent_at: float | None = None
        typed = False

        def after_render(_: object) -> None:
            nonlocal asked, sent_at, typed
            if sent_at is not None and prompt.question is not asked:
                waited.append(1000 * (time.perf_counter() - sent_at))
                asked, sent_at, typed = prompt.question, None, False
            if len(waited) == QUESTIONS:
                source.send_text("q")
            elif not typed:
                typed = True
                source.send_text("25")
            elif sent_at is None:
                time.sleep(0.02)  # a hand on its way to Enter
                sent_at = time.perf_counter()
                source.send_text("\r")

        screen.on_render(after_render)
        screen.run()
    return waited


def main() -> int:
    slow = 0
    with tempfile.TemporaryDirectory() as folder, Ledger.open(Path(folder)) as ledger:
        busy_month(ledger, STUDENTS)
        keeper = MattersFirst(Bookkeeper(ledger, october()), october())
        for columns, rows in ((80, 24), (120, 40), (200, 50)):
            waited = waits(keeper, columns, rows)
            median, late, worst = np.percentile(waited, (50, 99, 100))
            slow += late > BAR_MS
            print(
                f"{columns} x {rows}: from Enter to the next box {median:.0f} ms in the middle, "
                f"{late:.0f} ms in 99 of 100, {worst:.0f} ms at worst ({len(waited)} boxes)"
            )
    return int(slow > 0)


if __name__ == "__main__":
    sys.exit(main())
