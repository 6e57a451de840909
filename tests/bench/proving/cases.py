"""Cases: charts that a child filled in and a family photographed, with the truth about every box."""

import functools
import hashlib
import pickle
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
import pypdfium2

from ingest.chart.charts import Chart
from ingest.chart.code import new_code
from ingest.chart.design import load_design
from ingest.chart.drawing import draw_charts
from ingest.chart.layout import Layout, lay_out
from ingest.demo.camera import SEVERITIES, Floats, Photo, photocopied, photograph
from ingest.demo.children import any_child
from ingest.demo.diary import Diary, keep_diary
from ingest.demo.fill import Writer, fill
from ingest.demo.hands import Hand
from ingest.demo.ink import Picture
from ingest.demo.make_hands import writers_of
from ingest.plan.challenge import Challenge, make_challenge
from ingest.plan.roster import Student
from ingest.training.split import Part

DPI = 250
DIGITS = "0123456789"
OWN_DIGITS = 5  # a hand that has fewer of its own would be somebody else's


@dataclass(frozen=True, slots=True)
class Setting:
    """What a run is made of; with a case's number it fixes everything but the chart's random code."""

    data: Path
    part: Part
    severity: str
    seed: int


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """One chart, from the truth to the photograph. number: from 0."""

    number: int
    severity: str
    plan: Challenge
    layout: Layout
    code: str
    writer: Writer
    diary: Diary
    photo: Photo


@functools.cache
def hands_of(data: Path, part: Part) -> tuple[Hand, ...]:
    """The hands of a part, by writer; the few digits that some lack are lent by the others in turn."""
    hands = writers_of(data, part)
    lenders = [hand for hand in hands if hand.can_write(DIGITS)]
    out = []
    for number, hand in enumerate(hands):
        missing = [digit for digit in DIGITS if digit not in hand.glyphs]
        if len(missing) > len(DIGITS) - OWN_DIGITS:
            continue
        lent = {digit: lenders[(number + k) % len(lenders)].glyphs[digit] for k, digit in enumerate(missing)}
        out.append(replace(hand, glyphs={**hand.glyphs, **lent}))
    return tuple(out)


def case_of(setting: Setting, number: int, kept: Path | None = None) -> Case:
    """The case of that number; from the folder `kept`, or made and put there, if one is given."""
    if kept is None:
        return make_case(setting, number)
    file = kept / f"{_edition()}-{setting.part}-{setting.severity}-{setting.seed}-{number}.case"
    if file.exists():
        case = pickle.loads(file.read_bytes())
        assert isinstance(case, Case)
        return case
    case = make_case(setting, number)
    file.write_bytes(pickle.dumps(case))
    return case


@functools.cache
def _edition() -> str:
    """Names the simulator as it is now, so that a folder never gives out what an older one made."""
    package = Path(__file__).resolve().parents[3]
    digest = hashlib.sha256(Path(__file__).read_bytes())
    for room in ("ingest/demo", "ingest/chart", "templates"):
        for file in sorted((package / room).glob("*.[pt]*")):
            digest.update(file.read_bytes() if file.is_file() else b"")
    return digest.hexdigest()[:8]


def plan_of(number: int) -> Challenge:
    """Months, papers, languages and starts of the week in turn."""
    return make_challenge(
        {
            "month": f"{2026 + number % 3}-{1 + (number * 5) % 12:02}",
            "paper": "a4" if number % 3 == 1 else "letter",
            "language": "es" if number % 4 == 3 else "en",
            "days": {"week_starts": "mon" if number % 5 == 2 else "sun"},
        },
        "the proving ground",
    )


def make_case(setting: Setting, number: int) -> Case:
    hands = hands_of(setting.data, setting.part)
    # The hands in turn, and not always with the same plan.
    hand = hands[(number + number // len(hands)) % len(hands)]
    rng = np.random.default_rng([setting.seed, sorted(SEVERITIES).index(setting.severity), number])
    writer, habits = any_child(hand, setting.severity, rng)
    plan = plan_of(number)
    layout, code, page = _printed(plan)
    areas = {box.name: box.area for box in layout.boxes if box.name != "name"}
    diary = keep_diary(areas, habits, writer.hand, rng)
    paper = (layout.paper.width, layout.paper.height)
    camera = SEVERITIES[setting.severity]
    lies = None
    if rng.random() < camera.photocopy:  # the school copied the printed chart, and perhaps the copy
        page, lies = photocopied(page, paper, rng, int(rng.integers(1, camera.copies + 1)))
    sheet = _written_on(
        page, lies, lambda picture: fill(picture, DPI / 25.4, areas, diary.entries, writer, rng)
    )
    photo = photograph(sheet, paper, rng, camera, lies)
    return Case(number, setting.severity, plan, layout, code, writer, diary, photo)


def _printed(plan: Challenge) -> tuple[Layout, str, Picture]:
    design = load_design(plan.design, Path())
    layout = lay_out(plan, design)
    code = new_code()
    student = Student("P1", "Wren", "Alder-Nguyen", "Band 2")
    with pypdfium2.PdfDocument(draw_charts(plan, design, layout, [Chart(code, student)])) as document:
        page = document[0].render(scale=DPI / 72).to_pil().convert("RGB")
    return layout, code, np.asarray(page).copy()


def _written_on(page: Picture, lies: Floats | None, write: Callable[[Picture], None]) -> Picture:
    """The page with the writing on it; on a copy it goes where the copied boxes are."""
    if lies is None:
        write(page)
        return page
    ink = np.full_like(page, 255)
    write(ink)
    to_px = np.array([[DPI / 25.4, 0, -0.5], [0, DPI / 25.4, -0.5], [0, 0, 1]])  # of mm; middles of pixels
    move = (to_px @ np.vstack([lies, [0, 0, 1]]) @ np.linalg.inv(to_px))[:2]
    height, width = page.shape[:2]
    moved = cv2.warpAffine(ink, move, (width, height), borderValue=(255, 255, 255))
    return np.asarray(cv2.multiply(page, moved, scale=1 / 255), np.uint8)
