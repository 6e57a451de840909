"""Where everything stands on a chart, in millimetres."""

import dataclasses
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations
from typing import TYPE_CHECKING, Any

from ingest.errors import DesignError
from ingest.paper import PAPERS, Box, Paper

if TYPE_CHECKING:  # who only reads charts need not load all that checks plans and designs
    from ingest.chart.design import Circles, Design
    from ingest.plan.challenge import Challenge


class Kind(StrEnum):
    """What is written in a box."""

    MINUTES = "minutes"  # a day's minutes
    TOTAL = "total"  # a week's or the month's sum
    MARK = "mark"  # initials: only whether something is there
    TEXT = "text"  # a name on a spare chart: for people and OCR


@dataclass(frozen=True, slots=True)
class Circle:
    """A printed circle to be filled in: its centre, and its radius to the middle of its line, mm."""

    x: float
    y: float
    radius: float


@dataclass(frozen=True, slots=True)
class ChartBox:
    """One place where something is written, or circles are filled in.

    name: `day:2027-10-01`, `week:1`, `month`, `initials:1`, `name`.
    area: the space meant for the pencil; nothing but circles is printed inside.
    frame: the outline printed around it (centre of the line); what geometry locks on to.
    circles: in the order in which they are to be filled; none where a number is written.
    minutes_each: what one filled circle stands for; 0 without circles.
    """

    name: str
    kind: Kind
    area: Box
    frame: Box
    circles: tuple[Circle, ...] = ()
    minutes_each: int = 0


@dataclass(frozen=True, slots=True)
class Tag:
    """An AprilTag 36h11; `area` is its outer black square (8 x 8 cells)."""

    id: int
    area: Box


@dataclass(frozen=True, slots=True)
class Layout:
    """All places on one chart. The same for every student of a challenge, printed with one design.

    outside: cells of the month grid that belong to no day of the month, named `outside:2027-09-30`;
        writing there is flagged. They are not in `charts.layout.json`.
    qr: the QR code with its quiet zone left out (the modules' square).
    letters: where the chart code stands in plain letters.
    name: where the printed (or, on a spare chart, handwritten) name stands.
    """

    challenge: str  # "2027-10"
    design: str
    paper: Paper
    boxes: tuple[ChartBox, ...]
    outside: tuple[ChartBox, ...]
    tags: tuple[Tag, ...]
    qr: Box
    letters: Box
    name: Box

    def box(self, name: str) -> ChartBox:
        """The box of that name. Raises KeyError."""
        for box in (*self.boxes, *self.outside):
            if box.name == name:
                return box
        raise KeyError(name)


# From the edge of a writing area to the centre of the line around it, mm. Readers cut 1.5 mm around
# the area, so the line is in the cut and everything else that is printed is out of it.
FRAME_DISTANCE = 0.8
CLEARANCE = 1.5

# Around a day's circles, mm: so that the frame's line is not taken for theirs, nor theirs for the frame's.
_BESIDE_CIRCLES = 0.9
_AFTER_NUMBER = 0.2  # on their left there is no line, only the day's number
_WIDEST_PITCH = 1.4  # in diameters: circles that lie further apart look lost

QR_MODULES = 25  # version 2 (ISO/IEC 18004): holds 20 alphanumeric characters at level H
QR_QUIET_MODULES = 4  # the same standard's quiet zone
_COLUMN_NAMES = 7.0  # mm above the grid: two lines

TAG_CELLS = 8  # an AprilTag 36h11 with its black border; it needs a light margin of one cell


def lay_out(challenge: "Challenge", design: "Design") -> Layout:
    """Place everything. All millimetres are multiples of 0.01.

    Raises DesignError when the design's sizes do not fit the challenge's paper, or its circles the plan.
    """
    paper = PAPERS[challenge.paper]
    sizes = design.sizes
    weeks = challenge.month.weeks(challenge.days.week_starts)
    side = sizes.margin + sizes.tag * (1 + 1 / TAG_CELLS) + 0.2  # free of the tags' light margins
    day_width, left = _day_columns(paper, design, side)
    day_height, top, pitch = _rows(paper, design, len(weeks))
    total_left = left + 7 * (day_width + 2 * FRAME_DISTANCE) + sizes.gap
    initials_left = total_left
    if design.columns.week_total:
        initials_left += sizes.total_width + 2 * FRAME_DISTANCE

    boxes: list[ChartBox] = []
    outside: list[ChartBox] = []
    for row, week in enumerate(weeks):
        line = top + row * pitch + sizes.strip  # the frame's upper line
        for column, day in enumerate(week):
            cell = left + column * (day_width + 2 * FRAME_DISTANCE)
            inside = (day.year, day.month) == (challenge.month.year, challenge.month.number)
            which = f"{'day' if inside else 'outside'}:{day.isoformat()}"
            box = _box(which, Kind.MINUTES, cell, line, day_width, day_height)
            if not inside:
                outside.append(box)
            elif design.circles:
                boxes.append(_with_circles(box, design.circles, sizes.strip, challenge))
            else:
                boxes.append(box)
        if design.columns.week_total:
            boxes.append(_box(f"week:{row + 1}", Kind.TOTAL, total_left, line, sizes.total_width, day_height))
        if design.columns.initials:
            boxes.append(
                _box(f"initials:{row + 1}", Kind.MARK, initials_left, line, sizes.initials_width, day_height)
            )
    month_top = top + len(weeks) * pitch + sizes.strip + 2.0
    grid_right = initials_left
    if design.columns.initials:
        grid_right += sizes.initials_width + 2 * FRAME_DISTANCE
    month_left = min(total_left, grid_right - sizes.month_width - 2 * FRAME_DISTANCE)
    boxes.append(_box("month", Kind.TOTAL, month_left, month_top, sizes.month_width, sizes.day_height))

    qr_side = QR_MODULES * sizes.qr_module
    quiet = QR_QUIET_MODULES * sizes.qr_module
    qr = Box(_mm(paper.width - side - quiet - qr_side), _mm(sizes.margin + quiet), _mm(qr_side), _mm(qr_side))
    letters = Box(_mm(qr.left - quiet), _mm(qr.bottom + quiet), _mm(qr_side + 2 * quiet), 5.0)
    name_left = paper.width / 2 + sizes.tag / 2 + 4.0
    name = Box(
        _mm(name_left), _mm(sizes.margin + 6.0), _mm(qr.left - quiet - 3.0 - name_left), sizes.name_height
    )
    layout = Layout(
        challenge=str(challenge.month),
        design=design.name,
        paper=paper,
        boxes=tuple(boxes),
        outside=tuple(outside),
        tags=_tags(paper, design),
        qr=qr,
        letters=letters,
        name=name,
    )
    _refuse_overlaps(layout, design)
    return layout


def _with_circles(box: ChartBox, circles: "Circles", strip: float, challenge: "Challenge") -> ChartBox:
    """The day as a cell of a calendar: its number in the upper left corner, the circles beside it.

    The cell's frame takes in the strip, so that the circles may be as large as can be.
    """
    frame = Box(box.frame.left, _mm(box.frame.top - strip), box.frame.width, _mm(box.frame.height + strip))
    left, top = _mm(frame.left + circles.number), _mm(frame.top + FRAME_DISTANCE)
    area = Box(left, top, _mm(box.area.right - left), _mm(box.area.bottom - top))
    count = min(circles.count, challenge.counting.most_per_day // circles.minutes)
    if count * circles.minutes < challenge.days.minimum_minutes:
        raise DesignError(
            f"A day of this chart has circles for {count * circles.minutes} minutes, but in challenge.toml "
            f"days.minimum_minutes asks for {challenge.days.minimum_minutes}. Lower that, or raise "
            "circles.most_minutes in a copy of the design."
        )
    across = min(circles.across, count)
    down = math.ceil(count / across)
    inside = Box(
        area.left + _AFTER_NUMBER,
        area.top + _BESIDE_CIRCLES,
        area.width - _AFTER_NUMBER - _BESIDE_CIRCLES,
        area.height - 2 * _BESIDE_CIRCLES,
    )
    outer = min((inside.width + circles.gap) / across, (inside.height + circles.gap) / down) - circles.gap
    outer = math.floor(min(outer, circles.diameter_most) * 20) / 20
    if outer < circles.diameter:
        raise DesignError(
            f"{count} circles of {circles.diameter:g} mm do not fit into a day of this chart, only of "
            f"{max(outer, 0):.1f} mm. In the design, make circles.most_minutes, circles.diameter or "
            "circles.gap smaller, circles.minutes or the days larger, or circles.across another."
        )
    step_x, step_y = (
        min((room - outer) / max(number - 1, 1), _WIDEST_PITCH * outer)
        for room, number in ((inside.width, across), (inside.height, down))
    )
    first_x = inside.centre[0] - step_x * (across - 1) / 2
    first_y = inside.centre[1] - step_y * (down - 1) / 2
    radius = _mm((outer - circles.line) / 2)
    places = tuple(
        Circle(_mm(first_x + n % across * step_x), _mm(first_y + n // across * step_y), radius)
        for n in range(count)
    )
    return ChartBox(box.name, box.kind, area, frame, places, circles.minutes)


def _refuse_overlaps(layout: Layout, design: "Design") -> None:
    """Every place needs its own paper, with the white around it that it must have."""
    names = Box(0, design.sizes.header - _COLUMN_NAMES, layout.paper.width, _COLUMN_NAMES)
    quiet = QR_QUIET_MODULES * design.sizes.qr_module - 0.01  # places are rounded to 0.01 mm
    places = [(f"the box {box.name}", box.area.grown(FRAME_DISTANCE / 2)) for box in layout.boxes]
    places += [(f"tag {tag.id}", tag.area.grown(tag.area.width / TAG_CELLS)) for tag in layout.tags]
    places += [
        ("the names of the columns", names),
        ("the QR code", layout.qr.grown(quiet)),
        ("the chart code", layout.letters),
        ("the name", layout.name.grown(FRAME_DISTANCE)),
    ]
    for (one, first), (other, second) in combinations(places, 2):
        if _overlap(first, second):
            raise DesignError(
                f'With the chart design "{design.name}", {other} would run into {one} on '
                f"{layout.paper.name} paper. Change the sizes of what stands there; the shipped design has "
                "sizes that fit."
            )


def _overlap(one: Box, other: Box) -> bool:
    return (
        one.left < other.right
        and other.left < one.right
        and one.top < other.bottom
        and other.top < one.bottom
    )


def layout_to_json(layout: Layout) -> str:
    """The whole layout as one line of JSON; equal layouts give equal text."""
    data = dataclasses.asdict(layout)
    for box in (*data["boxes"], *data["outside"]):
        if not box["circles"]:  # as layouts without circles have always been kept
            del box["circles"], box["minutes_each"]
    return json.dumps(data, ensure_ascii=False, separators=(",", ":"))


def layout_from_json(text: str) -> Layout:
    """The reverse of `layout_to_json`. Raises ValueError or KeyError on anything else."""
    data = json.loads(text)
    return Layout(
        challenge=data["challenge"],
        design=data["design"],
        paper=Paper(**data["paper"]),
        boxes=tuple(_chart_box(item) for item in data["boxes"]),
        outside=tuple(_chart_box(item) for item in data["outside"]),
        tags=tuple(Tag(item["id"], Box(**item["area"])) for item in data["tags"]),
        qr=Box(**data["qr"]),
        letters=Box(**data["letters"]),
        name=Box(**data["name"]),
    )


def _chart_box(item: Mapping[str, Any]) -> ChartBox:
    return ChartBox(
        item["name"],
        Kind(item["kind"]),
        Box(**item["area"]),
        Box(**item["frame"]),
        tuple(Circle(**circle) for circle in item.get("circles", ())),
        item.get("minutes_each", 0),
    )


def _mm(value: float) -> float:
    return round(value, 2)


def _box(name: str, kind: Kind, left: float, top: float, width: float, height: float) -> ChartBox:
    """A box whose frame's upper left corner is given, with a writing area of that size."""
    frame = Box(_mm(left), _mm(top), _mm(width + 2 * FRAME_DISTANCE), _mm(height + 2 * FRAME_DISTANCE))
    area = Box(
        _mm(frame.left + FRAME_DISTANCE),
        _mm(frame.top + FRAME_DISTANCE),
        _mm(frame.width - 2 * FRAME_DISTANCE),
        _mm(frame.height - 2 * FRAME_DISTANCE),
    )
    return ChartBox(name, kind, area, frame)


def _day_columns(paper: Paper, design: "Design", side: float) -> tuple[float, float]:
    """The width of a day's writing area, and where the grid begins (mm)."""
    sizes = design.sizes
    beside = sizes.gap
    if design.columns.week_total:
        beside += sizes.total_width + 2 * FRAME_DISTANCE
    if design.columns.initials:
        beside += sizes.initials_width + 2 * FRAME_DISTANCE
    room = paper.width - 2 * side
    widest = (room - beside) / 7 - 2 * FRAME_DISTANCE
    if widest < sizes.day_width:
        raise DesignError(
            f'The chart design "{design.name}" is {7 * (sizes.day_width - widest):.1f} mm too wide for '
            f"{paper.name} paper. Make sizes.day_width, sizes.total_width, sizes.initials_width or sizes.gap "
            "smaller."
        )
    width = math.floor(min(widest, sizes.day_width_most) * 10) / 10
    used = 7 * (width + 2 * FRAME_DISTANCE) + beside
    return width, side + (room - used) / 2


def _rows(paper: Paper, design: "Design", rows: int) -> tuple[float, float, float]:
    """The height of a day's writing area, where the first row's strip begins, and row to row (mm)."""
    sizes = design.sizes
    room = paper.height - sizes.header - sizes.footer
    around = sizes.strip + 2 * FRAME_DISTANCE
    # Six rows must fit whatever the month, so that a design is good or bad for the whole year.
    if room / 6 - around < sizes.day_height - 1e-6:
        raise DesignError(
            f'The chart design "{design.name}" is {6 * (sizes.day_height + around) - room:.1f} mm too high '
            f"for {paper.name} paper when a month has six weeks. Make sizes.day_height, sizes.strip, "
            "sizes.header or sizes.footer smaller."
        )
    height = math.floor(min(room / rows - around, sizes.day_height_most) * 10 + 1e-6) / 10
    return height, sizes.header, height + around


def _tags(paper: Paper, design: "Design") -> tuple[Tag, ...]:
    """Clockwise from the top left: corners and the middles of the edges."""
    margin, side = design.sizes.margin, design.sizes.tag
    right, bottom = paper.width - margin - side, paper.height - margin - side
    across, down = (paper.width - side) / 2, (paper.height - side) / 2
    corners = [
        (margin, margin),
        (across, margin),
        (right, margin),
        (right, down),
        (right, bottom),
        (across, bottom),
        (margin, bottom),
        (margin, down),
    ]
    return tuple(
        Tag(number, Box(_mm(x), _mm(y), side, side))
        for number, (x, y) in zip(design.tags.ids, corners, strict=True)
    )
