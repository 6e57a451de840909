"""`daybox missing`: who has nothing usable in yet, and what to write to them."""

from datetime import date
from pathlib import Path

import click
from rich.console import Console
from rich.rule import Rule
from rich.text import Text

from ingest.cells import write_whole
from ingest.chart.charts import choose_students
from ingest.chart.design import load_design
from ingest.chart.printed import refuse_another_plan
from ingest.check.bookkeeper import Bookkeeper
from ingest.commands import folder_option
from ingest.ledger.store import Ledger
from ingest.plan.challenge import load_challenge
from ingest.plan.roster import load_roster
from ingest.report.missing import missing, missing_csv, missing_table
from ingest.report.reminder import reminder_to_all, reminder_to_one


@click.command()
@folder_option
@click.option("--section", "sections", multiple=True, metavar="S", help="Only this section; may be repeated.")
@click.option("--each", is_flag=True, help="Show a text for each child as well.")
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE.csv",
    help="Write a spreadsheet instead, with a text for each child.",
)
def command(folder: Path, sections: tuple[str, ...], each: bool, out: Path | None) -> None:
    """Show who has nothing usable in yet and why, with a text to remind them.

    The text for all names nobody, so that it may stand on a class site. The one for each child names only
    that child: --each shows them, --out FILE.csv writes them for a mail merge.
    """
    challenge = load_challenge(folder)
    design = load_design(challenge.design, folder)
    roster = load_roster(folder / "roster.csv")
    chosen = choose_students(roster, sections, ())
    with Ledger.open(folder, create=False) as ledger:
        refuse_another_plan(ledger.layouts().values(), challenge)
        ledger.sync_roster(roster)
        keeper = Bookkeeper(ledger, challenge)
        absent = [one for one in missing(keeper.book, keeper.fates()) if one.student in chosen]
    today = date.today()
    texts = {
        one.student.id: reminder_to_one(one.student.first_name, one.lack, challenge, design, today)
        for one in absent
    }
    if out:
        write_whole(out, missing_csv(absent, texts))
        click.echo(f"Wrote {out}: {len(absent)} of {len(chosen)} students.")
        return
    console = Console(highlight=False)
    console.print(missing_table(absent, chosen))
    if not any(texts.values()):
        return
    console.print()
    _show(console, "For all of them; it names nobody", reminder_to_all(challenge, design, today))
    if each:
        for one in absent:
            if texts[one.student.id]:
                _show(console, f"For {one.student.name} alone", texts[one.student.id])
    else:
        console.print("A text for each child alone: --each shows them, --out FILE.csv writes them.")


def _show(console: Console, heading: str, text: str) -> None:
    console.print(Rule(Text(heading, style="bold"), align="left", style="dim"))
    console.print(Text(text))
    console.print(Rule(style="dim"))
    console.print()
