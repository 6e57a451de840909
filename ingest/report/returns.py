"""Everything that was handed in: whose, what it was, what came of it."""

from collections.abc import Iterator, Mapping, Sequence

from rich import box
from rich.cells import cell_len
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from ingest.cells import Cell, to_csv
from ingest.check.fate import Fate, Outcome, What
from ingest.plan.roster import Student

COLUMNS = (
    "return",
    "page",
    "student_id",
    "first_name",
    "last_name",
    "section",
    "path_names",
    "what",
    "outcome",
    "why",
    "open_boxes",
    "late",
)

# Of 80: enough for most names, and for a folder and a file.
_WHOSE_COLUMNS = 20
_FILE_COLUMNS = 28

# In this order, for what needs the teacher comes first.
_HEADINGS = {
    Outcome.ASKED: "To review",
    Outcome.UNREAD: "Could not be read",
    Outcome.ASIDE: "Does not count",
    Outcome.WAITING: "Not read yet",
    Outcome.COUNTS: "Counts",
}


def returns_csv(fates: Sequence[Fate], students: Sequence[Student]) -> bytes:
    """The CSV file: a row a page, and one a file that has none, in the order of collecting."""
    return to_csv(COLUMNS, _rows(fates, {student.id: student for student in students}))


def _rows(fates: Sequence[Fate], students: Mapping[str, Student]) -> Iterator[Sequence[Cell]]:
    for fate in fates:
        student = students.get(fate.student_id)
        name = (student.first_name, student.last_name, student.section) if student else ("", "", "")
        yield (
            fate.path,
            fate.page,
            fate.student_id,
            *name,
            fate.named,
            fate.what.value,
            fate.outcome.value,
            fate.why,
            fate.open_boxes,
            "unknown" if fate.untold else "yes" if fate.late else "no",
        )


def returns_table(fates: Sequence[Fate], students: Sequence[Student]) -> RenderableType:
    """The same for a terminal of 80 columns, what needs the teacher first."""
    if not fates:
        return Text("Nothing has come in yet: daybox collect PATH takes in what families sent.")
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1))
    table.add_column("Whose", width=_WHOSE_COLUMNS, overflow="fold")
    table.add_column("File", width=_FILE_COLUMNS, no_wrap=True)
    table.add_column("What came of it", ratio=1, overflow="fold")
    table.expand = True
    places = {student.id: place for place, student in enumerate(students)}
    names = {student.id: student.name for student in students}
    for outcome, heading in _HEADINGS.items():
        group = [fate for fate in fates if fate.outcome is outcome]
        if not group:
            continue
        table.add_row(Text(f"{heading}: {len(group)}", style="bold"))
        group.sort(key=lambda fate: places.get(fate.student_id or fate.named, len(places)))
        for fate in group:
            table.add_row(Text(_whose(fate, names)), Text(_file(fate)), Text(_words(fate)))
        table.add_section()
    parts: list[RenderableType] = [table]
    if any(fate.named and not fate.student_id for fate in fates):
        parts += ["", Text('A name with "?" is only that of the file or its folder.')]
    if untold := sum(fate.untold for fate in fates):
        were = "1 page was" if untold == 1 else f"{untold} pages were"
        parts += ["", Text(f"When {were} handed in cannot be told: the files bear the time of downloading.")]
    return Group(*parts)


def _whose(fate: Fate, names: Mapping[str, str]) -> str:
    if fate.student_id:
        return names.get(fate.student_id, fate.student_id)
    return f"{names[fate.named]}?" if fate.named in names else "nobody's"


def _words(fate: Fate) -> str:
    late = ", late" if fate.late else ""
    if fate.outcome is Outcome.ASIDE and fate.what is not What.OTHER:
        return f"{_capital(fate.what)}{late}. {fate.why}"
    if fate.outcome is not Outcome.COUNTS:
        return f"Late. {fate.why}" if late else fate.why
    what = "Counts" if fate.what is What.CHART else f"{_capital(fate.what)}, counts"
    together = ", with another return" if fate.together else ""
    boxes = {0: "", 1: "; 1 box to review"}.get(fate.open_boxes, f"; {fate.open_boxes} boxes to review")
    return f"{what}{together}{late}{boxes}"


def _capital(what: What) -> str:
    return what.value[:1].upper() + what.value[1:]


def _file(fate: Fate) -> str:
    """The end of the path, which tells files apart; all of it stands in the CSV file."""
    page = f", page {fate.page}" if fate.page and fate.pages > 1 else ""
    name = "/".join(fate.path.split("/")[-2:]) + page
    while cell_len(name) > _FILE_COLUMNS:
        name = f"…{name.lstrip('…')[1:]}"
    return name
