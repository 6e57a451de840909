"""Who has nothing usable in yet, why, and what to write to them."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from ingest.cells import to_csv
from ingest.check.book import Book
from ingest.check.fate import Fate, Outcome, What
from ingest.plan.roster import Student


class Lack(StrEnum):
    """Why there is nothing usable of a student. The words are those of `daybox missing --out`."""

    NOTHING = "nothing handed in"
    UNREAD = "could not be read"
    OTHER = "chart of another month"
    BLANK = "blank chart"
    ASIDE = "does not count"
    ASKED = "waits for your answer"


@dataclass(frozen=True, slots=True)
class Missing:
    """A student of whom nothing counts. fates: what came in that is, or is called, theirs."""

    student: Student
    lack: Lack
    fates: Sequence[Fate]


def missing(book: Book, fates: Sequence[Fate]) -> tuple[Missing, ...]:
    """Everybody of whom nothing counts yet, in roster order."""
    theirs: dict[str, list[Fate]] = {}
    for fate in fates:
        theirs.setdefault(fate.student_id or fate.named, []).append(fate)
    return tuple(
        Missing(sheet.student, _lack(own), own)
        for sheet in book.sheets
        if not sheet.boxes
        for own in [theirs.get(sheet.student.id, [])]
    )


def _lack(fates: Sequence[Fate]) -> Lack:
    """The one that says most about what to do next."""
    if any(fate.outcome is Outcome.ASKED for fate in fates):
        return Lack.ASKED
    aside = [fate for fate in fates if fate.outcome is Outcome.ASIDE and fate.what is not What.COPY]
    if any(fate.what is What.BLANK for fate in aside):
        return Lack.BLANK
    if any(fate.what is What.OTHER for fate in aside):
        return Lack.OTHER
    if any(fate.outcome in (Outcome.UNREAD, Outcome.WAITING) for fate in fates):
        return Lack.UNREAD
    return Lack.ASIDE if fates else Lack.NOTHING


def missing_csv(absent: Sequence[Missing], reminders: Mapping[str, str]) -> bytes:
    """The CSV file, for a mail merge. reminders: by student id; none for those who wait for an answer.

    The roster's e-mail column comes along if it has one.
    """
    emails = any("email" in each.student.extra for each in absent)
    header = ("student_id", "first_name", "last_name", "section", *(["email"] if emails else []))
    return to_csv(
        (*header, "state", "why", "reminder"),
        [
            (
                each.student.id,
                each.student.first_name,
                each.student.last_name,
                each.student.section,
                *([each.student.extra.get("email", "")] if emails else []),
                each.lack.value,
                " ".join(f"{fate.path}: {fate.why}".strip() for fate in each.fates),
                reminders.get(each.student.id, ""),
            )
            for each in absent
        ],
    )


def missing_table(absent: Sequence[Missing], of: Sequence[Student]) -> RenderableType:
    """The list for a terminal, by section. of: all students that were asked about."""
    if not absent:
        return Text("Something usable has come in of everybody.", style="bold")
    has = "has" if len(absent) == 1 else "have"
    heading = Text(f"{len(absent)} of {len(of)} students {has} nothing usable in yet", style="bold")
    parts: list[RenderableType] = [heading]
    for section in dict.fromkeys(student.section for student in of):
        group = [each for each in absent if each.student.section == section]
        if not group:
            continue
        size = sum(student.section == section for student in of)
        table = Table(box=None, show_header=False, padding=(0, 2, 0, 2))
        table.add_column(width=24, overflow="fold")
        table.add_column(ratio=1, overflow="fold")
        table.expand = True
        for each in group:
            table.add_row(Text(each.student.name), Text("; ".join(_words(each))))
        parts += ["", Text(f"{section}: {len(group)} of {size}", style="bold"), table]
    return Group(*parts)


def _words(each: Missing) -> Iterator[str]:
    """What there is to say of one student, a file at a time."""
    if not each.fates:
        yield "nothing handed in"
    for fate in each.fates:
        file = fate.path.split("/")[-1]
        if fate.outcome is Outcome.ASKED:
            yield f"{file} waits for your answer in the review"
        elif fate.outcome is Outcome.WAITING:
            yield f"{file} was not read yet"
        elif fate.what is What.NONE:
            yield f"{file} could not be read as a chart"
        elif fate.what is What.CLOSED:
            yield f"{file} could not be opened"
        elif fate.what is What.OTHER:
            yield f"{file} is a chart of another month"
        elif fate.what is What.COPY:
            yield f"{file} is the very same file as another student's"
        elif fate.what is What.BLANK:
            yield f"{file} is blank"
        else:
            yield f"{file} does not count, as you said"
