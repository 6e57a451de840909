"""How well pages are found and flattened: photographs charts and compares with where things really are.

    python tests/bench/geometry.py [--photos 40] [--severity ordinary] [--worst FOLDER]

Prints, for each severity: pages found, codes read, tags seen, the distance in mm of every box corner from
its true place (median, 95th centile, worst box, and share of boxes beyond 0.5 mm), and milliseconds of
one core a step.
"""

import argparse
import io
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
import pypdfium2
from PIL import Image, ImageOps
from threadpoolctl import threadpool_limits

from ingest.chart.charts import Chart
from ingest.chart.code import new_code
from ingest.chart.design import load_design
from ingest.chart.drawing import draw_charts
from ingest.chart.layout import Layout, lay_out
from ingest.demo.camera import SEVERITIES, Photo, Severity, photograph
from ingest.demo.diary import any_habits, keep_diary
from ingest.demo.fill import any_writer, fill
from ingest.demo.hands import load_hands
from ingest.demo.ink import Picture
from ingest.errors import PageError
from ingest.plan.challenge import Challenge, Days
from ingest.plan.month import Month
from ingest.plan.roster import Student
from ingest.reading.codes import read_code
from ingest.reading.flatten import Pose
from ingest.reading.frames import refine
from ingest.reading.placing import find
from ingest.reading.values import Grey

DPI = 300
HANDS = load_hands()


@dataclass
class Tally:
    """What was measured under one severity."""

    photos: int = 0
    found: int = 0
    coded: int = 0
    wrong_codes: int = 0
    tags: list[int] = field(default_factory=list)
    before: list[float] = field(default_factory=list)  # mm, before the frames
    errors: list[float] = field(default_factory=list)  # mm, every box's worst corner
    residuals: list[float] = field(default_factory=list)
    steps: dict[str, list[float]] = field(default_factory=dict)  # ms
    cases: list[tuple[float, int, str]] = field(default_factory=list)  # worst box mm, number, what


PLANS = (
    Challenge(title="Practice", month=Month.parse("2027-10")),
    Challenge(title="Practice", month=Month.parse("2027-08"), paper="a4", language="es"),
    Challenge(title="Practice", month=Month.parse("2026-02")),  # four rows
    Challenge(title="Practice", month=Month.parse("2027-05"), days=Days(week_starts="mon")),  # six rows
)


def filled_page(plan: Challenge, code: str, rng: np.random.Generator) -> tuple[Layout, Picture]:
    """A printed chart at DPI with a month's writing in it."""
    design = load_design(plan.design, Path())
    layout = lay_out(plan, design)
    student = Student("S1", "Wren", "Alder-Nguyen", "Band 2")
    with pypdfium2.PdfDocument(draw_charts(plan, design, layout, [Chart(code, student)])) as document:
        page = np.asarray(document[0].render(scale=DPI / 72).to_pil().convert("RGB")).copy()
    areas = {box.name: box.area for box in layout.boxes}
    hand = HANDS[int(rng.integers(len(HANDS)))]
    diary = keep_diary(areas, any_habits(rng), hand, rng)
    fill(page, DPI / 25.4, areas, diary.entries, any_writer(hand, rng), rng)
    return layout, page


def grey_of(photo: Photo) -> Grey:
    image = ImageOps.exif_transpose(Image.open(io.BytesIO(photo.jpeg)))
    return np.asarray(image.convert("L"), np.uint8)


def box_errors(
    pose: Pose, layout: Layout, photo: Photo, width: int, mirrored: bool
) -> npt.NDArray[np.float64]:
    """For each box, how far its worst corner is from its true place, in mm on the page."""
    corners = np.array(
        [
            corner
            for box in (*layout.boxes, *layout.outside)
            for corner in (
                (box.area.left, box.area.top),
                (box.area.right, box.area.top),
                (box.area.right, box.area.bottom),
                (box.area.left, box.area.bottom),
            )
        ]
    )
    true = photo.to_photo(corners)
    if mirrored:
        true[:, 0] = width - 1 - true[:, 0]
    here = pose.to_picture(corners)
    step = 0.01
    slopes = np.stack(
        [(pose.to_picture(corners + np.array(move)) - here) / step for move in ((step, 0.0), (0.0, step))],
        axis=-1,
    )
    miss = np.linalg.solve(slopes, (true - here)[..., None])[..., 0]
    return np.asarray(np.linalg.norm(miss, axis=1).reshape(-1, 4).max(axis=1))


def one(severity: Severity, seed: int, number: int, tally: Tally, worst: Path | None) -> None:
    rng = np.random.default_rng([seed, number])
    code = new_code()
    layout, page = filled_page(PLANS[number % len(PLANS)], code, rng)
    paper = layout.paper
    photo = photograph(page, (paper.width, paper.height), rng, severity)
    grey = grey_of(photo)
    damage = ", ".join(photo.damage)
    tally.photos += 1
    steps: dict[str, float] = {}
    clock = time.process_time()

    def lap(step: str) -> None:
        nonlocal clock
        now = time.process_time()
        steps[step] = (now - clock) * 1000
        clock = now

    try:
        placed = find(grey, [layout])
    except PageError as problem:
        tally.cases.append((99.0, number, f"not found: {problem}; {damage}"))
        if worst:
            cv2.imwrite(str(worst / f"{severity.name}_{number}_lost.jpg"), grey)
        return
    lap("find")
    found = read_code(placed.picture, placed.pose, layout)
    lap("code")
    fit = refine(placed.picture, placed.pose, layout, placed.tags)
    lap("frames")
    mirrored = placed.picture is not grey and not np.array_equal(placed.picture, grey)
    errors = box_errors(fit.pose, layout, photo, grey.shape[1], mirrored)
    before = box_errors(placed.pose, layout, photo, grey.shape[1], mirrored)
    tally.found += 1
    tally.coded += found.code == code
    tally.wrong_codes += found.code not in (None, code)
    tally.tags.append(len(placed.tags))
    tally.errors += list(errors)
    tally.before += list(before)
    tally.residuals.append(fit.residual_mm)
    for step, ms in steps.items():
        tally.steps.setdefault(step, []).append(ms)
    what = (
        f"{len(placed.tags)} tags, code {found.source or 'none'}, before {before.max():.2f}, "
        f"residual {fit.residual_mm:.2f}, frames seen {fit.seen.mean():.2f}, "
        f"{grey.shape[1]}x{grey.shape[0]}; {damage}"
    )
    tally.cases.append((float(errors.max()), number, what))
    if worst and (errors.max() > 0.5 or found.code != code):
        cv2.imwrite(str(worst / f"{severity.name}_{number}.jpg"), grey)
        cv2.imwrite(str(worst / f"{severity.name}_{number}_flat.jpg"), fit.flat)


def report(name: str, tally: Tally) -> None:
    errors = np.array(tally.errors or [np.nan])
    before = np.array(tally.before or [np.nan])
    print(
        f"{name}: found {tally.found}/{tally.photos}, codes {tally.coded} (wrong {tally.wrong_codes}), "
        f"tags {np.mean(tally.tags):.1f}; box error mm median {np.median(errors):.3f}, "
        f"95% {np.percentile(errors, 95):.3f}, max {errors.max():.2f}, "
        f"over 0.5 mm {np.mean(errors > 0.5):.2%} "
        f"(tags alone: {np.median(before):.2f}, {np.percentile(before, 95):.2f}, {before.max():.2f})"
    )
    print(
        "  ms: "
        + ", ".join(f"{k} {np.median(v):.0f} (worst {np.max(v):.0f})" for k, v in tally.steps.items())
    )
    for error, number, what in sorted(tally.cases, reverse=True)[:6]:
        print(f"  {error:6.2f} mm  #{number}: {what}")


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--photos", type=int, default=40)
    parser.add_argument("--severity", choices=[*SEVERITIES], action="append")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int)
    parser.add_argument("--worst", type=Path, help="where to save the photos that went badly")
    args = parser.parse_args()
    cv2.setNumThreads(1)
    threadpool_limits(1)
    if args.worst:
        args.worst.mkdir(parents=True, exist_ok=True)
    for name in args.severity or [*SEVERITIES]:
        tally = Tally()
        for number in [args.only] if args.only is not None else range(args.photos):
            one(SEVERITIES[name], args.seed, number, tally, args.worst)
        report(name, tally)
    return 0


if __name__ == "__main__":
    sys.exit(main())
