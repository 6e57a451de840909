"""Processes that share out jobs. One that dies or hangs costs its own job and nothing else.

The standard library's pool gives up every job at hand when one process dies, and cannot say whose fault
it was; here each process has one job at a time and its own pipe, so it is known.
"""

import multiprocessing
import os
import signal
import time
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from enum import Enum, auto
from itertools import islice
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from types import MappingProxyType
from typing import Generic, TypeAlias, TypeVar

from ingest.errors import DayboxError

Job = TypeVar("Job")
Item = TypeVar("Item")
Work: TypeAlias = Callable[[Job], Iterable[Item]]

NOTHING: Mapping[str, str] = MappingProxyType({})

START_SECONDS = 300.0  # libraries and the reader, on a slow disk with a virus scanner


class Mishap(Enum):
    DIED = auto()  # out of memory, or a crash in a library
    TOO_SLOW = auto()  # no item for so long that it was ended


@dataclass(frozen=True, slots=True)
class Outcome(Generic[Job, Item]):
    """What came of a job: all items that arrived, and what went wrong, if anything did."""

    job: Job
    items: tuple[Item, ...]
    mishap: Mishap | None


def share_out(
    jobs: Iterable[Job],
    start: Callable[[], Work[Job, Item]],
    *,
    workers: int,
    seconds: float,
    environment: Mapping[str, str] = NOTHING,
) -> Generator[Outcome[Job, Item], None, None]:
    """Work on the jobs, and give each outcome as soon as it is there. Closing the iterator ends all.

    jobs: drawn ahead while all processes are at work, so that what it takes to make one costs no time.
    start: called once in each process, makes what does a job there; must be picklable, as must jobs and
        items. What it makes may raise: then its process dies, and says why on stderr.
    seconds: the longest time from one item to the next.
    environment: what the processes have in theirs besides what this one has.

    Raises DayboxError if a process cannot even start.
    """
    source = iter(jobs)
    drawn: deque[Job] = deque()

    def draw() -> bool:
        """One more job, if there is one."""
        before = len(drawn)
        drawn.extend(islice(source, 1))
        return len(drawn) > before

    crew: list[_Hand[Job, Item]] = []
    outcomes: list[Outcome[Job, Item]] = []
    try:
        while True:
            while any(hand.is_idle for hand in crew) or len(crew) < workers:
                if not drawn and not draw():
                    break
                job = drawn.popleft()
                hand = next((hand for hand in crew if hand.is_idle), None)
                if hand is None or not hand.give(job):
                    if hand:  # it died while it had nothing to do
                        crew.remove(hand)
                        hand.end()
                    crew.append(_Hand(start, job, seconds, environment))
            yield from outcomes  # now that nobody waits for what is done with them
            busy = {hand.pipe: hand for hand in crew if not hand.is_idle}
            if not busy:
                return
            ready = wait(busy, 0.0)
            while not ready and draw():
                ready = wait(busy, 0.0)
            if not ready:
                first = min(hand.deadline for hand in busy.values())
                ready = wait(busy, max(0.0, first - time.monotonic()))
            heard = [hand.hear() if pipe in ready else hand.check_clock() for pipe, hand in busy.items()]
            outcomes = [outcome for outcome in heard if outcome]
            crew = [hand for hand in crew if not hand.is_gone]
    finally:
        for hand in crew:
            hand.end()


class _Hand(Generic[Job, Item]):
    """One process as its parent sees it. It is made with its first job."""

    def __init__(
        self, start: Callable[[], Work[Job, Item]], job: Job, seconds: float, environment: Mapping[str, str]
    ) -> None:
        # spawn: the same on all systems, and no child inherits a half-locked library or another's pipe
        context = multiprocessing.get_context("spawn")
        self.pipe, theirs = context.Pipe()
        self._process: BaseProcess = context.Process(target=_serve, args=(theirs, start), daemon=True)
        with _interrupts_held(), _besides(environment):
            self._process.start()
        theirs.close()  # so that its death closes the pipe
        self._seconds = seconds
        self._started = False
        self._job: Job | None = job
        self._items: list[Item] = []
        self.is_gone = False
        self.deadline = time.monotonic() + START_SECONDS

    @property
    def is_idle(self) -> bool:
        return self._job is None and not self.is_gone

    def give(self, job: Job) -> bool:
        """False if it is dead."""
        try:
            self.pipe.send(job)
        except OSError:
            return False
        self._job = job
        self._items = []
        self.deadline = time.monotonic() + self._seconds
        return True

    def hear(self) -> Outcome[Job, Item] | None:
        """Take in its next message; the outcome if that ends the job."""
        try:
            kind, item = self.pipe.recv()
        except (EOFError, OSError):
            return self._lost(Mishap.DIED)
        self.deadline = time.monotonic() + self._seconds
        if kind == "started":
            self._started = True
            assert self._job is not None
            return None if self.give(self._job) else self._lost(Mishap.DIED)
        if kind == "item":
            self._items.append(item)
            return None
        return self._outcome(None)

    def check_clock(self) -> Outcome[Job, Item] | None:
        late = not (self.is_idle or self.is_gone) and time.monotonic() > self.deadline
        return self._lost(Mishap.TOO_SLOW) if late else None

    def _lost(self, mishap: Mishap) -> Outcome[Job, Item]:
        self.end()
        if not self._started:
            raise DayboxError(
                "A process for reading cannot start on this computer, perhaps for want of memory. Nothing "
                "is lost. Close other programs, then run the same command again."
            )
        return self._outcome(mishap)

    def _outcome(self, mishap: Mishap | None) -> Outcome[Job, Item]:
        assert self._job is not None
        outcome = Outcome(self._job, tuple(self._items), mishap)
        self._job = None
        self._items = []
        return outcome

    def end(self) -> None:
        self.is_gone = True
        self._process.kill()  # it owns nothing that could be left half done
        self._process.join()
        self.pipe.close()


@contextmanager
def _interrupts_held() -> Iterator[None]:
    """A process that is started within it never hears of Ctrl-C, not even before it runs a line of ours.

    Ctrl-C goes to all processes in a terminal, and this one decides. Windows has no such mask: there,
    `_serve` turns a deaf ear as soon as it runs.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    from multiprocessing import resource_tracker  # not on Windows

    resource_tracker.ensure_running()  # else it is started along with the first process, and lifts the mask
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


@contextmanager
def _besides(environment: Mapping[str, str]) -> Iterator[None]:
    """A process that is started within it finds these in its environment as well."""
    before = {name: os.environ.get(name) for name in environment}
    os.environ.update(environment)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def _serve(pipe: Connection, start: Callable[[], Work[Job, Item]]) -> None:
    """The life of a process: until its parent closes the pipe or is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    work = start()
    try:
        pipe.send(("started", None))
        while True:
            for item in work(pipe.recv()):
                pipe.send(("item", item))
            pipe.send(("done", None))
    except (EOFError, BrokenPipeError, ConnectionResetError):
        return
