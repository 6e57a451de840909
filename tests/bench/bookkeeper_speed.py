"""How long a person waits between an answer and the next question, and for the first one.

Run by hand: python tests/bench/bookkeeper_speed.py [STUDENTS]. The bar is 50 ms from answer to next with 500
students of 42 boxes; the whole book should stand in about 2 s.
"""

import statistics
import sys
import tempfile
import time
from pathlib import Path
from random import Random
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))  # for factories

from factories import hand_in, october, page_reading, readings, stock, students

from ingest.check.bookkeeper import Bookkeeper
from ingest.ledger.store import Ledger

UNSURE = ((25, 0.7), (75, 0.2))


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    plan, chance = october(), Random(1)
    with tempfile.TemporaryDirectory() as folder, Ledger.open(Path(folder)) as ledger:
        roster = students(count)
        stock(ledger, roster)
        for student in roster:
            said: dict[str, Any] = {}
            if chance.random() < 0.3:  # about 1 box in 100, and one chart in five adds wrongly
                said[f"d{chance.randint(1, 31)}"] = UNSURE
            if chance.random() < 0.2:
                said[f"w{chance.randint(2, 5)}"] = 130
            hand_in(ledger, [page_reading(readings(plan, **said), code=f"K{student.id[1:]}")], student.id)

        begin, begin_cpu = time.perf_counter(), time.process_time()
        keeper = Bookkeeper(ledger, plan)
        questions = keeper.book.questions
        print(
            f"{count} students, {len(questions)} questions: the book in {time.perf_counter() - begin:.2f} s "
            f"({time.process_time() - begin_cpu:.2f} s of processor)"
        )

        waits = []
        for question in questions:
            begin = time.perf_counter()
            keeper.answer(question, "25", shown=bytes(5000))
            _ = keeper.book.questions
            waits.append((time.perf_counter() - begin) * 1000)
        print(
            f"answer to next: median {statistics.median(waits):.1f} ms, "
            f"95 in 100 under {statistics.quantiles(waits, n=20)[-1]:.1f} ms, longest {max(waits):.1f} ms"
        )


if __name__ == "__main__":
    main()
