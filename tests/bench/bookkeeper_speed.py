"""How long a person waits between an answer and the next question, and for the first one.

Run by hand: python tests/bench/bookkeeper_speed.py [STUDENTS]. The bar is 50 ms from answer to next with 500
students of 42 boxes; the whole book should stand in about 2 s. That includes the order of asking, which is
reckoned anew after each answer; here it is as hard as can be, for all students are tied.
"""

import statistics
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))  # for factories

from factories import busy_month, october

from ingest.check.bookkeeper import Bookkeeper
from ingest.ledger.store import Ledger
from ingest.review.order import MattersFirst


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    plan = october()
    with tempfile.TemporaryDirectory() as folder, Ledger.open(Path(folder)) as ledger:
        busy_month(ledger, count)
        begin, begin_cpu = time.perf_counter(), time.process_time()
        keeper = MattersFirst(Bookkeeper(ledger, plan), plan)
        questions = keeper.book.questions
        print(
            f"{count} students, {len(questions)} questions: the book in {time.perf_counter() - begin:.2f} s "
            f"({time.process_time() - begin_cpu:.2f} s of processor)"
        )

        waits = []
        while keeper.book.questions:
            question = keeper.book.questions[0]
            begin = time.perf_counter()
            keeper.answer(question, "25", shown=bytes(5000))
            _ = keeper.book.questions, keeper.verdict
            waits.append((time.perf_counter() - begin) * 1000)
        print(
            f"answer to next: median {statistics.median(waits):.1f} ms, "
            f"95 in 100 under {statistics.quantiles(waits, n=20)[-1]:.1f} ms, longest {max(waits):.1f} ms"
        )


if __name__ == "__main__":
    main()
