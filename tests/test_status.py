import io
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from books import (
    a_page,
    a_return,
    book,
    challenge_folder,
    flagged,
    month_of,
    october,
    page_question,
    question,
    read,
    sheet,
    student,
)
from rich.console import Console

from ingest import cli
from ingest.check.book import Book
from ingest.check.fate import Fate, Outcome, What
from ingest.ledger.records import PageRecord, ReturnRecord, ReturnState
from ingest.plan.challenge import Challenge
from ingest.report.status import LINES_SHOWN, NAMES_SHOWN, OPEN_SHOWN, status
from ingest.report.student_status import student_status

PLAN = october()


def shown(
    of: Book,
    returns: list[ReturnRecord] | None = None,
    pages: list[PageRecord] | None = None,
    width: int = 80,
    charts_printed: bool = True,
    folder: str = "",
) -> str:
    text = io.StringIO()
    console = Console(file=text, width=width, no_color=True)
    returns = [a_return(1, "october.zip/IMG_1.jpg")] if returns is None else returns
    console.print(
        status(of, PLAN, returns, pages or [a_page(1, 1)], charts_printed=charts_printed, folder=folder)
    )
    return "\n".join(line.rstrip() for line in text.getvalue().splitlines()) + "\n"


def a_busy_book() -> Book:
    ana = sheet(student("S1"), month_of(PLAN, 15, d4=flagged("day:2027-10-04", 25)), late=True)
    ben = sheet(student("S2", "Horns"), month_of(PLAN, 20))
    cleo = sheet(student("S3", "Horns"), [], pages=())
    box = ana.boxes["day:2027-10-04"]
    return book(ana, ben, cleo, questions=[question(ana, box), page_question(9, suggestion="S3")])


def test_counts_by_section_and_over_all() -> None:
    lines = shown(a_busy_book()).partition("Missing\n")[0].splitlines()
    table = {line.split()[0]: line.split()[1:] for line in lines if line}
    #                          students, handed in, missing, late, to review
    assert table["Flutes"] == ["1", "1", "0", "1", "1"]
    assert table["Horns"] == ["2", "1", "1", "0", "1"]
    assert table["all"] == ["3", "2", "1", "1", "2"]


def test_a_page_of_nobody_has_a_row_so_that_the_column_adds_up() -> None:
    ana = sheet(student("S1"), month_of(PLAN, 15, d4=flagged("day:2027-10-04", 25)))
    box = question(ana, ana.boxes["day:2027-10-04"])
    of = book(ana, questions=[box, page_question(8, suggestion="S1"), page_question(9)])
    lines = shown(of).partition("To review:")[0].splitlines()
    assert [line.split()[-1] for line in lines if line.startswith(("Flutes", "nobody's yet", "all"))] == [
        "2",
        "1",
        str(len(of.questions)),
    ]
    assert "nobody" not in shown(a_busy_book())


def test_missing_students_are_named_and_a_long_list_is_cut() -> None:
    assert "FirstS3 LastS3" in shown(a_busy_book())
    here = sheet(student("S0"), month_of(PLAN, 15))
    gone = [sheet(student(f"M{n}"), [], pages=()) for n in range(NAMES_SHOWN + 3)]
    text = shown(book(here, *gone))
    assert f"FirstM{NAMES_SHOWN - 1} LastM{NAMES_SHOWN - 1} and 3 more" in " ".join(text.split())
    assert f"FirstM{NAMES_SHOWN} " not in text


def test_refused_files_and_strange_pages_with_their_reasons() -> None:
    refused = replace(a_return(2, "broken.pdf"), state=ReturnState.REFUSED, note="The file ends too early.")
    receipt = a_page(5, 1, number=2, problem="No chart was found on it.")
    text = shown(a_busy_book(), [a_return(1, "october.zip/IMG_1.jpg"), refused], [a_page(1, 1), receipt])
    assert "Files that could not be opened: 1\n  broken.pdf\n    The file ends too early.\n" in text
    assert "october.zip/IMG_1.jpg, page 2\n    No chart was found on it.\n" in text


def test_what_does_not_count_is_listed_with_the_student_whom_the_path_names() -> None:
    def fate(path: str, what: What, outcome: Outcome, **changes: Any) -> Fate:
        return replace(Fate(path, 1, 1, 5, "", "S3", what, outcome, "Because."), **changes)

    cat = a_page(5, 2, problem="No chart was found on it.")
    said = io.StringIO()
    Console(file=said, width=80, no_color=True).print(
        status(
            a_busy_book(),
            PLAN,
            [a_return(1, "a.zip/1.jpg"), a_return(2, "a.zip/cat.jpg")],
            [a_page(1, 1), cat],
            fates=[
                fate("a.zip/cat.jpg", What.NONE, Outcome.UNREAD),
                fate("a.zip/old.jpg", What.OTHER, Outcome.ASIDE, page=2),
                fate("a.zip/blank.jpg", What.BLANK, Outcome.ASIDE, student_id="S1", named=""),
                fate("a.zip/1.jpg", What.CHART, Outcome.COUNTS, untold=True),
            ],
        )
    )
    lines = [line.rstrip() for line in said.getvalue().splitlines()]
    assert "  a.zip/cat.jpg (FirstS3 LastS3?)" in lines
    where = lines.index("Charts that do not count: 2")
    assert lines[where + 1 : where + 5] == [
        "  a.zip/old.jpg, page 2 (FirstS3 LastS3?)",
        "    Because.",
        "  a.zip/blank.jpg (FirstS1 LastS1)",
        "    Because.",
    ]
    assert "Whether 1 page came in late cannot be told: daybox returns." in lines


def test_who_is_in_review_is_told_from_who_is_missing() -> None:
    ana, ben = sheet(student("S1"), [], pages=()), sheet(student("S2"), [], pages=())
    text = shown(book(ana, ben, questions=[page_question(1, "S1", "S1")]))
    assert "FirstS1 LastS1 (in review), FirstS2 LastS2" in text


def test_long_lists_of_files_are_cut() -> None:
    refused = [
        replace(a_return(n, f"bad{n:02}.pdf"), state=ReturnState.REFUSED, note="x")
        for n in range(LINES_SHOWN + 2)
    ]
    assert "and 2 more" in shown(a_busy_book(), refused)
    assert f"bad{LINES_SHOWN:02}.pdf" not in shown(a_busy_book(), refused)


def test_what_could_still_change() -> None:
    text = " ".join(shown(a_busy_book()).split())
    assert "To review: 1 box on 1 chart and 1 page" in text
    met = "Whether the challenge is met: open for 1 of 2 students who handed in: FirstS1 LastS1."
    assert f"{met} It is met for sure by 1, and for sure not by 0." in text
    # of S3 there is nothing but a page that may be hers, with which she could take any place
    assert "The first 5 places: open for 3: FirstS1 LastS1, FirstS2 LastS2, FirstS3 LastS3." in text
    assert "Points: open for 1 of 2 students who handed in: FirstS1 LastS1." in text
    assert "Any place by minutes: open for 2 of 2" in text
    assert "1 page may yet be anybody's and keeps places open for all. 2 questions can still change a" in text
    settled = shown(book(sheet(student("S1"), month_of(PLAN, 15))))
    assert "change" not in settled
    assert "review" not in settled.replace("To review", "")


def test_it_says_that_everything_that_decides_a_prize_is_settled() -> None:
    weekend = month_of(PLAN, 0, d2=flagged("day:2027-10-02", 25), d3=flagged("day:2027-10-03", 25))
    of = book(
        *(sheet(student(f"S{n}"), month_of(PLAN, 60 + n)) for n in range(5)), sheet(student("S9"), weekend)
    )
    text = " ".join(shown(of).split())
    assert "Everything that decides a prize is settled; 2 boxes left that cannot change one." in text
    assert "The first 5 places" not in text
    first = month_of(PLAN, 60, d4=flagged("day:2027-10-04", 25))
    both = book(sheet(student("S1"), first), sheet(student("S2"), [*first, flagged("month", 1)]))
    assert "Of 3 questions, 2 can still change a prize; these are asked first." in shown(both)


def test_long_lists_of_students_are_cut() -> None:
    open_day = {"d4": flagged("day:2027-10-04", 25)}
    of = book(*(sheet(student(f"S{n}"), month_of(PLAN, 20, **open_day)) for n in range(OPEN_SHOWN + 2)))
    assert "FirstS5 LastS5 and 2 more." in " ".join(shown(of).split())


# -- one student -----------------------------------------------------------------------------------------


def page_of(of: Book, student_id: str, challenge: Challenge = PLAN) -> str:
    text = io.StringIO()
    console = Console(file=text, width=80, no_color=True)
    console.print(student_status(of, challenge, student_id))
    return " ".join(text.getvalue().split())


def test_a_student_is_shown_with_what_is_open_and_what_hangs_on_it() -> None:
    text = page_of(a_busy_book(), "S1")
    assert text.startswith("FirstS1 LastS1, Flutes, S1")
    assert "Minutes 450 to 690" in text
    assert "Required days met 19 to 20 of 20" in text
    assert "Challenge open" in text
    assert "Points open" in text
    assert "To review: 1 Monday 4 October, a prize may hang on it: Cannot be read with certainty." in text
    assert "friendly" not in text
    other = page_of(a_busy_book(), "S2")
    assert "Minutes 620 " in other
    assert "Challenge met" in other
    assert "Points 10" in other
    assert "To review" not in other
    waiting = page_of(a_busy_book(), "S3")
    assert "Nothing counts so far. To review: 1 The whole page, everything may hang on it:" in waiting


def test_what_stands_out_is_worth_a_friendly_word_and_never_an_accusation() -> None:
    keen = book(sheet(student("S1"), month_of(PLAN, 20, d16=read("day:2027-10-16", 150))))
    text = page_of(keen, "S1")
    assert "Worth a friendly word Saturday 16 October has 150 minutes;" in text
    assert not any(word in text.casefold() for word in ("cheat", "suspicious", "implausible", "false"))
    assert "friendly" not in page_of(book(sheet(student("S1"), month_of(PLAN, 20))), "S1")


def test_the_command_shows_one_student_and_refuses_nobody(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    challenge_folder(tmp_path)
    assert cli.main(["status", "--folder", str(tmp_path), "--student", "S1"]) == 0
    assert capsys.readouterr().out.startswith("Ana Marsh, Flutes, S1")
    assert cli.main(["status", "--folder", str(tmp_path), "--student", "S9"]) == 1
    assert '"S9"' in capsys.readouterr().err


@pytest.mark.parametrize(
    ("of", "returns", "printed", "command"),
    [
        (book(), [], False, "charts"),
        (book(), [], True, "collect PATH"),
        (a_busy_book(), None, True, "review"),
        (a_busy_book(), [replace(a_return(1, "a.jpg"), state=ReturnState.WAITING)], True, "collect PATH"),
        (book(sheet(student("S1"), month_of(PLAN, 15))), None, True, "grades"),
    ],
)
def test_the_next_command(of: Book, returns: list[ReturnRecord] | None, printed: bool, command: str) -> None:
    assert shown(of, returns, charts_printed=printed).rstrip().endswith(f"Next: daybox {command}")
    assert shown(of, returns, charts_printed=printed, folder="oct").rstrip().endswith("--folder oct")


def test_how_far_to_trust_what_was_accepted_stands_between_what_is_open_and_what_to_do_next() -> None:
    said = ["Of 1,080 boxes accepted without you, expect about 0.4 wrong.", "A second sentence."]
    text = io.StringIO()
    Console(file=text, width=80, no_color=True).print(status(a_busy_book(), PLAN, [], [], trusted=said))
    lines = [line.rstrip() for line in text.getvalue().splitlines()]
    assert lines.index(said[0]) > next(
        n for n, line in enumerate(lines) if line.startswith("To review: 1 box")
    )
    assert lines[lines.index(said[0]) + 1] == said[1]


def test_it_fits_80_columns_and_a_name_in_brackets_is_no_markup() -> None:
    odd = replace(student("S1", "[bold]Flutes[/]"), first_name="[red]Ana", last_name="x" * 90)
    text = shown(book(sheet(odd, [], pages=()), sheet(student("S2"), [], pages=())), [a_return(1, "y" * 200)])
    assert "[red]Ana" in text
    assert text.count("[bold]Flutes[/]") == 2  # in the table and among the missing
    assert max(len(line.rstrip()) for line in text.splitlines()) <= 80


def test_the_command_shows_the_page_and_names_the_folder_in_the_next_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "my october"
    challenge_folder(folder)
    assert cli.main(["status", "--folder", str(folder)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "October (2027-10, due 2027-11-01)" in said
    assert "Ben Okoro" in said
    assert "Of 38 boxes accepted without you, expect hardly any" in said
    assert "Next: daybox grades --folder '" in said
