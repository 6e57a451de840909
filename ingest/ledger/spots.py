"""Spot checks as the ledger keeps them."""

from collections.abc import Sequence
from datetime import datetime

from ingest.ledger.records import SpotAnswer, SpotBox, SpotCheck
from ingest.ledger.store import Ledger


def begin_spot_check(ledger: Ledger, seed: int, lot: int, boxes: Sequence[SpotBox]) -> SpotCheck:
    """Keep a sample before anybody is asked about it."""
    with ledger.writing() as db:
        at = _now()
        (check_id,) = db.execute(
            "INSERT INTO spot_check (at, seed, lot) VALUES (?, ?, ?) RETURNING id", (at, seed, lot)
        ).fetchone()
        db.executemany(
            "INSERT INTO spot_box VALUES (?, ?, ?, ?, ?, ?)",
            [(check_id, box.place, box.student_id, box.box, box.page_id, box.reading) for box in boxes],
        )
    return SpotCheck(check_id, datetime.fromisoformat(at), seed, lot, tuple(boxes))


def spot_checks(ledger: Ledger) -> tuple[SpotCheck, ...]:
    """All of them, oldest first."""
    boxes: dict[int, list[SpotBox]] = {}
    with ledger.snapshot():
        for check_id, *box in ledger.rows(
            "SELECT spot_check_id, place, student_id, box, page_id, reading FROM spot_box "
            "ORDER BY spot_check_id, place"
        ):
            boxes.setdefault(check_id, []).append(SpotBox(*box))
        found = ledger.rows("SELECT id, at, seed, lot FROM spot_check ORDER BY id")
    return tuple(
        SpotCheck(check_id, datetime.fromisoformat(at), seed, lot, tuple(boxes.get(check_id, ())))
        for check_id, at, seed, lot in found
    )


def answer_spot(
    ledger: Ledger, check_id: int, place: int, answer: str, *, by: str = "prompt", shown: bytes = b""
) -> SpotAnswer:
    """Keep what a person saw, for ever. The arguments are as in `SpotAnswer`."""
    with ledger.writing() as db:
        at = _now()
        (answer_id,) = db.execute(
            "INSERT INTO spot_answer (at, spot_check_id, place, answer, by, shown) VALUES (?, ?, ?, ?, ?, ?) "
            "RETURNING id",
            (at, check_id, place, answer, by, shown),
        ).fetchone()
    return SpotAnswer(answer_id, datetime.fromisoformat(at), check_id, place, answer, by, shown)


def spot_answers(ledger: Ledger, pictures: bool = True) -> tuple[SpotAnswer, ...]:
    """Every one ever given, oldest first. pictures: False leaves `shown` empty, which is quicker."""
    shown = "shown" if pictures else "x''"
    return tuple(
        SpotAnswer(row[0], datetime.fromisoformat(row[1]), *row[2:])
        for row in ledger.rows(
            f"SELECT id, at, spot_check_id, place, answer, by, {shown} FROM spot_answer ORDER BY id"
        )
    )


def _now() -> str:
    return datetime.now().isoformat(timespec="milliseconds")
