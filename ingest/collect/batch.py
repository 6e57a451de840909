"""Bulk import: from a pile of downloads to readings in the ledger.

Two steps, each safe to stop at any moment and to repeat. Every file is copied into `originals/` and noted;
from then on the download may go. Meanwhile whatever waits to be read is read, on all cores.
"""

import hashlib
import os
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TypeAlias

from ingest.collect.crew import Mishap, Outcome, share_out
from ingest.collect.owner import guess_owner
from ingest.collect.reader import ENVIRONMENT, Item, Job, Leaf, MakeReader, load_reader, start
from ingest.collect.signature import Form
from ingest.collect.unpack import Found, form_on_disk, walk
from ingest.errors import DayboxError
from ingest.ledger.records import ReturnRecord, ReturnState
from ingest.ledger.store import FILE_NAME as LEDGER_NAME
from ingest.ledger.store import Ledger

# What is being done, how many are done, of how many (None: not known yet).
Progress: TypeAlias = Callable[[str, int, int | None], None]

WORKERS_MOST = 4  # each takes some 200 MB, and a teacher's laptop has other things to do
SHARED_BYTES = 4_000_000  # a PDF from so large on is read by all processes together; one photo is smaller
PAGE_SECONDS = 120.0  # a page takes a fraction of a second; a file that is made to hang takes for ever


@dataclass(frozen=True, slots=True)
class Unread:
    """Something that could not be read. path: as in `ReturnRecord`; page: None for the whole file."""

    path: str
    page: int | None
    why: str


@dataclass(frozen=True, slots=True)
class Summary:
    """What collecting did.

    files: met in what was given, systems' own files left out.
    known: files among them whose very bytes had been collected before.
    returns: read in this run, with those left waiting by an earlier one; pages: charts read on them.
    ownerless: pages among those whose code does not say whose they are. others: those of another month.
    lost: returns of which nothing could be read.
    spoilt: single pages, or parts of pages, that could not be read in returns that otherwise were.
    """

    files: int
    known: int
    returns: int
    pages: int
    ownerless: int
    lost: Sequence[Unread]
    spoilt: Sequence[Unread]
    others: int = 0


def collect(
    ledger: Ledger,
    paths: Sequence[Path],
    *,
    workers: int | None = None,
    on_progress: Progress = lambda what, done, total: None,
    make_reader: MakeReader = load_reader,
    page_seconds: float = PAGE_SECONDS,
) -> Summary:
    """Take in everything in `paths` and read it. See the module for what is kept when.

    workers: how many processes read; None: as many as there are cores, up to WORKERS_MOST.

    Raises DayboxError before anything is done if a path is missing or no charts were printed, and
    later if the disk is full or the ledger cannot be written.
    """
    check_paths(paths)
    if not ledger.charts():
        raise DayboxError(
            f"{ledger.folder.resolve()}: no charts were printed here yet, so there is nothing that a return "
            "could be read by. Run `daybox charts` first, or give the challenge's folder with --folder."
        )
    _sweep(ledger)
    taken = _Taken()
    read = _read_all(
        ledger,
        _take_in(ledger, paths, taken, on_progress),
        start=partial(start, make_reader, ledger.layouts(), _chart_layouts(ledger), _spares(ledger)),
        workers=workers or _default_workers(),
        seconds=page_seconds,
        on_progress=on_progress,
    )
    return Summary(
        taken.files,
        taken.known,
        read.returns,
        read.pages,
        read.ownerless,
        (*taken.lost, *read.lost),
        tuple(read.spoilt),
        read.others,
    )


def check_paths(paths: Sequence[Path]) -> None:
    """Raises DayboxError if any is missing."""
    missing = [str(path) for path in paths if not path.exists()]
    if missing:
        names = ", ".join(missing[:3]) + (f" and {len(missing) - 3} more" if len(missing) > 3 else "")
        raise DayboxError(
            f"{names}: not there. Nothing was collected. Check the name, and put quotes around it if it has "
            "blanks, then run the command again."
        )


def _chart_layouts(ledger: Ledger) -> dict[str, str]:
    return {chart.code: chart.layout for chart in ledger.charts()}


def _spares(ledger: Ledger) -> frozenset[str]:
    return frozenset(chart.code for chart in ledger.charts() if chart.student_id is None)


def _default_workers() -> int:
    with suppress(AttributeError):  # not on all systems
        return min(len(os.sched_getaffinity(0)), WORKERS_MOST)
    return min(os.cpu_count() or 1, WORKERS_MOST)


# -- first: take in -----------------------------------------------------------------------------------

_PART_PREFIX = ".part-"


class _Taken:
    """Counts of the first step."""

    def __init__(self) -> None:
        self.files = 0
        self.known = 0
        self.lost: list[Unread] = []


def _take_in(
    ledger: Ledger, paths: Sequence[Path], taken: _Taken, on_progress: Progress
) -> Iterator[ReturnRecord]:
    """Copy every file into `originals/` and note it in the ledger, or note why not.

    Yields what is to be read: what waited already, each new return once it is noted, and returns that
    were refused before and were handed in once more.
    """
    known = {record.sha256: record for record in ledger.returns()}
    first_paths = {sha256: record.path for sha256, record in known.items()}
    again: set[int] = set()
    yield from ledger.waiting()
    for found in walk(paths, leave_out=partial(_is_own, ledger.folder.resolve())):
        taken.files += 1
        on_progress("Taking in", taken.files, None)
        sha256, problem = _keep(ledger, found)
        new = ledger.add_return(found.label, sha256, found.dated, problem)
        first = first_paths.setdefault(sha256, found.label)
        if new is None:
            _note_copy(ledger, sha256, found.label, first)
            before = known.get(sha256)
            if before is None or before.state != ReturnState.REFUSED:
                taken.known += 1
            elif problem:
                taken.lost.append(Unread(found.label, None, problem))
            elif before.id not in again:
                # What went wrong then may go right now: there is more memory, or a newer Daybox.
                again.add(before.id)
                yield before
        elif problem:
            taken.lost.append(Unread(found.label, None, problem))
        else:
            yield ledger.get_return(new)


def _note_copy(ledger: Ledger, sha256: str, path: str, first: str) -> None:
    """Note the very same bytes under another name, if that names somebody else than the first one did."""
    students = ledger.students()
    guess = guess_owner(path, students)
    if guess.student_id and guess.student_id != guess_owner(first, students).student_id:
        ledger.add_copy(path, sha256, guess.student_id, guess.score)


def _is_own(folder: Path, path: Path) -> bool:
    """Whether a path is the challenge's own: someone may collect the folder that the challenge is in."""
    # Charts as they were printed, not as they came back. os.path: a name may be too long to be asked about.
    if os.path.exists(path.with_suffix(".layout.json")):
        return True
    return path.parent == folder and (
        path.name in ("originals", "pages")
        or path.name.startswith(LEDGER_NAME)
        or path.suffix in (".toml", ".csv", ".json")
    )


def _keep(ledger: Ledger, found: Found) -> tuple[str, str]:
    """Copy the bytes into `originals/`, under their hash. Returns the hash and the problem, if any.

    Of a file without bytes, what is said of it stands in for them, so that it has one record as well.
    """
    stand_in = hashlib.sha256(f"{found.label}\0{found.problem}".encode()).hexdigest()
    if found.content is None:
        return stand_in, found.problem
    originals = _originals(ledger)
    try:
        originals.mkdir(exist_ok=True)
        handle, part = tempfile.mkstemp(prefix=_PART_PREFIX, dir=originals)
        try:
            with os.fdopen(handle, "wb") as file:
                digest = hashlib.sha256()
                while True:
                    try:
                        chunk = found.content.read(1024 * 1024)
                    except OSError as error:  # the download's disk, not ours
                        return stand_in, f"This cannot be read to its end ({error.strerror})."
                    if not chunk:
                        break
                    digest.update(chunk)
                    file.write(chunk)
                file.flush()
                os.fsync(file.fileno())  # the download may go once the ledger names it, power cut or not
            original = ledger.original_path(digest.hexdigest())
            if not original.exists():
                os.replace(part, original)
        finally:
            Path(part).unlink(missing_ok=True)
    except OSError as error:
        raise DayboxError(
            f"{originals}: the originals cannot be kept ({error.strerror}). What was taken in so far is "
            "safe. Make room or change the folder's permissions, then run the same command again."
        ) from error
    return digest.hexdigest(), found.problem


def _originals(ledger: Ledger) -> Path:
    return ledger.original_path("any").parent


def _sweep(ledger: Ledger) -> None:
    """Delete what killed runs left half written, if it is so old that no other run can be writing it."""
    ledger.sweep()
    for part in _originals(ledger).glob(f"{_PART_PREFIX}*"):
        with suppress(OSError):
            if part.stat().st_mtime < time.time() - 24 * 3600:
                part.unlink()


# -- then: read ---------------------------------------------------------------------------------------


class _Read:
    """Counts of the second step."""

    def __init__(self) -> None:
        self.returns = 0
        self.pages = 0
        self.ownerless = 0
        self.others = 0
        self.lost: list[Unread] = []
        self.spoilt: list[Unread] = []


def _read_all(
    ledger: Ledger,
    records: Iterator[ReturnRecord],
    *,
    start: Callable[[], Callable[[Job], Iterator[Item]]],
    workers: int,
    seconds: float,
    on_progress: Progress,
) -> _Read:
    students = ledger.students()
    owners = {chart.code: chart.student_id for chart in ledger.charts()}
    read = _Read()
    done = 0
    total: int | None = None  # not known until everything is taken in

    def jobs() -> Iterator[Job]:
        nonlocal total
        met = 0
        for record in records:
            met += 1
            original = ledger.original(record)
            shares = workers if _is_shared(original) else 1
            for first in range(1, shares + 1):
                yield Job(record, original, first, shares)
        total = met
        on_progress("Reading", done, total)

    outcomes = share_out(jobs(), start, workers=workers, seconds=seconds, environment=ENVIRONMENT)
    try:
        for outcome in _joined(outcomes):
            done += 1
            record = outcome.job.record
            leaves = _counted_on([item for item in outcome.items if isinstance(item, Leaf)])
            refusal = _refusal(outcome, seconds)
            if refusal:
                ledger.finish_return(record.id, (), ReturnState.REFUSED, refusal)
                read.lost.append(Unread(record.path, None, refusal))
            else:
                guess = guess_owner(record.path, students)
                pages = [
                    replace(leaf.page, guess=guess.student_id, guess_score=guess.score) for leaf in leaves
                ]
                notes = [f"Page {leaf.page.number}: {leaf.note}" for leaf in leaves if leaf.note]
                taken = next((leaf.taken for leaf in leaves), None)
                ledger.finish_return(record.id, pages, ReturnState.DONE, " ".join(notes), taken)
                _count(read, record, leaves, owners)
            if total is not None:
                on_progress("Reading", done, total)
    finally:
        outcomes.close()
    return read


def _counted_on(leaves: Sequence[Leaf]) -> list[Leaf]:
    """The pages of a return with numbers of their own, where several charts were in one picture."""
    counted: list[Leaf] = []
    last = more = 0
    for leaf in leaves:
        more += leaf.page.number == last
        last = leaf.page.number
        counted.append(replace(leaf, page=replace(leaf.page, number=last + more)))
    return counted


def _is_shared(original: Path) -> bool:
    """Whether so many pages may be in a file that all processes should read it together."""
    try:
        return original.stat().st_size >= SHARED_BYTES and form_on_disk(original) is Form.PDF
    except OSError:  # reading will tell
        return False


def _joined(outcomes: Iterator[Outcome[Job, Item]]) -> Iterator[Outcome[Job, Item]]:
    """One outcome a return, its pages in order, once all shares of it are there."""
    parts: defaultdict[int, list[Outcome[Job, Item]]] = defaultdict(list)
    for outcome in outcomes:
        if outcome.job.shares == 1:
            yield outcome
            continue
        together = parts[outcome.job.record.id]
        together.append(outcome)
        if len(together) < outcome.job.shares:
            continue
        del parts[outcome.job.record.id]
        items = [item for part in together for item in part.items]
        items.sort(key=lambda item: item.page.number if isinstance(item, Leaf) else 0)
        mishap = next((part.mishap for part in together if part.mishap), None)
        yield Outcome(outcome.job, tuple(items), mishap)


def _refusal(outcome: Outcome[Job, Item], seconds: float) -> str:
    """Why a return could not be read at all, or ""."""
    if outcome.mishap is Mishap.TOO_SLOW:
        return f"Reading this took longer than {seconds:.0f} seconds a page, so it was given up."
    if outcome.mishap is Mishap.DIED:
        return "The process that read this stopped, perhaps for want of memory. Try it again, or by itself."
    refusals = [item for item in outcome.items if isinstance(item, str)]
    if refusals:
        return refusals[0]
    return "" if outcome.items else "There are no pages in this file."


def _count(
    read: _Read, record: ReturnRecord, leaves: Sequence[Leaf], owners: Mapping[str, str | None]
) -> None:
    charts = [leaf.page.reading for leaf in leaves if leaf.page.reading]
    read.returns += 1
    read.pages += len(charts)
    others = [chart for chart in charts if chart.layout is None and chart.code not in owners]
    read.others += len(others)
    read.ownerless += sum(owners.get(chart.code or "") is None for chart in charts) - len(others)
    problems = [
        Unread(record.path, leaf.page.number if len(leaves) > 1 else None, why)
        for leaf in leaves
        if (why := leaf.page.problem or leaf.note)
    ]
    (read.spoilt if charts else read.lost).extend(problems)
