"""Names that were read on pages. Students and misreadings are invented."""

import pytest

from ingest.check.written import CLOSEST, NOT_SURE, closest, guess_written
from ingest.collect.owner import NOBODY, Guess
from ingest.plan.roster import Student


def roster(*names: str) -> list[Student]:
    parts = [name.rpartition(" ") for name in names]
    return [Student(f"S{n}", first, last, "Flutes") for n, (first, _, last) in enumerate(parts, start=1)]


SCHOOL = roster("Maria Lopez", "Kofi Mensah", "Zoë van der Berg", "Ana Quill", "Anna Quill", "Bo Wu")


@pytest.mark.parametrize(
    ("read", "guess"),
    [
        ("Maria Lopez", Guess("S1", 100.0)),
        ("MARIA LOPEZ |", Guess("S1", 100.0)),
        ("Lopez, Maria", Guess("S1", 100.0)),
        ("zoe van der berg", Guess("S3", 100.0)),
        ("Anna Quill", Guess("S5", NOT_SURE)),  # or Ana, and a letter seen twice
        ("Bo Wu", Guess("S6", NOT_SURE)),  # four letters are soon seen in a scribble
        ("", NOBODY),
        ("l! .—", NOBODY),
    ],
)
def test_whom_a_name_means(read: str, guess: Guess) -> None:
    assert guess_written(read, SCHOOL) == guess


def test_a_misread_name_is_less_sure() -> None:
    guess = guess_written("Mar1a Lopex", SCHOOL)
    assert guess.student_id in ("S1", "")
    assert guess.score <= NOT_SURE


def test_the_closest_are_listed_whom_the_path_names_first() -> None:
    assert closest("Kof Mensh", "", SCHOOL)[0] == "S2"
    assert closest("Kof Mensh", "S1", SCHOOL)[:2] == ("S1", "S2")
    assert closest("Ana Quil", "", SCHOOL)[:2] == ("S4", "S5")
    assert closest("", "S3", SCHOOL) == ("S3",)
    assert closest("xxxx", "S99", SCHOOL) == ()
    many = roster(*(f"Ana Quil{letter}" for letter in "abcdefgh"))
    assert len(closest("Ana Quill", "", many)) == CLOSEST
