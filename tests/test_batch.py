"""Bulk import, with a reader that does as it is told: see `hostile.reader`."""

import io
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from hostile.making import page, pdf, picture, zipped
from hostile.reader import Tone, make_nothing, make_reader, told
from PIL import Image
from plain_chart import plain_layout

from ingest.cli import main
from ingest.collect import batch
from ingest.collect.batch import Summary, Unread
from ingest.errors import DayboxError
from ingest.ledger.records import ChartRecord, PageRecord, ReturnState
from ingest.ledger.store import Ledger
from ingest.plan.roster import Student

MARIA, KEVIN = Student("S001", "Maria", "Lopez", "Flutes"), Student("S002", "Kevin", "McDonald", "Horns")
CODE = "K7QF-3M2P"


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    folder = tmp_path / "challenge"
    folder.mkdir()
    with Ledger.open(folder) as ledger:
        prepare(ledger)
        yield ledger


def prepare(ledger: Ledger) -> None:
    ledger.sync_roster([MARIA, KEVIN])
    ledger.add_charts([ChartRecord(CODE, MARIA.id, ledger.add_layout(plain_layout()))])


@pytest.fixture
def pile(tmp_path: Path) -> Path:
    pile = tmp_path / "downloads"
    pile.mkdir()
    return pile


collect = partial(batch.collect, workers=1, make_reader=make_reader)  # a process takes most of a second


def states(ledger: Ledger) -> dict[str, ReturnState]:
    return {record.path: record.state for record in ledger.returns()}


def pages(ledger: Ledger) -> Mapping[str, Sequence[PageRecord]]:
    paths = {record.id: record.path for record in ledger.returns()}
    found: dict[str, list[PageRecord]] = {path: [] for path in paths.values()}
    for record in ledger.pages():
        found[paths[record.return_id]].append(record)
    return found


def test_pages_are_counted_on_where_several_charts_are_in_one_picture(ledger: Ledger, pile: Path) -> None:
    out = io.BytesIO()
    pictures = [Image.new("L", (400, 300), tone) for tone in (Tone.PAIR, Tone.READ, Tone.PAIR)]
    pictures[0].save(out, "TIFF", save_all=True, append_images=pictures[1:])
    (pile / "siblings.tif").write_bytes(out.getvalue())
    summary = collect(ledger, [pile])
    assert (summary.returns, summary.pages, summary.spoilt) == (1, 5, ())
    assert [page.number for page in ledger.pages()] == [1, 2, 3, 4, 5]


# -- what is kept -------------------------------------------------------------------------------------


def test_a_mixed_pile_ends_in_the_ledger(ledger: Ledger, pile: Path) -> None:
    entries = {
        "Maria Lopez/IMG_1.jpg": told(Tone.READ),
        "Kevin McDonald/chart.jpg": told(Tone.NO_CODE),
        "Kevin McDonald/again.jpg": told(Tone.NO_CODE),  # the same bytes
        "letter.docx": zipped({"[Content_Types].xml": b"x"}),
    }
    (pile / "october.zip").write_bytes(zipped(entries))
    (pile / "cat.jpg").write_bytes(told(Tone.NO_CHART))
    summary = collect(ledger, [pile])

    office = (
        "This is a document of an office program, not a picture or PDF. Save it as a PDF and collect that."
    )
    assert summary == Summary(
        files=5,
        known=1,
        returns=3,
        pages=2,
        ownerless=1,
        lost=(
            Unread("downloads/october.zip/letter.docx", None, office),
            Unread("downloads/cat.jpg", None, "There is no chart on this page."),
        ),
        spoilt=(),
    )
    assert states(ledger) == {
        "downloads/cat.jpg": ReturnState.DONE,
        "downloads/october.zip/Maria Lopez/IMG_1.jpg": ReturnState.DONE,
        "downloads/october.zip/Kevin McDonald/chart.jpg": ReturnState.DONE,
        "downloads/october.zip/letter.docx": ReturnState.REFUSED,
    }
    for record in ledger.returns():
        assert ledger.original(record).is_file()
    by_path = pages(ledger)
    (hers,) = by_path["downloads/october.zip/Maria Lopez/IMG_1.jpg"]
    (his,) = by_path["downloads/october.zip/Kevin McDonald/chart.jpg"]
    (cats,) = by_path["downloads/cat.jpg"]
    (layout,) = ledger.layouts()
    assert (hers.code, hers.guess, hers.layout, hers.problem) == (CODE, MARIA.id, layout, "")
    assert (his.code, his.guess, his.guess_score, his.layout) == (None, KEVIN.id, 100, layout)
    assert (cats.problem, cats.readings) == ("There is no chart on this page.", ())


def test_the_same_again_changes_nothing_and_reads_nothing(ledger: Ledger, pile: Path) -> None:
    (pile / "a.jpg").write_bytes(told(Tone.READ))
    (pile / "b.zip").write_bytes(zipped({"c.jpg": told(Tone.READ, 500)}))
    collect(ledger, [pile])
    before = ledger.returns(), ledger.pages(), sorted(ledger.folder.rglob("*"))
    again = batch.collect(ledger, [pile], make_reader=make_nothing)  # which would raise
    assert (again.files, again.known, again.returns, again.lost) == (2, 2, 0, ())
    assert before == (ledger.returns(), ledger.pages(), sorted(ledger.folder.rglob("*")))


def test_the_very_same_file_under_another_students_name_is_noted(ledger: Ledger, pile: Path) -> None:
    chart = told(Tone.READ)
    entries = {"Maria Lopez/1.jpg": chart, "Maria Lopez/2.jpg": chart, "Kevin McDonald/1.jpg": chart}
    (pile / "october.zip").write_bytes(zipped(entries))
    summary = collect(ledger, [pile])
    assert (summary.files, summary.known, summary.returns) == (3, 2, 1)
    (copy,) = ledger.copies()
    assert (copy.path, copy.guess) == ("downloads/october.zip/Kevin McDonald/1.jpg", KEVIN.id)
    collect(ledger, [pile])
    assert ledger.copies() == (copy,)


def test_when_a_photo_was_taken_is_kept(ledger: Ledger, pile: Path) -> None:
    tags = Image.Exif()
    tags.get_ifd(0x8769)[0x9003] = "2027:10:30 17:04:09"  # Exif 2.3: DateTimeOriginal
    (pile / "a.jpg").write_bytes(picture("JPEG", Image.new("L", (400, 300), int(Tone.READ)), exif=tags))
    (pile / "b.jpg").write_bytes(told(Tone.READ))
    collect(ledger, [pile])
    assert {record.path: record.taken for record in ledger.returns()} == {
        "downloads/a.jpg": datetime(2027, 10, 30, 17, 4, 9),
        "downloads/b.jpg": None,
    }


def test_every_page_of_a_document_is_read_and_bad_ones_are_told_apart(ledger: Ledger, pile: Path) -> None:
    tones = (Tone.READ, Tone.NO_CHART, Tone.STUMBLE, Tone.READ)
    images = [Image.new("L", (400, 300), int(tone)) for tone in tones]
    (pile / "class.tif").write_bytes(picture("TIFF", images[0], save_all=True, append_images=images[1:]))
    summary = collect(ledger, [pile / "class.tif"])
    assert (summary.returns, summary.pages, summary.lost) == (1, 2, ())
    assert [(unread.page, unread.why) for unread in summary.spoilt] == [
        (2, "There is no chart on this page."),
        (3, "Daybox stumbled over this page (ZeroDivisionError: by the reader)."),
    ]
    (found,) = pages(ledger).values()
    assert [(record.number, bool(record.readings)) for record in found] == [
        (1, True),
        (2, False),
        (3, False),
        (4, True),
    ]


def test_a_large_document_is_read_by_all_processes_together(
    ledger: Ledger, pile: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(batch, "SHARED_BYTES", 1)
    (pile / "scans.pdf").write_bytes(pdf(pages=5))
    (pile / "photo.jpg").write_bytes(told(Tone.READ))
    (pile / "broken.pdf").write_bytes(pdf(pages=2)[:-200])
    summary = collect(ledger, [pile], workers=2)
    assert (summary.returns, summary.pages) == (2, 6)
    assert [lost.path for lost in summary.lost] == ["downloads/broken.pdf"]
    assert [page.number for page in pages(ledger)["downloads/scans.pdf"]] == [1, 2, 3, 4, 5]
    assert states(ledger)["downloads/broken.pdf"] is ReturnState.REFUSED


def test_a_broken_off_picture_is_read_and_a_note_kept(ledger: Ledger, pile: Path) -> None:
    bright = picture("JPEG", page().point(lambda tone: Tone.READ - 10 + tone // 12))
    (pile / "cut.jpg").write_bytes(bright[: len(bright) * 2 // 3])
    summary = collect(ledger, [pile])
    assert "breaks off" in summary.spoilt[0].why
    assert "Page 1: This picture breaks off" in ledger.returns()[0].note
    assert pages(ledger)["downloads/cut.jpg"][0].problem == ""


def test_entries_without_bytes_have_one_record_too(ledger: Ledger, pile: Path) -> None:
    (pile / "link.jpg").symlink_to("/etc/passwd")
    for _ in range(2):
        summary = collect(ledger, [pile])
        assert [unread.path for unread in summary.lost] == ["downloads/link.jpg"]
    assert states(ledger) == {"downloads/link.jpg": ReturnState.REFUSED}


def test_returns_are_dated_and_guessed_by_what_is_collected(ledger: Ledger, pile: Path) -> None:
    (pile / "Maria Lopez.jpg").write_bytes(told(Tone.READ))
    when = datetime(2027, 11, 1, 8, 30)
    os.utime(pile / "Maria Lopez.jpg", (when.timestamp(), when.timestamp()))
    collect(ledger, [pile / "Maria Lopez.jpg"])
    (record,) = ledger.returns()
    assert (record.path, record.dated) == ("Maria Lopez.jpg", when)


def test_the_challenges_own_files_are_not_taken_for_returns(ledger: Ledger) -> None:
    folder = ledger.folder
    (folder / "charts.pdf").write_bytes(pdf())
    (folder / "charts.layout.json").write_text("{}", encoding="utf-8")
    (folder / "roster.csv").write_text("student_id", encoding="utf-8")
    (folder / "challenge.toml").write_text("", encoding="utf-8")
    (folder / "in.jpg").write_bytes(told(Tone.READ))
    assert collect(ledger, [folder]).files == 1
    assert collect(ledger, [folder.parent]).files == 1


def test_a_name_as_long_as_names_may_be_costs_nothing(ledger: Ledger, pile: Path) -> None:
    for name in ("a" * 251 + ".jpg", "ш" * 125 + ".jpg", "z.jpg"):  # at most 255 bytes
        (pile / name).write_bytes(told(Tone.READ, 400 + len(name)))
    summary = collect(ledger, [pile])
    assert (summary.files, summary.pages, summary.lost) == (3, 3, ())


# -- what goes wrong ----------------------------------------------------------------------------------


def test_a_missing_path_is_refused_before_anything_is_done(ledger: Ledger, pile: Path) -> None:
    (pile / "a.jpg").write_bytes(told(Tone.READ))
    with pytest.raises(DayboxError, match=r"gone\.zip: not there\. Nothing was collected"):
        collect(ledger, [pile, pile / "gone.zip"])
    assert ledger.returns() == ()
    assert not (ledger.folder / "originals").exists()


def test_without_printed_charts_nothing_is_collected(tmp_path: Path, pile: Path) -> None:
    with Ledger.open(tmp_path) as ledger, pytest.raises(DayboxError, match="daybox charts"):
        collect(ledger, [pile])


@pytest.mark.parametrize(("tone", "why"), [(Tone.CRASH, "stopped"), (Tone.HANG, "longer than 1 seconds")])
def test_a_process_that_dies_or_hangs_costs_its_own_file(
    tone: Tone, why: str, ledger: Ledger, pile: Path
) -> None:
    for number in range(6):
        (pile / f"{number}.jpg").write_bytes(told(tone if number == 2 else Tone.READ, 400 + number))
    summary = collect(ledger, [pile], workers=2, page_seconds=1.0)
    assert summary.returns == summary.pages == 5
    assert [unread.path for unread in summary.lost] == ["downloads/2.jpg"]
    assert why in summary.lost[0].why
    assert [path for path, state in states(ledger).items() if state != ReturnState.DONE] == [
        "downloads/2.jpg"
    ]


def test_what_was_refused_is_tried_again_when_handed_in_again(ledger: Ledger, pile: Path) -> None:
    """A computer without memory one day may have it the next."""
    (pile / "a.jpg").write_bytes(told(Tone.READ))
    collect(ledger, [pile])
    (record,) = ledger.returns()
    ledger.finish_return(record.id, (), ReturnState.REFUSED, "no memory")
    summary = collect(ledger, [pile])
    assert (summary.known, summary.returns, summary.lost) == (0, 1, ())
    assert states(ledger) == {"downloads/a.jpg": ReturnState.DONE}


def test_processes_that_cannot_start_end_the_run_and_lose_nothing(ledger: Ledger, pile: Path) -> None:
    (pile / "a.jpg").write_bytes(told(Tone.READ))
    with pytest.raises(DayboxError, match="cannot start"):
        batch.collect(ledger, [pile], make_reader=make_nothing)
    assert states(ledger) == {"downloads/a.jpg": ReturnState.WAITING}


def test_a_full_disk_is_told_and_leaves_no_half_file(
    ledger: Ledger, pile: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (pile / "a.jpg").write_bytes(told(Tone.READ))

    def full(*paths: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(DayboxError, match="No space left on device"):
        collect(ledger, [pile])
    assert list((ledger.folder / "originals").iterdir()) == []
    assert ledger.returns() == ()


def test_an_original_that_is_gone_is_told(ledger: Ledger, pile: Path) -> None:
    (pile / "a.jpg").write_bytes(told(Tone.READ))
    stop_at_reading(ledger, pile)
    shutil.rmtree(ledger.folder / "originals")
    pile = pile.with_name("nothing")
    pile.mkdir()
    summary = collect(ledger, [pile])
    assert "cannot be opened" in summary.lost[0].why


# -- stopped and run again ----------------------------------------------------------------------------


def stop_at_reading(ledger: Ledger, pile: Path, after: int = 0) -> None:
    def stop(what: str, done: int, total: int | None) -> None:
        if what == "Reading" and done >= after:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        collect(ledger, [pile], on_progress=stop)


def test_a_stopped_run_is_finished_from_the_originals(ledger: Ledger, pile: Path) -> None:
    for number in range(5):
        (pile / f"{number}.jpg").write_bytes(told(Tone.READ, 400 + number))
    stop_at_reading(ledger, pile, after=2)
    assert sorted(states(ledger).values()) == 2 * [ReturnState.DONE] + 3 * [ReturnState.WAITING]
    shutil.rmtree(pile)
    pile.mkdir()
    summary = collect(ledger, [pile])
    assert (summary.files, summary.returns, summary.pages) == (0, 3, 3)
    assert set(states(ledger).values()) == {ReturnState.DONE}


# A shell's background job is born deaf to Ctrl-C, and so are the tests in it and what they start.
_RUN = """
import signal
import sys
from pathlib import Path
from hostile.reader import make_reader
from ingest.collect.batch import collect
from ingest.ledger.store import Ledger

if __name__ == "__main__":
    signal.signal(signal.SIGINT, signal.default_int_handler)
    with Ledger.open(Path(sys.argv[1])) as ledger:
        collect(ledger, [Path(sys.argv[2])], workers=2, make_reader=make_reader)
"""


def test_killed_and_run_again_loses_nothing_and_doubles_nothing(
    ledger: Ledger, pile: Path, tmp_path: Path
) -> None:
    contents = [told(Tone.SLOW, 400 + number) for number in range(16)]
    (pile / "a.zip").write_bytes(zipped({f"{number}.jpg": data for number, data in enumerate(contents)}))
    script = tmp_path / "run.py"
    script.write_text(_RUN, encoding="utf-8")
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    command = [sys.executable, str(script), str(ledger.folder), str(pile)]
    for done in (0, 5):  # while taking in or starting, and in the midst of reading
        process = subprocess.Popen(command, env=environment, stderr=subprocess.PIPE)
        while len(ledger.returns()) == 0 or len(ledger.pages()) < done:
            time.sleep(0.02)
        process.kill()
        # Its helpers hold stderr open: this ends when they have noticed that their parent is gone. One that
        # Python itself is still starting then says so in its own way, before any of our code runs.
        talk = process.communicate(timeout=30)[1]
        assert b"Traceback" not in talk or b"spawn_main" in talk
        assert any(state == ReturnState.WAITING for state in states(ledger).values())
    subprocess.run(command, env=environment, check=True)
    assert len(ledger.returns()) == len(ledger.pages()) == 16
    assert set(states(ledger).values()) == {ReturnState.DONE}
    assert sorted(ledger.original(record).read_bytes() for record in ledger.returns()) == sorted(contents)


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGINT for one process")
@pytest.mark.parametrize("wait", [0.2, 1.0])
def test_ctrl_c_ends_the_helpers_without_noise(
    wait: float, ledger: Ledger, pile: Path, tmp_path: Path
) -> None:
    for number in range(40):
        (pile / f"{number}.jpg").write_bytes(told(Tone.SLOW, 400 + number))
    script = tmp_path / "run.py"
    script.write_text(_RUN, encoding="utf-8")
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    process = subprocess.Popen(
        [sys.executable, str(script), str(ledger.folder), str(pile)],
        env=environment,
        stderr=subprocess.PIPE,
        start_new_session=True,  # so that the signal reaches its whole group, as from a terminal
    )
    while not ledger.returns():  # helpers are being started then
        time.sleep(0.02)
    time.sleep(wait)
    os.killpg(process.pid, signal.SIGINT)
    _, talk = process.communicate(timeout=30)
    # one is this script's own; `ingest.cli` makes one line of it
    assert talk.count(b"Traceback") == 1, talk.decode()
    assert ReturnState.WAITING in states(ledger).values()


# -- the command --------------------------------------------------------------------------------------


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = tmp_path / "october"
    assert main(["new", str(folder), "--month", "2027-10"]) == 0
    (folder / "roster.csv").write_text(
        "student_id,first_name,last_name,section\nS001,Maria,Lopez,Flutes\n", encoding="utf-8"
    )
    return folder


def summing(summary: Summary) -> Callable[..., Summary]:
    def collect(*args: Any, **options: Any) -> Summary:
        return summary

    return collect


def test_command_says_plainly_what_was_done(
    folder: Path, pile: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    lost = (Unread("a.zip/x.mov", None, "This is a video, not a picture or PDF."),)
    spoilt = (Unread("class.pdf", 2, "There is no chart on this page."),)
    monkeypatch.setattr(batch, "collect", summing(Summary(6, 2, 3, 9, 1, lost, spoilt)))
    capsys.readouterr()
    assert main(["collect", str(pile), "--folder", str(folder)]) == 3
    assert capsys.readouterr().out.splitlines() == [
        "Found 6 files, 2 of them collected before.",
        "Read 9 charts in 3 returns.",
        "Of 1 chart the code does not say whose it is; where nothing else does, `daybox review` asks.",
        "Could not be read: 1",
        "  a.zip/x.mov: This is a video, not a picture or PDF.",
        "Could be read only in part: 1",
        "  class.pdf, page 2: There is no chart on this page.",
        "Kept in `originals/`, as far as they could be opened. Ask these families for another photo.",
        "Next: `daybox status` shows where things stand, `daybox review` settles what is unsure.",
    ]
    monkeypatch.setattr(batch, "collect", summing(Summary(1, 0, 1, 1, 0, (), ())))
    assert main(["collect", str(pile), "--folder", str(folder)]) == 0


def test_command_says_what_is_of_another_month_and_what_tesseract_would_do(
    folder: Path, pile: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(batch, "collect", summing(Summary(4, 0, 4, 4, 2, (), (), others=1)))
    capsys.readouterr()
    assert main(["collect", str(pile), "--folder", str(folder)]) == 0
    said = capsys.readouterr().out
    assert "Of another month, so that it does not count: 1 chart." in said
    assert "Tesseract" not in said
    monkeypatch.setenv("PATH", "/nowhere")
    assert main(["collect", str(pile), "--folder", str(folder)]) == 0
    assert "Tesseract is not installed, so no name" in capsys.readouterr().out


def test_command_says_when_there_was_nothing(
    folder: Path, pile: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(batch, "collect", summing(Summary(0, 0, 0, 0, 0, (), ())))
    capsys.readouterr()
    assert main(["collect", str(pile), "--folder", str(folder)]) == 0
    assert capsys.readouterr().out == "There are no files in what was given, so nothing was collected.\n"


def test_command_refuses_a_missing_path_in_one_line(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["collect", "gone.zip", "--folder", str(folder)]) == 1
    assert "gone.zip: not there. Nothing was collected." in capsys.readouterr().err
    assert not (folder / "ledger.sqlite").exists()


def test_command_without_paths_is_wrong_usage() -> None:
    assert main(["collect"]) == 2
