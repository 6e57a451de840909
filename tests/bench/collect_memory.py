"""How much memory bulk import takes, and whether it grows.

    python tests/bench/collect_memory.py --cache FOLDER [--returns 1000] [--workers 2]

Runs `daybox collect` as a process of its own on so many photos of 12 megapixels, all with other bytes, and
looks ten times on the way at what it and its reading processes hold in memory (their proportional share, so
that a library that several have loaded counts once). FOLDER holds the photos of
tests/bench/collect_speed.py, which are made if they are missing. Linux only.
"""

import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import click

sys.path.insert(0, str(Path(__file__).resolve().parent))

from collect_speed import make_photos

from ingest.ledger.store import Ledger

PHOTOS = 60  # different ones


def family(root: int) -> Iterator[int]:
    """A process, its children, theirs, and so on."""
    yield root
    for task in Path(f"/proc/{root}/task").glob("*/children"):
        for child in task.read_text(encoding="ascii").split():
            yield from family(int(child))


def held_mb(process: int) -> float:
    """Its proportional share of memory (proc(5), smaps_rollup)."""
    for line in Path(f"/proc/{process}/smaps_rollup").read_text(encoding="ascii").splitlines():
        if line.startswith("Pss:"):
            return int(line.split()[1]) / 1e3
    return 0.0


def write_pile(folder: Path, photos: list[bytes], returns: int) -> None:
    for number in range(returns):
        data = photos[number % len(photos)] + number.to_bytes(
            4, "big"
        )  # after a JPEG's end, anything may come
        (folder / f"IMG_{number:04}.jpg").write_bytes(data)


@click.command()
@click.option("--cache", type=click.Path(file_okay=False, path_type=Path), required=True)
@click.option("--returns", default=1000, show_default=True)
@click.option("--workers", default=2, show_default=True)
def main(cache: Path, returns: int, workers: int) -> None:
    """Collect, look ten times, and print the figures."""
    photos = [path.read_bytes() for path in make_photos(cache, PHOTOS, "ordinary")]
    with tempfile.TemporaryDirectory() as name:
        folder, pile = Path(name) / "challenge", Path(name) / "pile"
        pile.mkdir()
        write_pile(pile, photos, returns)
        shutil.copytree(cache / "challenge", folder)
        options: list[str | Path] = ["--folder", folder, "--workers", str(workers), pile]
        process = subprocess.Popen(
            [sys.executable, "-m", "ingest", "collect", *options], stdout=subprocess.PIPE, text=True
        )
        most, shown = 0.0, 0
        with Ledger.open(folder) as ledger:
            while process.poll() is None:
                time.sleep(1)
                try:
                    held = [held_mb(each) for each in family(process.pid)]
                except OSError:  # one of them is just ending
                    continue
                most = max(most, sum(held))
                done = len(ledger.returns()) - len(ledger.waiting())
                if done * 10 >= (shown + 1) * returns:
                    shown = done * 10 // returns
                    each = ", ".join(f"{mb:.0f}" for mb in held)
                    click.echo(f"{done:5} of {returns} read: {sum(held):5.0f} MB ({each})")
        click.echo(process.communicate()[0])
        click.echo(f"most at any second: {most:.0f} MB, in {1 + workers} processes")


if __name__ == "__main__":
    main()
