"""Spot checks: a random sample of what was taken without a person, shown to one without the reading."""

from collections.abc import Collection, Container, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from random import Random

from ingest.check.answers import BLANK, is_same
from ingest.check.book import Book, Settled, State
from ingest.check.ownership import day_words
from ingest.ledger.records import AnswerRecord, SpotAnswer, SpotBox, SpotCheck
from ingest.ledger.spots import spot_answers, spot_checks
from ingest.ledger.store import Ledger
from ingest.rates import one_in, upper_bound

# How many of a lot to look at: ISO 2859-1:1999, general inspection level II, single sampling, normal
# inspection; pairs of the largest lot and its sample. Lots up to 150 and over 35,000: from memory.
SAMPLES = ((150, 20), (280, 32), (500, 50), (1200, 80), (3200, 125), (10_000, 200), (35_000, 315))
LARGEST_SAMPLE = 500

MOST_WORTH_SAYING = 0.5  # a bound above this says nothing to anybody


def taken(book: Book) -> list[tuple[str, Settled]]:
    """The boxes that were taken without a person, blank ones too, each with its student's id.

    Days and totals only: of initials it is not said what they are, and other months' days count for nothing.
    """
    return [
        (sheet.student.id, box)
        for sheet in book.sheets
        for box in sheet.boxes.values()
        if box.state in (State.READ, State.BLANK) and box.box.partition(":")[0] in ("day", "week", "month")
    ]


def sample_size(lot: int) -> int:
    """How many boxes of so many to look at, at most all."""
    return min(lot, next((sample for largest, sample in SAMPLES if lot <= largest), LARGEST_SAMPLE))


def draw(book: Book, size: int, seed: int) -> tuple[SpotBox, ...]:
    """A simple random sample of `taken`, in random order: every box is as likely as any other.

    The same book, size and seed give the same sample, and a smaller size its beginning.
    """
    chance = Random(seed)  # of it only `random()` is promised to stay the same in later Pythons
    boxes = [(chance.random(), student_id, box) for student_id, box in taken(book)]
    chosen = sorted(boxes, key=lambda drawn: drawn[0])[:size]
    return tuple(
        SpotBox(place, student_id, box.box, box.page_id, BLANK if box.value is None else str(box.value))
        for place, (_, student_id, box) in enumerate(chosen, start=1)
        if box.page_id is not None  # only what a person answered has none
    )


def standing(check: SpotCheck, answers: Iterable[SpotAnswer]) -> dict[int, str]:
    """By place, what a person last said of each box that was looked at. answers: oldest first."""
    said = {each.place: each.answer for each in answers if each.check_id == check.id}
    return {place: answer for place, answer in said.items() if answer}


def disputes(checks: Sequence[SpotCheck], answers: Sequence[SpotAnswer]) -> dict[str, dict[str, str]]:
    """By student and box, what was last said in a spot check, where that was not the reading."""
    found: dict[str, dict[str, str]] = {}
    for check in checks:
        said = standing(check, answers)
        for box in check.boxes:
            answer = said.get(box.place)
            if answer is None:
                continue
            of_student = found.setdefault(box.student_id, {})
            of_student.pop(box.box, None)
            if not is_same(answer, box.reading):
                of_student[box.box] = answer
    return found


@dataclass(frozen=True, slots=True)
class SpotResult:
    """What a spot check has shown so far.

    at: when it was drawn. lot: boxes it was drawn from. drawn: boxes to look at. looked: those looked at;
    blank: those of them that had been read as blank. open: where the person and Daybox differ, and it is not
    settled who is right. misread: where it is settled that Daybox was wrong.
    """

    at: datetime
    lot: int
    drawn: int
    looked: int
    blank: int
    open: int
    misread: int

    @property
    def wrong(self) -> int:
        """Errors found; what is open counts as one until it is settled."""
        return self.misread + self.open

    @property
    def bound(self) -> float:
        """The rate of errors among all boxes of the lot that the true one does not exceed, 95 % sure.

        Exact for draws with replacement; without, as here, it is a little too high.
        """
        return upper_bound(self.wrong, self.looked)


def result(
    check: SpotCheck,
    spot_answers: Iterable[SpotAnswer],
    answers: Iterable[AnswerRecord],
    asked: Container[tuple[str, str]] = (),
) -> SpotResult:
    """What has come of a spot check.

    answers: those of the review, oldest first; they settle who was right. asked: student and box of what
    the review still asks about. A box that differs and is not asked about any more was read anew since.
    """
    said = standing(check, spot_answers)
    settled = {(each.student_id, each.box): each.answer for each in answers}
    looked = [box for box in check.boxes if box.place in said]
    open_boxes = misread = 0
    for box in looked:
        key = (box.student_id, box.box)
        if is_same(said[box.place], box.reading):
            continue
        if answer := settled.get(key, ""):
            misread += not is_same(answer, box.reading)
        elif key in asked:
            open_boxes += 1
        else:
            misread += 1
    blank = sum(box.reading == BLANK for box in looked)
    return SpotResult(check.at, check.lot, len(check.boxes), len(looked), blank, open_boxes, misread)


def remaining(
    check: SpotCheck, answers: Iterable[SpotAnswer], here: Mapping[str, Collection[int]]
) -> list[SpotBox]:
    """What is still to be looked at, in order.

    here: by student, the ids of the pages that count. A box whose page does so no longer is passed over.
    """
    said = standing(check, answers)
    return [
        box for box in check.boxes if box.place not in said and box.page_id in here.get(box.student_id, ())
    ]


def last_result(ledger: Ledger, book: Book) -> SpotResult | None:
    """What has come of the last spot check; None if there was none. book: as it stands now."""
    checks = spot_checks(ledger)
    if not checks:
        return None
    asked = {(question.student_id, question.box) for question in book.questions}
    said = spot_answers(ledger, pictures=False)
    return result(checks[-1], said, ledger.answers(pictures=False), asked)


def words(found: SpotResult) -> str:
    """A spot check's result in plain sentences."""
    day = day_words(found.at.date())
    if not found.looked:
        return f"Spot check of {day}: none of the {found.drawn} boxes drawn is looked at yet."
    blank = f" ({found.blank} of them read as blank)" if found.blank else ""
    misread = f", {found.misread or 'none'} misread" if found.misread or not found.open else ""
    said = [f"Spot check of {day}: {found.looked} of {found.lot:,} boxes looked at{blank}{misread}."]
    if found.open:
        it = "it counts" if found.open == 1 else "they count"
        said.append(
            f"In {found.open} you and Daybox differ; until `daybox review` settles that, {it} as misread."
        )
    if found.looked < found.lot:
        said.append(
            f"So at most {one_in(found.bound)} of all {found.lot:,} is wrong, 95 % sure."
            if found.bound <= MOST_WORTH_SAYING
            else "That is too few to say more."
        )
    if found.looked < found.drawn:
        left = found.drawn - found.looked
        said.append(f"{left} of the {found.drawn} drawn are left: `daybox review --spot-check` goes on.")
    return " ".join(said)
