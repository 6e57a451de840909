"""`daybox awards`: who met the challenge, the places, mentions, and certificates."""

import shlex
from collections.abc import Iterator, Sequence
from pathlib import Path

import click

from ingest.cells import write_whole
from ingest.chart.printed import refuse_another_plan
from ingest.check.arrival import arrivals
from ingest.check.bookkeeper import Bookkeeper
from ingest.commands import folder_option
from ingest.errors import DayboxError
from ingest.ledger.store import Ledger
from ingest.plan.challenge import FILE_NAME, load_challenge
from ingest.plan.roster import load_roster
from ingest.report.award_csv import award_csv
from ingest.report.award_sheet import draw_sheet
from ingest.report.award_words import Phrases, phrases
from ingest.report.awards import Awards, Honour, awards
from ingest.report.certificate_design import load_certificate, shipped_certificate
from ingest.report.certificates import Certificate, certificates, draw_certificates

CSV, SHEET, CERTIFICATES = "awards.csv", "awards.pdf", "certificates.pdf"
USUAL = "fanfare"
NAMES_SHOWN = 4


@click.command()
@folder_option
@click.option(
    "--certificates",
    "size",
    type=click.Choice(["one", "four", "none"]),
    default="one",
    show_default=True,
    help="How many to a page.",
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    show_default="the challenge's folder",
    help="The folder to write into; it is made if need be.",
)
@click.option(
    "--own-design", is_flag=True, help="Only put a copy of the certificate into the folder, yours to change."
)
def command(folder: Path, size: str, out: Path | None, own_design: bool) -> None:
    """Name who met the challenge and who has a place, and print certificates.

    Writes a sheet for reading aloud (awards.pdf), a spreadsheet (awards.csv) and certificates.pdf. What an
    open question could still change is not given; the sheet says what that is. Run it again at any time.
    """
    challenge = load_challenge(folder)
    if own_design:
        _copy_design(folder, challenge.prizes.certificate)
        return
    roster = load_roster(folder / "roster.csv")
    design = load_certificate(challenge.prizes.certificate, folder)
    said = phrases(challenge, design)  # refuse before the ledger is touched
    with Ledger.open(folder, create=False) as ledger:
        refuse_another_plan(ledger.layouts().values(), challenge)
        ledger.sync_roster(roster)
        keeper = Bookkeeper(ledger, challenge)
        arrived = arrivals(keeper.fates(), ledger.pages(), ledger.returns(), challenge.month)
        given = awards(keeper.book, challenge, arrived)
    where = out or folder
    where.mkdir(parents=True, exist_ok=True)
    to_print = certificates(given, said) if size != "none" else ()
    write_whole(where / CSV, award_csv(given, said))
    write_whole(where / SHEET, draw_sheet(given, said))
    if to_print:
        drawn = draw_certificates(to_print, said, design, four=size == "four")
        write_whole(where / CERTIFICATES, drawn)
    elif size != "none":
        (where / CERTIFICATES).unlink(missing_ok=True)  # of an earlier run, and no longer true

    click.echo("\n".join(_summary(given, said)))
    click.echo(f"  {where / SHEET}\n      A sheet for reading aloud.")
    click.echo(f"  {where / CSV}\n      The same as a spreadsheet.")
    if to_print:
        click.echo(f"  {where / CERTIFICATES}\n      {_counted(to_print)}, {_PER_PAGE[size]}.")
    elif size != "none":
        click.echo("  No certificates: nothing is settled yet that could be given.")
    if not given.settled:
        at = "" if folder.resolve() == Path.cwd() else f" --folder {shlex.quote(str(folder))}"
        click.echo(
            "Some awards are still open, and were not given; the sheet says at its end which, and why."
        )
        click.echo(f"Next: daybox review{at}, then this command again.")


_PER_PAGE = {"one": "one to a page", "four": "four to a page, to be cut apart"}


def _summary(given: Awards, said: Phrases) -> Iterator[str]:
    """What is given, in a line each."""
    handed_in = sum(honour.rivals for honour in given.met)
    met = sum(len(honour.winners) for honour in given.met)
    yield f"{said.challenge.title}: {met} of {handed_in} who handed in met the challenge{_open(given.met)}."
    if given.places:
        places = sum(len(honour.winners) for honour in given.places)
        yield f"Places 1 to {said.challenge.prizes.top}: {places} given{_open(given.places)}."
    for kind in dict.fromkeys(honour.kind for honour in given.mentions):
        honours = [honour for honour in given.mentions if honour.kind == kind]
        names = [winner.student.name for honour in honours for winner in honour.winners]
        shown = ", ".join(names[:NAMES_SHOWN])
        more = f" and {len(names) - NAMES_SHOWN} more" if len(names) > NAMES_SHOWN else ""
        yield f"{said.title(honours[0])}: {(shown or 'nobody') + more}{_open(honours)}."


def _open(honours: Sequence[Honour]) -> str:
    count = sum(len(honour.open) for honour in honours)
    return f"; open for {count}" if count else ""


def _counted(to_print: Sequence[Certificate]) -> str:
    return f"{len(to_print)} certificate{'s' if len(to_print) != 1 else ''}"


def _copy_design(folder: Path, named: str) -> None:
    """Put a copy of the shipped certificate into the folder. Raises DayboxError where one is already."""
    name = USUAL if named.lower().endswith(".toml") else named
    content = shipped_certificate(name).read_bytes()
    copy = folder / f"my-{name}.toml"
    if copy.exists():
        raise DayboxError(
            f"{copy} is there already, and was left as it is. Change that one, or move it away to get a "
            "fresh copy."
        )
    write_whole(copy, content)
    click.echo(f"Wrote {copy}: the certificate's sizes, colors and wording, yours to change.")
    if named != copy.name:
        line = f'certificate = "{copy.name}"'
        click.echo(f"Then put this line into {folder / FILE_NAME}, under [prizes]: {line}")
