"""Which charts are printed, and the public file that says where their boxes are."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from ingest.chart.code import new_code
from ingest.chart.layout import ChartBox, Kind, Layout
from ingest.errors import PlanError
from ingest.plan.roster import Student


@dataclass(frozen=True, slots=True)
class Chart:
    """One page to be printed. student: None for a spare chart."""

    code: str
    student: Student | None


def choose_students(
    roster: Sequence[Student], sections: Sequence[str], ids: Sequence[str]
) -> tuple[Student, ...]:
    """Those of any of the sections or ids, in the roster's order; all if neither is given.

    Raises PlanError for a section or an id that the roster lacks.
    """
    _refuse_unknown(sections, {student.section for student in roster}, "section")
    _refuse_unknown(ids, {student.id for student in roster}, "student id")
    if not (sections or ids):
        return tuple(roster)
    return tuple(student for student in roster if student.section in sections or student.id in ids)


def _refuse_unknown(given: Sequence[str], known: set[str], what: str) -> None:
    for word in given:
        if word not in known:
            near = get_close_matches(word, known, n=1, cutoff=0.5)
            hint = f'Did you mean "{near[0]}"?' if near else f"Look it up in the roster's {what} column."
            raise PlanError(f'The roster has no {what} "{word}". {hint}')


def assign_codes(
    students: Sequence[Student], spares: int, printed: Mapping[str, str], taken: set[str]
) -> tuple[Chart, ...]:
    """One chart for each student, then the spare ones.

    printed: student id to the code already printed for that student in this layout; it is used again,
        so that a chart printed twice is the same chart.
    taken: every code ever given.
    """
    taken = set(taken)
    charts = []
    for student in [*students, *[None] * spares]:
        code = printed.get(student.id) if student else None
        if code is None:
            code = new_code(taken)
            taken.add(code)
        charts.append(Chart(code, student))
    return tuple(charts)


def layout_file(layout: Layout, charts: Sequence[Chart]) -> str:
    """The text of `charts.layout.json`: for every page, where every box is, in millimetres."""
    boxes = [_entry(box) for box in layout.boxes]
    name = _entry(ChartBox("name", Kind.TEXT, layout.name, layout.name))
    return json.dumps(
        {
            "version": 1,
            "challenge": layout.challenge,
            "paper": layout.paper.name,
            "width_mm": layout.paper.width,
            "height_mm": layout.paper.height,
            "pages": [
                {
                    "page": number,
                    "student_id": chart.student.id if chart.student else "",
                    "chart": chart.code,
                    "boxes": boxes if chart.student else [*boxes, name],
                }
                for number, chart in enumerate(charts, start=1)
            ],
        },
        ensure_ascii=False,
        separators=(",", ":"),
    )


def _entry(box: ChartBox) -> dict[str, object]:
    area = box.area
    entry: dict[str, object] = {
        "box": box.name,
        "kind": box.kind.value,
        "x": round(area.left, 2),
        "y": round(area.top, 2),
        "w": round(area.width, 2),
        "h": round(area.height, 2),
    }
    if box.circles:
        entry["circles"] = [{"cx": circle.x, "cy": circle.y, "r": circle.radius} for circle in box.circles]
        entry["minutes_each"] = box.minutes_each
    return entry
