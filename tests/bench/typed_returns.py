"""How well charts that were filled in on a screen are read, box by box.

    python tests/bench/typed_returns.py [--charts 20] [--seed 1]

Charts as `daybox charts` makes them, filled in seven ways: fields of a form, with and without looks; text
drawn over the page; text boxes; ink annotations; strokes as paths; text and ink mixed; and typed, then kept
as nothing but a picture of the page. Ink is by the demo's hands, which trained nothing. Prints for each way
the boxes of days and totals that were taken without a person and are right, taken and wrong, and asked about,
before the sums have their say.
"""

import io
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Mapping
from pathlib import Path

import click
import cv2
import numpy as np
import pypdfium2
from pypdf import PdfReader, PdfWriter
from pypdf.annotations import FreeText
from pypdf.generic import ArrayObject, DictionaryObject, FloatObject, NameObject, TextStringObject
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas
from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from ingest.chart.charts import Chart
from ingest.chart.code import new_code
from ingest.chart.design import load_design
from ingest.chart.drawing import draw_charts
from ingest.chart.form import make_fillable
from ingest.chart.layout import lay_out
from ingest.collect.pictures import open_pages
from ingest.demo.hands import Hand, any_manner, load_hands, write
from ingest.paper import POINTS_PER_MM, to_points
from ingest.plan.challenge import Challenge
from ingest.plan.roster import Student
from ingest.reading.certainty import threshold
from ingest.reading.numerals import Numerals
from ingest.reading.page import read_page
from ingest.reading.texts import typed_minutes

CHALLENGE = Challenge.model_validate({"month": "2027-10", "title": "October practice challenge"})
DESIGN = load_design("minutes", Path())
LAYOUT = lay_out(CHALLENGE, DESIGN)
SIZE = (LAYOUT.paper.width * POINTS_PER_MM, LAYOUT.paper.height * POINTS_PER_MM)
BOXES = [box.name for box in LAYOUT.boxes if not box.name.startswith("initials")]

Rng = np.random.Generator
Texts = Mapping[str, str]
Strokes = list[list[tuple[float, float]]]  # points, y upwards


def any_texts(rng: Rng, plain: bool) -> dict[str, str]:
    """plain: as children write by hand; else also what they only type."""
    texts = {}
    for name in BOXES:
        minutes = int(rng.choice([0, 5, 10, 15, 20, 25, 30, 35, 40, 45, 50, 60, 75, 90, 120, 17, 23, 38]))
        kinds = [f"{minutes}"] * 12 + [f"{minutes} min", "1:15", "-"]
        if not plain:
            kinds += ["1 h", "1,5 h", "２５", f" {minutes} ", "twenty", "-5", "1,5"]
        if rng.random() < 0.85:
            texts[name] = str(rng.choice(kinds))
    return texts


def strokes_of(texts: Texts, hand: Hand, rng: Rng) -> Strokes:
    manner = any_manner(rng)
    height = LAYOUT.paper.height
    return [
        [(float(x) * POINTS_PER_MM, (height - float(y)) * POINTS_PER_MM) for x, y in line]
        for name, text in texts.items()
        for line in write(hand, text, LAYOUT.box(name).area, manner, rng)
    ]


# -- seven ways ---------------------------------------------------------------------------------------


def by_form(writer: PdfWriter, texts: Texts, hand: Hand, rng: Rng) -> None:
    del hand
    if rng.random() < 0.5:
        writer.update_page_form_field_values(
            writer.pages[0], dict(texts), auto_regenerate=bool(rng.random() < 0.5)
        )
        return
    array = writer.pages[0]["/Annots"]
    assert isinstance(array, ArrayObject)
    for each in array:
        field = each.get_object()
        assert isinstance(field, DictionaryObject)
        if text := texts.get(str(field["/T"])):
            field[NameObject("/V")] = TextStringObject(text)


def by_text(writer: PdfWriter, texts: Texts, hand: Hand, rng: Rng) -> None:
    del hand
    font, size = (
        str(rng.choice(["Helvetica", "Times-Roman", "Courier", "Helvetica-Bold"])),
        float(rng.uniform(8, 22)),
    )
    ascii_only = {name: text.translate(_NARROW) for name, text in texts.items()}

    def draw(canvas: Canvas) -> None:
        canvas.setFont(font, size)
        for name, text in ascii_only.items():
            x, y, width, height = to_points(LAYOUT.box(name).area, LAYOUT.paper.height)
            canvas.drawCentredString(x + width / 2, y + height * rng.uniform(0.25, 0.45), text)

    lay_over(writer, draw)


_NARROW = {ord("２"): "2", ord("５"): "5"}  # the standard fonts have no wide digits


def by_text_boxes(writer: PdfWriter, texts: Texts, hand: Hand, rng: Rng) -> None:
    del hand
    for name, text in texts.items():
        x, y, width, height = to_points(LAYOUT.box(name).area, LAYOUT.paper.height)
        left, bottom = x + rng.uniform(0, 15), y + rng.uniform(0, 10)
        note = FreeText(text=text, rect=(left, bottom, x + width, y + height))
        writer.add_annotation(0, note)


def by_ink(writer: PdfWriter, texts: Texts, hand: Hand, rng: Rng) -> None:
    ink = FreeText(text="", rect=(0, 0, *SIZE))
    ink[NameObject("/Subtype")] = NameObject("/Ink")
    lines = [
        ArrayObject(FloatObject(n) for point in line for n in point) for line in strokes_of(texts, hand, rng)
    ]
    ink[NameObject("/InkList")] = ArrayObject(lines)
    ink[NameObject("/C")] = ArrayObject(FloatObject(n) for n in rng.uniform(0, 0.4, 3))
    ink[NameObject("/BS")] = DictionaryObject({NameObject("/W"): FloatObject(rng.uniform(0.8, 3))})
    writer.add_annotation(0, ink)


def by_strokes(writer: PdfWriter, texts: Texts, hand: Hand, rng: Rng) -> None:
    def draw(canvas: Canvas) -> None:
        canvas.setLineWidth(rng.uniform(0.8, 3))
        canvas.setLineCap(1)
        canvas.setStrokeColorRGB(*rng.uniform(0, 0.4, 3))
        for line in strokes_of(texts, hand, rng):
            path = canvas.beginPath()
            path.moveTo(*line[0])
            for point in line[1:] or line:
                path.lineTo(*point)
            canvas.drawPath(path)

    lay_over(writer, draw)


def by_both(writer: PdfWriter, texts: Texts, hand: Hand, rng: Rng) -> None:
    half = {name for name in texts if rng.random() < 0.5}
    by_form(writer, {name: text for name, text in texts.items() if name in half}, hand, rng)
    by_ink(writer, {name: text for name, text in texts.items() if name not in half}, hand, rng)


def by_picture(writer: PdfWriter, texts: Texts, hand: Hand, rng: Rng) -> None:
    by_text(writer, texts, hand, rng)
    page = io.BytesIO()
    writer.write(page)
    with pypdfium2.PdfDocument(page.getvalue()) as document:
        scan = document[0].render(scale=rng.uniform(2, 4)).to_pil()
    over = io.BytesIO()
    canvas = Canvas(over, SIZE)
    canvas.drawImage(ImageReader(scan), 0, 0, *SIZE)
    canvas.save()
    writer.remove_page(0)
    writer.append(over)


def lay_over(writer: PdfWriter, draw: Callable[[Canvas], None]) -> None:
    over = io.BytesIO()
    canvas = Canvas(over, SIZE)
    draw(canvas)
    canvas.save()
    writer.pages[0].merge_page(PdfReader(over).pages[0])


WAYS = {
    "form": by_form,
    "text": by_text,
    "text boxes": by_text_boxes,
    "ink": by_ink,
    "strokes": by_strokes,
    "form and ink": by_both,
    "typed, as a picture": by_picture,
}
BY_HAND = ("ink", "strokes", "form and ink", "typed, as a picture")


@click.command()
@click.option("--charts", default=20, show_default=True, help="Of each way.")
@click.option("--seed", default=1, show_default=True)
@click.option(
    "--way", "ways", multiple=True, type=click.Choice(list(WAYS)), help="Only this; may be repeated."
)
def main(charts: int, seed: int, ways: tuple[str, ...]) -> None:
    cv2.setNumThreads(1)
    threadpool_limits(1)
    numerals, hands, sure = Numerals.load(), load_hands(), threshold(CHALLENGE.reading.silent_errors).sure
    for way in ways or WAYS:
        fill = WAYS[way]
        counted: Counter[str] = Counter()
        for number in range(charts):
            rng = np.random.default_rng([seed, number])
            chart = Chart(new_code(), Student("S1", "Ana", "One", "Flutes"))
            printed = draw_charts(CHALLENGE, DESIGN, LAYOUT, [chart])
            form = make_fillable(printed, CHALLENGE, DESIGN, LAYOUT, [chart])
            writer = PdfWriter(PdfReader(io.BytesIO(form if "form" in way else printed)))
            hand = hands[(seed + number) % len(hands)]
            texts = any_texts(rng, way in BY_HAND)
            if way in BY_HAND:  # not every hand of the open data has letters
                texts = {name: text for name, text in texts.items() if hand.can_write(text)}
            fill(writer, texts, hand, rng)
            with tempfile.NamedTemporaryFile(suffix=".pdf") as file:
                writer.write(file)
                file.flush()
                (page,) = open_pages(Path(file.name))
            assert page.grey is not None
            reading = read_page(page.grey, {"key": LAYOUT}, {chart.code: "key"}, numerals, page.text)
            counted["code"] += reading.code == chart.code
            for box in reading.readings:
                if box.box not in BOXES:
                    counted["strayed"] += box.box.startswith("outside") and not box.is_blank
                    continue
                text = texts.get(box.box, "")
                minutes, best = typed_minutes(text), box.best
                if best.probability < sure or (best.value is None and best.text):
                    counted["asked" if text and minutes is None else "asked in vain"] += 1
                elif best.value == minutes and box.is_blank == (not text):
                    counted["right"] += 1
                else:
                    counted["wrong"] += 1
                    click.echo(f"    {text!r} taken for {best.text!r}")
        boxes = charts * len(BOXES)
        click.echo(
            f"{way:20} {boxes} boxes: {counted['right']} right, {counted['wrong']} wrong, "
            f"{counted['asked']} asked because they are no number, {counted['asked in vain']} others asked; "
            f"{counted['code']} of {charts} codes, {counted['strayed']} beside the month"
        )


if __name__ == "__main__":
    main()
