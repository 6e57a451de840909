"""Where one student stands: what is settled, what may still come, and what is worth a friendly word."""

from collections.abc import Iterator, Sequence

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from ingest.check.book import Book, Question
from ingest.check.spoken import box_words
from ingest.plan.challenge import Challenge
from ingest.report.gradebook import points_text
from ingest.tally.days import Range
from ingest.tally.jump import jumps
from ingest.tally.stakes import Stake, Stakes, stakes
from ingest.tally.student import Tally, tallies

_INDENT = 2

_HANGS = {
    Stake.PAGE: "everything may hang on it",
    Stake.PRIZE: "a prize may hang on it",
    Stake.MARK: "a mark may hang on it",
    Stake.NOTHING: "no prize and no mark hangs on it",
}


def student_status(book: Book, challenge: Challenge, student_id: str) -> RenderableType:
    """The page about a student of the book. `rich` prints it."""
    figures = tallies(book, challenge)
    found = stakes(book, figures, challenge)
    sheet, tally = next(
        (sheet, tally)
        for sheet, tally in zip(book.sheets, figures, strict=True)
        if sheet.student.id == student_id
    )
    own = [
        question
        for question in found.in_order(book.questions)
        if student_id in (question.student_id, question.suggestion if question.box == "chart" else "")
    ]
    student = sheet.student
    named = ", ".join(part for part in (student.name, student.section, student.id) if part)
    parts: list[RenderableType] = [Text(named, style="bold"), ""]
    if tally.handed_in:
        parts.append(_figures(tally, found, challenge))
    else:
        parts.append(Text("Nothing counts so far." if own else "Nothing has come in that counts."))
    if own:
        parts += ["", Text(f"To review: {len(own)}", style="bold"), *map(_indented, _questions(own, found))]
    if striking := jumps(sheet, challenge):
        parts += ["", Text("Worth a friendly word", style="bold")]
        parts += [_indented(jump.reason) for jump in striking]
        parts.append(
            _indented(
                "It may be a slip of the pencil, or somebody very keen. Sudden increases can strain a young "
                "player, so do ask how it went."
            )
        )
    return Group(*parts)


def _figures(tally: Tally, found: Stakes, challenge: Challenge) -> Table:
    standing = found.standings[tally.student.id]
    place = (
        "open: a page is still to be confirmed"
        if standing.in_doubt
        else _from_to(standing.best, standing.worst)
    )
    met = {True: "met", False: "not met", None: "open"}[tally.met]
    rows = [("Minutes", _range(tally.total_range))]
    if challenge.counting.counts_per_day:
        rows.append(("Minutes that count", _range(tally.counted_range)))
    rows += [
        ("Required days met", f"{_range(tally.days_met_range)} of {tally.required_days}"),
        ("Longest streak", f"{_range(tally.streak_range)} required days"),
        ("Challenge", met),
        ("Place by minutes", place),
        ("Points", "open" if tally.points is None else points_text(tally.points)),
    ]
    table = Table(box=None, show_header=False)
    table.padding = (0, 2, 0, _INDENT)
    for what, figure in rows:
        table.add_row(Text(what), Text(figure))
    return table


def _range(figure: Range) -> str:
    return _from_to(figure.lowest, figure.highest)


def _from_to(least: int, most: int) -> str:
    return str(least) if least == most else f"{least} to {most}"


def _questions(own: Sequence[Question], found: Stakes) -> Iterator[str]:
    for question in own:
        why = " ".join(flag.why for flag in question.flags)
        words = box_words(question.box)
        yield f"{words[0].upper()}{words[1:]}, {_HANGS[found.of(question)]}: {why}"


def _indented(words: str) -> Padding:
    return Padding(Text(words), (0, 0, 0, _INDENT), expand=False)
