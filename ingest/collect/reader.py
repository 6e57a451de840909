"""What a reading process does: one return becomes pages with readings. No ledger, no student here.

What looks at pictures is imported where it is used: the process that collects only hands out jobs, and starts
sooner without it.
"""

import logging
import os
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TypeAlias

from ingest.chart.layout import Layout
from ingest.errors import PageError, PictureError
from ingest.ledger.records import NewPage, ReturnRecord
from ingest.reading.ocr import OcrError, OcrMissingError
from ingest.reading.values import Finer, Grey, PageReading, TextLayer

# The charts in a picture, one or several; raises PageError where none, or no further one, can be read.
Reader: TypeAlias = Callable[[Grey, TextLayer | None, Finer | None], Iterable[PageReading]]
# From layouts by key, and layout keys by chart code, to a reader. Called in each reading process, so
# it must be picklable: a function of a module.
MakeReader: TypeAlias = Callable[[Mapping[str, Layout], Mapping[str, str]], Reader]


# What a reading process finds in its environment when it starts; later is too late for these.
ENVIRONMENT = {
    "OPENBLAS_NUM_THREADS": "1",  # see `start`
    # Pictures of a few MB come and go all the time. By default glibc gives their memory back each time, and
    # gets every page of it anew: measured on 12-megapixel photos, 6,000 page faults and 30 ms each on a
    # virtual machine. These are the largest block that is not got by itself, and what is kept for later.
    "MALLOC_MMAP_THRESHOLD_": str(32 * 1024 * 1024),  # bytes, the most that mallopt(3) takes
    "MALLOC_TRIM_THRESHOLD_": str(256 * 1024 * 1024),
}


@dataclass(frozen=True, slots=True)
class Job:
    """A return to be read, and where its bytes are.

    first, shares: of a large PDF, so many processes each read every so many pages, this one from page
        `first` on.
    """

    record: ReturnRecord
    original: Path
    first: int = 1
    shares: int = 1


@dataclass(frozen=True, slots=True)
class Leaf:
    """A page as it comes from a reading process. note: what is wrong with it although it was read.

    taken: when it was photographed, if the file says so.
    """

    page: NewPage
    note: str
    taken: datetime | None = None


Refusal: TypeAlias = str  # why there are no pages at all
Item: TypeAlias = Leaf | Refusal


def load_reader(layouts: Mapping[str, Layout], chart_layouts: Mapping[str, str]) -> Reader:
    """The reader that comes with the program."""
    from ingest.reading.numerals import Numerals
    from ingest.reading.page import read_pages

    numerals = Numerals.load()
    return lambda grey, text, finer: read_pages(grey, layouts, chart_layouts, numerals, text, finer)


def start(
    make_reader: MakeReader,
    layouts: Mapping[str, Layout],
    chart_layouts: Mapping[str, str],
    nameless: Collection[str],
) -> Callable[[Job], Iterator[Item]]:
    """Make a reading process ready; returns what it then does with each job.

    nameless: the codes of spare charts, on which the name is read.
    """
    import cv2
    import pillow_heif
    from threadpoolctl import threadpool_limits

    # One core each: as many processes as cores, each with threads for all cores, would only be in each
    # other's way. Tesseract is a program of its own and listens to OpenMP's variable.
    os.environ["OMP_THREAD_LIMIT"] = "1"
    cv2.setNumThreads(1)
    threadpool_limits(1)  # numpy's linear algebra
    pillow_heif.options.DECODE_THREADS = 1
    logging.getLogger("pypdf").setLevel(logging.CRITICAL)  # it remarks on every file that is a little off
    named = chart_layouts.keys() - set(nameless)
    return partial(
        read_return, make_reader(layouts, chart_layouts), add_name=partial(with_name, layouts, named)
    )


def with_name(
    layouts: Mapping[str, Layout], named: Collection[str], reading: PageReading
) -> tuple[PageReading, str]:
    """The page with the name that was read on it, and what went wrong; where its code tells, as it was.

    named: the codes of charts that were printed for a student.
    """
    from ingest.reading.name_box import read_name

    layout = layouts.get(reading.layout or "")
    if layout is None or reading.code in named or reading.written_name:
        return reading, ""
    try:
        return replace(reading, written_name=read_name(reading.flat_jpeg, layout)), ""
    except OcrMissingError:  # `daybox collect` says so once
        return reading, ""
    except OcrError as trouble:
        return reading, f"The name on it could not be read: {trouble}."


def _as_it_is(reading: PageReading) -> tuple[PageReading, str]:
    return reading, ""


def read_return(
    reader: Reader, job: Job, add_name: Callable[[PageReading], tuple[PageReading, str]] = _as_it_is
) -> Iterator[Item]:
    """The pages of one return; charts in one picture have the same number.

    add_name: what is done with each that was read, and a note on it.
    """
    from ingest.collect.pictures import open_pages
    from ingest.collect.taken import taken_at

    taken = taken_at(job.original)
    try:
        for picture in open_pages(job.original, job.first, job.shares):
            if picture.grey is None:
                yield Leaf(NewPage(picture.number, picture.problem, None), "")
                continue
            try:
                for found in reader(picture.grey, picture.text, picture.finer):
                    reading, note = add_name(found)
                    page = NewPage(picture.number, "", reading)
                    yield Leaf(page, f"{picture.problem} {note}".strip(), taken)
            except (PageError, PictureError) as error:
                why = _no_chart(error, picture.text)
                problem = f"{_sentence(why)} {picture.problem}".strip()
                yield Leaf(NewPage(picture.number, problem, None), "")
            except Exception as error:  # a mistake of ours, but it must not cost the others their evening
                problem = f"Daybox stumbled over this page ({type(error).__name__}: {error})."
                yield Leaf(NewPage(picture.number, problem, None), "")
    except PictureError as error:
        yield str(error)


def _no_chart(error: Exception, text: TextLayer | None) -> str:
    """Why no chart was found; of a typed document another photo would be of no use."""
    if text is None:
        return str(error)
    from ingest.collect.text_layer import beginning

    if not (words := beginning(text)):
        return str(error)
    return (
        f'this is a document that begins "{words}", and no chart was found on it: of the black squares that '
        "stand around a chart too few can be made out; ask for the chart itself, filled in on paper or on a "
        "screen (`daybox charts --fillable` makes one for that)"
    )


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")
