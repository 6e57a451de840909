"""Keeps the book up to date while a person answers, redoing only what an answer touches."""

from collections.abc import Mapping, Sequence

from ingest.check.answers import parse_answer
from ingest.check.blank import is_blank_chart
from ingest.check.book import Book, Question, Settled, Sheet, State
from ingest.check.evidence import OwnPage
from ingest.check.fate import Fate, Findings, fates
from ingest.check.halves import other_halves
from ingest.check.lateness import without_stamps
from ingest.check.ownership import NO_HINTS, Claim, Grade, Hints, claim
from ingest.check.questions import Asked, about_boxes, about_page
from ingest.check.settle import settle
from ingest.check.several import Sorted, all_blank, sort_out
from ingest.check.spot import disputes
from ingest.check.written import guess_written
from ingest.collect.owner import guess_owner
from ingest.errors import AnswerError
from ingest.ledger.records import AnswerRecord
from ingest.ledger.spots import spot_answers, spot_checks
from ingest.ledger.store import Ledger
from ingest.plan.challenge import Challenge


class Bookkeeper:
    """The book of one ledger, as it was when the bookkeeper was made and with the answers since.

    What other commands collect meanwhile is not seen: make a new bookkeeper for that.
    reason: why the answers are given, in a person's words; kept with each.
    """

    def __init__(self, ledger: Ledger, challenge: Challenge, reason: str = "") -> None:
        self._ledger = ledger
        self._reason = reason
        self._challenge = challenge
        with ledger.snapshot():
            students = ledger.students()
            former = ledger.former_students()
            charts = ledger.charts()
            origins = {record.id: record for record in without_stamps(ledger.returns(), challenge)}
            copies = ledger.copies()
            pages = ledger.pages()
            answers = ledger.answers(pictures=False)
            self._disputes = disputes(spot_checks(ledger), spot_answers(ledger, pictures=False))
        self._grade = Grade(
            challenge,
            {chart.code: chart for chart in charts},
            {student.id: student for student in students},
            {student.id: student for student in former},
        )
        self._origins = tuple(origins.values())
        self._copies = copies
        self._pages = {page.id: OwnPage(page, origins[page.return_id]) for page in pages}
        whose = {chart.code: chart.student_id for chart in charts if chart.student_id}
        owners = {code: owner for code, owner in whose.items() if owner in self._grade.students}
        halves = other_halves(tuple(self._pages.values()), owners)
        self._hints = {
            page.id: Hints(
                guess_written(page.written_name, students),
                tuple(copy for copy in copies if copy.return_id == page.return_id),
                halves.get(page.id, ""),
            )
            for page in pages
            if page.written_name or page.id in halves or page.return_id in {copy.return_id for copy in copies}
        }
        self._about_page: dict[int, AnswerRecord] = {}  # the last answer about each page
        # The last answer about each box, by student, box, and the page that the person saw.
        self._about_box: dict[str, dict[str, dict[int | None, AnswerRecord]]] = {}
        for answer in answers:
            self._note(answer)
        self._given: list[tuple[int, Question]] = []  # in this run, for taking back

        self._claims = {page_id: self._claim(page_id) for page_id in self._pages}
        self._owned: dict[str, list[int]] = {student_id: [] for student_id in self._grade.students}
        for page_id, found in self._claims.items():
            if found.owner:
                self._owned[found.owner].append(page_id)
        self._sorted: dict[str, Sorted] = {}
        self._sheets: dict[str, Sheet] = {}
        self._asked: dict[str, tuple[Asked, ...]] = {}
        for student_id in self._grade.students:
            self._settle(student_id)
        self._book: Book | None = None

    @property
    def book(self) -> Book:
        """Everything as it stands now."""
        if self._book is None:
            asked = [about_page(found.question) for found in self._claims.values() if found.question]
            asked += [about_page(each.asked) for each in self._sorted.values() if each.asked]
            asked += [each for student_asked in self._asked.values() for each in student_asked]
            asked.sort(key=lambda each: each.rank)
            self._book = Book(tuple(self._sheets.values()), tuple(each.question for each in asked))
        return self._book

    def fates(self) -> tuple[Fate, ...]:
        """What became of everything that was handed in, as it stands now."""
        students = tuple(self._grade.students.values())
        open_boxes = {student_id: len(asked) for student_id, asked in self._asked.items()}
        return fates(
            tuple(self._pages.values()),
            self._origins,
            self._copies,
            Findings(self._grade, self._claims, self._sorted, open_boxes),
            lambda path: guess_owner(path, students).student_id,
        )

    def answer(self, question: Question, answer: str, shown: bytes = b"", by: str = "prompt") -> None:
        """Keep an answer for ever, then bring the book up to date.

        question: of the book, or made up about any box or page that the book knows of.
        answer: as `parse_answer` takes it. shown: the picture that the person saw, PNG.
        Raises AnswerError, and LedgerError if the answer could not be kept.
        """
        self._check(question)
        words = parse_answer(question.box, answer, self._grade.students)
        student_id = "" if question.box == "chart" else question.student_id
        kept = self._ledger.answer(
            student_id,
            question.box,
            words,
            page_id=question.page_id,
            before=self._before(question),
            why=" ".join(flag.why for flag in question.flags),
            by=by,
            shown=shown,
            reason=self._reason,
        )
        self._given.append((kept.id, question))
        self._take_up(kept)

    def take_back(self) -> Question | None:
        """Undo the last answer of this run; the question as it stands again, or None if there is none."""
        if not self._given:
            return None
        answer_id, question = self._given[-1]
        kept = self._ledger.take_back(answer_id)
        self._given.pop()
        self._take_up(kept)
        return next((each for each in self.book.questions if _same(each, question)), question)

    def _note(self, answer: AnswerRecord) -> None:
        if answer.box != "chart":
            of_student = self._about_box.setdefault(answer.student_id, {})
            of_student.setdefault(answer.box, {})[answer.page_id] = answer
        elif answer.page_id is not None:
            self._about_page[answer.page_id] = answer

    def _answers(self, student_id: str, counting: Sequence[OwnPage]) -> dict[str, AnswerRecord]:
        """The last answer about each box of a student's; what was said of a page left out goes with it."""
        here = {own.page.id for own in counting}
        standing: dict[str, AnswerRecord] = {}
        for box, by_page in self._about_box.get(student_id, {}).items():
            given = [
                answer for page_id, answer in by_page.items() if page_id in here or page_id not in self._pages
            ]
            if given:
                standing[box] = max(given, key=lambda answer: answer.id)
        return standing

    def _claim(self, page_id: int) -> Claim:
        own = self._pages[page_id]
        hints = self._hints.get(page_id, NO_HINTS)
        return claim(own.page, own.origin, self._grade, self._said_of(page_id), hints)

    def _said_of(self, page_id: int) -> str:
        """What a person said last about a page, or ""."""
        return self._about_page[page_id].answer if page_id in self._about_page else ""

    def _settle(self, student_id: str) -> None:
        """Redo one student's sheet and the questions about it."""
        student = self._grade.students[student_id]
        pages = [self._pages[page_id] for page_id in self._owned[student_id]]
        confirmed = {
            own.page.id: self._about_page[own.page.id].at
            for own in pages
            if self._said_of(own.page.id) == student_id
        }
        found = sort_out(student, pages, confirmed)
        answers = self._answers(student_id, found.counting)
        chart = settle(
            found.counting,
            answers,
            self._challenge,
            disputes=self._disputes.get(student_id, {}),
        )
        # Whoever says that a page counts is told if it is blank; not, what boxes answered later make of it.
        looked_at = max((at for page_id, at in confirmed.items() if page_id in chart.pages), default=None)
        is_known = looked_at is not None and all(answer.at <= looked_at for answer in answers.values())
        if found.asked is None and is_blank_chart(chart.boxes.values()) and not is_known:
            found = all_blank(student, found, chart.pages[-1])
            chart = settle((), {}, self._challenge)
        sheet = Sheet(student, chart.boxes, chart.pages, chart.late)
        self._sorted[student_id] = found
        self._sheets[student_id] = sheet
        self._asked[student_id] = about_boxes(sheet, chart.doubts, self._challenge)

    def _take_up(self, answer: AnswerRecord) -> None:
        """Bring the book up to date with an answer that was just kept."""
        self._note(answer)
        self._book = None
        if answer.box != "chart" or answer.page_id is None:
            self._settle(answer.student_id)
            return
        before = self._claims[answer.page_id].owner
        after = self._claim(answer.page_id)
        self._claims[answer.page_id] = after
        if before:
            self._owned[before].remove(answer.page_id)
        if after.owner:
            self._owned[after.owner].append(answer.page_id)
        for student_id in {before, after.owner} - {""}:
            self._settle(student_id)

    def _check(self, question: Question) -> None:
        if question.box == "chart":
            if question.page_id not in self._pages:
                raise AnswerError(
                    f"There is no page {question.page_id} in this challenge's ledger. Write a new review "
                    "sheet."
                )
        elif question.box not in self._boxes(question.student_id):
            raise AnswerError(
                f'There is no box "{question.box}" of a student "{question.student_id}" to answer. Write a '
                "new review sheet, since the roster or the returns have changed."
            )

    def _boxes(self, student_id: str) -> Mapping[str, Settled]:
        sheet = self._sheets.get(student_id)
        return sheet.boxes if sheet else {}

    def _before(self, question: Question) -> str:
        """What stood before, in the words of an answer: settled already, or only guessed."""
        if question.box == "chart":
            owner = self._claims[question.page_id].owner
            return owner or self._said_of(question.page_id) or question.suggestion
        box = self._boxes(question.student_id)[question.box]
        if box.state is State.FLAGGED:
            return question.suggestion
        return "blank" if box.value is None else str(box.value)


def _same(one: Question, other: Question) -> bool:
    """Whether two questions ask the same, whatever is known by now."""
    if one.box == "chart" or other.box == "chart":
        return (one.box, one.page_id) == (other.box, other.page_id)
    return (one.student_id, one.box) == (other.student_id, other.box)
