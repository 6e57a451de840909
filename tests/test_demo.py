"""The made-up school, its truth, its pile of files, and the demo command's manners."""

import csv
import io
import zipfile
from collections import Counter
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from PIL import Image

from ingest import cli
from ingest.commands import demo
from ingest.demo import pile, school
from ingest.demo.diary import Diary, Habits, areas_of, keep_diary, value_of
from ingest.demo.fill import Entry, Mishap
from ingest.demo.hands import Hand, load_hands
from ingest.demo.truth import answered, box_differences, differences, expected_gradebook
from ingest.paper import Box

HABITS = Habits(
    usual=20, weekdays=0.9, weekends=0.5, nothing="0", odd=0.2, units=0.2, hours=0.5, adds=1.0,
    adds_wrongly=0.0, mishaps=0.1,
)  # fmt: skip
NO_LETTERS = Hand("x/1", {digit: [(np.zeros((1, 2)),)] for digit in "0123456789"})


def _areas(month: tuple[int, int] = (2027, 10)) -> dict[str, Box]:
    """Boxes as on a chart whose weeks start on Sunday."""
    areas = {"month": Box(200, 180, 30, 13)}
    row = 1
    for number in range(1, 32):
        day = date(*month, number)
        if day.isoweekday() == 7 and number > 1:
            row += 1
        column = day.isoweekday() % 7
        areas[f"day:{day}"] = Box(10 + 27 * column, 20 * row, 26, 13)
        areas[f"week:{row}"] = Box(200, 20 * row, 24, 13)
        areas[f"initials:{row}"] = Box(230, 20 * row, 17, 13)
    return areas


def _diary(minutes: dict[str, int | None]) -> Diary:
    entries = {box: Entry("" if value is None else str(value)) for box, value in minutes.items()}
    return Diary(entries, minutes)


# -- the school


def test_the_school_is_about_two_dozen_in_three_sections_and_everything_happens() -> None:
    assert 22 <= len(school.PUPILS) <= 28
    assert len({pupil.id for pupil in school.PUPILS}) == len(school.PUPILS)
    assert len({pupil.section for pupil in school.PUPILS}) == 3
    assert {pupil.story for pupil in school.PUPILS} == set(school.Story)
    names = "".join(pupil.first_name + pupil.last_name for pupil in school.PUPILS)
    assert set("'- ") <= set(names)
    scripts = [(0x00C0, 0x024F), (0x0370, 0x03FF), (0x0400, 0x04FF), (0x0600, 0x06FF), (0x4E00, 0x9FFF)]
    for first, last in scripts:
        assert any(first <= ord(letter) <= last for letter in names)


def test_only_winds_and_percussion_play() -> None:
    strings = {"violin", "viola", "cello", "double bass", "guitar", "harp"}
    assert not strings & {pupil.instrument for pupil in school.PUPILS}


def test_files_come_in_many_formats_and_one_zip_lies_in_another() -> None:
    endings = {pupil.path.rpartition(".")[2].lower() for pupil in school.PUPILS if pupil.path}
    assert endings == {"jpg", "jpeg", "heic", "png", "pdf", "tif", "webp"}
    assert any(pupil.path.count(".zip/") == 2 for pupil in school.PUPILS)


def test_late_is_after_the_due_date_and_nobody_else_is() -> None:
    late = {pupil.id for pupil in school.PUPILS if school.handed_in_at(pupil).date() > school.DUE}
    assert late == {pupil.id for pupil in school.PUPILS if pupil.story is school.Story.LATE}


# -- diaries


@pytest.mark.parametrize(
    ("text", "minutes"),
    [("", None), ("0", 0), ("-", 0), ("15", 15), ("45 min", 45), ("1:15", 75), ("2:05", 125), ("2 hr", 120)],
)
def test_texts_mean_minutes(text: str, minutes: int | None) -> None:
    assert value_of(text) == minutes


@pytest.mark.parametrize("seed", range(8))
def test_a_careful_child_adds_up_by_calendar_week(seed: int) -> None:
    diary = keep_diary(_areas(), HABITS, load_hands()[seed], np.random.default_rng(seed))
    by_week: Counter[int] = Counter()
    for day, minutes in diary.minutes().items():
        # October 2027 starts on a Friday, and Sundays begin weeks.
        by_week[1 + (day.day + 4) // 7] += minutes
    assert {f"week:{week}": total for week, total in by_week.items()} == {
        box: value for box, value in diary.truth.items() if box.startswith("week:")
    }
    assert diary.truth["month"] == by_week.total()
    for box, value in diary.truth.items():
        assert value_of(diary.entries[box].text) == value


def test_a_careless_child_adds_wrongly_and_a_lazy_one_not_at_all() -> None:
    rng = np.random.default_rng(1)
    careless = keep_diary(_areas(), replace(HABITS, adds_wrongly=1.0), NO_LETTERS, rng)
    total = sum(careless.minutes().values())
    assert careless.truth["month"] != total
    lazy = keep_diary(_areas(), replace(HABITS, adds=0.0), NO_LETTERS, rng)
    assert {value for box, value in lazy.truth.items() if not box.startswith("day:")} == {None}


def test_who_has_no_letters_writes_digits_only() -> None:
    habits = replace(HABITS, units=1.0, nothing="", odd=0.0)
    diary = keep_diary(_areas(), habits, NO_LETTERS, np.random.default_rng(2))
    texts = "".join(entry.text for entry in diary.entries.values())
    assert set(texts) <= set("0123456789:")


def test_corrections_leave_the_truth_alone() -> None:
    habits = replace(HABITS, mishaps=1.0)
    diary = keep_diary(_areas(), habits, NO_LETTERS, np.random.default_rng(3))
    mishaps = Counter(entry.mishap for entry in diary.entries.values())
    assert set(mishaps) == set(Mishap) - {Mishap.STRUCK_OUT, Mishap.OVERWRITTEN, Mishap.TWO}  # those are mess
    for entry in diary.entries.values():
        assert bool(entry.earlier) == (entry.mishap in (Mishap.ERASED, Mishap.STRUCK, Mishap.SCRIBBLED))


# -- the truth and the comparison

REQUIRED = [date(2027, 10, 1), date(2027, 10, 4)]


def _four() -> dict[str, Diary | None]:
    friday, saturday, monday = "day:2027-10-01", "day:2027-10-02", "day:2027-10-04"
    return {
        "a": _diary({friday: 15, saturday: 30, monday: 15, "week:1": 999}),  # 60, both days met
        "b": _diary({friday: 20, saturday: 0, monday: 14}),  # 34, one day met
        "c": _diary({friday: 20, saturday: None, monday: 14}),  # 34, the same
        "d": _diary({friday: None, saturday: 10, monday: None}),  # 10
        "e": None,
    }


def test_the_gradebook_expected_by_hand() -> None:
    rows = expected_gradebook(_four(), REQUIRED, 15, 10)
    assert [rows[s]["total_minutes"] for s in "abcde"] == ["60", "34", "34", "10", ""]
    assert [rows[s]["weekend_minutes"] for s in "abcde"] == ["30", "0", "0", "10", ""]
    assert [rows[s]["days_met"] for s in "abcde"] == ["2", "1", "1", "0", ""]
    assert [rows[s]["met"] for s in "abcde"] == ["yes", "no", "no", "no", ""]
    assert [rows[s]["standing"] for s in "abcde"] == ["1", "2", "2", "4", ""]
    assert [rows[s]["points"] for s in "abcde"] == ["10", "0", "0", "0", ""]
    assert [rows[s]["handed_in"] for s in "abcde"] == ["yes"] * 4 + ["no"]


def test_a_right_gradebook_passes_and_every_slip_is_named() -> None:
    expected = expected_gradebook(_four(), REQUIRED, 15, 10)
    columns = ["student_id", *next(iter(expected.values()))]
    rows = [{"student_id": student, **row} for student, row in expected.items()]

    def written(rows: list[dict[str, str]]) -> str:
        buffer = io.StringIO()
        writer = csv.DictWriter(buffer, columns)
        writer.writeheader()
        writer.writerows(rows)
        return buffer.getvalue()

    assert differences(written(rows), expected) == []
    assert differences(written(rows[1:]), expected) == ["a: not in the gradebook"]
    assert differences(written([*rows, {**rows[0], "student_id": "z"}]), expected) == [
        "z: in the gradebook, but nobody's"
    ]
    slip = [{**rows[0], "total_minutes": "61"}, *rows[1:]]
    assert differences(written(slip), expected) == ["a: total_minutes is 61, should be 60"]


def test_only_boxes_taken_without_being_right_are_named() -> None:
    truths = {"a": _diary({"day:2027-10-01": 15, "day:2027-10-02": None, "day:2027-10-03": 20})}
    head = "student_id,box,value,state,confidence,flags,return,page\r\n"
    right = "a,day:2027-10-01,15,read,0.99,,x.jpg,1\r\na,day:2027-10-02,,blank,0.99,,x.jpg,1\r\n"
    flagged = "a,day:2027-10-03,,flagged,0.5,illegible,x.jpg,1\r\n"
    assert box_differences(head + right + flagged, truths) == []
    wrong = "a,day:2027-10-03,28,read,0.99,,x.jpg,1\r\n"
    assert box_differences(head + wrong, truths) == ["a day:2027-10-03: 28 was taken, 20 was written (x.jpg)"]


def test_a_sheet_is_answered_from_the_truth_and_puzzles_are_named() -> None:
    truths = {"a": _diary({"day:2027-10-01": 15, "day:2027-10-02": None})}
    sheet = (
        "student_id,box,suggestion,why,picture,answer\r\n"
        "a,day:2027-10-01,,w,p/page-1-x.png,\r\n"
        "a,day:2027-10-02,,w,p/page-1-y.png,\r\n"
        ",chart,,whose?,p/page-2.png,\r\n"
        ",chart,,a stranger,p/page-3.png,\r\n"
    )
    text, puzzles = answered(sheet, truths, {"p/page-2.png": "a"})
    assert [row["answer"] for row in csv.DictReader(io.StringIO(text))] == ["15", "blank", "a", ""]
    assert puzzles == ["? chart: a stranger"]


# -- the pile


def _jpeg(level: int) -> bytes:
    buffer = io.BytesIO()
    Image.new("RGB", (40, 30), (level, level, level)).save(buffer, "JPEG")
    return buffer.getvalue()


@pytest.mark.parametrize(
    ("path", "start"),
    [
        ("a.JPG", b"\xff\xd8"),
        ("a.png", b"\x89PNG"),
        ("a.tif", b"II*\0"),
        ("a.pdf", b"%PDF"),
        ("a.webp", b"RIFF"),
    ],
)
def test_files_are_what_their_ending_says(path: str, start: bytes) -> None:
    assert pile.as_file([_jpeg(200)], path).startswith(start)


def test_heic_is_heic() -> None:
    assert pile.as_file([_jpeg(200)], "a.HEIC")[4:12] == b"ftypheic"


def test_tiff_and_pdf_hold_several_pages() -> None:
    with Image.open(io.BytesIO(pile.as_file([_jpeg(200), _jpeg(90)], "a.tif"))) as tiff:
        assert getattr(tiff, "n_frames", 1) == 2
    assert len(pypdfium2.PdfDocument(pile.as_file([_jpeg(200), _jpeg(90)], "a.pdf"))) == 2


def test_files_are_packed_where_their_paths_say(tmp_path: Path) -> None:
    when = datetime(2027, 10, 31, 18, 30, 2)
    files = {
        "x.zip/a/1.jpg": (when, b"one"),
        "x.zip/inner.zip/2.jpg": (when, b"two"),
        "from email/3.jpg": (when, b"three"),
    }
    assert pile._pack(tmp_path, files) == [tmp_path / "from email", tmp_path / "x.zip"]
    assert (tmp_path / "from email" / "3.jpg").stat().st_mtime == when.timestamp()
    with zipfile.ZipFile(tmp_path / "x.zip") as outer:
        assert outer.read("a/1.jpg") == b"one"
        assert outer.getinfo("a/1.jpg").date_time == when.timetuple()[:6]
        with zipfile.ZipFile(io.BytesIO(outer.read("inner.zip"))) as inner:
            assert inner.read("2.jpg") == b"two"


def test_the_pile_knows_whose_pages_are(tmp_path: Path) -> None:
    heap = pile.Pile([tmp_path], {}, {"x.zip/a/1.jpg": ["S1"], "m/scan.tif": ["S2", "S3"]})
    assert heap.owner("x.zip/a/1.jpg", 1) == "S1"
    assert heap.owner("scan.tif", 2) == "S3"
    assert heap.owner("y.jpg", 1) == ""


def test_layout_pages_become_areas() -> None:
    page = {"boxes": [{"box": "month", "kind": "total", "x": 1.0, "y": 2.0, "w": 3.0, "h": 4.0}]}
    assert areas_of(page) == {"month": Box(1, 2, 3, 4)}


# -- the command


def test_a_folder_of_somebody_else_is_left_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "thesis.txt").write_text("mine")
    assert cli.main(["demo", str(tmp_path)]) == 1
    assert "is not empty and is no earlier demo" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["thesis.txt"]


def test_a_file_is_no_place_for_a_demo(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "f").write_text("mine")
    assert cli.main(["demo", str(tmp_path / "f")]) == 1
    assert "is a file" in capsys.readouterr().err


def test_an_earlier_demo_is_made_anew_but_what_else_lies_there_stays(tmp_path: Path) -> None:
    demo._clear(tmp_path / "d")
    for part in demo.PARTS:
        (tmp_path / "d" / part / "old").mkdir(parents=True)
    (tmp_path / "d" / "my notes").mkdir()
    demo._clear(tmp_path / "d")
    assert {path.name for path in (tmp_path / "d").iterdir()} == {demo.MARK, "my notes"}
