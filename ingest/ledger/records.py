"""What the ledger holds, as plain values. The SQL that keeps them is in `store`."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from ingest.reading.values import BoxReading, PageReading


@dataclass(frozen=True, slots=True)
class ChartRecord:
    """A printed chart. student_id is None for a spare chart. layout: key of the stored layout.

    name: the student's as it was printed last; "" for a spare chart, or where it was not kept.
    """

    code: str
    student_id: str | None
    layout: str
    name: str = ""


class ReturnState(StrEnum):
    WAITING = "waiting"  # copied in, not read yet (or the program was stopped while reading)
    DONE = "done"  # every page was looked at; single pages may still be no chart
    REFUSED = "refused"  # the file cannot be opened; `note` says why


@dataclass(frozen=True, slots=True)
class ReturnRecord:
    """One file handed in.

    path: as it was inside what was collected, `october.zip/Maria Lopez/IMG_1.jpg`.
    sha256: of its bytes, hex; the original lies in `originals/` under this name.
    dated: the zip entry's or the file's time, local. What it is worth, `ingest.check.lateness` says.
    taken: when the photo was taken, by the camera's clock, where the file says so.
    """

    id: int
    path: str
    sha256: str
    dated: datetime | None
    collected_at: datetime
    state: ReturnState
    note: str
    taken: datetime | None = None


@dataclass(frozen=True, slots=True)
class CopyRecord:
    """The very bytes of a return, come once more under another name; fields as in `PageRecord`."""

    return_id: int
    path: str
    guess: str
    guess_score: float


@dataclass(frozen=True, slots=True)
class PageRecord:
    """One page of a return, and what was read on it.

    number: 1 for the first.
    problem: why it could not be read as a chart, in plain words, or "".
    layout: key of the stored layout that it was read with, so that boxes can be cut out of the
        flattened page again; None if no layout fitted.
    guess: the student that the path seems to name, "" if none; guess_score: how well, 0..100.
    """

    id: int
    return_id: int
    number: int
    problem: str
    code: str | None
    code_challenge: str | None
    code_source: str
    written_name: str
    residual_mm: float
    tags_seen: int
    layout: str | None
    guess: str
    guess_score: float
    readings: Sequence[BoxReading]


@dataclass(frozen=True, slots=True)
class NewPage:
    """One page of a return as collecting hands it to the ledger; fields as in `PageRecord`.

    reading: None where there is a problem.
    """

    number: int
    problem: str
    reading: PageReading | None
    guess: str = ""
    guess_score: float = 0.0


@dataclass(frozen=True, slots=True)
class AnswerRecord:
    """What a person settled. Later answers to the same question replace earlier ones; all are kept.

    student_id, box: the question. For box == "chart", page_id says which page is meant and
        student_id is "".
    answer: "25", "blank", "" (taken back: the question is open again), or for "chart": a student id
        or "not ours".
    at: local time, as are all times in the ledger.
    before: what the program would have used without the answer, in the same words.
    shown: the picture that was shown, as PNG bytes, or b"".
    by: "prompt" or "sheet".
    reason: why it was changed, in the person's words; "" where it was answered because it was asked.
    """

    id: int
    at: datetime
    student_id: str
    box: str
    page_id: int | None
    answer: str
    before: str
    why: str
    by: str
    shown: bytes
    reason: str = ""


@dataclass(frozen=True, slots=True)
class SpotBox:
    """One box that was drawn for a spot check.

    place: in the order of asking, 1 for the first. reading: what had been read when it was drawn, taken
    without a person: "25" or "blank".
    """

    place: int
    student_id: str
    box: str
    page_id: int
    reading: str


@dataclass(frozen=True, slots=True)
class SpotCheck:
    """A random sample of the boxes that were taken without a person, to be looked at by one.

    seed: what chance followed from. lot: how many boxes there were to draw from.
    """

    id: int
    at: datetime
    seed: int
    lot: int
    boxes: Sequence[SpotBox]


@dataclass(frozen=True, slots=True)
class SpotAnswer:
    """What a person saw in a box of a spot check. The last one about a box stands; all are kept.

    place: the box's. answer: "25", "blank", or "" (taken back: to be asked again).
    shown, by: as in `AnswerRecord`.
    """

    id: int
    at: datetime
    check_id: int
    place: int
    answer: str
    by: str
    shown: bytes
