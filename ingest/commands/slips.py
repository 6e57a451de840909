"""`daybox slips`: for each family, what was read from the chart."""

import os
import sys
from pathlib import Path, PurePath

import click

from ingest.cells import write_whole
from ingest.chart.charts import Chart, choose_students
from ingest.chart.design import load_design
from ingest.chart.handout import file_names
from ingest.chart.printed import refuse_another_plan
from ingest.check.bookkeeper import Bookkeeper
from ingest.commands import folder_option
from ingest.errors import DayboxError
from ingest.ledger.pictures import Pictures
from ingest.ledger.store import Ledger
from ingest.plan.challenge import load_challenge
from ingest.plan.roster import load_roster
from ingest.report.slip_page import SlipPictures, draw_slips
from ingest.report.slips import slips, slips_csv

FILE_NAME = "slips.pdf"


def _pdf(context: click.Context, parameter: click.Parameter, path: Path | None) -> Path | None:
    if path is not None and path.suffix.lower() != ".pdf":
        raise click.BadParameter(f"{path} should end in .pdf.")
    return path


@click.command()
@click.option("--section", "sections", multiple=True, metavar="S", help="Only this section; may be repeated.")
@click.option("--student", "ids", multiple=True, metavar="ID", help="Only this student; may be repeated.")
@click.option("--each", is_flag=True, help="Besides, a PDF for each student, in a folder named like FILE.")
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    callback=_pdf,
    metavar="FILE.pdf",
    show_default=f"{FILE_NAME} in the folder",
    help="Where to write it; the spreadsheet goes beside it.",
)
@folder_option
def command(
    sections: tuple[str, ...], ids: tuple[str, ...], each: bool, out: Path | None, folder: Path
) -> None:
    """Make a slip for each family: what was read from the chart, its picture, and what it adds up to.

    It says how to tell you if something is wrong, in the chart's language, and names no other child. Beside
    it goes a spreadsheet for a mail merge. Enter what is wrong with `daybox review --student ID --all`.
    """
    challenge = load_challenge(folder)
    design = load_design(challenge.design, folder)
    design.wording(challenge.language)
    roster = load_roster(folder / "roster.csv")
    chosen = choose_students(roster, sections, ids)
    with Ledger.open(folder, create=False) as ledger:
        refuse_another_plan(ledger.layouts().values(), challenge)
        ledger.sync_roster(roster)
        book = Bookkeeper(ledger, challenge).book
        found = [slip for slip in slips(book, challenge) if slip.student in chosen]
        if not found:
            raise DayboxError(
                "No chart of these students counts so far, so there is nothing to tell their families. "
                "`daybox missing` says why, and has words to remind them."
            )
        pictures = SlipPictures(Pictures(ledger))
        pdf = out or folder / FILE_NAME
        single = pdf.with_suffix("")
        names = file_names([Chart("", slip.student) for slip in found]) if each else []
        content = draw_slips(challenge, design, found, pictures)
        if each:
            pairs = list(zip(found, names, strict=True))
            with click.progressbar(pairs, label="Slips", file=sys.stderr) as bar:
                for slip, name in bar:
                    (single / name).parent.mkdir(parents=True, exist_ok=True)
                    write_whole(single / name, draw_slips(challenge, design, [slip], pictures))
    files = [PurePath(single.name, name) for name in names]
    write_whole(pdf.with_suffix(".csv"), slips_csv(found, files))
    write_whole(pdf, content)
    without = len(chosen) - len(found)
    more = f" Of {without} more nothing counts so far: `daybox missing` says why." if without else ""
    click.echo(f"{'1 slip' if len(found) == 1 else f'{len(found)} slips'}.{more}")
    click.echo(f"  {pdf}\n      A page a student, to be printed or looked through.")
    if each:
        click.echo(
            f"  {single}{os.sep}\n      The same, each in a file of its own, to be handed out one by one."
        )
    click.echo(f"  {pdf.with_suffix('.csv')}\n      The same as a spreadsheet, for a mail merge.")
    click.echo("Something is wrong on a slip that comes back? daybox review --student ID --all")
