"""Months beside each other, as class figures without names: which sections match, and the CSV."""

from collections import Counter
from collections.abc import Iterable, Sequence

from ingest.cells import Cell, to_csv
from ingest.report.class_figures import ClassFigures, GroupFigures

COLUMNS = (
    "month",
    "title",
    "section",
    "students",
    "handed_in",
    "median_minutes",
    "met",
    "met_open",
    "percent_met",
    "total_minutes",
    "unsettled",
    "required_days",
    "minimum_minutes",
)


def in_order(months: Iterable[ClassFigures]) -> tuple[ClassFigures, ...]:
    """The earliest first; those of one month by title."""
    return tuple(sorted(months, key=lambda each: (each.month, each.title)))


def matching(months: Sequence[ClassFigures]) -> tuple[str, ...]:
    """Sections that are in more than one month, as they are first written; capitals make no difference."""
    names: dict[str, str] = {}
    for each in months:
        for group in each.sections:
            names.setdefault(_key(group.section), group.section)
    count = Counter(key for each in months for key in {_key(group.section) for group in each.sections})
    return tuple(name for key, name in names.items() if count[key] > 1)


def group_of(month: ClassFigures, section: str) -> GroupFigures | None:
    """section: "" for all together. None if the month has no such section."""
    if not section:
        return month.whole
    return next((group for group in month.sections if _key(group.section) == _key(section)), None)


def comparison_csv(months: Sequence[ClassFigures]) -> bytes:
    """One row for each month and section; all together come first, with an empty section."""
    return to_csv(COLUMNS, [_row(each, group) for each in months for group in (each.whole, *each.sections)])


def _row(month: ClassFigures, group: GroupFigures) -> Sequence[Cell]:
    share = group.share_met
    return (
        str(month.month),
        month.title,
        group.section,
        group.students,
        group.handed_in,
        None if group.median_minutes is None else f"{group.median_minutes:.1f}".removesuffix(".0"),
        group.met,
        group.met_open,
        None if share is None else f"{100 * share:.1f}".removesuffix(".0"),
        group.total_minutes,
        group.unsettled,
        month.required_days,
        month.minimum_minutes,
    )


def _key(section: str) -> str:
    return " ".join(section.casefold().split())
