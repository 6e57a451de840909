"""Taking children's data out of the ledger, so that nothing of it is left in the file.

Each is one transaction, which notes as well that the file must still be written anew; `finish` does that.
What is stopped between the two, the next one finishes.
"""

import secrets
from collections.abc import Callable, Collection, Mapping
from datetime import datetime
from sqlite3 import Connection

from ingest.chart.code import new_code
from ingest.errors import LedgerError
from ingest.ledger.records import ReturnState
from ingest.ledger.store import TAKEN_BACK, Ledger
from ingest.plan.names import is_same_child

PHOTOS, NAMES = "photos", "names"
_UNFINISHED = "to be written anew"

# All that know of students, charts or returns; those that others refer to come last.
_TABLES = (
    "spot_answer",
    "spot_box",
    "spot_check",
    "answer",
    "reading",
    "copy",
    "page",
    "return",
    "chart",
    "layout",
    "student",
)
_NEVER_READ = "It was removed with `daybox forget` before it was read."
_ANOTHERS = "X"  # the name on a chart whose id passed to another child: nobody's, and not the new child's


def forgotten(ledger: Ledger) -> Mapping[str, datetime]:
    """When the pictures (PHOTOS) and the names (NAMES) of this challenge were removed last, if they were."""
    rows = ledger.rows("SELECT what, max(at) FROM forgotten WHERE what <> ? GROUP BY what", _UNFINISHED)
    return {what: datetime.fromisoformat(at) for what, at in rows}


def gone(ledger: Ledger) -> str:
    """What was removed, in a sentence; "" if nothing was."""
    at = forgotten(ledger)
    what = "names and the pictures" if NAMES in at else "pictures"
    day = at.get(NAMES) or at.get(PHOTOS)
    return f"The {what} were removed on {day:%Y-%m-%d} with `daybox forget`." if day else ""


def refuse_nameless(ledger: Ledger) -> None:
    """Raises LedgerError if the names are gone: no chart can be printed for anybody or be anybody's."""
    if NAMES in forgotten(ledger):
        raise LedgerError(
            f"{gone(ledger)} So charts can neither be printed nor taken in here any more. Start the next "
            "month with `daybox new`."
        )


def is_unfinished(ledger: Ledger) -> bool:
    """Whether something was deleted that the file may still hold."""
    return bool(ledger.rows("SELECT 1 FROM forgotten WHERE what = ?", _UNFINISHED))


def finish(ledger: Ledger) -> None:
    """Write the file anew without what was deleted. Raises LedgerError while another command uses it."""
    ledger.compact()
    with ledger.writing() as db:
        db.execute("DELETE FROM forgotten WHERE what = ?", (_UNFINISHED,))


def forget_photos(ledger: Ledger) -> None:
    """Forget every picture in the ledger, and which belongs to which page; the files are the caller's.

    What was not read yet can no longer be.
    """
    with ledger.writing() as db:
        _begin(db, PHOTOS)
        _drop_pictures(db)


def forget_everything(ledger: Ledger) -> None:
    """Empty every table that knows of students, charts or returns."""
    with ledger.writing() as db:
        _begin(db)
        for table in _TABLES:
            db.execute(f"DELETE FROM {table}")


def _begin(db: Connection, *what: str) -> None:
    """Within the transaction, so that it is noted if and only if it happens."""
    db.execute("PRAGMA secure_delete = ON")  # zeros, not only a mark, over what is deleted
    now = datetime.now().isoformat(timespec="seconds")
    db.executemany("INSERT INTO forgotten VALUES (?, ?)", [(now, each) for each in (*what, _UNFINISHED)])


def _drop_pictures(db: Connection) -> None:
    db.execute("UPDATE page SET picture = ''")
    db.execute("UPDATE answer SET shown = x''")
    db.execute("UPDATE spot_answer SET shown = x''")
    db.execute(
        "UPDATE return SET state = ?, note = ? WHERE state = ?",
        (ReturnState.REFUSED, _NEVER_READ, ReturnState.WAITING),
    )


# -- names --------------------------------------------------------------------------------------------


def forget_names(ledger: Ledger, owners: Mapping[int, str], section_name: Callable[[str], str]) -> None:
    """Give every student a number for a name, in random order. The pictures go as well.

    owners: by page id, the student whom only a name on the page or in a path tells; kept as an answer.
    section_name: a section's name as it is to be from now on.
    """
    with ledger.writing() as db:
        _begin(db, PHOTOS, NAMES)
        db.execute("PRAGMA defer_foreign_keys = ON")  # ids change in one table after the other
        _drop_pictures(db)
        names = {
            student_id: f"{first} {last}".strip()
            for student_id, first, last in db.execute("SELECT id, first_name, last_name FROM student")
        }
        ids = _number_students(db, section_name)
        codes = _recode_charts(db, ids, names)
        _strip_returns(db)
        _strip_pages(db, ids, codes)
        _strip_answers(db, ids)
        at = datetime.now().isoformat(timespec="milliseconds")
        db.executemany(
            "INSERT INTO answer (at, student_id, box, page_id, answer, before, why, by, shown) "
            "VALUES (?, '', 'chart', ?, ?, '', '', 'prompt', x'')",
            [(at, page_id, ids[owner]) for page_id, owner in owners.items()],
        )


def _number_students(db: Connection, section_name: Callable[[str], str]) -> dict[str, str]:
    """New ids by old ones."""
    rows = db.execute("SELECT id, section FROM student").fetchall()
    secrets.SystemRandom().shuffle(rows)  # the roster's order would tell who is who
    taken = {old for old, _ in rows}  # it may be a school that numbers so, or the second time
    free = (new for number in range(1, 2 * len(rows) + 1) if (new := f"N{number:03}") not in taken)
    ids = {}
    for place, (old, section) in enumerate(rows):
        ids[old] = new = next(free)
        db.execute(
            "UPDATE student SET id = ?, place = ?, first_name = 'Student', last_name = ?, section = ?, "
            "extra = '{}', left_at = substr(left_at, 1, 10) WHERE id = ?",
            (new, place, new, section_name(section), old),
        )
    return ids


def _recode_charts(db: Connection, ids: Mapping[str, str], names: Mapping[str, str]) -> dict[str, str]:
    """New codes by old ones: families may still have the paper."""
    codes: dict[str, str] = {}
    charts = db.execute("SELECT code, student_id, name FROM chart").fetchall()
    for old, student_id, name in charts:
        codes[old] = new = new_code({*codes, *codes.values()})
        # A chart that is asked about, since the id is another child's now, must go on being asked about.
        stays = student_id is None or is_same_child(name, names[student_id])
        db.execute(
            "UPDATE chart SET code = ?, student_id = ?, name = ? WHERE code = ?",
            (new, ids.get(student_id), "" if stays else _ANOTHERS, old),
        )
    return codes


def _strip_returns(db: Connection) -> None:
    """No paths and no hashes, by which somebody who has the photo could find it; of times only the day."""
    for (return_id,) in db.execute("SELECT id FROM return").fetchall():
        db.execute(
            "UPDATE return SET path = ?, sha256 = ?, note = '', dated = substr(dated, 1, 10) || 'T12:00:00', "
            "taken = substr(taken, 1, 10) || 'T12:00:00' WHERE id = ?",
            (f"return {_letters(return_id)}", secrets.token_hex(32), return_id),
        )
    for return_id, path in db.execute("SELECT return_id, path FROM copy").fetchall():
        db.execute(
            "UPDATE copy SET path = ? WHERE return_id = ? AND path = ?",
            (f"copy {secrets.token_hex(4)}", return_id, path),
        )


def _strip_pages(db: Connection, ids: Mapping[str, str], codes: dict[str, str]) -> None:
    for page_id, code, guess in db.execute("SELECT id, code, guess FROM page").fetchall():
        if code and code not in codes:  # never printed here
            codes[code] = new_code({*codes, *codes.values()})
        db.execute(
            "UPDATE page SET code = ?, written_name = '', guess = ? WHERE id = ?",
            (codes.get(code), ids.get(guess, ""), page_id),
        )
    for return_id, path, guess in db.execute("SELECT return_id, path, guess FROM copy").fetchall():
        db.execute(
            "UPDATE copy SET guess = ? WHERE return_id = ? AND path = ?",
            (ids.get(guess, ""), return_id, path),
        )


def _strip_answers(db: Connection, ids: Mapping[str, str]) -> None:
    """Words that people wrote go; an id that a question about a page was answered with is a new one."""
    rows = db.execute("SELECT id, student_id, box, answer, before, why FROM answer").fetchall()
    for answer_id, student_id, box, answer, before, why in rows:
        if student_id and student_id not in ids:
            db.execute("DELETE FROM answer WHERE id = ?", (answer_id,))
            continue
        if box == "chart":
            answer, before = ids.get(answer, answer), ids.get(before, before)
        db.execute(
            "UPDATE answer SET student_id = ?, answer = ?, before = ?, why = ?, reason = '' WHERE id = ?",
            (ids.get(student_id, ""), answer, before, TAKEN_BACK if why == TAKEN_BACK else "", answer_id),
        )
    for (student_id,) in db.execute("SELECT DISTINCT student_id FROM spot_box").fetchall():
        db.execute(
            "UPDATE spot_box SET student_id = ? WHERE student_id = ?", (ids.get(student_id, ""), student_id)
        )


def _letters(number: int) -> str:
    """1 is A, 27 is AA: a path must not look like anybody's number."""
    text = ""
    while number:
        number, digit = divmod(number - 1, 26)
        text = chr(ord("A") + digit) + text
    return text


# -- one student --------------------------------------------------------------------------------------


def forget_student(
    ledger: Ledger,
    student_id: str,
    pages: Collection[int],
    returns: Collection[int],
    says: Callable[[str], bool],
) -> None:
    """Forget one student and all that is theirs.

    pages: the ids of theirs. returns: of files that hold nothing else. says: whether a text that people
    wrote, or a path, means the student.
    """
    with ledger.writing() as db:
        _begin(db)
        for page_id in pages:
            _drop_spot_boxes(db, "page_id", page_id)
            db.execute("DELETE FROM answer WHERE page_id = ?", (page_id,))
            db.execute("DELETE FROM reading WHERE page_id = ?", (page_id,))
            db.execute("DELETE FROM page WHERE id = ?", (page_id,))
        _drop_spot_boxes(db, "student_id", student_id)
        db.execute("DELETE FROM answer WHERE student_id = ?", (student_id,))
        db.execute("DELETE FROM answer WHERE box = 'chart' AND answer = ?", (student_id,))
        db.execute("UPDATE answer SET before = '' WHERE box = 'chart' AND before = ?", (student_id,))
        for return_id in returns:
            db.execute("DELETE FROM copy WHERE return_id = ?", (return_id,))
            db.execute("DELETE FROM return WHERE id = ?", (return_id,))
        db.execute("DELETE FROM copy WHERE guess = ?", (student_id,))
        db.execute("UPDATE page SET guess = '', guess_score = 0 WHERE guess = ?", (student_id,))
        db.execute("DELETE FROM chart WHERE student_id = ?", (student_id,))
        db.execute("DELETE FROM student WHERE id = ?", (student_id,))
        _strip_words(db, says)


def _drop_spot_boxes(db: Connection, column: str, value: int | str) -> None:
    rows = db.execute(f"SELECT spot_check_id, place FROM spot_box WHERE {column} = ?", (value,)).fetchall()
    db.executemany("DELETE FROM spot_answer WHERE spot_check_id = ? AND place = ?", rows)
    db.executemany("DELETE FROM spot_box WHERE spot_check_id = ? AND place = ?", rows)


def _strip_words(db: Connection, says: Callable[[str], bool]) -> None:
    """What is left of others, but speaks of the student: a photo of two charts, a reason, a note."""
    for return_id, path, note in db.execute("SELECT id, path, note FROM return").fetchall():
        if says(path):
            db.execute(
                "UPDATE return SET path = ? WHERE id = ?", (f"return {_letters(return_id)}", return_id)
            )
        if says(note):
            db.execute("UPDATE return SET note = '' WHERE id = ?", (return_id,))
    for return_id, path in db.execute("SELECT return_id, path FROM copy").fetchall():
        if says(path):
            db.execute("DELETE FROM copy WHERE return_id = ? AND path = ?", (return_id, path))
    for table, column in (
        ("answer", "why"),
        ("answer", "reason"),
        ("page", "written_name"),
        ("page", "problem"),
    ):
        for row_id, text in db.execute(f"SELECT id, {column} FROM {table} WHERE {column} <> ''").fetchall():
            if says(text):
                db.execute(f"UPDATE {table} SET {column} = '' WHERE id = ?", (row_id,))
