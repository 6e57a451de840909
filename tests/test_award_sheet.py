"""The sheet for reading aloud, read back by other people's programs."""

import io
import re

import pdfplumber
import pypdf
import pytest
from award_books import FANFARE, NAMES_30, all_given, month, named, plan, some_open, times
from books import flagged, sheet

from ingest.check.arrival import Arrival, Arrivals
from ingest.check.book import Book
from ingest.report.award_sheet import draw_sheet
from ingest.report.award_words import phrases
from ingest.report.awards import awards


def text(pdf: bytes, first: int = 0) -> str:
    """All pages' from one on, by pdfplumber (pdfminer)."""
    with pdfplumber.open(io.BytesIO(pdf)) as document:
        return re.sub(r"\s+", " ", " ".join(page.extract_text() or "" for page in document.pages[first:]))


def count(pdf: bytes) -> int:
    return len(pypdf.PdfReader(io.BytesIO(pdf)).pages)


def test_it_names_who_met_the_challenge_and_the_places_with_the_rule() -> None:
    given, said = all_given(plan(counting={"counts_per_day": 60}), ["Ana Marsh", "Ben Okoro"])
    seen = text(draw_sheet(given, said))
    for words in (
        "October practice challenge 2027",
        "Everything that decides an award is settled.",
        "Met the challenge At least 15 minutes on every one of 20 practice days.",
        "Period 2 2 of 2 who handed in",
        "Equal minutes share a place, and the next place is left out: 1, 2, 2, 4.",
        "Of each day, at most 60 minutes count.",
        "1 Ben Okoro 651 min, Period 2",  # 21 minutes on each of 31 days
        "Longest streak Most practice days in a row with at least 15 minutes. Ana Marsh Ben Okoro",
        "A day counts at most 30 minutes, so that no leap is praised.",
        "First to hand in By the times of the files. Ana Marsh on Friday, October 29",
    ):
        assert words in seen, words
    assert "Still open" not in seen


def test_it_carries_the_word_of_care_and_its_sources() -> None:
    given, said = all_given(plan(), ["Ana Marsh"])
    seen = text(draw_sheet(given, said))
    # What players are told in the publications that the sheet names.
    for words in (
        "take breaks",
        "grow slowly",
        "stop and tell your teacher",
        "see a doctor",
        "no medical advice",
    ):
        assert words in seen
    assert "Protecting Your Neuromusculoskeletal Health" in seen
    assert "Performance Health Guide" in seen


def test_a_shared_place_is_marked() -> None:
    challenge = plan(mentions=[])
    students = named(["Ana Marsh", "Ben Okoro"])
    made = month(challenge, students)
    twice = Book([made.sheets[0], sheet(students[1], list(made.sheets[0].boxes.values()))], [])
    seen = text(draw_sheet(awards(twice, challenge, times(students)), phrases(challenge, FANFARE)))
    assert seen.count("shared") == 2
    assert re.search(r"1 Ana Marsh .*1 Ben Okoro ", seen)


def test_what_is_open_stands_apart_with_its_reason_and_what_to_do() -> None:
    given, said = some_open(plan())
    pdf = draw_sheet(given, said)
    aloud, apart = text(pdf).split("Nothing of this is given yet")
    assert "Not final: some awards are still open." in aloud
    assert aloud.count("Ben Okoro") == 0
    for words in (
        "1 page is nobody's yet, and may be anybody's.",
        "Met the challenge: Flutes Ben Okoro 1 open box",
        "Ana Marsh place",
        "waits for others",
        "Settle them with daybox review, then run daybox awards again.",
    ):
        assert words in apart, words
    with pdfplumber.open(io.BytesIO(pdf)) as document:  # on a page of its own
        starts = [page.extract_text().startswith("Still open") for page in document.pages]
    assert starts.count(True) == 1


def test_a_sheet_in_spanish() -> None:
    given, said = some_open(plan(language="es", paper="a4"))
    seen = text(draw_sheet(given, said))
    for words in (
        "Reto de práctica de octubre de 2027",
        "Cumplieron el reto Al menos 15 minutos en cada uno de los 20 días de práctica.",
        "Con los mismos minutos se comparte el lugar, y el siguiente queda libre: 1, 2, 2, 4.",
        "Por decidir Nada de esto se da todavía",
        "1 casilla abierta",
        "Si algo te duele, detente",
    ):
        assert words in seen, words


def test_where_the_times_do_not_tell_the_teacher_is_asked_to_decide() -> None:
    challenge = plan(mentions=[{"kind": "first-to-hand-in"}])
    students = named(["Ana Marsh", "Ben Okoro"])
    first, second = times(students).counted.values()
    unknown = {each.id: Arrival(first.earliest, second.latest) for each in students}
    given = awards(month(challenge, students), challenge, Arrivals(unknown, []))
    seen = text(draw_sheet(given, phrases(challenge, FANFARE)))
    assert re.search(r"which of these came first: decide it yourself\. Ana Marsh .*Ben Okoro", seen)
    assert "daybox review" not in seen


def test_a_long_list_of_open_ones_is_cut_and_open_questions_that_decide_nothing_are_counted() -> None:
    challenge = plan(mentions=[], prizes={"top": 0})
    students = named([f"Child {n}" for n in range(20)])
    unsure = {"d20": flagged("day:2027-10-20", 20)}
    made = month(challenge, students, {each.id: unsure for each in students})
    seen = text(draw_sheet(awards(made, challenge, times(students)), phrases(challenge, FANFARE)))
    assert "Child 11 1 open box and 8 more" in seen

    harmless = plan(mentions=[], prizes={"top": 0}, expectation={"required_days_allowed_short": 1})
    seen = text(draw_sheet(awards(made, harmless, times(students)), phrases(harmless, FANFARE)))
    assert "20 open questions are left; they cannot change an award." in seen


def test_a_month_without_winners_is_said_so() -> None:
    challenge = plan()
    students = named(["Ana Marsh", "Ben Okoro"])
    given = awards(Book([sheet(each, []) for each in students], []), challenge, Arrivals({}, []))
    seen = text(draw_sheet(given, phrases(challenge, FANFARE)))
    assert seen.count("Nobody this time.") == 6  # met, places, four mentions
    assert "2 students have nothing in that counts: daybox missing says why." in seen


def test_names_of_every_length_and_script_are_on_it_within_the_margins() -> None:
    given, said = all_given(plan(mentions=[]))
    pdf = draw_sheet(given, said)
    seen = re.sub(r"\s", "", text(pdf))
    for name in NAMES_30:
        if len(name) < 24 and not re.search("[\u0590-\u06ff\u1000-\u17ff]", name):
            assert re.sub(r"\s", "", name) in seen, name
    with pdfplumber.open(io.BytesIO(pdf)) as document:
        for page in document.pages:
            assert min(char["x0"] for char in page.chars) > 17 * 72 / 25.4
            assert max(char["x1"] for char in page.chars) < page.width - 17 * 72 / 25.4
            assert max(char["bottom"] for char in page.chars) < page.height - 10 * 72 / 25.4


@pytest.mark.parametrize(("paper", "points"), [("letter", (612.0, 792.0)), ("a4", (595.28, 841.89))])
def test_it_stands_upright_on_the_challenges_paper(paper: str, points: tuple[float, float]) -> None:
    given, said = all_given(plan(paper=paper), ["Ana Marsh"])
    page = pypdf.PdfReader(io.BytesIO(draw_sheet(given, said))).pages[0]
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(points, abs=0.01)


def test_a_whole_grade_takes_several_pages_each_with_its_number() -> None:
    given, said = all_given(plan(mentions=[]), [f"Child {n}" for n in range(120)])
    pdf = draw_sheet(given, said)
    pages = count(pdf)
    assert pages >= 3
    assert all(f"{number} of {pages}" in text(pdf) for number in range(1, pages + 1))


def test_the_same_awards_make_the_same_sheet() -> None:
    given, said = all_given(plan(), ["Ana Marsh"])
    assert draw_sheet(given, said) == draw_sheet(given, said)
