"""`daybox collect`: take in what was handed in, and read it."""

import shutil
import sys
import textwrap
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import click

from ingest.chart.printed import refuse_another_plan
from ingest.collect import batch
from ingest.collect.batch import Summary, Unread
from ingest.commands import folder_option
from ingest.errors import ExitCode
from ingest.ledger.forgotten import refuse_nameless
from ingest.ledger.store import Ledger
from ingest.plan.challenge import load_challenge
from ingest.plan.roster import load_roster
from ingest.printable import printable
from ingest.reading.ocr import has_tesseract

LISTED_MOST = 40  # a longer list runs off the screen, and the ledger has it all


@click.command()
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="PATH...")
@folder_option
@click.option(
    "--workers", type=click.IntRange(1, 64), help="How many pages to read at once.  [default: by cores]"
)
def command(paths: tuple[Path, ...], folder: Path, workers: int | None) -> None:
    """Take in what was handed in, from any mix of zips, folders, photos, scans and PDFs.

    Every file is copied into `originals/`, so the download may be deleted afterwards. Collecting the same
    file again changes nothing, and a run that was stopped is finished by running it again. What cannot be
    read is listed and kept; the exit code is 3 then.
    """
    batch.check_paths(paths)
    challenge = load_challenge(folder)  # refuse a wrong folder before anything is copied
    students = load_roster(folder / "roster.csv")
    with Ledger.open(folder) as ledger:
        refuse_another_plan(ledger.layouts().values(), challenge)
        refuse_nameless(ledger)
        ledger.sync_roster(students)
        with _progress() as on_progress:
            summary = batch.collect(ledger, paths, workers=workers, on_progress=on_progress)
    for line in _lines(summary):
        click.echo(_wrapped(printable(line)))
    if summary.lost:
        raise click.exceptions.Exit(ExitCode.SOME_UNREADABLE)


@contextmanager
def _progress() -> Iterator[batch.Progress]:
    """A bar on stderr; without a terminal, a line every ten seconds."""
    if not sys.stderr.isatty():
        yield _plain_progress()
        return
    from rich.console import Console  # here: without a terminal, all starts sooner
    from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeRemainingColumn

    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.fields[count]}"),
        TimeRemainingColumn(compact=True),
        console=Console(stderr=True),
        transient=True,
    )
    tasks: dict[str, TaskID] = {}

    def show(what: str, done: int, total: int | None) -> None:
        if what not in tasks:
            for task in tasks.values():
                bar.update(task, visible=False)
            tasks[what] = bar.add_task(f"{what:9}", total=total, count="")
        count = f"{done} of {total}" if total is not None else f"{done} files"
        bar.update(tasks[what], completed=done, total=total, count=count)

    with bar:
        yield show


def _plain_progress() -> batch.Progress:
    said = time.monotonic()

    def show(what: str, done: int, total: int | None) -> None:
        nonlocal said
        if time.monotonic() - said >= 10:
            said = time.monotonic()
            click.echo(f"{what}: {done}" + ("" if total is None else f" of {total}"), err=True)

    return show


def _lines(summary: Summary) -> Iterator[str]:
    """The closing summary."""
    if not summary.files and not summary.returns and not summary.lost:
        yield "There are no files in what was given, so nothing was collected."
        return
    yield f"Found {_number(summary.files, 'file')}" + (
        f", {_of_them(summary.known, summary.files)} collected before." if summary.known else "."
    )
    if summary.returns:
        yield f"Read {_number(summary.pages, 'chart')} in {_number(summary.returns, 'return')}."
    else:
        yield "There was nothing new to read."
    if summary.others:
        yield f"Of another month, so that it does not count: {_number(summary.others, 'chart')}."
    if summary.ownerless:
        whose = "whose it is" if summary.ownerless == 1 else "whose they are"
        charts = _number(summary.ownerless, "chart")
        yield f"Of {charts} the code does not say {whose}; where nothing else does, `daybox review` asks."
        if not has_tesseract():
            yield (
                "Tesseract is not installed, so no name on a chart and no code in letters could be read. "
                "`sudo apt-get install tesseract-ocr` brings it; these charts stay as they are."
            )
    yield from _list("Could not be read", summary.lost)
    yield from _list("Could be read only in part", summary.spoilt)
    if summary.lost:
        yield "Kept in `originals/`, as far as they could be opened. Ask these families for another photo."
    yield "Next: `daybox status` shows where things stand, `daybox review` settles what is unsure."


def _wrapped(line: str) -> str:
    """The line, broken between words where a terminal would break within them."""
    if not sys.stdout.isatty():
        return line
    width = shutil.get_terminal_size().columns
    return textwrap.fill(
        line, width, subsequent_indent="    ", break_long_words=False, break_on_hyphens=False
    )


def _number(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def _of_them(count: int, total: int) -> str:
    return "all of them" if count == total else f"{count} of them"


def _list(heading: str, things: Sequence[Unread]) -> Iterator[str]:
    if not things:
        return
    yield f"{heading}: {len(things)}"
    for thing in things[:LISTED_MOST]:
        page = f", page {thing.page}" if thing.page else ""
        yield f"  {thing.path}{page}: {thing.why}"
    if len(things) > LISTED_MOST:
        yield f"  ... and {len(things) - LISTED_MOST} more."
