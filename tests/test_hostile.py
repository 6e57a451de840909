"""Hostile files of the table through the command itself: each is named, kept, and said what is wrong with it.

Those that hold pages are left to the tests of the parts: reading takes its time.
"""

import csv
import io
from pathlib import Path

import pytest
from hostile.table import CASES

from ingest.cli import main

REFUSED = [each for each in CASES if each.outcome and "1 pages" not in each.outcome.values()]
# The table's limits are smaller than those in earnest, by which these are let through or end otherwise.
BY_SIZE = ("large.jpg", "bomb", "many")


def test_collect_refuses_each_by_name_and_doubles_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, downloads = tmp_path / "october", tmp_path / "downloads"
    assert main(["new", str(folder), "--month", "2027-10"]) == 0
    roster = "student_id,first_name,last_name,section\nS1,Ana,Marsh,Flutes\n"
    (folder / "roster.csv").write_text(roster, encoding="utf-8")
    assert main(["charts", "--folder", str(folder)]) == 0
    downloads.mkdir()
    cases = [
        case
        for case in REFUSED
        if not case.name.startswith(BY_SIZE) and "3 pages" not in case.outcome.values()
    ]
    assert len(cases) > 25
    for case in cases:
        (downloads / case.name).write_bytes(case.make())
    capsys.readouterr()

    assert main(["collect", "--folder", str(folder), str(downloads)]) == 3
    said = capsys.readouterr()
    assert "Traceback" not in said.out + said.err
    text = listed(folder, tmp_path)
    came = {row["return"]: row["why"] for row in csv.DictReader(io.StringIO(text))}
    for case in cases:
        for label, what in case.outcome.items():
            assert what in came[f"downloads/{label}"], label

    assert main(["collect", "--folder", str(folder), str(downloads)]) == 3
    assert listed(folder, tmp_path) == text


def listed(folder: Path, place: Path) -> str:
    """`daybox returns` as CSV."""
    assert main(["returns", "--folder", str(folder), "--out", str(place / "returns.csv")]) == 0
    return (place / "returns.csv").read_text(encoding="utf-8-sig")
