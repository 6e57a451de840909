"""Which charts are printed, and the public file that says where their boxes are."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ingest.chart.code import new_code
from ingest.chart.layout import ChartBox, Kind, Layout
from ingest.plan.roster import Student


@dataclass(frozen=True, slots=True)
class Chart:
    """One page to be printed. student: None for a spare chart."""

    code: str
    student: Student | None


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


def _entry(box: ChartBox) -> dict[str, str | float]:
    area = box.area
    return {
        "box": box.name,
        "kind": box.kind.value,
        "x": round(area.left, 2),
        "y": round(area.top, 2),
        "w": round(area.width, 2),
        "h": round(area.height, 2),
    }
