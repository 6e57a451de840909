"""What is kept is found again; what is half done when the program is killed is not."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from textwrap import dedent
from typing import Any

import numpy as np
import pytest
from factories import hand_in, layout, october, page_reading, reading, readings, stock, students

from ingest.errors import LedgerError
from ingest.ledger.records import ChartRecord, CopyRecord, NewPage, ReturnState
from ingest.ledger.store import FILE_NAME, Ledger
from ingest.plan.roster import Student
from ingest.reading.values import BoxReading, Candidate

JPEG = b"\xff\xd8 a picture \xff\xd9"


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    with Ledger.open(tmp_path) as opened:
        yield opened


# -- the roster and the charts ------------------------------------------------------------------------


def test_students_come_back_in_roster_order_with_their_other_columns(ledger: Ledger) -> None:
    roster = (
        Student("S9", "Zoë", "O’Neill-Łukasz", "Flutes", {"email": "", "instrument": "flute"}),
        Student("S1", "美咲", "田中", "Drums"),
    )
    ledger.sync_roster(roster)
    assert ledger.students() == roster
    assert list(ledger.students()[0].extra) == ["email", "instrument"]


def test_who_is_gone_from_the_roster_is_kept_apart_and_may_come_back(ledger: Ledger) -> None:
    ana, ben, cleo = students(3)
    ledger.sync_roster((ana, ben, cleo))
    ledger.sync_roster((cleo, ana))
    assert ledger.students() == (cleo, ana)
    assert ledger.former_students() == (ben,)
    moved = replace(ben, section="Drums")
    ledger.sync_roster((moved, ana))
    assert ledger.students() == (moved, ana)
    assert ledger.former_students() == (cleo,)


def test_a_layout_is_kept_once_whatever_it_is_called_by(ledger: Ledger) -> None:
    key = ledger.add_layout(layout())
    other = ledger.add_layout(replace(layout(), design="color-in"))
    assert ledger.add_layout(layout()) == key != other
    assert ledger.layouts() == {key: layout(), other: replace(layout(), design="color-in")}


def test_printed_charts_stay_as_they_are(ledger: Ledger) -> None:
    key = stock(ledger, students(2))
    known = ledger.charts()
    assert [chart.code for chart in known] == ["K001", "K002", "X001"]
    ledger.add_charts([*known, ChartRecord("X002", None, key)])
    assert [chart.code for chart in ledger.charts()] == ["K001", "K002", "X001", "X002"]
    with pytest.raises(LedgerError, match="K001 was already printed"):
        ledger.add_charts([ChartRecord("X003", None, key), ChartRecord("K001", "S002", key)])
    assert len(ledger.charts()) == 4


def test_a_chart_keeps_the_name_that_was_printed_last(ledger: Ledger) -> None:
    key = stock(ledger, students(1))
    assert [chart.name for chart in ledger.charts()] == ["", ""]
    for name in ("Anna One", "Ana One"):
        ledger.add_charts([ChartRecord("K001", "S001", key, name)])
        assert ledger.charts()[0] == ChartRecord("K001", "S001", key, name)


# -- returns and pages --------------------------------------------------------------------------------


def test_the_same_bytes_are_taken_once(ledger: Ledger) -> None:
    first = ledger.add_return("a.zip/1.jpg", "aa", datetime(2027, 10, 31, 18, 5))
    assert first is not None
    assert ledger.add_return("b.zip/again.jpg", "aa", None) is None
    second = ledger.add_return("b.zip/2.jpg", "bb", None)
    assert second is not None
    assert [(r.id, r.path, r.dated) for r in ledger.waiting()] == [
        (first, "a.zip/1.jpg", datetime(2027, 10, 31, 18, 5)),
        (second, "b.zip/2.jpg", None),
    ]
    assert ledger.original(ledger.waiting()[0]) == ledger.folder / "originals" / "aa"


def test_the_same_bytes_under_another_name_are_noted_once(ledger: Ledger) -> None:
    first = ledger.add_return("a.zip/1.jpg", "aa", None)
    assert first is not None
    ledger.add_copy("a.zip/1.jpg", "aa")  # its own name
    ledger.add_copy("b.zip/Ben Two/1.jpg", "aa", "S002", 100.0)
    ledger.add_copy("b.zip/Ben Two/1.jpg", "aa", "S002", 100.0)
    ledger.add_copy("c.zip/1.jpg", "unknown")
    assert ledger.copies() == (CopyRecord(first, "b.zip/Ben Two/1.jpg", "S002", 100.0),)


def test_when_a_photo_was_taken_is_kept_with_its_pages(ledger: Ledger) -> None:
    return_id = ledger.add_return("1.jpg", "aa", None)
    assert return_id is not None
    assert ledger.returns()[0].taken is None
    moment = datetime(2027, 10, 30, 17, 4, 9)
    ledger.finish_return(return_id, (), ReturnState.DONE, taken=moment)
    assert ledger.returns()[0].taken == moment


def test_what_holds_nothing_to_read_never_waits(ledger: Ledger) -> None:
    assert ledger.add_return("a.zip/note.txt", "aa", None, "This is a text.") is not None
    (kept,) = ledger.returns()
    assert (kept.state, kept.note) == (ReturnState.REFUSED, "This is a text.")
    assert ledger.waiting() == ()


def test_times_with_a_zone_are_kept_as_local_time(ledger: Ledger) -> None:
    moment = datetime(2027, 10, 31, 12, tzinfo=UTC)
    ledger.add_return("1.jpg", "aa", moment)
    dated = ledger.returns()[0].dated
    assert dated is not None
    assert dated.tzinfo is None
    assert dated.astimezone(UTC) == moment


def test_pages_come_back_as_they_were_read(ledger: Ledger) -> None:
    stock(ledger, students(1))
    key = next(iter(ledger.layouts()))
    boxes = (
        reading("day:2027-10-01", ((45, 0.75), (None, 0.125), ("?", 0.0625))),
        reading("week:1", None),
    )
    found = page_reading(boxes, flat_jpeg=JPEG, residual_mm=0.25, tags_seen=7, written_name="Ana", layout=key)
    return_id = ledger.add_return("1.pdf", "aa", None)
    assert return_id is not None
    new = [NewPage(2, "no chart on it", None), NewPage(1, "", found, "S001", 87.5)]
    ledger.finish_return(return_id, new, ReturnState.DONE, "one page is no chart")

    first, second = ledger.pages()
    assert first.readings == boxes
    assert (first.number, first.code, first.code_challenge, first.code_source) == (
        1,
        "K001",
        "2027-10",
        "qr",
    )
    assert (first.residual_mm, first.tags_seen, first.written_name) == (0.25, 7, "Ana")
    assert (first.layout, first.guess, first.guess_score) == (key, "S001", 87.5)
    assert (second.number, second.problem, second.layout, second.readings) == (2, "no chart on it", None, ())
    picture = ledger.page_picture(first.id)
    assert picture is not None
    assert picture.read_bytes() == JPEG
    assert ledger.page_picture(second.id) is None
    assert ledger.waiting() == ()
    assert ledger.returns()[0].note == "one page is no chart"


def test_a_return_that_is_read_again_keeps_its_pages_numbers(ledger: Ledger) -> None:
    """Answers about a page stand when the page is read better later."""
    stock(ledger, students(1))
    month = readings(october())
    return_id = hand_in(
        ledger, [page_reading(month, flat_jpeg=b"old"), page_reading(month, flat_jpeg=b"two")]
    )
    old = ledger.pages()
    ledger.finish_return(
        return_id, [NewPage(1, "", page_reading(month[:3], flat_jpeg=b"new"))], ReturnState.DONE
    )
    (new,) = ledger.pages()
    assert new.id == old[0].id
    assert new.readings == month[:3]
    assert [path.read_bytes() for path in (ledger.folder / "pages").iterdir()] == [b"new"]
    with pytest.raises(KeyError):
        ledger.page_picture(old[1].id)


def test_numbers_of_other_libraries_are_taken(ledger: Ledger) -> None:
    stock(ledger, students(1))
    seven: Any = np.int64(7)
    share: Any = np.float32(0.5)
    boxes = [BoxReading("month", (Candidate(seven, "7", share),), share)]
    hand_in(ledger, [page_reading(boxes, residual_mm=np.float32(0.5), tags_seen=np.int64(8))])
    assert ledger.pages()[0].readings[0].candidates == (Candidate(7, "7", 0.5),)


def test_a_return_that_cannot_be_kept_changes_nothing(ledger: Ledger) -> None:
    stock(ledger, students(1))
    return_id = hand_in(ledger, [page_reading(readings(october()), flat_jpeg=b"old")])
    before = ledger.pages()
    (ledger.folder / "pages").rename(ledger.folder / "elsewhere")
    (ledger.folder / "pages").write_text("a file where a folder should be")
    with pytest.raises(LedgerError, match="cannot be written"):
        ledger.finish_return(
            return_id, [NewPage(1, "", page_reading((), flat_jpeg=b"new"))], ReturnState.DONE
        )
    assert ledger.pages() == before


def test_pictures_that_no_page_has_are_swept(ledger: Ledger) -> None:
    assert ledger.sweep() == 0
    stock(ledger, students(1))
    hand_in(ledger, [page_reading(readings(october()), flat_jpeg=JPEG)])
    kept = set((ledger.folder / "pages").iterdir())
    (ledger.folder / "pages" / "9-1-deadbeef.jpg").write_bytes(b"of a page that was never kept")
    (ledger.folder / "pages" / "9-1-deadbeef.jpg.part").write_bytes(b"half a pict")
    assert ledger.sweep() == 2
    assert set((ledger.folder / "pages").iterdir()) == kept


# -- answers ------------------------------------------------------------------------------------------


def test_every_answer_is_kept_with_what_was_shown(ledger: Ledger) -> None:
    before = datetime.now()
    first = ledger.answer(
        "S001", "day:2027-10-01", "25", page_id=7, before="75", why="Unsure.", by="sheet", shown=b"PNG"
    )
    ledger.answer("S001", "day:2027-10-01", "blank", page_id=7, before="25")
    kept, later = ledger.answers()
    assert kept == first
    assert (kept.student_id, kept.box, kept.page_id, kept.answer) == ("S001", "day:2027-10-01", 7, "25")
    assert (kept.before, kept.why, kept.by, kept.shown) == ("75", "Unsure.", "sheet", b"PNG")
    assert abs(kept.at - before).total_seconds() < 60
    assert (later.answer, later.by) == ("blank", "prompt")
    assert [answer.shown for answer in ledger.answers(pictures=False)] == [b"", b""]


def test_taking_back_opens_the_question_or_restores_the_earlier_answer(ledger: Ledger) -> None:
    box = "day:2027-10-01"
    first = ledger.answer("S001", box, "25", reason="Slip")
    ledger.answer("S002", box, "99")  # about somebody else
    second = ledger.answer("S001", box, "30")
    restored = ledger.take_back(second.id)
    assert (restored.answer, restored.before, restored.at) == ("25", "30", first.at)
    assert (second.reason, restored.reason) == ("", "Slip")
    assert ledger.take_back(first.id).answer == ""
    assert len(ledger.answers()) == 5
    with pytest.raises(KeyError):
        ledger.take_back(999)


def test_answers_about_pages_are_told_apart_by_the_page(ledger: Ledger) -> None:
    ledger.answer("", "chart", "S001", page_id=1)
    other = ledger.answer("", "chart", "S002", page_id=2)
    assert ledger.take_back(other.id).answer == ""


# -- two at a time, and killed ------------------------------------------------------------------------


def test_a_snapshot_does_not_see_what_others_write_meanwhile(tmp_path: Path, ledger: Ledger) -> None:
    with ledger.snapshot():
        assert ledger.answers() == ()
        with ledger.snapshot():  # within another
            assert ledger.pages() == ()
    with Ledger.open(tmp_path) as other:
        other.answer("S001", "month", "1")
    assert len(ledger.answers()) == 1


def test_no_journal_is_left_beside_the_ledger_between_commands(ledger: Ledger) -> None:
    """So that a copy of the one file is a copy of everything."""
    ledger.answer("S001", "month", "1")
    assert [path.name for path in ledger.folder.iterdir()] == [FILE_NAME]


BUSY = """
    import sys
    from pathlib import Path
    from ingest.ledger.records import NewPage, ReturnState
    from ingest.ledger.store import Ledger
    from factories import october, page_reading, readings

    month = readings(october())
    with Ledger.open(Path(sys.argv[1])) as ledger:
        n = len(ledger.answers())
        while True:
            n += 1
            ledger.answer("S001", f"n:{n}", str(n), shown=bytes(20_000))
            print("answer", n, flush=True)
            return_id = ledger.add_return(f"{n}.jpg", f"sha-{n}", None)
            jpeg = str(n).encode() * 50_000
            found = page_reading(month, flat_jpeg=jpeg)
            ledger.finish_return(return_id, [NewPage(p, "", found) for p in (1, 2)], ReturnState.DONE)
            print("return", n, flush=True)
"""


def test_killed_at_any_moment_nothing_acknowledged_is_lost_and_nothing_is_half_kept(tmp_path: Path) -> None:
    said: set[tuple[str, int]] = set()
    for delay in (0.003, 0.011, 0.024, 0.047, 0.083):  # seconds after the first sign of life
        process = subprocess.Popen(
            [sys.executable, "-c", dedent(BUSY), str(tmp_path)],
            stdout=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).parent,  # where `factories` is
        )
        assert process.stdout is not None
        lines = [process.stdout.readline()]
        time.sleep(delay)
        os.kill(process.pid, signal.SIGKILL)
        lines += process.stdout.readlines()
        process.wait()
        process.stdout.close()
        said |= {(kind, int(n)) for kind, n in (line.split() for line in lines if line.endswith("\n"))}
        assert process.returncode == -signal.SIGKILL

        with Ledger.open(tmp_path) as ledger:
            answers = {("answer", int(answer.answer)) for answer in ledger.answers()}
            done = {r.id: r for r in ledger.returns() if r.state is ReturnState.DONE}
            returns = {("return", int(r.path.removesuffix(".jpg"))) for r in done.values()}
            assert said <= answers | returns
            pages = ledger.pages()
            assert {page.return_id for page in pages} == set(done)
            assert len(pages) == 2 * len(done)
            for page in pages:
                assert len(page.readings) == len(readings(october()))
                picture = ledger.page_picture(page.id)
                assert picture is not None
                number = done[page.return_id].path.removesuffix(".jpg")
                assert picture.read_bytes() == number.encode() * 50_000
            ledger.sweep()
            assert len(list((tmp_path / "pages").glob("*"))) == len(pages)
    assert {kind for kind, _ in said} == {"answer", "return"}
