"""The awards as a spreadsheet."""

import csv
import io

from award_books import FANFARE, all_given, month, named, plan, some_open, times

from ingest.report.award_csv import COLUMNS, award_csv
from ingest.report.award_words import phrases
from ingest.report.awards import awards


def rows(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode("utf-8"), newline="")))


def test_the_columns_are_those_of_the_contract() -> None:
    assert ",".join(COLUMNS) == (
        "state,award,title,place,figure,student_id,first_name,last_name,section,open_boxes,why"
    )


def test_every_award_has_a_row_with_what_it_was_given_for() -> None:
    given, said = all_given(plan(), ["Ana Marsh", "Ben Okoro"])
    found = [tuple(row.values())[:6] for row in rows(award_csv(given, said))]
    assert found == [
        ("given", "met", "Challenge met!", "", "20", "S001"),
        ("given", "met", "Challenge met!", "", "20", "S002"),
        ("given", "place", "First place", "1", "651", "S002"),
        ("given", "place", "Second place", "2", "605", "S001"),
        ("given", "longest-streak", "Longest streak", "", "20", "S001"),
        ("given", "longest-streak", "Longest streak", "", "20", "S002"),
        ("given", "every-weekday", "Not a day missed", "", "20", "S001"),
        ("given", "every-weekday", "Not a day missed", "", "20", "S002"),
        ("given", "most-improved-week", "Most improved week", "", "15", "S001"),
        ("given", "first-to-hand-in", "First to hand in", "", "2027-10-29 16:05", "S001"),
    ]


def test_what_is_open_is_marked_so_and_has_neither_place_nor_figure() -> None:
    given, said = some_open(plan(mentions=[]))
    found = {(row["award"], row["student_id"]): row for row in rows(award_csv(given, said))}
    assert found["met", "S001"]["state"] == "given"
    ben = found["met", "S002"]
    assert (ben["state"], ben["figure"], ben["open_boxes"], ben["why"]) == ("open", "", "1", "boxes")
    ana = found["place", "S001"]
    assert (ana["state"], ana["place"], ana["figure"], ana["why"]) == ("open", "", "", "others")


def test_names_and_titles_that_a_spreadsheet_would_run_are_harmless() -> None:
    """OWASP, CSV Injection: a quote before what starts a formula."""
    challenge = plan(mentions=[{"kind": "longest-streak", "title": "=1+2"}])
    students = named(["=cmd()", "@Ana"])
    given = awards(month(challenge, students), challenge, times(students))
    content = award_csv(given, phrases(challenge, FANFARE))
    assert {row["first_name"] for row in rows(content)} == {"'=cmd()", "'@Ana"}
    assert "'=1+2" in {row["title"] for row in rows(content)}
    assert content.count(b"\r\n") == len(rows(content)) + 1  # RFC 4180
