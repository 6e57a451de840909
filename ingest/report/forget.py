"""Removing children's data from a challenge's folder: first what would go, then away with it, for good.

The steps follow each other so that what is stopped can be run again, and then finishes: nothing goes that a
later step needs. While the ledger still has names that are to go, there is no roster.csv, so that no other
command writes them back.
"""

import re
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path

from ingest.cells import to_csv, write_whole
from ingest.chart.printed import refuse_another_plan
from ingest.check.bookkeeper import Bookkeeper
from ingest.check.fate import Outcome, What
from ingest.check.lateness import without_stamps
from ingest.check.written import guess_written
from ingest.collect.owner import guess_owner
from ingest.errors import DayboxError, PlanError
from ingest.ledger import forgotten
from ingest.ledger.store import FILE_NAME as LEDGER
from ingest.ledger.store import Ledger
from ingest.plan.challenge import FILE_NAME as PLAN
from ingest.plan.challenge import load_challenge
from ingest.plan.new import ROSTER_NAME
from ingest.plan.roster import REQUIRED, Student, load_roster, without_student
from ingest.report.class_figures import FILE_NAME as FIGURES
from ingest.report.class_figures import LEAST_CHARTS, anonymous, class_figures, to_json
from ingest.report.traces import ORIGINALS, PAGES, PICTURES, survey

SMALL_SECTIONS = "Other"  # how sections are called together that have too few students to stand alone


class Scope(StrEnum):
    """What is to go. The words are those of the options."""

    PHOTOS = "photos"
    NAMES = "names"
    EVERYTHING = "everything"
    STUDENT = "student"


@dataclass(frozen=True, slots=True)
class Held:
    """What the ledger holds: counts of rows."""

    students: int
    returns: int
    readings: int
    answers: int


@dataclass(frozen=True, slots=True)
class Theirs:
    """What is one student's.

    pages, returns: by id; a return only if it holds nobody else's. files: pictures.
    """

    student: Student
    pages: Sequence[int]
    returns: Sequence[int]
    files: Sequence[Path]


@dataclass(frozen=True, slots=True)
class Forgetting:
    """What would be removed from a folder.

    held: what the ledger holds now; None if there is none.
    files: those that go, ledger and roster left out.
    others: what is in the folder besides and is not Daybox's, as `Survey` has it.
    waiting: files handed in that were never read, and go.
    figures: what is kept of the class, to be written; b"" if it is already; None if nothing is.
    theirs: with scope STUDENT; None if nothing of the student is left.
    """

    folder: Path
    scope: Scope
    held: Held | None
    files: Sequence[Path]
    others: Sequence[Path]
    waiting: int = 0
    figures: bytes | None = None
    theirs: Theirs | None = None


def look(folder: Path, scope: Scope, student_id: str = "", keep_figures: bool = False) -> Forgetting:
    """What would be removed. Nothing is yet, but what an earlier run has left unfinished.

    Raises DayboxError if the folder is no challenge's, has no such student, or is to leave figures of so few
    children that they would tell about single ones.
    """
    if not (folder / PLAN).is_file() and not (folder / LEDGER).is_file():
        load_challenge(folder)  # says that there is none
    found = survey(folder)
    traces = [each.path for each in found.traces if each.is_pictured or scope is not Scope.PHOTOS]
    handed_in = [*_below(folder / ORIGINALS), *_below(folder / PAGES)]
    if not (folder / LEDGER).is_file():
        if scope is Scope.STUDENT:
            raise _unknown(student_id)
        figures = _figures(folder, None) if keep_figures else None
        return Forgetting(folder, scope, None, [*handed_in, *traces], found.others, figures=figures)
    with Ledger.open(folder) as ledger:
        was_stopped = forgotten.is_unfinished(ledger)
        if was_stopped:
            forgotten.finish(ledger)
        figures = _figures(folder, ledger) if keep_figures else None
        plan = Forgetting(
            folder,
            scope,
            _held(ledger),
            [*handed_in, *traces],
            found.others,
            waiting=len(ledger.waiting()),
            figures=figures,
        )
        if scope is Scope.STUDENT:
            theirs = _of_student(folder, ledger, student_id)
            if theirs is None and not was_stopped:
                raise _unknown(student_id)
            files = [*traces, *theirs.files] if theirs else []
            return replace(plan, files=files, waiting=0, theirs=theirs)
        return plan


def carry_out(what: Forgetting) -> None:
    """Remove it. Raises LedgerError or OSError where something is in use; run again, it finishes."""
    folder, roster = what.folder, what.folder / ROSTER_NAME
    has_ledger = (folder / LEDGER).is_file()
    if what.figures:
        write_whole(folder / FIGURES, what.figures)
    if what.scope is Scope.EVERYTHING and what.figures is None:
        (folder / FIGURES).unlink(missing_ok=True)
    if what.scope in (Scope.NAMES, Scope.EVERYTHING):
        roster.unlink(missing_ok=True)
    if has_ledger and what.scope in (Scope.PHOTOS, Scope.NAMES):
        with Ledger.open(folder) as ledger:
            if what.scope is Scope.PHOTOS:
                forgotten.forget_photos(ledger)
            else:
                _forget_names(folder, ledger)
                write_whole(roster, _roster(ledger.students()))
    _remove(folder, what.files)
    if what.theirs and roster.is_file():
        left = without_student(roster.read_bytes(), str(roster), what.theirs.student.id)
        write_whole(roster, left)
    if not has_ledger:
        return
    with Ledger.open(folder) as ledger:
        if what.theirs:
            theirs = what.theirs
            forgotten.forget_student(
                ledger,
                theirs.student.id,
                theirs.pages,
                theirs.returns,
                _undated(folder, ledger),
                _speaks_of(theirs.student),
            )
        if what.scope is Scope.EVERYTHING:
            forgotten.forget_everything(ledger)
        forgotten.finish(ledger)
    if what.scope is Scope.EVERYTHING:
        for path in sorted(folder.glob(f"{LEDGER}*"), reverse=True):  # what it keeps beside it first
            path.unlink()


# -- what there is ------------------------------------------------------------------------------------


def _below(folder: Path) -> Iterator[Path]:
    """All files in a folder and the folders in it; nothing if there is none."""
    return (path for path in sorted(folder.rglob("*")) if not path.is_dir() or path.is_symlink())


def _held(ledger: Ledger) -> Held:
    tables = ("student", "return", "reading", "answer")
    return Held(*(ledger.rows(f"SELECT count(*) FROM {table}")[0][0] for table in tables))


def _keeper(folder: Path, ledger: Ledger) -> Bookkeeper:
    """The book by the roster, or by the ledger's where that is gone already."""
    challenge = load_challenge(folder)
    refuse_another_plan(ledger.layouts().values(), challenge)
    if (folder / ROSTER_NAME).is_file():
        ledger.sync_roster(load_roster(folder / ROSTER_NAME))
    return Bookkeeper(ledger, challenge)


def _figures(folder: Path, ledger: Ledger | None) -> bytes:
    """What is kept of the class; b"" for what an earlier run has written, and this one no longer could."""
    if (folder / FIGURES).is_file() and (
        ledger is None
        or not (folder / ROSTER_NAME).is_file()
        or forgotten.NAMES in forgotten.forgotten(ledger)
    ):
        return b""
    if ledger is None:
        raise DayboxError(
            f"{folder.resolve()} has no ledger, so there are no figures that could be kept. Leave out "
            "--keep-figures to remove what is there."
        )
    found = anonymous(class_figures(_keeper(folder, ledger).book, load_challenge(folder)))
    if found is None:
        raise DayboxError(
            f"Fewer than {LEAST_CHARTS} charts count, so figures of the class would tell about single "
            "children. Nothing was removed. Leave out --keep-figures to remove what is there."
        )
    return to_json(found)


# -- names --------------------------------------------------------------------------------------------


def _forget_names(folder: Path, ledger: Ledger) -> None:
    keeper = _keeper(folder, ledger)
    printed = {chart.code: chart.student_id for chart in ledger.charts()}
    codes = {page.id: page.code or "" for page in ledger.pages()}
    said = {answer.page_id for answer in ledger.answers(pictures=False) if answer.box == "chart"}
    whose = {
        fate.page_id: fate.student_id
        for fate in keeper.fates()
        if fate.page_id is not None and fate.student_id
    }
    settled = {
        fate.page_id
        for fate in keeper.fates()
        if fate.outcome in (Outcome.COUNTS, Outcome.ASIDE) and fate.what is not What.OTHER
    }
    told = {
        page_id: owner
        for page_id, owner in whose.items()
        if page_id in settled - said and printed.get(codes[page_id]) != owner
    }
    undated = _undated(folder, ledger)
    students = (*ledger.students(), *ledger.former_students())
    names = section_names(student.section for student in students)
    forgotten.forget_names(ledger, forgotten.Known(whose, told, undated), names.__getitem__)


def _undated(folder: Path, ledger: Ledger) -> list[int]:
    """Returns that bear a time of downloading; it shows only while the others of their zip are there."""
    found = without_stamps(ledger.returns(), load_challenge(folder))
    return [each.id for each in found if each.dated is None]


def section_names(sections: Iterable[str]) -> dict[str, str]:
    """How sections, one for each student, are called when names go: small ones, by which a child is soon
    found, share a name, and with them the next one if they were too few even together."""
    sizes = sorted(Counter(sections).items(), key=lambda each: each[1])
    names, together = {}, 0
    for section, size in sizes:
        if size < LEAST_CHARTS or 0 < together < LEAST_CHARTS:
            together += size
            names[section] = SMALL_SECTIONS
        else:
            names[section] = section
    return names


def _roster(students: Sequence[Student]) -> bytes:
    rows = [(each.id, each.first_name, each.last_name, each.section) for each in students]
    return to_csv(REQUIRED, rows)


# -- one student --------------------------------------------------------------------------------------


def _of_student(folder: Path, ledger: Ledger, student_id: str) -> Theirs | None:
    """All that is one student's, or held to be while a person is asked; None if there is no such student."""
    keeper = _keeper(folder, ledger)
    everybody = (*ledger.students(), *ledger.former_students())
    student = next((each for each in everybody if each.id == student_id), None)
    if student is None:
        return None
    printed = {chart.code for chart in ledger.charts() if chart.student_id == student_id}
    owners = {fate.page_id: fate.student_id for fate in keeper.fates() if fate.page_id is not None}
    pages = ledger.pages()
    theirs: set[int] = set()
    named = {
        each.id for each in ledger.returns() if guess_owner(each.path, everybody).student_id == student_id
    }
    for page in pages:
        owner = owners.get(page.id, "")
        written = guess_written(page.written_name, everybody).student_id if page.written_name else ""
        if owner == student_id or (
            not owner and (page.code in printed or page.return_id in named or written == student_id)
        ):
            theirs.add(page.id)
    others = {page.return_id for page in pages if page.id not in theirs}
    shown = {page.return_id for page in pages if page.id in theirs}  # on these files
    ledger.sweep()  # pictures that belong to no page may be anybody's
    kept = {ledger.original(each) for each in ledger.returns() if each.id not in shown | (named - others)}
    files = [path for path in _below(folder / ORIGINALS) if path not in kept]
    files += [path for page_id in theirs if (path := ledger.page_picture(page_id))]
    return Theirs(
        student,
        sorted(theirs),
        sorted((shown | named) - others),
        [path for path in files if path.exists()],
    )


def _unknown(student_id: str) -> PlanError:
    return PlanError(
        f'Neither the roster nor the ledger has a student id "{student_id}". Look it up in the roster\'s '
        "student_id column."
    )


def _speaks_of(student: Student) -> Callable[[str], bool]:
    """Whether a text has the student's id, first or last name as words of their own."""
    words = [_folded(word) for word in (student.id, student.first_name, student.last_name) if word]
    # Scripts without capitals mostly do not part words.
    parts = [
        rf"(?<![^\W_]){re.escape(word)}(?![^\W_])" if word.upper() != word else re.escape(word)
        for word in words
    ]
    pattern = re.compile("|".join(parts))
    return lambda text: pattern.search(_folded(text)) is not None


def _folded(text: str) -> str:
    apart = unicodedata.normalize("NFKD", text.casefold())
    return "".join(letter for letter in apart if not unicodedata.combining(letter))


# -- files --------------------------------------------------------------------------------------------


def _remove(folder: Path, files: Iterable[Path]) -> None:
    """Delete files, and the folders in `folder` that are empty then."""
    folders = {folder / ORIGINALS, folder / PAGES, *folder.glob(f"*{PICTURES}")}
    for path in files:
        path.unlink(missing_ok=True)
        folders |= {parent for parent in path.parents if folder in parent.parents}
    for parent in sorted(folders, key=lambda each: len(each.parts), reverse=True):
        with suppress(OSError):  # something else is in it, or it is a link
            parent.rmdir()
