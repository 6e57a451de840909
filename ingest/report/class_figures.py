"""What a class came to, without anybody's name: what months are compared by, and what may be kept of one.

Kept in a file of its own, such figures outlast the ledger. A section of a few students would tell about
single children, so the file has only larger ones: `anonymous`.
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from statistics import median

from pydantic import ConfigDict, TypeAdapter, ValidationError
from pydantic.dataclasses import dataclass

from ingest.check.book import Book
from ingest.errors import DayboxError
from ingest.plan.challenge import Challenge
from ingest.plan.month import Month
from ingest.report.student_month import StudentMonth, by_section, student_months

FILE_NAME = "class-figures.json"
LEAST_CHARTS = 5  # of so few no figures are kept; common practice, no source

_STRICT = ConfigDict(extra="forbid")


@dataclass(frozen=True, slots=True, config=_STRICT)
class GroupFigures:
    """A section, or all together ("").

    students: on the roster. handed_in: of whom a chart counts; everything else is about these.
    met, met_open: who surely met the challenge, and of whom that is still open.
    unsettled: whose minutes an open question could still change.
    total_minutes: as far as they are settled. median_minutes: over the charts whose minutes are all
        settled; None if there is none.
    """

    section: str
    students: int
    handed_in: int
    met: int
    met_open: int
    unsettled: int
    total_minutes: int
    median_minutes: float | None

    @property
    def share_met(self) -> float | None:
        """Of those who handed in; None while it is open, or if nobody did."""
        return self.met / self.handed_in if self.handed_in and not self.met_open else None


@dataclass(frozen=True, slots=True, config=_STRICT)
class ClassFigures:
    """One month. whole: all students together."""

    month: Month
    title: str
    minimum_minutes: int
    required_days: int
    whole: GroupFigures
    sections: tuple[GroupFigures, ...]


_FORMAT = TypeAdapter(ClassFigures)


def class_figures(book: Book, challenge: Challenge) -> ClassFigures:
    """The figures as they stand, sections in the order of the roster."""
    months = student_months(book, challenge)
    return ClassFigures(
        month=challenge.month,
        title=challenge.title,
        minimum_minutes=challenge.days.minimum_minutes,
        required_days=len(challenge.required_dates()),
        whole=_group("", months),
        sections=tuple(_group(section, members) for section, members in by_section(months).items()),
    )


def anonymous(figures: ClassFigures) -> ClassFigures | None:
    """What may be kept when names go; None if even all together are too few.

    A small section goes, and if the rest of the whole would give it away, the smallest of the others too.
    """
    if figures.whole.handed_in < LEAST_CHARTS:
        return None
    kept = sorted(
        (each for each in figures.sections if each.handed_in >= LEAST_CHARTS), key=lambda each: each.handed_in
    )
    while kept and 0 < figures.whole.handed_in - sum(each.handed_in for each in kept) < LEAST_CHARTS:
        del kept[0]
    return replace(figures, sections=tuple(each for each in figures.sections if each in kept))


def to_json(figures: ClassFigures) -> bytes:
    return _FORMAT.dump_json(figures, indent=1) + b"\n"


def load_figures(path: Path) -> ClassFigures:
    """Raises DayboxError if the file is not as `to_json` writes it."""
    try:
        return _FORMAT.validate_json(path.read_bytes())
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        raise DayboxError(
            f"{path} cannot be used: {f'{where}: ' if where else ''}{first['msg']}. It should be as Daybox "
            "wrote it; leave that folder out, or put the file back from a copy."
        ) from error


def _group(section: str, months: Sequence[StudentMonth]) -> GroupFigures:
    there = [each for each in months if each.handed_in]
    settled = [each.tally.total_minutes for each in there if each.settled]
    return GroupFigures(
        section=section,
        students=len(months),
        handed_in=len(there),
        met=sum(each.tally.met is True for each in there),
        met_open=sum(each.tally.met is None for each in there),
        unsettled=len(there) - len(settled),
        total_minutes=sum(each.tally.total_minutes for each in there),
        median_minutes=float(median(settled)) if settled else None,
    )
