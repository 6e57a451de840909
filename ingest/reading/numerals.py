"""The handwriting reader: what does this box say?

    python -m ingest.reading.numerals IMAGE...

prints for each cropped picture of a number its text and the confidence, as CSV.
"""

import csv
import math
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

from ingest.chart.layout import Kind
from ingest.reading.certainty import Calibration
from ingest.reading.ink import HEIGHT, Ink, find_ink, flatten, flatten_all
from ingest.reading.net import Net, Scores
from ingest.reading.texts import likely_texts, minutes_of
from ingest.reading.values import Candidate, Grey

CROP_MARGIN_MM = 1.5  # a crop is the box's area and so much around it
FLAT_PX_PER_MM = 6  # resolution of the flattened page and so of the crops

# Of a crop's sides, what may hold the printed frame (0.8 mm outside the area) and what lies beyond it.
EDGE_PX = round(1.3 * FLAT_PX_PER_MM)

_WIDTHS = (48, 64, 80, 96, 112, 128, 160, 224, 320)  # px; views are padded to the next of these, for batches
_DIGIT = 0.70 * HEIGHT  # the height that training mostly drew digits at; 0.76 read no better
_SMALLEST = 0.33  # writing lower than this share of the crop is taken for a dash or the like, not enlarged
_KEPT = 6  # candidates kept of each box
_LEAST = 1e-6  # candidates less probable than this are dropped

# How sure a dash is that the net takes for one and that lies as flat as one: among 1,504 boxes by
# calibrating hands all 33 such were dashes, and what else it could be, dirt, is worth no minutes too.
_DASH = 0.99

# The net was trained where one written box in nine is no number; on charts it is hardly one in fifty. Its
# log odds are moved by as much (Bayes; the odds are six times those of training).
_NUMBERS = math.log(6)

# Initials: so much of the box is ink once somebody signed. A dot of dirt is less.
_SIGNED = 0.004


def view_of(crop: Grey, ink: Ink, digit: float = _DIGIT) -> Grey:
    """The crop as the net sees it: HEIGHT px high, the writing `digit` px high and in the middle.

    Where no strokes stand out it is the whole crop.
    """
    height = len(crop)
    tall = max(ink.height, _SMALLEST * height)
    wide = ink.width
    if not ink.clear:
        tall = height * digit / HEIGHT
    scale = min(digit / tall, (_WIDTHS[-1] - 8) / max(wide, 1))
    needed = wide * scale + 16
    across = next((w for w in _WIDTHS if w >= needed), _WIDTHS[-1])
    middle = ((ink.left + ink.right) / 2, (ink.top + ink.bottom) / 2)
    while scale < 0.6:  # halve first: a linear warp would skip pixels
        half = cv2.resize(crop, (crop.shape[1] // 2, crop.shape[0] // 2), interpolation=cv2.INTER_AREA)
        crop = np.asarray(half, np.uint8)
        middle = (middle[0] / 2, middle[1] / 2)
        scale *= 2
    warp = np.array(
        [[scale, 0, across / 2 - scale * middle[0]], [0, scale, HEIGHT / 2 - scale * middle[1]]], np.float32
    )
    seen = cv2.warpAffine(
        crop, warp, (across, HEIGHT), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(seen, np.uint8)


class Numerals:
    """The trained reader. Build it once a process with `load`."""

    def __init__(self, net: Net, calibration: Calibration) -> None:
        self._net, self._calibration = net, calibration

    @classmethod
    def load(cls, calibration: Calibration | None = None) -> "Numerals":
        """The reader that ships with the package, and its calibration unless another is given."""
        return cls(Net.shipped(), calibration or Calibration.load())

    def read(self, crops: Sequence[Grey], kinds: Sequence[Kind]) -> list[tuple[tuple[Candidate, ...], float]]:
        """Read boxes, each cut out with CROP_MARGIN_MM around it at FLAT_PX_PER_MM.

        Returns for each its candidates, most probable first, and its share of ink. For initials the
        text of the candidate is only "" or "?": something is there.
        """
        flats = flatten_all(crops, EDGE_PX)
        inks = [find_ink(flat) for flat in flats]
        found: list[tuple[tuple[Candidate, ...], float]] = [
            ((Candidate(None, "", self._calibration.blank),), ink.share if ink else 0.0) for ink in inks
        ]
        written = [
            n
            for n, (ink, kind) in enumerate(zip(inks, kinds, strict=True))
            if ink and kind in (Kind.MINUTES, Kind.TOTAL)
        ]
        views = [view_of(flats[n].picture, ink) for n in written if (ink := inks[n])]
        for n, candidates in zip(written, self.read_views(views), strict=True):
            if candidates[0].text == "-" and (ink := inks[n]) and is_flat(ink, crops[n]):
                candidates = (replace(candidates[0], probability=max(candidates[0].probability, _DASH)),)
            found[n] = (candidates, found[n][1])
        for n, (ink, kind) in enumerate(zip(inks, kinds, strict=True)):
            if kind in (Kind.MARK, Kind.TEXT) and ink and ink.share >= _SIGNED:
                found[n] = ((Candidate(None, "?", 0.999),), ink.share)
        return found

    def read_views(self, views: Sequence[Grey]) -> list[tuple[Candidate, ...]]:
        """What each view may say, most probable first. Views are as `view_of` makes them."""
        return [candidates_of(scores, self._calibration) for scores in self._net.score(views)]

    def text_of(self, view: Grey) -> tuple[str, float]:
        """The likeliest text of a view, of any length and minutes or not, and how sure."""
        scores = self._net.score([view])[0]
        text, chance = likely_texts(scores.chances)[0]
        return text, self._calibration.certainty(chance * chance_of_number(scores))


def chance_of_number(scores: Scores) -> float:
    """How probable it is that this is a number, among what is written on charts."""
    return 1 / (1 + math.exp(-max(-30.0, min(30.0, scores.number_odds + _NUMBERS))))


def is_flat(ink: Ink, crop: Grey) -> bool:
    """Whether all that is written is one low, wide mark."""
    return ink.clear and ink.height < min(0.18 * len(crop), 0.45 * ink.width) and ink.width < 0.65 * len(crop)


def candidates_of(scores: Scores, calibration: Calibration) -> tuple[Candidate, ...]:
    """What a box may say. Texts of the same minutes count together under the likeliest of them."""
    number = chance_of_number(scores)
    texts = [(text, chance * number) for text, chance in likely_texts(scores.chances)]
    texts.append(("?", 1 - number))
    merged: dict[int | str, tuple[str, float]] = {}
    for text, chance in sorted(texts, key=lambda item: -item[1]):
        value = minutes_of(text)
        key: int | str = value if value is not None else text if text == "" else "?"
        first, total = merged.get(key, (text if key != "?" else "?", 0.0))
        merged[key] = (first, total + chance)
    ordered = sorted(merged.items(), key=lambda item: -item[1][1])[:_KEPT]
    top = ordered[0][1][1]
    certain = calibration.certainty(top)
    rest = (1 - certain) / max(1 - top, 1e-9)
    return tuple(
        Candidate(key if isinstance(key, int) else None, text, certain if n == 0 else chance * rest)
        for n, (key, (text, chance)) in enumerate(ordered)
        if n == 0 or chance * rest > _LEAST
    )


def main(argv: Sequence[str] | None = None) -> int:
    """Read cropped pictures named on the command line; CSV of file, text, confidence on stdout."""
    from PIL import Image

    paths = list(sys.argv[1:] if argv is None else argv)
    calibration = Calibration.load()
    reader = Numerals.load(calibration)
    rows = csv.writer(sys.stdout)
    rows.writerow(["file", "text", "confidence"])
    failed = 0
    for path in paths:
        try:
            with Image.open(Path(path)) as picture:
                crop = np.asarray(picture.convert("L"))
        except (OSError, ValueError, Image.DecompressionBombError) as error:
            print(f"error: {path} cannot be opened as a picture ({error}); it was left out.", file=sys.stderr)
            failed = 1
            continue
        flat = flatten(crop, 0)
        ink = find_ink(flat)
        if ink is None:
            rows.writerow([path, "", f"{calibration.blank:.4f}"])
            continue
        text, confidence = reader.text_of(view_of(flat.picture, ink))
        rows.writerow([path, text, f"{confidence:.4f}"])
    return failed


if __name__ == "__main__":
    sys.exit(main())
