"""What reading is handed besides a picture, and what it hands on."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

Grey: TypeAlias = npt.NDArray[np.uint8]  # shape (height, width), 0 black .. 255 white
Floats: TypeAlias = npt.NDArray[np.float64]
Finer: TypeAlias = Callable[[], Grey]  # makes a picture with twice the pixels each way, of the same


@dataclass(frozen=True, slots=True, eq=False)
class Text:
    """A stretch of text, written without a gap.

    text: as the file has it. middles: of its letters, shape (n, 2), pixels of the picture, where (0, 0) is
        the middle of the first pixel.
    field: of a form's field, the box that its name means; "" for a field of another name and for free text.
    is_field: whether it is what a form's field holds. is_printed: whether it is set in the chart's own type.
    is_aside: a note that is only shown when it is asked for.
    """

    text: str
    middles: Floats
    field: str = ""
    is_field: bool = False
    is_printed: bool = False
    is_aside: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class TextLayer:
    """All text of one page.

    texts: in the order in which the file has them; a form's fields also if they are empty.
    corners: of each form's field, shape (4, 2), clockwise from the top left, by the box that its name means.
    bare: the same picture without its text.
    code, challenge: what the names of a form's fields say, or the text; None where they say nothing.
    """

    texts: Sequence[Text]
    corners: Mapping[str, Floats]
    bare: Grey
    code: str | None = None
    challenge: str | None = None


@dataclass(frozen=True, slots=True)
class Candidate:
    """One thing that a box may say, and how probable it is given the ink alone.

    value: whole minutes; None where the box is blank, or holds something that is no number.
    text: what the reader saw, `45 min`; "" for blank; "?" for ink that is no number.
    typed: the file itself holds `text` as text, so that it is exactly this.
    """

    value: int | None
    text: str
    probability: float
    typed: bool = False

    def at(self, probability: float) -> "Candidate":
        """The same with another probability. A grade has 70,000 candidates, and `replace` takes its time."""
        return Candidate(self.value, self.text, probability, self.typed)

    def __reduce__(self) -> tuple[type["Candidate"], tuple[object, ...]]:
        # Reading processes hand over hundreds a page; as dataclasses pickle by themselves, that took long.
        return Candidate, (self.value, self.text, self.probability, self.typed)


@dataclass(frozen=True, slots=True)
class BoxReading:
    """What was found in one box.

    candidates: most probable first; probabilities are calibrated and sum to at most 1 (the rest is
        "something else"). A blank box has the candidate `Candidate(None, "", p)` first.
    ink: share of the box that is darker than its paper, 0..1.
    """

    box: str
    candidates: tuple[Candidate, ...]
    ink: float

    def __reduce__(self) -> tuple[type["BoxReading"], tuple[object, ...]]:
        return BoxReading, (self.box, self.candidates, self.ink)

    @property
    def best(self) -> Candidate:
        return self.candidates[0]

    @property
    def is_blank(self) -> bool:
        return self.best.value is None and self.best.text == ""


@dataclass(frozen=True, slots=True)
class PageReading:
    """What was found on one page.

    code: the chart code `K7QF-3M2P` with a valid check character, or None.
    code_challenge: the challenge named in the QR code ("2027-10"), or None.
    code_source: "qr", "letters", "typed" (from a form's fields or the file's text), "" without a code.
    written_name: what OCR read in the name box, for a person to look at; "" if nothing.
    readings: all boxes of the layout and the outside cells; empty when no layout fitted.
    flat_jpeg: the flattened page, grey, FLAT_PX_PER_MM pixels a millimetre, as JPEG bytes.
    residual_mm: how far printed frames lie from where the layout says, 95th centile.
    tags_seen: how many of the chart's tags were found.
    layout: key of the layout that it was read with, or None when none fitted.
    """

    code: str | None
    code_challenge: str | None
    code_source: str
    written_name: str
    readings: Sequence[BoxReading]
    flat_jpeg: bytes
    residual_mm: float
    tags_seen: int
    layout: str | None
