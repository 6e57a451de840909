"""Guessing the student from the names of files and folders: right, or nobody."""

import pytest

from ingest.collect.owner import HALF_A_NAME, NOBODY, guess_owner
from ingest.plan.roster import Student

ROSTER = tuple(
    Student(student_id, first, last, "Band")
    for student_id, first, last in (
        ("S001", "Maria", "Lopez"),
        ("S002", "Mario", "Lopez"),
        ("S003", "José Luis", "García López"),
        ("S004", "Anne-Marie", "O'Brien"),
        ("S005", "Jan", "van den Berg"),
        ("S006", "Мария", "Иванова"),
        ("S007", "伟", "王"),
        ("S008", "April", "Jones"),
        ("S009", "Li", "Chen"),
        ("S010", "Lia", "Chen"),
        ("S011", "Kevin", "McDonald"),
        ("S012", "Łukasz", "Żak"),
        ("S013", "Noor", "Noor"),
        ("S014", "Søren", "Weiß"),
        ("S015", "Emma", "Stone"),
        ("S016", "Emma", "Stone"),
        ("S017", "Joanna", "Lee"),
        ("S018", "Anna", "Lee"),
        ("20417", "Priya", "Natarajan"),
        ("77", "Theo", "Baker"),
    )
)


@pytest.mark.parametrize(
    ("label", "expected"),
    [
        ("october.zip/Maria Lopez/IMG_1.jpg", "S001"),
        ("october.zip/LOPEZ, MARIO (1).pdf", "S002"),
        ("lopezmaria_late_12345_6789_IMG_0042.jpg", "S001"),
        ("MariaLopezOctober2027.HEIC", "S001"),
        ("Lopez/Maria/1.jpg", "S001"),
        ("garcia_lopez_jose_luis-2.png", "S003"),
        ("Jose\N{COMBINING ACUTE ACCENT} Luis García López.jpg", "S003"),
        ("JoseLuisGarciaLopez.jpg", "S003"),
        ("Jose Garcia.jpg", "S003"),
        ("anne marie obrien.jpg", "S004"),
        ("O_Brien AnneMarie.jpg", "S004"),
        ("O’Brien, Anne-Marie (3).jpg", "S004"),
        ("VanDenBergJan.jpg", "S005"),
        ("vandenbergjan_99_practice-chart.jpg", "S005"),
        ("Jan Berg.jpg", "S005"),
        ("Иванова Мария/скан 1.pdf", "S006"),
        ("王伟.jpg", "S007"),
        ("April Jones october.jpg", "S008"),
        ("Li Chen.jpg", "S009"),
        ("chen_lia_1.jpg", "S010"),
        ("mcdonaldkevin_4411_chart.pdf", "S011"),
        ("KevinMcDonald.heic", "S011"),
        ("Zak Lukasz.jpg", "S012"),
        ("NoorNoor.jpg", "S013"),
        ("Soren Weiss.jpg", "S014"),
        ("Joanna Lee.jpg", "S017"),
        ("annalee.jpg", "S018"),
    ],
)
def test_whole_names_are_found_however_written(label: str, expected: str) -> None:
    guess = guess_owner(label, ROSTER)
    assert guess.student_id == expected
    assert guess.score >= 94


@pytest.mark.parametrize(
    "label", ["Maria Lpoez.jpg", "Mraia Lopez.jpg", "Kevin MacDonald/1.jpg", "lukas zak.jpg"]
)
def test_misspelt_names_are_found_with_less_certainty(label: str) -> None:
    guess = guess_owner(label, ROSTER)
    assert guess.student_id in ("S001", "S011", "S012")
    assert 75 < guess.score < 100


@pytest.mark.parametrize(
    "label",
    [
        "IMG_20271101_083000.jpg",
        "october.zip/practice chart (1).pdf",
        "april/IMG_1.jpg",  # the month, not April Jones
        "Lopez.jpg",  # two of them
        "Emma Stone.jpg",  # two of them, with the same name
        "emma.jpg",
        "Chen.jpg",
        "Mari Lopez.jpg",  # Maria or Mario
        "Noor.jpg",  # half of Noor Noor
        "Maria Lopez/Kevin McDonald.jpg",  # a folder and a file at odds
        "Maria Lopez and Kevin McDonald.jpg",
        "Alopezina Marianov.jpg",
        "Priya Lopez.jpg",
        "",
        "///",
    ],
)
def test_nobody_is_guessed_where_it_is_not_clear(label: str) -> None:
    guess = guess_owner(label, ROSTER)
    assert guess == NOBODY or guess.score <= 100 * HALF_A_NAME


@pytest.mark.parametrize(("label", "expected"), [("Kevin.jpg", "S011"), ("Natarajan/2.jpg", "20417")])
def test_half_a_name_that_only_one_has_is_a_weak_guess(label: str, expected: str) -> None:
    guess = guess_owner(label, ROSTER)
    assert (guess.student_id, guess.score) == (expected, 100 * HALF_A_NAME)


@pytest.mark.parametrize(
    ("label", "expected"),
    [
        ("october.zip/s004.jpg", "S004"),
        ("chart_S004_october.jpg", "S004"),
        ("20417/IMG_1.jpg", "20417"),
        ("scan-20417-1.jpg", "20417"),
        ("77/IMG_1.jpg", "77"),
        ("S004 Anne-Marie OBrien.jpg", "S004"),
        ("IMG_77.jpg", ""),  # a camera's counter
        ("XS0042.jpg", ""),  # not a word of its own
        ("S0041.jpg", ""),
        ("120417.jpg", ""),
        ("S004 S005.jpg", ""),
        ("S004/Maria Lopez.jpg", ""),  # the id and the name at odds
    ],
)
def test_ids_count_as_whole_words(label: str, expected: str) -> None:
    assert guess_owner(label, ROSTER).student_id == expected


def test_words_that_every_pile_has_are_no_half_of_a_name() -> None:
    assert guess_owner("april concert/IMG_1.jpg", ROSTER) == NOBODY


def test_an_empty_roster_has_nobody() -> None:
    assert guess_owner("Maria Lopez.jpg", ()) == NOBODY
