"""Every reading as it stands now, for an audit or a spreadsheet."""

from collections.abc import Iterable, Iterator, Mapping, Sequence

from ingest.cells import Cell, to_csv
from ingest.check.book import Book, Settled, State, chart_order
from ingest.ledger.records import PageRecord, ReturnRecord

COLUMNS = ("student_id", "box", "value", "state", "confidence", "flags", "return", "page")


def readings(book: Book, returns: Iterable[ReturnRecord], pages: Iterable[PageRecord]) -> bytes:
    """The CSV file: a row a box of every student with a chart, in roster order, then chart order.

    A page that is not known to be anybody's has no rows. Empty cells outside the month are left out.
    """
    origins = page_origins(returns, pages)
    return to_csv(COLUMNS, _rows(book, origins))


def page_origins(
    returns: Iterable[ReturnRecord], pages: Iterable[PageRecord]
) -> Mapping[int, tuple[str, int]]:
    """Where each page came from, by page id: the path inside what was collected, the page's number."""
    paths = {record.id: record.path for record in returns}
    return {page.id: (paths[page.return_id], page.number) for page in pages if page.return_id in paths}


def _rows(book: Book, origins: Mapping[int, tuple[str, int]]) -> Iterator[Sequence[Cell]]:
    for sheet in book.sheets:
        for box in sorted(sheet.boxes.values(), key=lambda box: chart_order(box.box)):
            if box.box.startswith("outside:") and box.state is State.BLANK:
                continue
            path, number = origins.get(box.page_id, ("", None)) if box.page_id is not None else ("", None)
            yield (
                sheet.student.id,
                box.box,
                _value(box),
                box.state.value,
                confidence_text(box),
                ";".join(flag.reason for flag in box.flags),
                path,
                number,
            )


def _value(box: Settled) -> int | None:
    # a flagged box holds a guess, and a guess must not be taken for a reading
    return None if box.state is State.FLAGGED else box.value


def confidence_text(box: Settled) -> str:
    """Four decimals. Only a person's answer and what was typed are certain: nothing else may round to it."""
    return f"{1.0 if box.confidence == 1 else min(box.confidence, 0.9999):.4f}"
