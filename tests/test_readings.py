import csv
import io
from pathlib import Path

import pytest
from books import (
    a_page,
    a_return,
    answered,
    book,
    challenge_folder,
    flagged,
    page_question,
    read,
    sheet,
    student,
)

from ingest import cli
from ingest.check.book import Flag, Settled, State, chart_order
from ingest.report.readings import readings

HEADER = "student_id,box,value,state,confidence,flags,return,page"  # the contract, to the letter


RETURNS = [a_return(1, "october.zip/Ana/IMG_1.jpg"), a_return(2, "=scan.pdf")]
PAGES = [a_page(11, 1), a_page(12, 2, number=3)]


def rows(content: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(content.decode("utf-8"), newline=""), strict=True))


def test_each_state_as_the_contract_has_it() -> None:
    boxes = [
        read("day:2027-10-01", 20, page_id=11),
        read("day:2027-10-02", None, page_id=11),
        Settled(
            "day:2027-10-03",
            State.FLAGGED,
            25,
            0.61237,
            (Flag("illegible", "Hard to read."), Flag("sum", "Does not add up.")),
            12,
        ),
        answered("day:2027-10-04", 0, page_id=12),
        answered("day:2027-10-05", None, page_id=None),
        Settled("initials:1", State.READ, None, 0.98, (), 11),
        Settled("initials:2", State.BLANK, None, 0.999999, (), 11),
        Settled("week:1", State.READ, 95, 1.0, (), 11),
    ]
    table = rows(readings(book(sheet(student("S1"), boxes)), RETURNS, PAGES))
    assert ",".join(table[0]) == HEADER
    assert table[1:] == [
        ["S1", "day:2027-10-01", "20", "read", "0.9999", "", "october.zip/Ana/IMG_1.jpg", "1"],
        ["S1", "day:2027-10-02", "", "blank", "0.9999", "", "october.zip/Ana/IMG_1.jpg", "1"],
        # a guess is no reading: the value is empty
        ["S1", "day:2027-10-03", "", "flagged", "0.6124", "illegible;sum", "'=scan.pdf", "3"],
        ["S1", "day:2027-10-04", "0", "answered", "1.0000", "", "'=scan.pdf", "3"],
        ["S1", "day:2027-10-05", "", "answered", "1.0000", "", "", ""],
        # nor is anything else certain but what was typed
        ["S1", "week:1", "95", "read", "1.0000", "", "october.zip/Ana/IMG_1.jpg", "1"],
        ["S1", "initials:1", "", "read", "0.9800", "", "october.zip/Ana/IMG_1.jpg", "1"],
        # only a person's answer is certain
        ["S1", "initials:2", "", "blank", "0.9999", "", "october.zip/Ana/IMG_1.jpg", "1"],
    ]


def test_boxes_come_in_chart_order() -> None:
    names = [
        "initials:1",
        "month",
        "week:10",
        "week:2",
        "outside:2027-09-30",
        "day:2027-10-10",
        "day:2027-10-09",
    ]
    assert sorted(names, key=chart_order) == [
        "day:2027-10-09",
        "day:2027-10-10",
        "week:2",
        "week:10",
        "month",
        "initials:1",
        "outside:2027-09-30",
    ]


def test_only_students_with_a_chart_have_rows_and_pages_of_nobody_have_none() -> None:
    found = readings(
        book(
            sheet(student("S1"), [read("month", 20, page_id=11)]),
            sheet(student("S2"), [], pages=()),
            questions=[page_question(12, suggestion="S2")],
        ),
        RETURNS,
        PAGES,
    )
    assert [row[0] for row in rows(found)[1:]] == ["S1"]


@pytest.mark.parametrize(("box", "shown"), [(read, False), (flagged, True)])
def test_a_cell_outside_the_month_is_listed_only_if_something_is_written_there(
    box: object, shown: bool
) -> None:
    assert callable(box)
    boxes = [box("outside:2027-09-30", None, page_id=11)]
    assert (len(rows(readings(book(sheet(student("S1"), boxes)), RETURNS, PAGES))) == 2) is shown


def test_the_command_writes_a_row_a_box(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    challenge_folder(tmp_path)
    assert cli.main(["readings", "--folder", str(tmp_path)]) == 0
    assert f"Wrote {tmp_path / 'readings.csv'}: " in capsys.readouterr().out
    table = rows((tmp_path / "readings.csv").read_bytes())[1:]
    assert {row[0] for row in table} == {"S1"}
    days = [row for row in table if row[1].startswith("day:")]
    assert [row[2] for row in days] == ["20"] * 31
    assert {(row[6], row[7]) for row in days} == {("october.zip/IMG_1.jpg", "1")}
    assert [row[1] for row in table if row[1].startswith(("week:", "month"))] == [
        *(f"week:{number}" for number in range(1, 7)),
        "month",
    ]
