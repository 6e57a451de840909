"""Form fields are read as they were filled in, by whatever program, and bad ones cost only themselves."""

import io
from pathlib import Path

import pytest
from pypdf import PdfReader, PdfWriter
from pypdf.generic import (
    ArrayObject,
    DecodedStreamObject,
    DictionaryObject,
    FloatObject,
    NameObject,
    NullObject,
    NumberObject,
    PdfObject,
    TextStringObject,
)
from typed_chart import CODE, MINUTES, fillable, filled, pdf

from ingest.collect.annotations import AnnotatedFile, Annotations


def on_page(data: bytes, folder: Path) -> Annotations:
    (folder / "file.pdf").write_bytes(data)
    return AnnotatedFile(folder / "file.pdf").on_page(0)


def values(found: Annotations) -> dict[str, str]:
    return {field.box: field.value for field in found.fields}


def form(*fields: DictionaryObject) -> bytes:
    """A page with these widgets and no form dictionary: what is left when pages are taken out of a file."""
    writer = PdfWriter(PdfReader(io.BytesIO(pdf())))
    writer.pages[0][NameObject("/Annots")] = ArrayObject([writer._add_object(field) for field in fields])
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


def widget(**entries: PdfObject) -> DictionaryObject:
    whole: dict[str, PdfObject] = {
        "Subtype": NameObject("/Widget"),
        "FT": NameObject("/Tx"),
        "Rect": ArrayObject([FloatObject(n) for n in (100, 100, 160, 140)]),
        **entries,
    }
    return DictionaryObject({NameObject(f"/{key}"): value for key, value in whole.items()})


def text(value: str) -> TextStringObject:
    return TextStringObject(value)


def test_fields_of_a_chart_are_all_read(tmp_path: Path) -> None:
    found = on_page(filled(MINUTES), tmp_path)
    read = values(found)
    assert {box: read[box] for box in MINUTES} == {box: str(minutes) for box, minutes in MINUTES.items()}
    assert {read[box] for box in read.keys() - MINUTES.keys()} == {""}
    assert (found.code, found.challenge) == (CODE, "2027-10")


def test_empty_form_says_whose_it_is(tmp_path: Path) -> None:
    found = on_page(fillable(), tmp_path)
    assert (found.code, found.challenge) == (CODE, "2027-10")


@pytest.mark.parametrize(
    "value",
    ["20", "  20 ", "２０", "1:15", "–", "twenty", "", "veinte años", "٢٠", "20\r15"],
)
def test_value_is_what_was_typed(value: str, tmp_path: Path) -> None:
    day = "day:2027-10-05"
    assert values(on_page(filled({day: value}), tmp_path))[day] == value


def test_what_a_field_lacks_stands_with_its_parents(tmp_path: Path) -> None:
    """ISO 32000-1, 12.7.3.2: names add up, the rest is inherited."""
    parent = DictionaryObject(
        {
            NameObject("/T"): text(CODE),
            NameObject("/FT"): NameObject("/Tx"),
            NameObject("/V"): text("35"),
        }
    )
    kid = widget(T=text("day:2027-09-07"), Parent=parent)
    del kid["/FT"]
    found = on_page(form(kid), tmp_path)
    assert values(found) == {"day:2027-09-07": "35"}
    assert (found.code, found.challenge) == (CODE, "2027-09")


@pytest.mark.parametrize(
    ("name", "box"),
    [
        ("day:2027-10-05", "day:2027-10-05"),
        (f"{CODE}.day:2027-10-05", "day:2027-10-05"),
        ("day:2027-10-05#1", "day:2027-10-05"),
        ("week:3", "week:3"),
        ("month", "month"),
        ("name", "name"),
        ("first name", ""),
        ("day:5", ""),
    ],
)
def test_names_of_boxes_are_known(name: str, box: str, tmp_path: Path) -> None:
    assert values(on_page(form(widget(T=text(name), V=text("1"))), tmp_path)) == {box: "1"}


def test_long_values_may_be_streams(tmp_path: Path) -> None:
    long = DecodedStreamObject()
    long.set_data(b"25 min")
    assert values(on_page(form(widget(T=text("month"), V=long)), tmp_path)) == {"month": "25 min"}


@pytest.mark.parametrize("flags", [1, 2, 32, 34], ids=["invisible", "hidden", "not viewed", "both"])
def test_fields_that_nobody_sees_do_not_count(flags: int, tmp_path: Path) -> None:
    fields = [widget(T=text("month"), V=text("1"), F=NumberObject(flags)), widget(T=text("name"))]
    assert values(on_page(form(*fields), tmp_path)) == {"name": ""}


def test_buttons_and_odd_places_are_passed_over(tmp_path: Path) -> None:
    fields = [
        widget(T=text("month"), FT=NameObject("/Btn")),
        widget(T=text("month"), Rect=ArrayObject([NumberObject(1)])),
        widget(T=text("week:1"), V=NullObject()),
        widget(T=text("week:2"), V=NumberObject(20)),
    ]
    assert values(on_page(form(*fields), tmp_path)) == {"week:1": "", "week:2": "20"}


def test_field_that_is_its_own_parent_does_no_harm(tmp_path: Path) -> None:
    (tmp_path / "file.pdf").write_bytes(form(widget(T=text("month"), V=text("5"))))
    writer = PdfWriter(PdfReader(tmp_path / "file.pdf"))
    array = writer.pages[0]["/Annots"]
    assert isinstance(array, ArrayObject)
    field = array[0].get_object()
    assert isinstance(field, DictionaryObject)
    field[NameObject("/Parent")] = array[0]
    writer.write(tmp_path / "file.pdf")
    assert values(AnnotatedFile(tmp_path / "file.pdf").on_page(0)) == {"month": "5"}


@pytest.mark.parametrize(
    "data", [b"", b"%PDF-1.7\n%%EOF\n", bytes(range(256))], ids=["empty", "hollow", "noise"]
)
def test_files_that_cannot_be_had_have_nothing_attached(data: bytes, tmp_path: Path) -> None:
    assert on_page(data, tmp_path) == Annotations()
