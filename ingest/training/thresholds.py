"""Tries thresholds on charts whose truth is known: what each would take, and what of that is wrong."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from ingest.check.book import Settled, State
from ingest.check.evidence import OwnPage, put_together
from ingest.check.murk import murk, needed
from ingest.check.settle import settle
from ingest.demo.diary import Diary
from ingest.ledger.records import PageRecord, ReturnRecord, ReturnState
from ingest.plan.challenge import Challenge
from ingest.reading.certainty import Clearness, Tried
from ingest.reading.values import PageReading

# Closer together where the errors are few and wishes lie. Below a half there may be a likelier candidate.
TRIED = (
    *(0.5, 0.8, 0.9, 0.93, 0.95, 0.96, 0.97, 0.975, 0.98, 0.983),
    *(0.985, 0.986, 0.987, 0.988, 0.989, 0.99, 0.991, 0.992, 0.993, 0.994),
    *(0.995, 0.996, 0.997, 0.998, 0.999, 0.9995),
)

_THEN = datetime(2026, 11, 25, 12)


@dataclass(frozen=True, slots=True)
class Outcome:
    """One box that would be taken, by itself and its sums. confidence: so far. murk: its chart's."""

    confidence: float
    murk: float
    is_wrong: bool


def outcomes(reading: PageReading | None, challenge: Challenge, diary: Diary) -> list[Outcome]:
    """What came of the boxes of one chart. reading: None for a page that could not be placed.

    The whole chain decides: a box is taken as the check room takes it, the chart weighed as a whole, but for
    the last step, which is to be fitted by this. Counted are days and totals, blank ones too. Wrong are other
    minutes than were written, and minutes where no number was.
    """
    if reading is None:
        return []
    pages = [OwnPage(_page(reading), _RETURN)]
    boxes = settle(pages, {}, challenge, sure=0.0, clearness=Clearness()).boxes
    murks = murk(put_together(pages, challenge)) if reading.readings else {}
    taken = [box for name in diary.truth if (box := boxes.get(name)) and box.state in _TAKEN]
    return [Outcome(box.confidence, murks[box.box], _is_wrong(box, diary)) for box in taken]


def try_thresholds(found: Sequence[Outcome], clearness: Clearness) -> list[Tried]:
    """What comes of some boxes at each threshold of TRIED."""
    chances = [clearness.chance(each.confidence, each.murk) for each in found]
    every = list(zip(chances, found, strict=True))
    rows = []
    for sure in TRIED:
        taken = [(chance, each) for chance, each in every if chance >= needed(sure, each.murk)]
        foreseen = sum(1 - chance for chance, _ in taken)
        rows.append(Tried(sure, len(taken), foreseen, sum(each.is_wrong for _, each in taken)))
    return rows


def _is_wrong(box: Settled, diary: Diary) -> bool:
    is_other = (box.value or 0) != (diary.truth[box.box] or 0)
    return is_other or (bool(box.value) and box.box in diary.no_number)


def added(charts: Iterable[Sequence[Tried]]) -> list[Tried]:
    """What comes of all charts together at each threshold; empty of no charts."""
    return [
        Tried(
            rows[0].sure,
            sum(row.accepted for row in rows),
            round(sum(row.foreseen for row in rows), 3),
            sum(row.wrong for row in rows),
        )
        for rows in zip(*charts, strict=True)
    ]


_TAKEN = (State.READ, State.BLANK)
_RETURN = ReturnRecord(1, "chart.jpg", "0" * 64, _THEN, _THEN, ReturnState.DONE, "")


def _page(reading: PageReading) -> PageRecord:
    """As the ledger would keep it."""
    return PageRecord(
        id=1,
        return_id=1,
        number=1,
        problem="",
        code=reading.code,
        code_challenge=reading.code_challenge,
        code_source=reading.code_source,
        written_name=reading.written_name,
        residual_mm=reading.residual_mm,
        tags_seen=reading.tags_seen,
        layout=reading.layout,
        guess="",
        guess_score=0.0,
        readings=reading.readings,
    )
