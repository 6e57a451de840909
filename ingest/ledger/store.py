"""The one file in which a challenge is kept, `ledger.sqlite`, and the pictures beside it.

Every writing method is one transaction: it has happened whole when the method returns, and not at
all if the program is killed before.

The file keeps SQLite's rollback journal instead of the write-ahead log. Between two commands the
journal is gone and the whole truth lies in the one file, so that a teacher may copy it to a stick or
keep it in a synchronised folder or on a network drive (the write-ahead log needs shared memory, which
those lack: https://sqlite.org/wal.html, section 1).

A commit must outlast a power cut too, or an answer that was acknowledged would come undone: hence
`synchronous = EXTRA` (https://sqlite.org/pragma.html#pragma_synchronous), which waits for the disk five
times. Keeping the journal and emptying it saves too little to leave a second file about. An answer with a
picture of 8 KB, mean of 480 on ext4 of a busy virtual machine where a lone fdatasync takes 3 ms: journal
deleted (EXTRA) 17 ms, TRUNCATE (FULL) 16 ms, PERSIST (FULL) 15 ms; the write-ahead log would take 3 ms.
"""

import hashlib
import json
import os
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from ingest.chart.layout import Layout, layout_from_json, layout_to_json
from ingest.errors import LedgerError
from ingest.ledger.records import (
    AnswerRecord,
    ChartRecord,
    CopyRecord,
    NewPage,
    PageRecord,
    ReturnRecord,
    ReturnState,
)
from ingest.ledger.schema import migrate, transaction
from ingest.plan.roster import Student
from ingest.reading.values import BoxReading, Candidate, PageReading

FILE_NAME = "ledger.sqlite"
TAKEN_BACK = "taken back"  # `why` of a record that a person made by taking an answer back
BUSY_SECONDS = (
    10.0  # how long to wait while another Daybox command writes; each holds the file for milliseconds
)

_NO_READING = PageReading(None, None, "", "", (), b"", 0.0, 0, None)


class Ledger:
    """The ledger of one challenge folder. Use it as a context manager, from one thread."""

    def __init__(self, folder: Path, db: sqlite3.Connection) -> None:
        self.folder = folder
        self._db = db

    @classmethod
    def open(cls, folder: Path, create: bool = True) -> Self:
        """Open the ledger in `folder` and bring its tables up to date.

        create: False for commands that only ask, which should not leave a file behind.

        Raises LedgerError if there is none (and `create` is False), or if it is locked, damaged, out of
        reach, another program's, or newer than this program.
        """
        path = folder / FILE_NAME
        if not create and not path.exists():
            raise LedgerError(
                f"{path}: there is no ledger yet, so nothing is known about this challenge. Print the "
                "charts with `daybox charts` or bring in returns with `daybox collect`, or give the "
                "challenge's folder with --folder."
            )
        if not folder.is_dir():
            raise LedgerError(
                f"{folder} is no folder. Make one with `daybox new`, or give another with --folder."
            )
        with _plain_errors(path):
            db = sqlite3.connect(path, timeout=BUSY_SECONDS, isolation_level=None)
            try:
                db.execute("PRAGMA foreign_keys = ON")
                db.execute("PRAGMA synchronous = EXTRA")
                db.execute("PRAGMA fullfsync = ON")  # else macOS leaves it to the disk when to write
                migrate(db)
            except BaseException:
                db.close()
                raise
        return cls(folder, db)

    def close(self) -> None:
        self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @contextmanager
    def snapshot(self) -> Iterator[None]:
        """Within it, all questions see the ledger at one moment, whatever other commands write."""
        with self._asking():
            if self._db.in_transaction:  # a snapshot within a snapshot is the outer one
                yield
            else:
                with transaction(self._db, "BEGIN"):
                    yield

    # -- the roster ---------------------------------------------------------------------------------

    def sync_roster(self, students: Sequence[Student]) -> None:
        """Make the roster as given. Those gone from it are kept, marked as having left."""
        now = _now()
        with self._writing():
            self._db.execute("UPDATE student SET left_at = ? WHERE left_at = ''", (now,))
            self._db.executemany(
                """INSERT INTO student (id, place, first_name, last_name, section, extra)
                VALUES (?, ?, ?, ?, ?, ?)
                ON CONFLICT (id) DO UPDATE SET
                place = excluded.place, first_name = excluded.first_name, last_name = excluded.last_name,
                section = excluded.section, extra = excluded.extra, left_at = ''""",
                [
                    (s.id, place, s.first_name, s.last_name, s.section, _dump(dict(s.extra)))
                    for place, s in enumerate(students)
                ],
            )

    def students(self) -> tuple[Student, ...]:
        """Those on the roster, in its order."""
        return self._students("left_at = ''")

    def former_students(self) -> tuple[Student, ...]:
        """Those who were on the roster and are no longer."""
        return self._students("left_at <> ''")

    def _students(self, condition: str) -> tuple[Student, ...]:
        rows = self._rows(
            "SELECT id, first_name, last_name, section, extra FROM student "
            f"WHERE {condition} ORDER BY place, id"
        )
        return tuple(
            Student(student_id, first, last, section, json.loads(extra))
            for student_id, first, last, section, extra in rows
        )

    # -- charts -------------------------------------------------------------------------------------

    def add_layout(self, layout: Layout) -> str:
        """Keep a layout and return its key; the same layout always has the same key."""
        text = layout_to_json(layout)
        key = hashlib.sha256(text.encode()).hexdigest()[:16]
        with self._writing():
            self._db.execute("INSERT INTO layout VALUES (?, ?) ON CONFLICT (key) DO NOTHING", (key, text))
        return key

    def layouts(self) -> dict[str, Layout]:
        """All layouts ever printed, by key."""
        return {key: layout_from_json(text) for key, text in self._rows("SELECT key, json FROM layout")}

    def add_charts(self, charts: Sequence[ChartRecord]) -> None:
        """Keep printed charts; those known already stay as they are, but for the name last printed.

        Raises LedgerError if a code is known for another student or another layout: the paper that
        carries it is out there and cannot be changed.
        """
        with self._writing():
            known = {chart.code: (chart.student_id, chart.layout) for chart in self.charts()}
            for chart in charts:
                this = (chart.student_id, chart.layout)
                if known.setdefault(chart.code, this) != this:
                    raise LedgerError(
                        f"The chart code {chart.code} was already printed for another student or with "
                        "another design. Nothing was kept. Print these charts with new codes."
                    )
            self._db.executemany(
                "INSERT INTO chart (code, student_id, layout, name) VALUES (?, ?, ?, ?) "
                "ON CONFLICT (code) DO UPDATE SET name = excluded.name",
                [(chart.code, chart.student_id, chart.layout, chart.name) for chart in charts],
            )

    def charts(self) -> tuple[ChartRecord, ...]:
        """All printed charts, in the order of printing."""
        rows = self._rows("SELECT code, student_id, layout, name FROM chart ORDER BY rowid")
        return tuple(ChartRecord(*row) for row in rows)

    # -- returns ------------------------------------------------------------------------------------

    def add_return(self, path: str, sha256: str, dated: datetime | None, problem: str = "") -> int | None:
        """Note a file that was handed in, waiting to be read. None if these bytes are known already.

        Call it once the original lies at `original_path(sha256)`.
        problem: why there is nothing to be read in it, if that is known: then it is refused at once.
        """
        state = ReturnState.REFUSED if problem else ReturnState.WAITING
        with self._writing():
            row = self._db.execute(
                "INSERT INTO return (path, sha256, dated, collected_at, state, note) "
                "VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (sha256) DO NOTHING RETURNING id",
                (path, sha256, _from_time(dated), _now(), state, problem),
            ).fetchone()
        return row[0] if row else None

    def add_copy(self, path: str, sha256: str, guess: str = "", guess_score: float = 0.0) -> None:
        """Note that the very bytes of a return came once more, under this name.

        guess, guess_score: whom the name means, as in `PageRecord`. Under its own name nothing is noted.
        """
        with self._writing():
            self._db.execute(
                "INSERT INTO copy SELECT id, ?, ?, ?, ? FROM return WHERE sha256 = ? AND path <> ? "
                "ON CONFLICT (return_id, path) DO NOTHING",
                (path, guess, guess_score, _now(), sha256, path),
            )

    def copies(self) -> tuple[CopyRecord, ...]:
        """Every other name under which a return came, in the order of collecting."""
        rows = self._rows("SELECT return_id, path, guess, guess_score FROM copy ORDER BY collected_at, path")
        return tuple(CopyRecord(*row) for row in rows)

    def waiting(self) -> tuple[ReturnRecord, ...]:
        """Returns still to be read, in the order of collecting."""
        return self._returns("state = ?", ReturnState.WAITING)

    def get_return(self, return_id: int) -> ReturnRecord:
        """Raises KeyError if there is no such return."""
        found = self._returns("id = ?", return_id)
        if not found:
            raise KeyError(return_id)
        return found[0]

    def finish_return(
        self,
        return_id: int,
        pages: Sequence[NewPage],
        state: ReturnState,
        note: str = "",
        taken: datetime | None = None,
    ) -> None:
        """Keep what was read of a return, in place of what was kept of it before.

        A page that was there before keeps its id, so that answers about it stand. The flattened pages
        lie in `pages/` before the transaction commits; nothing refers to them if it does not.
        """
        with self._writing():
            old = {
                name
                for (name,) in self._db.execute("SELECT picture FROM page WHERE return_id = ?", (return_id,))
            }
            self._db.execute(
                "DELETE FROM reading WHERE page_id IN (SELECT id FROM page WHERE return_id = ?)", (return_id,)
            )
            kept = {self._keep_page(return_id, page) for page in pages}
            numbers = [page.number for page in pages]
            marks = ", ".join("?" * len(numbers))
            self._db.execute(
                f"DELETE FROM page WHERE return_id = ? AND number NOT IN ({marks})", (return_id, *numbers)
            )
            self._db.execute(
                "UPDATE return SET state = ?, note = ?, taken = ? WHERE id = ?",
                (state, note, _from_time(taken), return_id),
            )
        for name in old - kept - {""}:
            with suppress(OSError):  # a viewer may hold it open; `sweep` gets it later
                (self._pages / name).unlink()

    def _keep_page(self, return_id: int, page: NewPage) -> str:
        """Insert or replace one page with its readings; the name of its picture, or ""."""
        found = page.reading or _NO_READING
        picture = self._keep_picture(return_id, page.number, found.flat_jpeg) if found.flat_jpeg else ""
        values = {
            "return_id": return_id,
            "number": page.number,
            "problem": page.problem,
            "layout": found.layout,
            "code": found.code,
            "code_challenge": found.code_challenge,
            "code_source": found.code_source,
            "written_name": found.written_name,
            "residual_mm": float(found.residual_mm),  # float(): numpy's own numbers are not SQLite's
            "tags_seen": int(found.tags_seen),
            "guess": page.guess,
            "guess_score": float(page.guess_score),
            "picture": picture,
        }
        columns = ", ".join(values)
        changes = ", ".join(f"{name} = excluded.{name}" for name in values)
        (page_id,) = self._db.execute(
            f"INSERT INTO page ({columns}) VALUES ({', '.join('?' * len(values))}) "
            f"ON CONFLICT (return_id, number) DO UPDATE SET {changes} RETURNING id",
            tuple(values.values()),
        ).fetchone()
        self._db.executemany(
            "INSERT INTO reading VALUES (?, ?, ?, ?, ?)",
            [
                (page_id, place, reading.box, _dump_candidates(reading), float(reading.ink))
                for place, reading in enumerate(found.readings)
            ],
        )
        return picture

    def _keep_picture(self, return_id: int, number: int, jpeg: bytes) -> str:
        """Write a flattened page whole or not at all; its file name, which never means another picture."""
        name = f"{return_id}-{number}-{hashlib.sha256(jpeg).hexdigest()[:12]}.jpg"
        part = self._pages / f"{name}.part"
        with _plain_file_errors(part):
            self._pages.mkdir(exist_ok=True)
            with part.open("wb") as file:
                file.write(jpeg)
                file.flush()
                os.fsync(file.fileno())
            part.replace(self._pages / name)
        return name

    def sweep(self) -> int:
        """Delete pictures that no page refers to, left by a program that was killed; how many."""
        if not self._pages.is_dir():
            return 0
        with self._writing():  # so that no other command is between writing a picture and keeping its page
            kept = {name for (name,) in self._db.execute("SELECT picture FROM page")}
            orphans = [path for path in self._pages.iterdir() if path.name not in kept and path.is_file()]
            for path in orphans:
                path.unlink(missing_ok=True)
        return len(orphans)

    def returns(self) -> tuple[ReturnRecord, ...]:
        """All returns, in the order of collecting."""
        return self._returns("1")

    def _returns(self, condition: str, *arguments: object) -> tuple[ReturnRecord, ...]:
        rows = self._rows(
            "SELECT id, path, sha256, dated, collected_at, state, note, taken FROM return "
            f"WHERE {condition} ORDER BY id",
            *arguments,
        )
        return tuple(
            ReturnRecord(
                return_id,
                path,
                sha256,
                _to_time(dated),
                datetime.fromisoformat(at),
                ReturnState(state),
                note,
                _to_time(taken),
            )
            for return_id, path, sha256, dated, at, state, note, taken in rows
        )

    def pages(self) -> tuple[PageRecord, ...]:
        """All pages of all returns with their readings, in the order of collecting."""
        readings: dict[int, list[BoxReading]] = {}
        with self.snapshot():
            found = self._rows("SELECT page_id, box, candidates, ink FROM reading ORDER BY page_id, place")
            for (page_id, box, _, ink), candidates in zip(
                found, _load_candidates([row[2] for row in found]), strict=True
            ):
                readings.setdefault(page_id, []).append(BoxReading(box, candidates, ink))
            rows = self._rows(
                "SELECT id, return_id, number, problem, code, code_challenge, code_source, written_name, "
                "residual_mm, tags_seen, layout, guess, guess_score FROM page ORDER BY return_id, number"
            )
        return tuple(PageRecord(*(*row, tuple(readings.get(row[0], ())))) for row in rows)

    def page_picture(self, page_id: int) -> Path | None:
        """Where the flattened page lies; None if none was made (show the original then).

        Raises KeyError if there is no such page.
        """
        rows = self._rows("SELECT picture FROM page WHERE id = ?", page_id)
        if not rows:
            raise KeyError(page_id)
        return self._pages / rows[0][0] if rows[0][0] else None

    def original_path(self, sha256: str) -> Path:
        """Where the original with these bytes lies, or belongs."""
        return self.folder / "originals" / sha256

    def original(self, record: ReturnRecord) -> Path:
        """Where the file lies as it was handed in."""
        return self.original_path(record.sha256)

    @property
    def _pages(self) -> Path:
        return self.folder / "pages"

    # -- answers ------------------------------------------------------------------------------------

    def answer(
        self,
        student_id: str,
        box: str,
        answer: str,
        *,
        page_id: int | None = None,
        before: str = "",
        why: str = "",
        by: str = "prompt",
        shown: bytes = b"",
        reason: str = "",
    ) -> AnswerRecord:
        """Keep what a person settled, for ever. The arguments are as in `AnswerRecord`."""
        with self._writing():
            return self._keep_answer(_now(), student_id, box, page_id, answer, before, why, by, shown, reason)

    def take_back(self, answer_id: int) -> AnswerRecord:
        """Let the question stand as it stood before that answer, by a new record.

        The record repeats the answer that was given before, with the time at which it was given and its
        reason; if there was none, it holds "" (open again). Raises KeyError if there is no such answer.
        """
        with self._writing():
            row = self._db.execute(
                "SELECT student_id, box, page_id, answer, by FROM answer WHERE id = ?", (answer_id,)
            ).fetchone()
            if row is None:
                raise KeyError(answer_id)
            student_id, box, page_id, taken, by = row
            # A question about a whole page is told by its page, one about a box by student and box.
            same = "box = 'chart' AND page_id = ?" if box == "chart" else "student_id = ? AND box = ?"
            which = (page_id,) if box == "chart" else (student_id, box)
            earlier = self._db.execute(
                f"SELECT at, answer, reason FROM answer WHERE id < ? AND {same} ORDER BY id DESC LIMIT 1",
                (answer_id, *which),
            ).fetchone()
            at, answer, reason = earlier or (_now(), "", "")
            return self._keep_answer(at, student_id, box, page_id, answer, taken, TAKEN_BACK, by, b"", reason)

    def _keep_answer(self, at: str, *values: Any) -> AnswerRecord:
        (answer_id,) = self._db.execute(
            "INSERT INTO answer (at, student_id, box, page_id, answer, before, why, by, shown, reason) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?) RETURNING id",
            (at, *values),
        ).fetchone()
        return AnswerRecord(answer_id, datetime.fromisoformat(at), *values)

    def answers(self, pictures: bool = True) -> tuple[AnswerRecord, ...]:
        """Every answer ever given, oldest first. pictures: False leaves `shown` empty, which is quicker."""
        rows = self._rows(
            "SELECT id, at, student_id, box, page_id, answer, before, why, by, "
            + ("shown" if pictures else "x''")
            + ", reason FROM answer ORDER BY id"
        )
        return tuple(AnswerRecord(row[0], datetime.fromisoformat(row[1]), *row[2:]) for row in rows)

    # -- for the modules of this room that keep tables of their own ----------------------------------

    def rows(self, sql: str, *arguments: object) -> list[Any]:
        """What a query finds."""
        return self._rows(sql, *arguments)

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction: all that is written within it, or nothing."""
        with self._writing():
            yield self._db

    def compact(self) -> None:
        """Write the file anew without anything that was deleted.

        The copy that SQLite makes on the way stays in memory; a write-ahead log, if somebody asked for one,
        is emptied.
        """
        with self._asking():
            self._db.execute("PRAGMA temp_store = MEMORY")
            self._db.execute("PRAGMA secure_delete = ON")
            self._db.execute("VACUUM")
            self._db.execute("PRAGMA wal_checkpoint (TRUNCATE)")

    # -- the edge to SQLite -------------------------------------------------------------------------

    def _rows(self, sql: str, *arguments: object) -> list[Any]:
        with self._asking():
            return self._db.execute(sql, arguments).fetchall()

    @contextmanager
    def _asking(self) -> Iterator[None]:
        with _plain_errors(self.folder / FILE_NAME):
            yield

    @contextmanager
    def _writing(self) -> Iterator[None]:
        with _plain_errors(self.folder / FILE_NAME), transaction(self._db):
            yield


# What SQLite's primary result codes (https://sqlite.org/rescode.html) mean to a teacher. Codes not listed
# here are mistakes of the program and keep their traceback.
_DAMAGED = (
    "is damaged or no ledger at all. Put back a copy of it; the originals in `originals/` are not touched"
)
_PLAIN = {
    sqlite3.SQLITE_BUSY: "is in use by another Daybox command. Wait until that is done, then try again",
    sqlite3.SQLITE_LOCKED: "is in use by another Daybox command. Wait until that is done, then try again",
    sqlite3.SQLITE_CORRUPT: _DAMAGED,
    sqlite3.SQLITE_NOTADB: _DAMAGED,
    sqlite3.SQLITE_READONLY: "may not be written. Check the rights of the file and its folder",
    sqlite3.SQLITE_PERM: "may not be written. Check the rights of the file and its folder",
    sqlite3.SQLITE_CANTOPEN: "cannot be opened. Check that the folder exists and may be written",
    sqlite3.SQLITE_FULL: "cannot grow: the disk is full. Make room, then run the same command again",
    sqlite3.SQLITE_IOERR: "cannot be read or written: the disk reports an error. Check the disk, or copy "
    "the folder to another one",
}


@contextmanager
def _plain_errors(path: Path) -> Iterator[None]:
    try:
        yield
    except sqlite3.Error as error:
        # Python's own complaints carry no code; an extended code keeps its primary in the low byte.
        code = getattr(error, "sqlite_errorcode", None)
        plain = _PLAIN.get(code & 0xFF) if code is not None else None
        if plain is None:
            raise
        raise LedgerError(f"{path} {plain}.") from error


@contextmanager
def _plain_file_errors(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise LedgerError(
            f"{path} cannot be written ({error.strerror}). Nothing of this return was kept. Check the disk's "
            "space and the folder's rights, then run the same command again."
        ) from error


# -- values to text and back ------------------------------------------------------------------------


def _now() -> str:
    return datetime.now().isoformat(timespec="milliseconds")


def _from_time(time: datetime | None) -> str | None:
    if time is None:
        return None
    local = time.astimezone().replace(tzinfo=None) if time.tzinfo else time
    return local.isoformat(timespec="seconds")


def _to_time(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)


_dump = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode  # dumps makes one a call


def _dump_candidates(reading: BoxReading) -> str:
    # int and float: numpy's numbers are not JSON's. A fourth place, true, only where it was typed.
    return _dump(
        [
            (None if c.value is None else int(c.value), c.text, float(c.probability), *[True] * c.typed)
            for c in reading.candidates
        ]
    )


def _load_candidates(texts: Sequence[str]) -> Iterator[tuple[Candidate, ...]]:
    """Of many boxes at once: one long text is parsed in a third of the time of many short ones."""
    for box in json.loads(f"[{','.join(texts)}]"):
        yield tuple(Candidate(*row) for row in box)
