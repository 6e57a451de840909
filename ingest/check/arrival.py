"""When each student's first chart came in, as far as the times of files tell. See `ingest.check.lateness`."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time

from ingest.check.fate import Fate, Outcome
from ingest.check.lateness import is_believed, stamped
from ingest.ledger.records import PageRecord, ReturnRecord
from ingest.plan.month import Month


@dataclass(frozen=True, slots=True)
class Arrival:
    """Between which two times, to the minute, something was handed in; equal where the time is known."""

    earliest: datetime
    latest: datetime


@dataclass(frozen=True, slots=True)
class Arrivals:
    """counted: by student id, the first chart that counts. asked: pages of which a person must say more."""

    counted: Mapping[str, Arrival]
    asked: Sequence[Arrival]


def arrivals(
    fates: Sequence[Fate], pages: Sequence[PageRecord], returns: Sequence[ReturnRecord], month: Month
) -> Arrivals:
    """fates, pages, returns: of one ledger, all of them. Times before the month are no times of a chart."""
    in_heaps = stamped(returns)
    of_return = {origin.id: _arrival(origin, origin.id in in_heaps, month) for origin in returns}
    of_page = {page.id: of_return[page.return_id] for page in pages}
    counted: dict[str, list[Arrival]] = {}
    asked = []
    for fate in fates:
        if fate.page_id is None:
            continue
        if fate.outcome is Outcome.COUNTS:
            counted.setdefault(fate.student_id, []).append(of_page[fate.page_id])
        elif fate.outcome is Outcome.ASKED:
            asked.append(of_page[fate.page_id])
    return Arrivals({student_id: _first(own) for student_id, own in counted.items()}, asked)


def _first(own: Iterable[Arrival]) -> Arrival:
    several = list(own)
    return Arrival(min(each.earliest for each in several), min(each.latest for each in several))


def _arrival(origin: ReturnRecord, is_stamped: bool, month: Month) -> Arrival:
    began = datetime.combine(month.dates()[0], time())
    here = _minute(origin.collected_at)
    if origin.dated and origin.dated >= began and not is_stamped and is_believed(origin):
        return Arrival(_minute(origin.dated), _minute(origin.dated))
    # Nothing is handed in before it is photographed; afterwards, at any time until it was collected.
    taken = _minute(origin.taken) if origin.taken else began
    return Arrival(min(max(taken, began), here), here)


def _minute(moment: datetime) -> datetime:
    return moment.replace(second=0, microsecond=0)
