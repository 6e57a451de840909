"""What a person may answer, in the ledger's words."""

from collections.abc import Mapping

from ingest.errors import AnswerError
from ingest.plan.roster import Student

BLANK = "blank"
NOT_OURS = "not ours"

MINUTES_IN_A_DAY = 1440
MOST_DIGITS = 9  # of any number that people type; Python refuses to look at thousands
_MOST = {"week": 7 * MINUTES_IN_A_DAY, "month": 31 * MINUTES_IN_A_DAY}  # else one day's


def parse_answer(box: str, text: str, students: Mapping[str, Student]) -> str:
    """The answer as it is kept: "25", "blank"; about a whole page a student's id, or "not ours".

    box: a box name, or "chart" for a whole page. More than `most_per_day` is taken: a person looked.
    Raises AnswerError.
    """
    plain = " ".join(text.split())
    if box == "chart":
        return _owner(plain, students)
    if plain.casefold() == BLANK:
        return BLANK
    most = _MOST.get(box.partition(":")[0], MINUTES_IN_A_DAY)
    if plain.isascii() and plain.isdecimal() and len(plain) <= MOST_DIGITS and int(plain) <= most:
        return str(int(plain))
    raise AnswerError(
        f'"{plain}" is no answer for the box {box}: give whole minutes from 0 to {most}, or "{BLANK}" if '
        "nothing is written there."
    )


def value_of(answer: str) -> int | None:
    """Minutes of an answer about a box, as `parse_answer` gives it; None for blank."""
    return None if answer == BLANK else int(answer)


def is_same(one: str, other: str) -> bool:
    """Whether two answers about a box stand for the same minutes: a dash, a 0 and nothing at all do."""
    return (value_of(one) or 0) == (value_of(other) or 0)


def _owner(plain: str, students: Mapping[str, Student]) -> str:
    if plain.casefold() == NOT_OURS:
        return NOT_OURS
    if plain in students:
        return plain
    alike = [known for known in students if known.casefold() == plain.casefold()]
    if len(alike) == 1:
        return alike[0]
    raise AnswerError(
        f'"{plain}" is no student on the roster: give a student id as it stands in roster.csv, or '
        f'"{NOT_OURS}" if the page is nobody\'s.'
    )
