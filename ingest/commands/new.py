"""`daybox new`: start a month."""

import os
import shlex
from datetime import date
from pathlib import Path

import click

from ingest.chart.design import load_design
from ingest.chart.layout import lay_out
from ingest.plan.challenge import make_challenge
from ingest.plan.month import Month
from ingest.plan.new import write_new
from ingest.shipped import templates


def _month(context: click.Context, parameter: click.Parameter, text: str | None) -> Month:
    if text is None:
        return Month.of(date.today()).following()
    try:
        return Month.parse(text)
    except ValueError as error:
        raise click.BadParameter(f"{error}.") from error


def _design(name_or_path: str, folder: Path) -> str:
    """The design as the file says it: a path is meant from here, but is kept from the folder on."""
    if not name_or_path.lower().endswith(".toml"):
        return name_or_path
    path = Path(name_or_path).expanduser().resolve()
    try:
        return Path(os.path.relpath(path, folder.resolve())).as_posix()
    except ValueError:  # another drive
        return path.as_posix()


@click.command()
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@click.option("--folder", "folder_option", type=click.Path(path_type=Path), help="The same as FOLDER.")
@click.option(
    "--month", callback=_month, metavar="YYYY-MM", show_default="the coming month", help="Which month."
)
@click.option(
    "--title", show_default='such as "October practice challenge"', help="Printed at the chart's top."
)
@click.option(
    "--design", default="minutes", show_default=True, help="A chart design, or your own .toml file."
)
@click.option(
    "--own-design", is_flag=True, help="Put a copy of the chart design into the folder, yours to change."
)
@click.option("--paper", type=click.Choice(["letter", "a4"]), default="letter", show_default=True)
@click.option(
    "--language", default="en", show_default=True, help="Of the chart: en, es, or what the design has."
)
def command(
    folder: Path | None,
    folder_option: Path | None,
    month: Month,
    title: str | None,
    design: str,
    own_design: bool,
    paper: str,
    language: str,
) -> None:
    """Start a month in FOLDER (the current one if not given).

    Writes a challenge.toml that explains itself and a roster.csv to fill in. Files that are there
    already are left alone.
    """
    if folder and folder_option:
        raise click.UsageError("Give the folder once: as FOLDER or with --folder.")
    where = folder or folder_option or Path()
    if own_design and design.lower().endswith(".toml"):
        raise click.UsageError("--own-design copies a design that comes with Daybox; --design names yours.")
    kept = f"my-{design}.toml" if own_design else _design(design, where)
    given = {"month": month, "design": kept, "paper": paper, "language": language}
    if title is not None:
        given["title"] = title
    challenge = make_challenge(given, "This plan")
    chart = load_design(design, Path(), "--design")
    chart.wording(challenge.language, "--language")
    lay_out(challenge, chart)  # refuse now, not when printing
    copy = (templates() / f"{design}.toml").read_bytes() if own_design else None
    plan, roster = write_new(where, challenge, copy)

    click.echo(f"Started {challenge.title} ({challenge.month}).")
    click.echo(f"  {plan}\n      Look it over: days without school, the minimum, prizes, the hand-in date.")
    click.echo(f"  {roster}\n      Fill it in, a line a student, in a spreadsheet. Each needs student_id,")
    click.echo("      first_name, last_name and section; the other columns may stay empty.")
    if own_design:
        click.echo(f"  {where / kept}\n      The chart's sizes, columns and wording, yours to change.")
    at = "" if where.resolve() == Path.cwd() else f" --folder {shlex.quote(str(where))}"
    click.echo(f"Then print the charts: daybox charts{at}")
