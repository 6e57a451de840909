"""The trail as web pages that stand by themselves: no script, nothing fetched, pictures within."""

from base64 import b64encode
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from urllib.parse import quote

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from ingest.check.book import Settled, State
from ingest.check.spoken import box_words
from ingest.errors import LedgerError
from ingest.ledger.pictures import SHOWN_MARGIN_MM, Pictures, jpeg
from ingest.plan.challenge import Challenge
from ingest.report.trail import BoxTrail, Change, Event, Records, Seen, StudentTrail, candidate_words, percent
from ingest.tally.days import counted

PAGE_PX_PER_MM = 5.0  # a box is 130 pixels wide then, and a page some 100 KB
PAGE_QUALITY = 50  # of JPEG, 0 to 100
CROP_PX_PER_MM = 4.5  # how large a crop is shown
MOST_CANDIDATES = 4
_SATURDAY = 5  # date.weekday()

# autoescape for every file: names, paths and cells come from strangers.
_TEMPLATES = Environment(
    loader=FileSystemLoader(Path(__file__).parent / "html"), autoescape=True, undefined=StrictUndefined
)


def trail_page(
    trail: StudentTrail,
    challenge: Challenge,
    records: Records,
    pictures: Pictures,
    now: datetime,
    index: str = "",
) -> bytes:
    """One student's page. now: when it was made, local. index: where the list of all students is, or ""."""
    student = trail.student
    days = bool(trail.boxes)
    text = _TEMPLATES.get_template("trail.html").render(
        title=f"{student.name}, {challenge.title}",
        name=student.name,
        student_id=student.id,
        section=student.section,
        challenge=f"{challenge.title} ({challenge.month})",
        now=_when(now),
        index=index,
        figures=list(_figures(trail, challenge)),
        days=days,
        pages=[_page(page_id, records, pictures) for page_id in trail.sheet.pages] if days else [],
        changes=_changes(trail),
        files=list(_files(trail, records)),
        **(_month(trail, challenge) if days else {}),
        groups=list(_groups(trail, challenge, pictures)) if days else [],
    )
    return text.encode()


def index_page(links: Sequence[tuple[StudentTrail, str]], challenge: Challenge, now: datetime) -> bytes:
    """The list of all students by section. links: each with the path of its page, from the list's folder."""
    sections: dict[str, list[Mapping[str, object]]] = {}
    for trail, path in links:
        row = {column: "" if cell is None else cell for column, cell in trail.row.items()}
        sections.setdefault(trail.student.section, []).append(
            {
                "href": quote(path),
                "name": trail.student.name,
                "id": trail.student.id,
                "row": row,
                "changed": len(trail.changed) or "",
            }
        )
    text = _TEMPLATES.get_template("index.html").render(
        title=f"Behind every number: {challenge.title}",
        challenge=f"{challenge.title} ({challenge.month})",
        now=_when(now),
        sections=[{"name": name, "students": students} for name, students in sections.items()],
    )
    return text.encode()


# -- the gradebook's row --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Link:
    to: str
    text: str


@dataclass(frozen=True, slots=True)
class _Figure:
    """A column of the gradebook with its value, how it comes about, and the days that speak of it."""

    column: str
    value: str
    how: str
    links: Sequence[_Link] = ()


def _figures(trail: StudentTrail, challenge: Challenge) -> Iterator[_Figure]:
    row = {column: "" if cell is None else str(cell) for column, cell in trail.row.items()}
    tally, sheet = trail.tally, trail.sheet
    if not trail.boxes:
        yield _Figure("handed_in", row["handed_in"], "Nothing that counts has come in; that is no mark of 0.")
        yield _Figure("open_flags", row["open_flags"], "Questions that a person must answer.")
        return
    minimum, allowed = challenge.days.minimum_minutes, challenge.expectation.required_days_allowed_short
    late = ", after the due date" if sheet.late else ""
    yield _Figure("handed_in", row["handed_in"], f"{_count(len(sheet.pages), 'page')}{late}.")
    open_days = [day for day in challenge.month.dates() if _is_open(sheet.boxes.get(f"day:{day}"))]
    weeks = " + ".join(str(sum(map(_minutes, days))) for days in _by_week(sheet.boxes, challenge))
    settled = "; days still open: " if open_days else "."
    yield _Figure(
        "total_minutes",
        row["total_minutes"],
        f"All days added up, by week {weeks}{settled}",
        [_link(day) for day in open_days],
    )
    yield _Figure("weekend_minutes", row["weekend_minutes"], "Saturdays and Sundays, part of the total.")
    yield _Figure("required_days", row["required_days"], "Days on which the minimum is asked for.")
    short = [
        day
        for day in challenge.required_dates()
        if _minutes(sheet.boxes.get(f"day:{day}")) < minimum and day not in open_days
    ]
    yield _Figure(
        "days_met",
        row["days_met"],
        f"Required days with {minimum} minutes or more." + (" Not met: " if short else ""),
        [_link(day) for day in short],
    )
    met = "all of the required days" if not allowed else f"all but {allowed} of the required days"
    yield _Figure("met", row["met"], f"The challenge is met with {met}." + _undecided(row["met"]))
    cap = challenge.counting.counts_per_day
    by = f"minutes, at most {cap} a day ({tally.counted_minutes})" if cap else "total minutes"
    whole = "the grade" if challenge.prizes.across == "grade" else trail.student.section
    yield _Figure(
        "standing",
        row["standing"],
        f"Place by {by} among the {trail.ranked} of {whole} who handed in; equal minutes share a place."
        + _undecided(row["standing"]),
    )
    rule = "all or nothing" if challenge.grade.rule == "met" else "by the share of required days met"
    yield _Figure(
        "points",
        row["points"],
        f"Of {challenge.grade.points:g}, {rule}." + _undecided(row["points"]),
    )
    yield _Figure("open_flags", row["open_flags"], "Questions that a person must still answer.")


def _undecided(value: str) -> str:
    return "" if value else " Not decided while a question is open that could change it."


def _link(day: date) -> _Link:
    return _Link(_anchor(f"day:{day}"), f"{day:%a} {day.day} {day:%b}")


# -- the month ------------------------------------------------------------------------------------------


def _month(trail: StudentTrail, challenge: Challenge) -> dict[str, object]:
    boxes = trail.sheet.boxes
    said = {each.box.box for each in trail.changed}
    required = set(challenge.required_dates())
    month = set(challenge.month.dates())
    rows = challenge.month.weeks(challenge.days.week_starts)
    by_week = _by_week(boxes, challenge)
    weeks = []
    for number, row in enumerate(rows, start=1):
        cells = [
            {
                "to": _anchor(f"day:{day}"),
                "day": str(day.day),
                "value": _value(boxes.get(f"day:{day}")),
                "words": list(_day_words(day, boxes.get(f"day:{day}"), day in required, said, challenge)),
            }
            if day in month
            else None
            for day in row
        ]
        added = sum(map(_minutes, by_week[number - 1]))
        weeks.append({"cells": cells, "sum": added, **_wrote(boxes, f"week:{number}")})
    return {
        "heads": [f"{day:%a}" for day in rows[0]],
        "weeks": weeks,
        "total": trail.row["total_minutes"],
        "has_totals": any(name == "month" or name.startswith("week:") for name in boxes),
        "month": _wrote(boxes, "month"),
    }


def _by_week(boxes: Mapping[str, Settled], challenge: Challenge) -> list[list[Settled | None]]:
    """The days of the month, a list for each row of the chart."""
    month = set(challenge.month.dates())
    return [
        [boxes.get(f"day:{day}") for day in row if day in month]
        for row in challenge.month.weeks(challenge.days.week_starts)
    ]


def _wrote(boxes: Mapping[str, Settled], name: str) -> dict[str, str]:
    box = boxes.get(name)
    return {"to": _anchor(name) if box else "", "wrote": _value(box)}


def _day_words(
    day: date, box: Settled | None, is_required: bool, said: set[str], challenge: Challenge
) -> Iterator[str]:
    """What a glance should tell of a day besides its minutes."""
    if box is None:
        return
    if day in challenge.days.no_school:
        yield "no school"
    if box.state is State.FLAGGED:
        yield "open"
    elif is_required and _minutes(box) < challenge.days.minimum_minutes:
        yield f"under {challenge.days.minimum_minutes}"
    if counted(_minutes(box), challenge) < _minutes(box):
        yield f"{counted(_minutes(box), challenge)} for the place"
    if box.box in said:
        yield "by a person"


# -- pages and boxes ------------------------------------------------------------------------------------


def _page(page_id: int, records: Records, pictures: Pictures) -> dict[str, object]:
    """A page whose picture stands in the file once; every crop shows a part of it."""
    page = next(each for each in records.pages if each.id == page_id)
    path = next(each.path for each in records.returns if each.id == page.return_id)
    layout = pictures.layout(page_id)
    about = {"id": page_id, "path": path, "number": page.number, "data": "", "problem": ""}
    if layout is None:
        return {**about, "problem": "The boxes of this page could not be found.", "width": 1, "height": 1}
    size = {"width": layout.paper.width, "height": layout.paper.height}
    try:
        picture = jpeg(pictures.page(page_id), PAGE_PX_PER_MM, PAGE_QUALITY)
    except LedgerError as gone:
        return {**about, **size, "problem": str(gone)}
    return {**about, **size, "data": _data(picture, "jpeg")}


def _data(picture: bytes, kind: str) -> str:
    return f"data:image/{kind};base64,{b64encode(picture).decode()}"


_GROUPS = {"week": "Totals that the child wrote", "outside": "Days of another month"}
_OTHER = "Initials: only whether something is written there"


def _groups(trail: StudentTrail, challenge: Challenge, pictures: Pictures) -> Iterator[dict[str, object]]:
    """Days week by week, then totals, then all else."""
    found: dict[str, list[BoxTrail]] = {}
    week_of = {
        f"day:{day}": f"Week {number}"
        for number, row in enumerate(challenge.month.weeks(challenge.days.week_starts), start=1)
        for day in row
    }
    for each in trail.boxes:
        kind = each.box.box.partition(":")[0]
        kind = "week" if kind == "month" else kind
        name = week_of.get(each.box.box) or _GROUPS.get(kind, _OTHER)
        found.setdefault(name, []).append(each)
    for name, boxes in found.items():
        yield {"name": name, "boxes": [_box(each, pictures) for each in boxes]}


def _box(each: BoxTrail, pictures: Pictures) -> dict[str, object]:
    box = each.box
    only_seen = box.box.partition(":")[0] in ("initials", "name")
    value = ("nothing" if box.state is State.BLANK else "something") if only_seen else _value(box)
    return {
        "to": _anchor(box.box),
        "what": _capital(box_words(box.box)),
        "value": value,
        "state": _state_words(each),
        "sure": _sure_words(box),
        "seen": [_seen(box.box, seen, pictures, only_seen) for seen in each.seen],
        "flags": box.flags,
        "changes": [_change(change) for change in each.changes],
    }


def _state_words(each: BoxTrail) -> str:
    box = each.box
    if box.state is State.FLAGGED:
        guess = "nothing" if box.value is None else str(box.value)
        return "open, counts for nothing" + (f"; best guess {guess}" if box.confidence > 0 else "")
    return {
        State.READ: "read by Daybox",
        State.BLANK: "read by Daybox as blank",
        State.ANSWERED: "answered by a person",
    }[box.state]


def _sure_words(box: Settled) -> str:
    if box.state is State.ANSWERED:
        return "a person said so"
    if box.confidence == 1:
        return "typed"
    return percent(box.confidence) if box.confidence > 0 else "not at all"


def _seen(box: str, seen: Seen, pictures: Pictures, only_seen: bool) -> dict[str, object]:
    candidates = [] if only_seen else [candidate_words(one) for one in seen.candidates[:MOST_CANDIDATES]]
    file = seen.path.split("/")[-1]
    about = {"page_id": seen.page_id, "file": file, "number": seen.number, "candidates": candidates}
    layout = pictures.layout(seen.page_id)
    try:
        area = layout.box(box).area.grown(SHOWN_MARGIN_MM) if layout else None
    except KeyError:
        area = None
    if area is None:
        return {**about, "view": "", "width": 0, "height": 0}
    view = f"{area.left:.2f} {area.top:.2f} {area.width:.2f} {area.height:.2f}"
    size = {"width": round(area.width * CROP_PX_PER_MM), "height": round(area.height * CROP_PX_PER_MM)}
    return {**about, "view": view, **size}


# -- changes and files ----------------------------------------------------------------------------------


def _changes(trail: StudentTrail) -> list[dict[str, object]]:
    """What people said of the student's boxes and pages, the latest first."""
    paths = {fate.page_id: fate.path for fate in trail.fates}
    found = [
        (change, {**_change(change), "to": _anchor(each.box.box), "what": _capital(box_words(each.box.box))})
        for each in trail.boxes
        for change in each.changes
        if change.event is not Event.SPOT_CHECK
    ]
    found += [
        (change, {**_change(change), "to": "files", "what": f"The whole page {paths[page_id]}"})
        for page_id, change in trail.about_pages
    ]
    return [words for _, words in sorted(found, key=lambda each: each[0].at, reverse=True)]


def _change(change: Change) -> dict[str, object]:
    who = {"prompt": "a person, at the screen", "sheet": "a person, in a spreadsheet"}
    when = _when(change.at)
    if change.event is Event.TAKEN_BACK and change.after:
        when = f"as of {when}"
    return {
        "event": change.event.value,
        "when": when,
        "who": who.get(change.by, f"a person ({change.by})"),
        "before": change.before,
        "after": change.after,
        "asked": change.asked,
        "reason": change.reason,
        "shown": _data(change.shown, "png") if change.shown else "",
    }


def _files(trail: StudentTrail, records: Records) -> Iterator[dict[str, str]]:
    returns = {each.path: each for each in records.returns}
    for fate in trail.fates:
        origin = returns.get(fate.path)
        yield {
            "path": fate.path,
            "page": "" if fate.page is None else f"{fate.page} of {fate.pages}",
            "what": fate.what.value,
            "outcome": fate.outcome.value + (", late" if fate.late else ""),
            "why": fate.why,
            "dated": _when(origin.dated) if origin and origin.dated else "",
            "collected": _when(origin.collected_at) if origin else "",
        }


# -- words ----------------------------------------------------------------------------------------------


def _anchor(box: str) -> str:
    """The part of the page about a box; a box's name has a colon, which selectors trip over."""
    return f"box-{box.replace(':', '-')}"


def _value(box: Settled | None) -> str:
    if box is None:
        return ""
    if box.state is State.FLAGGED:
        return "?"
    return "blank" if box.value is None else str(box.value)


def _minutes(box: Settled | None) -> int:
    return 0 if box is None or box.state is State.FLAGGED else box.value or 0


def _is_open(box: Settled | None) -> bool:
    return box is not None and box.state is State.FLAGGED


def _when(at: datetime) -> str:
    return f"{at:%a} {at.day} {at:%b} {at.year}, {at:%H:%M}"


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
