"""`daybox grades`: the gradebook."""

from pathlib import Path

import click

from ingest.cells import write_whole
from ingest.chart.printed import refuse_another_plan
from ingest.check.bookkeeper import Bookkeeper
from ingest.commands import folder_option
from ingest.ledger.forgotten import gone
from ingest.ledger.store import Ledger
from ingest.plan.challenge import load_challenge
from ingest.plan.roster import load_roster
from ingest.report.gradebook import gradebook

FILE_NAME = "gradebook.csv"


@click.command()
@folder_option
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    show_default=f"{FILE_NAME} in the folder",
    help="Where to write it.",
)
def command(folder: Path, out: Path | None) -> None:
    """Write the gradebook as CSV, one row a student on the roster.

    Whatever an open flag could still change is left empty. Run it again at any time.
    """
    challenge = load_challenge(folder)
    students = load_roster(folder / "roster.csv")
    with Ledger.open(folder, create=False) as ledger:
        refuse_another_plan(ledger.layouts().values(), challenge)
        ledger.sync_roster(students)
        book = Bookkeeper(ledger, challenge).book
        removed = gone(ledger)
    target = out or folder / FILE_NAME
    write_whole(target, gradebook(book, challenge))

    handed_in = sum(bool(sheet.boxes) for sheet in book.sheets)
    click.echo(f"Wrote {target}: {handed_in} of {len(book.sheets)} students handed in.")
    if removed:
        click.echo(removed)
    if not handed_in and not book.questions:
        click.echo("Nothing has come in yet: `daybox collect PATH` takes in what families sent.")
    if book.questions:
        click.echo(
            f"Open flags: {len(book.questions)}. Totals may be incomplete, and what a flag could change is "
            "empty.\nRun `daybox review`, then this command again."
        )
