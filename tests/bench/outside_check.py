"""Checks the whole job from outside, through the public contracts only.

    python tests/bench/outside_check.py --data FOLDER [--students 24] [--severity ordinary] [--odd]

Prints charts for invented students in another month (May 2026: six rows), has them filled in by hands of
part "test" that `samples/` does not hold, photographs them, zips them under messy names, and runs
`daybox` as separate processes. With --odd the children are those of the proving ground, who also draw,
strike out and write words; what is no number must then be asked about, whatever it is read as. FOLDER
holds the open stroke data described in `samples/README.md`.
Everything follows from --seed but the chart codes, which Daybox draws afresh.
"""

import csv
import io
import subprocess
import sys
import time
import zipfile
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import click
import cv2
import numpy as np
from proving.figures import bounds

from ingest.demo.camera import SEVERITIES, Photo, photograph
from ingest.demo.children import any_child
from ingest.demo.diary import Diary, Habits, any_habits, areas_of, keep_diary
from ingest.demo.fill import Writer, any_writer, fill
from ingest.demo.hands import Hand, Points, load_hands
from ingest.demo.ink import Picture
from ingest.demo.make_hands import writers_of
from ingest.demo.pile import PAGE_DPI, Printed, as_file, print_page
from ingest.demo.truth import answered, differences, expected_gradebook
from ingest.paper import Box

MINIMUM, POINTS = 15, 10  # the defaults of a new challenge
DIGITS = "0123456789"
FIRST = [
    "Ada",
    "Béla",
    "Chi",
    "Dara",
    "Eno",
    "Finn",
    "Gül",
    "Hugo",
    "Ines",
    "Jun",
    "Kai",
    "Mila",
    "Nneka",
    "Oto",
]
LAST = ["Abara", "Brandt-Ruiz", "Cole", "De'Ath", "Eriksen", "Fuentes", "Grünwald", "Hsu", "Ibáñez", "Kósa"]


@dataclass(frozen=True, slots=True)
class Chart:
    """One student's chart, from the truth to the file."""

    student: str
    writer: Writer
    habits: Habits
    diary: Diary
    path: str


@dataclass(frozen=True, slots=True)
class Taken:
    """What one photograph was made of and what it became. small: the filled page, for recognising it."""

    photo: Photo
    data: bytes
    small: Picture


@dataclass(frozen=True, slots=True)
class Verdict:
    """One box beside the truth. outcome: right, wrong (silently) or flagged."""

    chart: Chart
    taken: Taken
    box: str
    written: str
    truth: int | None
    value: str
    confidence: float
    flags: str
    outcome: str


def unseen_hands(data: Path) -> tuple[Hand, ...]:
    """Hands of part "test" that are not in `samples/`, with eight digits at least.

    The digit or two that some lack they borrow from the others, in turn.
    """
    shipped = {hand.writer for hand in load_hands()}
    hands = [hand for hand in writers_of(data, "test") if hand.writer not in shipped]
    lenders = [hand for hand in hands if hand.can_write(DIGITS)]
    out = []
    for number, hand in enumerate(hands):
        missing = [digit for digit in DIGITS if digit not in hand.glyphs]
        if len(missing) <= 2:
            lender = lenders[number % len(lenders)]
            lent = {digit: lender.glyphs[digit] for digit in missing}
            out.append(replace(hand, glyphs={**hand.glyphs, **lent}))
    return tuple(out)


def daybox(*words: str | Path, allowed: tuple[int, ...] = (0,)) -> str:
    """Run one command as a process of its own; what it printed."""
    done = subprocess.run(
        [sys.executable, "-m", "ingest", *map(str, words)], capture_output=True, text=True, check=False
    )
    if done.returncode not in allowed:
        raise SystemExit(f"daybox {words[0]} ended with {done.returncode}:\n{done.stdout}\n{done.stderr}")
    return done.stdout


def print_charts(folder: Path, month: str, students: int) -> Printed:
    """A new challenge with so many invented students, its charts printed."""
    daybox("new", folder, "--month", month)
    with (folder / "roster.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["student_id", "first_name", "last_name", "section"])
        for n in range(students):
            name = (FIRST[n % len(FIRST)], LAST[(n // len(FIRST) + n) % len(LAST)])
            writer.writerow([f"U{n + 1:03}", *name, f"Band {n % 3 + 1}"])
    daybox("charts", "--folder", folder)
    return Printed.of(folder / "charts.pdf")


def keep_all(printed: Printed, hands: Sequence[Hand], seed: int, odd: str) -> list[Chart]:
    """What the children write. odd: the severity whose odd children they are; "" for the demo's kind ones."""
    charts = []
    for number, page in enumerate(printed.layout["pages"]):
        rng = np.random.default_rng([seed, number])
        hand = hands[number % len(hands)]
        writer, habits = any_child(hand, odd, rng) if odd else (any_writer(hand, rng), any_habits(rng))
        diary = keep_diary(areas_of(page), habits, writer.hand, rng)
        charts.append(Chart(page["student_id"], writer, habits, diary, _messy_path(number, rng)))
    return charts


def _messy_path(number: int, rng: np.random.Generator) -> str:
    """Names as downloads have them: cameras' counters, the same again and again, no student's name."""
    folder = ["", "week 5/", "New folder (2)/", f"submission_{rng.integers(10**6)}/"][int(rng.integers(4))]
    stem = [f"IMG_{rng.integers(10**4):04}", f"image{number}", f"20260531_{rng.integers(10**6):06}", "scan"]
    ending = str(
        rng.choice(["jpg", "jpeg", "JPG", "png", "HEIC", "pdf"], p=[0.5, 0.15, 0.15, 0.05, 0.1, 0.05])
    )
    return f"{folder}{stem[int(rng.integers(4))]}-{number}.{ending}"


def take(job: tuple[Printed, Chart, str, int]) -> Taken:
    """Fill one chart in and photograph it."""
    printed, chart, severity, seed = job
    layout = printed.layout
    areas = areas_of(printed.page_of(chart.student))
    page = print_page(printed.pdf, printed.page_of(chart.student)["page"])
    rng = np.random.default_rng([seed, int(chart.student[1:])])
    fill(page, PAGE_DPI / 25.4, areas, chart.diary.entries, chart.writer, rng)
    small = cv2.resize(page, SMALL, interpolation=cv2.INTER_AREA)
    photo = photograph(page, (layout["width_mm"], layout["height_mm"]), rng, SEVERITIES[severity])
    return Taken(photo, as_file([photo.jpeg], chart.path), np.asarray(small))


SMALL = (280, 216)  # px, of the pages that are compared to find out whose a picture is


def owners_of(sheet: str, folder: Path, charts: Sequence[Chart], taken: Sequence[Taken]) -> dict[str, str]:
    """Whose each page in question is: the student whose filled page its picture is most like."""
    out = {}
    for row in csv.DictReader(io.StringIO(sheet)):
        if row["box"] != "chart":
            continue
        picture = cv2.imread(str(folder / row["picture"]), cv2.IMREAD_GRAYSCALE)
        if picture is None:
            continue
        likeness = [_likeness(np.asarray(picture), each.small) for each in taken]
        out[row["picture"]] = charts[int(np.argmax(likeness))].student
    return out


def _likeness(picture: Picture, page: Picture) -> float:
    def strokes(grey: Picture) -> Picture:
        shrunk = cv2.resize(grey, SMALL, interpolation=cv2.INTER_AREA).astype(np.float32)
        edges = shrunk - cv2.GaussianBlur(shrunk, (0, 0), 6)
        return np.asarray((edges - edges.mean()) / (edges.std() + 1e-6))

    return float((strokes(picture) * strokes(cv2.cvtColor(page, cv2.COLOR_RGB2GRAY))).mean())


def judge(readings: str, charts: Sequence[Chart], taken: Sequence[Taken]) -> Iterator[Verdict]:
    """Every minutes and total box of every page that was found, beside the truth."""
    rows = {(row["student_id"], row["box"]): row for row in csv.DictReader(io.StringIO(readings))}
    for chart, each in zip(charts, taken, strict=True):
        for box, truth in chart.diary.truth.items():
            row = rows.get((chart.student, box))
            if row is None:
                continue
            is_number = box not in chart.diary.no_number
            right = is_number and row["value"] == ("" if truth is None else str(truth))
            outcome = "flagged" if row["state"] == "flagged" else "right" if right else "wrong"
            written = chart.diary.entries[box].text
            confidence = float(row["confidence"])
            yield Verdict(chart, each, box, written, truth, row["value"], confidence, row["flags"], outcome)


def causes(verdict: Verdict) -> Iterator[str]:
    """What may have made a box hard."""
    entry = verdict.chart.diary.entries[verdict.box]
    text = entry.text
    yield f"box: {verdict.box.partition(':')[0]}"
    kind = "blank" if not text else "dash" if text == "-" else f"{len(text)} digits"
    yield f"text: {kind if text in ('', '-') or text.isdigit() else 'words or colon'}"
    yield f"mishap: {entry.mishap or entry.drawing or 'none'}"
    yield f"pen: {verdict.chart.writer.pen.name}"
    yield f"hand: {verdict.chart.writer.hand.writer}"
    pixels = verdict.taken.photo.size[0] * verdict.taken.photo.size[1] / 1e6
    yield f"photo: {'under 2.5' if pixels < 2.5 else '2.5 to 6' if pixels < 6 else 'over 6'} megapixels"
    for damage in verdict.taken.photo.damage:
        yield f"damage: {damage.split(' ')[0].rstrip(',')}"
    for flag in filter(None, verdict.flags.split(";")):
        yield f"flag: {flag}"


def report(verdicts: Sequence[Verdict]) -> str:
    """The figures in words."""
    count: dict[str, dict[str, int]] = defaultdict(lambda: {"right": 0, "wrong": 0, "flagged": 0})
    for verdict in verdicts:
        for cause in ("all", *causes(verdict)):
            count[cause][verdict.outcome] += 1
    lines = []
    for cause in ["all", *sorted(set(count) - {"all"})]:
        right, wrong, flagged = (count[cause][word] for word in ("right", "wrong", "flagged"))
        total = right + wrong + flagged
        low, high = bounds(wrong, total)
        lines.append(
            f"{cause:32} {total:5} boxes  silent errors {wrong:3} ({low:6.2%} to {high:6.2%})  "
            f"flagged {flagged:4} ({flagged / total:5.1%})  right {right / total:6.1%}"
        )
    return "\n".join(lines)


def contact_sheet(verdicts: Sequence[Verdict], charts: Mapping[str, Box], most: int = 120) -> Picture:
    """The boxes as the photos show them, each with what was written (W) and what was read (R)."""
    tiles = [_tile(verdict, charts[verdict.box]) for verdict in verdicts[:most]]
    across = 6
    tiles += [np.full_like(tiles[0], 255)] * (-len(tiles) % across)
    return np.vstack([np.hstack(tiles[at : at + across]) for at in range(0, len(tiles), across)])


def _tile(verdict: Verdict, area: Box) -> Picture:
    wide, high = 240, 130
    around = area.grown(3)
    corners: Points = np.array(
        [
            [around.left, around.top],
            [around.right, around.top],
            [around.right, around.bottom],
            [around.left, around.bottom],
        ]
    )
    photo = verdict.taken.photo
    seen = cv2.imdecode(np.frombuffer(photo.jpeg, np.uint8), cv2.IMREAD_COLOR)  # obeys the Exif orientation
    into = np.array([[0, 0], [wide, 0], [wide, high], [0, high]], np.float32)
    matrix = cv2.getPerspectiveTransform(photo.to_photo(corners).astype(np.float32), into)
    tile = np.full((high + 34, wide + 4, 3), 255, np.uint8)
    tile[:high, :wide] = cv2.warpPerspective(np.asarray(seen), matrix, (wide, high))
    words = f"W {verdict.written or 'blank'}  R {verdict.value or '-'}  {verdict.confidence:.3f}"
    where = f"{verdict.chart.student} {verdict.box} {verdict.flags[:14]}"
    for line, text in enumerate((words, where)):
        at = (3, high + 13 + 15 * line)
        cv2.putText(tile, text, at, cv2.FONT_HERSHEY_SIMPLEX, 0.42, (0, 0, 160), 1, cv2.LINE_AA)
    return tile


def write_boxes(path: Path, verdicts: Sequence[Verdict]) -> None:
    """Every box as a CSV row, for looking closer."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(
            ["student_id", "box", "written", "truth", "value", "confidence", "flags", "outcome", "causes"]
        )
        for each in verdicts:
            writer.writerow(
                [
                    each.chart.student,
                    each.box,
                    each.written,
                    each.truth,
                    each.value,
                    each.confidence,
                    each.flags,
                    each.outcome,
                    "; ".join(causes(each)),
                ]
            )


@click.command()
@click.option("--data", type=click.Path(exists=True, file_okay=False, path_type=Path), required=True)
@click.option(
    "--out", type=click.Path(path_type=Path), default=Path("bench-report/outside"), show_default=True
)
@click.option("--students", default=24, show_default=True)
@click.option("--month", default="2026-05", show_default=True)
@click.option("--severity", type=click.Choice(sorted(SEVERITIES)), default="ordinary", show_default=True)
@click.option("--odd", is_flag=True, help="children who draw, strike out and write words, too")
@click.option("--seed", default=1, show_default=True)
@click.option("--workers", default=2, show_default=True)
def main(
    data: Path, out: Path, students: int, month: str, severity: str, odd: bool, seed: int, workers: int
) -> None:
    """Run the check; exit 1 if a page was missed or the gradebook is not right after the answers."""
    if out.exists() and any(out.iterdir()):
        raise click.UsageError(f"{out} is not empty; name another folder with --out.")
    folder = out / "challenge"
    printed = print_charts(folder, month, students)
    hands = unseen_hands(data)
    charts = keep_all(printed, hands, seed, severity if odd else "")
    children = "odd" if odd else "kind"
    click.echo(
        f"{students} charts for {month}, {len(hands)} unseen hands of {children} children, "
        f"photos {severity}, seed {seed}"
    )
    with ProcessPoolExecutor(workers, initializer=cv2.setNumThreads, initargs=(1,)) as pool:
        taken = list(pool.map(take, [(printed, chart, severity, seed) for chart in charts]))
    archive = out / "all downloads (1).zip"
    with zipfile.ZipFile(archive, "w") as file:
        for chart, each in zip(charts, taken, strict=True):
            file.writestr(chart.path, each.data)

    began = time.monotonic()
    talk = daybox("collect", "--folder", folder, archive, allowed=(0, 3))
    seconds = time.monotonic() - began
    (out / "collect.txt").write_text(talk, encoding="utf-8")
    daybox("readings", "--folder", folder, "--out", out / "readings-before.csv")
    readings = (out / "readings-before.csv").read_text(encoding="utf-8-sig")
    verdicts = list(judge(readings, charts, taken))
    found = {verdict.chart.student for verdict in verdicts}

    truths = {chart.student: chart.diary for chart in charts}
    puzzles: list[str] = []
    asked = 0
    for turn in range(1, 6):
        path = out / f"review-{turn}.csv"
        daybox("review", "--folder", folder, "--sheet", path)
        sheet = path.read_text(encoding="utf-8-sig")
        asked += len(list(csv.DictReader(io.StringIO(sheet))))
        if sheet.count("\n") <= 1:
            break
        text, puzzles = answered(sheet, truths, owners_of(sheet, out, charts, taken))
        path.write_text(text, encoding="utf-8", newline="")
        daybox("review", "--folder", folder, "--answers", path)
        if puzzles:
            break
    daybox("grades", "--folder", folder, "--out", out / "gradebook.csv")
    gradebook = (out / "gradebook.csv").read_text(encoding="utf-8-sig")
    days = sorted(
        date.fromisoformat(box["box"][4:])
        for box in printed.layout["pages"][0]["boxes"]
        if box["box"].startswith("day:")
    )
    required = [day for day in days if day.weekday() < 5]
    wrong_rows = differences(gradebook, expected_gradebook(truths, required, MINIMUM, POINTS))

    write_boxes(out / "boxes.csv", verdicts)
    areas = areas_of(printed.layout["pages"][0])
    for outcome in ("wrong", "flagged"):
        chosen = [verdict for verdict in verdicts if verdict.outcome == outcome]
        if chosen:
            cv2.imwrite(str(out / f"{outcome}.png"), contact_sheet(chosen, areas))
    missed = [
        f"  missed: {chart.student} {chart.path} ({'; '.join(each.photo.damage)})"
        for chart, each in zip(charts, taken, strict=True)
        if chart.student not in found
    ]
    rightness = f"{len(wrong_rows)} cells differ" if wrong_rows else "exactly right"
    lines = [
        f"pages found and identified: {len(found)} of {students}",
        *missed,
        f"collect: {seconds:.1f} s, {students / seconds:.2f} charts a second",
        f"questions asked: {asked}; left open: {len(puzzles)}",
        *(f"  {puzzle}" for puzzle in puzzles),
        f"gradebook after answers: {rightness}",
        *(f"  {line}" for line in wrong_rows),
        report(verdicts) if verdicts else "no box was read",
    ]
    text = "\n".join(lines)
    (out / "report.txt").write_text(text + "\n", encoding="utf-8")
    click.echo(text)
    click.echo(f"Boxes, pictures of wrong and flagged ones, and the challenge: {out}")
    if wrong_rows or len(found) < students:
        raise click.exceptions.Exit(1)


if __name__ == "__main__":
    main()
