"""Taking children's data out of the ledger, so that nothing of it is left in the file.

Each is one transaction, which notes as well that the file must still be written anew; `finish` does that.
What is stopped between the two, the next one finishes.
"""

import secrets
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
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


@dataclass(frozen=True, slots=True)
class Known:
    """What can be told of pages and returns only while there are names, and must outlast them.

    whose: by page id, the student, where one is known. told: the same, of those pages alone whose owner a
    name on the page or in a path tells; it is kept as an answer. undated: returns whose time says nothing.
    """

    whose: Mapping[int, str]
    told: Mapping[int, str]
    undated: Collection[int]


def forget_names(ledger: Ledger, known: Known, section_name: Callable[[str], str]) -> None:
    """Give every student a number for a name, and the pictures go as well.

    Nothing is left in an order, or with a time of day, that follows from names: rosters and zips are in the
    order of the alphabet. What is one student's keeps its own order.
    section_name: a section's name as it is to be from now on.
    """
    with ledger.writing() as db:
        _begin(db, PHOTOS, NAMES)
        db.execute("PRAGMA defer_foreign_keys = ON")  # ids change in one table after the other
        _drop_pictures(db)
        at = datetime.now().isoformat(timespec="milliseconds")
        db.executemany(
            "INSERT INTO answer (at, student_id, box, page_id, answer, before, why, by, shown) "
            "VALUES (?, '', 'chart', ?, ?, '', '', 'prompt', x'')",
            [(at, page_id, owner) for page_id, owner in known.told.items()],
        )
        groups = _groups(db, known.whose)
        _blur_times(db, groups, known.undated)
        _renumber(db, groups)
        ids = _number_students(db, section_name)
        codes = _recode_charts(db)
        _strip_returns(db)
        _strip_pages(db, ids, codes)
        _strip_answers(db, ids)


_Rows = Mapping[str, Mapping[int, int]]  # of the tables "return", "page", "answer": what belongs to which row


def _groups(db: Connection, whose: Mapping[int, str]) -> _Rows:
    """By table and id, a number for all that is one student's, or of students who share a photo."""
    shared: dict[int, set[str]] = {}
    for page_id, return_id in db.execute("SELECT id, return_id FROM page"):
        shared.setdefault(return_id, set()).update({whose[page_id]} if page_id in whose else ())
    group_of: dict[str, int] = {}
    for number, owners in enumerate(shared.values()):
        joined = {group_of[owner] for owner in owners if owner in group_of}
        group_of |= {owner: number for owner, group in group_of.items() if group in joined}
        group_of |= dict.fromkeys(owners, number)
    alone = iter(range(len(shared), 1_000_000_000))  # for what is nobody's
    rows: dict[str, dict[int, int]] = {"return": {}, "page": {}, "answer": {}}
    for (return_id,) in db.execute("SELECT id FROM return").fetchall():
        owner = min(shared.get(return_id, set()), default="")
        rows["return"][return_id] = group_of[owner] if owner else next(alone)
    for page_id, return_id in db.execute("SELECT id, return_id FROM page"):
        rows["page"][page_id] = rows["return"][return_id]
    for answer_id, student_id, page_id in db.execute("SELECT id, student_id, page_id FROM answer"):
        if student_id and student_id not in group_of:
            group_of[student_id] = next(alone)
        rows["answer"][answer_id] = (
            group_of[student_id] if student_id else rows["page"].get(page_id, -1 - answer_id)
        )
    return rows


def _blur_times(db: Connection, groups: _Rows, undated: Collection[int]) -> None:
    """Of every time the day stays, and within a group what came before what."""
    moments: dict[int, set[str]] = {}
    returns = db.execute("SELECT id, dated, taken, collected_at FROM return").fetchall()
    answers = db.execute("SELECT id, at FROM answer").fetchall()
    for return_id, dated, _, collected in returns:
        moments.setdefault(groups["return"][return_id], set()).update({dated or collected, collected})
    for answer_id, at in answers:
        moments.setdefault(groups["answer"][answer_id], set()).add(at)
    places = {group: {at: place for place, at in enumerate(sorted(each))} for group, each in moments.items()}

    def blurred(at: str | None, group: int) -> str | None:
        return at and f"{at[:10]}T12:00:00.{places[group].get(at, 0):03}"

    for return_id, dated, taken, collected in returns:
        group = groups["return"][return_id]
        dated = None if return_id in undated else blurred(dated, group)
        db.execute(
            "UPDATE return SET dated = ?, taken = ?, collected_at = ? WHERE id = ?",
            (dated, blurred(taken, group), blurred(collected, group), return_id),
        )
    db.executemany(
        "UPDATE answer SET at = ? WHERE id = ?",
        [(blurred(at, groups["answer"][answer_id]), answer_id) for answer_id, at in answers],
    )


def _renumber(db: Connection, groups: _Rows) -> None:
    """New ids for returns, pages and answers, the groups in random order."""
    every = list({group for table in groups.values() for group in table.values()})
    secrets.SystemRandom().shuffle(every)
    order = {group: place for place, group in enumerate(every)}
    new = {table: _places(of, order) for table, of in groups.items()}
    # An answer may be about a page that is gone: its number must not become another page's.
    for table in ("answer", "spot_box"):
        for (page_id,) in db.execute(f"SELECT DISTINCT page_id FROM {table} WHERE page_id IS NOT NULL"):
            new["page"].setdefault(page_id, len(new["page"]) + 1)
    for table, column, of in (
        ("return", "id", "return"),
        ("page", "return_id", "return"),
        ("copy", "return_id", "return"),
        ("page", "id", "page"),
        ("reading", "page_id", "page"),
        ("answer", "page_id", "page"),
        ("spot_box", "page_id", "page"),
        ("answer", "id", "answer"),
    ):
        # By way of negative numbers, since the new one of one row is the old one of another.
        db.executemany(
            f"UPDATE {table} SET {column} = ? WHERE {column} = ?", [(-to, old) for old, to in new[of].items()]
        )
        db.execute(f"UPDATE {table} SET {column} = -{column} WHERE {column} < 0")


def _places(of: Mapping[int, int], order: Mapping[int, int]) -> dict[int, int]:
    """New ids by old ones, from 1: by group, and within a group as before."""
    every = sorted(of, key=lambda old: (order[of[old]], old))
    return {old: place for place, old in enumerate(every, start=1)}


def _number_students(db: Connection, section_name: Callable[[str], str]) -> dict[str, str]:
    """New ids by old ones. Rows are written anew, since a table keeps the order in which they came."""
    rows = db.execute("SELECT id, section, left_at FROM student").fetchall()
    secrets.SystemRandom().shuffle(rows)
    taken = {old for old, _, _ in rows}  # it may be a school that numbers so, or the second time
    free = (new for number in range(1, 2 * len(rows) + 1) if (new := f"N{number:03}") not in taken)
    db.execute("UPDATE chart SET name = '' WHERE student_id IS NULL")
    ids = {}
    for place, (old, section, left_at) in enumerate(rows):
        ids[old] = new = next(free)
        name = " ".join(
            db.execute("SELECT first_name, last_name FROM student WHERE id = ?", (old,)).fetchone()
        )
        for code, printed in db.execute(
            "SELECT code, name FROM chart WHERE student_id = ?", (old,)
        ).fetchall():
            # A chart that is asked about, since the id is another child's now, must go on being asked about.
            printed = "" if is_same_child(printed, name.strip()) else _ANOTHERS
            db.execute("UPDATE chart SET student_id = ?, name = ? WHERE code = ?", (new, printed, code))
        db.execute("DELETE FROM student WHERE id = ?", (old,))
        db.execute(
            "INSERT INTO student VALUES (?, ?, 'Student', ?, ?, '{}', ?)",
            (new, place, new, section_name(section), left_at[:10]),
        )
    return ids


def _recode_charts(db: Connection) -> dict[str, str]:
    """New codes by old ones, in random order: families may still have the paper."""
    charts = db.execute("SELECT code, student_id, layout, name FROM chart").fetchall()
    secrets.SystemRandom().shuffle(charts)
    db.execute("DELETE FROM chart")
    codes: dict[str, str] = {}
    for old, student_id, layout, name in charts:
        codes[old] = new_code({*codes, *codes.values()})
        db.execute(
            "INSERT INTO chart (code, student_id, layout, name) VALUES (?, ?, ?, ?)",
            (codes[old], student_id, layout, name),
        )
    return codes


def _strip_returns(db: Connection) -> None:
    """No paths and no hashes, by which somebody who has the photo could find it."""
    for (return_id,) in db.execute("SELECT id FROM return").fetchall():
        # In a folder of its own: times that many files of one folder share would say nothing.
        path = f"return {_letters(return_id)}/return {_letters(return_id)}"
        db.execute(
            "UPDATE return SET path = ?, sha256 = ?, note = '' WHERE id = ?",
            (path, secrets.token_hex(32), return_id),
        )
    for return_id, path in db.execute("SELECT return_id, path FROM copy").fetchall():
        db.execute(
            "UPDATE copy SET path = ?, collected_at = '' WHERE return_id = ? AND path = ?",
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
    undated: Collection[int],
    says: Callable[[str], bool],
) -> None:
    """Forget one student and all that is theirs.

    pages: the ids of theirs. returns: of files that hold nothing else. undated: returns of which it is known
    only beside the student's that their time says nothing. says: whether a text that people
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
        db.executemany("UPDATE return SET dated = NULL WHERE id = ?", [(each,) for each in undated])
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
