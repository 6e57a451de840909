"""Where everything stands on a chart, in millimetres."""

from dataclasses import dataclass
from enum import StrEnum

from ingest.paper import Box, Paper


class Kind(StrEnum):
    """What is written in a box."""

    MINUTES = "minutes"  # a day's minutes
    TOTAL = "total"  # a week's or the month's sum
    MARK = "mark"  # initials: only whether something is there
    TEXT = "text"  # a name on a spare chart: for people and OCR


@dataclass(frozen=True, slots=True)
class ChartBox:
    """One place where something is written.

    name: `day:2027-10-01`, `week:1`, `month`, `initials:1`, `name`.
    area: the space meant for the pencil; nothing is printed inside.
    frame: the outline printed around it (centre of the line); what geometry locks on to.
    """

    name: str
    kind: Kind
    area: Box
    frame: Box


@dataclass(frozen=True, slots=True)
class Tag:
    """An AprilTag 36h11; `area` is its outer black square (8 x 8 cells)."""

    id: int
    area: Box


@dataclass(frozen=True, slots=True)
class Layout:
    """All places on one chart. The same for every student of a challenge, printed with one design.

    outside: cells of the month grid that belong to no day of the month, named `outside:2027-09-30`;
        writing there is flagged. They are not in `charts.layout.json`.
    qr: the QR code with its quiet zone left out (the modules' square).
    letters: where the chart code stands in plain letters.
    name: where the printed (or, on a spare chart, handwritten) name stands.
    """

    challenge: str  # "2027-10"
    design: str
    paper: Paper
    boxes: tuple[ChartBox, ...]
    outside: tuple[ChartBox, ...]
    tags: tuple[Tag, ...]
    qr: Box
    letters: Box
    name: Box

    def box(self, name: str) -> ChartBox:
        """The box of that name. Raises KeyError."""
        for box in (*self.boxes, *self.outside):
            if box.name == name:
                return box
        raise KeyError(name)
