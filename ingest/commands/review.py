"""`daybox review`: a person settles what is unsure, in the terminal or in a spreadsheet."""

import os
import shlex
import shutil
import sys
from pathlib import Path

import click

from ingest.chart.printed import refuse_another_plan
from ingest.check.book import Question
from ingest.check.bookkeeper import Bookkeeper
from ingest.commands import folder_option
from ingest.errors import DayboxError
from ingest.ledger.store import Ledger
from ingest.plan.challenge import Challenge, load_challenge
from ingest.plan.roster import load_roster
from ingest.review.ahead import CropsAhead, ledger_crops
from ingest.review.graphics import announced, cell_size
from ingest.review.lines import ask_in_lines
from ingest.review.picture import QUARTERS
from ingest.review.prompt import Prompt
from ingest.review.screen import Screen
from ingest.review.sheet import take_answers, write_sheet
from ingest.review.viewer import open_picture
from ingest.review.wording import closing


@click.command()
@folder_option
@click.option(
    "--sheet",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE.csv",
    help="Write the questions as a spreadsheet instead.",
)
@click.option(
    "--answers",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE.csv",
    help="Take the answered spreadsheet back.",
)
def command(folder: Path, sheet: Path | None, answers: Path | None) -> None:
    """Settle what is unsure: see the box, type what it says.

    Every answer is kept at once; leave whenever you like, and go on with the same command. To work in a
    spreadsheet, write the questions with --sheet, fill the column "answer", and take it back with --answers.
    """
    if sheet and answers:
        raise click.UsageError("Give either --sheet or --answers.")
    challenge = load_challenge(folder)
    students = load_roster(folder / "roster.csv")
    with Ledger.open(folder, create=False) as ledger:
        refuse_another_plan(ledger.layouts().values(), challenge)
        ledger.sync_roster(students)
        keeper = Bookkeeper(ledger, challenge)
        if answers:
            taken = take_answers(answers, keeper, ledger)
            if taken.left:
                click.echo(f"Rows without an answer yet: {taken.left}.")
            if taken.known:
                click.echo(f"Rows that say what is known already: {taken.known}.")
            click.echo(closing(taken.taken, len(keeper.book.questions)))
        elif sheet:
            count = write_sheet(sheet, keeper.book, ledger)
            if count:
                click.echo(f"Wrote {sheet}: {_questions(count)}, with the pictures beside it.")
                at = [] if folder.resolve() == Path.cwd() else ["--folder", str(folder)]
                again = shlex.join(["daybox", "review", *at, "--answers", str(sheet)])
                click.echo(f'Fill the column "answer", then: {again}')
            else:
                click.echo(f"Wrote {sheet}: no questions, for there is nothing to settle.")
        elif not ledger.returns():
            click.echo("Nothing has come in yet: `daybox collect PATH` takes in what families sent.")
        elif not keeper.book.questions:
            click.echo("There is nothing to settle. Next: `daybox grades` writes the gradebook.")
        else:
            _ask(folder, challenge, ledger, keeper)


def _ask(folder: Path, challenge: Challenge, ledger: Ledger, keeper: Bookkeeper) -> None:
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise DayboxError(
            f"{_questions(len(keeper.book.questions))} to settle, but asking takes a terminal, and input or "
            "output is something else here. Run `daybox review` in a terminal window, or use a "
            "spreadsheet: `--sheet review.csv` writes the questions, `--answers review.csv` takes it back."
        )

    def view(question: Question) -> str:
        path = _page_file(ledger, question.page_id)
        return open_picture(path.resolve()) if path.exists() else f"The page should be {path}, but is gone."

    with CropsAhead(ledger_crops(folder)) as crops:
        prompt = Prompt(keeper, challenge, crops, _notes(ledger))
        if _is_plain():
            size = shutil.get_terminal_size()  # 80 x 24 where the terminal does not tell
            ask_in_lines(prompt, view, input, click.echo, size.columns, size.lines)
        else:
            cell = cell_size(sys.stdout.fileno())
            Screen(prompt, challenge.title, view, announced(os.environ), cell).run()
    click.echo(closing(prompt.answered, prompt.left))


def _notes(ledger: Ledger) -> dict[int, str]:
    """By page id: how the page came, and the name that was read on it."""
    paths = {record.id: record.path for record in ledger.returns()}
    return {
        page.id: f"It came as {paths[page.return_id]}."
        + (f' The name on it reads like "{page.written_name}".' if page.written_name else "")
        for page in ledger.pages()
    }


def _page_file(ledger: Ledger, page_id: int) -> Path:
    """The flattened page, or else the file as it was handed in."""
    flat = ledger.page_picture(page_id)
    if flat is not None and flat.exists():
        return flat
    return_id = next(page.return_id for page in ledger.pages() if page.id == page_id)
    return next(ledger.original(each) for each in ledger.returns() if each.id == return_id)


def _questions(count: int) -> str:
    return "1 question" if count == 1 else f"{count} questions"


def _is_plain() -> bool:
    """Whether the terminal lacks colour, a cursor that moves, or the block characters."""
    try:
        QUARTERS.encode(sys.stdout.encoding)
    except UnicodeEncodeError:
        return True
    return bool(os.environ.get("NO_COLOR")) or os.environ.get("TERM") == "dumb"
