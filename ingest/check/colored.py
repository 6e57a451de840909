"""Days with circles to fill in: what their candidates say, in words for the teacher.

Such a candidate's text has a letter a circle, as `ingest.reading.counts` writes it: `xxxoo` for three of
five.
"""

from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise

from ingest.reading.counts import EMPTY, FILLED
from ingest.reading.values import Candidate

# A candidate less probable than this against the best is no reason for doubt.
_WORTH_NAMING = 0.02


def minutes_each(box: Sequence[Candidate]) -> int:
    """What one filled circle counts; 0 where a number is written."""
    for candidate in box:
        if candidate.value and _is_pattern(candidate.text):
            return candidate.value // candidate.text.count(FILLED)
    return 0


def adds_up(written: int | None, minutes: int, days: Iterable[Sequence[Candidate]]) -> bool:
    """Whether a written total is that of its days, or is blank; a child may also add up circles.

    minutes: the sum of the days. days: their candidates.
    """
    if written is None or written == minutes:
        return True
    each = max((minutes_each(day) for day in days), default=0)
    return each > 0 and written * each == minutes


def doubt_words(box: Sequence[Candidate]) -> str:
    """Why a person must look at circles, as a sentence; "" where a number is written.

    box: most probable first.
    """
    patterns = list(_patterns(box))
    if not patterns:
        return ""
    best = box[0]
    if best.text == "?":
        return "Something is drawn over these circles, or many are neither filled nor empty."
    likely = [text for text, chance in patterns if chance >= _WORTH_NAMING * best.probability]
    unclear = [place for place, letters in enumerate(zip(*likely, strict=True), 1) if len(set(letters)) > 1]
    if len(unclear) == 1:
        return f"It is not clear whether circle {unclear[0]} is filled."
    if unclear:
        *others, last = unclear
        return f"It is not clear whether circles {', '.join(map(str, others))} and {last} are filled."
    if any(pair == (EMPTY, FILLED) for pair in pairwise(likely[0])):
        return "A circle was left out before others that are filled."
    return "It is not certain that these circles are seen rightly."


def _patterns(box: Sequence[Candidate]) -> Iterator[tuple[str, float]]:
    """Each candidate's circles and its probability, blank written out."""
    count = next((len(c.text) for c in box if _is_pattern(c.text)), 0)
    for candidate in box:
        if _is_pattern(candidate.text):
            yield candidate.text, candidate.probability
        elif candidate.text == "" and count:
            yield EMPTY * count, candidate.probability


def _is_pattern(text: str) -> bool:
    return text != "" and set(text) <= {FILLED, EMPTY}
