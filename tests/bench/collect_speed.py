"""How quickly `daybox collect` reads 12-megapixel photos, and where the time goes.

    python tests/bench/collect_speed.py --cache FOLDER [--photos 60] [--workers 2] [--no-steps]

Fills charts in by test writers' hands and photographs them with the demo's camera, once: FOLDER keeps them.
Then runs `daybox collect` as a process of its own on a fresh copy of the challenge, and says how many charts
it read a second, from the first key to the end and without its start-up. The start-up is what a run on a
photo a worker takes, less what these photos cost.

Then each photo is read once more in this process, on one core, step by step. Just before, OpenCV decodes
the same bytes to grey at full size: that is the ruler, and a machine that is busy with something else slows
both down alike. Times are those of the processor (user and system), medians over the photos, unless it says
otherwise.
"""

import pickle
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import Any

import click
import cv2
import numpy as np
from threadpoolctl import threadpool_limits

from ingest.check.bookkeeper import Bookkeeper
from ingest.collect import batch
from ingest.collect.crew import share_out
from ingest.collect.owner import guess_owner
from ingest.collect.reader import ENVIRONMENT, Job, Leaf, load_reader, read_return
from ingest.demo.camera import SEVERITIES, photograph
from ingest.demo.diary import any_habits, areas_of, keep_diary
from ingest.demo.fill import any_writer, fill
from ingest.demo.hands import load_hands
from ingest.demo.pile import PAGE_DPI, Printed, print_page
from ingest.ledger.records import ReturnRecord, ReturnState
from ingest.ledger.store import Ledger
from ingest.plan.challenge import load_challenge
from ingest.plan.roster import load_roster

MONTH = "2027-10"
SEED = 20261126

# What is timed, by where it is called from: the step's name, and the function. A step within a step counts
# for itself alone, so that the column adds up.
STEPS = (
    ("decoding", "ingest.collect.pictures", "open_pages"),
    ("decoding", "ingest.collect.pictures", "_finer"),
    ("find tags", "ingest.reading.page", "find"),
    ("code", "ingest.reading.page", "read_qr"),
    ("code", "ingest.reading.page", "read_code"),
    ("frames and flattening", "ingest.reading.page", "_fitted"),
    ("crops and ink", "ingest.reading.page", "_read_boxes"),
    ("net", "ingest.reading.net:Net", "score"),
    ("texts", "ingest.reading.numerals", "likely_texts"),
    ("encoding", "ingest.reading.page", "_reading"),
)


# -- the photos ---------------------------------------------------------------------------------------


def daybox(*words: str | Path, allowed: Sequence[int] = (0,)) -> None:
    """Run one command as a process of its own."""
    done = subprocess.run(
        [sys.executable, "-m", "ingest", *map(str, words)], capture_output=True, text=True, check=False
    )
    if done.returncode not in allowed:
        raise SystemExit(f"daybox {words[0]} ended with {done.returncode}:\n{done.stdout}\n{done.stderr}")


def make_photos(cache: Path, count: int, severity: str) -> Sequence[Path]:
    """The photos in the cache; those that are missing are made."""
    challenge = cache / "challenge"
    if not (challenge / "charts.pdf").exists():
        daybox("new", challenge, "--month", MONTH)
        rows = [f"S{n:03},Student,Number{n},Band {n % 3 + 1}" for n in range(count)]
        text = "\n".join(["student_id,first_name,last_name,section", *rows, ""])
        (challenge / "roster.csv").write_text(text, encoding="utf-8")
        daybox("charts", "--folder", challenge)
    printed = Printed.of(challenge / "charts.pdf")
    if len(printed.layout["pages"]) < count:
        raise click.UsageError(f"{cache} was made for fewer photos; give another folder.")
    paths = [cache / severity / f"IMG_{n:04}.jpg" for n in range(count)]
    missing = [(printed, n, severity, path) for n, path in enumerate(paths) if not path.exists()]
    if missing:
        click.echo(f"making {len(missing)} photos; this takes some seconds each")
        paths[0].parent.mkdir(parents=True, exist_ok=True)
        with ProcessPoolExecutor(2, initializer=cv2.setNumThreads, initargs=(1,)) as pool:
            for _ in pool.map(make_photo, missing):
                pass
    return paths


def make_photo(job: tuple[Printed, int, str, Path]) -> None:
    """Fill chart `n` in and photograph it. A photo and no document scan, which would be smaller."""
    printed, n, severity, path = job
    rng = np.random.default_rng([SEED, n])
    page = printed.layout["pages"][n]
    hands = load_hands()
    writer = any_writer(hands[n % len(hands)], rng)
    picture = print_page(printed.pdf, page["page"])
    diary = keep_diary(areas_of(page), any_habits(rng), writer.hand, rng)
    fill(picture, PAGE_DPI / 25.4, areas_of(page), diary.entries, writer, rng)
    twelve = replace(SEVERITIES[severity], megapixels=(12,), scan_mode=0.0)
    photo = photograph(picture, (printed.layout["width_mm"], printed.layout["height_mm"]), rng, twelve)
    part = path.with_suffix(".part")
    part.write_bytes(photo.jpeg)
    part.rename(path)


# -- the command --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Run:
    """What one `daybox collect` took. wall, processor: seconds. memory: MB of its largest process."""

    wall: float
    processor: float
    memory: float


def run_collect(cache: Path, photos: Sequence[Path], workers: int) -> Run:
    """Collect the photos into a fresh copy of the challenge."""
    with tempfile.TemporaryDirectory() as folder:
        challenge = Path(folder) / "challenge"
        shutil.copytree(cache / "challenge", challenge)
        before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic()
        daybox("collect", "--folder", challenge, "--workers", str(workers), *photos, allowed=(0, 3))
        wall, after = time.monotonic() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = (after.ru_utime - before.ru_utime) + (after.ru_stime - before.ru_stime)
    return Run(wall, spent, after.ru_maxrss / 1e3)


# -- step by step -------------------------------------------------------------------------------------


@dataclass
class Stopwatch:
    """Processor and wall time (s) by step and photo; a step within a step counts for itself alone."""

    photos: list[dict[str, list[float]]] = field(default_factory=list)
    _open: list[list[float]] = field(default_factory=list)  # what the steps within took

    def next_photo(self) -> None:
        self.photos.append(defaultdict(lambda: [0.0, 0.0]))

    @contextmanager
    def time(self, step: str) -> Iterator[None]:
        within = [0.0, 0.0]
        self._open.append(within)
        began = time.process_time(), time.perf_counter()
        try:
            yield
        finally:
            spent = time.process_time() - began[0], time.perf_counter() - began[1]
            self._open.pop()
            for k in (0, 1):
                self.photos[-1][step][k] += spent[k] - within[k]
                if self._open:
                    self._open[-1][k] += spent[k]

    def timed(self, step: str, function: Callable[..., Any]) -> Callable[..., Any]:
        def call(*arguments: Any, **named: Any) -> Any:
            with self.time(step):
                made = function(*arguments, **named)
            return self._each(step, made) if isinstance(made, Iterator) else made

        return call

    def _each(self, step: str, items: Iterator[Any]) -> Iterator[Any]:
        while True:
            with self.time(step):
                item = next(items, self)
            if item is self:
                return
            yield item

    def hang_in(self) -> None:
        """Time what STEPS names, wherever it is called from."""
        for step, place, name in STEPS:
            module, _, owner = place.partition(":")
            holder: Any = import_module(module)
            if owner:
                holder = getattr(holder, owner)
            if not hasattr(holder, name):
                raise SystemExit(f"{place} has no {name} any more; mend STEPS.")
            setattr(holder, name, self.timed(step, getattr(holder, name)))

    def milliseconds(self, step: str, which: int = 0) -> float:
        """Median over the photos, of processor (0) or wall time (1)."""
        return 1000 * statistics.median(photo[step][which] for photo in self.photos)


RULER = "OpenCV decodes to grey"
BOOK = "book, by other commands"


def read_stepwise(cache: Path, photos: Sequence[Path]) -> Stopwatch:
    """As `_stepwise`, in a process that is started like those that read."""
    outcomes = share_out(
        [photos], partial(partial, _stepwise, cache), workers=1, seconds=3600, environment=ENVIRONMENT
    )
    ((watch,),) = (outcome.items for outcome in outcomes)
    return watch


def _stepwise(cache: Path, photos: Sequence[Path]) -> Iterator[Stopwatch]:
    """Everything that `daybox collect` and the book do with each photo, one after another on one core."""
    cv2.setNumThreads(1)
    threadpool_limits(1)
    watch = Stopwatch()
    with tempfile.TemporaryDirectory() as folder:
        challenge = Path(folder) / "challenge"
        shutil.copytree(cache / "challenge", challenge)
        with Ledger.open(challenge) as ledger:
            ledger.sync_roster(load_roster(challenge / "roster.csv"))
            students, layouts = ledger.students(), ledger.layouts()
            charts = {chart.code: chart.layout for chart in ledger.charts()}
            reader = load_reader(layouts, charts)
            read_return(reader, Job(_record(photos[0]), photos[0]))  # warm up
            for _ in read_return(reader, Job(_record(photos[0]), photos[0])):
                pass
            watch.hang_in()
            for path in photos:
                watch.next_photo()
                data = np.frombuffer(path.read_bytes(), np.uint8)
                with watch.time(RULER):
                    cv2.imdecode(data, cv2.IMREAD_GRAYSCALE | cv2.IMREAD_IGNORE_ORIENTATION)
                with watch.time("taking in"):
                    (record,) = batch._take_in(ledger, [path], batch._Taken(), lambda what, done, total: None)
                with watch.time("between the steps"):
                    items = list(read_return(reader, Job(record, ledger.original(record))))
                with watch.time("handing over"):
                    items = pickle.loads(pickle.dumps(items))
                with watch.time("whose it is"):
                    guess_owner(record.path, students)
                with watch.time("ledger"):
                    pages = [item.page for item in items if isinstance(item, Leaf)]
                    ledger.finish_return(record.id, pages, ReturnState.DONE)
            began = time.process_time(), time.perf_counter()
            _ = Bookkeeper(ledger, load_challenge(challenge)).book
            spent = time.process_time() - began[0], time.perf_counter() - began[1]
            for photo in watch.photos:
                photo[BOOK] = [each / len(photos) for each in spent]
    watch.photos = [dict(photo) for photo in watch.photos]  # which can be pickled
    yield watch


def _record(path: Path) -> ReturnRecord:
    return ReturnRecord(0, path.name, "", None, datetime.now(), ReturnState.WAITING, "")


def report_steps(watch: Stopwatch) -> None:
    steps = {step for photo in watch.photos for step in photo} - {RULER}
    whole = [sum(photo[step][0] for step in steps - {BOOK}) for photo in watch.photos]
    ruler = [photo[RULER][0] for photo in watch.photos]
    ratio = [each / by for each, by in zip(whole, ruler, strict=True)]
    click.echo(
        f"one photo, one core: {1000 * statistics.median(whole):.0f} ms; {RULER} at full size in "
        f"{1000 * statistics.median(ruler):.0f} ms; ratio {statistics.median(ratio):.2f} "
        f"(worst {max(ratio):.2f}, {sum(each < 5 for each in ratio)} of {len(ratio)} under 5)"
    )
    click.echo(f"{'step':24} {'processor':>9} {'wall':>9}   median ms")
    for step in sorted(steps, key=lambda step: -watch.milliseconds(step)):
        click.echo(f"{step:24} {watch.milliseconds(step):9.1f} {watch.milliseconds(step, 1):9.1f}")


@click.command()
@click.option("--cache", type=click.Path(file_okay=False, path_type=Path), required=True)
@click.option("--photos", default=60, show_default=True, type=click.IntRange(4))
@click.option("--workers", default=2, show_default=True, type=click.IntRange(1))
@click.option("--severity", type=click.Choice(sorted(SEVERITIES)), default="ordinary", show_default=True)
@click.option("--steps/--no-steps", default=True, help="Also read each photo step by step.")
@click.option("--job/--no-job", default=True, help="Run `daybox collect`.")
def main(cache: Path, photos: int, workers: int, severity: str, steps: bool, job: bool) -> None:
    """Measure, and print the figures."""
    paths = make_photos(cache, photos, severity)
    megabytes = statistics.median(path.stat().st_size for path in paths) / 1e6
    click.echo(f"{photos} photos, {severity}, 12 megapixels, median {megabytes:.1f} MB; {workers} workers")
    if job:
        few, whole = run_collect(cache, paths[:workers], workers), run_collect(cache, paths, workers)
        more = photos - workers
        wall, spent = (whole.wall - few.wall) / more, (whole.processor - few.processor) / more
        click.echo(
            f"daybox collect: {whole.wall:.1f} s, {photos / whole.wall:.2f} charts a second "
            f"({whole.processor:.1f} s of processor, largest process {whole.memory:.0f} MB)"
        )
        click.echo(
            f"without start-up ({few.wall - workers * wall:.1f} s): {1 / wall:.2f} charts a second; "
            f"processor {1000 * spent:.0f} ms a chart, enough for {workers / spent:.2f} a second"
        )
    if steps:
        report_steps(read_stepwise(cache, paths))


if __name__ == "__main__":
    main()
