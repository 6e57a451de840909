"""Children's data removed for good: no byte of the folder has it afterwards, and what stays still works."""

import csv
import hashlib
import shutil
import sqlite3
from collections.abc import Callable
from datetime import date, datetime
from io import StringIO
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from ingest.check.bookkeeper import Bookkeeper
from ingest.cli import main
from ingest.errors import DayboxError
from ingest.ledger import forgotten
from ingest.ledger.records import NewPage, ReturnState, SpotBox
from ingest.ledger.spots import answer_spot, begin_spot_check, spot_checks
from ingest.ledger.store import FILE_NAME as LEDGER
from ingest.ledger.store import Ledger
from ingest.plan.challenge import load_challenge
from ingest.plan.roster import load_roster
from ingest.reading.numerals import FLAT_PX_PER_MM
from ingest.reading.values import BoxReading, Candidate, PageReading
from ingest.report import forget
from ingest.report.class_figures import FILE_NAME as FIGURES
from ingest.report.class_figures import load_figures
from ingest.report.forget import Scope, carry_out, look, section_names
from ingest.report.traces import _HEADERS, survey
from ingest.review import sheet as review_sheet
from ingest.tally.student import tallies

pytestmark = pytest.mark.usefixtures("usual_threshold")

# S6 is alone in a section, and S1's sister.
ROSTER = """\
student_id,first_name,last_name,section,email,locker
ST-001,Ana,Marsh,Flutes,ana.marsh@example.org,locker 81
ST-002,Benvolio,Okoro,Flutes,okoro@example.org,locker 82
ST-003,Zoë,Łukaszewicz,Flutes,zoe@example.org,locker 83
ST-004,美玲,王,Flutes,meiling@example.org,locker 84
ST-005,Darius,Quill,Flutes,quill@example.org,locker 85
ST-006,Elspeth,Marsh,Oboes,elspeth@example.org,locker 86
ST-007,Never,Handedin,Oboes,never@example.org,locker 87
"""
NAMES = (
    "Ana",
    "Marsh",
    "Benvolio",
    "Okoro",
    "Zoë",
    "Łukaszewicz",
    "美玲",
    "王",
    "Darius",
    "Quill",
    "Elspeth",
)
WORDS = ("example.org", "locker", "Handedin", "ST-00", "Mrs. Okoro", *NAMES)
INK = b"a child's handwriting"  # in every picture, as a comment in the JPEG
TYPED = "Darius Quill"  # on a spare chart


@pytest.fixture(scope="module")
def october(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A month as it lies on disk, with everything that commands write."""
    folder = tmp_path_factory.mktemp("school") / "october"
    folder.mkdir()
    (folder / "challenge.toml").write_text('month = "2027-10"\n[reading]\nsilent_errors = "1 in 100"\n')
    (folder / "roster.csv").write_text(ROSTER, encoding="utf-8")
    run(folder, "charts", "--each", "--spare", "1")
    _hand_in(folder)
    for words in (
        ["grades"], ["grades", "--out", str(folder / "to paste.csv")], ["readings"], ["slips", "--each"],
        ["returns", "--out", str(folder / "returned.csv")], ["missing", "--out", str(folder / "who.csv")],
        ["review", "--sheet", str(folder / "review.csv")], ["trail"], ["awards"],
        ["progress", "--each", "--poster", "names"], ["charts", "--fillable", "--out", str(folder / "f.pdf")],
        *(["grades", "--oneroster", str(folder / name)] for name in ("marks", "marks.zip")),
    ):  # fmt: skip
        assert run(folder, *words) == 0, words
    (folder / ".gradebook.csv.ab_cd12f").write_text("Ana Marsh, half written", encoding="utf-8")
    return folder


def _hand_in(folder: Path) -> None:
    """Charts of all but ST-007: 20 minutes a day, ST-005's on a spare chart, a box of ST-001's not sure."""
    with Ledger.open(folder) as ledger:
        codes = {chart.student_id: chart.code for chart in ledger.charts()}
        ((key, layout),) = ledger.layouts().items()
        for number, student in enumerate(load_roster(folder / "roster.csv")[:6], 1):
            minutes = {box.name: 10 + 5 * number for box in layout.boxes if box.name.startswith("day:")}
            boxes = [_box(box.name, minutes.get(box.name)) for box in (*layout.boxes, *layout.outside)]
            if number == 1:
                either = (Candidate(20, "20", 0.6), Candidate(30, "30", 0.4))
                boxes = [BoxReading(each.box, either, 0.1) if "-05" in each.box else each for each in boxes]
            spare = number == 5
            code = codes[None if spare else student.id]
            page = PageReading(code, "2027-10", "qr", TYPED if spare else "", boxes, _jpeg(), 0.1, 8, key)
            # Five files have the time of their download, which says nothing; ST-002's is late by its own.
            late = number == 2
            path = (
                f"{'late' if late else 'october'}.zip/{student.last_name} {student.first_name}/{number}.jpg"
            )
            when = datetime(2027, 11, 2, 21, 30) if late else datetime(2027, 11, 4, 20, 0, number)
            _keep(ledger, path, number, page, when=when)
        ledger.answer("ST-002", "day:2027-10-06", "35", page_id=2, before="20", reason="Mrs. Okoro called",
                      shown=b"\x89PNG " + INK)  # fmt: skip
        ledger.answer("ST-003", "day:2027-10-06", "25", page_id=3, why="Okoro's?", reason="Not Mrs. Okoro's")
        check = begin_spot_check(ledger, 7, 2, [SpotBox(1, "ST-001", "day:2027-10-07", 1, "15")])
        answer_spot(ledger, check.id, 1, "15", shown=b"\x89PNG " + INK)
        quill = ledger.returns()[4].sha256
        ledger.add_copy("again/Quill Darius.jpg", quill, "ST-005", 100.0)


def _keep(ledger: Ledger, path: str, number: int, *pages: PageReading, when: datetime | None = None) -> None:
    """A return of student ST-00number."""
    sha256 = hashlib.sha256(path.encode()).hexdigest()
    ledger.original_path("x").parent.mkdir(exist_ok=True)
    ledger.original_path(sha256).write_bytes(b"original " + INK)
    return_id = ledger.add_return(path, sha256, when)
    assert return_id is not None
    new = [NewPage(at, "", page, f"ST-00{number}", 100.0) for at, page in enumerate(pages, 1)]
    ledger.finish_return(return_id, new, ReturnState.DONE)


def _box(name: str, minutes: int | None) -> BoxReading:
    return BoxReading(name, (Candidate(minutes, str(minutes or ""), 0.999999),), 0.1 if minutes else 0.0)


def _jpeg() -> bytes:
    page = np.full((round(215.9 * FLAT_PX_PER_MM), round(279.4 * FLAT_PX_PER_MM)), 255, np.uint8)
    coded = cv2.imencode(".jpg", page)[1].tobytes()
    comment = b"\xff\xfe" + (len(INK) + 2).to_bytes(2, "big") + INK  # ITU-T T.81, B.2.4.5
    return coded[:2] + comment + coded[2:]


@pytest.fixture
def folder(october: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(october, tmp_path / "october"))


def run(folder: Path, command: str, *words: str) -> int:
    return main([command, "--folder", str(folder), *words])


def found(folder: Path, *words: str | bytes) -> set[tuple[str, str]]:
    """Which file has which word, anywhere in its bytes or its name, as UTF-8, as JSON, or as UTF-16."""
    hits = set()
    for path in folder.rglob("*"):
        content = str(path.relative_to(folder)).encode() + (b"" if path.is_dir() else path.read_bytes())
        for word in words:
            forms = (word,) if isinstance(word, bytes) else (
                word.encode(), word.encode("utf-16-le"), word.encode("unicode_escape"))  # fmt: skip
            hits |= {(path.name, str(word)) for form in forms if form in content}
    return hits


def contents(folder: Path) -> dict[Path, object]:
    """What every file holds; of the ledger the rows, since its free pages may change."""
    found: dict[Path, object] = {
        path: path.read_bytes() for path in folder.rglob("*") if path.is_file() and path.name != LEDGER
    }
    with sqlite3.connect(folder / LEDGER) as db:
        found[folder / LEDGER] = list(db.iterdump())
    db.close()
    return found


def names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def figures(folder: Path) -> list[tuple[bool, bool, int, int, int, bool, int]]:
    with Ledger.open(folder) as ledger:
        challenge = load_challenge(folder)
        ledger.sync_roster(load_roster(folder / "roster.csv"))
        every = tallies(Bookkeeper(ledger, challenge).book, challenge)
    return sorted(
        (
            one.handed_in,
            one.late,
            one.total_minutes,
            one.weekend_minutes,
            one.days_met,
            one.met is True,
            one.open_flags,
        )
        for one in every
    )


def codes(folder: Path) -> list[str]:
    with Ledger.open(folder) as ledger:
        return [chart.code for chart in ledger.charts()]


def test_the_folder_of_these_tests_holds_what_is_to_be_forgotten(folder: Path) -> None:
    assert {word for _, word in found(folder, *WORDS, INK)} == {*WORDS, str(INK)}
    assert {"originals", "pages", "charts", "trail", "slips", "progress", "review-pictures"} <= names(folder)


# -- everything ---------------------------------------------------------------------------------------


def test_everything_leaves_the_plan_and_nothing_else(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "my-minutes.toml").write_text("# mine", encoding="utf-8")
    assert run(folder, "forget", "--everything", "--yes") == 0
    assert names(folder) == {"challenge.toml", "my-minutes.toml"}
    said = capsys.readouterr().out
    assert "7 students, 6 returns" in said
    assert "originals/: 6 files" in said
    assert "backups" in said


def test_everything_may_leave_figures_of_the_class_that_months_are_compared_by(folder: Path) -> None:
    assert run(folder, "forget", "--everything", "--keep-figures", "--yes") == 0
    assert names(folder) == {"challenge.toml", FIGURES}
    kept = load_figures(folder / FIGURES)
    assert (kept.whole.students, kept.whole.handed_in) == (7, 6)
    assert kept.sections == (), "five flutes and one of six tell what the oboe did"
    assert found(folder, *WORDS) == set()


def test_figures_of_too_few_are_refused_before_anything_is_removed(folder: Path) -> None:
    kept = "".join(ROSTER.splitlines(keepends=True)[:4])
    (folder / "roster.csv").write_text(kept, encoding="utf-8")
    with pytest.raises(DayboxError, match="single children"):
        look(folder, Scope.EVERYTHING, keep_figures=True)
    assert (folder / LEDGER).exists()


def test_a_dry_run_says_the_same_and_removes_nothing(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = contents(folder)
    for option in ("--photos", "--names", "--everything", "--student=ST-001"):
        assert run(folder, "forget", option, "--dry-run") == 0
        assert "Nothing was removed" in capsys.readouterr().out
    assert contents(folder) == before


def test_without_a_yes_nothing_is_removed(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert run(folder, "forget", "--everything") == 1
    assert "--yes" in capsys.readouterr().err
    answer = StringIO("n\n")
    monkeypatch.setattr(answer, "isatty", lambda: True, raising=False)
    monkeypatch.setattr("sys.stdin", answer)
    assert run(folder, "forget", "--everything") == 130
    assert (folder / LEDGER).exists()


def test_somebody_elses_files_are_named_and_left_alone(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "Downloads").mkdir()
    (folder / "Downloads" / "gradebook.csv").write_text("my,own,table\n1,2,3\n", encoding="utf-8")
    (folder / "seating.pdf").write_bytes(b"%PDF-1.4 of another program")
    (folder / "slips" / "notes.txt").write_text("Call the Marshes", encoding="utf-8")
    assert run(folder, "forget", "--everything", "--yes") == 0
    assert names(folder) == {"challenge.toml", "Downloads", "seating.pdf", "slips"}
    assert [path.name for path in (folder / "slips").rglob("*")] == ["notes.txt"]
    said = capsys.readouterr().out
    assert all(f"  {name}" in said for name in ("Downloads/", "seating.pdf", "slips/"))


def test_another_challenge_within_the_folder_is_left_alone(folder: Path) -> None:
    inner = Path(shutil.copytree(folder, folder.parent / "november"))
    inner = inner.rename(folder / "november")
    before = contents(inner)
    assert run(folder, "forget", "--everything", "--yes") == 0
    assert contents(inner) == before


def test_a_table_that_a_spreadsheet_program_saved_again_is_found(folder: Path) -> None:
    with (folder / "gradebook.csv").open(encoding="utf-8", newline="") as file:
        rows = [["October", *[""] * 3], *([*row[1:], row[0]] for row in csv.reader(file))]
    with (folder / "for the office.csv").open("w", encoding="utf-16", newline="") as file:
        csv.writer(file, delimiter="\t").writerows(rows)
    assert folder / "for the office.csv" in [trace.path for trace in survey(folder).traces]


def test_the_manifest_goes_last_since_by_it_a_package_is_known(folder: Path) -> None:
    traces = [trace.path for trace in survey(folder).traces]
    assert traces[-1] == folder / "marks" / "manifest.csv"
    assert {folder / "marks" / "results.csv", folder / "marks.zip"} < {*traces}


def test_the_header_of_a_review_sheet_is_known() -> None:
    assert frozenset(review_sheet.COLUMNS) in _HEADERS


def test_a_folder_that_is_no_challenge_is_refused(tmp_path: Path) -> None:
    (tmp_path / "gradebook.csv").write_text("a", encoding="utf-8")
    assert run(tmp_path, "forget", "--everything", "--yes") == 1
    assert names(tmp_path) == {"gradebook.csv"}


@pytest.mark.parametrize("words", [(), ("--photos", "--names"), ("--photos", "--keep-figures")])
def test_one_thing_must_be_chosen(folder: Path, words: tuple[str, ...]) -> None:
    assert run(folder, "forget", *words, "--yes") == 2


# -- photos -------------------------------------------------------------------------------------------


def test_photos_go_and_numbers_stay(folder: Path) -> None:
    run(folder, "grades")
    before, gradebook = figures(folder), (folder / "gradebook.csv").read_bytes()
    assert run(folder, "forget", "--photos", "--yes") == 0
    assert found(folder, INK) == set()
    assert not {"originals", "pages", "slips.pdf", "slips", "review-pictures"} & names(folder)
    assert not list(folder.rglob("*.html")), "the trail's pages have pictures in them"
    assert {"gradebook.csv", "charts.pdf", "awards.pdf", "progress"} <= names(folder)
    assert figures(folder) == before
    assert run(folder, "grades") == 0
    assert (folder / "gradebook.csv").read_bytes() == gradebook


def test_after_photos_every_command_works_and_says_that_pictures_are_gone(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(folder, "forget", "--photos", "--yes")
    for words in (["slips"], ["trail"], ["awards"], ["progress"], ["status"], ["returns"], ["readings"],
                  ["grades"], ["review", "--sheet", str(folder / "review.csv")]):  # fmt: skip
        assert run(folder, *words) == 0, words
    said = capsys.readouterr().out
    assert said.count("with `daybox forget`") >= 2  # status, grades
    page = next((folder / "trail").glob("*/Marsh Ana*.html")).read_text(encoding="utf-8")
    assert "pictures were removed on" in page


def test_what_was_not_read_yet_can_be_handed_in_again(folder: Path) -> None:
    with Ledger.open(folder) as ledger:
        ledger.original_path("f" * 64).write_bytes(INK)
        ledger.add_return("late.jpg", "f" * 64, None)
    assert look(folder, Scope.PHOTOS).waiting == 1
    run(folder, "forget", "--photos", "--yes")
    with Ledger.open(folder) as ledger:
        assert ledger.waiting() == ()
        (late,) = [each for each in ledger.returns() if each.path == "late.jpg"]
        assert late.state is ReturnState.REFUSED
        assert "before it was read" in late.note


# -- names --------------------------------------------------------------------------------------------


def test_names_go_and_the_numbers_stay_of_nobody(folder: Path) -> None:
    before, printed = figures(folder), codes(folder)
    assert run(folder, "forget", "--names", "--yes") == 0
    assert found(folder, *WORDS, *printed, INK, TYPED) == set()
    assert names(folder) == {"challenge.toml", "roster.csv", LEDGER}
    assert figures(folder) == before
    assert {student.name for student in load_roster(folder / "roster.csv")} == {
        f"Student N00{number}" for number in range(1, 8)
    }


def test_after_names_no_order_tells_who_is_who(october: Path, tmp_path: Path) -> None:
    """Roster and zip are in the order of the alphabet, so nothing may be left in it.

    ST-002 is the one whose answer is 35. That it comes to stand in one place of a table twelve times by
    chance happens once in 6 ** 11 for each table.
    """
    places: dict[str, set[int]] = {}
    for time in range(12):
        folder = tmp_path / str(time)
        folder.mkdir()
        for name in ("challenge.toml", "roster.csv", LEDGER):
            shutil.copy(october / name, folder / name)
        carry_out(look(folder, Scope.NAMES))
        with sqlite3.connect(folder / LEDGER) as db:
            (who,) = db.execute("SELECT student_id FROM answer WHERE answer = '35'").fetchone()
            code = "SELECT code FROM chart WHERE student_id = ?"
            for what, sql in (
                ("place in the roster", "SELECT id = ? FROM student ORDER BY place"),
                ("row of the student", "SELECT id = ? FROM student ORDER BY rowid"),
                ("row of the chart", "SELECT student_id = ? FROM chart ORDER BY rowid"),
                ("page", f"SELECT code = ({code}) FROM page ORDER BY id"),
                ("return", f"SELECT code = ({code}) FROM page ORDER BY return_id"),
                ("answer", "SELECT student_id = ? FROM answer ORDER BY id"),
            ):
                column = [found for (found,) in db.execute(sql, (who,))]
                places.setdefault(what, set()).add(column.index(1))
        db.close()
    assert {what for what, found in places.items() if len(found) == 1} == set()


def test_after_names_no_time_of_day_is_left_but_what_came_later_still_does(folder: Path) -> None:
    asked = sum(each[-1] for each in figures(folder))
    with Ledger.open(folder) as ledger:
        page = ledger.pages()[2]
        boxes = [_box("day:2027-10-06", 99) if "10-06" in each.box else each for each in page.readings]
        newer = PageReading(page.code, "2027-10", "qr", "", boxes, _jpeg(), 0.1, 8, page.layout)
        _keep(ledger, "z.zip/Łukasz/IMG.jpg", 3, newer, when=datetime(2027, 11, 3, 7, 45, 12))
    before = figures(folder)
    assert sum(each[-1] for each in before) == asked + 1, (
        "the newer chart contradicts an answer from before it came"
    )
    run(folder, "forget", "--names", "--yes")
    assert figures(folder) == before
    with Ledger.open(folder) as ledger:
        heaps = {each.path.partition("/")[0] for each in ledger.returns()}
        assert len(heaps) == len(ledger.returns()), (
            "or the same noon would be taken for a time of downloading"
        )
        times = {each.dated for each in ledger.returns() if each.dated}
        assert {(time.hour, time.minute, time.second) for time in times} == {(12, 0, 0)}
        assert {time.date() for time in times} == {date(2027, 11, 2), date(2027, 11, 3)}


def test_after_names_pictures_of_the_class_can_still_be_drawn_but_nothing_be_taken_in(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(folder, "forget", "--names", "--yes")
    for command in ("progress", "status", "grades", "awards", "returns", "trail"):
        assert run(folder, command) == 0
    assert run(folder, "charts") == 1
    assert run(folder, "collect", str(folder)) == 1
    assert "names and the pictures were removed" in capsys.readouterr().err


def test_names_forgotten_twice_are_as_forgotten(folder: Path) -> None:
    before = figures(folder)
    assert run(folder, "forget", "--names", "--yes") == 0
    assert run(folder, "forget", "--names", "--keep-figures", "--yes") == 0
    assert figures(folder) == before
    assert load_figures(folder / FIGURES).whole.handed_in == 6


def test_small_sections_go_together_and_are_never_few() -> None:
    """Fewer than five: common practice, no source."""
    assert section_names(["a"] * 5 + ["b"] * 9) == {"a": "a", "b": "b"}
    assert section_names(["a"] * 2 + ["b"] * 3 + ["c"] * 6) == {"a": "Other", "b": "Other", "c": "c"}
    assert section_names(["a"] + ["b"] * 6 + ["c"] * 9) == {"a": "Other", "b": "Other", "c": "c"}


# -- one student --------------------------------------------------------------------------------------


def test_one_student_goes_and_the_others_stay_as_they_were(folder: Path) -> None:
    before = figures(folder)
    roster = (folder / "roster.csv").read_text(encoding="utf-8")
    assert run(folder, "forget", "--student", "ST-002", "--yes") == 0
    assert found(folder, "ST-002", "Benvolio", "Okoro", "locker 82") == set()
    lines = roster.splitlines(keepends=True)
    assert (folder / "roster.csv").read_text(encoding="utf-8") == "".join([*lines[:2], *lines[3:]])
    mine = (True, True, 20 * 31 + 15, 20 * 10, 21, True, 0)
    assert figures(folder) == [each for each in before if each != mine]
    assert len(before) - len(figures(folder)) == 1
    assert len(list((folder / "originals").iterdir())) == len(list((folder / "pages").iterdir())) == 5
    assert not {"gradebook.csv", "charts.pdf", "trail", "awards.pdf"} & names(folder)


def test_a_sister_keeps_what_is_hers(folder: Path) -> None:
    assert run(folder, "forget", "--student", "ST-001", "--yes") == 0
    assert found(folder, "ST-001", "Ana", "locker 81") == set()
    with Ledger.open(folder) as ledger:
        assert "Elspeth Marsh" in [student.name for student in ledger.students()]
        assert [check.boxes for check in spot_checks(ledger)] == [()]
    assert sum(each[0] for each in figures(folder)) == 5
    assert run(folder, "grades") == 0


def test_a_photo_of_two_charts_goes_and_the_other_ones_numbers_stay(folder: Path) -> None:
    with Ledger.open(folder) as ledger:
        pages = {page.id: page for page in ledger.pages()}
        both = [
            PageReading(pages[number].code, "2027-10", "qr", "", pages[number].readings, _jpeg(), 0.1, 8,
                        pages[number].layout)
            for number in (1, 6)
        ]  # fmt: skip
        _keep(ledger, "october.zip/Marsh Ana and Elspeth/both.jpg", 9, *both)
        shared = ledger.returns()[-1].sha256
    before = {each for each in figures(folder) if each[0]}
    assert run(folder, "forget", "--student", "ST-001", "--yes") == 0
    assert found(folder, "ST-001", "Ana ") == set()
    with Ledger.open(folder) as ledger:
        (kept,) = [each for each in ledger.returns() if each.sha256 == shared]
        assert not ledger.original(kept).exists()
        assert [page.number for page in ledger.pages() if page.return_id == kept.id] == [2]
    assert {each for each in figures(folder) if each[0]} < before


def test_a_student_who_left_the_roster_can_be_forgotten(folder: Path) -> None:
    roster = (folder / "roster.csv").read_text(encoding="utf-8")
    (folder / "roster.csv").write_text(roster.replace("ST-003,Zoë,Łukaszewicz", "ST-033,New,Child"), "utf-8")
    assert run(folder, "forget", "--student", "ST-003", "--yes") == 0
    assert found(folder, "ST-003", "Zoë", "Łukaszewicz") == set()


def test_an_unknown_student_is_refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(folder, "forget", "--student", "ST-999", "--yes") == 1
    assert 'student id "ST-999"' in capsys.readouterr().err


# -- stopped ------------------------------------------------------------------------------------------


class Killed(BaseException):
    """The program is stopped, as if by pulling the plug."""


class Plug:
    """Counts the steps that change anything, and stops the program before the one numbered `at`."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.at = 0
        self.steps: list[str] = []
        for holder, name in (
            (Path, "unlink"),
            (forget, "write_whole"),
            (Ledger, "compact"),
            (forgotten, "_begin"),
            (forgotten, "finish"),
        ):
            monkeypatch.setattr(holder, name, self._before(getattr(holder, name), name))

    def _before(self, real: Callable[..., Any], name: str) -> Callable[..., Any]:
        def step(*arguments: Any, **named: Any) -> Any:
            self.steps.append(name)
            if len(self.steps) == self.at:
                raise Killed
            return real(*arguments, **named)

        return step

    def turning_points(self) -> list[int]:
        """Of a row of equal steps only the first two."""
        return [
            at
            for at in range(1, len(self.steps) + 1)
            if len(set(self.steps[max(0, at - 3) : at])) > 1 or at <= 2
        ]


@pytest.mark.parametrize(
    "options",
    [
        ["--photos"],
        ["--names", "--keep-figures"],
        ["--everything", "--keep-figures"],
        ["--student", "ST-002"],
    ],
    ids=lambda options: options[0],
)
def test_stopped_anywhere_the_same_command_finishes(
    october: Path, tmp_path: Path, options: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    plug = Plug(monkeypatch)
    whole = Path(shutil.copytree(october, tmp_path / "whole"))
    assert run(whole, "forget", *options, "--yes") == 0
    expected = {str(path.relative_to(whole)) for path in whole.rglob("*")}
    gone: dict[str, list[str | bytes]] = {
        "--photos": [INK],
        "--student": ["ST-002", "Benvolio", "Okoro", "locker 82"],
    }
    points = plug.turning_points()
    assert len(points) >= 5
    for at in points:
        folder = Path(shutil.copytree(october, tmp_path / str(at)))
        plug.at, plug.steps = at, []
        with pytest.raises(Killed):
            run(folder, "forget", *options, "--yes")
        plug.at, plug.steps = 0, []
        assert run(folder, "forget", *options, "--yes") == 0, at
        assert {str(path.relative_to(folder)) for path in folder.rglob("*")} == expected, at
        assert found(folder, *gone.get(options[0], [*WORDS, INK])) == set(), at
        if (folder / LEDGER).exists():
            with Ledger.open(folder) as ledger:
                assert not forgotten.is_unfinished(ledger), at
        if (folder / FIGURES).exists():
            assert load_figures(folder / FIGURES) == load_figures(whole / FIGURES)
        shutil.rmtree(folder)


def test_what_was_deleted_long_ago_is_gone_as_well(folder: Path) -> None:
    db = sqlite3.connect(folder / LEDGER)
    db.execute("PRAGMA secure_delete = OFF")
    for _ in range(50):
        db.execute(
            "INSERT INTO answer (at, student_id, box, page_id, answer, before, why, by, shown) "
            "VALUES ('', '', '', 1, '', '', 'The file''s name says Percival', 'prompt', x'')"
        )
    db.commit()
    db.execute("DELETE FROM answer WHERE why LIKE '%Percival%'")
    db.commit()
    db.close()
    assert found(folder, "Percival")
    run(folder, "forget", "--names", "--yes")
    assert not found(folder, "Percival")


def test_a_write_ahead_log_that_somebody_asked_for_is_emptied(folder: Path) -> None:
    db = sqlite3.connect(folder / LEDGER)
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("UPDATE student SET section = section")
    db.commit()
    run(folder, "forget", "--names", "--yes")
    assert found(folder, *WORDS, INK) == set()
    db.close()
