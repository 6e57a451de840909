"""`daybox trail`: behind every number of the gradebook its boxes, pictures and changes."""

import re
import sys
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path
from urllib.parse import unquote

import click

from ingest.cells import write_whole
from ingest.chart.charts import Chart, choose_students
from ingest.chart.handout import file_names
from ingest.chart.printed import refuse_another_plan
from ingest.check.bookkeeper import Bookkeeper
from ingest.commands import folder_option
from ingest.ledger.pictures import Pictures
from ingest.ledger.spots import spot_answers, spot_checks
from ingest.ledger.store import Ledger
from ingest.plan.challenge import load_challenge
from ingest.plan.roster import load_roster
from ingest.report.trail import Records, StudentTrail, trail_csv, trails
from ingest.report.trail_page import index_page, trail_page

FOLDER_NAME = "trail"
INDEX = "index.html"
CSV = "trail.csv"


@click.command()
@click.option("--student", "student_id", metavar="ID", help="Only this student.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="PATH",
    show_default=f"the folder {FOLDER_NAME}",
    help="The folder to write into; with --student, the page to write, FILE.html.",
)
@folder_option
def command(student_id: str | None, out: Path | None, folder: Path) -> None:
    """Show what is behind every number of the gradebook: each box, its picture, and who changed it.

    A page a student with a list of all, to be opened with any web browser, and a spreadsheet beside it. With
    --student just that page. The pages stand by themselves: nothing is fetched, and they print well.
    """
    challenge = load_challenge(folder)
    roster = load_roster(folder / "roster.csv")
    chosen = choose_students(roster, (), () if student_id is None else (student_id,))
    if student_id is None and out is not None and out.suffix.lower() in (".html", ".htm", ".csv"):
        raise click.UsageError(
            f"{out} is one file, but there is a page for each student. Give a folder, or --student ID."
        )
    with Ledger.open(folder, create=False) as ledger:
        refuse_another_plan(ledger.layouts().values(), challenge)
        ledger.sync_roster(roster)
        with ledger.snapshot():
            keeper = Bookkeeper(ledger, challenge)
            records = Records(
                ledger.pages(),
                ledger.returns(),
                ledger.answers(),
                spot_checks(ledger),
                spot_answers(ledger),
            )
        found = [
            each for each in trails(keeper.book, challenge, records, keeper.fates()) if each.student in chosen
        ]
        pictures, now = Pictures(ledger), datetime.now()

        def page(trail: StudentTrail, index: str = "") -> bytes:
            return trail_page(trail, challenge, records, pictures, now, index)

        if student_id is not None:
            target = _single(out, folder, found[0])
            target.parent.mkdir(parents=True, exist_ok=True)
            of_all = out is None and (folder / FOLDER_NAME / INDEX).exists()
            write_whole(target, page(found[0], "../" + INDEX if of_all else ""))
            write_whole(target.with_suffix(".csv"), trail_csv(found))
            click.echo(f"Wrote {target}: open it with a web browser.")
            click.echo(f"      {target.with_suffix('.csv')} holds the same as a spreadsheet.")
            return
        target = out or folder / FOLDER_NAME
        target.mkdir(parents=True, exist_ok=True)
        before = _listed(target / INDEX)
        paths = file_names([Chart("", each.student) for each in found], ".html")
        each = list(zip(found, paths, strict=True))
        with click.progressbar(each, label="Pages", file=sys.stderr) as bar:
            for trail, path in bar:
                (target / path).parent.mkdir(parents=True, exist_ok=True)
                write_whole(target / path, page(trail, "../" + INDEX))
    links = [(trail, path.as_posix()) for trail, path in zip(found, paths, strict=True)]
    write_whole(target / INDEX, index_page(links, challenge, now))
    write_whole(target / CSV, trail_csv(found))
    _remove(target, before - {path for _, path in links})
    click.echo(f"Wrote {target / INDEX}: open it with a web browser and choose a student.")
    click.echo(f"      {target / CSV} holds the same as a spreadsheet.")


def _single(out: Path | None, folder: Path, trail: StudentTrail) -> Path:
    """Where one student's page goes."""
    if out is None:
        (name,) = file_names([Chart("", trail.student)], ".html")
        return folder / FOLDER_NAME / name
    if out.suffix.lower() not in (".html", ".htm"):
        raise click.UsageError(f"{out} should end in .html.")
    return out


def _listed(index: Path) -> set[str]:
    """The pages that a list written earlier leads to, as paths from its folder."""
    if not index.is_file():
        return set()
    text = index.read_text(encoding="utf-8", errors="replace")
    return {unquote(path) for path in re.findall(r'<th scope="row"><a href="([^"#:]+\.html)">', text)}


def _remove(folder: Path, paths: Iterable[str]) -> None:
    """Pages of students who left, or are called otherwise now: children's data is not left lying about."""
    for path in paths:
        page = (folder / path).resolve()
        if folder.resolve() in page.parents:
            page.unlink(missing_ok=True)
