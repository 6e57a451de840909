"""The open handwriting that strings are drawn from: pen strokes and scanned digits.

Files and licences: see LICENSE, "Third-party data and fonts". All archives are read from one folder.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from ingest.training.split import Part, part_of

Points = npt.NDArray[np.float32]  # shape (n, 2): x, y; y grows down

STROKE_FILES = (
    "unipen_digits_train.npz",
    "unipen_symbols_train.npz",
    "pendigits_train.npz",
    "uji_train.npz",
    "uji_symbols_train.npz",
)
# Recorded coarsely (the data's own notes): their corners are rounded off before drawing.
COARSE_PROVIDERS = {"apa", "app", "ibm", "pen"}


@dataclass(frozen=True, slots=True)
class Glyph:
    """One character as strokes, in units of its writer's usual digit height; top left at 0, 0."""

    strokes: tuple[Points, ...]

    @property
    def size(self) -> tuple[float, float]:
        """Width and height."""
        low = np.min([stroke.min(axis=0) for stroke in self.strokes], axis=0)
        high = np.max([stroke.max(axis=0) for stroke in self.strokes], axis=0)
        return float(high[0] - low[0]), float(high[1] - low[1])


@dataclass(frozen=True, slots=True)
class Writer:
    """Everything one person wrote: character -> glyphs."""

    id: str
    glyphs: Mapping[str, tuple[Glyph, ...]]

    @property
    def count(self) -> int:
        return sum(len(some) for some in self.glyphs.values())


def round_corners(stroke: Points, times: int) -> Points:
    """Chaikin's corner cutting; ends stay."""
    for _ in range(times):
        if len(stroke) < 3:
            return stroke
        early = 0.75 * stroke[:-1] + 0.25 * stroke[1:]
        late = 0.25 * stroke[:-1] + 0.75 * stroke[1:]
        middle = np.stack([early, late], axis=1).reshape(-1, 2)
        stroke = np.concatenate([stroke[:1], middle[1:-1], stroke[-1:]]).astype(np.float32)
    return stroke


def thin_out(stroke: Points, gap: float) -> Points:
    """The stroke without points that lie closer than `gap` to the one kept before."""
    if len(stroke) < 3:
        return stroke
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(stroke, axis=0).T))])
    kept = np.unique(
        np.concatenate([[0], np.searchsorted(along, np.arange(gap, along[-1], gap)), [len(stroke) - 1]])
    )
    return np.asarray(stroke[kept])


def load_writers(folder: Path, parts: Iterable[Part]) -> tuple[Writer, ...]:
    """All writers of those parts who wrote at least one digit, with their symbols and letters."""
    wanted = set(parts)
    ink: dict[str, dict[str, list[Glyph]]] = {}
    for name in STROKE_FILES:
        with np.load(folder / name) as archive:
            data = {key: archive[key] for key in archive.files}
        for n, writer in enumerate(data["writers"].tolist()):
            if part_of(writer) not in wanted:
                continue
            rounds = 2 if data["providers"][n] in COARSE_PROVIDERS else 0
            first, last = data["sample_offsets"][n], data["sample_offsets"][n + 1]
            strokes = tuple(
                thin_out(
                    round_corners(
                        data["points"][data["stroke_offsets"][s] : data["stroke_offsets"][s + 1]]
                        / data["ref_height"][n],
                        rounds,
                    ),
                    0.035,
                )
                for s in range(first, last)
            )
            character = str(data["labels"][n])
            ink.setdefault(writer, {}).setdefault(character, []).append(Glyph(strokes))
    return tuple(
        Writer(name, {character: tuple(some) for character, some in characters.items()})
        for name, characters in sorted(ink.items())
        if any(digit in characters for digit in "0123456789")
    )


Scans = dict[str, list[npt.NDArray[np.uint8]]]  # character -> pictures, 0 paper .. 255 ink, any size


def load_scans(folder: Path) -> Scans:
    """Scanned digits to train on: MNIST's training part and Optical Digits, cut to the ink.

    Who wrote them is not recorded. Semeion is left out, so that it can test.
    """
    return _cut(folder, ("mnist.npz", "train_images", "train_labels"), ("optdigits.npz", "images", "labels"))


def load_test_scans(folder: Path) -> Scans:
    """MNIST's test digits, cut to the ink; never to be trained on."""
    return _cut(folder, ("mnist.npz", "test_images", "test_labels"))


def _cut(folder: Path, *sources: tuple[str, str, str]) -> Scans:
    found: Scans = {digit: [] for digit in "0123456789"}
    for name, images, labels in sources:
        with np.load(folder / name) as archive:
            pictures, digits = archive[images], archive[labels]
        for picture, digit in zip(pictures, digits, strict=True):
            rows, columns = np.any(picture > 40, axis=1), np.any(picture > 40, axis=0)
            top, bottom = np.flatnonzero(rows)[[0, -1]]
            left, right = np.flatnonzero(columns)[[0, -1]]
            found[str(digit)].append(picture[top : bottom + 1, left : right + 1])
    return found
