"""The handwriting reader: what does this box say?

    python -m ingest.reading.numerals IMAGE...

prints for each cropped picture of a number its text and the confidence, as CSV.
"""

import csv
import math
import re
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Self

import cv2
import numpy as np

from ingest.chart.layout import Kind
from ingest.reading.blank import Signs, Writing
from ingest.reading.certainty import Calibration
from ingest.reading.ink import HEIGHT, Flattened, Ink, Traces, find_traces, flatten, flatten_all, whole
from ingest.reading.net import Net, Scores
from ingest.reading.parts import cuts
from ingest.reading.texts import likely_texts, written_minutes
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

# How sure a dash is that the net takes for one and that lies as flat as one: of 421 such on 900 charts by
# calibrating hands, 417 were dashes, and two of the others were worth no minutes either.
_DASH = 0.995

# How sure it is that the number beside something that is none is what the box says: of 205 on 1,170 photos by
# calibrating hands, 198 were. Less than is taken without a person: the sums must bear it out.
_BESIDE = 0.95

# What is spelled like this is a number, even where the net takes it for a word: of 945 boxes every one was,
# also of the 255 that it thought none with 0.01 or more (1,170 photos by calibrating hands). Of a bare `m` or
# `h` that is not so.
_WITH_UNIT = re.compile(r"\d{1,3}m[ins]*n[ins]*")
_IS_NUMBER = 0.999

# From here on a box is a number surely enough to tell how dark a page's writing is.
_SURE_NUMBER = 0.9

# The net was trained where one written box in nine is no number; on charts it is hardly one in fifty. Its
# log odds are moved by as much (Bayes; the odds are six times those of training).
_NUMBERS = math.log(6)

# What is left of belief in anything where writing may be gone. Sums may still bear a box out.
_WASHED_OUT = 0.9

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


@dataclass(frozen=True, slots=True)
class Said:
    """The net's own word on one box, before any calibration.

    blank: the probability that it is. written: what it may say if not, and how probable each is then; most
    probable first, at least one.
    """

    blank: float
    written: tuple[Candidate, ...]

    @property
    def is_sure_number(self) -> bool:
        best = self.written[0]
        is_number = best.value is not None and best.text != "-"
        return is_number and best.probability * (1 - self.blank) > _SURE_NUMBER

    @property
    def is_no_number(self) -> bool:
        best = self.written[0]
        return best.text == "?" and best.probability * (1 - self.blank) > 0.5


@dataclass(frozen=True, slots=True)
class Look:
    """What can be told of one box. said: None where the net was not asked.

    beside: the number beside what makes the whole box none, if it is cut in two. is_washed_out: writing, or a
    part of it, may be gone.
    """

    traces: Traces
    said: Said | None
    signs: Signs
    beside: Candidate | None = None
    is_washed_out: bool = False


class Numerals:
    """The trained reader. Build it once a process with `load`."""

    def __init__(self, net: Net, calibration: Calibration) -> None:
        self._net, self._calibration = net, calibration

    @classmethod
    def load(cls, calibration: Calibration | None = None) -> Self:
        """The reader that ships with the package, and its calibration unless another is given."""
        return cls(Net.shipped(), calibration or Calibration.load())

    def look(self, crops: Sequence[Grey], kinds: Sequence[Kind]) -> list[Look]:
        """What can be told of the boxes of a page, each cut out with CROP_MARGIN_MM at FLAT_PX_PER_MM."""
        flats = flatten_all(crops, EDGE_PX)
        traces = [find_traces(flat) for flat in flats]
        numbers = [n for n, kind in enumerate(kinds) if kind in (Kind.MINUTES, Kind.TOTAL)]
        said = self._asked(flats, traces, [n for n in numbers if traces[n].ink])
        sure = [traces[n] for n, word in said.items() if word.is_sure_number]
        writing = Writing.of([traces[n] for n in numbers], sure)
        unseen = [n for n in numbers if n not in said and writing.is_worth_asking(traces[n])]
        said |= self._asked(flats, traces, unseen)
        looks = []
        for n, each in enumerate(traces):
            flat = each.ink is not None and is_flat(each.ink, crops[n])
            word = said.get(n)
            signs = writing.signs(each, _blank_chance(word, each) if word else None, flat=flat)
            beside = self._beside(flats[n], each) if word and word.is_no_number else None
            looks.append(Look(each, word, signs, beside, writing.is_washed_out(each)))
        return looks

    def _beside(self, flat: Flattened, traces: Traces) -> Candidate | None:
        """The number beside something that is none, with the least of the writing taken for that."""
        found = list(cuts(flat, traces))
        said = list(map(said_of, self._net.score([view_of(*part) for both in found for part in both])))
        both = list(zip(said[::2], said[1::2], strict=True))
        for one, other in (*both, *((right, left) for left, right in reversed(both))):
            if one.is_no_number:
                return other.written[0] if other.is_sure_number and other.written[0].value else None
        return None

    def _asked(
        self, flats: Sequence[Flattened], traces: Sequence[Traces], places: Sequence[int]
    ) -> dict[int, Said]:
        """What the net says of the boxes at some places."""
        views = [view_of(flats[n].picture, _framed(flats[n], traces[n])) for n in places]
        return dict(zip(places, map(said_of, self._net.score(views)), strict=True))

    def read(self, crops: Sequence[Grey], kinds: Sequence[Kind]) -> list[tuple[tuple[Candidate, ...], float]]:
        """Read the boxes of a page, as `look` takes them.

        Returns for each its candidates, most probable first, and its share of ink. For initials the
        text of the candidate is only "" or "?": something is there.
        """
        looks = self.look(crops, kinds)
        return [judged(each, kind, self._calibration) for each, kind in zip(looks, kinds, strict=True)]

    def text_of(self, view: Grey) -> tuple[str, float]:
        """The likeliest text of a view, of any length and minutes or not, and how sure."""
        scores = self._net.score([view])[0]
        text, chance = likely_texts(scores.chances)[0]
        return text, self._calibration.certainty(text, chance * chance_of_number(scores))


def judged(look: Look, kind: Kind, calibration: Calibration) -> tuple[tuple[Candidate, ...], float]:
    """What was seen of one box as `Numerals.read` tells it."""
    share = look.traces.ink.share if look.traces.ink else 0.0
    if kind in (Kind.MARK, Kind.TEXT):
        if look.traces.ink and share >= _SIGNED:
            return (Candidate(None, "?", 0.999),), share
        return (Candidate(None, "", calibration.blank),), share
    return candidates_of(look, calibration), share


def _framed(flat: Flattened, traces: Traces) -> Ink:
    """The part of a box to look at."""
    return traces.ink if traces.ink and traces.is_legible else whole(flat)


def _blank_chance(said: Said, traces: Traces) -> float:
    """How probable the net makes it that a box is blank.

    Of what does not stand out from the paper's grain it says that it is a dash, and sees as little as where
    it calls it blank.
    """
    dash = 0.0 if traces.is_legible else sum(c.probability for c in said.written if c.text == "-")
    return said.blank + (1 - said.blank) * dash


def chance_of_number(scores: Scores) -> float:
    """How probable it is that this is a number, among what is written on charts."""
    return 1 / (1 + math.exp(-max(-30.0, min(30.0, scores.number_odds + _NUMBERS))))


def is_flat(ink: Ink, crop: Grey) -> bool:
    """Whether all that is written is one low, wide mark."""
    return ink.clear and ink.height < min(0.18 * len(crop), 0.45 * ink.width) and ink.width < 0.65 * len(crop)


def said_of(scores: Scores) -> Said:
    """The net's word on one box. Texts of the same minutes count together under the likeliest of them."""
    number = chance_of_number(scores)
    likely = likely_texts(scores.chances)
    if sum(chance for text, chance in likely if _WITH_UNIT.fullmatch(text)) > 0.5:
        number = max(number, _IS_NUMBER)
    texts = [(text, chance * number) for text, chance in likely]
    blank = sum(chance for text, chance in texts if not text)
    merged: dict[int | None, tuple[str, float]] = {None: ("?", 1 - number)}
    for text, chance in texts:  # likeliest first
        if text:
            value = written_minutes(text)
            first, total = merged.get(value, (text, 0.0))
            merged[value] = (first, total + chance)
    written = max(1 - blank, 1e-9)
    given = [Candidate(value, text, min(chance / written, 1.0)) for value, (text, chance) in merged.items()]
    return Said(blank, tuple(sorted(given, key=lambda c: -c.probability)[:_KEPT]))


def candidates_of(look: Look, calibration: Calibration) -> tuple[Candidate, ...]:
    """What a box may say, most probable first; where nobody knows, the probabilities sum to less than 1."""
    blank = calibration.blank_chance(look.signs)
    found = [Candidate(None, "", blank)]
    if look.said:
        best, *others = look.said.written
        certain = calibration.certainty(best.text, best.probability)
        rest = (1 - certain) / max(1 - best.probability, 1e-9)
        if best.text == "-" and look.signs.flat:
            certain, others = max(certain, _DASH), []
        if look.beside:
            found.append(look.beside.at(_BESIDE * certain * (1 - blank)))
            certain *= 1 - _BESIDE
        found.append(best.at(certain * (1 - blank)))
        found += [other.at(other.probability * rest * (1 - blank)) for other in others]
        if not look.traces.is_legible:  # no stroke is seen that could be a dash; see `_blank_chance`
            found = [candidate for candidate in found if candidate.text != "-"]
    if look.is_washed_out:
        found = [candidate.at(_WASHED_OUT * candidate.probability) for candidate in found]
    likely = [candidate for candidate in found if candidate.probability > _LEAST]
    return tuple(sorted(likely, key=lambda c: -c.probability))


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
        ink = find_traces(flat).ink
        if ink is None:
            rows.writerow([path, "", f"{calibration.blank:.4f}"])
            continue
        text, confidence = reader.text_of(view_of(flat.picture, ink))
        rows.writerow([path, text, f"{confidence:.4f}"])
    return failed


if __name__ == "__main__":
    sys.exit(main())
