"""The chart as a form, read back by other people's readers."""

import io
import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pypdf
import pypdfium2
import pytest
from click.testing import CliRunner
from typed_chart import CODE, MINUTES, changed, filled, widgets

from ingest.chart.charts import Chart
from ingest.chart.design import load_design
from ingest.chart.drawing import draw_charts
from ingest.chart.form import make_fillable
from ingest.chart.layout import lay_out
from ingest.commands.charts import command
from ingest.errors import DesignError
from ingest.paper import POINTS_PER_MM
from ingest.plan.challenge import Challenge
from ingest.plan.roster import Student
from ingest.reading.values import Grey

ANA = Student("S001", "Ana", "One", "Flutes")
SPARE = "K7QF-3M4P"


@cache
def both(language: str = "en", paper: str = "letter", starts: str = "sun") -> tuple[bytes, bytes]:
    """The charts of Ana and of nobody, as they are printed, and as a form."""
    plan = {"month": "2027-10", "title": "October", "language": language, "paper": paper}
    challenge = Challenge.model_validate({**plan, "days": {"week_starts": starts}})
    design = load_design("minutes", Path())
    layout = lay_out(challenge, design)
    charts = [Chart(CODE, ANA), Chart(SPARE, None)]
    printed = draw_charts(challenge, design, layout, charts)
    return printed, make_fillable(printed, challenge, design, layout, charts)


def reader(data: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(data))


def picture(data: bytes, page: int = 0) -> Grey:
    with pypdfium2.PdfDocument(data) as document:
        document.init_forms()
        return np.array(document[page].render(scale=1.5, grayscale=True).to_numpy(), np.uint8)


def test_every_box_of_the_public_layout_has_its_field_there(tmp_path: Path) -> None:
    """`charts.layout.json` is the contract; x and y from the top left in mm (design), PDF from below."""
    (tmp_path / "challenge.toml").write_text('month = "2027-10"\n', encoding="utf-8")
    (tmp_path / "roster.csv").write_text(
        "student_id,first_name,last_name,section\nS1,Ana,One,Flutes\nS2,Ben,Two,Reeds\n", encoding="utf-8"
    )
    ran = CliRunner().invoke(
        command, ["--folder", str(tmp_path), "--fillable", "--spare", "1"], catch_exceptions=False
    )
    assert ran.exit_code == 0
    layout = json.loads((tmp_path / "charts.layout.json").read_text(encoding="utf-8"))
    document = pypdf.PdfReader(tmp_path / "charts.pdf")
    assert len(document.pages) == len(layout["pages"]) == 3
    named = document.get_form_text_fields(full_qualified_name=True)
    assert set(named) == {
        f"{page['chart']}.{box['box']}" for page in layout["pages"] for box in page["boxes"]
    }
    for page in layout["pages"]:
        places = {}
        for field in widgets(document, page["page"] - 1):
            left, bottom, right, top = (float(n) / POINTS_PER_MM for n in field["/Rect"])
            places[field["/T"]] = (left, layout["height_mm"] - top, right - left, top - bottom)
        for box in page["boxes"]:
            assert places[box["box"]] == pytest.approx((box["x"], box["y"], box["w"], box["h"]), abs=0.02)


def test_form_prints_as_the_chart_does() -> None:
    printed, form = both()
    for page in (0, 1):
        assert np.array_equal(picture(form, page), picture(printed, page))


@pytest.mark.parametrize(
    ("language", "paper", "starts", "hints"),
    [
        (
            "en",
            "letter",
            "sun",
            ["Friday, October 1: minutes", "Saturday, October 2: minutes", "Week 1: week total"],
        ),
        ("es", "a4", "mon", ["viernes, 1 de octubre: minutos", "sábado, 2 de octubre: minutos"]),
    ],
)
def test_hints_are_in_the_charts_language_and_in_reading_order(
    language: str, paper: str, starts: str, hints: list[str]
) -> None:
    fields = widgets(reader(both(language, paper, starts)[1]))
    assert [field["/TU"] for field in fields][: len(hints)] == hints
    assert len({field["/TU"] for field in fields}) == len(fields)  # each is told from the others
    tops = [-float(field["/Rect"][3]) for field in fields]
    lefts = [float(field["/Rect"][0]) for field in fields]
    assert list(zip(tops, lefts, strict=True)) == sorted(zip(tops, lefts, strict=True))


def test_name_comes_first_on_a_spare_chart_and_is_printed_on_the_others() -> None:
    document = reader(both()[1])
    assert widgets(document, 1)[0]["/T"] == "name"
    assert all(field["/T"] != "name" for field in widgets(document))


def test_type_of_the_fields_is_embedded_and_has_all_letters_of_its_encoding() -> None:
    """WinAnsiEncoding is what Windows calls code page 1252 (ISO 32000-1, annex D)."""
    form: Any = reader(both()[1]).root_object["/AcroForm"]
    (font,) = form["/DR"]["/Font"].values()
    font = font.get_object()
    assert form["/DA"].startswith(f"/{next(iter(form['/DR']['/Font']))[1:]} ")
    assert (font["/Subtype"], font["/Encoding"]) == ("/TrueType", "/WinAnsiEncoding")
    assert "/NeedAppearances" not in form
    assert len(font["/Widths"]) == 224
    widths = {bytes([code]).decode("cp1252", "replace"): w for code, w in enumerate(font["/Widths"], 32)}
    assert widths["1"] == widths["0"] > 0
    assert all(widths[letter] > 0 for letter in "€ñÑáéíóú¿’–")
    program = font["/FontDescriptor"]["/FontFile2"].get_data()
    assert program[:4] == b"\0\1\0\0"  # a TrueType font (OpenType specification, table directory)
    assert len(program) < 60_000


def test_a_usual_day_fits_into_its_field() -> None:
    field = next(field for field in widgets(reader(both()[1])) if field["/T"] == "day:2027-10-05")
    size = float(field["/DA"].split()[1])
    form: Any = reader(both()[1]).root_object["/AcroForm"]
    (font,) = form["/DR"]["/Font"].values()
    widths = font.get_object()["/Widths"]
    left, _, right, _ = (float(n) for n in field["/Rect"])
    for text in ("120", "1:15", "45 min", "1 h 30 min"):
        assert sum(widths[ord(letter) - 32] for letter in text) / 1000 * size < right - left - 4
        assert len(text) <= field["/MaxLen"]


def test_fields_have_looks_of_their_own() -> None:
    """A program that writes over one look must not change another field's."""
    looks = [field["/AP"]["/N"].indirect_reference.idnum for field in widgets(reader(both()[1]))]
    assert len(set(looks)) == len(looks)
    seen = picture(filled({"day:2027-10-05": "55"})).astype(int) - picture(filled({}))
    assert (np.abs(seen) > 40).any(axis=0).sum() < 40  # columns of pixels: one number, in one box


def test_what_pypdf_filled_in_is_read_back_by_pypdf() -> None:
    texts = reader(filled(MINUTES)).get_form_text_fields(full_qualified_name=True)
    assert {name: text for name, text in texts.items() if text} == {
        f"{CODE}.{box}": str(minutes) for box, minutes in MINUTES.items()
    }


def test_screen_readers_find_their_way() -> None:
    """ISO 32000-1, 14.7 and 14.8: tags, their order as the tab order, a way back from each field."""
    document = reader(both("es")[1])
    root: Any = document.root_object
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "es"
    assert document.pdf_header == "%PDF-1.7"
    (whole,) = [root["/StructTreeRoot"]["/K"].get_object()]
    assert whole["/S"] == "/Document"
    numbers = root["/StructTreeRoot"]["/ParentTree"]["/Nums"]
    leads = {int(numbers[n]): numbers[n + 1].get_object() for n in range(0, len(numbers), 2)}
    for number, (part, each) in enumerate(zip(whole["/K"], document.pages, strict=True)):
        page: Any = each
        assert page["/Tabs"] == "/S"
        printed, *forms = (kid.get_object() for kid in part.get_object()["/K"])
        assert (printed["/S"], printed["/K"]) == ("/P", 0)
        assert leads[int(page["/StructParents"])][0].get_object() == printed
        fields = widgets(document, number)
        assert [form["/K"]["/Obj"].get_object()["/T"] for form in forms] == [field["/T"] for field in fields]
        assert all(leads[int(field["/StructParent"])]["/K"]["/Obj"].get_object() is field for field in fields)
        assert page["/Contents"].get_data().startswith(b"/P <</MCID 0>> BDC")
        assert page["/Contents"].get_data().rstrip().endswith(b"EMC")


def test_programs_that_add_to_a_page_start_from_its_lower_left_corner() -> None:
    """pypdf flattens by adding to the end of what is drawn, and so do others that write over pages."""

    def flatten(writer: pypdf.PdfWriter) -> None:
        values = {box: str(minutes) for box, minutes in MINUTES.items()}
        writer.update_page_form_field_values(writer.pages[0], values, auto_regenerate=False, flatten=True)
        writer.remove_annotations(subtypes="/Widget")

    _, form = both()
    shown = changed(
        form,
        lambda writer: writer.update_page_form_field_values(
            writer.pages[0], {box: str(m) for box, m in MINUTES.items()}, auto_regenerate=False
        ),
    )
    apart = np.abs(picture(changed(form, flatten)).astype(int) - picture(shown))
    assert (apart > 60).mean() < 1e-4


def test_circles_are_not_for_typing() -> None:
    challenge = Challenge.model_validate({"month": "2027-10", "title": "October", "design": "color-in"})
    design = load_design("color-in", Path())
    layout = lay_out(challenge, design)
    with pytest.raises(DesignError, match=r'circles to color in.*Use the design "minutes"'):
        make_fillable(b"", challenge, design, layout, [])
