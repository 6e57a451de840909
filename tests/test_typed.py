"""What was typed into a chart is read exactly by any program, and what contradicts it is asked about."""

import io
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2
import pytest
from factories import origin
from PIL import Image
from pypdf import PdfWriter, Transformation
from pypdf.annotations import FreeText
from pypdf.generic import (
    DecodedStreamObject,
    DictionaryObject,
    NameObject,
    RectangleObject,
    TextStringObject,
)
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas
from typed_chart import (
    CODE,
    DAYS,
    LAYOUT,
    MINUTES,
    SIZE,
    Desk,
    Draw,
    changed,
    chart,
    fillable,
    filled,
    pdf,
    points,
    typed,
    widgets,
)

from ingest.collect.reader import Job, Leaf, read_return
from ingest.errors import PageError, PictureError
from ingest.reading.values import Candidate

RETURNED = Path(__file__).parent / "returned"
DAY, NEXT, BELOW = "day:2027-10-05", "day:2027-10-06", "day:2027-10-12"


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    return Desk(tmp_path_factory.mktemp("desk"))


def is_blank(candidates: tuple[Candidate, ...]) -> bool:
    return candidates[0].value is None and candidates[0].text == ""


def said(desk: Desk, *draws: Draw) -> dict[str, list[tuple[int | None, str]]]:
    """The boxes that say something, best candidates first; certain ones have one."""
    return {
        name: [(c.value, c.text) for c in candidates]
        for name, candidates in desk.boxes(pdf(chart, *draws)).items()
        if not is_blank(candidates)
    }


# -- by other programs --------------------------------------------------------------------------------


def test_returned_files_are_those_of_the_list() -> None:
    listed = (RETURNED / "README.md").read_text(encoding="utf-8")
    files = {path.name for path in RETURNED.glob("*.pdf")}
    assert len(files) == 5
    assert all(f"| `{name}` |" in listed for name in files)


@pytest.mark.parametrize("name", ["chromium-slide.pdf", "qpdf-form-encrypted.pdf"])
def test_typed_by_another_program(name: str, desk: Desk) -> None:
    assert desk.typed((RETURNED / name).read_bytes()) == MINUTES


@pytest.mark.parametrize("name", ["mupdf-text-and-ink.pdf", "cairo-flattened.pdf"])
def test_typed_and_drawn_on_one_page(name: str, desk: Desk) -> None:
    """Sixteen days are text, the others a hand's ink: the first exact, the others as surely as pencil."""
    found = desk.boxes((RETURNED / name).read_bytes())
    assert {day: found[day][0].value for day in DAYS} == MINUTES
    for number, day in enumerate(DAYS):
        assert (found[day][0].typed, found[day][0].probability == 1) == (number < 16, number < 16)


@pytest.mark.parametrize("looks", [True, False], ids=["looks drawn anew", "values only"])
def test_form_filled_in_by_pypdf(looks: bool, desk: Desk) -> None:
    (page,) = desk.pages(filled(MINUTES, looks))
    assert (page.code, page.code_source, page.code_challenge) == (CODE, "qr", "2027-10")
    assert desk.typed(filled(MINUTES, looks)) == MINUTES


@pytest.mark.parametrize("password", ["", "secret"])
def test_only_a_real_password_keeps_a_file_closed(password: str, desk: Desk) -> None:
    data = changed(filled(MINUTES), lambda w: w.encrypt(password, "owner", algorithm="AES-256"))
    if password:
        with pytest.raises(PictureError, match="needs a password"):
            desk.pages(data)
    else:
        assert desk.typed(data) == MINUTES


# -- however the page lies ----------------------------------------------------------------------------


def turned(degrees: int) -> Callable[[PdfWriter], object]:
    return lambda writer: writer.pages[0].rotate(degrees)


def on_a4(writer: PdfWriter) -> None:
    """Printed small and turned on an upright sheet of other paper."""
    page = writer.add_blank_page(595, 842)
    move = Transformation().scale(0.65).rotate(90).translate(500, 100)
    page.merge_transformed_page(writer.pages[0], move)
    writer.remove_page(0)


def cut(writer: PdfWriter) -> None:
    """Only the grid's left half, without a single tag of the right one."""
    writer.pages[0].mediabox = RectangleObject((0, 0, 500, SIZE[1]))
    writer.pages[0].cropbox = RectangleObject((0, 0, 500, SIZE[1]))


@pytest.mark.parametrize(
    "change",
    [turned(90), turned(180), turned(270), on_a4, lambda writer: writer.pages[0].scale_by(2.5)],
    ids=["90", "180", "270", "on A4", "poster"],
)
def test_typed_text_is_found_however_the_page_lies(change: Callable[[PdfWriter], object], desk: Desk) -> None:
    assert desk.typed(changed(pdf(chart, typed(MINUTES)), change)) == MINUTES


def test_on_a_cut_page_what_is_there_counts_and_what_is_not_is_not_blank(desk: Desk) -> None:
    found = desk.boxes(changed(pdf(chart, typed(MINUTES)), cut))
    for day in DAYS:
        x, _, width, _ = points(day)
        if x + width < 495:
            assert [(c.value, c.probability) for c in found[day]] == [(MINUTES[day], 1)]
        elif x > 500:
            assert found[day] == (Candidate(None, "?", 1.0),)


def test_form_cut_to_its_grid_is_placed_by_its_fields(desk: Desk) -> None:
    """All tags and the QR code are gone, and so is a text that another program typed over the page."""
    left, bottom, right, top = 62, 95, 735, 480

    def grid_only(writer: PdfWriter) -> None:
        for name in ("mediabox", "cropbox"):
            setattr(writer.pages[0], name, RectangleObject((left, bottom, right, top)))

    (page,) = desk.pages(changed(filled(MINUTES), grid_only))
    assert (page.code, page.code_source, page.code_challenge) == (CODE, "typed", "2027-10")
    found = {reading.box: reading.candidates[0] for reading in page.readings}
    assert {day: found[day].value for day in DAYS} == MINUTES
    with pytest.raises(PageError):
        desk.pages(changed(pdf(chart, typed(MINUTES)), grid_only))


def test_several_pages_are_read_each_by_itself(desk: Desk) -> None:
    first, second = pdf(chart, typed(MINUTES)), pdf(chart, typed({DAY: 33}))

    def both(writer: PdfWriter) -> None:
        writer.append(io.BytesIO(second))

    pages = desk.pages(changed(first, both))
    assert [sum(r.candidates[0].typed for r in page.readings) for page in pages] == [31, 1]


# -- where a text lies --------------------------------------------------------------------------------


def at(text: str, x: float, y: float, size: float = 14) -> Draw:
    """A text whose lower left corner is there, in points."""

    def draw(canvas: Canvas) -> None:
        canvas.setFont("Helvetica", size)
        canvas.drawString(x, y, text)

    return draw


def within(name: str, text: str, right: float, up: float) -> Draw:
    """A text that begins so far right of and above a box's lower left corner, in points."""
    x, y, _, _ = points(name)
    return at(text, x + right, y + up)


def test_lines_of_one_box_belong_together(desk: Desk) -> None:
    found = said(desk, within(DAY, "1 hr", 10, 24), within(DAY, "15 min", 10, 6))
    assert found == {DAY: [(75, "1 hr 15 min")]}


def test_text_on_the_frame_belongs_to_the_box_that_holds_its_letters(desk: Desk) -> None:
    assert said(desk, within(DAY, "20", 2, -2)) == {DAY: [(20, "20")]}


@pytest.mark.parametrize(
    ("text", "right", "boxes"),
    [("120", 68, [DAY, NEXT]), ("20 30", 60, [DAY, NEXT])],
    ids=["digits", "words"],
)
def test_text_across_two_boxes_is_certain_in_neither(
    text: str, right: float, boxes: list[str], desk: Desk
) -> None:
    found = desk.boxes(pdf(chart, within(DAY, text, right, 10)))
    assert sorted(name for name, c in found.items() if not is_blank(c)) == boxes
    assert all(found[name][0].probability < 0.6 for name in boxes)


def test_texts_of_one_line_far_apart_are_each_boxs_own(desk: Desk) -> None:
    def line(canvas: Canvas) -> None:
        canvas.setFont("Courier", 10)
        x, y, _, _ = points(DAY)
        canvas.drawString(x + 20, y + 10, "20           35")  # 13 letters of 6 points: into the next box

    assert said(desk, line) == {DAY: [(20, "20")], NEXT: [(35, "35")]}


def test_number_between_boxes_puts_both_in_doubt(desk: Desk) -> None:
    """In the strip above a box, where only the day's own number is printed."""
    found = desk.boxes(pdf(chart, within(BELOW, "45", 30, 45)))
    doubted = {name: c[0].probability for name, c in found.items() if not is_blank(c)}
    assert doubted == {DAY: 0.5, BELOW: 0.5}


def test_number_between_boxes_is_a_remark_where_both_are_filled(desk: Desk) -> None:
    data = pdf(chart, typed({DAY: 20, BELOW: 30}), within(BELOW, "45", 30, 45))
    assert desk.typed(data) == {DAY: 20, BELOW: 30}


def test_writing_elsewhere_on_the_page_says_nothing_of_the_boxes(desk: Desk) -> None:
    assert said(desk, at("I practiced 20 minutes!", 60, 60), at("7", 300, 560)) == {}


def test_day_outside_the_month_and_initials(desk: Desk) -> None:
    found = said(desk, typed({"outside:2027-09-30": 15, "initials:2": "MP", "week:2": "1 h 40"}))
    assert found == {
        "outside:2027-09-30": [(15, "15")],
        "initials:2": [(None, "?")],
        "week:2": [(100, "1 h 40")],
    }


@pytest.mark.parametrize("by", ["field", "text"])
def test_name_typed_on_a_spare_chart(by: str, desk: Desk) -> None:
    name = LAYOUT.name
    if by == "field":
        data = changed(
            fillable(student=None),
            lambda w: w.update_page_form_field_values(
                w.pages[0], {"name": "Zoë Berg"}, auto_regenerate=False
            ),
        )
    else:
        k = SIZE[0] / LAYOUT.paper.width
        data = pdf(chart, at("Zoë Berg", (name.left + 2) * k, SIZE[1] - (name.bottom - 2) * k))
    (page,) = desk.pages(data)
    assert page.written_name == "Zoë Berg"


# -- what contradicts it ------------------------------------------------------------------------------


def line_through(name: str) -> Draw:
    def draw(canvas: Canvas) -> None:
        x, y, width, height = points(name)
        canvas.setLineWidth(2)
        canvas.line(x + 15, y + height / 2 - 6, x + width - 15, y + height / 2 + 6)

    return draw


def test_what_is_drawn_over_a_typed_number_makes_it_doubtful(desk: Desk) -> None:
    found = desk.boxes(pdf(chart, typed({DAY: 20, NEXT: 30}), line_through(DAY)))
    typed_one, drawn = found[DAY]
    assert (typed_one.value, typed_one.typed, drawn.typed) == (20, True, False)
    assert typed_one.probability < 0.6
    assert [(c.value, c.probability) for c in found[NEXT]] == [(30, 1)]


def values(texts: Mapping[str, str]) -> Callable[[PdfWriter], object]:
    """Other values behind the same looks, as a program leaves them that draws no look."""

    def change(writer: PdfWriter) -> None:
        for field in widgets(writer):
            if field["/T"] in texts:
                field[NameObject("/V")] = TextStringObject(texts[field["/T"]])

    return change


def test_value_that_its_look_contradicts_is_doubtful(desk: Desk) -> None:
    found = desk.boxes(changed(filled({DAY: 12, NEXT: 30}), values({DAY: "120"})))
    assert [(c.value, c.text, c.typed) for c in found[DAY]] == [(120, "120", True), (12, "12", False)]
    assert found[DAY][0].probability < 0.6
    assert [(c.value, c.probability) for c in found[NEXT]] == [(30, 1)]


def test_viewers_are_asked_to_draw_looks_anew_so_the_value_counts(desk: Desk) -> None:
    """NeedAppearances (ISO 32000-1, table 218)."""

    def change(writer: PdfWriter) -> None:
        values({DAY: "120"})(writer)
        writer.set_need_appearances_writer(True)

    assert desk.typed(changed(filled({DAY: 12}), change)) == {DAY: 120}


def test_look_without_the_letters_or_the_room_contradicts_nothing(desk: Desk) -> None:
    """pypdf shows full-width digits as question marks where the font lacks them."""
    assert desk.typed(filled({DAY: "２５"})) == {DAY: 25}


def test_text_box_over_a_filled_field_is_a_contradiction(desk: Desk) -> None:
    x, y, width, height = points(DAY)

    def note(writer: PdfWriter) -> None:
        writer.add_annotation(0, FreeText(text="25", rect=(x + 5, y + 5, x + width - 5, y + height - 5)))

    found = desk.boxes(changed(filled({DAY: 20}), note))
    assert (found[DAY][0].value, found[DAY][0].typed) == (20, True)
    assert found[DAY][0].probability < 0.6
    assert desk.typed(changed(fillable(), note)) == {DAY: 25}


def test_text_boxs_line_is_no_number_in_the_next_box(desk: Desk) -> None:
    """It lies where the next box is cut out, with a little of what is around it."""

    def outlined(canvas: Canvas) -> None:
        x, y, width, height = points(DAY)
        canvas.setLineWidth(1.5)
        canvas.rect(x, y, width + 1.5, height)

    assert said(desk, outlined, typed({DAY: 20})) == {DAY: [(20, "20")]}


def test_lines_around_text_boxes_are_no_ink(desk: Desk) -> None:
    def outlined(canvas: Canvas) -> None:
        for name in DAYS:
            x, y, width, height = points(name)
            canvas.setFillGray(0.9)
            canvas.rect(x + 5, y + 5, width - 10, height - 10, fill=1)
        canvas.setFillGray(0)

    assert desk.typed(pdf(chart, outlined, typed(MINUTES))) == MINUTES


def test_what_a_scanner_program_guessed_is_not_what_was_typed(desk: Desk) -> None:
    """Handwriting with a wrong guess laid over it, unseen."""

    def guess(canvas: Canvas) -> None:
        x, y, width, height = points(DAY)
        canvas.saveState()
        line = canvas.beginText(x + width / 3, y + height / 3)
        line.setFont("Helvetica", 16)
        line.setTextRenderMode(3)
        line.textOut("70")
        canvas.drawText(line)
        canvas.restoreState()

    found = desk.boxes(pdf(chart, guess, line_through(DAY)))[DAY]
    assert not any(c.typed or c.value == 70 for c in found[:1])


def test_text_over_the_picture_of_a_chart(desk: Desk) -> None:
    """A photo or a scan as a slide's background, numbers typed over it."""
    with pypdfium2.PdfDocument(pdf(chart)) as document:
        scan: Image.Image = document[0].render(scale=2).to_pil()

    def background(canvas: Canvas) -> None:
        canvas.drawImage(ImageReader(scan), 0, 0, *SIZE)

    assert desk.typed(pdf(background, typed(MINUTES))) == MINUTES


# -- what is no chart ---------------------------------------------------------------------------------


def test_typed_document_is_refused_by_what_it_is(desk: Desk) -> None:
    job = Job(origin(), RETURNED / "chromium-log.pdf")
    (leaf,) = read_return(lambda grey, text, finer: [desk.read(grey, text)], job)
    assert isinstance(leaf, Leaf)
    assert leaf.page.reading is None
    assert leaf.page.problem.startswith('This is a document that begins "My practice log')
    assert "no chart was found on it" in leaf.page.problem


def test_numbers_of_another_month_are_not_read(desk: Desk) -> None:
    """A form of September, filled in: its code and month are told, its boxes are not ours."""
    september = changed(filled(MINUTES), lambda w: _renamed(w, "2027-10", "2027-09"))
    layer_month = desk.pictures(september)[0].text
    assert layer_month is not None
    assert (layer_month.code, layer_month.challenge) == (CODE, "2027-09")


def _renamed(writer: PdfWriter, old: str, new: str) -> None:
    for field in widgets(writer):
        field[NameObject("/T")] = TextStringObject(field["/T"].replace(old, new))


def test_fields_that_mean_other_boxes_than_they_lie_on_are_doubtful(desk: Desk) -> None:
    found = desk.boxes(changed(filled(MINUTES), lambda w: _renamed(w, "2027-10", "2027-09")))
    assert all(found[day][0].probability < 0.6 for day in DAYS)
    assert np.all([found[day][0].typed for day in DAYS])


# -- fonts that do not say what their letters are ------------------------------------------------------


def without_meaning(writer: PdfWriter) -> None:
    """Fonts that only say how their letters look."""
    for number in range(1, len(writer._objects) + 1):
        thing = writer.get_object(number)
        if isinstance(thing, DictionaryObject) and "/ToUnicode" in thing:
            del thing["/ToUnicode"]


def test_text_that_cannot_be_read_as_such_is_read_like_ink(desk: Desk) -> None:
    data = changed((RETURNED / "chromium-slide.pdf").read_bytes(), without_meaning)
    found = desk.boxes(data)
    assert {day: found[day][0].value for day in DAYS} == MINUTES
    assert not any(found[day][0].typed for day in DAYS)


def test_font_that_lies_of_its_letters_is_not_believed(desk: Desk) -> None:
    """Its ToUnicode map (ISO 32000-1, 9.10.3) has a 7 where a 2 is seen."""

    def lie(writer: PdfWriter) -> None:
        for number in range(1, len(writer._objects) + 1):
            thing = writer.get_object(number)
            if isinstance(thing, DictionaryObject) and "/ToUnicode" in thing:
                table: Any = thing["/ToUnicode"]
                false = DecodedStreamObject()
                false.set_data(table.get_data().replace(b"<0032>", b"<0037>"))
                thing[NameObject("/ToUnicode")] = writer._add_object(false)

    found = desk.boxes(changed((RETURNED / "cairo-flattened.pdf").read_bytes(), lie))
    for day in DAYS[:16]:
        twos = "2" in str(MINUTES[day])
        assert (found[day][0].probability < 0.6) == twos, day
