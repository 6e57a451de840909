"""What the review prompt asks, what an entry means, and what is kept; without any screen.

`screen` and `lines` are the two ways to show it.
"""

import re
import time
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from typing import Protocol

from rapidfuzz import fuzz

from ingest.check.answers import BLANK, NOT_OURS, parse_answer
from ingest.check.book import Book, Question, Sheet
from ingest.check.spoken import box_words, minutes_words
from ingest.errors import AnswerError, DayboxError
from ingest.ledger.pictures import png
from ingest.plan.challenge import Challenge
from ingest.plan.roster import Student
from ingest.reading.values import Grey
from ingest.review.ahead import CropsAhead, Key, key_of
from ingest.review.offer import offered
from ingest.review.wording import REVIEW, Task, circle_words, end_text, help_text

# One key that answers does nothing so soon after a question appeared: nobody can have looked at the
# picture yet, so it is a key held down or struck twice.  A hand answers a simple light after about
# 0.2 s (from memory).
LOOK_S = 0.2

FETCH_AHEAD = 4  # crops cut while the person looks at the present one

MATCHES = 5  # students listed at a time
MATCH_FROM = 75.0  # RapidFuzz score, 0 to 100, under which a name is no match


class Keeper(Protocol):
    """What the prompt needs of `ingest.check.bookkeeper.Bookkeeper`."""

    @property
    def book(self) -> Book: ...

    def answer(self, question: Question, answer: str, shown: bytes = b"", by: str = "prompt") -> None: ...

    def take_back(self) -> Question | None: ...


def parse_minutes(text: str) -> int | None:
    """Whole minutes from `25`, `45 min`, `1:15`, `1h`, `1 h 15` or a dash (0); None for anything else."""
    text = text.strip().casefold()
    if text in ("-", "\u2013", "\u2014"):
        return 0
    if found := re.fullmatch(r"([0-9]{1,6})\s*(?:m|min|mins|minutes)?", text):
        return int(found[1])
    if found := re.fullmatch(r"([0-9]{1,3})\s*(?::|h|hr|hrs)\s*([0-5]?[0-9])\s*(?:m|min)?", text):
        return int(found[1]) * 60 + int(found[2])
    if found := re.fullmatch(r"([0-9]{1,3})\s*(?:h|hr|hrs|hour|hours)", text):
        return int(found[1]) * 60
    return None


def _folded(text: str) -> str:
    """Lower case, accents off."""
    apart = unicodedata.normalize("NFKD", text.casefold())
    return "".join(letter for letter in apart if not unicodedata.combining(letter))


def matching(text: str, students: Sequence[Student]) -> list[Student]:
    """Students that the typed text may mean, likeliest first, at most MATCHES.

    An exact id comes alone. Names match in either order, without accents, and with slips.
    """
    wanted = _folded(text).strip()
    if not wanted:
        return []
    exact = [student for student in students if _folded(student.id) == wanted]
    if exact:
        return exact
    scored = []
    for place, student in enumerate(students):
        names = (student.name, f"{student.last_name} {student.first_name}", student.id)
        score = max(fuzz.partial_ratio(wanted, _folded(name)) for name in names if len(name) >= 2)
        words = _folded(student.name).split()
        if any(word.startswith(wanted) for word in words) or " ".join(words).startswith(wanted):
            score += 20  # what is being typed out goes before what merely contains it
        if score >= MATCH_FROM:
            scored.append((-score, place))
    return [students[place] for _, place in sorted(scored)[:MATCHES]]


class Prompt:
    """One run of questions.

    notes: by page id, what may help to tell whose the page is, as sentences.
    near: by page id, the ids of the students whom the page may belong to, likeliest first.
    files: by page id, the name of the file that it came in.
    verdict: that nothing that matters hangs on what is left, in words; "" if something does.
    task: what it is for, in words.
    question: what is asked now; None when there is nothing (more) to ask in this run.
    said: one line on what the last key did.
    refused: whether `said` is about an entry that was not taken.
    """

    def __init__(
        self,
        keeper: Keeper,
        challenge: Challenge,
        crops: CropsAhead,
        notes: Mapping[int, str] | None = None,
        clock: Callable[[], float] = time.monotonic,
        task: Task = REVIEW,
        near: Mapping[int, Sequence[str]] | None = None,
        files: Mapping[int, str] | None = None,
        verdict: Callable[[], str] = str,
    ) -> None:
        self.task = task
        self.question: Question | None = None
        self.said = ""
        self.refused = False
        self.answered = 0
        self._keeper = keeper
        self._challenge = challenge
        self._crops = crops
        self._notes = notes or {}
        self._near = near or {}
        self._files = files or {}
        self._verdict = verdict
        self._clock = clock
        self._quiet_since = clock()
        self._put_off: dict[Key, None] = {}
        self._done: list[tuple[bool, Question]] = []  # for `undo`: answered or only put off, last one last
        self._asked_again = ""  # a hardly possible entry that waits for a second Enter
        self._sheets: dict[str, Sheet] = {}
        self._move_on()

    # What there is to show

    @property
    def left(self) -> int:
        """Questions without an answer, those put off included."""
        return len(self._keeper.book.questions)

    @property
    def put_off(self) -> int:
        """Questions left for later in this run that are still open."""
        return sum(key_of(question) in self._put_off for question in self._keeper.book.questions)

    @property
    def verdict(self) -> str:
        """That nothing that matters hangs on what is left, in words; "" if something does."""
        return self._verdict()

    @property
    def count_words(self) -> str:
        """How many questions are left, and what may be said of them."""
        off = f", {self.put_off} of them for later" if self.put_off else ""
        return f"{self.left} left{off}{', no prize hangs on them' if self.verdict else ''}"

    @property
    def about_chart(self) -> bool:
        """Whether the question is whose page this is."""
        return self.question is not None and self.question.box == "chart"

    @property
    def asks_yes_or_no(self) -> bool:
        """Whether the question is about a page whose owner is known: does it count?"""
        return self.question is not None and self.about_chart and self.question.student_id in self._sheets

    @property
    def who(self) -> tuple[str, ...]:
        """Name, section and box of the question, for the heading."""
        if self.question is None:
            return ()
        if not self.question.student_id:
            return ("Whose chart is this?",)
        sheet = self._sheets.get(self.question.student_id)
        named = (sheet.student.name, sheet.student.section) if sheet else (self.question.student_id,)
        return (*(part for part in named if part), box_words(self.question.box))

    @property
    def why(self) -> str:
        """The reasons, in plain sentences, and what may help to tell whose a page is."""
        question = self.question
        if question is None:
            return ""
        note = self._notes.get(question.page_id, "") if self.about_chart else ""
        if self._minutes_each:
            note = circle_words(self._minutes_each)
        return " ".join([*(flag.why for flag in question.flags), note]).strip()

    @property
    def offer(self) -> str:
        """What Enter alone would save, in words; "" when nothing is offered."""
        if self.question is None or not self._offered:
            return ""
        if self.about_chart:
            sheet = self._sheets.get(self._offered)
            return self.student_words(sheet.student) if sheet else NOT_OURS
        return "blank" if self._offered == BLANK else minutes_words(int(self._offered))

    @property
    def _offered(self) -> str:
        if self.question is None:
            return ""
        try:
            self.crop()
            seen = True
        except DayboxError:
            seen = False
        return offered(self.question, self._sheets, seen=seen)

    @property
    def help(self) -> str:
        """All keys that there are now, and what they do."""
        return help_text(self.about_chart, self.asks_yes_or_no, self.task)

    @property
    def end(self) -> str:
        """What stands where the questions were when there are no more in this run."""
        return end_text(self.left, self.task, self.verdict)

    def student_words(self, student: Student) -> str:
        """A student as listed: name, section, id, and whether a page of theirs is in already."""
        sheet = self._sheets.get(student.id)
        parts = [student.name, student.section, student.id]
        if sheet is not None and sheet.pages:
            parts.append("has handed in a page")
        return ", ".join(part for part in parts if part)

    def crop(self) -> Grey:
        """The picture of the question. Raises DayboxError when there is none, PictureError mostly."""
        if self.question is None:
            raise ValueError("there is no question")
        return self._crops.get(self.question)

    def students(self, text: str) -> list[Student]:
        """Who on the roster the typed text may mean; of an empty line, whom is offered, then who is near."""
        if not text.strip():
            question = self.question
            if question is None or not self.about_chart or self.asks_yes_or_no:
                return []
            likely = dict.fromkeys([self._offered, *self._near.get(question.page_id, ())])
            return [self._sheets[each].student for each in likely if each in self._sheets][:MATCHES]
        return matching(text, [sheet.student for sheet in self._sheets.values()])

    @property
    def letters(self) -> dict[str, str]:
        """The letters that are commands now, and what they do in a word or two.

        `do` does the first ones; p, ? and q are for whoever shows the prompt.
        """
        if self.question is None:
            return {**({"l": "ask what was left for later"} if self.left else {}), "u": "undo", "q": "quit"}
        first = {"n": "not ours"} if self.about_chart else {"b": "blank"}
        if self.asks_yes_or_no:
            first = {"y": "yes", "n": "no"}
        return {**first, "l": "later", "u": "undo", "p": "page", "?": "help", "q": "quit"}

    # What a person may do

    def do(self, letter: str) -> None:
        """Carry out a command letter: b, y, n, l or u."""
        {"b": self.blank, "y": self.counts, "n": self.not_ours, "l": self.later, "u": self.undo}[letter]()

    def enter(self, text: str) -> bool:
        """Enter was pressed on `text`. True: taken, the line may be cleared."""
        text = text.strip()
        if self.question is None:
            return True
        if not text:
            return self._accept()
        if self.about_chart:
            return self._refuse(f'Nobody on the roster is called "{text}". Try another part of the name.')
        return self._answer_minutes(text)

    def choose(self, student: Student) -> bool:
        """The page in question is this student's."""
        return self._save(student.id)

    def blank(self) -> bool:
        """Nothing is written in the box."""
        return self._save(BLANK)

    def counts(self) -> bool:
        """The page in question counts for the student whose it is said to be."""
        return self._save(self.question.student_id) if self.question else True

    def not_ours(self) -> bool:
        """The page in question is nobody's on this roster, or does not count."""
        return self._save(NOT_OURS)

    def later(self) -> bool:
        """Go on without an answer; the question comes again in the next run."""
        if self.question is None:
            return self.again()
        self._put_off[key_of(self.question)] = None
        self._done.append((False, self.question))
        self.tell(f"Left for later: {self._short(self.question)}.")
        return self._move_on()

    def again(self) -> bool:
        """Ask the questions that were put off."""
        self._put_off.clear()
        self.tell("")
        return self._move_on()

    def undo(self) -> bool:
        """Take back the last answer, or the last "later"; its question is asked again."""
        if not self._done:
            return self._refuse("There is nothing to take back in this run.")
        was_answered, back = self._done.pop()
        if was_answered:
            back = self._keeper.take_back() or back
            self.answered -= 1
            self.tell(f"Taken back: {self._short(back)}.")
        else:
            self._put_off.pop(key_of(back), None)
            self.tell(f"Asked again: {self._short(back)}.")
        return self._move_on(to=back)

    def tell(self, words: str) -> None:
        """Say something that is not about a refused entry."""
        self.said, self.refused = words, False

    def too_soon(self) -> bool:
        """Whether a single key that answers must be ignored: nobody can have seen the question yet."""
        now = self._clock()
        soon = now - self._quiet_since < LOOK_S
        if soon:
            self._quiet_since = now  # a key held down stays without effect until it is let go
        return soon

    # How it is done

    def _accept(self) -> bool:
        if self.too_soon():
            return True
        if self._offered:
            return self._save(self._offered)
        if self.about_chart:
            if self.asks_yes_or_no:
                return self._refuse("Type y or n and Enter, or the name of another student whose page it is.")
            return self._refuse("Type part of the name or the id, or n and Enter if it is not ours.")
        return self._refuse("Type the number that is written, or b if the box is blank.")

    def _answer_minutes(self, text: str) -> bool:
        assert self.question is not None
        minutes = parse_minutes(text)
        if minutes is None:
            return self._refuse(f'"{text}" is no number of minutes. Type it like 25 or 1:15.')
        try:
            answer = parse_answer(self.question.box, str(minutes), {})
        except AnswerError:  # of all numbers, only one that is too large
            return self._refuse(f"There are not {minutes} minutes in the {self._span()}. Please look again.")
        likely = self._challenge.counting.most_per_day
        each = self._minutes_each
        if each and self._asked_again != text and self._are_circles(minutes):
            self._asked_again = text
            said, circles = minutes_words(minutes), f"{minutes} circles would be {minutes * each}"
            return self._refuse(f"{said}, or circles? {circles}. Enter again saves {said}.")
        warned = self._asked_again == text or any(flag.reason == "too-much" for flag in self.question.flags)
        if self._span() == "day" and minutes > likely and not warned:
            self._asked_again = text
            return self._refuse(f"{minutes_words(minutes)} in one day, really? Enter again saves it.")
        return self._save(answer)

    @property
    def _minutes_each(self) -> int:
        """What one filled circle of the box in question counts; 0 where a number is written."""
        question = self.question
        sheet = self._sheets.get(question.student_id) if question else None
        box = sheet.boxes.get(question.box) if question and sheet else None
        return box.minutes_each if box else 0

    def _are_circles(self, number: int) -> bool:
        """Whether somebody who typed this may have counted circles, not minutes."""
        assert self.question is not None
        each = self._minutes_each
        return number % each != 0 or (number > 0 and str(number * each) == self.question.suggestion)

    def _span(self) -> str:
        """What the box's minutes are of: day, week or month."""
        kind = self.question.box.partition(":")[0] if self.question else ""
        return kind if kind in ("week", "month") else "day"

    def _save(self, answer: str) -> bool:
        question = self.question
        if question is None:
            return True
        try:
            shown = png(self._crops.get(question))
        except DayboxError:
            shown = b""  # the person has seen that there was no picture
        kept = self.task.keeps and answer == self._offered
        before = self.verdict
        self._keeper.answer(question, answer, shown=shown, by="prompt")
        self.answered += 1
        self._done.append((True, question))
        done = "Kept" if kept else "Saved"
        if self.verdict and not before:  # said when it becomes so; there is no room for more
            self.tell(f"{done}. {self.verdict}")
        else:
            self.tell(f"{done}: {self._answer_words(question, answer)}.")
        return self._move_on()

    def _move_on(self, to: Question | None = None) -> bool:
        book = self._keeper.book
        self._sheets = {sheet.student.id: sheet for sheet in book.sheets}
        ahead = [question for question in book.questions if key_of(question) not in self._put_off]
        if to is not None:  # the book's own copy, if it has one: its reasons are up to date
            same = [question for question in book.questions if key_of(question) == key_of(to)]
            ahead.insert(0, same[0] if same else to)
        self.question = ahead[0] if ahead else None
        self._asked_again = ""
        self._quiet_since = self._clock()
        self._crops.fetch(ahead[:FETCH_AHEAD])
        return True

    def _refuse(self, words: str) -> bool:
        self.said, self.refused = words, True
        return False

    def _short(self, question: Question) -> str:
        if question.box == "chart" and not question.student_id:
            file = self._files.get(question.page_id, "")
            return f"whose page {file} is" if file else "whose page this is"
        sheet = self._sheets.get(question.student_id)
        name = sheet.student.name if sheet else question.student_id
        return ", ".join(part for part in (name, box_words(question.box)) if part)

    def _answer_words(self, question: Question, answer: str) -> str:
        if question.box != "chart":
            return f"{self._short(question)}: {minutes_words(int(answer)) if answer != BLANK else answer}"
        sheet = self._sheets.get(answer)
        if question.student_id and (sheet is None or answer == question.student_id):
            return f"{self._short(question)}: {'counts' if sheet else 'does not count'}"
        return f"the page belongs to {sheet.student.name}" if sheet else "the page is not ours"
