"""The awards as CSV: a row for each award and student, given or still open."""

from collections.abc import Iterator, Sequence

from ingest.cells import Cell, to_csv
from ingest.plan.roster import Student
from ingest.report.award_words import Phrases
from ingest.report.awards import Awards, Honour, Winner

COLUMNS = (
    "state",
    "award",
    "title",
    "place",
    "figure",
    "student_id",
    "first_name",
    "last_name",
    "section",
    "open_boxes",
    "why",
)


def award_csv(awards: Awards, said: Phrases) -> bytes:
    """The CSV file, in the order of the sheet; those who may yet get an award stand after those who do."""
    return to_csv(COLUMNS, list(_rows(awards, said)))


def _rows(awards: Awards, said: Phrases) -> Iterator[Sequence[Cell]]:
    for honour in awards.all:
        for winner in honour.winners:
            title = said.title(honour, winner.place)
            figure = _figure(honour, winner)
            yield "given", honour.kind, title, winner.place, figure, *_who(winner.student), None, ""
        for each in honour.open:
            title = said.title(honour) if honour.kind != "place" else ""
            yield "open", honour.kind, title, None, None, *_who(each.student), each.boxes, each.why.value


def _who(student: Student) -> Sequence[Cell]:
    return student.id, student.first_name, student.last_name, student.section


def _figure(honour: Honour, winner: Winner) -> Cell:
    return f"{honour.at:%Y-%m-%d %H:%M}" if honour.at else winner.figure
