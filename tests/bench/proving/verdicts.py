"""Every box beside the truth: right, flagged, or wrong in silence."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from ingest.check.book import State
from ingest.check.evidence import OwnPage, certainty, is_unreadable, merged, put_together
from ingest.check.settle import settle
from ingest.check.sums import Candidates
from ingest.demo.diary import Diary
from ingest.demo.fill import LINE
from ingest.ledger.records import PageRecord, ReturnRecord, ReturnState
from ingest.plan.challenge import Challenge
from ingest.reading.certainty import threshold
from ingest.reading.values import BoxReading, PageReading
from proving.cases import Case
from proving.readings import LAYOUT

NOON = datetime(2027, 10, 31, 12)


class Chain(StrEnum):
    """How much of the chain speaks."""

    INK = "ink alone"  # the net's calibrated probability, box by box
    PAGE = "ink and page"  # and how the page lies, how faint it is, how plausible a day's minutes are
    CHART = "whole chart"  # and the sums: what ships


class Outcome(StrEnum):
    RIGHT = "right"
    FLAGGED = "flagged"
    WRONG = "wrong"  # accepted without a person


@dataclass(frozen=True, slots=True)
class Verdict:
    """One box.

    written: what stands there, in words. is_number: False where it is no number, or two. truth: minutes, None
    for blank. value: what was read, best guess if flagged; None for blank or no guess. confidence: of the
    value. ink: the best candidate's text. changes_minutes: whether value and truth differ in minutes, too.
    """

    case: int
    hand: str
    pen: str
    box: str
    written: str
    mishap: str
    is_number: bool
    truth: int | None
    value: int | None
    text: str
    confidence: float
    flags: str
    state: str
    outcome: Outcome
    changes_minutes: bool

    @property
    def is_right_guess(self) -> bool:
        """Whether the value, accepted or not, is what is written."""
        return self.is_number and self.value == self.truth

    @property
    def has_guess(self) -> bool:
        return self.confidence > 0

    @property
    def kind(self) -> str:
        return self.box.partition(":")[0]


@dataclass(frozen=True, slots=True)
class Stand:
    """How one box came out of a chain."""

    state: State
    value: int | None
    confidence: float
    flags: str


def judge(case: Case, page: PageReading) -> dict[Chain, list[Verdict]]:
    """Every minutes and total box under each chain."""
    where = (case.number, case.writer.hand.writer, case.writer.pen.name)
    return judge_boxes(case.plan, case.diary, page.readings, page.residual_mm, *where)


def judge_boxes(
    plan: Challenge,
    diary: Diary,
    readings: Sequence[BoxReading],
    residual_mm: float = 0.1,
    case: int = 0,
    hand: str = "",
    pen: str = "",
) -> dict[Chain, list[Verdict]]:
    """The same for readings by themselves. Boxes that were not read have no verdict.

    A chart on which nothing seems to be written is asked about as a whole, so all its boxes are flagged.
    """
    own = _own(readings, residual_mm)
    texts = {reading.box: reading.best.text for reading in readings}
    chains = {
        Chain.INK: _by_ink(readings, plan),
        Chain.PAGE: _by_page(own, plan),
        Chain.CHART: _together(own, plan),
    }
    out = {}
    for chain, stands in chains.items():
        known = {box: stands[box] for box in diary.truth if box in texts}
        if known and all(stand.state is State.BLANK for stand in known.values()):
            known = {box: Stand(State.FLAGGED, None, 0.0, "blank-chart") for box in known}
        out[chain] = [
            _verdict(case, hand, pen, box, diary, stand, texts[box]) for box, stand in known.items()
        ]
    return out


def questions_besides(case: Case, page: PageReading) -> int:
    """Boxes asked about that hold no truth: cells outside the month."""
    chart = settle([_own(page.readings, page.residual_mm)], {}, case.plan)
    return sum(name not in case.diary.truth for name in chart.doubts)


def _own(readings: Sequence[BoxReading], residual_mm: float) -> OwnPage:
    record = PageRecord(
        id=1,
        return_id=1,
        number=1,
        problem="",
        code=None,
        code_challenge=None,
        code_source="",
        written_name="",
        residual_mm=residual_mm,
        tags_seen=8,
        layout=LAYOUT,
        guess="",
        guess_score=0.0,
        readings=readings,
    )
    origin = ReturnRecord(1, "photo.jpg", "0" * 64, None, NOON, ReturnState.DONE, "")
    return OwnPage(record, origin)


def _together(own: OwnPage, plan: Challenge) -> Mapping[str, Stand]:
    chart = settle([own], {}, plan)
    return {
        name: Stand(box.state, box.value, box.confidence, ";".join(flag.reason for flag in box.flags))
        for name, box in chart.boxes.items()
    }


def _by_ink(readings: Sequence[BoxReading], plan: Challenge) -> Mapping[str, Stand]:
    return {reading.box: _stand(merged(reading.candidates), reading.box, plan) for reading in readings}


def _by_page(own: OwnPage, plan: Challenge) -> Mapping[str, Stand]:
    """Box by box, without the sums."""
    return {name: _stand(each.ink, name, plan) for name, each in put_together([own], plan).items()}


def _stand(ink: Candidates, box: str, plan: Challenge) -> Stand:
    best = ink[0]
    days = {"day": 1, "week": 7, "month": 31}.get(box.partition(":")[0], 1)
    too_much = (best.value or 0) > plan.counting.most_per_day * days
    sure = threshold(plan.reading.silent_errors).sure
    if is_unreadable(best) or certainty(ink) < sure or too_much:
        guess = next((c for c in ink if not is_unreadable(c)), None)
        flag = "not-a-number" if is_unreadable(best) else "too-much" if too_much else "illegible"
        value, confidence = (guess.value, guess.probability) if guess else (None, 0.0)
        return Stand(State.FLAGGED, value, confidence, flag)
    return Stand(State.BLANK if best.value is None else State.READ, best.value, best.probability, "")


def _verdict(case: int, hand: str, pen: str, box: str, diary: Diary, stand: Stand, text: str) -> Verdict:
    entry = diary.entries[box]
    truth = diary.truth[box]
    if entry.drawing == LINE and stand.value == 0:
        truth = 0  # a line through days says what a dash says, and what a blank box says
    is_number = box not in diary.no_number
    if stand.state is State.FLAGGED:
        outcome = Outcome.FLAGGED
    else:
        outcome = Outcome.RIGHT if is_number and stand.value == truth else Outcome.WRONG
    return Verdict(
        case=case,
        hand=hand,
        pen=pen,
        box=box,
        written=" ".join(filter(None, (entry.text, entry.drawing))) or "blank",
        mishap=" ".join(filter(None, (str(entry.mishap), entry.earlier))),
        is_number=is_number,
        truth=truth,
        value=stand.value,
        text=text,
        confidence=stand.confidence,
        flags=stand.flags,
        state=str(stand.state),
        outcome=outcome,
        changes_minutes=(stand.value or 0) != (truth or 0),
    )


def causes(verdict: Verdict, damage: tuple[str, ...], megapixels: float) -> Iterator[str]:
    """What may have made a box hard, in words to count by."""
    yield f"box: {verdict.kind}"
    text = verdict.written
    if not verdict.is_number:
        yield "written: no number"
    elif text in ("blank", "-", "0"):
        yield f"written: {text}"
    else:
        yield f"written: {len(text)} digits" if text.isdigit() else "written: with words, units, a drawing"
    yield f"mishap: {verdict.mishap.rpartition(' ')[0] or verdict.mishap or 'none'}"
    yield f"pen: {verdict.pen}"
    yield f"hand: {verdict.hand}"
    size = "1" if megapixels < 1.5 else "2 to 3" if megapixels < 4 else "over 4"
    yield f"photo: {size} megapixels"
    for each in damage:
        yield f"damage: {' '.join(word for word in each.split(' ') if not any(c.isdigit() for c in word))}"
