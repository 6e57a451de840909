"""Charts as families send them when nobody told them how: halves, screenshots, two on one picture and so on.

    python tests/bench/odd_photos.py --data FOLDER [--charts 8] [--seed 1] [--case NAME ...]

For each case, charts for invented students are printed, filled in by hands of part "test" that `samples/`
does not hold, turned into such files, and given to `daybox` as separate processes: `collect`, `readings`,
`review --sheet/--answers`, `grades`. Said of each: how many charts were found for their student at once,
boxes read right, silently wrong and asked about, and whether the gradebook is right after the answers; where
a person is asked whose a page is, the truth answers. FOLDER holds the open stroke data described in
`samples/README.md`.
"""

import io
import tempfile
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TypeAlias

import click
import cv2
import numpy as np
from outside_check import (
    MINIMUM,
    POINTS,
    SMALL,
    Chart,
    Taken,
    daybox,
    judge,
    keep_all,
    owners_of,
    print_charts,
    unseen_hands,
)
from PIL import Image

from ingest.demo.camera import GENTLE, ORDINARY, Severity, photograph
from ingest.demo.diary import areas_of
from ingest.demo.fill import fill
from ingest.demo.ink import Picture
from ingest.demo.pile import PAGE_DPI, Printed, print_page
from ingest.demo.truth import answered, differences, expected_gradebook

Files: TypeAlias = Mapping[str, bytes]
PX = PAGE_DPI / 25.4  # pixels of a page to the millimetre
LETTER, A4 = (279.4, 215.9), (297.0, 210.0)

PLAIN = replace(GENTLE, mirrored=0.0)
FOLDED = replace(ORDINARY, folds=1.0, fold=(8, 16), mirrored=0.0)
SLEEVE = replace(ORDINARY, glare=1.0, mirrored=0.0)
MIRRORED = replace(ORDINARY, mirrored=1.0)


def taken_of(sheet: Picture, size: tuple[float, float], rng: np.random.Generator, how: Severity) -> Taken:
    """A photograph of a sheet of so many millimetres."""
    photo = photograph(sheet, size, rng, how)
    small = np.asarray(cv2.resize(sheet, SMALL, interpolation=cv2.INTER_AREA))
    return Taken(photo, photo.jpeg, small)


def seen(taken: Taken) -> Picture:
    return np.asarray(cv2.imdecode(np.frombuffer(taken.photo.jpeg, np.uint8), cv2.IMREAD_COLOR))


def jpeg(picture: Picture, quality: int = 88) -> bytes:
    return bytes(cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])[1])


def wide(picture: Picture, across: int) -> Picture:
    share = across / picture.shape[1]
    return np.asarray(cv2.resize(picture, None, fx=share, fy=share, interpolation=cv2.INTER_AREA))


def halves(picture: Picture, axis: int) -> tuple[Picture, Picture]:
    """Two photos that overlap in a sixth of the picture."""
    length = picture.shape[axis]
    first, second = slice(0, round(0.58 * length)), slice(round(0.42 * length), length)
    return (picture[first], picture[second]) if axis == 0 else (picture[:, first], picture[:, second])


def screenshot(picture: Picture) -> bytes:
    """A phone's screen, held upright, with its bars and the photo across it."""
    screen = np.full((2340, 1080, 3), 18, np.uint8)
    small = wide(picture, 1080)[:2100]
    top = (2340 - len(small)) // 2
    screen[top : top + len(small)] = small
    cv2.putText(screen, "12:41", (40, 70), cv2.FONT_HERSHEY_SIMPLEX, 1.4, (255, 255, 255), 2)
    return bytes(cv2.imencode(".png", screen)[1])


def off_a_screen(picture: Picture, rng: np.random.Generator) -> bytes:
    """A photo of the photo on a monitor: its red, green and blue stripes beat with the camera's pixels."""
    shown = np.repeat(np.repeat(wide(picture, 1700).astype(np.float32), 3, axis=0), 3, axis=1)
    stripes = np.full_like(shown, 0.25)
    for colour in range(3):
        stripes[:, 2 - colour :: 3, colour] = 1.0
    lit = np.clip(shown * stripes * 1.9, 0, 255).astype(np.uint8)
    height, width = lit.shape[:2]
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), float(rng.uniform(-3, 3)), 0.71)
    return jpeg(np.asarray(cv2.warpAffine(lit, turn, (width, height), flags=cv2.INTER_LINEAR)), 85)


def on_paper(sheet: Picture, size: tuple[float, float], share: float) -> Picture:
    """A page printed so much smaller, in the middle of a sheet of another size; what hangs over is lost."""
    canvas = np.full((round(size[1] * PX), round(size[0] * PX), 3), 255, np.uint8)
    small = np.asarray(cv2.resize(sheet, None, fx=share, fy=share, interpolation=cv2.INTER_AREA))
    high, broad = min(len(small), len(canvas)), min(small.shape[1], canvas.shape[1])
    cut = small[(len(small) - high) // 2 :, (small.shape[1] - broad) // 2 :][:high, :broad]
    top, left = (len(canvas) - high) // 2, (canvas.shape[1] - broad) // 2
    canvas[top : top + high, left : left + broad] = cut
    return canvas


def two_up(first: Picture, second: Picture) -> Picture:
    """Two charts one above the other on an upright sheet of Letter."""
    share = 0.62
    sheet = np.full((round(LETTER[0] * PX), round(LETTER[1] * PX), 3), 255, np.uint8)
    for place, page in enumerate((first, second)):
        small = np.asarray(cv2.resize(page, None, fx=share, fy=share, interpolation=cv2.INTER_AREA))
        top = 30 + place * (len(sheet) // 2)
        left = (sheet.shape[1] - small.shape[1]) // 2
        sheet[top : top + len(small), left : left + small.shape[1]] = small
    return sheet


def pdf(sheet: Picture) -> bytes:
    buffer = io.BytesIO()
    Image.fromarray(sheet).save(buffer, "PDF", resolution=PAGE_DPI)
    return buffer.getvalue()


Made: TypeAlias = tuple[Files, Sequence[Taken]]
Make: TypeAlias = Callable[[Sequence[Picture], np.random.Generator], Made]


def each(how: Severity, size: tuple[float, float], files: Callable[[Taken, int], Files]) -> Make:
    """A photo of every sheet, and the files that are made of it."""

    def make(sheets: Sequence[Picture], rng: np.random.Generator) -> Made:
        photos = [taken_of(sheet, size, rng, how) for sheet in sheets]
        found: dict[str, bytes] = {}
        for number, photo in enumerate(photos):
            found |= files(photo, number)
        return found, photos

    return make


def resized(size: tuple[float, float], share: float) -> Make:
    def make(sheets: Sequence[Picture], rng: np.random.Generator) -> Made:
        printed = [on_paper(sheet, size, share) for sheet in sheets]
        photos = [taken_of(sheet, size, rng, replace(ORDINARY, mirrored=0.0)) for sheet in printed]
        return {f"IMG_{n}.jpg": photo.photo.jpeg for n, photo in enumerate(photos)}, photos

    return make


def pairs(as_pdf: bool) -> Make:
    def make(sheets: Sequence[Picture], rng: np.random.Generator) -> Made:
        alone = [taken_of(sheet, LETTER, rng, PLAIN) for sheet in sheets]
        files: dict[str, bytes] = {}
        for n in range(0, len(sheets) - 1, 2):
            sheet = two_up(sheets[n], sheets[n + 1])
            size = (LETTER[1], LETTER[0])
            big = replace(ORDINARY, megapixels=(12.0,), mirrored=0.0)
            files[f"scan_{n}.pdf" if as_pdf else f"IMG_{n}.jpg"] = (
                pdf(sheet) if as_pdf else taken_of(sheet, size, rng, big).photo.jpeg
            )
        return files, alone

    return make


def _split(axis: int) -> Callable[[Taken, int], Files]:
    def files(photo: Taken, number: int) -> Files:
        return {f"IMG_{2 * number + k}.jpg": jpeg(part) for k, part in enumerate(halves(seen(photo), axis))}

    return files


def _twice(photo: Taken, number: int) -> Files:
    picture = seen(photo)
    blurred = np.asarray(cv2.GaussianBlur(picture, (0, 0), picture.shape[1] / 700))
    return {f"IMG_{2 * number}.jpg": jpeg(blurred), f"IMG_{2 * number + 1}.jpg": jpeg(picture)}


def _bordered(photo: Taken, number: int) -> Files:
    picture = cv2.copyMakeBorder(seen(photo), 350, 350, 200, 200, cv2.BORDER_CONSTANT, value=(0, 0, 0))
    return {f"IMG_{number}.jpg": jpeg(np.asarray(picture))}


def _as_it_is(photo: Taken, number: int) -> Files:
    return {f"IMG_{number}.jpg": photo.photo.jpeg}


CASES: Mapping[str, Make] = {
    "two halves, left and right": each(PLAIN, LETTER, _split(1)),
    "two halves, above and below": each(PLAIN, LETTER, _split(0)),
    "two photos, one blurred": each(PLAIN, LETTER, _twice),
    "screenshot of a photo": each(PLAIN, LETTER, lambda p, n: {f"Screenshot_{n}.png": screenshot(seen(p))}),
    "photo of a screen": each(
        PLAIN, LETTER, lambda p, n: {f"IMG_{n}.jpg": off_a_screen(seen(p), np.random.default_rng(n))}
    ),
    "black border": each(PLAIN, LETTER, _bordered),
    "plastic sleeve": each(SLEEVE, LETTER, _as_it_is),
    "folded": each(FOLDED, LETTER, _as_it_is),
    "mirrored": each(MIRRORED, LETTER, _as_it_is),
    "printed at 90 %": resized(LETTER, 0.9),
    "on A4, fitted": resized(A4, min(A4[0] / LETTER[0], A4[1] / LETTER[1])),
    "two on one sheet, photo": pairs(as_pdf=False),
    "two on one sheet, PDF": pairs(as_pdf=True),
}


def filled(printed: Printed, charts: Sequence[Chart], seed: int) -> list[Picture]:
    """The sheets as the children wrote them."""
    sheets = []
    for chart in charts:
        page = printed.page_of(chart.student)
        sheet = print_page(printed.pdf, page["page"])
        rng = np.random.default_rng([seed, int(chart.student[1:])])
        fill(sheet, PX, areas_of(page), chart.diary.entries, chart.writer, rng)
        sheets.append(sheet)
    return sheets


def try_case(make: Make, data: Path, out: Path, count: int, seed: int) -> str:
    """One case, from printed charts to the gradebook; the figures in words."""
    folder = out / "challenge"
    printed = print_charts(folder, "2026-05", count)
    charts = keep_all(printed, unseen_hands(data), seed, "")
    files, photos = make(filled(printed, charts, seed), np.random.default_rng(seed))
    came = out / "came"
    came.mkdir()
    for name, content in files.items():
        (came / name).write_bytes(content)
    daybox("collect", "--folder", folder, came, allowed=(0, 3))
    daybox("readings", "--folder", folder, "--out", out / "readings.csv")
    verdicts = list(judge((out / "readings.csv").read_text(encoding="utf-8-sig"), charts, photos))
    outcomes = Counter(verdict.outcome for verdict in verdicts)
    truths = {chart.student: chart.diary for chart in charts}
    whose = 0
    for turn in range(4):
        path = out / f"review-{turn}.csv"
        daybox("review", "--folder", folder, "--sheet", path)
        sheet = path.read_text(encoding="utf-8-sig")
        if sheet.count("\n") <= 1:
            break
        whose += sum(",chart," in line for line in sheet.splitlines())
        text, puzzles = answered(sheet, truths, owners_of(sheet, out, charts, photos))
        path.write_text(text, encoding="utf-8", newline="")
        daybox("review", "--folder", folder, "--answers", path)
        if puzzles:
            break
    daybox("grades", "--folder", folder, "--out", out / "gradebook.csv")
    days = [date.fromisoformat(box[4:]) for box in charts[0].diary.truth if box.startswith("day:")]
    required = sorted(day for day in days if day.weekday() < 5)
    wrong = differences(
        (out / "gradebook.csv").read_text(encoding="utf-8-sig"),
        expected_gradebook(truths, required, MINIMUM, POINTS),
    )
    found = len({verdict.chart.student for verdict in verdicts})
    return (
        f"{found:3} of {count} found at once, {whose:2} asked whose;  boxes right {outcomes['right']:4}  "
        f"wrong {outcomes['wrong']:2}  asked {outcomes['flagged']:4};  gradebook after answers: "
        + (f"{len(wrong)} cells differ" if wrong else "right")
    )


@click.command()
@click.option("--data", type=click.Path(exists=True, file_okay=False, path_type=Path), required=True)
@click.option("--charts", default=8, show_default=True, help="of each case; an even number")
@click.option("--seed", default=1, show_default=True)
@click.option("--case", "cases", multiple=True, type=click.Choice([*CASES]))
def main(data: Path, charts: int, seed: int, cases: Sequence[str]) -> None:
    """Try each case and print what came of it."""
    for name in cases or CASES:
        with tempfile.TemporaryDirectory() as folder:
            click.echo(f"{name:28} {try_case(CASES[name], data, Path(folder), charts, seed)}")


if __name__ == "__main__":
    main()
