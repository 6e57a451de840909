"""Measures how far the reader's own probabilities can be trusted, and writes the correction.

    python -m ingest.training.calibrate --data FOLDER [--charts 300]

Charts are filled in by the hands of part "calibrate", photographed by the demo's camera and read through
the whole chain, page, boxes and handwriting; every box is compared with what was written. Then they are read
again with the correction, added up as the check room does, and tried at every threshold. Writes
`ingest/reading/model/calibration.json`, with the figures behind it, and `calibration.csv` (every box) and
`thresholds.csv` (every chart at every threshold) to --out.
"""

import csv
import io
import json
import multiprocessing
import pickle
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, astuple, dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import click
import cv2
import numpy as np
import numpy.typing as npt
import pypdfium2
from PIL import Image, ImageOps

from ingest.chart.charts import Chart
from ingest.chart.code import new_code
from ingest.chart.design import load_design
from ingest.chart.drawing import draw_charts
from ingest.chart.layout import Layout, lay_out
from ingest.demo.camera import SEVERITIES, photograph
from ingest.demo.diary import Diary, any_habits, keep_diary
from ingest.demo.fill import any_writer, fill
from ingest.demo.hands import Hand
from ingest.demo.make_hands import writers_of
from ingest.errors import PageError
from ingest.paper import Box
from ingest.plan.challenge import Challenge, make_challenge
from ingest.reading.certainty import Calibration, Tried
from ingest.reading.numerals import Numerals
from ingest.reading.page import read_page
from ingest.reading.values import PageReading
from ingest.training.thresholds import added, try_thresholds

DPI = 250
# Nobody has counted how photos come home; a wish is kept on a pile like this, with one hard photo in eight.
SHARES = {"gentle": 0.25, "ordinary": 0.625, "hard": 0.125}
DIGITS = "0123456789"
SHIPPED = Path(__file__).parents[1] / "reading" / "model" / "calibration.json"


@dataclass(frozen=True, slots=True)
class Seen:
    """One box: what was written, its minutes, what was read and the net's own probability of it."""

    hand: str
    severity: str
    box: str
    written: str
    mishap: str
    truth: int | None
    text: str
    value: int | None
    chance: float

    @property
    def right(self) -> bool:
        return self.text != "?" and self.value == self.truth


def whole_hands(data: Path) -> list[Hand]:
    """The calibrating hands; the digits one lacks are lent by the others in turn."""
    hands = list(writers_of(data, "calibrate"))
    lenders = [hand for hand in hands if hand.can_write(DIGITS)]
    whole = []
    for number, hand in enumerate(hands):
        missing = [digit for digit in DIGITS if digit not in hand.glyphs]
        lent = {digit: lenders[(number + k) % len(lenders)].glyphs[digit] for k, digit in enumerate(missing)}
        whole.append(replace(hand, glyphs={**hand.glyphs, **lent}))
    return whole


@dataclass(frozen=True, slots=True)
class Photo:
    """One photographed chart, and what was written on it. code: the chart's."""

    hand: str
    severity: str
    challenge: Challenge
    layout: Layout
    code: str
    diary: Diary
    jpeg: bytes

    def read(self, calibration: Calibration) -> PageReading:
        """Through the whole chain. Raises PageError."""
        cv2.setNumThreads(1)
        with Image.open(io.BytesIO(self.jpeg)) as picture:
            grey = np.asarray(ImageOps.exif_transpose(picture).convert("L"))
        numerals = Numerals.load(calibration)
        return read_page(grey, {"only": self.layout}, {self.code: "only"}, numerals)


def photo_of(hand: Hand, number: int) -> Photo:
    """One chart, from the empty page to the photo. All random choices follow from the number."""
    cv2.setNumThreads(1)
    rng = np.random.default_rng([20261125, number])
    month = f"2027-{1 + number % 12:02}"
    challenge = make_challenge({"month": month, "paper": "letter" if number % 3 else "a4"}, "calibration")
    design = load_design("minutes", Path())
    layout: Layout = lay_out(challenge, design)
    code = new_code()
    pdf = pypdfium2.PdfDocument(draw_charts(challenge, design, layout, [Chart(code, None)]))
    page = np.ascontiguousarray(pdf[0].render(scale=DPI / 72).to_numpy()[:, :, :3])
    areas: dict[str, Box] = {box.name: box.area for box in layout.boxes if box.name != "name"}
    diary = keep_diary(areas, any_habits(rng), hand, rng)
    fill(page, DPI / 25.4, areas, diary.entries, any_writer(hand, rng), rng)
    severity = str(rng.choice(list(SHARES), p=list(SHARES.values())))
    taken = photograph(page, (layout.paper.width, layout.paper.height), rng, SEVERITIES[severity])
    return Photo(hand.writer, severity, challenge, layout, code, diary, taken.jpeg)


def chart(job: tuple[Hand, int, Path]) -> list[Seen]:
    """One chart read with the net's own probabilities; the photo is kept under the path, for `trial`."""
    hand, number, path = job
    photo = photo_of(hand, number)
    path.write_bytes(pickle.dumps(photo))
    try:
        reading = photo.read(Calibration())
    except PageError:
        return []
    return [
        Seen(
            photo.hand,
            photo.severity,
            each.box,
            photo.diary.entries[each.box].text,
            str(photo.diary.entries[each.box].mishap or ""),
            photo.diary.truth[each.box],
            each.best.text,
            each.best.value,
            each.best.probability,
        )
        for each in reading.readings
        if each.box in photo.diary.truth
    ]


def trial(job: tuple[Path, Calibration]) -> list[Tried]:
    """The same chart read as it will be from now on, and settled at each threshold."""
    path, calibration = job
    photo: Photo = pickle.loads(path.read_bytes())
    try:
        reading = photo.read(calibration)
    except PageError:
        reading = None
    return try_thresholds(reading, photo.challenge, photo.diary)


def fit(odds: npt.NDArray[np.float64], right: npt.NDArray[np.bool_]) -> tuple[float, float]:
    """Slope and shift of the logistic that makes what happened most probable (Newton's method).

    Platt's targets, (n + 1) / (n + 2) in place of 1, keep it from being surer than n boxes allow.
    """
    good, bad = int(right.sum()), int((~right).sum())
    target = np.where(right, (good + 1) / (good + 2), 1 / (bad + 2))
    columns = np.stack([odds, np.ones_like(odds)], axis=1)
    weights = np.array([1.0, 0.0])
    for _ in range(50):
        chance = 1 / (1 + np.exp(-columns @ weights))
        slope = columns.T @ (chance - target)
        curve = (columns * (chance * (1 - chance))[:, None]).T @ columns + 1e-6 * np.eye(2)
        weights = weights - np.linalg.solve(curve, slope)
    return float(weights[0]), float(weights[1])


def calibrate(boxes: Sequence[Seen]) -> dict[str, float | int]:
    """The correction and the figures behind it. Only boxes that the net saw written in are fitted."""
    chance = np.clip([box.chance for box in boxes], 1e-9, 1 - 1e-9)
    right = np.array([box.right for box in boxes])
    written = np.array([box.text not in ("", "?") for box in boxes])
    odds = np.log(chance / (1 - chance))
    slope, shift = fit(odds[written], right[written])
    top = written & (slope * odds + shift > np.log(0.999 / 0.001))
    # The surest thousandth-wrong part: what its own count of errors supports, by Laplace's rule.
    most = 1 - (int((~right[top]).sum()) + 1) / (int(top.sum()) + 2)
    looked = [box for box in boxes if box.text == "" and box.chance == Calibration().blank]
    blank = 1 - (sum(not box.right for box in looked) + 1) / (len(looked) + 2)
    return {
        "blank": round(blank, 6),
        "slope": round(slope, 4),
        "shift": round(shift, 4),
        "most": round(min(0.9999, float(most)), 6),
        "boxes": len(boxes),
        "written": int(written.sum()),
        "wrong": int((written & ~right).sum()),
        "surest": int(top.sum()),
        "surest_wrong": int((top & ~right).sum()),
        "blank_by_looking": len(looked),
        "blank_by_looking_wrong": sum(not box.right for box in looked),
    }


def _write_trials(path: Path, hands: Sequence[str], trials: Sequence[Sequence[Tried]]) -> None:
    """What came of each chart at each threshold. hands: who wrote each."""
    with path.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(["chart", "hand", *Tried.__slots__])
        for number, (hand, trial) in enumerate(zip(hands, trials, strict=True)):
            rows.writerows([number, hand, *astuple(row)] for row in trial)


@click.command()
@click.option("--data", type=click.Path(exists=True, file_okay=False, path_type=Path), required=True)
@click.option("--charts", default=300, show_default=True)
@click.option("--workers", default=2, show_default=True)
@click.option("--out", type=click.Path(path_type=Path), default=Path("bench-report/calibration"))
@click.option(
    "--into", type=click.Path(dir_okay=False, path_type=Path), default=SHIPPED, help="The figures' file."
)
def main(data: Path, charts: int, workers: int, out: Path, into: Path) -> None:
    """Read charts by calibrating hands and write the correction."""
    hands = whole_hands(data)
    boxes: list[Seen] = []
    out.mkdir(parents=True, exist_ok=True)
    names = Seen.__slots__
    with (
        TemporaryDirectory(dir=out, prefix=".photos-") as kept,
        ProcessPoolExecutor(workers, multiprocessing.get_context("spawn")) as pool,
        (out / "calibration.csv").open("w", encoding="utf-8", newline="") as file,
    ):
        rows = csv.writer(file)
        rows.writerow([*names, "right"])
        photos = [Path(kept) / f"{number}.pickle" for number in range(charts)]
        jobs = [(hands[number % len(hands)], number, path) for number, path in enumerate(photos)]
        for some in pool.map(chart, jobs):
            boxes += some
            rows.writerows([*(getattr(box, name) for name in names), box.right] for box in some)
            file.flush()
        figures: dict[str, Any] = dict(calibrate(boxes))
        correction = Calibration(figures["slope"], figures["shift"], figures["most"], figures["blank"])
        trials = list(pool.map(trial, [(path, correction) for path in photos]))
    _write_trials(out / "thresholds.csv", [hand.writer for hand, _, _ in jobs], trials)
    table = added(trials)
    figures |= {"charts": charts, "hands": len(hands), "thresholds": [asdict(row) for row in table]}
    into.write_text(json.dumps(figures, indent=2) + "\n", encoding="utf-8")
    click.echo(json.dumps(figures, indent=2))


if __name__ == "__main__":
    main()
