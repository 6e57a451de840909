"""How much memory bulk import takes, and whether it grows: `python tests/bench/collect_memory.py [FILES]`.

Files of 12 megapixels in one zip, all with other bytes, and a reader that only looks at the tone, so that
what is measured is taking in, decoding, handing over and writing down. Prints the resident memory of the
parent on the way, and the highest that it and any one reading process reached.
"""

import os
import resource
import sys
import tempfile
import time
import zipfile
from collections.abc import Mapping
from pathlib import Path

import numpy as np
from PIL import Image

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from plain_chart import plain_layout

from ingest.chart.layout import Layout
from ingest.collect.batch import collect
from ingest.collect.reader import Reader
from ingest.ledger.records import ChartRecord
from ingest.ledger.store import Ledger
from ingest.plan.roster import Student
from ingest.reading.values import BoxReading, Candidate, Finer, Grey, PageReading, TextLayer

CODE = "K7QF-3M2P"
FLAT = bytes(300_000)  # a flattened page takes about so much


def make_reader(layouts: Mapping[str, Layout], chart_layouts: Mapping[str, str]) -> Reader:
    (layout,) = layouts.values()
    names = [box.name for box in (*layout.boxes, *layout.outside)]

    def read(grey: Grey, text: TextLayer | None, finer: Finer | None) -> PageReading:
        del text, finer
        ink = float(grey.mean()) / 255
        readings = [
            BoxReading(name, (Candidate(20, "20", 0.9), Candidate(70, "70", 0.1)), ink) for name in names
        ]
        return PageReading(
            next(iter(chart_layouts)), "2027-10", "qr", "", readings, FLAT, 0.1, 8, next(iter(layouts))
        )

    return read


def write_pile(path: Path, files: int) -> None:
    noise = np.random.default_rng(1).integers(0, 256, (1512, 2016, 3), dtype=np.uint8)
    with tempfile.NamedTemporaryFile(suffix=".jpg") as photo:
        Image.fromarray(noise).resize((4032, 3024)).save(photo.name, quality=75)
        data = Path(photo.name).read_bytes()
    with zipfile.ZipFile(path, "w") as pile:
        for number in range(files):
            pile.writestr(f"Student {number}/IMG.jpg", data + number.to_bytes(4, "big"))
    print(f"{files} photos of 12 megapixels, {len(data) / 1e6:.1f} MB each")


def resident_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def show(what: str, done: int, total: int | None) -> None:
    if done % 50 == 0:
        print(f"{what:10} {done:4}  parent {resident_mb():4.0f} MB")


def main() -> None:
    files = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    with tempfile.TemporaryDirectory() as folder:
        write_pile(Path(folder) / "pile.zip", files)
        with Ledger.open(Path(folder)) as ledger:
            ledger.sync_roster([Student(f"S{n:03}", "Student", f"Number{n}", "Band") for n in range(500)])
            ledger.add_charts([ChartRecord(CODE, "S001", ledger.add_layout(plain_layout()))])
            began = time.monotonic()
            summary = collect(ledger, [Path(folder) / "pile.zip"], on_progress=show, make_reader=make_reader)
            seconds = time.monotonic() - began
        assert summary.pages == files, summary
    most = [
        resource.getrusage(who).ru_maxrss / 1e3 for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    ]
    print(f"{files / seconds:.1f} files a second")
    print(
        f"most memory: parent {most[0]:.0f} MB (making the pile included), a reading process {most[1]:.0f} MB"
    )


if __name__ == "__main__":
    main()
