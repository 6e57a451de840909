"""`daybox readings`: every reading."""

from pathlib import Path

import click

from ingest.cells import write_whole
from ingest.chart.printed import refuse_another_plan
from ingest.check.bookkeeper import Bookkeeper
from ingest.commands import folder_option
from ingest.ledger.store import Ledger
from ingest.plan.challenge import load_challenge
from ingest.plan.roster import load_roster
from ingest.report.readings import readings

FILE_NAME = "readings.csv"


@click.command()
@folder_option
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    show_default=f"{FILE_NAME} in the folder",
    help="Where to write it.",
)
def command(folder: Path, out: Path | None) -> None:
    """Write every reading as CSV, one row a box, for an audit or a spreadsheet.

    A flagged box has no value until a person settles it.
    """
    challenge = load_challenge(folder)
    students = load_roster(folder / "roster.csv")
    with Ledger.open(folder, create=False) as ledger:
        refuse_another_plan(ledger.layouts().values(), challenge)
        ledger.sync_roster(students)
        book = Bookkeeper(ledger, challenge).book
        content = readings(book, ledger.returns(), ledger.pages())
    target = out or folder / FILE_NAME
    write_whole(target, content)

    charts = sum(bool(sheet.boxes) for sheet in book.sheets)
    boxes = sum(len(sheet.boxes) for sheet in book.sheets)
    click.echo(f"Wrote {target}: {boxes} boxes of {charts} students' charts.")
    if not charts and not book.questions:
        click.echo("Nothing has come in yet: `daybox collect PATH` takes in what families sent.")
    if book.questions:
        click.echo(
            f"Open flags: {len(book.questions)}. Flagged boxes have no value; pages of nobody yet, no rows.\n"
            "Run `daybox review`, then this command again."
        )
