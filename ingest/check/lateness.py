"""Was it handed in late? No file says when it was handed in; this is what can be told, and how surely.

A file's time may be that of the hand-in, of the photo, of the packing of the zip, or of the download. Two
things are worth more. What was collected by the due date was handed in by then. And where most of a zip or
folder bears one and the same time, that is the time of packing or downloading, and says nothing.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta

from ingest.ledger.records import ReturnRecord
from ingest.plan.challenge import Challenge

# So many files that bear one time within so long are no crowd of children, if they are so great a share of
# what came along. Assumptions, no source.
STAMPED_LEAST = 5
STAMPED_SHARE = 0.5
STAMPED_WITHIN = timedelta(minutes=10)

# A file's time may be that of another time zone. If it lies farther ahead than that, this computer's clock is
# wrong, for the files' clocks are many.
ZONES = timedelta(days=1)


def is_late(origin: ReturnRecord, challenge: Challenge) -> bool:
    """Whether a return seems to have been handed in after the due date; what cannot be told is not late."""
    due = challenge.hand_in.due
    if due is None or _is_here_by(origin, due):
        return False
    if origin.dated is not None:
        return origin.dated.date() > due
    # Nothing is handed in before it is photographed; afterwards, at any time.
    return origin.taken is not None and due < origin.taken.date() <= origin.collected_at.date()


def is_untold(origin: ReturnRecord, challenge: Challenge) -> bool:
    """Whether a return may have been handed in before the due date as well as after it."""
    due = challenge.hand_in.due
    if due is None or origin.dated is not None or _is_here_by(origin, due):
        return False
    return not is_late(origin, challenge)


def without_stamps(returns: Sequence[ReturnRecord], challenge: Challenge) -> tuple[ReturnRecord, ...]:
    """The returns, without times after the due date that were stamped on many files at once."""
    due = challenge.hand_in.due
    if due is None:
        return tuple(returns)
    found = stamped(returns, due)
    return tuple(replace(origin, dated=None) if origin.id in found else origin for origin in returns)


def stamped(returns: Sequence[ReturnRecord], after: date = date.min) -> frozenset[int]:
    """The ids of returns that bear a time after that day which most of their zip or folder bears, too."""
    heaps: dict[str, list[ReturnRecord]] = {}
    for origin in returns:
        heaps.setdefault(_heap(origin.path), []).append(origin)
    return frozenset(return_id for heap in heaps.values() for return_id in _stamped(heap, after))


def is_believed(origin: ReturnRecord) -> bool:
    """Whether this computer's clock can be: the file's time is not far ahead of it."""
    return origin.dated is None or origin.dated <= origin.collected_at + ZONES


def _is_here_by(origin: ReturnRecord, due: date) -> bool:
    """Whether this computer had it by then, if its clock can be believed."""
    return is_believed(origin) and origin.collected_at.date() <= due


def _heap(path: str) -> str:
    """What a file came along in: the innermost zip, or else the folder that was collected."""
    outer, found, _ = path.rpartition(".zip/")
    return outer if found else path.partition("/")[0] if "/" in path else ""


def _stamped(heap: Sequence[ReturnRecord], after: date) -> Iterator[int]:
    """The ids of those that bear one time after that day, as most of the heap does."""
    timed = sorted((origin for origin in heap if origin.dated is not None), key=_time)
    times = [_time(origin) for origin in timed]
    needed = max(STAMPED_LEAST, len(heap) * STAMPED_SHARE)
    start = 0
    for end, time in enumerate(times, start=1):
        while time - times[start] > STAMPED_WITHIN:
            start += 1
        if end - start >= needed and time.date() > after:
            yield from (origin.id for origin in timed[start:end])


def _time(origin: ReturnRecord) -> datetime:
    assert origin.dated is not None
    return origin.dated
