"""Measures how far the reader's own probabilities can be trusted, and writes the correction.

    python -m ingest.training.calibrate --data FOLDER [--charts 7200]

Charts are filled in by the hands of part "calibrate", photographed by the demo's camera and read through
the whole chain, page, boxes and handwriting; every box is compared with what was written. Then what was seen
is read again with the correction and added up as the check room does: what came of that, on clear charts and
on murky ones, corrects the confidences once more, and is tried at every threshold. Writes
`ingest/reading/model/calibration.json`, with the figures behind it, and `calibration.csv` (every box) and
`thresholds.csv` (every chart at every threshold) to --out.
"""

import csv
import io
import json
import multiprocessing
import os
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import suppress
from dataclasses import asdict, astuple, dataclass, replace
from pathlib import Path
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
from ingest.check.evidence import HIDDEN, POOR_FIT_MM
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
from ingest.reading.certainty import Calibration, Clearness, Tried
from ingest.reading.numerals import Look, Numerals, judged
from ingest.reading.page import read_page
from ingest.reading.values import BoxReading, Candidate, Grey, PageReading
from ingest.training.thresholds import Outcome, added, outcomes, try_thresholds

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
class Photographed:
    """One chart, what was written on it, and what the reader saw on its photo.

    page: before any calibration, without its picture; None where the chart could not be placed. looks: of the
    page's boxes, in their order.
    """

    hand: str
    severity: str
    challenge: Challenge
    diary: Diary
    page: PageReading | None
    looks: Sequence[Look]
    kinds: Sequence[Kind]

    def read_with(self, calibration: Calibration) -> PageReading | None:
        """The page as it is read with a calibration."""
        if self.page is None:
            return None
        each = zip(self.page.readings, self.looks, self.kinds, strict=True)
        readings = tuple(
            old if old.candidates == HIDDEN else BoxReading(old.box, *judged(look, kind, calibration))
            for old, look, kind in each
        )
        return replace(self.page, readings=readings)


def photographed(job: tuple[Hand, int]) -> Photographed:
    """One chart, from the empty page to what the reader sees. All random choices follow from the number."""
    hand, number = job
    cv2.setNumThreads(1)
    rng = np.random.default_rng([20261125, number])
    month = f"2027-{rng.integers(1, 13):02}"
    paper = "a4" if rng.random() < 1 / 3 else "letter"
    challenge = make_challenge({"month": month, "paper": paper}, "calibration")
    design = load_design("minutes", Path())
    layout: Layout = lay_out(challenge, design)
    code = new_code()
    pdf = pypdfium2.PdfDocument(draw_charts(challenge, design, layout, [Chart(code, None)]))
    page = np.ascontiguousarray(pdf[0].render(scale=DPI / 72).to_numpy()[:, :, :3])
    areas: dict[str, Box] = {box.name: box.area for box in layout.boxes if box.name != "name"}
    severity = str(rng.choice(list(SHARES), p=list(SHARES.values())))
    if rng.random() < 0.5:  # children who draw, strike out and write words, too
        writer, habits = any_child(hand, severity, rng)
    else:
        writer, habits = any_writer(hand, rng), any_habits(rng)
    diary = keep_diary(areas, habits, writer.hand, rng)
    fill(page, DPI / 25.4, areas, diary.entries, writer, rng)
    taken = photograph(page, (layout.paper.width, layout.paper.height), rng, SEVERITIES[severity])
    with Image.open(io.BytesIO(taken.jpeg)) as picture:
        grey = np.asarray(ImageOps.exif_transpose(picture).convert("L"))
    reader = Watched.load(Calibration())
    reading = None
    with suppress(PageError):
        reading = replace(read_page(grey, {"only": layout}, {code: "only"}, reader), flat_jpeg=b"")
    kinds = [box.kind for box in (*layout.boxes, *layout.outside)]
    return Photographed(hand.writer, severity, challenge, diary, reading, reader.looks, kinds)


def seen(chart: Photographed) -> list[Seen]:
    """What the reader sees in each box of a chart."""
    page = chart.page
    if page is None or page.residual_mm > POOR_FIT_MM:
        return []  # nobody trusts what is read there, and its boxes may show other ones
    return [
        _seen(chart, reading.box, look)
        for reading, look in zip(page.readings, chart.looks, strict=True)
        if reading.box in chart.diary.truth and not look.is_washed_out  # nor what may be gone
    ]


def _seen(chart: Photographed, name: str, look: Look) -> Seen:
    entry = chart.diary.entries[name]
    best = look.said.written[0] if look.said else Candidate(None, "", 0.0)
    return Seen(
        chart.hand,
        chart.severity,
        name,
        entry.text,
        str(entry.mishap or ""),
        not (entry.text or entry.mishap or entry.drawing),
        name not in chart.diary.no_number,
        chart.diary.truth[name],
        look.signs.net,
        look.signs.contrast,
        look.signs.grain,
        look.signs.flat,
        best.text,
        best.value,
        best.probability,
    )


def trial(job: tuple[Photographed, Calibration]) -> list[Outcome]:
    """The same chart read as it will be from now on, and settled but for how clear it is."""
    chart, calibration = job
    return outcomes(chart.read_with(calibration), chart.challenge, chart.diary)


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
    nine = np.array(["9" in box.text for box in boxes])
    slope, of_nine, shift = fit(np.column_stack([odds, nine])[written], right[written])
    # A dash taken for blank changes nothing: as for thresholds, what counts are minutes.
    adds_nothing = np.array([box.is_blank or (box.is_number and not box.truth) for box in boxes])
    surest = written & (slope * odds + of_nine * nine + shift > np.log(_SUREST / (1 - _SUREST)))

    return {
        "blank": supported(surely_blank, adds_nothing),
        "blankness": list(astuple(blankness)),
        "slope": round(float(slope), 4),
        "shift": round(float(shift), 4),
        "nine": round(float(of_nine), 4),
        "most": supported(surest, right),
        "boxes": len(boxes),
        "written": int(written.sum()),
        "wrong": int((written & ~right).sum()),
        "surest": int(surest.sum()),
        "surest_wrong": int((surest & ~right).sum()),
        "surely_blank": int(surely_blank.sum()),
        "surely_blank_wrong": int((surely_blank & ~adds_nothing).sum()),
    }


def clearness_of(found: Sequence[Outcome]) -> Clearness:
    """What whole charts teach of how far a box can be trusted."""
    confidence = np.clip([each.confidence for each in found], 1e-9, 1 - 1e-9)
    signs = np.column_stack([np.log(confidence / (1 - confidence)), np.log([each.murk for each in found])])
    right = np.array([not each.is_wrong for each in found])
    slope, murk, shift = (round(float(weight), 4) for weight in fit(signs, right))
    bold = Clearness(slope, murk, shift)
    surest = np.array([bold.chance(each.confidence, each.murk) > _SUREST for each in found])
    return replace(bold, most=supported(surest, right))


def supported(chosen: npt.NDArray[np.bool_], right: npt.NDArray[np.bool_]) -> float:
    """How sure so many boxes, and the errors among them, let one be at the most, by Laplace's rule."""
    return round(1 - (int((chosen & ~right).sum()) + 1) / (int(chosen.sum()) + 2), 6)


def _write_trials(path: Path, hands: Sequence[str], trials: Sequence[Sequence[Tried]]) -> None:
    """What came of each chart at each threshold. hands: who wrote each."""
    with path.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(["chart", "hand", *Tried.__slots__])
        for number, (hand, trial) in enumerate(zip(hands, trials, strict=True)):
            rows.writerows([number, hand, *astuple(row)] for row in trial)


@click.command()
@click.option("--data", type=click.Path(exists=True, file_okay=False, path_type=Path), required=True)
@click.option("--charts", default=7200, show_default=True)
@click.option("--workers", default=2, show_default=True)
@click.option("--out", type=click.Path(path_type=Path), default=Path("bench-report/calibration"))
@click.option(
    "--into", type=click.Path(dir_okay=False, path_type=Path), default=SHIPPED, help="The figures' file."
)
def main(data: Path, charts: int, workers: int, out: Path, into: Path) -> None:
    """Read charts by calibrating hands and write the correction."""
    for library in ("OMP", "OPENBLAS"):  # one thread for each process: more only wait for each other
        os.environ.setdefault(f"{library}_NUM_THREADS", "1")
    hands = whole_hands(data)
    out.mkdir(parents=True, exist_ok=True)
    names = Seen.__slots__
    jobs = [(hands[number % len(hands)], number) for number in range(charts)]
    with (
        ProcessPoolExecutor(workers, multiprocessing.get_context("spawn")) as pool,
        (out / "calibration.csv").open("w", encoding="utf-8", newline="") as file,
    ):
        rows = csv.writer(file)
        rows.writerow([*names, "right"])
        pile = []
        boxes = []
        for chart in pool.map(photographed, jobs):
            pile.append(chart)
            some = seen(chart)
            boxes += some
            rows.writerows([*(getattr(box, name) for name in names), box.right] for box in some)
            file.flush()
        figures = calibrate(boxes)
        correction = Calibration.of(figures)
        trials = list(pool.map(trial, [(chart, correction) for chart in pile]))
    clearness = clearness_of([box for found in trials for box in found])
    tried = [try_thresholds(found, clearness) for found in trials]
    _write_trials(out / "thresholds.csv", [hand.writer for hand, _ in jobs], tried)
    figures |= {
        "charts": charts,
        "hands": len(hands),
        "clearness": asdict(clearness),
        "thresholds": [asdict(row) for row in added(tried)],
    }
    into.write_text(json.dumps(figures, indent=2) + "\n", encoding="utf-8")
    click.echo(json.dumps(figures, indent=2))


if __name__ == "__main__":
    main()
