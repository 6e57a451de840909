"""`daybox grades`: the gradebook; the school's own with a column filled; or as a OneRoster package."""

import io
import textwrap
import zipfile
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path

import click

from ingest.cells import write_whole
from ingest.chart.printed import refuse_another_plan
from ingest.check.book import Book
from ingest.check.bookkeeper import Bookkeeper
from ingest.commands import folder_option
from ingest.errors import DayboxError, ExitCode
from ingest.ledger.forgotten import gone
from ingest.ledger.store import Ledger
from ingest.plan.challenge import Challenge, load_challenge
from ingest.plan.roster import load_roster
from ingest.printable import printable
from ingest.report.fill import FIGURES, Filled, Left, fill
from ingest.report.gradebook import gradebook
from ingest.report.oneroster import MANIFEST, OURS, package
from ingest.tally.standing import standings, unowned_pages
from ingest.tally.student import tallies

FILE_NAME = "gradebook.csv"
MOST_BYTES = 50_000_000  # a thousand times a school's largest export
ABSENT_SHOWN = 5


@click.command()
@folder_option
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    show_default=f"{FILE_NAME} in the folder; with --fill, EXPORT-filled.csv",
    help="Where to write it.",
)
@click.option(
    "--fill",
    "export",
    type=click.Path(dir_okay=False, exists=True, path_type=Path),
    metavar="EXPORT.csv",
    help="Fill a column of what you exported from the school's gradebook, and change nothing else in it.",
)
@click.option("--column", metavar="NAME", help="With --fill: the heading of the column.")
@click.option(
    "--value",
    type=click.Choice(list(FIGURES)),
    help="With --fill: what goes into it.  [default: points]",
)
@click.option("--add-column", is_flag=True, help="With --fill: add the column, at the right end.")
@click.option(
    "--oneroster",
    "roster_package",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Write a OneRoster 1.2 package of the marks; FILE.zip for a zip.",
)
def command(
    folder: Path,
    out: Path | None,
    export: Path | None,
    column: str | None,
    value: str | None,
    add_column: bool,
    roster_package: Path | None,
) -> None:
    """Write the gradebook as CSV, one row a student on the roster.

    Whatever an open flag could still change is left empty. Run it again at any time.

    With --fill, a column of the CSV that you exported from the school's gradebook is filled. Students are
    found by id, e-mail or name; what is in doubt is listed and left as it was, and the exit code is 3 then.
    Whoever handed in nothing gets nothing: that is no zero. Your export stays as it is; the result goes
    beside it.
    """
    if (export is None) != (column is None):
        raise click.UsageError("--fill and --column go together: --fill EXPORT.csv --column NAME")
    if export is None and (value or add_column):
        raise click.UsageError("--value and --add-column go with --fill EXPORT.csv --column NAME.")
    if roster_package and (export or out):
        raise click.UsageError("--oneroster goes neither with --fill nor with --out.")
    challenge = load_challenge(folder)
    students = load_roster(folder / "roster.csv")
    with Ledger.open(folder, create=False) as ledger:
        refuse_another_plan(ledger.layouts().values(), challenge)
        ledger.sync_roster(students)
        book = Bookkeeper(ledger, challenge).book
        removed = gone(ledger)
    if export is not None and column is not None:
        _fill(book, challenge, export, out, column, value or "points", add_column)
        return
    if roster_package is not None:
        _package(book, challenge, roster_package)
        return
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


def _fill(
    book: Book, challenge: Challenge, export: Path, out: Path | None, column: str, value: str, is_new: bool
) -> None:
    target = out or export.with_name(f"{export.stem}-filled{export.suffix}")
    if target.exists() and target.samefile(export):
        raise DayboxError(f"{export} stays as it was exported. Give another file with --out.")
    if export.stat().st_size > MOST_BYTES:
        raise DayboxError(
            f"{export} has {export.stat().st_size / 1e6:.0f} MB. Check that it is the right file."
        )
    figures = tallies(book, challenge)
    places = standings(figures, challenge, unowned_pages(book))
    done = fill(export.read_bytes(), str(export), column, value, figures, places, is_new)
    write_whole(target, done.content)
    for line in _told(done, target, column, value):
        click.echo(printable(line))
    if done.doubts:
        raise click.exceptions.Exit(ExitCode.SOME_UNREADABLE)


def _package(book: Book, challenge: Challenge, target: Path) -> None:
    figures = tallies(book, challenge)
    made = package(figures, challenge, datetime.now().astimezone())
    if target.suffix.lower() == ".zip":
        content = io.BytesIO()
        with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
            for name, data in made.files.items():
                archive.writestr(name, data)
        write_whole(target, content.getvalue())
    else:
        strangers = _strangers(target)
        if strangers:
            raise DayboxError(
                f"{target} has {', '.join(strangers)} already, and a package holds nothing else. "
                "Name another folder, or FILE.zip."
            )
        target.mkdir(parents=True, exist_ok=True)
        for name, data in made.files.items():
            write_whole(target / name, data)
    handed_in = sum(tally.handed_in for tally in figures)
    settled = sum(tally.handed_in and tally.points is not None for tally in figures)
    click.echo(f"Wrote {target}: {settled} marks of {len(figures)} students, {handed_in} of whom handed in.")
    if settled < handed_in:
        click.echo("The others are still open, and go without a score: `daybox review` settles them.")
    if made.made_up:
        said = (
            f"The roster has no ids of your school's system for {'; '.join(made.made_up)}. Daybox made "
            "some up, which that system will hardly know. Start from its class list: "
            "daybox new FOLDER --roster PACKAGE"
        )
        click.echo(textwrap.fill(said, 79))


def _strangers(folder: Path) -> list[str]:
    """What a folder holds that is no earlier package of ours."""
    if not folder.is_dir():
        return []
    if (folder / MANIFEST).is_file() and OURS in (folder / MANIFEST).read_bytes():
        return []
    return sorted(path.name for path in folder.iterdir())[:3]


def _told(done: Filled, target: Path, column: str, value: str) -> Iterator[str]:
    count = len(done.written)
    yield f'Wrote {target}: "{column}" filled with {value} for {count} student{"s" if count != 1 else ""}.'
    for cell in done.written:
        instead = f" instead of {cell.before}" if cell.before.strip() not in ("", cell.after) else ""
        student = f"{cell.student.name} ({cell.student.id})"
        yield f"  line {cell.line}: {student}, by {cell.by}: {cell.after}{instead}"
    yield from _left("Left as they were, since nothing was handed in", done.not_in)
    yield from _left("Left as they were, since the mark is still open; `daybox review` settles it", done.open)
    yield from _left("Left as they were, since nobody on the roster is meant", done.strangers)
    if done.absent:
        shown = ", ".join(student.name for student in done.absent[:ABSENT_SHOWN])
        more = f" and {len(done.absent) - ABSENT_SHOWN} more" if len(done.absent) > ABSENT_SHOWN else ""
        yield f"On the roster, but for sure on no line of this file: {len(done.absent)}"
        yield f"  {shown}{more}"
    yield from _left(
        "In doubt, so left as they were; fill these in yourself, or mend the roster", done.doubts
    )


def _left(heading: str, rows: Sequence[Left]) -> Iterator[str]:
    if rows:
        yield f"{heading}: {len(rows)}"
    for row in rows:
        yield f"  line {row.line}: {f'{row.student.name}, ' if row.student else ''}{row.why}"
