"""Doubts that a sum only repeats.

A child whose 7 looks like a 1 writes 75 for a day, 75 for its week and 976 for the month. Read as 15, 15 and
916 they add up as well. Box by box each bears the others out; yet what is in doubt is one thing, the hand's
7, and three boxes know no more of it than the surest of them.
"""

from collections.abc import Mapping, Sequence

from ingest.check.sums import Candidates
from ingest.reading.values import Candidate

# From this probability on another reading is reckoned with.
_RECKONED = 1e-3


def held_down(
    weighed: Mapping[str, Candidates],
    inks: Mapping[str, Candidates],
    rows: Sequence[tuple[Sequence[str], str]],
) -> dict[str, Candidates]:
    """The boxes of a chart, with those that merely repeat one doubt no surer than the ink of the surest.

    weighed, inks: by box, after and before the sums were weighed. rows: for each week the names of its days'
    boxes and of its total's.
    """
    out = dict(weighed)
    month = sum(weighed[day][0].value or 0 for days, _ in rows for day in days)
    for days, total in rows:
        sums = {total: sum(weighed[day][0].value or 0 for day in days), "month": month}
        # What does not add up bears nothing out.
        totals = [name for name, added in sums.items() if name in weighed and weighed[name][0].value == added]
        for day in days:
            for other in inks[day]:
                echoes = _echoes(day, other, totals, weighed, inks) if other.value is not None else []
                if echoes:
                    most = max(_chance(inks[name], weighed[name][0].value) for name in (day, *echoes))
                    for name in (day, *echoes):
                        best, *rest = out[name]
                        out[name] = (best.at(min(best.probability, most)), *rest)
    return out


def _echoes(
    day: str,
    other: Candidate,
    totals: Sequence[str],
    weighed: Mapping[str, Candidates],
    inks: Mapping[str, Candidates],
) -> Sequence[str]:
    """The totals that would go with another reading of a day by the same sign for the same sign.

    None if one of the totals speaks against it.
    """
    read = weighed[day][0].value
    swap = _swap(read, other.value) if other.probability >= _RECKONED else None
    if read is None or other.value is None or swap is None:
        return []
    for total in totals:
        said = weighed[total][0].value
        instead = None if said is None else said - read + other.value
        if _swap(said, instead) != swap or _chance(inks[total], instead) < _RECKONED:
            return []
    return totals


def _swap(one: int | None, other: int | None) -> tuple[str, str] | None:
    """The one sign that stands for another wherever two numbers of the same length differ, or None."""
    if one is None or other is None or len(str(one)) != len(str(other)):
        return None
    signs = {(a, b) for a, b in zip(str(one), str(other), strict=True) if a != b}
    return signs.pop() if len(signs) == 1 else None


def _chance(ink: Candidates, value: int | None) -> float:
    return sum(c.probability for c in ink if c.value == value)
