"""Certificates, read back by other people's programs."""

import io
import re
from functools import cache

import numpy as np
import numpy.typing as npt
import pdfplumber
import pypdf
import pypdfium2
import pytest
from award_books import FANFARE, NAMES_30, all_given, plan, some_open

from ingest.paper import PAPERS, POINTS_PER_MM
from ingest.report.certificate_design import CertificateDesign
from ingest.report.certificates import Certificate, certificates, draw_certificates

PX_PER_MM = 3


@cache
def drawn(language: str = "en", paper: str = "letter", four: bool = False) -> bytes:
    """A certificate for each of 30 names in many scripts, and five places among them."""
    given, said = all_given(plan(language=language, paper=paper, mentions=[]))
    return draw_certificates(certificates(given, said), said, FANFARE, four=four)


def one(pdf: bytes, number: int = 0) -> str:
    """A page's text, by pdfplumber (pdfminer)."""
    return re.sub(r"\s+", " ", _opened(pdf).pages[number].extract_text() or "")


@cache
def _opened(pdf: bytes) -> pdfplumber.pdf.PDF:
    return pdfplumber.open(io.BytesIO(pdf))


def pages(pdf: bytes) -> int:
    return len(pypdf.PdfReader(io.BytesIO(pdf)).pages)


def picture(pdf: bytes, number: int, px_per_mm: float = PX_PER_MM) -> npt.NDArray[np.uint8]:
    """Grey, by PDFium."""
    with pypdfium2.PdfDocument(pdf) as document:
        bitmap = document[number].render(scale=px_per_mm / POINTS_PER_MM, grayscale=True)
        return np.array(bitmap.to_numpy()).reshape(bitmap.height, bitmap.width)


def test_there_is_one_for_each_award_in_the_sheets_order() -> None:
    given, said = all_given(plan())
    found = certificates(given, said)
    assert [each.sign for each in found[:30]] == ["met"] * 30
    assert [each.title for each in found[30:35]] == [
        "First place",
        "Second place",
        "Third place",
        "Fourth place",
        "Fifth place",
    ]
    assert [each.sign for each in found[30:35]] == ["1", "2", "3", "4", "5"]
    assert found[30].student.name == NAMES_30[-1]
    assert found[30].why == "with 1,519 minutes of practice"  # 49 minutes on each of 31 days
    assert {each.sign for each in found[35:]} == {
        "longest-streak",
        "every-weekday",
        "most-improved-week",
        "first-to-hand-in",
    }
    assert found[-1].why == "on Friday, October 29"


def test_nothing_is_printed_for_what_is_open() -> None:
    given, said = some_open(plan())
    found = certificates(given, said)
    assert [(each.student.name, each.sign) for each in found] == [
        ("Ana Marsh", "met"),
        ("Ana Marsh", "longest-streak"),
        ("Ana Marsh", "every-weekday"),
        ("Ana Marsh", "first-to-hand-in"),
    ]


@pytest.mark.parametrize(("four", "count"), [(False, 35), (True, 9)])
def test_one_or_four_come_to_a_page(four: bool, count: int) -> None:
    assert pages(drawn(four=four)) == count


@pytest.mark.parametrize(
    ("paper", "points"),
    [("letter", (792.0, 612.0)), ("a4", (841.89, 595.28))],  # ASME Y14.1 size A; ISO 216 A4
)
def test_a_page_has_the_standards_size(paper: str, points: tuple[float, float]) -> None:
    page = pypdf.PdfReader(io.BytesIO(_alone("Ana Marsh", paper=paper))).pages[0]
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(points, abs=0.01)


def test_an_english_certificate_says_who_what_and_with_what_care() -> None:
    text = one(drawn(), 1)
    for words in (
        "Certificate",
        "October practice challenge 2027",
        "goes to",
        "Zoë van der Berg",
        "Period 2",
        "Challenge met!",
        "Practiced at least 15 minutes on every one of 20 practice days",
        "take breaks and days off",
        "If something hurts, stop and tell your teacher",
        "see a doctor",
        "no medical advice",
        "Teacher",
    ):
        assert words in text, words


def test_a_spanish_one_says_the_same() -> None:
    text = one(drawn("es", "a4"), 1)
    for words in (
        "Diploma",
        "Reto de práctica de octubre de 2027",
        "Zoë van der Berg",
        "¡Reto cumplido!",
        "Practicó al menos 15 minutos en cada uno de los 20 días de práctica",
        "Si algo te duele, detente",
        "ve al médico",
    ):
        assert words in text, words
    assert "con 1,519 minutos" in one(drawn("es", "a4"), 30) or "con 1.519 minutos" in one(
        drawn("es", "a4"), 30
    )


@pytest.mark.parametrize("four", [False, True])
def test_every_font_is_embedded_with_its_letters_named(four: bool) -> None:
    reader = pypdf.PdfReader(io.BytesIO(drawn(four=four)))
    things = [reader.get_object(number) for number in reader.xref[0]]
    fonts = [each for each in things if isinstance(each, pypdf.generic.DictionaryObject)]
    fonts = [each for each in fonts if each.get("/Type") == "/Font"]
    assert len(fonts) >= 15  # as many scripts
    for font in fonts:
        descriptor = font["/FontDescriptor"].get_object()
        assert isinstance(descriptor, pypdf.generic.DictionaryObject)
        assert "/FontFile2" in descriptor
        assert "/ToUnicode" in font


# Names of one line that are copied out as they are; others are broken into lines or run from right to left.
COPIED = [name for name in NAMES_30 if len(name) < 24 and not re.search("[\u0590-\u06ff\u1000-\u17ff]", name)]


def test_names_of_many_scripts_can_be_copied_out() -> None:
    assert len(COPIED) > 15
    for name in COPIED:
        assert re.sub(r"\s", "", name) in re.sub(r"\s", "", one(drawn(), NAMES_30.index(name))), name


LONG = sorted(NAMES_30, key=len)[-6:]


@pytest.mark.parametrize(
    ("name", "four"), [(name, False) for name in NAMES_30] + [(name, True) for name in LONG]
)
def test_a_name_of_any_length_and_script_stays_in_its_place(name: str, four: bool) -> None:
    """The page differs from that with another name only in the band of the name."""
    seen, other = picture(_alone(name, four), 0), picture(_alone("i", four), 0)
    height = PAPERS["letter"].height * PX_PER_MM / (2 if four else 1)
    width = PAPERS["letter"].width * PX_PER_MM / (2 if four else 1)
    rows, columns = np.nonzero(np.abs(seen.astype(int) - other.astype(int)) > 60)
    assert rows.size  # there is a name
    assert 0.33 * height < rows.min()
    assert rows.max() < 0.515 * height
    assert 0.1 * width < columns.min()
    assert columns.max() < 0.9 * width


@cache
def _alone(name: str, four: bool = False, paper: str = "letter") -> bytes:
    given, said = all_given(plan(mentions=[], prizes={"top": 0}, paper=paper), [name])
    return draw_certificates(certificates(given, said), said, FANFARE, four=four)


def test_small_print_is_no_smaller_four_to_a_page() -> None:
    with pdfplumber.open(io.BytesIO(drawn(four=True))) as document:
        sizes = [char["size"] for char in document.pages[0].chars if char["text"].strip()]
    assert min(sizes) >= 6.4


def test_four_are_cut_apart_through_white_paper() -> None:
    sheet = picture(drawn(four=True), 0)
    height, width = sheet.shape
    margin = round(6 * PX_PER_MM)
    middle = sheet[height // 2 - margin : height // 2 + margin, round(8 * PX_PER_MM) : round(60 * PX_PER_MM)]
    assert middle.min() == 255
    assert sheet[height // 2, : 4 * PX_PER_MM].min() < 200  # a mark at the edge
    assert sheet[: round(4 * PX_PER_MM), width // 2 - 1 : width // 2 + 2].min() < 200


@pytest.mark.parametrize("four", [False, True])
def test_a_printer_that_leaves_6_mm_blank_loses_nothing(four: bool) -> None:
    sheet = picture(drawn(four=four), 0).copy()
    edge = round(6 * PX_PER_MM)
    if four:  # but for the marks where it is cut
        height, width = sheet.shape
        sheet[height // 2 - 2 : height // 2 + 3] = 255
        sheet[:, width // 2 - 2 : width // 2 + 3] = 255
    for side in (sheet[:edge], sheet[-edge:], sheet[:, :edge], sheet[:, -edge:]):
        assert side.min() == 255


def test_it_reads_on_a_printer_without_colors() -> None:
    """Text is dark, and the sign on the seal stands out."""
    with pdfplumber.open(io.BytesIO(drawn())) as document:
        page = document.pages[30]
        inks = {char["non_stroking_color"] for char in page.chars}
    for ink in inks:
        grey = ink[0] if len(ink) == 1 else float(np.dot(ink, (0.299, 0.587, 0.114)))
        assert grey < 0.45, ink


def test_the_same_awards_make_the_same_file() -> None:
    given, said = all_given(plan(), NAMES_30[:3])
    first, second = (
        draw_certificates(certificates(given, said), said, FANFARE, four=False) for _ in range(2)
    )
    assert first == second


def test_the_file_says_its_title_and_language_and_no_name() -> None:
    reader = pypdf.PdfReader(io.BytesIO(drawn("es", "a4")))
    catalog = reader.trailer["/Root"].get_object()
    assert isinstance(catalog, pypdf.generic.DictionaryObject)
    assert str(catalog["/Lang"]) == "es"
    assert reader.metadata is not None
    assert reader.metadata.title == "Reto de práctica de octubre de 2027"
    assert not reader.metadata.author


def test_parts_may_be_left_out_and_long_wordings_keep_to_the_page() -> None:
    plain = FANFARE.model_dump()
    plain["parts"] = {"tune": False, "seal": False, "signature": False}
    long = "Certificate of very great merit and of much practice on many days " * 2
    plain["words"]["en"].update(heading=long, to=long, cautions=long * 8, met=long)
    design = CertificateDesign.model_validate(plain)
    given, said = all_given(plan(), ["Ana Marsh"], design)
    (first, *_) = certificates(given, said)
    pdf = draw_certificates([first], said, design, four=False)
    text = one(pdf)
    assert "Teacher" not in text
    assert text.count("Certificate of very great merit") == 2 * (3 + 8)
    sheet = picture(pdf, 0)
    assert sheet[:, : 6 * PX_PER_MM].min() == 255
    assert sheet[:, -6 * PX_PER_MM :].min() == 255


def test_a_title_of_the_teachers_own_is_on_the_certificate() -> None:
    mentions = [{"kind": "longest-streak", "title": "Steady as a {drum}"}]
    given, said = all_given(plan(mentions=mentions, prizes={"top": 0}), ["Ana Marsh"])
    found = certificates(given, said)
    assert found[-1] == Certificate(
        given.met[0].winners[0].student,
        "Steady as a {drum}",
        "20 practice days in a row with at least 15 minutes",
        "longest-streak",
    )
