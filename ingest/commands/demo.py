"""`daybox demo`: the whole job on the made-up school, through the same commands that a teacher types."""

import csv
import io
import shlex
import shutil
import time
from contextlib import redirect_stdout
from pathlib import Path

import click

from ingest import cli
from ingest.chart.design import load_design
from ingest.chart.layout import lay_out
from ingest.demo import school
from ingest.demo.pile import Pile, Printed, make_pile
from ingest.demo.truth import answered, box_differences, differences, expected_gradebook
from ingest.errors import DayboxError, ExitCode
from ingest.ledger.store import Ledger
from ingest.paper import Box
from ingest.plan.challenge import load_challenge
from ingest.report.readings import page_origins

MARK = ".daybox-demo"  # says that a folder is an earlier demo, and may be made anew
PARTS = ("october", "september", "handed in", "truth")
SEED = 2027
LISTED_MOST = 10
MOST_ROUNDS = 5  # of review: whose a page is must be answered before its boxes can be asked


@click.command()
@click.argument("folder", type=click.Path(path_type=Path), default=Path("daybox-demo"))
def command(folder: Path) -> None:
    """See the whole job done on a made-up school.

    Plans October 2027 for an invented beginning band, prints the charts, fills them in by other
    people's handwriting, photographs them badly, reads the photographs, and compares the gradebook
    with what was really written. All of it stays in FOLDER for you to look at.
    """
    began = time.monotonic()
    _clear(folder)
    october, truth = folder / "october", folder / "truth"

    _say(f"1. {school.SCHOOL} starts a month", "An empty folder becomes a plan and a roster.")
    _daybox("new", str(october), "--month", school.MONTH)
    _plan(october)
    _say(
        "2. The charts are printed",
        f"{len(school.PUPILS)} students in three sections, and a spare chart for whoever lost theirs.",
    )
    _daybox("charts", "--folder", str(october), "--spare", "1")
    _september(folder / "september")

    _say(
        "3. A month goes by; the charts come back", "By mail and from the class site, as families send them:"
    )
    for pupil in school.PUPILS:
        if pupil.story is not school.Story.PLAIN:
            click.echo(f"     {pupil.first_name} {pupil.last_name} {pupil.story.value}.")
    click.echo("     Somebody sends a picture of a cat. All others: photos, scans, whatever the phone made.")
    click.echo("   Filling the charts in and photographing them takes half a minute ...")
    pile = make_pile(
        folder / "handed in",
        Printed.of(october / "charts.pdf"),
        Printed.of(folder / "september" / "charts.pdf"),
        _code_area(october),
        SEED,
    )
    click.echo(f"   The pile: {folder / 'handed in'}")
    _write_truth(truth, pile)

    _say(
        "4. Everything is taken in at once", "Which picture is whose, what does each box say, does it add up?"
    )
    _daybox(
        "collect", "--folder", str(october), *map(str, pile.paths),
        allowed=(ExitCode.DONE, ExitCode.SOME_UNREADABLE),
    )  # fmt: skip
    _daybox("status", "--folder", str(october))

    _say(
        "5. The teacher settles what is unsure",
        "`daybox review` asks box by box; here it goes by spreadsheet, answered from the truth.",
    )
    puzzles = _review(october, pile)

    _say("6. The gradebook", "And every reading, for whoever wants to check.")
    _daybox("grades", "--folder", str(october), "--out", str(october / "gradebook.csv"))
    _show_gradebook(october / "gradebook.csv")
    _daybox("readings", "--folder", str(october), "--out", str(october / "readings.csv"))

    _say("7. The awards", "A sheet to read aloud in front of the hall, and certificates.")
    _daybox("awards", "--folder", str(october))

    challenge = load_challenge(october)
    expected = expected_gradebook(
        pile.diaries, challenge.required_dates(), school.MINIMUM_MINUTES, school.POINTS
    )
    gradebook = (october / "gradebook.csv").read_text(encoding="utf-8-sig")
    readings = (october / "readings.csv").read_text(encoding="utf-8-sig")
    known = {student: diary for student, diary in pile.diaries.items() if diary}
    wrong = [*puzzles, *differences(gradebook, expected)]
    misread = box_differences(readings, known)

    click.echo()
    click.secho("Everything lies here:", bold=True)
    for part, what in zip(
        (
            "october/charts.pdf",
            "handed in",
            "october/review-1.csv",
            "october/gradebook.csv",
            "october/awards.pdf",
            "october/certificates.pdf",
            "truth",
        ),
        (
            "the charts",
            "what came back",
            "what was asked, with answers",
            "the result",
            "the awards, for reading aloud",
            "the certificates",
            "what was written",
        ),
        strict=True,
    ):
        click.echo(f"  {folder / part}: {what}")
    click.echo(f"It took {time.monotonic() - began:.0f} seconds, most of them to fill in and photograph.")
    if misread:
        click.echo(f"{len(misread)} boxes were taken otherwise than they were written (blank counts as 0):")
        for line in misread[:LISTED_MOST]:
            click.echo(f"  {line}")
        if len(misread) > LISTED_MOST:
            click.echo(f"  ... and {len(misread) - LISTED_MOST} more")
    if wrong:
        click.echo(f"The gradebook differs from the truth in {len(wrong)} places:")
        for line in wrong:
            click.echo(f"  {line}")
        raise click.exceptions.Exit(ExitCode.REFUSED)
    click.echo("The gradebook equals the truth.")
    click.echo("Your own month starts with: daybox new FOLDER")


def _clear(folder: Path) -> None:
    """Make room for the demo. Raises DayboxError where anything of somebody else's lies."""
    if folder.exists() and not folder.is_dir():
        raise DayboxError(f"{folder} is a file. Name a folder for the demo: daybox demo FOLDER.")
    if folder.is_dir() and any(folder.iterdir()) and not (folder / MARK).is_file():
        raise DayboxError(
            f"{folder} is not empty and is no earlier demo, so nothing in it was touched. "
            "Name another folder: daybox demo FOLDER."
        )
    folder.mkdir(parents=True, exist_ok=True)
    (folder / MARK).write_text("Made by `daybox demo`, which may empty this folder.\n", encoding="utf-8")
    for part in PARTS:
        shutil.rmtree(folder / part, ignore_errors=True)


def _say(title: str, what: str) -> None:
    click.echo()
    click.secho(title, bold=True)
    click.echo(f"   {what}")


def _daybox(*words: str, allowed: tuple[int, ...] = (ExitCode.DONE,)) -> None:
    """Run one command as if it had been typed. Raises DayboxError if it fails."""
    click.secho(f"   $ daybox {shlex.join(words)}", fg="cyan")
    code = cli.main(words)
    if code not in allowed:
        raise DayboxError(f"the demo stopped: `daybox {words[0]}` ended with {code}; its message is above.")


def _quietly(*words: str) -> str:
    """The same, and what it printed."""
    printed = io.StringIO()
    with redirect_stdout(printed):
        code = cli.main(words)
    if code != ExitCode.DONE:
        raise DayboxError(f"the demo stopped: `daybox {shlex.join(words)}` ended with {code}.")
    return printed.getvalue()


def _plan(folder: Path) -> None:
    """What a teacher does in an editor: the holiday into the plan, the students into the roster."""
    plan = folder / "challenge.toml"
    text = plan.read_text(encoding="utf-8")
    plan.write_text(text.replace("no_school = []", f'no_school = ["{school.HOLIDAY}"]'), encoding="utf-8")
    _write_roster(folder / "roster.csv")
    click.echo(f"   Into the plan goes a holiday ({school.HOLIDAY:%A, %B %d}), into the roster the students.")


def _write_roster(path: Path) -> None:
    with path.open("w", encoding="utf-8-sig", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["student_id", "first_name", "last_name", "section", "instrument", "school"])
        for pupil in school.PUPILS:
            names = (pupil.first_name, pupil.last_name)
            writer.writerow([pupil.id, *names, pupil.section, pupil.instrument, school.SCHOOL])


def _september(folder: Path) -> None:
    """Last month's charts, of which one comes back by mistake."""
    _quietly("new", str(folder), "--month", "2027-09")
    _write_roster(folder / "roster.csv")
    _quietly("charts", "--folder", str(folder), "--spare", "1")


def _code_area(folder: Path) -> Box:
    challenge = load_challenge(folder)
    layout = lay_out(challenge, load_design(challenge.design, folder))
    boxes = (layout.qr, layout.letters)
    left, top = min(box.left for box in boxes), min(box.top for box in boxes)
    right, bottom = max(box.right for box in boxes), max(box.bottom for box in boxes)
    return Box(left, top, right - left, bottom - top)


def _write_truth(folder: Path, pile: Pile) -> None:
    """What was really written, for people to look up. No command reads it."""
    folder.mkdir()
    with (folder / "boxes.csv").open("w", encoding="utf-8-sig", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["student_id", "box", "written", "minutes"])
        for student, diary in pile.diaries.items():
            if diary:
                for box, value in diary.truth.items():
                    writer.writerow([student, box, diary.entries[box].text, value])


def _show_gradebook(path: Path) -> None:
    """A few rows, in words that fit a terminal."""
    rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig"))))
    for row in rows[:5]:
        name = f"     {row['first_name']} {row['last_name']}"
        days = f"{row['days_met']:>2} of {row['required_days']} days"
        marks = f"met: {row['met']:3}  place {row['standing']:>2}, points {row['points']}"
        click.echo(f"{name:26} {row['total_minutes']:>4} minutes, {days}, {marks}")
    click.echo(f"     ... and {len(rows) - 5} more")


def _review(folder: Path, pile: Pile) -> list[str]:
    """Answer the review sheets until nothing is asked; what could not be answered, in words."""
    diaries = {student: diary for student, diary in pile.diaries.items() if diary}
    for turn in range(1, MOST_ROUNDS + 1):
        path = folder / f"review-{turn}.csv"
        _daybox("review", "--folder", str(folder), "--sheet", str(path))
        sheet = path.read_text(encoding="utf-8-sig")
        rows = list(csv.DictReader(io.StringIO(sheet)))
        if not rows:
            return []
        for row in rows[:6]:
            click.echo(f"     {row['student_id'] or '?':5} {row['box']:15} {row['why']}")
        if len(rows) > 6:
            click.echo(f"     ... and {len(rows) - 6} more in {path}")
        text, puzzles = answered(sheet, diaries, _owners(folder, rows, pile))
        path.write_text(text, encoding="utf-8-sig", newline="")
        if puzzles:
            return puzzles
        _daybox("review", "--folder", str(folder), "--answers", str(path))
    return ["review: questions were still open after all rounds"]


def _owners(folder: Path, rows: list[dict[str, str]], pile: Pile) -> dict[str, str]:
    """Picture of each page in question to whose it is; the teacher would know by looking."""
    with Ledger.open(folder) as ledger:
        origins = page_origins(ledger.returns(), ledger.pages())
    pictures = {row["picture"] for row in rows if row["box"] == "chart"}
    return {
        picture: pile.owner(*origins[int(Path(picture).stem.removeprefix("page-"))]) for picture in pictures
    }
