"""The printed page, read back by other people's programs."""

import io
import re
from datetime import date
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
import pdfplumber
import pupil_apriltags
import pypdf
import pypdfium2
import pytest
import zxingcpp

from ingest.chart.charts import Chart
from ingest.chart.code import new_code, parse_payload
from ingest.chart.design import load_design
from ingest.chart.drawing import draw_charts
from ingest.chart.layout import Layout, lay_out
from ingest.chart.lettering import BOLD, typeset, width, wrap
from ingest.errors import DesignError
from ingest.paper import POINTS_PER_MM
from ingest.plan.challenge import Challenge, make_challenge
from ingest.plan.roster import Student

MINUTES = load_design("minutes", Path())
PX_PER_MM = 8
ZOE = Student("S001", "Zoë", "Ñandú-O'Brien", "Winds 2")


def plan(**given: object) -> Challenge:
    month = {"month": "2027-10", "title": "October practice challenge", "hand_in": {"due": "2027-11-01"}}
    return make_challenge({**month, **given}, "a test's plan")


class Printed:
    """A printed chart, then a spare one, and how other programs see them."""

    def __init__(self, challenge: Challenge, student: Student = ZOE) -> None:
        self.challenge = challenge
        self.layout: Layout = lay_out(challenge, MINUTES)
        self.charts = [Chart(new_code(), student), Chart(new_code(), None)]
        self.pdf = draw_charts(challenge, MINUTES, self.layout, self.charts)

    def picture(self, page: int = 0, px_per_mm: float = PX_PER_MM) -> npt.NDArray[np.uint8]:
        """Grey, by PDFium."""
        with pypdfium2.PdfDocument(self.pdf) as document:
            bitmap = document[page].render(scale=px_per_mm / POINTS_PER_MM, grayscale=True)
            return np.array(bitmap.to_numpy()).reshape(bitmap.height, bitmap.width)

    def text(self, page: int = 0) -> str:
        """By pdfplumber (pdfminer)."""
        with pdfplumber.open(io.BytesIO(self.pdf)) as document:
            return document.pages[page].extract_text() or ""


@pytest.fixture(scope="module")
def october() -> Printed:
    return Printed(plan(days={"no_school": ["2027-10-11"]}))


@pytest.fixture(scope="module")
def octubre() -> Printed:
    days = {"week_starts": "mon", "no_school": ["2027-10-12"]}
    return Printed(plan(title="Reto de práctica de octubre", language="es", paper="a4", days=days))


@pytest.fixture(params=["october", "octubre"])
def printed(request: pytest.FixtureRequest) -> Printed:
    found = request.getfixturevalue(request.param)
    assert isinstance(found, Printed)
    return found


@pytest.mark.parametrize("page", [0, 1])
def test_qr_is_read_by_other_libraries(printed: Printed, page: int) -> None:
    picture = printed.picture(page)
    (found,) = zxingcpp.read_barcodes(picture)
    assert parse_payload(found.text) == ("2027-10", printed.charts[page].code)
    assert found.text == f"2027-10 {printed.charts[page].code}"
    assert found.ec_level in ("Q", "H")  # by the quarter or better (ISO/IEC 18004)
    qr = printed.layout.qr
    assert found.position.top_left.x / PX_PER_MM == pytest.approx(qr.left, abs=0.3)
    assert found.position.bottom_right.y / PX_PER_MM == pytest.approx(qr.bottom, abs=0.3)
    margin = 4 * qr.width / 25
    near = crop(picture, qr.left - margin, qr.top - margin, qr.right + margin, qr.bottom + margin)
    text, _, _ = cv2.QRCodeDetector().detectAndDecode(near)
    assert text == found.text


def crop(
    picture: npt.NDArray[np.uint8], left: float, top: float, right: float, bottom: float
) -> npt.NDArray[np.uint8]:
    """Part of a picture, by mm on the page."""
    rows = slice(round(top * PX_PER_MM), round(bottom * PX_PER_MM))
    return picture[rows, round(left * PX_PER_MM) : round(right * PX_PER_MM)]


def test_tags_are_found_where_the_layout_says(printed: Printed) -> None:
    picture = printed.picture()
    wanted = {tag.id: tag.area for tag in printed.layout.tags}
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    found = pupil_apriltags.Detector(families="tag36h11").detect(picture)
    assert sorted(int(tag.tag_id) for tag in found) == sorted(wanted)
    for tag in found:
        assert tag.hamming == 0
        area = wanted[int(tag.tag_id)]
        assert tag.center / PX_PER_MM == pytest.approx(area.centre, abs=0.2)
        assert extent(tag.corners) == pytest.approx((area.left, area.top, area.right, area.bottom), abs=0.2)
    corners, ids, _ = cv2.aruco.ArucoDetector(family).detectMarkers(picture)
    assert sorted(ids.ravel().tolist()) == sorted(wanted)
    for four, number in zip(corners, ids.ravel(), strict=True):
        area = wanted[int(number)]
        assert extent(four[0]) == pytest.approx((area.left, area.top, area.right, area.bottom), abs=0.2)
        top_left = four[0][0] / PX_PER_MM  # the first corner is the tag's own top left: it stands upright
        assert tuple(top_left) == pytest.approx((area.left, area.top), abs=0.2)


def extent(corners: npt.NDArray[np.float64]) -> tuple[float, float, float, float]:
    """Left, top, right, bottom in mm."""
    low, high = corners.min(axis=0) / PX_PER_MM, corners.max(axis=0) / PX_PER_MM
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


@pytest.mark.parametrize("month", ["2027-02", "2026-08", "2027-03"])
@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_every_writing_area_is_white_and_has_only_its_frame_near_it(month: str, paper: str) -> None:
    title = {"title": "Practice", "hand_in": {}}
    printed = Printed(plan(month=month, paper=paper, **title))
    picture = printed.picture()
    for box in (*printed.layout.boxes, *printed.layout.outside):
        area = box.area
        inside = crop(picture, area.left, area.top, area.right, area.bottom)
        assert inside.min() == 255, box.name
        # Between the frame's line (0.8 mm, 0.35 thick, and smoothing) and 1.5 mm: white.
        for side in ("left", "right", "top", "bottom"):
            reach = {"left": 0.0, "right": 0.0, "top": 0.0, "bottom": 0.0}
            near = dict(reach)
            reach[side], near[side] = 1.5, 1.2
            edges = {
                "left": area.left - reach["left"],
                "top": area.top - reach["top"],
                "right": area.right + reach["right"],
                "bottom": area.bottom + reach["bottom"],
            }
            opposite = {"left": "right", "right": "left", "top": "bottom", "bottom": "top"}[side]
            base = {"left": area.left, "right": area.right, "top": area.top, "bottom": area.bottom}[side]
            edges[opposite] = base + (-near[side] if side in ("left", "top") else near[side])
            assert crop(picture, **edges).min() == 255, (box.name, side)


def test_frames_are_seen_by_another_pdf_reader(printed: Printed) -> None:
    with pdfplumber.open(io.BytesIO(printed.pdf)) as document:
        page = document.pages[0]
        assert page.rotation == 0
        seen = [
            tuple(rect[key] / POINTS_PER_MM for key in ("x0", "top", "x1", "bottom"))
            for rect in page.rects
            if rect["stroking_color"] == MINUTES.lines.frame_grey  # decoration is darker
        ]
        assert {round(rect["linewidth"] / POINTS_PER_MM, 2) for rect in page.rects if rect["stroke"]} >= {
            0.35
        }
    frames = [
        (box.frame.left, box.frame.top, box.frame.right, box.frame.bottom) for box in printed.layout.boxes
    ]
    assert sorted(seen) == [pytest.approx(frame, abs=0.02) for frame in sorted(frames)]


@pytest.mark.parametrize(
    ("name", "points"),
    [("october", (792.0, 612.0)), ("octubre", (841.89, 595.28))],  # ASME Y14.1 size A; ISO 216 A4
)
def test_page_has_the_standards_size(
    name: str, points: tuple[float, float], request: pytest.FixtureRequest
) -> None:
    reader = pypdf.PdfReader(io.BytesIO(request.getfixturevalue(name).pdf))
    assert len(reader.pages) == 2
    for page in reader.pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(points, abs=0.01)


def test_document_says_its_title_and_language_and_no_author(printed: Printed) -> None:
    reader = pypdf.PdfReader(io.BytesIO(printed.pdf))
    catalog = dictionary(reader.trailer["/Root"])
    assert str(catalog["/Lang"]) == printed.challenge.language
    assert str(dictionary(catalog["/ViewerPreferences"])["/DisplayDocTitle"]).lower() == "true"
    assert reader.metadata is not None
    assert str(reader.metadata.title).startswith(printed.challenge.title)
    assert not reader.metadata.author
    assert "Ñandú" not in str(reader.metadata)


def test_all_fonts_are_embedded_subsets_with_their_letters_named(printed: Printed) -> None:
    reader = pypdf.PdfReader(io.BytesIO(printed.pdf))
    objects = [reader.get_object(number) for number in reader.xref[0]]
    fonts = [dictionary(thing) for thing in objects if is_font(thing)]
    assert len(fonts) >= 2
    for font in fonts:
        assert re.match(r"/[A-Z]{6}\+Andika", str(font["/BaseFont"]))
        assert "/FontFile2" in dictionary(font["/FontDescriptor"])
        assert "/ToUnicode" in font


def dictionary(thing: pypdf.generic.PdfObject | None) -> pypdf.generic.DictionaryObject:
    """The dictionary itself, where a reference may stand for it."""
    found = thing.get_object() if thing else None
    assert isinstance(found, pypdf.generic.DictionaryObject)
    return found


def is_font(thing: object) -> bool:
    return isinstance(thing, pypdf.generic.DictionaryObject) and thing.get("/Type") == "/Font"


def test_english_page_says_what_a_family_needs(october: Printed) -> None:
    text = october.text()
    for words in (
        "October practice challenge",
        "October 2027",
        "Zoë Ñandú-O'Brien",
        "Winds 2",
        "At least 15 minutes every school day.",
        "My practice time is",
        "Sunday Monday Tuesday Wednesday Thursday Friday Saturday",
        "11 no school",
        "4 15+ min",
        "31 extra",
        "week total",
        "My month total",
        "grown-up's",
        "What I am working on",
        "Hand it in by Monday,",
        "Stop if something hurts.",
        "no medical advice",
        october.charts[0].code,
    ):
        assert words in re.sub(r"\s+", " ", text), words
    assert "Zoë" not in october.text(1)  # the spare chart


def test_spanish_page_says_the_same(octubre: Printed) -> None:
    text = re.sub(r"\s+", " ", octubre.text())
    for words in (
        "Reto de práctica de octubre",
        "Octubre de 2027",
        "Zoë Ñandú-O'Brien",
        "Al menos 15 minutos cada día de clases. ¡Los fines de semana",
        "Lunes Martes Miércoles Jueves Viernes Sábado Domingo",
        "12 sin clases",
        "total semanal",
        "Mi total del mes",
        "Detente si algo te duele.",
        "Entrégala a más tardar el",
        "noviembre.",
    ):
        assert words in text, words


def test_other_required_days_have_their_own_rule() -> None:
    text = re.sub(r"\s+", " ", Printed(plan(days={"required": ["mon", "sat"], "minimum_minutes": 20})).text())
    assert "At least 20 minutes on every day marked 20+." in text
    assert "2 20+ min" in text  # a Saturday
    assert "1 extra" in text  # a Friday


def test_without_a_hand_in_date_none_is_printed() -> None:
    challenge = plan()
    challenge = challenge.model_copy(update={"hand_in": challenge.hand_in.model_copy(update={"due": None})})
    assert "Hand it in by" not in Printed(challenge).text()


NAMES = [
    "محمد العلي",
    "שָׁלוֹם כהן",
    "राजेश कुमार श्रीवास्तव",
    "สมชาย ใจดี",
    "王小明",
    "김민준",
    "さくら 山田",
    "Γιώργος Παπαδόπουλος",
    "Иван Ёлкин",
    "Nguyễn Thị Ánh",
    "አበበ ቢቂላ",
    "Maria-José (محمد) 3",
    "😀 \x07\ud800\u202e x̌",
    "Wilhelmina Montgomery-Walker",
    "W" * 200,
    " ".join(["Maximiliana-Alexandrina"] * 9),
]


@pytest.mark.parametrize("name", NAMES, ids=range(len(NAMES)))
def test_name_in_any_script_is_drawn_within_its_place(name: str) -> None:
    printed = Printed(plan(month="2027-02"), Student("S1", name, "", "Winds"))
    picture = printed.picture(px_per_mm=PX_PER_MM)
    place = printed.layout.name
    assert crop(picture, place.left, place.top, place.right, place.bottom).min() < 80  # there is a name
    beside = crop(picture, place.right + 0.3, place.top, printed.layout.qr.left - 3.3, place.bottom)
    assert beside.min() == 255
    assert crop(picture, place.left - 2, place.top, place.left - 0.3, place.bottom).min() == 255
    assert crop(picture, place.left + 15, place.top - 1.2, place.right, place.top - 0.4).min() == 255


@pytest.mark.parametrize("name", ["王小明", "김민준", "Γιώργος Παπαδόπουλος", "Иван Ёлкин", "สมชาย"])
def test_name_can_be_copied_out(name: str) -> None:
    assert name in Printed(plan(month="2027-02"), Student("S1", name, "", "Winds")).text()


def test_right_to_left_names_are_shaped_and_in_visual_order() -> None:
    runs = typeset("محمد العلي", BOLD)
    assert [run.face.name for run in runs] == ["NotoSansArabic"]
    assert not runs[0].plain
    font = runs[0].face.font
    isolated = {font.get_nominal_glyph(ord(letter)) for letter in runs[0].text}
    assert sum(glyph.number not in isolated for glyph in runs[0].glyphs) >= 5  # joined forms
    mixed = [run.text for run in typeset("Ana כהן Li")]
    assert mixed == ["Ana ", "ןהכ", " Li"]  # UAX 9: an embedded stretch is reversed in its place


def test_letters_that_no_font_has_become_visible() -> None:
    (run,) = typeset("a😀b")
    assert run.text == "a\N{REPLACEMENT CHARACTER}b"
    assert typeset("\x00\x1b") == ()


def test_lines_are_broken_at_spaces_and_long_words_anywhere() -> None:
    assert wrap("aa bb cc", width(typeset("aa bb"))) == ["aa bb", "cc"]
    lines = wrap("x" * 50, 5.0)
    assert "".join(lines) == "x" * 50
    assert all(width(typeset(line)) <= 5.0 for line in lines)


def test_long_title_and_wordings_stay_in_their_places() -> None:
    title = "The very long title of a practice challenge that goes on and on"
    printed = Printed(plan(title=title))
    tag = printed.layout.tags[1].area
    picture = printed.picture()
    assert crop(picture, tag.left - 2, tag.top, tag.left - 0.3, tag.bottom).min() == 255
    assert title in printed.text()


def test_a_copiers_hard_choices_leave_frames_and_tags(october: Printed) -> None:
    """A copier that knows black and white only, set to keep pencil: frames stay, areas stay white."""
    picture = cv2.GaussianBlur(october.picture(px_per_mm=PX_PER_MM), (0, 0), 0.8)  # 200 dpi and its lens
    copied = np.where(picture < 190, 0, 255).astype(np.uint8)
    for box in october.layout.boxes:
        frame = box.frame
        line = crop(copied, frame.left + 1, frame.top - 0.3, frame.right - 1, frame.top + 0.3)
        assert (line.min(axis=0) == 0).mean() > 0.98, box.name
        area = box.area
        assert crop(copied, area.left, area.top, area.right, area.bottom).min() == 255
    assert len(pupil_apriltags.Detector(families="tag36h11").detect(copied)) == 8


def test_language_that_no_calendar_knows_is_refused() -> None:
    challenge = plan(language="xx")
    design = MINUTES.model_copy(update={"words": {**MINUTES.words, "xx": MINUTES.words["en"]}})
    with pytest.raises(DesignError, match='no month and day names for the language "xx"'):
        draw_charts(challenge, design, lay_out(challenge, design), [])


def test_dates_are_those_of_the_calendar(october: Printed) -> None:
    """Day numbers stand above the boxes that the layout names after them."""
    with pdfplumber.open(io.BytesIO(october.pdf)) as document:
        words = document.pages[0].extract_words()
    for box in october.layout.boxes:
        kind, _, which = box.name.partition(":")
        if kind == "day":
            frame = box.frame
            above = [
                word["text"]
                for word in words
                if frame.left <= word["x0"] / POINTS_PER_MM <= frame.left + 2
                and frame.top - 4.5 <= word["top"] / POINTS_PER_MM
                and word["bottom"] / POINTS_PER_MM <= frame.top + 1.5
            ]
            assert above == [str(date.fromisoformat(which).day)]
