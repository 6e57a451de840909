"""`daybox progress`: pictures of a month, for the class, each student and the wall; or of months together."""

import os
import sys
from collections.abc import Sequence
from pathlib import Path

import click

from ingest.cells import write_whole
from ingest.chart.charts import Chart, choose_students
from ingest.chart.handout import file_names
from ingest.chart.printed import refuse_another_plan
from ingest.check.book import Book
from ingest.check.bookkeeper import Bookkeeper
from ingest.commands import folder_option
from ingest.errors import DayboxError
from ingest.ledger.store import FILE_NAME as LEDGER
from ingest.ledger.store import Ledger
from ingest.plan.challenge import FILE_NAME as PLAN
from ingest.plan.challenge import Challenge, load_challenge
from ingest.plan.roster import load_roster
from ingest.report.class_figures import FILE_NAME as FIGURES
from ingest.report.class_figures import ClassFigures, class_figures, load_figures
from ingest.report.class_pages import draw_class
from ingest.report.comparison import comparison_csv, in_order, matching
from ingest.report.comparison_page import draw_comparison
from ingest.report.pages import to_png
from ingest.report.poster import Shown, draw_poster
from ingest.report.student_month import StudentMonth, student_months
from ingest.report.student_pages import draw_students

OUT = "progress"


@click.command()
@click.option("--section", "sections", multiple=True, metavar="S", help="Only students of this section.")
@click.option("--student", "ids", multiple=True, metavar="ID", help="Only this student; may be repeated.")
@click.option("--each", is_flag=True, help="Besides, a PDF for each student, in a folder of its own.")
@click.option(
    "--poster",
    "shown",
    type=click.Choice(["names", "numbers"]),
    default="numbers",
    show_default=True,
    help="What the poster has of students: everybody's first name, or only numbers.",
)
@click.option(
    "--with",
    "others",
    multiple=True,
    metavar="FOLDER...",
    type=click.Path(path_type=Path),
    help="Instead, compare this month with those of other folders, as class figures without names.",
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    show_default=f"{OUT} in the folder",
    help="The folder to write into; it is made if need be.",
)
@folder_option
@click.argument("more", nargs=-1, type=click.Path(path_type=Path), metavar="")
def command(
    sections: tuple[str, ...],
    ids: tuple[str, ...],
    each: bool,
    shown: Shown,
    others: tuple[Path, ...],
    out: Path | None,
    folder: Path,
    more: tuple[Path, ...],
) -> None:
    """Draw the month: pictures of the class, a page for each student, and a poster for the wall.

    Nothing compares one child with another. What is not settled yet is shown so. With --section or --student,
    only the pages of these students are made.
    """
    if more and not others:
        raise click.UsageError(f'"{more[0]}" is not expected here. To compare months: --with FOLDER...')
    if others and (sections or ids or each):
        raise click.UsageError("--with compares whole months; leave out --section, --student and --each.")
    where = out or folder / OUT
    if others:
        _compare(folder, (*others, *more), where)
        return
    challenge, book = _settled(folder)
    months = student_months(book, challenge)
    if not any(one.handed_in for one in months):
        raise DayboxError(
            "No chart counts so far, so there is nothing to draw. `daybox status` says what came in, and "
            "`daybox collect` takes in more."
        )
    chosen = choose_students([one.student for one in months], sections, ids)
    pages = [one for one in months if one.student in chosen]
    where.mkdir(parents=True, exist_ok=True)
    click.echo(_summary(challenge, months))
    if len(pages) == len(months):
        _class(where, challenge, months)
    _students(where, challenge, pages, each)
    if len(pages) == len(months):
        _poster(where, challenge, months, shown)
    if not all(one.settled for one in months if one.handed_in):
        click.echo("Days that are not known yet stand there as `?`. After `daybox review`, draw again.")


def _settled(folder: Path) -> tuple[Challenge, Book]:
    """The plan of a folder, and everything known of its students as it stands now."""
    challenge = load_challenge(folder)
    roster = load_roster(folder / "roster.csv")
    with Ledger.open(folder, create=False) as ledger:
        refuse_another_plan(ledger.layouts().values(), challenge)
        ledger.sync_roster(roster)
        return challenge, Bookkeeper(ledger, challenge).book


def _summary(challenge: Challenge, months: Sequence[StudentMonth]) -> str:
    there = [one for one in months if one.handed_in]
    unknown = sum(one.open_days for one in there)
    still = f", {unknown} day{'s' if unknown != 1 else ''} not known yet" if unknown else ""
    return f"{challenge.title}: {len(there)} of {len(months)} charts are in{still}."


def _class(where: Path, challenge: Challenge, months: Sequence[StudentMonth]) -> None:
    pdf, names = draw_class(challenge, months)
    write_whole(where / "class.pdf", pdf)
    pictures = [f"{name}.png" for name in names]
    _write_pictures(where, "sections-*.png", pdf, pictures)
    click.echo(f"  {where / 'class.pdf'}\n      The month as a calendar, minutes by section, all totals.")
    click.echo(f"  {', '.join(pictures)}\n      The same as pictures, beside it.")


def _students(where: Path, challenge: Challenge, pages: Sequence[StudentMonth], each: bool) -> None:
    pdf = where / "students.pdf"
    write_whole(pdf, draw_students(challenge, pages))
    count = "1 page, about one student" if len(pages) == 1 else f"{len(pages)} pages, each about one student"
    click.echo(f"  {pdf}\n      {count} and nobody else.")
    if not each:
        return
    single = pdf.with_suffix("")
    names = file_names([Chart("", one.student) for one in pages])
    with click.progressbar(list(zip(pages, names, strict=True)), label="Pages", file=sys.stderr) as bar:
        for one, name in bar:
            (single / name).parent.mkdir(parents=True, exist_ok=True)
            write_whole(single / name, draw_students(challenge, [one]))
    click.echo(f"  {single}{os.sep}\n      The same, each in a file of its own, to be handed out one by one.")


def _poster(where: Path, challenge: Challenge, months: Sequence[StudentMonth], shown: Shown) -> None:
    pdf, pages = draw_poster(challenge, months, shown)
    write_whole(where / "poster.pdf", pdf)
    pictures = [f"poster{f'-{page}' if page > 1 else ''}.png" for page in range(1, pages + 1)]
    _write_pictures(where, "poster-*.png", pdf, pictures)
    said = {"names": "with everybody's first name", "numbers": "without names"}[shown]
    click.echo(f"  {where / 'poster.pdf'}, {pictures[0]}\n      For the wall, {said}.")


def _write_pictures(where: Path, earlier: str, pdf: bytes, names: Sequence[str]) -> None:
    """Each page of the PDF as PNG. earlier: what an earlier run may have left that is no longer true."""
    for path in where.glob(earlier):
        if path.name not in names:
            path.unlink()
    for page, name in enumerate(names):
        write_whole(where / name, to_png(pdf, page))


def _compare(folder: Path, others: Sequence[Path], where: Path) -> None:
    folders = {path.resolve(): path for path in (folder, *others)}
    months = in_order(_figures(path) for path in folders.values())
    if len(months) == 1:
        raise DayboxError(
            "--with names only the folder that you are in. Name the folder of another month, as in "
            "`daybox progress --with ../september`."
        )
    planned = [path for path in folders.values() if (path / PLAN).is_file()]  # ours first, if it has one
    plan = load_challenge(planned[0]) if planned else None
    pdf, pages = draw_comparison(months, plan.paper if plan else "letter", plan.language if plan else "en")
    where.mkdir(parents=True, exist_ok=True)
    write_whole(where / "comparison.pdf", pdf)
    pictures = [f"comparison{f'-{page}' if page > 1 else ''}.png" for page in range(1, pages + 1)]
    _write_pictures(where, "comparison-*.png", pdf, pictures)
    write_whole(where / "comparison.csv", comparison_csv(months))
    shared = matching(months)
    same = f" and {len(shared)} section{'s' if len(shared) != 1 else ''} that match" if shared else ""
    click.echo(f"{len(months)} months: the class as a whole{same}. No names.")
    click.echo(f"  {where / 'comparison.pdf'}, {pictures[0]}\n      To look at.")
    click.echo(f"  {where / 'comparison.csv'}\n      The same as a spreadsheet, with every section.")


def _figures(folder: Path) -> ClassFigures:
    """Of a month that is there, or what was kept of one whose names are gone."""
    if (folder / FIGURES).is_file():
        return load_figures(folder / FIGURES)
    if not (folder / LEDGER).is_file() or not (folder / PLAN).is_file():
        raise DayboxError(
            f"{folder} holds no month that could be compared: neither {LEDGER} with {PLAN}, nor {FIGURES} "
            "of a month whose names are gone. Check the name, or leave that folder out."
        )
    challenge, book = _settled(folder)
    return class_figures(book, challenge)
