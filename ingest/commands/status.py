"""`daybox status`: where things stand."""

import shlex
from pathlib import Path

import click
from rich.console import Console

from ingest.chart.charts import choose_students
from ingest.chart.printed import refuse_another_plan
from ingest.check.bookkeeper import Bookkeeper
from ingest.check.spot import last_result
from ingest.commands import folder_option
from ingest.ledger.forgotten import gone
from ingest.ledger.store import Ledger
from ingest.plan.challenge import load_challenge
from ingest.plan.roster import load_roster
from ingest.reading.certainty import threshold
from ingest.report.status import status
from ingest.report.student_status import student_status
from ingest.report.trust import trust


@click.command()
@folder_option
@click.option("--student", "student_id", metavar="ID", help="Only this student, in full.")
def command(folder: Path, student_id: str | None) -> None:
    """Show where things stand: handed in, missing, flagged, and what could still change.

    With --student ID: one student's figures as they are and as they may still become, what is open, and what
    of it a prize hangs on; and whether a day or a week stands out so much that it is worth a friendly word.
    """
    challenge = load_challenge(folder)
    students = load_roster(folder / "roster.csv")
    with Ledger.open(folder, create=False) as ledger:
        refuse_another_plan(ledger.layouts().values(), challenge)
        ledger.sync_roster(students)
        keeper = Bookkeeper(ledger, challenge)
        book = keeper.book
        if student_id is not None:
            (student,) = choose_students(students, (), (student_id,))
            Console(highlight=False).print(student_status(book, challenge, student.id))
            return
        page = status(
            book,
            challenge,
            ledger.returns(),
            ledger.pages(),
            fates=keeper.fates(),
            trusted=trust(book, threshold(challenge.reading.silent_errors), last_result(ledger, book)),
            charts_printed=bool(ledger.charts()),
            folder="" if folder.resolve() == Path.cwd() else shlex.quote(str(folder)),
        )
        removed = gone(ledger)
    Console(highlight=False).print(page)
    if removed:
        click.echo(removed)
