"""Kills `daybox collect` and `daybox review` again and again, and looks whether anything is lost or doubled.

    python tests/bench/kill_check.py [--rounds 3] [--seed 1] [--out FOLDER]

A small real challenge (printed, filled in, photographed) is collected once in peace. Then copies of it are
collected with SIGKILL at random moments, half of them just when a file appears, until a run gets through;
the same for the review, typed into a terminal key by key, and for a spreadsheet of answers. After every
kill the ledger must hold all that had been acknowledged, and at the end everything must be as in peace.
"""

import csv
import fcntl
import io
import os
import pty
import select
import shutil
import signal
import sqlite3
import struct
import subprocess
import sys
import termios
import time
import zipfile
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from hashlib import sha256
from itertools import zip_longest
from pathlib import Path

import click
import cv2
import numpy as np
import pyte

from ingest.check.book import Question
from ingest.check.bookkeeper import Bookkeeper
from ingest.check.spoken import box_words, minutes_words
from ingest.demo.camera import ORDINARY
from ingest.demo.diary import any_habits, areas_of, keep_diary
from ingest.demo.fill import Mishap, any_writer
from ingest.demo.hands import load_hands
from ingest.demo.pile import Job, Printed, as_file, take_picture
from ingest.ledger.records import PageRecord
from ingest.ledger.store import FILE_NAME, Ledger
from ingest.paper import Box
from ingest.plan.challenge import load_challenge

STUDENTS = 9
SPARE, COVERED, SMUDGED = 7, 8, (1, 3)  # what becomes of some of the students' charts
BOX_QUESTIONS = 40  # left to be asked under fire; the rest is answered in peace
MOST_KILLS = 12  # of one collect, after which it is left alone: a run that is always killed early never ends
MOST_ROUNDS = 20  # of sheets: answers that do not add up make new questions
COLUMNS, ROWS = 80, 40
PATIENCE_S = 60.0  # for a screen to show something on a busy machine

Row = tuple[str, str, int | None, str]  # student, box, page, answer, as the ledger keeps it


class KillCheckError(Exception):
    """Something was lost, doubled, or came out otherwise than in peace."""


def require(truth: bool, what: str) -> None:
    if not truth:
        raise KillCheckError(what)


# -- a small challenge --------------------------------------------------------------------------------


def make_challenge(folder: Path, seed: int) -> None:
    """Plan, roster and charts."""
    daybox("new", folder, "--month", "2027-10")
    with (folder / "roster.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["student_id", "first_name", "last_name", "section"])
        writer.writerows([f"K{n:03}", f"First{n}", f"Last{n}", f"Band {n % 2 + 1}"] for n in range(STUDENTS))
    daybox("charts", "--folder", folder, "--spare", "1")


def make_pile(folder: Path, printed: Printed, seed: int) -> Path:
    """A zip with photos of filled charts, one of them twice, and two files that are no pictures."""
    hands = load_hands()
    jobs = []
    for n in range(STUDENTS):
        rng = np.random.default_rng([seed, n])
        page = printed.page_of("" if n == SPARE else f"K{n:03}")
        areas = areas_of(page)
        diary = keep_diary(areas, any_habits(rng), any_writer(hands[n], rng).hand, rng)
        entries = diary.entries
        if n in SMUDGED:
            entries = {
                name: replace(entry, mishap=Mishap.SMUDGED) if entry.text and place % 5 == 0 else entry
                for place, (name, entry) in enumerate(entries.items())
            }
        cover = _code_area(areas, printed) if n == COVERED else None
        seeds = (seed * 1000 + n, seed * 1000 + n)
        camera = replace(ORDINARY, megapixels=(2,))
        jobs.append(Job(printed, page, entries, any_writer(hands[n], rng), camera, cover, seeds))
    with ProcessPoolExecutor(2, initializer=cv2.setNumThreads, initargs=(1,)) as pool:
        photos = list(pool.map(take_picture, jobs))
    folder.mkdir()
    pile = folder / "downloads.zip"
    with zipfile.ZipFile(pile, "w") as archive:
        for n, photo in enumerate(photos[2:], start=2):
            archive.writestr(f"submission {n}/First{n} Last{n}/IMG_{n}.jpg", photo)
        archive.writestr("two sheets.tif", as_file(photos[:2], "two sheets.tif"))
        archive.writestr("the same again.jpg", photos[2])
        archive.writestr("half.jpg", photos[3][:300])
        archive.writestr("note.txt", "Sorry it is late!")
    return pile


def _code_area(areas: Mapping[str, Box], printed: Printed) -> Box:
    """Where code and letters stand: the upper right corner, above all boxes."""
    top = min(area.top for area in areas.values())
    width = float(printed.layout["width_mm"])
    return Box(width - 75, 3, 72, top - 8)


def daybox(*words: str | Path, allowed: Sequence[int] = (0,)) -> None:
    done = subprocess.run(_command(*words), capture_output=True, text=True, check=False)
    require(done.returncode in allowed, f"daybox {words[0]} ended with {done.returncode}: {done.stderr}")


def _command(*words: str | Path) -> list[str]:
    return [sys.executable, "-m", "ingest", *map(str, words)]


# -- what a folder holds ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Holdings:
    """Everything that must come out the same, but for the numbers that the ledger gives to pages."""

    returns: Sequence[object]
    pages: Sequence[object]
    originals: Sequence[str]
    pictures: Sequence[str]
    answers: Sequence[object]
    readings: str
    gradebook: str


def holdings(folder: Path) -> Holdings:
    daybox("readings", "--folder", folder)
    daybox("grades", "--folder", folder)
    with Ledger.open(folder) as ledger:
        returns = {record.id: record for record in ledger.returns()}
        pages = {page.id: (returns[page.return_id].sha256, page.number) for page in ledger.pages()}
        return Holdings(
            [(r.path, r.sha256, r.dated, r.state, r.note) for r in returns.values()],
            [(pages[page.id], *_without_ids(page)) for page in ledger.pages()],
            sorted(path.name for path in (folder / "originals").iterdir() if path.name[0] != "."),
            # named by return and page, whose numbers may differ, and by content
            sorted(path.name.partition("-")[2] for path in (folder / "pages").iterdir()),
            [
                (answer.student_id, answer.box, pages.get(answer.page_id or 0), answer.answer, answer.shown)
                for answer in ledger.answers()
            ],
            (folder / "readings.csv").read_text(encoding="utf-8"),
            (folder / "gradebook.csv").read_text(encoding="utf-8"),
        )


def _without_ids(page: PageRecord) -> tuple[object, ...]:
    return (
        page.problem, page.code, page.code_challenge, page.code_source, page.written_name,
        page.residual_mm, page.tags_seen, page.layout, page.guess, page.guess_score, tuple(page.readings),
    )  # fmt: skip


def compare(what: str, found: Holdings, calm: Holdings, leave_out: Sequence[str] = ()) -> None:
    for name in Holdings.__dataclass_fields__:
        ours, theirs = getattr(found, name), getattr(calm, name)
        if name not in leave_out and ours != theirs:
            pairs = zip_longest(ours, theirs)
            one, other = next((str(a), str(b)) for a, b in pairs if a != b)
            at = next(i for i, (a, b) in enumerate(zip_longest(one, other)) if a != b)
            near = slice(max(0, at - 100), at + 200)
            raise KillCheckError(f"{what}: {name} differ: {one[near]!r} instead of {other[near]!r}")


def check_after_kill(folder: Path, before: set[tuple[str, int]]) -> set[tuple[str, int]]:
    """Whether the ledger is whole and what it names is there; the pages that it holds."""
    path = folder / FILE_NAME
    if not path.exists():
        require(not before, "the ledger is gone")
        return set()
    with sqlite3.connect(path) as db:
        verdict = db.execute("PRAGMA integrity_check").fetchone()[0]
    require(verdict == "ok", f"the ledger is damaged: {verdict}")
    with Ledger.open(folder) as ledger:
        returns = {record.id: record for record in ledger.returns()}
        for record in returns.values():
            original = ledger.original(record)
            whole = not original.exists() or sha256(original.read_bytes()).hexdigest() == record.sha256
            require(whole, f"the original of {record.path} is not what was handed in")
            require(original.exists() or bool(record.note), f"the original of {record.path} is not there")
        held = set()
        for page in ledger.pages():
            held.add((returns[page.return_id].sha256, page.number))
            picture = ledger.page_picture(page.id)
            require(picture is None or picture.exists(), f"the picture of page {page.id} is not there")
    require(before <= held, f"pages were lost: {before - held}")
    return held


# -- collect ------------------------------------------------------------------------------------------


def collect_killed(folder: Path, pile: Path, rng: np.random.Generator, seconds: float) -> Counter[str]:
    """Collect, killed until a run gets through. seconds: how long one takes in peace."""
    count: Counter[str] = Counter()
    held: set[tuple[str, int]] = set()
    while True:
        run = subprocess.Popen(
            _command("collect", "--folder", folder, pile, "--workers", "2"),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            start_new_session=True,
        )
        if count["kills"] >= MOST_KILLS:
            run.wait()
        elif rng.random() < 0.5:
            _wait(run, float(rng.uniform(0.05, 0.5)) * seconds)
        else:
            _wait_for_changes(run, folder, int(rng.integers(1, 50)))
            _wait(run, float(rng.uniform(0, 0.03)))
        if run.poll() is not None:
            talk = run.stderr.read().decode() if run.stderr else ""
            require(run.returncode in (0, 3), f"collect ended with {run.returncode}: {talk}")
            count["runs to the end"] += 1
            return count
        alone = rng.random() < 0.3
        if alone:  # the reading processes must notice by themselves
            run.kill()
        else:
            os.killpg(run.pid, signal.SIGKILL)
        run.wait()
        if alone:
            _wait_until_gone(run.pid)
            count["of the parent alone"] += 1
        count["kills"] += 1
        new = check_after_kill(folder, held)
        count["pages got between kills"] += len(new - held)
        held = new


def _wait(run: "subprocess.Popen[bytes]", seconds: float) -> None:
    until = time.monotonic() + seconds
    while run.poll() is None and time.monotonic() < until:
        time.sleep(0.002)


def _wait_for_changes(run: "subprocess.Popen[bytes]", folder: Path, changes: int) -> None:
    seen = _signs(folder)
    while run.poll() is None and changes > 0:
        time.sleep(0.001)
        now = _signs(folder)
        changes -= now != seen
        seen = now


def _signs(folder: Path) -> tuple[object, ...]:
    """Whatever changes on the disk while collecting."""
    journal = (folder / f"{FILE_NAME}-journal").exists()
    inside = [len(os.listdir(folder / name)) for name in ("originals", "pages") if (folder / name).is_dir()]
    return (journal, *inside)


def _wait_until_gone(group: int) -> None:
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return
        time.sleep(0.05)
    os.killpg(group, signal.SIGKILL)
    raise KillCheckError("reading processes went on after their parent was killed")


# -- review -------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Step:
    """A question as it will be asked, and the answer to type. name: of the student that it is about."""

    question: Question
    answer: str
    name: str

    @property
    def row(self) -> Row:
        chart = self.question.box == "chart"
        student_id = "" if chart else self.question.student_id
        return student_id, self.question.box, self.question.page_id, self.answer

    @property
    def asked(self) -> str:
        return "Whose chart is this?" if self.question.box == "chart" else box_words(self.question.box)

    @property
    def saved(self) -> str:
        if self.question.box == "chart":
            return f"Saved: the page belongs to {self.name}."
        return f"Saved: {self._short}: {self._words}."

    @property
    def taken_back(self) -> str:
        return f"Taken back: {self._short}."

    @property
    def _short(self) -> str:
        words = box_words(self.question.box)
        return words if self.question.box == "chart" else f"{self.name}, {words}"

    @property
    def _words(self) -> str:
        return "blank" if self.answer == "blank" else minutes_words(int(self.answer))

    def keys(self, plain: bool) -> list[str]:
        enter = "\n" if plain else "\r"
        if self.question.box == "chart":
            return [*self.answer, enter, *(["1", enter] if plain else [])]
        if self.answer == "blank":
            return ["b", enter] if plain else ["b"]
        return [*self.answer, enter]


def owners(folder: Path) -> dict[int, str]:
    """By page id the student that the file's name tells, as a teacher would answer."""
    with Ledger.open(folder) as ledger:
        paths = {record.id: record.path for record in ledger.returns()}
        names = {student.id: student.name for student in ledger.students()}
        return {
            page.id: next((i for i, name in names.items() if name in paths[page.return_id]), "K000")
            for page in ledger.pages()
        }


def reply(box: str, page_id: int, owner: Mapping[int, str]) -> str:
    """What is answered. For a box anything will do, so long as it is always the same."""
    if box == "chart":
        return owner[page_id]
    return "blank" if box.endswith("7") else "25"


def answer_most(folder: Path) -> None:
    """Answer questions about boxes until BOX_QUESTIONS are left."""
    with Ledger.open(folder) as ledger:
        keeper = Bookkeeper(ledger, load_challenge(folder))
        while len(boxes := [each for each in keeper.book.questions if each.box != "chart"]) > BOX_QUESTIONS:
            keeper.answer(boxes[-1], reply(boxes[-1].box, boxes[-1].page_id, {}))


def script(folder: Path, scratch: Path) -> list[Step]:
    """All questions in the order in which they are asked, answered in peace in a copy of the folder."""
    shutil.copytree(folder, scratch)
    owner = owners(folder)
    steps = []
    with Ledger.open(scratch) as ledger:
        keeper = Bookkeeper(ledger, load_challenge(scratch))
        names = {student.id: student.name for student in ledger.students()}
        while keeper.book.questions:
            question = keeper.book.questions[0]
            answer = reply(question.box, question.page_id, owner)
            steps.append(Step(question, answer, names[question.student_id or answer]))
            keeper.answer(question, answer, by="prompt")
    return steps


class Terminal:
    """`daybox review` in a terminal, whose screen another program draws."""

    def __init__(self, folder: Path, plain: bool) -> None:
        self._ours, theirs = pty.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))
        environ = {name: value for name, value in os.environ.items() if name not in ("NO_COLOR", "TERM")}
        self._run = subprocess.Popen(
            _command("review", "--folder", folder),
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            env={**environ, "TERM": "xterm-256color", **({"NO_COLOR": "1"} if plain else {})},
            start_new_session=True,
        )
        os.close(theirs)
        self._screen = pyte.Screen(COLUMNS, ROWS)
        self._stream = pyte.ByteStream(self._screen)

    @property
    def text(self) -> str:
        """What stands on the screen, without blanks: a terminal breaks lines within words."""
        return "".join("".join(self._screen.display).split())

    def type(self, key: str) -> None:
        os.write(self._ours, key.encode())

    def look(self, seconds: float) -> None:
        """Let it draw."""
        ready, _, _ = select.select([self._ours], [], [], seconds)
        if ready:
            try:
                self._stream.feed(os.read(self._ours, 65536))
            except OSError as error:  # Linux says so when the other end has gone
                raise KillCheckError(f"the review ended by itself: {self.text}") from error

    def wait_for(self, words: str) -> None:
        until = time.monotonic() + PATIENCE_S
        while "".join(words.split()) not in self.text:
            require(time.monotonic() < until, f'"{words}" never came:\n' + "\n".join(self._screen.display))
            self.look(0.2)

    def kill(self) -> None:
        os.killpg(self._run.pid, signal.SIGKILL)
        self._run.wait()
        os.close(self._ours)


def review_killed(folder: Path, steps: Sequence[Step], rng: np.random.Generator) -> Counter[str]:
    """Answer all steps, killed after a few keys each time."""
    count: Counter[str] = Counter()
    rows = _rows(folder)
    at = 0
    while at < len(steps):
        plain = bool(rng.random() < 0.3)
        terminal = Terminal(folder, plain)
        left = int(rng.integers(0, 10))  # keys until the kill
        answered = 0  # in this run and not taken back
        maybe: Row | None = None  # what had been typed when it was killed, to its last key
        if left:
            terminal.wait_for(steps[at].asked)
        while left and at < len(steps):
            back = answered > 0 and rng.random() < 0.15
            step = steps[at - 1 if back else at]
            keys = _undo_keys(steps[at], plain) if back else step.keys(plain)
            row: Row = (*step.row[:3], "") if back else step.row
            if not back and step.answer == "blank":
                time.sleep(0.3)  # a key so soon after a question appeared would do nothing
            for key in keys[:left]:
                terminal.type(key)
                time.sleep(float(rng.uniform(0, 0.01)))
            if len(keys) >= left:
                maybe = row if len(keys) == left else None
                time.sleep(float(rng.uniform(0, 0.08)))
                break
            left -= len(keys)
            terminal.wait_for(step.taken_back if back else step.saved)
            rows.append(row)
            answered += -1 if back else 1
            at += -1 if back else 1
            count["acknowledged"] += 1
            count["of them taken back"] += back
        terminal.kill()
        count["kills"] += 1
        count["in the plain prompt"] += plain
        kept = _rows(folder)
        if maybe is not None and kept == [*rows, maybe]:
            rows.append(maybe)
            at += 1 if maybe[3] else -1
            count["kept though not acknowledged"] += 1
        require(kept == rows, f"answers lost or doubled:\n{kept}\nacknowledged:\n{rows}\nmaybe: {maybe}")
    return count


def _undo_keys(step: Step, plain: bool) -> list[str]:
    if plain:
        return ["u", "\n"]
    return ["u", "\r"] if step.question.box == "chart" else ["u"]


def _rows(folder: Path) -> list[Row]:
    with Ledger.open(folder) as ledger:
        return [(each.student_id, each.box, each.page_id, each.answer) for each in ledger.answers(False)]


def standing(rows: Sequence[Row]) -> dict[object, str]:
    """The answers that stand."""
    last = {row[:3] if row[1] != "chart" else row[1:3]: row[3] for row in rows}
    return {key: answer for key, answer in last.items() if answer}


def answer_sheets(folder: Path, rng: np.random.Generator | None) -> Counter[str]:
    """Hand answers in by spreadsheets; with `rng`, each is killed until a run gets through."""
    count: Counter[str] = Counter()
    owner, already = owners(folder), len(_rows(folder))
    for number in range(1, MOST_ROUNDS + 1):
        sheet = folder / f"review-{number}.csv"
        daybox("review", "--folder", folder, "--sheet", sheet)
        asked = list(csv.DictReader(io.StringIO(sheet.read_text(encoding="utf-8"))))
        if not asked:
            return count
        for row in asked:
            page = row["picture"].rpartition("/")[2].split("-")[1].removesuffix(".png")
            row["answer"] = reply(row["box"], int(page), owner)
        with sheet.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, asked[0])
            writer.writeheader()
            writer.writerows(asked)
        count["answers"] += len(asked)
        if rng is not None:
            _take_killed(folder, sheet, rng, count)
        daybox("review", "--folder", folder, "--answers", sheet)
        rows = _rows(folder)[already:]
        require(len(rows) == len(set(rows)) == count["answers"], f"answers were lost or doubled: {rows}")
    raise KillCheckError(f"the sheets still asked something after {MOST_ROUNDS} rounds")


def _take_killed(folder: Path, sheet: Path, rng: np.random.Generator, count: Counter[str]) -> None:
    """Take a sheet back, killed until a run gets through."""
    before = _rows(folder)
    while True:
        run = subprocess.Popen(
            _command("review", "--folder", folder, "--answers", sheet),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            start_new_session=True,
        )
        _wait_for_changes(run, folder, int(rng.integers(1, 20)))
        _wait(run, float(rng.uniform(0, 0.03)))
        if run.poll() is not None:
            talk = run.stderr.read().decode() if run.stderr else ""
            require(run.returncode == 0, f"review --answers ended with {run.returncode}: {talk}")
            return
        os.killpg(run.pid, signal.SIGKILL)
        run.wait()
        count["kills"] += 1
        now = _rows(folder)
        require(now[: len(before)] == before, "answers were lost")
        count["of them got between kills"] += len(now) - len(before)
        before = now


# -- all of it ----------------------------------------------------------------------------------------


@click.command()
@click.option("--out", type=click.Path(path_type=Path), default=Path("bench-report/kills"), show_default=True)
@click.option("--rounds", default=3, show_default=True)
@click.option("--seed", default=1, show_default=True)
def main(out: Path, rounds: int, seed: int) -> None:
    """Kill and repeat; exit 1 if anything was lost or doubled."""
    if out.exists() and any(out.iterdir()):
        raise click.UsageError(f"{out} is not empty; name another folder with --out.")
    out.mkdir(parents=True, exist_ok=True)
    fresh, calm = out / "printed", out / "calm"
    make_challenge(fresh, seed)
    pile = make_pile(out / "pile", Printed.of(fresh / "charts.pdf"), seed)
    shutil.copytree(fresh, calm)
    began = time.monotonic()
    daybox("collect", "--folder", calm, pile, "--workers", "2", allowed=(3,))
    seconds = time.monotonic() - began
    collected = holdings(calm)
    click.echo(
        f"In peace: {len(collected.returns)} returns, {len(collected.pages)} pages, in {seconds:.1f} s"
    )
    rng = np.random.default_rng(seed)
    each_round(rounds, "collect", out, lambda folder: _collect(fresh, folder, pile, rng, seconds, collected))

    answer_most(calm)
    steps = script(calm, out / "answered")
    answered = holdings(out / "answered")
    click.echo(f"In peace: {len(steps)} questions answered")
    each_round(rounds, "review", out, lambda folder: _review(calm, folder, steps, rng, answered))
    shutil.copytree(calm, out / "by-sheet")
    answer_sheets(out / "by-sheet", None)
    by_sheet = holdings(out / "by-sheet")
    each_round(rounds, "sheet", out, lambda folder: _sheet(calm, folder, rng, by_sheet))
    click.echo("Nothing was lost, nothing doubled, and everything came out as in peace.")


def each_round(rounds: int, what: str, out: Path, attempt: Callable[[Path], Counter[str]]) -> None:
    for number in range(1, rounds + 1):
        folder = out / f"{what}-{number}"
        try:
            count = attempt(folder)
        except KillCheckError as failure:
            raise click.ClickException(f"{what}, round {number}: {failure}\nSee {folder}") from failure
        click.echo(
            f"{what}, round {number}: " + ", ".join(f"{count[words]} {words}" for words in sorted(count))
        )


def _collect(
    fresh: Path, folder: Path, pile: Path, rng: np.random.Generator, seconds: float, calm: Holdings
) -> Counter[str]:
    shutil.copytree(fresh, folder)
    count = collect_killed(folder, pile, rng, seconds)
    daybox("collect", "--folder", folder, pile, allowed=(3,))  # once more changes nothing
    compare("collect", holdings(folder), calm)
    return count


def _review(
    calm: Path, folder: Path, steps: Sequence[Step], rng: np.random.Generator, answered: Holdings
) -> Counter[str]:
    shutil.copytree(calm, folder)
    count = review_killed(folder, steps, rng)
    require(standing(_rows(folder)) == standing(_rows(folder.parent / "answered")), "other answers stand")
    compare("review", holdings(folder), answered, leave_out=("answers",))
    return count


def _sheet(calm: Path, folder: Path, rng: np.random.Generator, answered: Holdings) -> Counter[str]:
    shutil.copytree(calm, folder)
    count = answer_sheets(folder, rng)
    compare("sheet", holdings(folder), answered)
    return count


if __name__ == "__main__":
    main()
