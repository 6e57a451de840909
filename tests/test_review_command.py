"""`daybox review` as a whole: on a challenge folder, in a terminal and without one."""

import csv
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest
from books import challenge_folder

from ingest.cli import main
from ingest.ledger.store import Ledger

UNSURE = "day:2027-10-05"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    challenge_folder(tmp_path / "october", unsure=UNSURE)
    return tmp_path / "october"


def answers(folder: Path) -> list[tuple[str, str, str]]:
    with Ledger.open(folder) as ledger:
        return [(each.student_id, each.box, each.answer) for each in ledger.answers()]


def test_without_a_terminal_it_says_what_to_do_instead(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["review", "--folder", str(folder)]) == 1
    told = capsys.readouterr().err
    assert "1 question " in told
    assert "--sheet" in told
    assert "\n" not in told.strip()


def test_sheet_and_answers_at_once_are_wrong_usage(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["review", "--folder", str(folder), "--sheet", "a.csv", "--answers", "b.csv"]) == 2
    assert "either" in capsys.readouterr().err


def test_a_folder_without_a_ledger_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["review", "--folder", str(tmp_path)]) == 1
    assert capsys.readouterr().err.startswith("error: ")


def test_the_spreadsheet_goes_out_and_comes_back(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet = folder / "review.csv"
    assert main(["review", "--folder", str(folder), "--sheet", str(sheet)]) == 0
    assert "1 question," in capsys.readouterr().out
    with sheet.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    rows[0]["answer"] = "20"
    with sheet.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    assert main(["review", "--folder", str(folder), "--answers", str(sheet)]) == 0
    assert "daybox grades" in capsys.readouterr().out
    assert answers(folder) == [("S1", UNSURE, "20")]
    assert main(["review", "--folder", str(folder)]) == 0  # nothing left, so no terminal is needed
    assert "nothing to settle" in capsys.readouterr().out


class Terminal:
    """A process in a terminal of its own, 80 x 24."""

    def __init__(self, folder: Path, words: Sequence[str] = (), **environ: str) -> None:
        import pty

        import pyte

        self._ours, theirs = pty.openpty()
        inherited = {name: value for name, value in os.environ.items() if name != "NO_COLOR"}
        self.process = subprocess.Popen(
            [sys.executable, "-m", "ingest", "review", "--folder", str(folder), *words],
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            env={**inherited, "TERM": "xterm-256color", "COLUMNS": "80", "LINES": "24", **environ},
            start_new_session=True,
        )
        os.close(theirs)
        self.seen = ""
        self._screen = pyte.Screen(80, 24)
        self._stream = pyte.ByteStream(self._screen)

    def wait_for(self, words: str) -> None:
        """Read until the words have been written, or stand on the screen; they must come within 60 s.

        A screen brought up to date is sent only what has changed on it: words that it shows need never have
        been written in one piece.
        """
        import select

        until = time.monotonic() + 60  # far more than needed, for machines that do much else
        while not self._shows(words):
            ready, _, _ = select.select([self._ours], [], [], max(0, until - time.monotonic()))
            assert ready, f'"{words}" never came: {self.seen}'
            try:
                came = os.read(self._ours, 65536)
            except OSError:  # Linux says so when the other end has gone
                assert self._shows(words)
                return
            self._stream.feed(came)
            self.seen += came.decode(errors="replace")

    def _shows(self, words: str) -> bool:
        on_screen = " ".join(" ".join(self._screen.display).split())  # lines that were wrapped are joined
        return words in self.seen or words in on_screen

    def type(self, keys: str) -> None:
        os.write(self._ours, keys.encode())

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        os.close(self._ours)


@pytest.fixture
def terminal(folder: Path, request: pytest.FixtureRequest) -> Iterator[Terminal]:
    if sys.platform == "win32":
        pytest.skip("pseudo-terminals are for POSIX")
    opened = Terminal(folder, **getattr(request, "param", {}))
    yield opened
    opened.close()


def test_an_answer_is_kept_though_the_program_is_killed(folder: Path, terminal: Terminal) -> None:
    terminal.wait_for("Tuesday 5 October")
    terminal.type("70\r")
    terminal.wait_for("Saved")
    terminal.process.send_signal(signal.SIGKILL)
    terminal.process.wait()
    assert answers(folder) == [("S1", UNSURE, "70")]


def test_ctrl_c_leaves_with_a_last_word_and_no_traceback(folder: Path, terminal: Terminal) -> None:
    terminal.wait_for("Tuesday 5 October")
    terminal.type("7\x03")
    terminal.wait_for("`daybox review` goes on from here.")
    assert terminal.process.wait(10) == 0
    assert "Traceback" not in terminal.seen
    assert answers(folder) == []


@pytest.mark.parametrize("terminal", [{"NO_COLOR": "1"}, {"TERM": "dumb"}], indirect=True)
def test_without_colour_it_works_line_by_line(folder: Path, terminal: Terminal) -> None:
    terminal.wait_for("Minutes: ")
    terminal.type("b\n")
    terminal.wait_for("Everything is settled.")
    terminal.type("q\n")
    terminal.wait_for("daybox grades")
    assert terminal.process.wait(10) == 0
    assert "\x1b" not in terminal.seen
    assert answers(folder) == [("S1", UNSURE, "blank")]
