"""The trail: from any number of the gradebook to every box behind it, in pages that stand by themselves."""

import csv
import re
from datetime import datetime
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
import pytest
from books import challenge_folder

from ingest.check.book import Question
from ingest.check.bookkeeper import Bookkeeper
from ingest.cli import main
from ingest.ledger.records import NewPage, ReturnState, SpotBox
from ingest.ledger.spots import answer_spot, begin_spot_check
from ingest.ledger.store import Ledger
from ingest.plan.challenge import load_challenge
from ingest.reading.values import Candidate, PageReading
from ingest.report.trail import candidate_words, percent

UNSURE = "day:2027-10-05"
pytestmark = pytest.mark.usefixtures("usual_threshold")

# Elements that are never closed: HTML Living Standard, 13.1.2, "void elements".
VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}


class Page(HTMLParser):
    """A page as Python's own parser sees it; refuses what is not properly nested."""

    def __init__(self, path: Path) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.tables: list[list[list[str]]] = []
        self.text = ""
        self._open: list[str] = []
        self.feed(path.read_text(encoding="utf-8"))
        self.close()
        assert self._open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self._open.append(tag)
        if tag == "table":
            self.tables.append([])
        elif tag == "tr":
            self.tables[-1].append([])
        elif tag in ("td", "th"):
            self.tables[-1][-1].append("")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag, f"</{tag}> closes something else"

    def handle_data(self, data: str) -> None:
        if self._open and self._open[-1] in ("style", "title"):
            return
        self.text += data
        if {"td", "th"} & set(self._open):
            self.tables[-1][-1][-1] += data

    def values(self, attribute: str) -> list[str]:
        return [value for _, attrs in self.tags if (value := attrs.get(attribute)) is not None]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """S1 handed in, with a picture of the page; S2 did not."""
    challenge_folder(tmp_path / "october", unsure=UNSURE)
    noise = np.random.default_rng(1).normal(200, 6, (1295, 1676)).clip(0, 255).astype(np.uint8)
    coded = cv2.imencode(".jpg", noise)[1].tobytes()
    with Ledger.open(tmp_path / "october") as ledger:
        (page,) = ledger.pages()
        found = PageReading(page.code, "2027-10", "qr", "", page.readings, coded, 0.1, 8, page.layout)
        ledger.finish_return(1, [NewPage(1, "", found)], ReturnState.DONE)
    return tmp_path / "october"


def trail(folder: Path, *words: str) -> None:
    assert main(["trail", "--folder", str(folder), *words]) == 0


def one(folder: Path) -> Page:
    trail(folder, "--student", "S1", "--out", str(folder / "s1.html"))
    return Page(folder / "s1.html")


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def correct(folder: Path, box: str, answer: str, reason: str) -> None:
    """As a teacher does it with a spreadsheet."""
    sheet = folder / "fix.csv"
    sheet.write_text(f"student_id,box,answer\nS1,{box},{answer}\n", encoding="utf-8")
    words = ["--student", "S1", "--all", "--reason", reason, "--answers", str(sheet)]
    assert main(["review", "--folder", str(folder), *words]) == 0


# -- figures ---------------------------------------------------------------------------------------------


def test_the_page_says_what_the_gradebook_says_and_its_days_add_up_to_it(folder: Path) -> None:
    correct(folder, UNSURE, "45", "Slip")
    main(["grades", "--folder", str(folder)])
    (row,) = [row for row in rows(folder / "gradebook.csv") if row["student_id"] == "S1"]
    page = one(folder)
    told = {cells[0]: cells[1] for cells in page.tables[0][1:]}
    assert {column: row[column] for column in told} == told
    assert {"total_minutes", "weekend_minutes", "days_met", "met", "standing", "points"} <= set(told)
    month = page.tables[1]
    days = [cell.split() for week in month[1:-1] for cell in week[:7] if cell]
    assert [int(words[0]) for words in days] == list(range(1, 32))
    assert sum(int(words[1]) for words in days) == int(row["total_minutes"]) == 30 * 20 + 45
    assert sum(int(week[7]) for week in month[1:-1]) == int(month[-1][1]) == int(row["total_minutes"])
    assert "by week 40 + 165 + 140 + 140 + 140 + 20." in page.tables[0][2][2]


def test_an_open_box_is_shown_as_open_and_linked_from_the_total(folder: Path) -> None:
    page = one(folder)
    assert "days still open: Tue 5 Oct." in page.tables[0][2][2]
    assert page.tables[1][2][2] == "5 ? open"
    assert "open, counts for nothing; best guess 25" in page.text
    assert "25 (60.0 %)" in page.text
    assert "35 (40.0 %)" in page.text
    assert "illegible" in page.text


def test_days_that_missed_the_minimum_are_named_and_linked(folder: Path) -> None:
    correct(folder, "day:2027-10-12", "10", "Slip")
    page = one(folder)
    (figure,) = [cells for cells in page.tables[0] if cells[0] == "days_met"]
    assert figure[2].startswith("Required days with 15 minutes or more. Not met: Tue 12 Oct")
    assert "#box-day-2027-10-12" in page.values("href")


# -- changes ---------------------------------------------------------------------------------------------


def test_a_correction_is_there_with_time_before_after_and_reason(folder: Path) -> None:
    began = datetime.now().replace(microsecond=0)
    correct(folder, "day:2027-10-12", "45", "Slip: it was 45")
    with Ledger.open(folder) as ledger:
        at = ledger.answers()[-1].at
    page = one(folder)
    (change,) = [cells for cells in page.tables[2] if cells[0] == "Tuesday 12 October"]
    assert f"{at.day} {at:%b} {at.year}, {at:%H:%M}" in change[1]
    assert change[2].strip() == "20 → 45"
    assert change[3] == "a person, in a spreadsheet"
    assert change[4] == "Slip: it was 45"
    answered, stands = [row for row in rows(folder / "s1.csv") if row["box"] == "day:2027-10-12"]
    assert (answered["event"], answered["before"], answered["value"]) == ("answered", "20", "45")
    assert answered["reason"] == "Slip: it was 45"
    assert began <= datetime.fromisoformat(answered["at"]) <= datetime.now()
    assert (stands["event"], stands["value"], stands["state"]) == ("stands", "45", "answered")


def test_what_was_taken_back_and_seen_in_a_spot_check_is_told(folder: Path) -> None:
    with Ledger.open(folder) as ledger:
        keeper = Bookkeeper(ledger, load_challenge(folder))
        question = keeper.book.questions[0]
        keeper.answer(question, "70")
        keeper.take_back()
        box = SpotBox(1, "S1", "day:2027-10-06", 1, "20")
        check = begin_spot_check(ledger, 1, 30, [box])
        answer_spot(ledger, check.id, 1, "26")
        keeper.answer(Question("S1", box.box, "", 0.0, (), 1), "26")
    page = one(folder)
    assert re.search(r"70 taken back:\s+not answered again", page.text)
    assert re.search(r"Seen in a spot check as 26\s+when it stood as 20", page.text)
    events = [row["event"] for row in rows(folder / "s1.csv") if row["box"] in (UNSURE, box.box)]
    assert events == ["answered", "taken back", "stands", "spot check", "answered", "stands"]


def test_nothing_changed_is_said(folder: Path) -> None:
    assert "Nobody changed anything" in one(folder).text


# -- the pages as files ----------------------------------------------------------------------------------


def test_pages_fetch_nothing_and_run_nothing(folder: Path) -> None:
    correct(folder, UNSURE, "45", "Slip")
    trail(folder)
    pages = [*(folder / "trail").rglob("*.html")]
    assert len(pages) == 3
    for path in pages:
        page = Page(path)
        names = {tag for tag, _ in page.tags}
        assert not names & {"script", "link", "iframe", "object", "embed", "form", "base", "audio", "video"}
        assert not [name for _, attrs in page.tags for name in attrs if name.startswith("on")]
        for value in (*page.values("src"), *page.values("href"), *page.values("xlink:href")):
            local = value.startswith(("#", "data:image/")) or re.fullmatch(r"[^:]+\.html", value)
            assert local, value
        text = path.read_text(encoding="utf-8")
        assert "url(" not in text
        assert "@import" not in text
        assert "http:" not in text
        assert "https:" not in text


def test_links_lead_to_something(folder: Path) -> None:
    trail(folder)
    for path in (folder / "trail").rglob("*.html"):
        page = Page(path)
        ids = page.values("id")
        assert len(ids) == len(set(ids))
        for value in page.values("href"):
            if value.startswith("#"):
                assert value[1:] in ids, f"{path.name}: {value}"
            elif not value.startswith("data:"):
                assert (path.parent / value.replace("%20", " ")).exists(), value


def test_pages_can_be_read_by_everybody(folder: Path) -> None:
    """WCAG 2.2: 1.1.1 (pictures have a text), 1.3.1 (headings, table headers), 2.4.2, 3.1.1 (language)."""
    correct(folder, UNSURE, "45", "Slip")
    page = one(folder)
    assert ("html", {"lang": "en"}) in page.tags
    headings = [int(tag[1]) for tag, _ in page.tags if re.fullmatch("h[1-6]", tag)]
    assert headings.count(1) == 1
    assert headings[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(headings))
    assert all(attrs.get("scope") in ("col", "row") for tag, attrs in page.tags if tag == "th")
    assert all(attrs.get("alt") for tag, attrs in page.tags if tag == "img")
    roles = [attrs for tag, attrs in page.tags if tag == "svg" and attrs.get("role") == "img"]
    titles = sum(tag == "title" for tag, _ in page.tags)
    assert len(roles) + 1 == titles  # each picture's, and the page's
    assert len(roles) > 40


def test_the_picture_of_the_page_is_in_the_file_once(folder: Path) -> None:
    page = one(folder)
    pictures = [value for value in page.values("href") if value.startswith("data:image/jpeg")]
    assert len(pictures) == 1
    assert page.values("href").count("#p1") > 40


def test_without_the_picture_the_page_still_tells_all_else(folder: Path) -> None:
    for picture in (folder / "pages").iterdir():
        picture.unlink()
    page = one(folder)
    assert "is not in the folder" in page.text
    assert "Tuesday 12 October" in page.text


def test_what_strangers_wrote_is_shown_and_never_run(folder: Path) -> None:
    nasty = '<script>alert(1)</script>"><img src=x onerror=alert(1)>'
    roster = (folder / "roster.csv").read_text(encoding="utf-8")
    quoted = nasty.replace('"', '""')
    roster = roster.replace("S1,Ana,Marsh,Flutes", f'S1,"{quoted}",=1+1,"{quoted}"')
    (folder / "roster.csv").write_text(roster, encoding="utf-8")
    correct(folder, "day:2027-10-12", "45", nasty)
    page = one(folder)
    assert nasty in page.text
    assert not {tag for tag, _ in page.tags} & {"script"}
    assert not page.values("onerror")
    assert "'=1+1" in {row["last_name"] for row in rows(folder / "s1.csv")}
    trail(folder)
    assert nasty in Page(folder / "trail" / "index.html").text


def test_a_page_for_everybody_and_none_of_those_who_left(folder: Path) -> None:
    trail(folder)
    index = Page(folder / "trail" / "index.html")
    assert [cells[0] for cells in index.tables[0][1:]] == ["Ana Marsh", "Ben Okoro"]
    ben = Page(folder / "trail" / "Flutes" / "Okoro Ben S2.html")
    assert "Nothing that counts has come in; that is no mark of 0." in ben.text
    assert "Nothing was handed in." in ben.text
    other = folder / "trail" / "mine.html"
    other.write_text("mine", encoding="utf-8")
    roster = (folder / "roster.csv").read_text(encoding="utf-8").splitlines()[:-1]
    (folder / "roster.csv").write_text("\n".join(roster), encoding="utf-8")
    trail(folder)
    assert sorted(path.name for path in (folder / "trail").rglob("*.html")) == [
        "Marsh Ana S1.html",
        "index.html",
        "mine.html",
    ]
    assert {row["student_id"] for row in rows(folder / "trail" / "trail.csv")} == {"S1"}


def test_a_single_page_made_later_still_leads_to_the_list(folder: Path) -> None:
    trail(folder)
    trail(folder, "--student", "S1")
    assert "../index.html" in Page(folder / "trail" / "Flutes" / "Marsh Ana S1.html").values("href")


def test_the_csv_has_a_row_for_how_each_box_stands(folder: Path) -> None:
    trail(folder)
    found = rows(folder / "trail" / "trail.csv")
    stands = [row for row in found if row["event"] == "stands"]
    main(["readings", "--folder", str(folder)])
    expected = rows(folder / "readings.csv")
    columns = ["student_id", "box", "value", "state", "confidence", "flags", "return", "page"]
    seen = [[row[column] for column in columns] for row in stands]
    assert seen == [[row[column] for column in columns] for row in expected]
    (unsure,) = [row for row in stands if row["box"] == UNSURE]
    assert unsure["candidates"] == "25 (60.0 %); 35 (40.0 %)"


@pytest.mark.parametrize("words", [["--out", "all.html"], ["--student", "S1", "--out", "s1.pdf"]])
def test_a_name_of_the_wrong_kind_is_wrong_usage(
    folder: Path, words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["trail", "--folder", str(folder), *words]) == 2
    assert ".html" in capsys.readouterr().err


def test_nobody_of_that_id_is_refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["trail", "--folder", str(folder), "--student", "S7"]) == 1
    assert 'no student id "S7"' in capsys.readouterr().err


def test_shares_are_never_rounded_to_certain_or_impossible() -> None:
    assert [percent(share) for share in (1.0, 0.99999, 0.9996, 0.98, 0.0001)] == [
        "100 %",
        "99.99 %",
        "99.96 %",
        "98.0 %",
        "under 0.1 %",
    ]
    assert candidate_words(Candidate(75, "1:15", 0.9)) == '75 from "1:15" (90.0 %)'
    assert candidate_words(Candidate(None, "", 0.9)) == "blank (90.0 %)"
    assert candidate_words(Candidate(None, "?", 0.9)) == "no number (90.0 %)"
    assert candidate_words(Candidate(45, "45", 1.0, typed=True)) == "45 (typed)"
