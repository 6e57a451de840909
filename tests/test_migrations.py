"""The ledger's tables: steps in order, each whole or not at all, and files that are refused."""

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from ingest.errors import LedgerError
from ingest.ledger.schema import APPLICATION_ID, STEPS, Step, migrate, transaction
from ingest.ledger.store import FILE_NAME, Ledger

ONE = Step("1 one", ("CREATE TABLE one (a INTEGER)", "INSERT INTO one VALUES (1)"))
TWO = Step("2 two", ("CREATE TABLE two (a INTEGER)",))
BAD = Step("2 bad", ("CREATE TABLE two (a INTEGER)", "INSERT INTO nowhere VALUES (1)"))


@pytest.fixture
def db() -> Iterator[sqlite3.Connection]:
    connection = sqlite3.connect(":memory:", isolation_level=None)
    yield connection
    connection.close()


def tables(db: sqlite3.Connection) -> set[str]:
    return {name for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}


def test_missing_steps_are_applied_in_order_and_once(db: sqlite3.Connection) -> None:
    assert migrate(db, [ONE]) == ("1 one",)
    assert migrate(db, [ONE, TWO]) == ("2 two",)
    assert migrate(db, [ONE, TWO]) == ()
    assert db.execute("SELECT count(*) FROM one").fetchone() == (1,)


def test_a_step_that_fails_leaves_nothing_and_no_record(db: sqlite3.Connection) -> None:
    with pytest.raises(sqlite3.OperationalError):
        migrate(db, [ONE, BAD])
    assert tables(db) == {"migration", "one"}
    assert db.execute("SELECT name FROM migration").fetchall() == [("1 one",)]
    assert migrate(db, [ONE, TWO]) == ("2 two",)  # mended, it goes on from there


def test_a_transaction_rolls_tables_back_too(db: sqlite3.Connection) -> None:
    def interrupted() -> None:
        with transaction(db):
            db.execute("CREATE TABLE gone (a INTEGER)")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()
    assert tables(db) == set()
    assert not db.in_transaction


def test_an_up_to_date_ledger_is_opened_without_writing(tmp_path: Path) -> None:
    Ledger.open(tmp_path).close()
    before = (tmp_path / FILE_NAME).read_bytes()
    Ledger.open(tmp_path).close()
    assert (tmp_path / FILE_NAME).read_bytes() == before


def test_the_names_of_shipped_steps_do_not_change() -> None:
    assert [step.name for step in STEPS] == [
        "01 roster, charts, returns, answers",
        "02 the same file under other names, the name on a chart, when a photo was taken",
        "03 spot checks",
        "04 why a person changed a box",
        "05 what was forgotten",
    ]


def test_answers_of_a_ledger_from_before_reasons_were_kept_stand(tmp_path: Path) -> None:
    old = sqlite3.connect(tmp_path / FILE_NAME, isolation_level=None)
    migrate(old, [step for step in STEPS if step.name < "04"])
    old.execute(
        "INSERT INTO answer (at, student_id, box, page_id, answer, before, why, by, shown) "
        "VALUES ('2027-10-31T18:00:00.000', 'S001', 'day:2027-10-05', 1, '25', '20', '', 'prompt', x'')"
    )
    old.close()
    with Ledger.open(tmp_path) as ledger:
        (kept,) = ledger.answers()
        assert (kept.answer, kept.reason) == ("25", "")
        again = ledger.answer("S001", "day:2027-10-05", "30", before="25", reason="Slip: it was 30")
        assert ledger.answers()[-1] == again
        assert again.reason == "Slip: it was 30"


def test_the_file_says_what_it_is(tmp_path: Path) -> None:
    """SQLite file format, section 1.3: the application id stands at byte 68, big-endian."""
    Ledger.open(tmp_path).close()
    header = (tmp_path / FILE_NAME).read_bytes()[:100]
    assert int.from_bytes(header[68:72], "big") == APPLICATION_ID


# -- files that are refused ---------------------------------------------------------------------------


def test_a_newer_ledger_is_refused_and_left_alone(tmp_path: Path) -> None:
    Ledger.open(tmp_path).close()
    with sqlite3.connect(tmp_path / FILE_NAME) as db:
        db.execute("INSERT INTO migration VALUES ('99 from the future', '2031-01-01')")
    db.close()
    before = (tmp_path / FILE_NAME).read_bytes()
    with pytest.raises(LedgerError, match=r"newer Daybox .*99 from the future"):
        Ledger.open(tmp_path)
    assert (tmp_path / FILE_NAME).read_bytes() == before


def test_another_programs_database_is_refused(tmp_path: Path) -> None:
    db = sqlite3.connect(tmp_path / FILE_NAME)
    db.execute("CREATE TABLE photos (a)")
    db.close()
    with pytest.raises(LedgerError, match="some other program"):
        Ledger.open(tmp_path)


@pytest.mark.parametrize("content", [b"this is no database", b"SQLite format 3\x00" + b"\xff" * 4000])
def test_a_file_that_is_no_database_is_refused(tmp_path: Path, content: bytes) -> None:
    (tmp_path / FILE_NAME).write_bytes(content)
    with pytest.raises(LedgerError, match="damaged"):
        Ledger.open(tmp_path)


def test_a_damaged_ledger_is_refused_when_it_is_read(tmp_path: Path) -> None:
    Ledger.open(tmp_path).close()
    content = bytearray((tmp_path / FILE_NAME).read_bytes())
    content[4096:] = b"\xff" * (len(content) - 4096)  # all pages but the first, which lists the tables
    (tmp_path / FILE_NAME).write_bytes(content)
    with pytest.raises(LedgerError, match="damaged"), Ledger.open(tmp_path) as ledger:
        ledger.students()


def test_an_empty_file_left_by_a_killed_start_becomes_a_ledger(tmp_path: Path) -> None:
    (tmp_path / FILE_NAME).touch()
    with Ledger.open(tmp_path, create=False) as ledger:
        assert ledger.students() == ()


def test_asking_creates_no_ledger(tmp_path: Path) -> None:
    with pytest.raises(LedgerError, match="no ledger yet"):
        Ledger.open(tmp_path, create=False)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_does_not_exist_is_refused(tmp_path: Path) -> None:
    with pytest.raises(LedgerError, match="no folder"):
        Ledger.open(tmp_path / "nowhere")


def test_a_ledger_in_use_is_refused_in_plain_words(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ingest.ledger.store.BUSY_SECONDS", 0.05)
    Ledger.open(tmp_path).close()
    other = sqlite3.connect(tmp_path / FILE_NAME, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(LedgerError, match="in use"):
        Ledger.open(tmp_path)
    other.execute("ROLLBACK")
    other.close()
    Ledger.open(tmp_path).close()
