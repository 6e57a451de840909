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
from ingest.chart.layout import Kind, Layout, lay_out
from ingest.check.evidence import POOR_FIT_MM
from ingest.demo.camera import SEVERITIES, photograph
from ingest.demo.children import any_child
from ingest.demo.diary import Diary, any_habits, keep_diary
from ingest.demo.fill import any_writer, fill
from ingest.demo.hands import Hand
from ingest.demo.make_hands import writers_of
from ingest.errors import PageError
from ingest.paper import Box
from ingest.plan.challenge import Challenge, make_challenge
from ingest.reading.blank import Blankness, Signs
from ingest.reading.certainty import Calibration, Tried
from ingest.reading.numerals import Look, Numerals
from ingest.reading.page import read_page
from ingest.reading.values import Candidate, Grey, PageReading
from ingest.training.thresholds import added, try_thresholds

DPI = 250
# Nobody has counted how photos come home; a wish is kept on a pile like this, with one hard photo in eight,
# and every other child as odd as those of the proving ground.
SHARES = {"gentle": 0.25, "ordinary": 0.625, "hard": 0.125}
DIGITS = "0123456789"
SHIPPED = Path(__file__).parents[1] / "reading" / "model" / "calibration.json"


@dataclass(frozen=True, slots=True)
class Seen:
    """One box: what was written, its minutes, and what was seen.

    is_blank: whether nothing at all was written. net to flat: what spoke for that, see `Signs`. text, value,
    chance: what the net said of it if something was, and its own probability of that; "" and 0
    if it was not asked.
    """

    hand: str
    severity: str
    box: str
    written: str
    mishap: str
    is_blank: bool
    is_number: bool
    truth: int | None
    net: float
    contrast: float | None
    grain: float
    flat: float
    text: str
    value: int | None
    chance: float

    @property
    def signs(self) -> Signs:
        return Signs(self.net, self.contrast, self.grain, self.flat)

    @property
    def right(self) -> bool:
        """Whether the net is, if it takes the box for written in."""
        return self.is_number and self.text != "?" and (self.value or 0) == (self.truth or 0)


class Watched(Numerals):
    """The reader, and what it saw on the last page."""

    looks: Sequence[Look] = ()

    def look(self, crops: Sequence[Grey], kinds: Sequence[Kind]) -> list[Look]:
        found = super().look(crops, kinds)
        self.looks = found
        return found


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

    def read(self, numerals: Numerals) -> PageReading:
        """Through the whole chain. Raises PageError."""
        cv2.setNumThreads(1)
        with Image.open(io.BytesIO(self.jpeg)) as picture:
            grey = np.asarray(ImageOps.exif_transpose(picture).convert("L"))
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
    severity = str(rng.choice(list(SHARES), p=list(SHARES.values())))
    if number % 2:  # children who draw, strike out and write words, too
        writer, habits = any_child(hand, severity, rng)
    else:
        writer, habits = any_writer(hand, rng), any_habits(rng)
    diary = keep_diary(areas, habits, writer.hand, rng)
    fill(page, DPI / 25.4, areas, diary.entries, writer, rng)
    taken = photograph(page, (layout.paper.width, layout.paper.height), rng, SEVERITIES[severity])
    return Photo(hand.writer, severity, challenge, layout, code, diary, taken.jpeg)


def chart(job: tuple[Hand, int, Path]) -> list[Seen]:
    """What the reader sees on one chart; the photo is kept under the path, for `trial`."""
    hand, number, path = job
    photo = photo_of(hand, number)
    path.write_bytes(pickle.dumps(photo))
    reader = Watched.load(Calibration())
    try:
        page = photo.read(reader)
    except PageError:
        return []
    if page.residual_mm > POOR_FIT_MM:  # nobody trusts what is read there, and its boxes may show other ones
        return []
    names = [box.name for box in (*photo.layout.boxes, *photo.layout.outside)]
    return [
        _seen(photo, name, look)
        for name, look in zip(names, reader.looks, strict=True)
        if name in photo.diary.truth
    ]


def _seen(photo: Photo, name: str, look: Look) -> Seen:
    entry = photo.diary.entries[name]
    best = look.said.written[0] if look.said else Candidate(None, "", 0.0)
    return Seen(
        photo.hand,
        photo.severity,
        name,
        entry.text,
        str(entry.mishap or ""),
        not (entry.text or entry.mishap or entry.drawing),
        name not in photo.diary.no_number,
        photo.diary.truth[name],
        look.signs.net,
        look.signs.contrast,
        look.signs.grain,
        look.signs.flat,
        best.text,
        best.value,
        best.probability,
    )


def trial(job: tuple[Path, Calibration]) -> list[Tried]:
    """The same chart read as it will be from now on, and settled at each threshold."""
    path, calibration = job
    photo: Photo = pickle.loads(path.read_bytes())
    try:
        reading = photo.read(Numerals.load(calibration))
    except PageError:
        reading = None
    return try_thresholds(reading, photo.challenge, photo.diary)


def fit(signs: npt.NDArray[np.float64], right: npt.NDArray[np.bool_]) -> npt.NDArray[np.float64]:
    """Weights of the logistic that makes what happened most probable, the shift last (Newton's method).

    signs: (n, k). Platt's targets, (n + 1) / (n + 2) in place of 1, keep it from being surer than n boxes
    allow.
    """
    good, bad = int(right.sum()), int((~right).sum())
    target = np.where(right, (good + 1) / (good + 2), 1 / (bad + 2))
    columns = np.column_stack([signs, np.ones(len(signs))])
    weights = np.zeros(columns.shape[1])
    for _ in range(50):
        chance = 1 / (1 + np.exp(-np.clip(columns @ weights, -30, 30)))
        slope = columns.T @ (chance - target)
        curve = (columns * (chance * (1 - chance))[:, None]).T @ columns + 1e-6 * np.eye(len(weights))
        weights = weights - np.linalg.solve(curve, slope)
    return weights


_SUREST = 0.999


def calibrate(boxes: Sequence[Seen]) -> dict[str, Any]:
    """The correction and the figures behind it.

    First what tells blank boxes from others, then, of the boxes that were taken for written in, how far the
    net's probabilities hold. Neither is held surer than the errors among the surest support, by Laplace's
    rule.
    """
    known = [astuple(box.signs) for box in boxes if box.contrast is not None]
    whether = np.array([box.is_blank for box in boxes if box.contrast is not None])
    *weights, bias = (round(float(weight), 4) for weight in fit(np.array(known), whether))
    blankness = Blankness(bias, *weights)
    blank = np.array([blankness.chance(box.signs) for box in boxes])
    surely_blank = blank > _SUREST
    written = (blank < 0.5) & np.array([box.text not in ("", "?") for box in boxes])
    chance = np.clip([box.chance for box in boxes], 1e-9, 1 - 1e-9)
    odds = np.log(chance / (1 - chance))
    right = np.array([box.right for box in boxes])
    slope, shift = fit(odds[written, None], right[written])
    # A dash taken for blank changes nothing: as for thresholds, what counts are minutes.
    adds_nothing = np.array([box.is_blank or (box.is_number and not box.truth) for box in boxes])
    surest = written & (slope * odds + shift > np.log(_SUREST / (1 - _SUREST)))

    def supported(chosen: npt.NDArray[np.bool_], true: npt.NDArray[np.bool_]) -> float:
        return min(0.9999, round(1 - (int((chosen & ~true).sum()) + 1) / (int(chosen.sum()) + 2), 6))

    return {
        "blank": supported(surely_blank, adds_nothing),
        "blankness": list(astuple(blankness)),
        "slope": round(float(slope), 4),
        "shift": round(float(shift), 4),
        "most": supported(surest, right),
        "boxes": len(boxes),
        "written": int(written.sum()),
        "wrong": int((written & ~right).sum()),
        "surest": int(surest.sum()),
        "surest_wrong": int((surest & ~right).sum()),
        "surely_blank": int(surely_blank.sum()),
        "surely_blank_wrong": int((surely_blank & ~adds_nothing).sum()),
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
        figures = calibrate(boxes)
        correction = Calibration.of(figures)
        trials = list(pool.map(trial, [(path, correction) for path in photos]))
    _write_trials(out / "thresholds.csv", [hand.writer for hand, _, _ in jobs], trials)
    table = added(trials)
    figures |= {"charts": charts, "hands": len(hands), "thresholds": [asdict(row) for row in table]}
    into.write_text(json.dumps(figures, indent=2) + "\n", encoding="utf-8")
    click.echo(json.dumps(figures, indent=2))


if __name__ == "__main__":
    main()
