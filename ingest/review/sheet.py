"""The review as a spreadsheet: open questions out with their pictures, answers back in."""

import csv
import io
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from ingest.cells import harmless, to_csv, write_whole
from ingest.check.answers import BLANK, NOT_OURS, parse_answer
from ingest.check.book import Book, Question, Settled, State
from ingest.errors import AnswerError, LedgerError
from ingest.ledger.pictures import PAGE_WIDTH_PX, Pictures, png
from ingest.ledger.records import AnswerRecord
from ingest.ledger.store import Ledger
from ingest.review.offer import offered
from ingest.review.prompt import Keeper, parse_minutes
from ingest.review.wording import circle_words

COLUMNS = ("student_id", "box", "suggestion", "why", "picture", "answer")

_NEEDED = frozenset({"student_id", "box", "answer"})
_HEADER_WITHIN = 20  # rows from the top in which the header is looked for: people put titles above tables
MOST_BYTES = 50_000_000  # ten times what 500 charts of which every box is asked about would take
LONGEST = 120  # letters of an id, a box or an answer; ids have 100 at most
_PICTURE = re.compile(r"page-(\d{1,18})(?:-[^/\\]*)?\.png$", re.IGNORECASE)
# The picture of a box of a spot check: what is typed beside it is compared, not put into the gradebook.
_SPOT_PICTURE = re.compile(r"-spot-(\d{1,18})\.png$", re.IGNORECASE)
_SPOT_WHY = "Spot check: type what you see."
_YES, _NO = ("yes", "y"), ("no", "n")  # whether a page counts whose owner is known
_WHOLE = re.compile(r"(\d+)[.,]0+")  # how a spreadsheet may write a whole number back


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of an answered sheet.

    taken: answers kept. known: rows that said what is known already. left: rows without an answer.
    """

    taken: int
    known: int
    left: int


def write_sheet(path: Path, book: Book, ledger: Ledger, spot: int | None = None) -> int:
    """Write the open questions to `path` and their pictures to a folder beside it; how many there are.

    spot: the id of the spot check whose boxes they are; None for a review.
    Raises AnswerError if the file holds answers that were not taken yet, or is no review sheet.
    """
    _refuse_to_overwrite(path, book, "--spot-check " if spot else "")
    pictures = Pictures(ledger)
    folder = path.with_name(f"{path.stem}-pictures")
    folder.mkdir(parents=True, exist_ok=True)
    students = {each.student.id for each in book.sheets}
    circles = {
        (sheet.student.id, box.box): circle_words(box.minutes_each)
        for sheet in book.sheets
        for box in sheet.boxes.values()
        if box.minutes_each
    }
    rows = []
    written = set()
    for question in book.questions:
        why = _SPOT_WHY if spot else " ".join(flag.why for flag in question.flags)
        why = f"{why} {circles.get((question.student_id, question.box), '')}".rstrip()
        name = _picture_name(question, spot)
        picture = picture_of(pictures, question)
        if picture:
            (folder / name).write_bytes(picture)
            written.add(name)
        else:
            why += " (There is no picture; look at the original.)"
        suggestion = offered(question, students, seen=bool(picture))
        rows.append((question.student_id, question.box, suggestion, why, f"{folder.name}/{name}", ""))
    write_whole(path, to_csv(COLUMNS, rows))
    for old in folder.iterdir():  # children's handwriting is not left lying about
        if _PICTURE.fullmatch(old.name) and old.name not in written:
            old.unlink()
    return len(rows)


def take_answers(path: Path, keeper: Keeper, ledger: Ledger, *, corrects: bool = False) -> Taken:
    """Keep the answers of a sheet, all or none; the same sheet again changes nothing.

    corrects: the sheet is there to put answers right, so it may contradict what was said at the prompt.
    Raises AnswerError, with the line of every row that cannot be taken.
    """
    desk = _Desk(keeper.book, ledger.answers(pictures=False))
    answers: dict[tuple[str, str, int], tuple[Question, str, int]] = {}
    problems = []
    known = left = 0
    for row in rows_of(path):
        if not row.answer:
            left += 1
            continue
        if row.spot is not None:
            problems.append(
                f"line {row.line}: is of a spot check, so take the sheet with --spot-check --answers"
            )
            continue
        try:
            question, answer = desk.understand(row, corrects)
        except AnswerError as unclear:
            problems.append(f"line {row.line}: {str(unclear).rstrip('.')}")
            continue
        key = (question.student_id, question.box, question.page_id if question.box == "chart" else 0)
        if key in answers and answers[key][1] != answer:
            problems.append(f'line {row.line}: says "{answer}", but line {answers[key][2]} says otherwise')
        elif key in answers or desk.knows(question, answer):
            known += 1
        else:
            answers[key] = (question, answer, row.line)
    if problems:
        raise AnswerError(
            f"{path}: nothing was taken, since {len(problems)} of its rows cannot be: "
            f"{'; '.join(problems)}. Mend these rows or empty their answers, and run the same command again."
        )
    pictures = Pictures(ledger)
    # boxes first: an answer about a whole page may take its boxes off the student's chart
    for question, answer, _ in sorted(answers.values(), key=lambda each: each[0].box == "chart"):
        keeper.answer(question, answer, shown=picture_of(pictures, question), by="sheet")
    return Taken(len(answers), known, left)


# -- pictures --------------------------------------------------------------------------------------


def _picture_name(question: Question, spot: int | None) -> str:
    """A page's file name tells which page a question is about; no name holds anything of a child."""
    if question.box == "chart":
        return f"page-{question.page_id}.png"
    of = f"-spot-{spot}" if spot else ""
    return f"page-{question.page_id}-{question.box.replace(':', '-')}{of}.png"


def picture_of(pictures: Pictures, question: Question) -> bytes:
    """What a person is shown, as PNG; b"" if nothing can be shown."""
    try:
        if question.box == "chart":
            return png(pictures.page(question.page_id), widest_px=PAGE_WIDTH_PX)
        return png(pictures.box(question.page_id, question.box))
    except LedgerError:
        return b""


# -- reading a sheet back --------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Row:
    """A row as it came back, without outer blanks. line: of the file, 1 for the first."""

    line: int
    student: str
    box: str
    picture: str
    answer: str

    @property
    def page_id(self) -> int | None:
        found = _PICTURE.search(self.picture)
        return int(found[1]) if found else None

    @property
    def spot(self) -> int | None:
        """The id of the spot check that it is of; None if it is of a review, or does not tell."""
        found = _SPOT_PICTURE.search(self.picture)
        return int(found[1]) if found else None


def rows_of(path: Path) -> Iterator[Row]:
    """The rows below the header; wholly empty ones are left out. Raises AnswerError."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise AnswerError(
                f"{path} is too large for a review sheet. Give the file that `daybox review --sheet` wrote."
            )
        text = _decoded(path.read_bytes())
    except OSError as error:
        raise AnswerError(
            f"{path}: cannot be read ({error.strerror}). Give the file that `daybox review --sheet` wrote."
        ) from error
    lines, columns = _table(path, text)
    for line, cells in lines:
        row = {name: cells[at].strip() if at < len(cells) else "" for name, at in columns.items()}
        if any(row.values()):
            box = row["box"].casefold()
            yield Row(line, _cut(row["student_id"]), _cut(box), row.get("picture", ""), _cut(row["answer"]))


def _cut(text: str) -> str:
    """The text, at most LONGEST letters of it; what was cut is marked, so that it means nothing else."""
    return text if len(text) <= LONGEST else f"{text[:LONGEST]}…"


def _decoded(data: bytes) -> str:
    """The text of a file that a spreadsheet saved: UTF-8 or UTF-16 by its mark, else as Windows writes."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def _table(path: Path, text: str) -> tuple[Iterable[tuple[int, list[str]]], Mapping[str, int]]:
    """The rows below the header with their lines, and where each column is.

    A spreadsheet separates by commas, semicolons or tabs, as its country has it: the right one is the
    one by which there is a header.
    """
    for separator in ",;\t":
        try:
            table = list(_numbered(csv.reader(io.StringIO(text, newline=""), delimiter=separator)))
        except csv.Error:  # a cell of more than 128 KiB: no sheet of ours
            continue
        for place, (_, cells) in enumerate(table[:_HEADER_WITHIN]):
            names = [re.sub(r"\s+", "_", cell.strip().casefold()) for cell in cells]
            if set(names) >= _NEEDED:
                # the first of a name counts; notes that people add to the right may be named anyhow
                return table[place + 1 :], {name: names.index(name) for name in COLUMNS if name in names}
    raise AnswerError(
        f"{path}: is no review sheet, for it has no header row with the columns "
        f"{', '.join(name for name in COLUMNS if name in _NEEDED)}. Give the file that "
        "`daybox review --sheet` wrote, saved as CSV."
    )


def _numbered(reader: Iterator[list[str]]) -> Iterator[tuple[int, list[str]]]:
    """Each row with the line that it begins on."""
    line = 1
    for cells in reader:
        yield line, cells
        line = 1 + getattr(reader, "line_num", line)


def _refuse_to_overwrite(path: Path, book: Book, option: str) -> None:
    """Typing that was not taken yet is not thrown away, nor a file that is something else."""
    if not path.exists():
        return
    desk = _Desk(book, ())
    try:
        lost = sum(bool(row.answer) and desk.asks(row) for row in rows_of(path))
    except AnswerError as error:
        raise AnswerError(
            f"{path}: exists already and is no review sheet, so it was left alone. Give another file name."
        ) from error
    if lost:
        raise AnswerError(
            f"{path}: holds {lost} answers that were not taken yet and would be lost. Take them with "
            f"`daybox review {option}--answers {path.name}`, or give another file name."
        )


# -- what a row means ------------------------------------------------------------------------------


class _Desk:
    """Lays rows beside what is known."""

    def __init__(self, book: Book, answers: Sequence[AnswerRecord]) -> None:
        self._sheets = {sheet.student.id: sheet for sheet in book.sheets}
        self._student = finder(self._sheets)
        self._questions = {
            (each.student_id, each.box): each for each in book.questions if each.box != "chart"
        }
        self._pages = {each.page_id: each for each in book.questions if each.box == "chart"}
        self._given = {}
        for record in answers:  # the last one stands
            key = ("chart", record.page_id) if record.box == "chart" else (record.student_id, record.box)
            self._given[key] = record

    def asks(self, row: Row) -> bool:
        """Whether the row's question is open."""
        if row.box == "chart":
            return row.page_id in self._pages
        return (self._student(row.student), row.box) in self._questions

    def understand(self, row: Row, corrects: bool = False) -> tuple[Question, str]:
        """The question that a row answers, and the answer in the ledger's words. Raises AnswerError."""
        if row.box == "chart":
            question = self._page_question(row)
            answer = self._owner(row.answer, question.student_id)
        else:
            question = self._box_question(row)
            answer = minutes_in(row.answer, question.box)
        given = None if self._is_open(question) else self._answer_to(question)
        # a sheet may correct what a sheet said; where the prompt said otherwise, a person must choose
        if given and given.answer not in ("", answer) and given.by != "sheet" and not corrects:
            raise AnswerError(
                f'says "{answer}", but "{given.answer}" was answered at {given.at:%H:%M on %Y-%m-%d}'
            )
        return question, answer

    def knows(self, question: Question, answer: str) -> bool:
        """Whether the answer would change nothing."""
        if self._is_open(question):
            return False
        given = self._answer_to(question)
        if given and given.answer:
            return given.answer == answer
        settled = self._settled(question)
        if settled is None:
            return False
        return settled.state is State.BLANK if answer == BLANK else answer == str(settled.value)

    def _is_open(self, question: Question) -> bool:
        if question.box == "chart":
            return question.page_id in self._pages
        return (question.student_id, question.box) in self._questions

    def _answer_to(self, question: Question) -> AnswerRecord | None:
        chart = question.box == "chart"
        key = ("chart", question.page_id) if chart else (question.student_id, question.box)
        return self._given.get(key)

    def _settled(self, question: Question) -> Settled | None:
        sheet = self._sheets.get(question.student_id)
        return sheet.boxes.get(question.box) if sheet else None

    def _page_question(self, row: Row) -> Question:
        page_id = row.page_id
        if page_id is None:
            raise AnswerError(
                f'the picture "{row.picture}" does not tell which page is meant; it is named like page-12.png'
            )
        if page_id in self._pages:
            return self._pages[page_id]
        given = self._given.get(("chart", page_id))
        if given is None or not given.answer:
            raise AnswerError(f"nothing is asked about page {page_id} any more")
        return Question("", "chart", "", 0.0, (), page_id)

    def _box_question(self, row: Row) -> Question:
        student_id = self._student(row.student)
        if student_id is None:
            raise AnswerError(f'there is no student "{row.student}" on the roster')
        asked = self._questions.get((student_id, row.box))
        if asked:
            return asked
        # settled meanwhile, perhaps by other answers; a person's word still counts for more
        settled = self._sheets[student_id].boxes.get(row.box)
        page_id = (settled.page_id or row.page_id) if settled else None
        if settled is None or page_id is None:
            raise AnswerError(f'{student_id} has no box "{row.box}" on a chart that was handed in')
        return Question(student_id, row.box, "", settled.confidence, settled.flags, page_id)

    def _owner(self, text: str, known: str) -> str:
        """known: whose page it is, where only asked whether it counts; "" otherwise."""
        plain = " ".join(text.casefold().split())
        if plain == NOT_OURS or (known and plain in _NO):
            return NOT_OURS
        if known and plain in _YES:
            return known
        student_id = self._student(text)
        if student_id is None:
            raise AnswerError(f'"{text}" is neither a student on the roster nor "{NOT_OURS}"')
        return student_id


def minutes_in(text: str, box: str) -> str:
    """An answer about a box in the ledger's words. Raises AnswerError."""
    if text.casefold() == BLANK:
        return BLANK
    whole = _WHOLE.fullmatch(text)
    minutes = parse_minutes(whole[1] if whole else text)
    if minutes is None:
        raise AnswerError(f'"{text}" is neither a number of minutes nor "{BLANK}"')
    return parse_answer(box, str(minutes), {})


def finder(ids: Iterable[str]) -> Callable[[str], str | None]:
    """Finds a student id as it came back from a spreadsheet: other case, zeros lost, `.0` gained."""
    exact: dict[str, str] = {}
    folded: dict[str, list[str]] = {}
    numbers: dict[int, list[str]] = {}
    for student_id in ids:
        for text in (student_id, harmless(student_id)):
            exact[text] = student_id
            folded.setdefault(text.casefold(), []).append(student_id)
        if student_id.isascii() and student_id.isdigit():
            numbers.setdefault(int(student_id), []).append(student_id)

    def find(text: str) -> str | None:
        if text in exact:
            return exact[text]
        alike = set(folded.get(text.casefold(), ()))
        whole = _WHOLE.fullmatch(text)
        digits = whole[1] if whole else text
        if not alike and digits.isascii() and digits.isdigit():
            alike = set(numbers.get(int(digits), ()))
        return alike.pop() if len(alike) == 1 else None

    return find
