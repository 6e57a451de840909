"""What was seen in the boxes of a spot check, back from a spreadsheet. `sheet` writes it."""

from pathlib import Path

from ingest.check.book import Question
from ingest.errors import AnswerError
from ingest.ledger.pictures import Pictures
from ingest.ledger.records import SpotBox
from ingest.ledger.store import Ledger
from ingest.review.sheet import Row, Taken, finder, minutes_in, picture_of, rows_of
from ingest.review.spot import SpotKeeper


def take_spot_answers(path: Path, keeper: SpotKeeper, ledger: Ledger) -> Taken:
    """Keep what was seen, all or nothing; the same sheet again changes nothing.

    Raises AnswerError, with the line of every row that cannot be taken.
    """
    student = finder(sheet.student.id for sheet in keeper.book.sheets)
    answers: dict[int, tuple[SpotBox, str]] = {}
    problems = []
    known = left = 0
    for row in rows_of(path):
        if not row.answer:
            left += 1
            continue
        try:
            box, answer = _understood(row, student(row.student) or "", keeper)
        except AnswerError as unclear:
            problems.append(f"line {row.line}: {str(unclear).rstrip('.')}")
            continue
        if box.place in answers and answers[box.place][1] != answer:
            problems.append(f'line {row.line}: says "{answer}", but another line says otherwise')
        elif keeper.said(box) == answer:
            known += 1
        else:
            answers[box.place] = (box, answer)
    if problems:
        raise AnswerError(
            f"{path}: nothing was taken, since {len(problems)} of its rows cannot be: "
            f"{'; '.join(problems)}. Mend these rows or empty their answers, and run the same command again."
        )
    pictures = Pictures(ledger)
    for box, answer in answers.values():
        question = Question(box.student_id, box.box, "", 0.0, (), box.page_id)
        keeper.answer(question, answer, shown=picture_of(pictures, question), by="sheet")
    return Taken(len(answers), known, left)


def _understood(row: Row, student_id: str, keeper: SpotKeeper) -> tuple[SpotBox, str]:
    """The box that a row is about, and what was seen there, in the ledger's words. Raises AnswerError."""
    box = keeper.drawn(student_id, row.box)
    if box is None or row.spot not in (None, keeper.check.id):
        raise AnswerError(f'the box "{row.box}" of "{row.student}" was not drawn for the last spot check')
    return box, minutes_in(row.answer, box.box)
