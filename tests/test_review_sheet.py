import csv
import io
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
import pytest
from books import (
    answered,
    book,
    challenge_folder,
    flagged,
    october,
    page_question,
    question,
    read,
    sheet,
    student,
)
from PIL import Image

from ingest.chart.design import load_design
from ingest.chart.layout import Layout, lay_out
from ingest.check.book import Book, Flag, Question
from ingest.check.bookkeeper import Bookkeeper
from ingest.errors import AnswerError, LedgerError
from ingest.ledger.pictures import PAGE_WIDTH_PX, SHOWN_MARGIN_MM, Pictures, png
from ingest.ledger.records import NewPage, ReturnState
from ingest.ledger.store import Ledger
from ingest.plan.challenge import load_challenge
from ingest.reading.numerals import FLAT_PX_PER_MM
from ingest.reading.values import PageReading
from ingest.review.sheet import Taken, take_answers, write_sheet
from ingest.tally.student import tallies

PLAN = october()
DAY = "day:2027-10-05"
OTHER = "day:2027-10-06"

pytestmark = pytest.mark.usefixtures("usual_threshold")


@pytest.fixture(scope="module")
def layout() -> Layout:
    return lay_out(PLAN, load_design(PLAN.design, Path()))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, layout: Layout) -> Path:
    """Two pages, ids 1 and 2, each white with one black box: DAY on the first, OTHER on the second."""
    made = tmp_path_factory.mktemp("challenge")
    paper = layout.paper
    with Ledger.open(made) as opened:
        key = opened.add_layout(layout)
        for number, box in ((1, DAY), (2, OTHER)):
            size = round(paper.height * FLAT_PX_PER_MM), round(paper.width * FLAT_PX_PER_MM)
            page = np.full(size, 255, np.uint8)
            area = layout.box(box).area
            left, top, right, bottom = (
                round(edge * FLAT_PX_PER_MM) for edge in (area.left, area.top, area.right, area.bottom)
            )
            page[top:bottom, left:right] = 0
            jpeg = cv2.imencode(".jpg", page)[1].tobytes()
            return_id = opened.add_return(f"IMG_{number}.jpg", f"{number:064x}", None)
            assert return_id is not None
            found = PageReading(None, None, "", "", (), jpeg, 0.1, 8, key)
            opened.finish_return(return_id, [NewPage(1, "", found)], ReturnState.DONE)
    return made


@pytest.fixture
def ledger(folder: Path, tmp_path: Path) -> Iterator[Ledger]:
    """A copy of its own for each test, which is much quicker than making it anew."""
    shutil.copytree(folder, tmp_path, dirs_exist_ok=True)
    with Ledger.open(tmp_path) as opened:
        yield opened


class Keeper:
    """A stand-in for the bookkeeper: keeps the answer and closes the question."""

    def __init__(self, ledger: Ledger, start: Book) -> None:
        self._ledger = ledger
        self.book = start

    def answer(self, question: Question, answer: str, shown: bytes = b"", by: str = "prompt") -> None:
        chart = question.box == "chart"
        self._ledger.answer(
            "" if chart else question.student_id,
            question.box,
            answer,
            page_id=question.page_id,
            by=by,
            shown=shown,
        )
        value = None if answer == "blank" or chart else int(answer)
        sheets = [
            replace(each, boxes={**each.boxes, question.box: answered(question.box, value)})
            if each.student.id == question.student_id and not chart
            else each
            for each in self.book.sheets
        ]
        left = [
            each
            for each in self.book.questions
            if (each.student_id, each.box, each.page_id if chart else 0)
            != (question.student_id, question.box, question.page_id if chart else 0)
        ]
        self.book = Book(sheets, left)

    def take_back(self) -> Question | None:
        raise NotImplementedError


def a_book() -> Book:
    """S1 has two open boxes, one nearly sure; page 2 may be S2's."""
    boxes = [
        flagged(DAY, 25, confidence=0.6),
        flagged(OTHER, 30, confidence=0.95),
        read("day:2027-10-07", 15),
    ]
    ana = sheet(student("S1"), boxes)
    ben = sheet(student("S2"), [], pages=())
    made = book(ana, ben)
    return Book(made.sheets, [*made.questions, page_question(2, suggestion="S2", confidence=0.7)])


def cells(path: Path) -> list[list[str]]:
    return list(csv.reader(io.StringIO(path.read_bytes().decode("utf-8"), newline=""), strict=True))


def answered_sheet(
    path: Path, *rows: str, header: str = "student_id,box,suggestion,why,picture,answer"
) -> Path:
    path.write_bytes("\r\n".join([header, *rows, ""]).encode())
    return path


ROW_DAY = f"S1,{DAY},,Cannot be read.,x-pictures/page-1-day-2027-10-05.png,"
ROW_OTHER = f"S1,{OTHER},,Cannot be read.,x-pictures/page-1-day-2027-10-06.png,"
ROW_PAGE = ",chart,,No code.,x-pictures/page-2.png,"


# -- pictures --------------------------------------------------------------------------------------


def test_a_crop_is_the_box_with_a_margin(ledger: Ledger, layout: Layout) -> None:
    area = layout.box(DAY).area
    crop = Pictures(ledger).box(1, DAY)
    margin = round(SHOWN_MARGIN_MM * FLAT_PX_PER_MM)
    expected = [(side + 2 * SHOWN_MARGIN_MM) * FLAT_PX_PER_MM for side in (area.height, area.width)]
    assert crop.shape == pytest.approx(expected, abs=1.5)
    assert crop[margin + 3 : -margin - 3, margin + 3 : -margin - 3].max() < 40  # the black area is inside
    assert crop[: margin - 3].min() > 200  # and white all around
    assert crop[:, : margin - 3].min() > 200


def test_another_box_of_the_same_page_is_white(ledger: Ledger) -> None:
    assert Pictures(ledger).box(1, "day:2027-10-20").min() > 200


def test_png_is_read_by_another_library_and_a_page_is_reduced(ledger: Ledger, layout: Layout) -> None:
    pictures = Pictures(ledger)
    with Image.open(io.BytesIO(png(pictures.page(1), widest_px=PAGE_WIDTH_PX))) as page:
        assert (page.format, page.mode, page.width) == ("PNG", "L", PAGE_WIDTH_PX)
        assert page.width / page.height == pytest.approx(layout.paper.width / layout.paper.height, rel=0.01)
    with Image.open(io.BytesIO(png(pictures.box(1, DAY), widest_px=PAGE_WIDTH_PX))) as crop:
        assert crop.width < PAGE_WIDTH_PX  # never enlarged


def test_what_cannot_be_shown_is_refused_in_plain_words(ledger: Ledger, tmp_path: Path) -> None:
    with pytest.raises(LedgerError, match='no box "day:2031-01-01"'):
        Pictures(ledger).box(1, "day:2031-01-01")
    with pytest.raises(LedgerError, match="originals"):
        Pictures(ledger).page(99)
    path = ledger.page_picture(1)
    assert path is not None
    path.write_bytes(b"no picture")
    with pytest.raises(LedgerError, match="originals"):
        Pictures(ledger).page(1)


# -- out -------------------------------------------------------------------------------------------


def test_the_sheet_to_the_contract(ledger: Ledger, tmp_path: Path) -> None:
    path = tmp_path / "review-1.csv"
    assert write_sheet(path, a_book(), ledger) == 3
    table = cells(path)
    assert table[0] == ["student_id", "box", "suggestion", "why", "picture", "answer"]
    why = "Cannot be read with certainty."
    pictures = "review-1-pictures"
    assert table[1:] == [
        # the guess at 0.6 is not offered: people wave pre-filled values through
        ["S1", DAY, "", why, f"{pictures}/page-1-day-2027-10-05.png", ""],
        ["S1", OTHER, "30", why, f"{pictures}/page-1-day-2027-10-06.png", ""],
        ["", "chart", "", "No chart code was found on the page.", f"{pictures}/page-2.png", ""],
    ]
    for row in table[1:]:
        with Image.open(tmp_path / row[4]) as picture:
            assert picture.format == "PNG"
    frame = pd.read_csv(path, dtype=str, keep_default_na=False)
    assert frame.to_numpy().tolist() == table[1:]


def test_what_the_screen_does_not_offer_the_sheet_does_not_either(ledger: Ledger, tmp_path: Path) -> None:
    ana = sheet(student("S1"), [flagged(DAY, 450, confidence=0.99), flagged(OTHER, 30, confidence=0.99)])
    hardly = replace(
        question(ana, ana.boxes[DAY]), flags=(Flag("too-much", "450 minutes is more than 240."),)
    )
    unseen = replace(question(ana, ana.boxes[OTHER]), page_id=77)
    stranger = page_question(2, suggestion="S999", confidence=0.99)
    path = tmp_path / "r.csv"
    write_sheet(path, book(ana, questions=[hardly, unseen, stranger]), ledger)
    assert [row[2] for row in cells(path)[1:]] == ["", "", ""]


def test_cells_that_a_spreadsheet_would_run_are_made_harmless(ledger: Ledger, tmp_path: Path) -> None:
    odd = replace(page_question(2), flags=(Flag("no-code", '=HYPERLINK("http://x.example") as file name'),))
    path = tmp_path / "r.csv"
    write_sheet(path, book(questions=[odd]), ledger)
    assert cells(path)[1][3].startswith("'=HYPERLINK")


def test_pictures_of_an_older_sheet_are_taken_away_and_other_files_are_not(
    ledger: Ledger, tmp_path: Path
) -> None:
    path = tmp_path / "r.csv"
    write_sheet(path, a_book(), ledger)
    note = tmp_path / "r-pictures" / "note.txt"
    note.write_text("mine")
    write_sheet(path, book(questions=[page_question(2)]), ledger)
    assert sorted(each.name for each in note.parent.iterdir()) == ["note.txt", "page-2.png"]


def test_a_question_without_a_picture_is_still_asked(ledger: Ledger, tmp_path: Path) -> None:
    path = tmp_path / "r.csv"
    write_sheet(path, book(questions=[page_question(77)]), ledger)
    assert cells(path)[1][3].endswith("(There is no picture; look at the original.)")
    assert cells(path)[1][4] == "r-pictures/page-77.png"


def test_typed_answers_are_not_overwritten_until_they_are_taken(ledger: Ledger, tmp_path: Path) -> None:
    keeper = Keeper(ledger, a_book())
    path = answered_sheet(tmp_path / "r.csv", ROW_DAY + "25", ROW_OTHER, ROW_PAGE)
    before = path.read_bytes()
    with pytest.raises(AnswerError, match="holds 1 answers"):
        write_sheet(path, keeper.book, ledger)
    assert path.read_bytes() == before
    take_answers(path, keeper, ledger)
    assert write_sheet(path, keeper.book, ledger) == 2


def test_a_file_that_is_something_else_is_left_alone(ledger: Ledger, tmp_path: Path) -> None:
    path = tmp_path / "roster.csv"
    path.write_text("student_id,first_name\nS1,Ana\n")
    with pytest.raises(AnswerError, match="no review sheet"):
        write_sheet(path, a_book(), ledger)
    assert path.read_text().startswith("student_id,first_name")


# -- and back --------------------------------------------------------------------------------------


def test_answers_are_taken_with_the_picture_that_was_shown(ledger: Ledger, tmp_path: Path) -> None:
    keeper = Keeper(ledger, a_book())
    path = tmp_path / "r.csv"
    write_sheet(path, keeper.book, ledger)
    frame = pd.read_csv(path, dtype=str, keep_default_na=False)  # somebody else's reader and writer
    frame["answer"] = ["25", "", "not ours"]
    frame.to_csv(path, index=False)
    assert take_answers(path, keeper, ledger) == Taken(2, 0, 1)
    first, second = ledger.answers()
    assert (first.student_id, first.box, first.answer, first.by) == ("S1", DAY, "25", "sheet")
    assert (second.student_id, second.box, second.page_id, second.answer) == ("", "chart", 2, "not ours")
    assert first.shown == (tmp_path / "r-pictures" / "page-1-day-2027-10-05.png").read_bytes()
    assert [each.box for each in keeper.book.questions] == [OTHER]


def test_the_same_sheet_twice_changes_nothing(ledger: Ledger, tmp_path: Path) -> None:
    keeper = Keeper(ledger, a_book())
    path = answered_sheet(tmp_path / "r.csv", ROW_DAY + "blank", ROW_OTHER + "30", ROW_PAGE + "S2")
    assert take_answers(path, keeper, ledger) == Taken(3, 0, 0)
    assert take_answers(path, keeper, ledger) == Taken(0, 3, 0)
    assert len(ledger.answers()) == 3


def test_a_sheet_may_correct_what_a_sheet_said(ledger: Ledger, tmp_path: Path) -> None:
    keeper = Keeper(ledger, a_book())
    take_answers(answered_sheet(tmp_path / "r.csv", ROW_DAY + "25", ROW_PAGE + "S2"), keeper, ledger)
    corrected = answered_sheet(tmp_path / "r.csv", ROW_DAY + "35", ROW_PAGE + "not ours")
    assert take_answers(corrected, keeper, ledger) == Taken(2, 0, 0)
    assert [each.answer for each in ledger.answers()] == ["25", "S2", "35", "not ours"]


def test_a_sheet_does_not_overrule_the_prompt_in_silence(ledger: Ledger, tmp_path: Path) -> None:
    keeper = Keeper(ledger, a_book())
    keeper.answer(keeper.book.questions[0], "25")
    path = answered_sheet(tmp_path / "r.csv", ROW_OTHER + "30", ROW_DAY + "35")
    with pytest.raises(AnswerError, match='line 3: says "35", but "25" was answered at'):
        take_answers(path, keeper, ledger)
    assert len(ledger.answers()) == 1
    same = answered_sheet(tmp_path / "r.csv", ROW_OTHER + "30", ROW_DAY + "25")
    assert take_answers(same, keeper, ledger) == Taken(1, 1, 0)


def test_a_question_that_was_opened_again_is_answered_again(ledger: Ledger, tmp_path: Path) -> None:
    # as when a second return says something else than what was answered before
    ledger.answer("S1", DAY, "25", page_id=1, by="prompt")
    keeper = Keeper(ledger, a_book())
    path = answered_sheet(tmp_path / "r.csv", ROW_DAY + "25")
    assert take_answers(path, keeper, ledger) == Taken(1, 0, 0)


def test_a_box_settled_meanwhile_takes_a_persons_word(ledger: Ledger, tmp_path: Path) -> None:
    keeper = Keeper(ledger, a_book())
    row = "S1,day:2027-10-07,,,x-pictures/page-1-day-2027-10-07.png,"
    assert take_answers(answered_sheet(tmp_path / "r.csv", row + "15"), keeper, ledger) == Taken(0, 1, 0)
    assert take_answers(answered_sheet(tmp_path / "r.csv", row + "20"), keeper, ledger) == Taken(1, 0, 0)


@pytest.mark.parametrize(
    ("row", "complaint"),
    [
        (ROW_DAY + "15x", '"15x" is neither a number of minutes nor "blank"'),
        (ROW_DAY + "-5", '"-5" is neither'),
        (ROW_DAY + "2.5", '"2.5" is neither'),
        (
            ROW_DAY + "1441",
            '"1441" is no answer for the box day:2027-10-05: give whole minutes from 0 to 1440',
        ),
        (ROW_DAY + "not ours", '"not ours" is neither'),
        (ROW_PAGE + "S77", '"S77" is neither a student on the roster nor "not ours"'),
        (ROW_PAGE + "25", '"25" is neither a student'),
        ("S77,day:2027-10-05,,,,25", 'there is no student "S77"'),
        ("S1,day:2027-12-05,,,,25", 'S1 has no box "day:2027-12-05"'),
        ("S2,day:2027-10-05,,,x/page-1.png,25", 'S2 has no box "day:2027-10-05"'),
        (",chart,,,holiday.jpg,S2", 'the picture "holiday.jpg" does not tell which page'),
        (",chart,,,x-pictures/page-55.png,S2", "nothing is asked about page 55 any more"),
        # longer than any number that Python reads
        (ROW_DAY + "1" * 5000, f'"{"1" * 120}…" is neither'),
        ("1" * 5000 + ",day:2027-10-05,,,,25", f'there is no student "{"1" * 120}…"'),
        (f",chart,,,page-{'1' * 5000}.png,S2", 'the picture "page-1111'),
        (ROW_DAY + "25" + " " * 5000 + "m", f'"25{" " * 118}…" is neither'),
    ],
)
def test_one_bad_row_is_named_by_its_line_and_nothing_is_taken(
    ledger: Ledger, tmp_path: Path, row: str, complaint: str
) -> None:
    keeper = Keeper(ledger, a_book())
    path = answered_sheet(tmp_path / "r.csv", ROW_OTHER + "30", "", row)
    with pytest.raises(AnswerError, match="nothing was taken") as refused:
        take_answers(path, keeper, ledger)
    assert f"line 4: {complaint}" in str(refused.value)
    assert ledger.answers() == ()


def test_every_bad_row_is_listed_and_rows_that_contradict_each_other_are_bad(
    ledger: Ledger, tmp_path: Path
) -> None:
    keeper = Keeper(ledger, a_book())
    path = answered_sheet(tmp_path / "r.csv", ROW_DAY + "25", ROW_DAY + "26", ROW_PAGE + "nobody")
    with pytest.raises(AnswerError) as refused:
        take_answers(path, keeper, ledger)
    assert 'line 3: says "26", but line 2 says otherwise' in str(refused.value)
    assert 'line 4: "nobody"' in str(refused.value)


def test_a_row_without_an_answer_is_never_a_problem(ledger: Ledger, tmp_path: Path) -> None:
    path = answered_sheet(tmp_path / "r.csv", "S77,day:1999-01-01,,,,", ",chart,,,gone.png,")
    assert take_answers(path, Keeper(ledger, a_book()), ledger) == Taken(0, 0, 2)


@pytest.mark.parametrize(
    ("answer", "kept"),
    [
        ("25", "25"),
        (" 25 ", "25"),
        ("25.0", "25"),
        ("25.00", "25"),
        ("025", "25"),
        ("0", "0"),
        ("Blank", "blank"),
        ("BLANK ", "blank"),
        ("45 min", "45"),
        ("1:15", "75"),
    ],
)
def test_answers_as_people_and_spreadsheets_write_them(
    ledger: Ledger, tmp_path: Path, answer: str, kept: str
) -> None:
    take_answers(answered_sheet(tmp_path / "r.csv", ROW_DAY + answer), Keeper(ledger, a_book()), ledger)
    assert [each.answer for each in ledger.answers()] == [kept]


HEADER = "student_id,box,suggestion,why,picture,answer"
PAGE_ROW = ",chart,,why,r-pictures\\page-2.png,Not  Ours"
RESAVED = {  # as spreadsheets and people leave a file
    "plain": f"{HEADER}\nS1,{DAY},,why,r-pictures/page-1.png,25\n{PAGE_ROW}\n".encode(),
    "byte order mark": f"\ufeff{HEADER}\r\nS1,{DAY},,why,p,25\r\n{PAGE_ROW}\r\n".encode(),
    "semicolons and a comma in a decimal": (
        f"{HEADER}\nS1,{DAY},,why,p,25§0\n{PAGE_ROW}\n".replace(",", ";").replace("§", ",").encode()
    ),
    "tabs in UTF-16": f"{HEADER}\r\nS1,{DAY},,why,p,25\r\n{PAGE_ROW}\r\n".replace(",", "\t").encode("utf-16"),
    "windows letters": f"{HEADER}\r\nS1,{DAY},,José,p,25\r\n{PAGE_ROW}\r\n".encode("cp1252"),
    "other case and blanks in the header": (
        f"Student ID,BOX, Answer ,Picture\ns1,{DAY.upper()},25,p\n,Chart,not ours,page-2.png\n".encode()
    ),
    "blank rows and columns, and a title": (
        f"My review,,,,,,,\n,,,,,,,\n{HEADER},,\n,,,,,,,\n"
        f"S1,{DAY},,why,p,25,,\n{PAGE_ROW},,\n,,,,,,,\n".encode()
    ),
    "short rows and a note to the right": (
        f"{HEADER},note\nS1,{DAY},,why,p,25,check!\n{PAGE_ROW}\n".encode()
    ),
}


@pytest.mark.parametrize("content", RESAVED.values(), ids=RESAVED.keys())
def test_a_sheet_that_a_spreadsheet_saved_is_understood(
    ledger: Ledger, tmp_path: Path, content: bytes
) -> None:
    path = tmp_path / "r.csv"
    path.write_bytes(content)
    taken = take_answers(path, Keeper(ledger, a_book()), ledger)
    assert (taken.taken, taken.known) == (2, 0)
    assert [each.answer for each in ledger.answers()] == ["25", "not ours"]


def test_lines_are_counted_as_an_editor_counts_them(ledger: Ledger, tmp_path: Path) -> None:
    path = answered_sheet(tmp_path / "r.csv", f'S1,{DAY},,"two\r\nlines",p,25', "", ROW_OTHER + "x")
    with pytest.raises(AnswerError, match="line 5: "):
        take_answers(path, Keeper(ledger, a_book()), ledger)


@pytest.mark.parametrize(
    ("ids", "text", "found"),
    [
        (["007", "S1"], "7", "007"),
        (["007"], "7.0", "007"),
        (["7", "007"], "007", "007"),  # exact goes first
        (["7", "007"], "07", None),  # cannot be told
        (["a1", "A1"], "A1", "A1"),
        (["a1"], "A1", "a1"),
        (["=x"], "'=x", "=x"),  # as it was written out
        (["=x"], "=x", "=x"),
    ],
)
def test_student_ids_that_a_spreadsheet_changed(
    ledger: Ledger, tmp_path: Path, ids: list[str], text: str, found: str | None
) -> None:
    roster = [sheet(student(each), [], pages=()) for each in ids]
    keeper = Keeper(ledger, book(*roster, questions=[page_question(2)]))
    path = answered_sheet(tmp_path / "r.csv", ROW_PAGE + text)
    if found is None:
        with pytest.raises(AnswerError):
            take_answers(path, keeper, ledger)
    else:
        take_answers(path, keeper, ledger)
        assert [each.answer for each in ledger.answers()] == [found]


@pytest.mark.parametrize("content", [b"", b"\x00\x01\x02", b"PK\x03\x04", b'"' * 200_000, b"a,b\n1,2\n"])
def test_a_file_that_is_no_sheet_is_refused(ledger: Ledger, tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "r.csv"
    path.write_bytes(content)
    with pytest.raises(AnswerError, match="no review sheet"):
        take_answers(path, Keeper(ledger, a_book()), ledger)
    with pytest.raises(AnswerError, match="cannot be read"):
        take_answers(tmp_path / "gone.csv", Keeper(ledger, a_book()), ledger)


# -- with the real bookkeeper ----------------------------------------------------------------------


def test_out_and_back_through_the_ledger_settles_the_marks(tmp_path: Path) -> None:
    challenge_folder(tmp_path, unsure=DAY)
    plan = load_challenge(tmp_path)
    path = tmp_path / "review.csv"
    with Ledger.open(tmp_path) as opened:
        keeper = Bookkeeper(opened, plan)
        assert tallies(keeper.book, plan)[0].met is None
        assert write_sheet(path, keeper.book, opened) == 1
        frame = pd.read_csv(path, dtype=str, keep_default_na=False)
        assert frame[["student_id", "box"]].to_numpy().tolist() == [["S1", DAY]]
        frame["answer"] = "20"
        frame.to_csv(path, index=False, sep=";", encoding="utf-8-sig")
        assert take_answers(path, keeper, opened) == Taken(1, 0, 0)
    with Ledger.open(tmp_path) as opened:
        keeper = Bookkeeper(opened, plan)
        assert take_answers(path, keeper, opened) == Taken(0, 1, 0)
        assert len(opened.answers()) == 1
        figures = tallies(keeper.book, plan)[0]
    assert (figures.met, figures.total_minutes, figures.open_flags) == (True, 31 * 20, 0)


def test_a_page_given_away_in_the_same_sheet_as_its_boxes_leaves_nothing_half_taken(tmp_path: Path) -> None:
    challenge_folder(tmp_path, unsure=DAY)
    plan = load_challenge(tmp_path)
    with Ledger.open(tmp_path) as opened:
        keeper = Bookkeeper(opened, plan)
        page_id = opened.pages()[0].id
        keeper.answer(page_question(page_id), "S1", by="sheet")
        rows = (f",chart,,,x/page-{page_id}.png,S2", f"S1,{DAY},,,x/p.png,25")
        path = answered_sheet(tmp_path / "r.csv", *rows)
        assert take_answers(path, keeper, opened) == Taken(2, 0, 0)
        assert [bool(each.boxes) for each in keeper.book.sheets] == [False, True]
