"""Which suggestions a person is shown, on the screen and in a sheet alike."""

from collections.abc import Container

from ingest.check.answers import BLANK, NOT_OURS
from ingest.check.book import Question

# A suggestion is offered only from this confidence on: people wave pre-filled values through.
# Barchard & Verenikina 2013: checking a filled-in list by eye left more than 20 times the errors of
# typing the numbers again.
OFFER_FROM = 0.9


def offered(question: Question, students: Container[str], *, seen: bool) -> str:
    """The question's suggestion, or "" where none may be shown.

    students: the ids on the roster. seen: whether there is a picture of what is asked about.
    """
    if not seen:
        return ""  # what cannot be seen cannot be waved through
    if question.confidence < OFFER_FROM:
        return ""
    if any(flag.reason in ("too-much", "spot-check") for flag in question.flags):
        return ""  # surely read, but hardly meant, or seen otherwise: here a wave-through would hurt most
    if question.box == "chart":
        known = question.suggestion in students or question.suggestion == NOT_OURS
    else:
        known = question.suggestion == BLANK or question.suggestion.isdecimal()
    return question.suggestion if known else ""
