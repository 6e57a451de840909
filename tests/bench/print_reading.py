"""What Tesseract reads on photographed charts: the code in letters where the QR code is spoilt, and names.

    python tests/bench/print_reading.py [--photos 40] [--severity ordinary] [--seed 1] [--font FILE ...]

Charts are drawn, their QR codes scribbled over, pasted over or smeared, and a name of a made-up grade of 500
is set in the name box of spare charts. Right, nothing and wrong are counted apart; a name also by whether it
would settle the page without a question. Fonts: the chart's own, unless others are given; those made from
people's hands say most (Debian: fonts-dkg-handwriting, fonts-femkeklaver, fonts-breip, fonts-bwht).
"""

import io
import sys
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import click
import cv2
import numpy as np
import pypdfium2
from PIL import Image, ImageDraw, ImageFont, ImageOps

from ingest.chart.charts import Chart
from ingest.chart.code import new_code
from ingest.chart.design import load_design
from ingest.chart.drawing import draw_charts
from ingest.chart.layout import Layout, lay_out
from ingest.check.ownership import LIKELY_WRITTEN, SURELY_WRITTEN
from ingest.check.written import guess_written
from ingest.demo.camera import SEVERITIES, Severity, photograph
from ingest.demo.ink import Picture
from ingest.errors import PageError
from ingest.plan.challenge import Challenge
from ingest.plan.month import Month
from ingest.plan.roster import Student
from ingest.reading.codes import read_letters, read_qr
from ingest.reading.frames import refine
from ingest.reading.name_box import read_name
from ingest.reading.placing import find
from ingest.reading.values import Grey
from ingest.shipped import templates

DPI = 300
PX_PER_MM = DPI / 25.4
PLAN = Challenge(title="Practice", month=Month.parse("2027-10"))
KNOWN_CODES = 500
# Invented combinations of common names.
_FIRST = "Ada Ana Ben Cleo Dora Emeka Fay Hana Ivo Jon Kofi Lena Mateo Nia Omar Petra Quinn Rosa Sami Tess"
_LAST = """
Alder Bell Castro Duarte Ekman Fenn Gallo Hart Ito Juarez Kealoha Lind Mensah Noor Okoro Park Quill Rossi Sato
Thorn Ueda Vance Wren Yusuf Zeller
"""
GRADE = tuple(
    Student(f"S{number:03}", first, last, "A")
    for number, (first, last) in enumerate(
        (first, last) for first in _FIRST.split() for last in _LAST.split()
    )
)


def drawn(layout: Layout, code: str) -> Picture:
    """A spare chart as printed."""
    pdf = draw_charts(PLAN, load_design(PLAN.design, Path()), layout, [Chart(code, None)])
    with pypdfium2.PdfDocument(pdf) as document:
        return np.asarray(document[0].render(scale=DPI / 72).to_pil().convert("RGB")).copy()


def spoil(page: Picture, layout: Layout, rng: np.random.Generator) -> None:
    """Scribble over the QR code, paste something over it, or smear it."""
    qr = layout.qr
    left, top, right, bottom = (round(edge * PX_PER_MM) for edge in (qr.left, qr.top, qr.right, qr.bottom))
    match int(rng.integers(3)):
        case 0:
            points = np.column_stack([rng.uniform(left, right, 60), rng.uniform(top, bottom, 60)])
            cv2.polylines(page, [points.astype(np.int32)], False, (40, 40, 60), 8, cv2.LINE_AA)
        case 1:
            cv2.rectangle(page, (left - 5, top - 5), (right + 5, bottom + 5), (250, 230, 120), -1)
        case _:
            page[top:bottom, left:right] = cv2.GaussianBlur(page[top:bottom, left:right], (0, 0), 12)


def with_name(page: Picture, layout: Layout, name: str, font: str, rng: np.random.Generator) -> Picture:
    """The name set in its box, as large as it fits, letters 4 to 7 mm."""
    area = layout.name
    picture = Image.fromarray(page)
    pen = ImageDraw.Draw(picture)
    size = round(rng.uniform(4, 7) * PX_PER_MM)
    while pen.textlength(name, ImageFont.truetype(font, size)) > 0.95 * area.width * PX_PER_MM:
        size -= 2
    face = ImageFont.truetype(font, size)
    _, top, _, bottom = pen.textbbox((0, 0), name, face)
    at = (area.left * PX_PER_MM + 8, area.centre[1] * PX_PER_MM - (top + bottom) / 2)
    pen.text(at, name, fill=(40, 40, 60), font=face)
    return np.asarray(picture).copy()


def grey_photo(page: Picture, layout: Layout, rng: np.random.Generator, severity: Severity) -> Grey:
    photo = photograph(page, (layout.paper.width, layout.paper.height), rng, severity)
    return np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(photo.jpeg))).convert("L"), np.uint8)


@click.command()
@click.option("--photos", default=40, show_default=True)
@click.option("--severity", type=click.Choice(sorted(SEVERITIES)), default="ordinary", show_default=True)
@click.option("--seed", default=1, show_default=True)
@click.option("--font", "fonts", multiple=True, type=click.Path(exists=True, dir_okay=False))
def main(photos: int, severity: str, seed: int, fonts: Sequence[str]) -> None:
    """Measure; exit 1 if a code or a name that would be believed is wrong."""
    fonts = fonts or [str(templates() / "fonts" / "Andika-Regular.ttf")]
    layout = lay_out(PLAN, load_design(PLAN.design, Path()))
    known = {new_code() for _ in range(KNOWN_CODES)}
    codes: Counter[str] = Counter()
    names: Counter[str] = Counter()
    for number in range(photos):
        rng = np.random.default_rng([seed, number])
        code = new_code(known)
        student = GRADE[int(rng.integers(len(GRADE)))]
        page = with_name(drawn(layout, code), layout, student.name, fonts[number % len(fonts)], rng)
        spoil(page, layout, rng)
        try:
            placed = find(grey_photo(page, layout, rng, SEVERITIES[severity]), (layout,))
        except PageError:
            codes["page not found"] += 1
            continue
        if read_qr(placed.picture, placed.pose, layout) is None:
            found = read_letters(placed.picture, placed.pose, layout, known | {code})
            codes["nothing" if found is None else "right" if found.code == code else "WRONG"] += 1
        fit = refine(placed.picture, placed.pose, layout, placed.tags)
        guess = guess_written(read_name(cv2.imencode(".jpg", fit.flat)[1].tobytes(), layout), GRADE)
        sure = (
            "alone"
            if guess.score >= SURELY_WRITTEN
            else "with the path"
            if guess.score >= LIKELY_WRITTEN
            else ""
        )
        right = "right" if guess.student_id == student.id else "WRONG"
        names[f"{right}, sure {sure}" if sure else "not sure"] += 1
    click.echo(f"{photos} photos, {severity}, seed {seed}, {len(fonts)} fonts")
    click.echo(f"codes in letters, QR spoilt: {dict(codes)}")
    click.echo(f"names in a grade of {len(GRADE)}: {dict(names)}")
    if codes["WRONG"] or names["WRONG, sure alone"]:
        sys.exit(1)


if __name__ == "__main__":
    main()
