"""How well the handwriting reader reads, box by box, on hands and digits that never trained it.

    python tests/bench/handwriting.py --data FOLDER [--strings 3000] [--part test]

FOLDER holds the open data. Three sets, all through the shipped reader as charts use it:
drawn strings of one to three digits by writers of part "test", on lightly grained paper; MNIST's test
digits (the 3,000 that FOLDER has); Semeion. And a fourth through `python -m ingest.reading.numerals`, whole
strings: two to eight digits by the same writers, cut out as if from forms, closely, in any size, on patterned
paper or in black and white. Prints right, wrong and declined ("?"), wrong among the surest
97 %, with Clopper-Pearson bounds, and milliseconds a box on one core.
"""

import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import click
import cv2
import numpy as np
from scipy.stats import beta

from ingest.chart.layout import Kind
from ingest.reading.ink import find_traces, flatten
from ingest.reading.numerals import Numerals, view_of
from ingest.reading.values import Grey
from ingest.training.ink import load_writers
from ingest.training.split import Part
from ingest.training.strings import DIGITS, HEIGHT, MARGIN, Pencil, Sources, write_strokes


@dataclass(frozen=True, slots=True)
class Sample:
    """A cropped box and what it says."""

    crop: Grey
    text: str


def drawn(data: Path, count: int, part: Part) -> Iterator[Sample]:
    """Strings of one to three digits, one hand each, inked on paper."""
    sources = Sources.of(load_writers(data, [part]), {})
    rng = np.random.default_rng(20261125)
    for _ in range(count):
        text = "".join(rng.choice(list(DIGITS), size=int(rng.integers(1, 4))))
        pencil = Pencil(100)
        strokes = write_strokes(sources, text, rng).strokes
        every = np.concatenate(strokes)
        low, span = every.min(axis=0), np.maximum(np.ptp(every, axis=0), 1e-3)
        room = np.array([200, 2 * HEIGHT]) - 4 * MARGIN
        scale = min(float(rng.uniform(0.45, 0.8)) * 2 * HEIGHT, *(room / span))
        shift = 2 * MARGIN + (room - span * scale) * rng.uniform(0.2, 0.8, 2)
        pen = float(rng.uniform(3.0, 6.0))
        for stroke in strokes:
            pencil.stroke(0, ((stroke - low) * scale + shift).astype(np.float32), pen)
        ink = pencil.layers()[0].astype(np.float32) / 255
        paper = 225 - float(rng.uniform(70, 180)) * cv2.GaussianBlur(ink, (0, 0), 1.0)
        yield Sample(np.clip(paper + rng.normal(0, 3, paper.shape), 0, 255).astype(np.uint8), text)


def scanned(pictures: Grey, labels: Grey, wide: float, high: float) -> Iterator[Sample]:
    """Scanned digits (0 paper, 255 ink) as boxes on white."""
    for picture, label in zip(pictures, labels, strict=True):
        grown = cv2.resize(picture, None, fx=wide, fy=high, interpolation=cv2.INTER_LINEAR)
        soft = cv2.GaussianBlur(grown, (0, 0), 1.5)
        bordered = cv2.copyMakeBorder(soft, 20, 20, 50, 50, cv2.BORDER_CONSTANT, value=0)
        yield Sample(np.asarray(255 - bordered, np.uint8), str(label))


def report(name: str, samples: Sequence[Sample], reader: Numerals) -> None:
    begun = time.process_time()
    read = reader.read([sample.crop for sample in samples], [Kind.MINUTES] * len(samples))
    spent = (time.process_time() - begun) / len(samples)
    best = [found[0] for found, _ in read]
    # A drawn "07" is seven minutes: the value counts, as on a chart.
    right = [one.value == int(sample.text) for one, sample in zip(best, samples, strict=True)]
    declined = sum(one.value is None for one in best)
    order = np.argsort([-one.probability if one.value is not None else 0.0 for one in best])
    surest = order[: round(0.97 * len(order))]
    wrong = sum(not right[n] for n in surest)
    low = float(beta.ppf(0.025, wrong, len(surest) - wrong + 1)) if wrong else 0.0
    high = float(beta.ppf(0.975, wrong + 1, len(surest) - wrong))
    click.echo(
        f"{name:28} {len(samples):5} read  right {sum(right) / len(samples):7.2%}  "
        f"declined {declined / len(samples):6.2%}  of the surest 97 % wrong {wrong} "
        f"({low:.2%} to {high:.2%})  {1000 * spent:.2f} ms a box"
    )


FORMS = ("plain", "close", "pattern", "black and white", "line")


def cut_from_forms(data: Path, count: int, part: Part) -> Iterator[Sample]:
    """Two to eight digits in one hand, cut out of a paper with its faults."""
    sources = Sources.of(load_writers(data, [part]), {})
    rng = np.random.default_rng(20261126)
    for _ in range(count):
        length = int(rng.choice(range(2, 9), p=[0.1, 0.2, 0.25, 0.2, 0.12, 0.08, 0.05]))
        text = "".join(rng.choice(list(DIGITS), size=length))
        strokes = write_strokes(sources, text, rng).strokes
        every = np.concatenate(strokes)
        low, span = every.min(axis=0), np.ptp(every, axis=0)
        form = FORMS[int(rng.integers(len(FORMS)))]
        tall, fine = float(rng.uniform(24, 110)), 4  # px; drawn so many times finer
        margin = fine * (float(rng.uniform(0, 3) if form == "close" else rng.uniform(2, 25)) + 1)
        scale = fine * tall / max(float(span[1]), 0.4)
        size = np.ceil(span * scale + 2 * margin).astype(int)
        drawn_fine = np.zeros((int(size[1]), int(size[0])), np.uint8)
        pen = max(3, round(float(rng.uniform(0.05, 0.16)) * tall * fine))
        for stroke in strokes:
            points = np.round((stroke - low) * scale + margin).astype(np.int32)
            cv2.polylines(drawn_fine, [points], isClosed=False, color=255, thickness=pen)
        small = cv2.resize(drawn_fine, None, fx=1 / fine, fy=1 / fine, interpolation=cv2.INTER_AREA)
        ink = np.asarray(small, np.float32) / 255
        rows, columns = np.mgrid[: ink.shape[0], : ink.shape[1]]
        paper = np.full(ink.shape, rng.uniform(170, 250), np.float32)
        if form == "pattern":
            turn, pace = rng.uniform(0, np.pi), rng.uniform(0.2, 1.2)
            waves = np.sin(pace * (columns * np.cos(turn) + rows * np.sin(turn)))
            paper += float(rng.uniform(8, 35)) * waves
        elif form == "line":
            at = int(len(ink) * rng.uniform(0.75, 0.98))
            paper[max(0, at - 1) : at + 1] -= rng.uniform(40, 120)
        grey = paper * (1 - ink * rng.uniform(0.55, 0.95)) + rng.normal(0, rng.uniform(1, 8), ink.shape)
        picture = np.asarray(np.clip(grey, 0, 255), np.uint8)
        if form == "black and white":
            _, black_and_white = cv2.threshold(picture, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
            picture = np.asarray(black_and_white, np.uint8)
        yield Sample(picture, text)


def report_forms(samples: Sequence[Sample], reader: Numerals) -> None:
    right = 0
    for sample in samples:
        flat = flatten(sample.crop, 0)
        ink = find_traces(flat).ink
        right += ink is not None and reader.text_of(view_of(flat.picture, ink))[0] == sample.text
    wrong = len(samples) - right
    low = float(beta.ppf(0.025, right, wrong + 1))
    high = float(beta.ppf(0.975, right + 1, wrong)) if wrong else 1.0
    share = f"right {right / len(samples):7.2%} ({low:.1%} to {high:.1%})"
    click.echo(f"{'cut from forms, whole string':28} {len(samples):5} read  {share}")


@click.command()
@click.option("--data", type=click.Path(exists=True, file_okay=False, path_type=Path), required=True)
@click.option("--strings", default=3000, show_default=True)
@click.option("--part", type=click.Choice(["calibrate", "test"]), default="test", show_default=True)
def main(data: Path, strings: int, part: Part) -> None:
    """Read the three sets and print the figures."""
    cv2.setNumThreads(1)
    reader = Numerals.load()
    report("drawn, 1 to 3 digits", list(drawn(data, strings, part)), reader)
    report_forms(list(cut_from_forms(data, max(1, strings // 5), part)), reader)
    with np.load(data / "mnist.npz") as archive:
        pictures, labels = archive["test_images"], archive["test_labels"]
    report("MNIST test digits", list(scanned(pictures, labels, 3, 3)), reader)
    with np.load(data / "semeion.npz") as archive:
        pictures, labels = archive["images"], archive["labels"]
    report("Semeion", list(scanned(pictures, labels, 3, 4.5)), reader)


if __name__ == "__main__":
    main()
