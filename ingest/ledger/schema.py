"""How the ledger's tables came to be: named steps, each applied once, whole or not at all.

A step that has shipped is never edited; a change is a new step at the end of `STEPS`.
"""

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

from ingest.errors import LedgerError

APPLICATION_ID = 0x44617942  # "DayB" in ASCII, in SQLite's field for telling file types apart


@dataclass(frozen=True, slots=True)
class Step:
    """One change of the tables. The name is recorded in the ledger and must never change."""

    name: str
    statements: Sequence[str]


STEPS: tuple[Step, ...] = (
    Step(
        "01 roster, charts, returns, answers",
        (
            # `left_at` is empty while the student is in roster.csv; `place` is the row's place there.
            """CREATE TABLE student (
                id TEXT PRIMARY KEY, place INTEGER NOT NULL, first_name TEXT NOT NULL,
                last_name TEXT NOT NULL, section TEXT NOT NULL, extra TEXT NOT NULL,
                left_at TEXT NOT NULL DEFAULT '')""",
            # `key` is a hash of `json`, so that the same layout is kept once.
            "CREATE TABLE layout (key TEXT PRIMARY KEY, json TEXT NOT NULL)",
            """CREATE TABLE chart (
                code TEXT PRIMARY KEY, student_id TEXT REFERENCES student (id),
                layout TEXT NOT NULL REFERENCES layout (key))""",
            """CREATE TABLE return (
                id INTEGER PRIMARY KEY AUTOINCREMENT, path TEXT NOT NULL, sha256 TEXT NOT NULL UNIQUE,
                dated TEXT, collected_at TEXT NOT NULL, state TEXT NOT NULL,
                note TEXT NOT NULL DEFAULT '')""",
            # `picture` is a file in pages/, or empty. AUTOINCREMENT: an answer may name a page that is gone,
            # so a page's number is never given to another.
            """CREATE TABLE page (
                id INTEGER PRIMARY KEY AUTOINCREMENT,
                return_id INTEGER NOT NULL REFERENCES return (id) ON DELETE CASCADE,
                number INTEGER NOT NULL, problem TEXT NOT NULL, layout TEXT REFERENCES layout (key),
                code TEXT, code_challenge TEXT, code_source TEXT NOT NULL, written_name TEXT NOT NULL,
                residual_mm REAL NOT NULL, tags_seen INTEGER NOT NULL, guess TEXT NOT NULL,
                guess_score REAL NOT NULL, picture TEXT NOT NULL, UNIQUE (return_id, number))""",
            # `candidates` is JSON, [[value or null, text, probability], ...], most probable first;
            # `place` keeps the order in which the boxes were read.
            """CREATE TABLE reading (
                page_id INTEGER NOT NULL REFERENCES page (id) ON DELETE CASCADE, place INTEGER NOT NULL,
                box TEXT NOT NULL, candidates TEXT NOT NULL, ink REAL NOT NULL,
                PRIMARY KEY (page_id, place), UNIQUE (page_id, box)) WITHOUT ROWID""",
            # No foreign keys: an answer outlives the page and the roster row that it was about.
            """CREATE TABLE answer (
                id INTEGER PRIMARY KEY AUTOINCREMENT, at TEXT NOT NULL, student_id TEXT NOT NULL,
                box TEXT NOT NULL, page_id INTEGER, answer TEXT NOT NULL, before TEXT NOT NULL,
                why TEXT NOT NULL, by TEXT NOT NULL, shown BLOB NOT NULL)""",
            f"PRAGMA application_id = {APPLICATION_ID}",
        ),
    ),
    Step(
        "02 the same file under other names, the name on a chart, when a photo was taken",
        (
            # A file whose very bytes had come before. `guess` as in `page`.
            """CREATE TABLE copy (
                return_id INTEGER NOT NULL REFERENCES return (id) ON DELETE CASCADE, path TEXT NOT NULL,
                guess TEXT NOT NULL, guess_score REAL NOT NULL, collected_at TEXT NOT NULL,
                PRIMARY KEY (return_id, path))""",
            # Empty for a spare chart, and for what was printed before this step.
            "ALTER TABLE chart ADD COLUMN name TEXT NOT NULL DEFAULT ''",
            "ALTER TABLE return ADD COLUMN taken TEXT",
        ),
    ),
    Step(
        "03 spot checks",
        (
            # `lot` is how many boxes there were to draw from; the boxes follow from it and `seed`.
            """CREATE TABLE spot_check (
                id INTEGER PRIMARY KEY AUTOINCREMENT, at TEXT NOT NULL, seed INTEGER NOT NULL,
                lot INTEGER NOT NULL)""",
            # `reading` is what had been read when the box was drawn, in the words of an answer.
            """CREATE TABLE spot_box (
                spot_check_id INTEGER NOT NULL REFERENCES spot_check (id), place INTEGER NOT NULL,
                student_id TEXT NOT NULL, box TEXT NOT NULL, page_id INTEGER NOT NULL,
                reading TEXT NOT NULL, PRIMARY KEY (spot_check_id, place)) WITHOUT ROWID""",
            # All are kept; the last one about a box stands, and an empty one takes back.
            """CREATE TABLE spot_answer (
                id INTEGER PRIMARY KEY AUTOINCREMENT, at TEXT NOT NULL, spot_check_id INTEGER NOT NULL,
                place INTEGER NOT NULL, answer TEXT NOT NULL, by TEXT NOT NULL, shown BLOB NOT NULL,
                FOREIGN KEY (spot_check_id, place) REFERENCES spot_box (spot_check_id, place))""",
        ),
    ),
    Step(
        "04 why a person changed a box",
        # In the person's words; empty for what was answered because it was asked.
        ("ALTER TABLE answer ADD COLUMN reason TEXT NOT NULL DEFAULT ''",),
    ),
    Step(
        "05 what was forgotten",
        # `what`: "photos" or "names"; or that the file may still hold what was deleted.
        ("CREATE TABLE forgotten (at TEXT NOT NULL, what TEXT NOT NULL)",),
    ),
)


@contextmanager
def transaction(db: sqlite3.Connection, begin: str = "BEGIN IMMEDIATE") -> Iterator[None]:
    """All or nothing. `db` has isolation_level=None: Python's own BEGIN would leave DDL outside.

    begin: "BEGIN" where nothing is written, which does not keep others from writing.
    """
    db.execute(begin)
    try:
        yield
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise


def migrate(db: sqlite3.Connection, steps: Sequence[Step] = STEPS) -> tuple[str, ...]:
    """Apply the missing steps in order and return their names; writes nothing if none is missing.

    Raises LedgerError if the file is no ledger, or was written by a newer program.
    """
    done = _applied(db)
    newer = done - {step.name for step in steps}
    if newer:
        raise LedgerError(
            f'The ledger was written by a newer Daybox (it has the step "{max(newer)}", which this program '
            "does not know). Nothing was changed. Install the newer Daybox, or work in another folder."
        )
    applied = []
    for step in steps:
        if step.name in done:
            continue
        with transaction(db):
            if step.name in _applied(db):  # another process was quicker
                continue
            db.execute(
                "CREATE TABLE IF NOT EXISTS migration (name TEXT PRIMARY KEY, applied_at TEXT NOT NULL)"
            )
            for statement in step.statements:
                db.execute(statement)
            db.execute("INSERT INTO migration VALUES (?, datetime('now'))", (step.name,))
        applied.append(step.name)
    return tuple(applied)


def _applied(db: sqlite3.Connection) -> set[str]:
    tables = {name for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if not tables:
        return set()
    if "migration" not in tables:
        raise LedgerError(
            "ledger.sqlite is a database of some other program, not a Daybox ledger. Move it out of the "
            "folder, or give the right folder with --folder."
        )
    return {name for (name,) in db.execute("SELECT name FROM migration")}
