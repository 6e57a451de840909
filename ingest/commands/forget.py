"""`daybox forget`: remove children's data for good."""

import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from textwrap import fill

import click

from ingest.commands import folder_option
from ingest.errors import DayboxError
from ingest.ledger.store import FILE_NAME as LEDGER
from ingest.plan.challenge import FILE_NAME as PLAN
from ingest.plan.new import ROSTER_NAME
from ingest.report.class_figures import FILE_NAME as FIGURES
from ingest.report.forget import Forgetting, Scope, carry_out, look

LISTED_MOST = 12
_WIDTH = 79


@click.command()
@click.option("--photos", is_flag=True, help="Everything that shows what was handed in. Numbers stay.")
@click.option("--names", is_flag=True, help="Photos and whatever says who is who. Numbers stay, of nobody.")
@click.option("--everything", is_flag=True, help="All but the plan and your own designs.")
@click.option("--student", "student_id", metavar="ID", help="All of one student, and nothing of others.")
@click.option(
    "--keep-figures",
    is_flag=True,
    help=f"Keep what the class came to, without names, in {FIGURES}, to compare months by.",
)
@click.option("--dry-run", is_flag=True, help="Only say what would be removed.")
@click.option("--yes", is_flag=True, help="Do not ask before removing.")
@folder_option
def command(
    photos: bool,
    names: bool,
    everything: bool,
    student_id: str | None,
    keep_figures: bool,
    dry_run: bool,
    yes: bool,
    folder: Path,
) -> None:
    """Remove children's data for good: photos, names, or everything; or all of one student.

    You are told what goes and what stays, and asked, before anything is removed. What is stopped, the same
    command finishes.
    """
    given = [Scope.PHOTOS] * photos + [Scope.NAMES] * names + [Scope.EVERYTHING] * everything
    given += [Scope.STUDENT] * (student_id is not None)
    if len(given) != 1:
        raise click.UsageError("Say what to forget: one of --photos, --names, --everything or --student ID.")
    (scope,) = given
    if keep_figures and scope in (Scope.PHOTOS, Scope.STUDENT):
        raise click.UsageError(
            f"--keep-figures goes with --names or --everything; --{scope} keeps all figures."
        )
    what = look(folder, scope, student_id or "", keep_figures)
    if scope is Scope.STUDENT and what.theirs is None:
        click.echo(f"Nothing of {student_id} is left; what had been stopped is finished.")
        return
    for line in _told(what):
        click.echo(line)
    if dry_run:
        click.echo("Nothing was removed: this was a dry run.")
        return
    if not yes:
        if not sys.stdin.isatty():
            raise DayboxError(
                "Nothing was removed: there is no terminal to ask in. Run the same command in a terminal "
                "window, or with --yes."
            )
        click.confirm("Remove this for good? It cannot be undone", abort=True)
    carry_out(what)
    click.echo("Done: it is gone.")


def _told(what: Forgetting) -> Iterator[str]:
    """What goes, what stays, and what only the teacher can remove."""
    yield f"{what.folder.resolve()}"
    yield "This goes:"
    yield from _goes(what)
    yield "This stays:"
    yield from _stays(what)
    if what.others:
        yield "This is not Daybox's, and stays, too. Look it through yourself:"
        for path in what.others[:LISTED_MOST]:
            yield _item(_named(what.folder, path))
        if len(what.others) > LISTED_MOST:
            yield _item(f"... and {len(what.others) - LISTED_MOST} more")
    yield fill(
        "What you wrote elsewhere with --out or --sheet, printed, mailed or copied, what was downloaded, and "
        "backups: Daybox does not know of them. Only you can remove those.",
        _WIDTH,
    )


def _goes(what: Forgetting) -> Iterator[str]:
    held = what.held
    match what.scope:
        case Scope.STUDENT if what.theirs:
            student = what.theirs.student
            yield _item(
                f"{student.name} ({student.id}): the line in {ROSTER_NAME}; in {LEDGER} the name, charts, "
                f"answers, and {_number(len(what.theirs.pages), 'page')} with all readings"
            )
        case Scope.PHOTOS if held:
            yield _item(f"in {LEDGER}: the pictures that were shown with questions")
        case Scope.NAMES if held:
            yield _item(
                f"in {LEDGER} and {ROSTER_NAME}, of {_number(held.students, 'student')}: names, ids, chart "
                "codes, paths, whatever people wrote, and all pictures"
            )
        case Scope.EVERYTHING:
            if held:
                yield _item(
                    f"{LEDGER}: {_number(held.students, 'student')}, {_number(held.returns, 'return')}, "
                    f"{_number(held.readings, 'reading')}, {_number(held.answers, 'answer')}"
                )
            if (what.folder / ROSTER_NAME).is_file():
                yield _item(ROSTER_NAME)
            if what.figures is None and (what.folder / FIGURES).is_file():
                yield _item(FIGURES)
    for line in _grouped(what.folder, what.files):
        yield _item(line)
    if what.waiting and what.scope in (Scope.PHOTOS, Scope.NAMES):
        yield _item(f"{_number(what.waiting, 'file')} of these not read yet: nothing in them will count")


def _stays(what: Forgetting) -> Iterator[str]:
    match what.scope:
        case Scope.PHOTOS:
            yield _item("names, readings, answers: gradebook and awards can be made as before")
        case Scope.NAMES:
            yield _item(
                "the numbers of each student, called N001 and so on in random order; whoever remembers a "
                "child's minutes may still find the child by them"
            )
        case Scope.STUDENT:
            yield _item(
                "all that is others'; files that were written for all go, since the student is in them: "
                "write them again"
            )
    if (what.folder / PLAN).is_file():
        yield _item(f"{PLAN}, and designs of your own")
    if what.figures is not None:
        yield _item(f"{FIGURES}: what the class came to, without names")


def _item(text: str) -> str:
    return fill(text, _WIDTH, initial_indent="  ", subsequent_indent="      ", break_on_hyphens=False)


def _grouped(folder: Path, files: Iterable[Path]) -> Iterator[str]:
    """A line for each file in the folder and for each folder in it, with how much it is."""
    sizes: dict[Path, list[int]] = {}
    for path in files:
        top = folder / path.relative_to(folder).parts[0]
        sizes.setdefault(top, []).append(path.lstat().st_size)
    for top, found in sizes.items():
        count = f"{_number(len(found), 'file')}, " if top.is_dir() else ""
        yield f"{_named(folder, top)}: {count}{_size(sum(found))}"


def _named(folder: Path, path: Path) -> str:
    return f"{path.relative_to(folder)}{'/' if path.is_dir() else ''}"


def _size(count: int) -> str:
    return f"{count / 1e6:.1f} MB" if count >= 100_000 else f"{max(1, round(count / 1000))} KB"


def _number(count: int, noun: str) -> str:
    return f"{count:,} {noun}{'s' if count != 1 else ''}"
