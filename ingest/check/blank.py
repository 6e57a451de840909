"""Whether anything is written on a chart: initials and a name do not count, a 0 does."""

from collections.abc import Collection

from ingest.check.book import Settled, State
from ingest.ledger.records import PageRecord

_NUMBERS = ("day", "week", "month", "outside")


def is_blank_page(page: PageRecord) -> bool:
    """Whether boxes were found on a page, and in none of them a number seems to be written."""
    numbers = [reading for reading in page.readings if reading.box.partition(":")[0] in _NUMBERS]
    return bool(numbers) and all(reading.is_blank for reading in numbers)


def is_blank_chart(boxes: Collection[Settled]) -> bool:
    """Whether all numbers of a student's chart are settled as blank."""
    numbers = [box for box in boxes if box.box.partition(":")[0] in _NUMBERS]
    return bool(numbers) and all(box.state is not State.FLAGGED and box.value is None for box in numbers)
