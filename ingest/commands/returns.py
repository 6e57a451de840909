"""`daybox returns`: everything that was handed in."""

from pathlib import Path

import click
from rich.console import Console

from ingest.cells import write_whole
from ingest.chart.printed import refuse_another_plan
from ingest.check.bookkeeper import Bookkeeper
from ingest.commands import folder_option
from ingest.ledger.store import Ledger
from ingest.plan.challenge import load_challenge
from ingest.plan.roster import load_roster
from ingest.report.returns import returns_csv, returns_table


@click.command()
@folder_option
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE.csv",
    help="Write a spreadsheet instead, with whole paths and reasons.",
)
def command(folder: Path, out: Path | None) -> None:
    """Show everything that was handed in: whose it is, what it was, what came of it.

    A file of several pages has a row for each.
    """
    challenge = load_challenge(folder)
    students = load_roster(folder / "roster.csv")
    with Ledger.open(folder, create=False) as ledger:
        refuse_another_plan(ledger.layouts().values(), challenge)
        ledger.sync_roster(students)
        fates = Bookkeeper(ledger, challenge).fates()
    if out:
        write_whole(out, returns_csv(fates, students))
        click.echo(f"Wrote {out}: {len(fates)} {'page' if len(fates) == 1 else 'pages and files'}.")
        return
    Console(highlight=False).print(returns_table(fates, students))
