"""How far to trust what was accepted without a person, in plain sentences."""

from dataclasses import dataclass

from ingest.check.book import Book, State
from ingest.check.spot import SpotResult, taken, words
from ingest.rates import one_in
from ingest.reading.certainty import Threshold


@dataclass(frozen=True, slots=True)
class Accepted:
    """The boxes that were taken without a person: days and totals.

    blank: those of them in which nothing was found. wrong: how many are to be expected wrong by their
    confidences; no whole number.
    """

    boxes: int
    blank: int
    wrong: float


def accepted(book: Book) -> Accepted:
    """The wrong ones are foreseen by what each box's own confidence leaves over."""
    boxes = [box for _, box in taken(book)]
    blank = sum(box.state is State.BLANK for box in boxes)
    return Accepted(len(boxes), blank, sum(1 - box.confidence for box in boxes))


def trust(book: Book, threshold: Threshold, spot: SpotResult | None) -> list[str]:
    """A sentence on errors to expect, one on a wish that cannot be kept, one on the last spot check.

    threshold: what the plan's wish led to. Nothing where nothing was accepted yet.
    """
    found = accepted(book)
    if not found.boxes:
        return []
    blank = f", {found.blank:,} of them blank" if found.blank else ""
    boxes = "1 box" if found.boxes == 1 else f"{found.boxes:,} boxes"
    lines = [f"Of {boxes} accepted without you{blank}, expect {_wrong(found.wrong)} wrong."]
    if not threshold.is_borne_out:
        lines.append(_broken_wish(threshold))
    if spot:
        lines.append(words(spot))
    return lines


def _wrong(expected: float) -> str:
    if expected < 0.1:
        return "hardly any (less than 0.1)"
    return f"about {expected:.1f}" if expected < 10 else f"about {expected:.0f}"


def _broken_wish(threshold: Threshold) -> str:
    wish = f"Your wish, at most 1 in {threshold.wished:,},"
    tried = threshold.tried
    if tried is None:
        return f"{wish} cannot be promised: this reader was not tried at any threshold yet."
    if not threshold.is_kept:
        best = one_in(tried.expected)
        return f"{wish} cannot be kept: expect {best} at best. You are asked about more boxes instead."
    return (
        f"{wish} is more than can be promised: the reader was tried on {tried.accepted:,} boxes, which speak "
        f"for {one_in(threshold.provable)} at best. You are asked about more boxes instead."
    )
