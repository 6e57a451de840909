"""What the check room asks and what it lets pass, with a made-up reader that is calibrated by construction.

Run by hand: python tests/bench/settle_questions.py [CHARTS] [SLIPS]. 7 boxes in 100 are unsure by their ink;
SLIPS of the sums are wrong. A person answers every question rightly, once; then it is counted what is
wrong in silence and what is asked anew. Compare settings of `ingest.check.settle`; the reader's own errors
are not measured here.
"""

import sys
from collections import Counter
from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path
from random import Random
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))  # for factories

from factories import NOON, october, origin, page, readings

from ingest.check.book import State
from ingest.check.evidence import OwnPage
from ingest.check.settle import settle
from ingest.ledger.records import AnswerRecord
from ingest.plan.challenge import Challenge

MINUTES = (0, 15, 15, 20, 20, 25, 30, 30, 45, 60)
SLIPS = (-15, -10, -5, -1, 1, 5, 10, 20, 100)


def read(value: int, chance: Random) -> list[tuple[int, float]]:
    """Candidates for a box that says `value`: right as often as their probability says."""
    p = 1 - 10 ** -chance.uniform(3, 5) if chance.random() < 0.93 else chance.uniform(0.5, 0.999)
    other = value
    while other == value:
        other = chance.choice([value + 60, value + 5, abs(value - 5), value * 10, value + 1, value + 10])
    second = (1 - p) * 0.6
    return [(value, p), (other, second)] if chance.random() < p else [(other, p), (value, second)]


def filled(
    plan: Challenge, slips: float, chance: Random, usual: Sequence[int] = MINUTES
) -> tuple[dict[str, int], dict[str, Any]]:
    """What a chart truly says, by box name; and what the reader makes of it, for `readings`."""
    truth: dict[str, int] = {}
    said: dict[str, Any] = {}
    days_sum = weeks_sum = 0
    for number, row in enumerate(plan.month.weeks("sun"), start=1):
        minutes = {day: chance.choice(usual) for day in row if day.month == plan.month.number}
        for day, value in minutes.items():
            truth[f"day:{day}"], said[f"d{day.day}"] = value, read(value, chance)
        total = sum(minutes.values())
        written = max(0, total + chance.choice(SLIPS)) if chance.random() < slips else total
        truth[f"week:{number}"], said[f"w{number}"] = written, read(written, chance)
        days_sum, weeks_sum = days_sum + total, weeks_sum + written
    month = chance.choice([days_sum, weeks_sum]) + (10 if chance.random() < slips else 0)
    truth["month"], said["month"] = month, read(month, chance)
    return truth, said


def main() -> None:
    charts = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    slips = float(sys.argv[2]) if len(sys.argv) > 2 else 0.05
    plan, chance = october(), Random(2)
    boxes = silent = 0
    asked: Counter[str] = Counter()
    again: Counter[str] = Counter()
    for _ in range(charts):
        truth, said = filled(plan, slips, chance)
        own = [OwnPage(page(readings(plan, **said)), origin())]
        first = settle(own, {}, plan)
        answers = {
            name: AnswerRecord(
                1, NOON + timedelta(hours=1), "S001", name, 1, str(truth[name]), "", "", "", b""
            )
            for name in first.doubts
        }
        second = settle(own, answers, plan)
        asked.update(name.partition(":")[0] for name in first.doubts)
        again.update(name.partition(":")[0] for name in second.doubts)
        boxes += len(truth)
        silent += sum(
            second.boxes[name].state is not State.FLAGGED and (second.boxes[name].value or 0) != value
            for name, value in truth.items()
        )
    print(f"{boxes} boxes: asked {asked.total() / boxes:.2%} {dict(asked)}")
    print(f"after one round of right answers: asked anew {dict(again)}, wrong in silence {silent}")


if __name__ == "__main__":
    main()
