"""`daybox charts`: the printable PDF, and beside it where every box is."""

import os
import shlex
from collections.abc import Sequence
from pathlib import Path

import click

from ingest.cells import write_whole
from ingest.chart.charts import Chart, assign_codes, choose_students, layout_file
from ingest.chart.design import load_design
from ingest.chart.drawing import draw_charts
from ingest.chart.form import make_fillable
from ingest.chart.handout import file_names
from ingest.chart.layout import lay_out
from ingest.chart.printed import refuse_another_plan
from ingest.commands import folder_option
from ingest.ledger.forgotten import refuse_nameless
from ingest.ledger.records import ChartRecord
from ingest.ledger.store import Ledger
from ingest.plan.challenge import load_challenge
from ingest.plan.names import is_same_child
from ingest.plan.roster import load_roster


def _pdf(context: click.Context, parameter: click.Parameter, path: Path | None) -> Path | None:
    if path is not None and path.suffix.lower() != ".pdf":
        raise click.BadParameter(f"{path} should end in .pdf.")
    if path is not None and not path.parent.is_dir():
        raise click.BadParameter(f"There is no folder {path.parent}. Make it first.")
    return path


@click.command()
@click.option("--section", "sections", multiple=True, metavar="S", help="Only this section; may be repeated.")
@click.option("--student", "ids", multiple=True, metavar="ID", help="Only this student; may be repeated.")
@click.option("--spare", default=0, type=click.IntRange(0, 500), metavar="N", help="Charts without a name.")
@click.option("--fillable", is_flag=True, help="As a form, to be typed into on a computer or a tablet.")
@click.option("--each", is_flag=True, help="Besides, a PDF for each student, in a folder named like FILE.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    callback=_pdf,
    metavar="FILE.pdf",
    show_default="charts.pdf in the folder",
    help="Where to write it.",
)
@folder_option
def command(
    sections: tuple[str, ...],
    ids: tuple[str, ...],
    spare: int,
    fillable: bool,
    each: bool,
    out: Path | None,
    folder: Path,
) -> None:
    """Print the charts: one PDF, a page a student, then the spare ones.

    A student keeps the same chart however often it is printed; spare charts are new each time.
    """
    challenge = load_challenge(folder)
    roster = load_roster(folder / "roster.csv")
    students = choose_students(roster, sections, ids)
    design = load_design(challenge.design, folder)
    design.wording(challenge.language)  # refuse before the ledger is touched
    layout = lay_out(challenge, design)
    pdf = out or folder / "charts.pdf"

    def draw(some: Sequence[Chart]) -> bytes:
        printed = draw_charts(challenge, design, layout, some)
        return make_fillable(printed, challenge, design, layout, some) if fillable else printed

    with Ledger.open(folder) as ledger:
        kept = ledger.layouts()
        refuse_another_plan(kept.values(), challenge)
        refuse_nameless(ledger)
        ledger.sync_roster(roster)
        known = ledger.charts()
        # An id that passed to another child gets a new code, or the old paper would count for that child.
        names = {student.id: student.name for student in roster}
        printed = {
            c.student_id: c.code
            for c in known
            if c.student_id
            and kept.get(c.layout) == layout
            and is_same_child(c.name, names.get(c.student_id, ""))
        }
        charts = assign_codes(students, spare, printed, {chart.code for chart in known})

        drawn = draw(charts)
        # Only what could be drawn: a layout in the ledger says that charts like it are out there.
        key = ledger.add_layout(layout)
        # The ledger first: a chart that it does not know must never reach a printer.
        ledger.add_charts([_record(chart, key) for chart in charts])
    places = pdf.with_suffix(".layout.json")
    write_whole(places, layout_file(layout, charts).encode())
    write_whole(pdf, drawn)
    single = pdf.with_suffix("")  # the layout file beside it tells `collect` that these are no returns
    if each:
        for chart, name in zip(charts, file_names(charts), strict=True):
            (single / name).parent.mkdir(parents=True, exist_ok=True)
            write_whole(single / name, draw([chart]))

    click.echo(f"{challenge.title} ({challenge.month}): {_counted(charts)}.")
    click.echo(f"  {pdf}\n      {_FILLABLE if fillable else _PRINTED}")
    if each:
        click.echo(
            f"  {single}{os.sep}\n      The same, each in a file of its own, to be handed out one by one."
        )
    click.echo(f"  {places}\n      Where every box is, for other programs.")
    at = "" if folder.resolve() == Path.cwd() else f" --folder {shlex.quote(str(folder))}"
    click.echo(f"When charts come back: daybox collect{at} PATH, the PATH of what you downloaded.")


_PRINTED = "Print it at 100 %, on one side, in black and white if you like."
_FILLABLE = "To be typed into on a computer or a tablet, or printed at 100 %."


def _record(chart: Chart, layout: str) -> ChartRecord:
    if chart.student is None:
        return ChartRecord(chart.code, None, layout)
    return ChartRecord(chart.code, chart.student.id, layout, chart.student.name)


def _counted(charts: tuple[Chart, ...]) -> str:
    named = sum(chart.student is not None for chart in charts)
    spares = len(charts) - named
    words = []
    if named:
        words.append(f"{named} chart{'s' if named != 1 else ''} with names")
    if spares:
        words.append(f"{spares} spare chart{'s' if spares != 1 else ''}")
    return " and ".join(words)
