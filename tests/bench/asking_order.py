"""How many answers settle all prizes: in the order of `ingest.tally.stakes`, and in others.

Run by hand: python tests/bench/asking_order.py [STUDENTS]. A made-up grade and the made-up reader of
`settle_questions`; a person answers rightly, one box at a time. What answers do to other boxes through the
sums is left out here.
"""

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[1]))  # for factories and books

from books import answered, book, question
from factories import october, origin, page, readings, students
from settle_questions import filled

from ingest.check.book import Question, Sheet, State
from ingest.check.evidence import OwnPage
from ingest.check.settle import settle
from ingest.tally.stakes import Stakes, stakes
from ingest.tally.student import tally

SLIPS = 0.05
KINDS = ("day", "week", "month")

Choice = Callable[[Stakes, Sequence[Question]], Question]


def grade(count: int) -> list[tuple[Sheet, dict[str, int]]]:
    """Sheets as read, and what they truly say. Children differ: from 10 minutes a day to 40, with gaps."""
    plan, chance = october(), Random(7)
    made = []
    for student in students(count):
        usual, gaps = max(10, chance.gauss(22, 8)), chance.random() ** 3 * 0.3
        minutes = [
            0 if chance.random() < gaps else 5 * round(max(0, chance.gauss(usual, 8)) / 5) for _ in range(40)
        ]
        truth, said = filled(plan, SLIPS, chance, minutes)
        chart = settle([OwnPage(page(readings(plan, **said)), origin())], {}, plan)
        made.append((Sheet(student, chart.boxes, chart.pages, late=False), truth))
    return made


def answers_needed(made: Sequence[tuple[Sheet, dict[str, int]]], choose: Choice) -> tuple[int, int]:
    """How many answers until no prize is open, and how many questions there were."""
    plan = october()
    sheets = {sheet.student.id: sheet for sheet, _ in made}
    truths = {sheet.student.id: truth for sheet, truth in made}
    figures = {student_id: tally(sheet, plan) for student_id, sheet in sheets.items()}
    left = [
        question(sheet, box)
        for sheet in sheets.values()
        for box in sheet.boxes.values()
        if box.state is State.FLAGGED
    ]
    Random(1).shuffle(left)
    asked = 0
    while True:
        found = stakes(book(*sheets.values(), questions=left), tuple(figures.values()), plan)
        if not (found.met or found.places):
            return asked, asked + len(left)
        each = choose(found, left)
        left.remove(each)
        asked += 1
        who = each.student_id
        boxes = {**sheets[who].boxes, each.box: answered(each.box, truths[who].get(each.box))}
        sheets[who] = Sheet(sheets[who].student, boxes, sheets[who].pages, late=False)
        figures[who] = tally(sheets[who], plan)


def main() -> None:
    made = grade(int(sys.argv[1]) if len(sys.argv) > 1 else 300)
    orders: dict[str, Choice] = {
        "what decides most first": lambda found, left: found.in_order(left)[0],
        "any that decides something": lambda found, left: min(left, key=found.of),
        "any day, then totals": lambda _, left: min(left, key=_kind),
    }
    for name, choose in orders.items():
        asked, questions = answers_needed(made, choose)
        print(f"{name}: {asked} answers of {questions} settle all prizes")


def _kind(asked: Question) -> int:
    kind = asked.box.partition(":")[0]
    return KINDS.index(kind) if kind in KINDS else len(KINDS)


if __name__ == "__main__":
    main()
