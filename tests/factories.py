"""Charts as they come back, made in a line: readings, pages, and ledgers that hold them."""

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from random import Random
from typing import Any

from ingest.chart.layout import ChartBox, Kind, Layout, Tag
from ingest.ledger.records import ChartRecord, NewPage, PageRecord, ReturnRecord, ReturnState
from ingest.ledger.store import Ledger
from ingest.paper import PAPERS, Box
from ingest.plan.challenge import Challenge
from ingest.plan.roster import Student
from ingest.reading.values import BoxReading, Candidate, PageReading

NOON = datetime(2027, 10, 31, 12)  # when returns are handed in and collected, unless told otherwise

# What a box says: minutes, None for blank, "?" for no number, or candidates with their probabilities.
Said = int | None | str | Sequence[tuple[int | str | None, float]]


def october(**sections: Mapping[str, Any]) -> Challenge:
    """October 2027: six weeks from Sunday, the 1st a Friday; every weekday required."""
    return Challenge.model_validate({"title": "October", "month": "2027-10", **sections})


def students(count: int = 3) -> tuple[Student, ...]:
    """S001 Ana One, S002 Ben Two, S003 Cleo Three, S004 First4 Last4 ..."""
    named = [("Ana", "One"), ("Ben", "Two"), ("Cleo", "Three")]
    numbers = range(1, count + 1)
    names = named + [(f"First{n}", f"Last{n}") for n in range(4, count + 1)]
    return tuple(
        Student(f"S{n:03}", first, last, "Flutes") for n, (first, last) in zip(numbers, names, strict=False)
    )


def reading(box: str, said: Said, p: float = 0.9999) -> BoxReading:
    """One box. p: how sure the reader is, where `said` does not say."""
    pairs = [(said, p)] if said is None or isinstance(said, int | str) else list(said)
    candidates = tuple(
        Candidate(value, str(value), share) if isinstance(value, int) else Candidate(None, value or "", share)
        for value, share in pairs
    )
    return BoxReading(box, candidates, 0.0 if candidates[0].text == "" else 0.1)


def readings(challenge: Challenge, minutes: int | None = 20, **said: Said) -> tuple[BoxReading, ...]:
    """A whole chart, rightly added up, then changed: `d5=25`, `w2=105`, `month=None`, `o30=15`.

    minutes: what every day says. o30: the 30th of the month before.
    """
    boxes: dict[str, Said] = {}
    month = set(challenge.month.dates())
    rows = challenge.month.weeks(challenge.days.week_starts)
    for row in rows:
        for day in row:
            short = f"d{day.day}" if day in month else f"o{day.day}"
            inside = minutes if day in month else None
            boxes[f"{'day' if day in month else 'outside'}:{day}"] = said.pop(short, inside)
    for number, row in enumerate(rows, start=1):
        added = (minutes or 0) * sum(day in month for day in row)
        boxes[f"week:{number}"] = said.pop(f"w{number}", added)
        boxes[f"initials:{number}"] = said.pop(f"i{number}", "?")
    boxes["month"] = said.pop("month", (minutes or 0) * len(month))
    assert not said, f"no such box: {sorted(said)}"
    return tuple(reading(box, what) for box, what in boxes.items())


def page_reading(boxes: Sequence[BoxReading], **changes: Any) -> PageReading:
    """A page as the reader gives it: S001's chart, well placed."""
    plain: dict[str, Any] = {
        "code": "K001",
        "code_challenge": "2027-10",
        "code_source": "qr",
        "written_name": "",
        "flat_jpeg": b"",
        "residual_mm": 0.1,
        "tags_seen": 8,
        "layout": None,
    }
    return PageReading(readings=boxes, **{**plain, **changes})


def page(boxes: Sequence[BoxReading], page_id: int = 1, **changes: Any) -> PageRecord:
    """A page as the ledger gives it: page 1 of return `page_id`."""
    plain: dict[str, Any] = {
        "return_id": page_id,
        "number": 1,
        "problem": "",
        "code": "K001",
        "code_challenge": "2027-10",
        "code_source": "qr",
        "written_name": "",
        "residual_mm": 0.1,
        "tags_seen": 8,
        "layout": "l1",
        "guess": "",
        "guess_score": 0.0,
    }
    return PageRecord(id=page_id, readings=boxes, **{**plain, **changes})


def origin(return_id: int = 1, dated: datetime | None = NOON, collected_at: datetime = NOON) -> ReturnRecord:
    """The return that a page came in."""
    path = f"october.zip/IMG_{return_id}.jpg"
    return ReturnRecord(return_id, path, f"{return_id:064x}", dated, collected_at, ReturnState.DONE, "")


def layout() -> Layout:
    """A layout with one day's box, for a ledger that needs some layout."""
    area = Box(50, 50, 26, 13)
    day = ChartBox("day:2027-10-01", Kind.MINUTES, area, area.grown(1))
    corner = Box(10, 10, 12, 12)
    return Layout(
        "2027-10", "minutes", PAPERS["letter"], (day,), (), (Tag(0, corner),), corner, corner, corner
    )


def stock(ledger: Ledger, roster: Sequence[Student], spares: int = 1) -> str:
    """The roster, and a chart each: K001 for S001 ...; spares X001 ... The layout's key."""
    key = ledger.add_layout(layout())
    ledger.sync_roster(roster)
    ledger.add_charts(
        [ChartRecord(f"K{student.id[1:]}", student.id, key) for student in roster]
        + [ChartRecord(f"X{n:03}", None, key) for n in range(1, spares + 1)]
    )
    return key


def hand_in(
    ledger: Ledger,
    pages: Iterable[PageReading],
    path: str = "october.zip/IMG_1.jpg",
    *,
    dated: datetime | None = NOON,
    guess: str = "",
    guess_score: float = 0.0,
) -> int:
    """A return, collected and read; its id. Handed in twice under one path, it is another file."""
    sha256 = hashlib.sha256(f"{path} {len(ledger.returns())}".encode()).hexdigest()
    return_id = ledger.add_return(path, sha256, dated)
    assert return_id is not None
    key = next(iter(ledger.layouts()), None)
    new = [
        NewPage(number, "", replace(found, layout=key if found.readings else None), guess, guess_score)
        for number, found in enumerate(pages, start=1)
    ]
    ledger.finish_return(return_id, new, ReturnState.DONE)
    return return_id


def busy_month(ledger: Ledger, count: int) -> None:
    """So many students with a chart each: 1 box in 100 is unsure, one chart in five adds wrongly."""
    plan, chance, roster = october(), Random(1), students(count)
    stock(ledger, roster)
    for student in roster:
        said: dict[str, Any] = {}
        if chance.random() < 0.3:
            said[f"d{chance.randint(1, 31)}"] = ((25, 0.7), (75, 0.2))
        if chance.random() < 0.2:
            said[f"w{chance.randint(2, 5)}"] = 130
        hand_in(ledger, [page_reading(readings(plan, **said), code=f"K{student.id[1:]}")], student.id)
