"""Marks as a OneRoster package: `categories.csv`, `lineItems.csv`, `results.csv` and `manifest.csv`.

1EdTech OneRoster 1.2, CSV binding. Classes, users and terms are the school system's own: they are named by
the ids that the roster was imported with, and not sent along. So the package is one of changes ("delta"): in
a "bulk" one, all that is referred to would have to be defined as well.
"""

import re
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime

from ingest.cells import Cell, to_exact_csv
from ingest.plan.challenge import Challenge
from ingest.plan.oneroster import CLASS, SCHOOL, TERM, USER
from ingest.plan.roster import Student
from ingest.report.gradebook import points_text
from ingest.tally.student import Tally

_SYSTEM = ("source.systemName", "Daybox")
OURS = ",".join(_SYSTEM).encode()  # by this line of its manifest a package of ours is known
_CATEGORY = "Practice"
_NAMES = uuid.UUID("5bb5f2d6-33e7-4ad4-9d1e-6fd0a1b0f0f3")  # drawn once; ids follow from it (RFC 4122, 4.3)
_GUID = re.compile(r"[0-9A-Za-z.\-_/@]{1,255}")

MANIFEST = "manifest.csv"
FILES = ("categories.csv", "lineItems.csv", "results.csv", MANIFEST)

CATEGORY_COLUMNS = ("sourcedId", "status", "dateLastModified", "title", "weight")
LINE_ITEM_COLUMNS = (
    "sourcedId",
    "status",
    "dateLastModified",
    "title",
    "description",
    "assignDate",
    "dueDate",
    "classSourcedId",
    "categorySourcedId",
    "academicSessionSourcedId",
    "resultValueMin",
    "resultValueMax",
    "schoolSourcedId",
)
RESULT_COLUMNS = (
    "sourcedId",
    "status",
    "dateLastModified",
    "lineItemSourcedId",
    "studentSourcedId",
    "scoreStatus",
    "score",
    "scoreDate",
    "comment",
    "textScore",
    "classSourcedId",
    "inProgress",
    "incomplete",
    "late",
    "missing",
)
_PACKAGE_FILES = (
    "academicSessions",
    "categories",
    "classes",
    "classResources",
    "courses",
    "courseResources",
    "demographics",
    "enrollments",
    "lineItemLearningObjectiveIds",
    "lineItems",
    "lineItemScoreScales",
    "orgs",
    "resources",
    "resultLearningObjectiveIds",
    "results",
    "resultScoreScales",
    "roles",
    "scoreScales",
    "userProfiles",
    "userResources",
    "users",
)


@dataclass(frozen=True, slots=True)
class Package:
    """files: contents by name. made_up: whose ids the school's system cannot know, in words."""

    files: Mapping[str, bytes]
    made_up: Sequence[str]


def package(tallies: Sequence[Tally], challenge: Challenge, now: datetime) -> Package:
    """The four files. now: with a time zone.

    The same class, student and month have the same ids every time, so that a second package corrects the
    first. A chart that was not handed in is `not submitted`, has no score, and is `missing` once overdue.
    One whose mark an open question could still change is `partially graded`, without a score.
    """
    changed = now.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    stamp = ("active", changed)
    today = now.date()
    category = _id("category")
    classes = {_class(tally.student): tally.student for tally in tallies}
    items = [
        (
            _id("lineItem", challenge, of),
            *stamp,
            challenge.title,
            f"{challenge.days.minimum_minutes} minutes on every required day of {challenge.month}",
            str(challenge.month.dates()[0]),
            str(challenge.hand_in.due),
            of,
            category,
            _known(one, TERM) or _id("term", challenge),
            "0",
            points_text(challenge.grade.points),
            _known(one, SCHOOL) or _id("school"),
        )
        for of, one in classes.items()
    ]
    results = [_result(tally, challenge, stamp, today) for tally in tallies]
    return Package(
        {
            "categories.csv": to_exact_csv(CATEGORY_COLUMNS, (category, *stamp, _CATEGORY, None)),
            "lineItems.csv": to_exact_csv(LINE_ITEM_COLUMNS, *items),
            "results.csv": to_exact_csv(RESULT_COLUMNS, *results),
            MANIFEST: _manifest({"categories", "lineItems", "results"}),
        },
        [
            what
            for column, what in (
                (USER, "students, for whom the student_id stands"),
                (CLASS, "classes"),
                (SCHOOL, "the school"),
                (TERM, "the term"),
            )
            if not all(_known(tally.student, column) for tally in tallies)
        ],
    )


def _result(tally: Tally, challenge: Challenge, stamp: tuple[str, str], today: date) -> Sequence[Cell]:
    student, of = tally.student, _class(tally.student)
    user = _known(student, USER) or _valid(student.id)
    is_in = tally.handed_in or tally.open_pages > 0  # a page that may be the student's is not nothing
    is_settled = tally.handed_in and tally.points is not None
    due = challenge.hand_in.due
    status = "fully graded" if is_settled else "partially graded" if is_in else "not submitted"
    return (
        _id("result", challenge, of, user),
        *stamp,
        _id("lineItem", challenge, of),
        user,
        status,
        points_text(tally.points) if is_settled and tally.points is not None else None,
        str(today),
        _comment(tally) if is_settled else None,
        None,
        of,
        _truth(is_in and not is_settled),
        _truth(False),
        _truth(tally.late),
        _truth(not is_in and due is not None and today > due),
    )


def _comment(tally: Tally) -> str:
    open_still = "" if not tally.open_flags else ", some of them not settled"
    return f"{tally.total_minutes} minutes{open_still}; {tally.days_met} of {tally.required_days} days"


def _truth(is_so: bool) -> str:
    return "true" if is_so else "false"


def _manifest(present: set[str]) -> bytes:
    rows: list[tuple[Cell, ...]] = [("manifest.version", "1.0"), ("oneroster.version", "1.2")]
    rows += [(f"file.{name}", "delta" if name in present else "absent") for name in _PACKAGE_FILES]
    rows.append(_SYSTEM)
    return to_exact_csv(("propertyName", "value"), *rows)


# -- ids ----------------------------------------------------------------------------------------------


def _known(student: Student, column: str) -> str:
    """The school system's own id, or ""."""
    return student.extra.get(column, "").strip()


def _class(student: Student) -> str:
    return _known(student, CLASS) or _id("class", student.section)


def _id(*of: object) -> str:
    """An id that follows from what it names: always the same."""
    words = [str(each.month) if isinstance(each, Challenge) else str(each) for each in of]
    return str(uuid.uuid5(_NAMES, "\0".join(words)))


def _valid(student_id: str) -> str:
    """A student's id where the standard's letters allow it, else one that follows from it."""
    return student_id if _GUID.fullmatch(student_id) else _id("user", student_id)
