"""The gradebook: one row a student on the roster, whether they handed in or not."""

from collections.abc import Sequence

from ingest.cells import Cell, to_csv
from ingest.check.book import Book
from ingest.plan.challenge import Challenge
from ingest.tally.standing import Standing, standings, unowned_pages
from ingest.tally.student import Tally, tallies

COLUMNS = (
    "student_id",
    "first_name",
    "last_name",
    "section",
    "handed_in",
    "total_minutes",
    "weekend_minutes",
    "required_days",
    "days_met",
    "met",
    "standing",
    "points",
    "open_flags",
)


def gradebook(book: Book, challenge: Challenge) -> bytes:
    """The CSV file; after its own columns come the roster's others, in the roster's order.

    A roster column named like one of ours, as when last month's gradebook became the roster, is headed
    `roster_points` and so on: two columns of one name would be mistaken for each other.
    """
    figures = tallies(book, challenge)
    places = standings(figures, challenge, unowned_pages(book))
    extras = tuple(dict.fromkeys(name for tally in figures for name in tally.student.extra))
    return to_csv(
        (*COLUMNS, *(f"roster_{name}" if name in COLUMNS else name for name in extras)),
        [
            (
                *gradebook_row(tally, places.get(tally.student.id)),
                *(tally.student.extra.get(name, "") for name in extras),
            )
            for tally in figures
        ],
    )


def gradebook_row(tally: Tally, standing: Standing | None) -> Sequence[Cell]:
    """The cells of COLUMNS for one student. standing: None if not ranked."""
    student = tally.student
    name = (student.id, student.first_name, student.last_name, student.section)
    if not tally.handed_in:
        # nothing came back: that is no mark of 0, so the marks stay empty
        return (*name, "no", *[""] * 7, tally.open_flags)
    return (
        *name,
        "yes",
        tally.total_minutes,
        tally.weekend_minutes,
        tally.required_days,
        tally.days_met,
        {True: "yes", False: "no", None: ""}[tally.met],
        standing.place if standing else None,
        "" if tally.points is None else points_text(tally.points),
        tally.open_flags,
    )


def points_text(points: float) -> str:
    """Without needless decimals: 10, 7.5, 6.67."""
    return f"{points:.2f}".rstrip("0").rstrip(".")
