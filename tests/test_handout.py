"""A file for each chart, named so that every file system and class site takes it."""

from pathlib import PureWindowsPath

import pytest

from ingest.chart.charts import Chart
from ingest.chart.handout import file_names
from ingest.plan.roster import Student


def named(first: str, last: str, student_id: str = "S1", section: str = "Period 2") -> str:
    (name,) = file_names([Chart("K7QF-3M4P", Student(student_id, first, last, section))])
    return name.as_posix()


def test_files_begin_with_the_last_name_in_a_folder_for_the_section() -> None:
    assert named("Amina", "Yusuf", "S001") == "Period 2/Yusuf Amina S001.pdf"
    assert named("Олена", "Ковальчук", "12") == "Period 2/Ковальчук Олена 12.pdf"


def test_spare_charts_are_named_by_their_code() -> None:
    assert [name.as_posix() for name in file_names([Chart("K7QF-3M4P", None)])] == [
        "Spare charts/K7QF-3M4P.pdf"
    ]


@pytest.mark.parametrize(
    ("first", "last", "section"),
    [
        ("../..", "../etc", ".."),
        ("a/b", "c\\d", "e:f"),
        ("Ana*", "<One>", 'say "hi"'),
        ("\n\x00\u202e", "|?", "."),
        ("W" * 300, "Ł" * 300, "S" * 300),
        ("", "", "NUL"),
        ("x", "con", "com1.x"),
    ],
)
def test_names_from_outside_stay_within_the_folder_and_fit(first: str, last: str, section: str) -> None:
    """What Windows forbids: Microsoft, "Naming Files, Paths, and Namespaces"; 255 bytes: ext4, APFS."""
    name = named(first, last, section=section)
    folder, file = name.split("/")
    for part in (folder, file):
        assert part not in ("", ".", "..")
        assert not set(part) & set('<>:"/\\|?*')
        assert all(ord(letter) >= 32 for letter in part)
        assert len(part.encode()) <= 255
        assert part == part.strip(" .")
        assert PureWindowsPath(part).parts == (part,)
        assert part.split(".")[0].upper() not in ("CON", "NUL", "COM1")


def test_names_that_only_capitals_tell_apart_get_numbers() -> None:
    charts = [Chart("K7QF-3M4P", Student(n, "Ana", "One", "A")) for n in ("s1", "S1")]
    assert [name.name for name in file_names(charts)] == ["One Ana s1.pdf", "One Ana S1 2.pdf"]
