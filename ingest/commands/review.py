"""`daybox review`: a person settles what is unsure, in the terminal or in a spreadsheet."""

import os
import secrets
import shlex
import shutil
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from textwrap import fill

import click

from ingest.chart.charts import choose_students
from ingest.chart.printed import refuse_another_plan
from ingest.check.book import Book, Question
from ingest.check.bookkeeper import Bookkeeper
from ingest.check.spot import last_result, words
from ingest.check.written import closest
from ingest.commands import folder_option
from ingest.errors import DayboxError
from ingest.ledger.records import PageRecord, SpotCheck
from ingest.ledger.store import Ledger
from ingest.plan.challenge import Challenge, load_challenge
from ingest.plan.roster import Student, load_roster
from ingest.printable import printable
from ingest.review.ahead import CropsAhead, ledger_crops
from ingest.review.graphics import announced, cell_size
from ingest.review.lines import ask_in_lines
from ingest.review.order import MattersFirst
from ingest.review.picture import QUARTERS
from ingest.review.prompt import Keeper, Prompt
from ingest.review.screen import Screen
from ingest.review.sheet import Taken, take_answers, write_sheet
from ingest.review.spot import Disputes, SpotKeeper, begin, disputed, last, unfinished
from ingest.review.spot_sheet import take_spot_answers
from ingest.review.viewer import open_picture
from ingest.review.whole import WholeChart
from ingest.review.wording import DISPUTES, REVIEW, SPOT_CHECK, WHOLE, Task, closing, closing_whole

SEED_BITS = 48
LONGEST_REASON = 300  # letters: a line or two


def _fit(reason: str) -> str:
    """A person's reason as one line. Raises click.BadParameter if it is none."""
    plain = printable(" ".join(reason.split()))
    if not 0 < len(plain) <= LONGEST_REASON:
        raise click.BadParameter(f"give a reason of 1 to {LONGEST_REASON} letters.")
    return plain


def _reason(context: click.Context, parameter: click.Parameter, reason: str | None) -> str | None:
    return None if reason is None else _fit(reason)


@click.command()
@folder_option
@click.option(
    "--spot-check",
    "spot",
    is_flag=False,
    flag_value=0,
    type=click.IntRange(min=0),
    metavar="[N]",
    help="Look at N random boxes of those accepted without you, and learn how many may be wrong. "
    "N follows from how many there are if left out.",
)
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
@click.option("--student", "student_id", metavar="ID", help="With --all: this student.")
@click.option(
    "--all", "whole", is_flag=True, help="Look at every box of one student, and change what is wrong."
)
@click.option(
    "--reason",
    metavar="TEXT",
    callback=_reason,
    help="Why boxes are changed, kept with each; with --all you are asked for it if it is left out.",
)
def command(
    folder: Path,
    spot: int | None,
    sheet: Path | None,
    answers: Path | None,
    student_id: str | None,
    whole: bool,
    reason: str | None,
) -> None:
    """Settle what is unsure: see the box, type what it says.

    First comes what could still change a prize, then a mark; when no prize hangs on the rest, you are told.
    Every answer is kept at once; leave whenever you like, and go on with the same command. To work in a
    spreadsheet, write the questions with --sheet, fill the column "answer", and take it back with --answers.

    With --spot-check you are shown boxes drawn at random from all that was accepted without you, and type
    what you see. Where you and Daybox differ you are asked again; nothing changes before you have settled it.

    With --student ID --all you are shown every box of one student with what is held of it, to put right what
    a family says is wrong. Enter keeps a number; what you type changes it, with your reason.
    """
    if sheet and answers:
        raise click.UsageError("Give either --sheet or --answers.")
    if whole != (student_id is not None):
        raise click.UsageError("--student and --all go together: daybox review --student ID --all")
    if whole and spot is not None:
        raise click.UsageError("Give either --all or --spot-check.")
    challenge = load_challenge(folder)
    students = load_roster(folder / "roster.csv")
    with Ledger.open(folder, create=False) as ledger:
        refuse_another_plan(ledger.layouts().values(), challenge)
        ledger.sync_roster(students)
        keeper = Bookkeeper(ledger, challenge, reason or "")
        desk = _Desk(folder, challenge, ledger)
        if student_id is not None:
            (student,) = choose_students(students, (), (student_id,))
            _whole_chart(desk, keeper, student, reason, sheet, answers)
        elif spot is not None and answers:
            _spot_answers(desk, keeper, answers)
        elif spot is not None and sheet:
            _spot_sheet(desk, keeper, spot or None, sheet)
        elif spot is not None:
            _spot_check(desk, keeper, spot or None)
        elif answers:
            taken = take_answers(answers, keeper, ledger)
            _tell_taken(taken)
            verdict = MattersFirst(keeper, challenge).verdict
            click.echo(closing(taken.taken, len(keeper.book.questions), verdict))
        elif sheet:
            in_order = MattersFirst(keeper, challenge)
            count = write_sheet(sheet, in_order.book, ledger)
            if count:
                click.echo(f"Wrote {sheet}: {_questions(count)}, with the pictures beside it.")
                if in_order.verdict:
                    click.echo(in_order.verdict)
                click.echo(f'Fill the column "answer", then: {desk.again("--answers", str(sheet))}')
            else:
                click.echo(f"Wrote {sheet}: no questions, for there is nothing to settle.")
        elif not ledger.returns():
            click.echo("Nothing has come in yet: `daybox collect PATH` takes in what families sent.")
        elif not keeper.book.questions:
            click.echo("There is nothing to settle. Next: `daybox grades` writes the gradebook.")
        else:
            _refuse_without_terminal(f"{_questions(len(keeper.book.questions))} to settle, but asking")
            in_order = MattersFirst(keeper, challenge)
            prompt = desk.ask(in_order, REVIEW, in_order.verdict, lambda: in_order.verdict)
            click.echo(closing(prompt.answered, prompt.left, prompt.verdict))


def _whole_chart(
    desk: "_Desk",
    keeper: Bookkeeper,
    student: Student,
    reason: str | None,
    sheet: Path | None,
    answers: Path | None,
) -> None:
    """Every box of one student, to put right what is wrong."""
    boxes = WholeChart(keeper, student.id).book.questions
    if not boxes:
        click.echo(
            f"No chart of {student.name} counts so far, so there is no box to look at. `daybox missing` says "
            "why; if a page waits for your answer, `daybox review` asks."
        )
        return
    words = ["--student", student.id, "--all"]
    if sheet:
        write_sheet(sheet, WholeChart(keeper, student.id).book, desk.ledger)
        click.echo(f"Wrote {sheet}: {_boxes(len(boxes))} of {student.name}, with the pictures beside it.")
        again = desk.again(*words, "--reason", "...", "--answers", str(sheet))
        click.echo(f'Fill the column "answer" where a number is wrong, then: {again}')
        return
    if not answers:
        _refuse_without_terminal(f"{_boxes(len(boxes))} of {student.name} to look at, but asking")
    if reason is None:
        click.echo("Why are you looking again? Your words are kept with every box that you change.")
        reason = click.prompt("Reason", default="the family's slip", value_proc=_fit)
        keeper = Bookkeeper(desk.ledger, desk.challenge, reason)
    if answers:
        taken = take_answers(answers, keeper, desk.ledger, corrects=True)
        _tell_taken(taken)
        click.echo(closing_whole(student.name, taken.taken, reason, _open_of(keeper, student)))
        return
    chart = WholeChart(keeper, student.id)
    desk.ask(chart, WHOLE)
    click.echo(closing_whole(student.name, chart.changed, reason, _open_of(keeper, student)))


def _open_of(keeper: Bookkeeper, student: Student) -> int:
    return sum(question.student_id == student.id for question in keeper.book.questions)


def _spot_check(desk: "_Desk", keeper: Bookkeeper, size: int | None) -> None:
    """Go on with a spot check or begin one, then settle where the person and Daybox differ."""
    _refuse_without_terminal("A spot check")
    left = 0
    if size or not disputed(keeper.book.questions) or unfinished(desk.ledger, keeper.book):
        check, said = _drawn(desk.ledger, keeper.book, size)
        left = desk.ask(SpotKeeper(desk.ledger, keeper.book, check), SPOT_CHECK, said).left
        keeper = Bookkeeper(desk.ledger, desk.challenge)
    if not left and (differing := disputed(keeper.book.questions)):
        desk.ask(Disputes(keeper), DISPUTES, f"In {_boxes(len(differing))} you and Daybox differ.")
    _tell_result(desk.ledger, keeper.book)


def _spot_sheet(desk: "_Desk", keeper: Bookkeeper, size: int | None, path: Path) -> None:
    check, said = _drawn(desk.ledger, keeper.book, size)
    write_sheet(path, SpotKeeper(desk.ledger, keeper.book, check).book, desk.ledger, check.id)
    click.echo(f"{said} Wrote {path}, with the pictures beside it.")
    click.echo(f'Fill the column "answer", then: {desk.again("--spot-check", "--answers", str(path))}')


def _spot_answers(desk: "_Desk", keeper: Bookkeeper, path: Path) -> None:
    check = last(desk.ledger)
    if check is None:
        raise DayboxError(
            "No spot check was begun in this challenge. Draw its boxes first, with "
            f"`daybox review --spot-check --sheet {path.name}`."
        )
    _tell_taken(take_spot_answers(path, SpotKeeper(desk.ledger, keeper.book, check), desk.ledger))
    _tell_result(desk.ledger, Bookkeeper(desk.ledger, desk.challenge).book)


def _drawn(ledger: Ledger, book: Book, size: int | None) -> tuple[SpotCheck, str]:
    """The spot check to ask about, and a line on it. Raises DayboxError if there is nothing to draw from."""
    check = unfinished(ledger, book, size)
    if check:
        return check, "Going on with the spot check that was begun."
    check = begin(ledger, book, size, secrets.randbits(SEED_BITS))
    if check is None:
        raise DayboxError(
            "There is nothing to check: no box was accepted without you so far. Take in what families sent "
            "first, with `daybox collect PATH`."
        )
    return check, f"{len(check.boxes)} of {_boxes(check.lot)}, drawn at random: type what you see."


def _tell_result(ledger: Ledger, book: Book) -> None:
    if found := last_result(ledger, book):
        click.echo(fill(words(found), 79))


def _tell_taken(taken: Taken) -> None:
    if taken.left:
        click.echo(f"Rows without an answer yet: {taken.left}.")
    if taken.known:
        click.echo(f"Rows that say what is known already: {taken.known}.")


@dataclass(frozen=True, slots=True)
class _Desk:
    """Where questions are asked."""

    folder: Path
    challenge: Challenge
    ledger: Ledger

    def again(self, *words: str) -> str:
        """The review's command with these words, as it must be typed."""
        at = [] if self.folder.resolve() == Path.cwd() else ["--folder", str(self.folder)]
        return shlex.join(["daybox", "review", *at, *words])

    def ask(self, keeper: Keeper, task: Task, said: str = "", verdict: Callable[[], str] = str) -> Prompt:
        """Ask until the person leaves. said: one line to begin with. verdict: as the prompt takes it."""

        def view(question: Question) -> str:
            path = _page_file(self.ledger, question.page_id)
            if path.exists():
                return open_picture(path.resolve())
            return f"The page should be {path}, but is gone."

        with CropsAhead(ledger_crops(self.folder)) as crops:
            pages = self.ledger.pages()
            paths = {record.id: record.path for record in self.ledger.returns()}
            prompt = Prompt(
                keeper,
                self.challenge,
                crops,
                _notes(paths, pages),
                task=task,
                near=_near(self.ledger, pages),
                files={page.id: PurePosixPath(paths[page.return_id]).name for page in pages},
                verdict=verdict,
            )
            prompt.tell(said)
            if _is_plain():
                size = shutil.get_terminal_size()  # 80 x 24 where the terminal does not tell
                ask_in_lines(prompt, view, input, click.echo, size.columns, size.lines)
            else:
                cell = cell_size(sys.stdout.fileno())
                Screen(prompt, self.challenge.title, view, announced(os.environ), cell).run()
        return prompt


def _refuse_without_terminal(what: str) -> None:
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise DayboxError(
            f"{what} takes a terminal, and input or output is something else here. Run the same command in a "
            "terminal window, or use a spreadsheet: `--sheet review.csv` writes the questions, `--answers "
            "review.csv` takes it back."
        )


def _notes(paths: Mapping[int, str], pages: Sequence[PageRecord]) -> dict[int, str]:
    """By page id: how the page came, and the name that was read on it. paths: by id of the return."""
    return {
        page.id: f"It came as {paths[page.return_id]}."
        + (f' The name on it reads like "{page.written_name}".' if page.written_name else "")
        for page in pages
    }


def _near(ledger: Ledger, pages: Sequence[PageRecord]) -> dict[int, Sequence[str]]:
    """By page id: the students whom the name on the page, or the file's name, comes close to."""
    students = ledger.students()
    return {
        page.id: closest(page.written_name, page.guess, students)
        for page in pages
        if page.written_name or page.guess
    }


def _page_file(ledger: Ledger, page_id: int) -> Path:
    """The flattened page, or else the file as it was handed in."""
    flat = ledger.page_picture(page_id)
    if flat is not None and flat.exists():
        return flat
    return_id = next(page.return_id for page in ledger.pages() if page.id == page_id)
    return next(ledger.original(each) for each in ledger.returns() if each.id == return_id)


def _boxes(count: int) -> str:
    return "1 box" if count == 1 else f"{count} boxes"


def _questions(count: int) -> str:
    return "1 question" if count == 1 else f"{count} questions"


def _is_plain() -> bool:
    """Whether the terminal lacks colour, a cursor that moves, or the block characters."""
    try:
        QUARTERS.encode(sys.stdout.encoding)
    except UnicodeEncodeError:
        return True
    return bool(os.environ.get("NO_COLOR")) or os.environ.get("TERM") == "dumb"
