"""`daybox new`: start a month."""

import os
import shlex
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import click

from ingest.chart.design import load_design
from ingest.chart.layout import lay_out
from ingest.ledger.forgotten import NAMES, forgotten
from ingest.ledger.store import FILE_NAME as LEDGER
from ingest.ledger.store import Ledger
from ingest.plan.carry_on import CarriedOn, carry_on
from ingest.plan.challenge import make_challenge
from ingest.plan.month import Month
from ingest.plan.new import ROSTER_NAME, write_new
from ingest.plan.oneroster import load_package
from ingest.plan.roster import load_roster
from ingest.shipped import templates


def _month(context: click.Context, parameter: click.Parameter, text: str | None) -> Month | None:
    if text is None:
        return None
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
    "--month",
    callback=_month,
    metavar="YYYY-MM",
    show_default="the coming month; with --from, the one after",
    help="Which month.",
)
@click.option(
    "--title", show_default='such as "October practice challenge"', help="Printed at the chart's top."
)
@click.option("--design", show_default="minutes", help="A chart design, or your own .toml file.")
@click.option(
    "--own-design", is_flag=True, help="Put a copy of the chart design into the folder, yours to change."
)
@click.option("--paper", type=click.Choice(["letter", "a4"]), show_default="letter")
@click.option("--language", show_default="en", help="Of the chart: en, es, or what the design has.")
@click.option(
    "--from",
    "last",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    metavar="LAST",
    help="Carry on the month in that folder: its roster, settings and own designs.",
)
@click.option(
    "--roster",
    "package",
    type=click.Path(exists=True, path_type=Path),
    metavar="PATH",
    help="Take the roster from there: a OneRoster package (a zip or a folder), or a CSV file.",
)
@click.option(
    "--section",
    "sections",
    multiple=True,
    metavar="S",
    help="With a OneRoster package: only this class; may be repeated.",
)
def command(
    folder: Path | None,
    folder_option: Path | None,
    month: Month | None,
    title: str | None,
    design: str | None,
    own_design: bool,
    paper: str | None,
    language: str | None,
    last: Path | None,
    package: Path | None,
    sections: tuple[str, ...],
) -> None:
    """Start a month in FOLDER (the current one if not given).

    Writes a challenge.toml that explains itself and a roster.csv to fill in. Files that are there
    already are left alone.

    With --from LAST, everything is as it was in that folder, but for its dates: days without school and the
    hand-in date are yours to fill in.
    """
    if folder and folder_option:
        raise click.UsageError("Give the folder once: as FOLDER or with --folder.")
    where = folder or folder_option or Path()
    if own_design and design and design.lower().endswith(".toml"):
        raise click.UsageError("--own-design copies a design that comes with Daybox; --design names yours.")
    if own_design and last and not design:
        raise click.UsageError("Say which design is to be copied: --own-design --design NAME.")
    if sections and not package:
        raise click.UsageError("--section goes with --roster and a OneRoster package.")
    given: dict[str, object] = {
        key: value
        for key, value in (("title", title), ("paper", paper), ("language", language))
        if value is not None
    }
    if design or own_design:
        shipped = design or "minutes"
        given["design"] = f"my-{shipped}.toml" if own_design else _design(shipped, where)
    carried = carry_on(last, where, month, given) if last else None
    month = month or Month.of(date.today()).following()
    challenge = carried.challenge if carried else make_challenge({**given, "month": month}, "This plan")
    designs = dict(carried.designs) if carried else {}
    named = design or (carried.last.design if carried else "minutes")
    chart = load_design(named, last if carried and not design and last else Path(), "--design")
    chart.wording(challenge.language, "--language")
    lay_out(challenge, chart)  # refuse now, not when printing
    if own_design:
        designs[challenge.design] = (templates() / f"{design or 'minutes'}.toml").read_bytes()
    students = _students(package, sections, challenge.month, last)
    plan, roster = write_new(where, challenge, students.roster, designs, carried.last if carried else None)

    click.echo(f"Started {challenge.title} ({challenge.month}).")
    click.echo(f"  {plan}\n      {_about_plan(carried)}")
    click.echo(f"  {roster}\n      {students.said}")
    for name in designs:
        whose = "chart" if name == challenge.design else "certificate"
        click.echo(f"  {where / name}\n      The {whose}'s sizes and wording, yours to change.")
    at = "" if where.resolve() == Path.cwd() else f" --folder {shlex.quote(str(where))}"
    click.echo(f"Then print the charts: daybox charts{at}")


@dataclass(frozen=True, slots=True)
class _Students:
    """roster: the file's content; None for an empty one. said: what to tell of it."""

    roster: bytes | None = None
    said: str = field(
        default="Fill it in, a line a student, in a spreadsheet. Each needs student_id,\n"
        "      first_name, last_name and section; the other columns may stay empty."
    )


def _students(package: Path | None, sections: Sequence[str], month: Month, last: Path | None) -> _Students:
    """The roster to begin with. Raises PlanError if what is named cannot be used."""
    if package is None and last is None:
        return _Students()
    if package is not None and (package.is_dir() or package.suffix.lower() == ".zip"):
        found = load_package(package, month, sections)
        out = f" Left out, since not enrolled in {month}: {found.left_out}." if found.left_out else ""
        return _Students(
            found.roster,
            f"{_number(found.students)} in {', '.join(found.sections)}.{out}\n"
            "      The columns ..._sourced_id take the marks back: daybox grades --oneroster",
        )
    if package is not None:
        if sections:
            raise click.UsageError(f"--section goes with a OneRoster package, and {package} is none.")
        return _Students(package.read_bytes(), f"{_number(len(load_roster(package)))}, as in {package}.")
    assert last is not None
    if _is_nameless(last):
        return _Students(None, f"The names of {last} are gone, so it is empty. {_Students().said}")
    path = last / ROSTER_NAME
    if not path.is_file():
        return _Students(None, f"{last} has no roster any more, so it is empty. {_Students().said}")
    return _Students(path.read_bytes(), f"{_number(len(load_roster(path)))}, as in {last}.")


def _is_nameless(folder: Path) -> bool:
    if not (folder / LEDGER).is_file():
        return False
    with Ledger.open(folder, create=False) as ledger:
        return NAMES in forgotten(ledger)


def _number(students: int) -> str:
    return f"{students} student{'s' if students != 1 else ''}"


def _about_plan(carried: CarriedOn | None) -> str:
    if carried is None:
        return "Look it over: days without school, the minimum, prizes, the hand-in date."
    return (
        f"As in {carried.last.month}, but for the dates: look over days without school and the hand-in date."
    )
