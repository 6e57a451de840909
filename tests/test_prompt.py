"""The review prompt, driven by keys as a person would."""

import io
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
import pytest
from prompt_toolkit.data_structures import Size
from prompt_toolkit.input import create_pipe_input
from prompt_toolkit.output import ColorDepth, DummyOutput
from prompt_toolkit.output.vt100 import Vt100_Output
from questions import (
    CHALLENGE,
    STUDENTS,
    FakeKeeper,
    box_question,
    chart_question,
    crop_saying,
    fake_crops,
)

from ingest.check.book import Flag, Question, Settled, State
from ingest.check.spoken import box_words
from ingest.errors import LedgerError
from ingest.review.ahead import CropsAhead, Cutter
from ingest.review.graphics import Graphics
from ingest.review.lines import ask_in_lines
from ingest.review.prompt import LOOK_S, Prompt, matching, parse_minutes
from ingest.review.screen import Screen
from ingest.review.viewer import opener
from ingest.review.wording import closing

ENTER, ESCAPE, CTRL_C, CTRL_D, DOWN, BACKSPACE = "\r", "\x1b", "\x03", "\x04", "\x1b[B", "\x7f"


class SlowHands:
    """A clock on which every look at it comes a second after the last, as if a person took their time."""

    def __init__(self, step: float = 1.0) -> None:
        self.now = 0.0
        self.step = step

    def __call__(self) -> float:
        self.now += self.step
        return self.now


@contextmanager
def asking(
    *questions: Question, clock: Callable[[], float] | None = None, near: Sequence[str] = ()
) -> Iterator[Prompt]:
    with CropsAhead(fake_crops()) as crops:
        notes = {2: "It came as october.zip/IMG_0042.jpg."}
        yield Prompt(FakeKeeper(questions), CHALLENGE, crops, notes, clock or SlowHands(), near={2: near})


def keeper_of(prompt: Prompt) -> FakeKeeper:
    keeper = prompt._keeper
    assert isinstance(keeper, FakeKeeper)
    return keeper


def type_on_screen(prompt: Prompt, *keys: str, viewed: list[Question] | None = None) -> None:
    """Type on the full screen; leaves with Ctrl-C unless the keys did before."""

    def view(question: Question) -> str:
        if viewed is not None:
            viewed.append(question)
        return "Opened."

    with create_pipe_input() as source:
        source.send_text("".join(keys) + CTRL_C)
        Screen(prompt, "October practice", view, source=source, output=DummyOutput()).run()


def picture_of_screen(prompt: Prompt, *keys: str, columns: int = 80, rows: int = 24) -> str:
    """The characters that the full screen writes while the keys are typed."""
    written = io.StringIO()
    output = Vt100_Output(
        written, lambda: Size(rows=rows, columns=columns), default_color_depth=ColorDepth.DEPTH_24_BIT
    )
    with create_pipe_input() as source:
        source.send_text("".join(keys) + CTRL_C)
        Screen(prompt, "October practice", lambda _: "Opened.", source=source, output=output).run()
    return written.getvalue()


# Answers


def test_number_and_enter_answers_and_keeps_what_was_shown() -> None:
    with asking(box_question(12), box_question(13)) as prompt:
        type_on_screen(prompt, "25", ENTER, "1:15", ENTER)
        keeper = keeper_of(prompt)
    assert keeper.said() == [("day:2027-10-12", "25"), ("day:2027-10-13", "75")]
    _, _, shown, by = keeper.answers[0]
    assert shown.startswith(b"\x89PNG\r\n\x1a\n")  # PNG signature, ISO/IEC 15948, 5.2
    assert by == "prompt"


def test_b_says_blank_at_once() -> None:
    with asking(box_question(12)) as prompt:
        type_on_screen(prompt, "b")
        assert keeper_of(prompt).said() == [("day:2027-10-12", "blank")]


@pytest.mark.parametrize(("confidence", "answers"), [(0.9, ["25"]), (0.89, [])])
def test_enter_alone_accepts_only_what_the_reader_is_nine_tenths_sure_of(
    confidence: float, answers: list[str]
) -> None:
    with asking(box_question(12, "25", confidence)) as prompt:
        assert prompt.offer == ("25 minutes" if answers else "")
        type_on_screen(prompt, ENTER)
        assert [answer for _, answer in keeper_of(prompt).said()] == answers


def test_what_is_hardly_possible_is_not_offered_however_well_it_was_read() -> None:
    with asking(box_question(12, "450", 0.99, reason="too-much")) as prompt:
        assert prompt.offer == ""
        type_on_screen(prompt, ENTER)
        assert keeper_of(prompt).answers == []


def test_an_unsure_suggestion_is_nowhere_on_the_screen() -> None:
    with asking(box_question(12, "37", 0.89)) as prompt:
        assert "37" not in picture_of_screen(prompt)
    with asking(box_question(12, "37", 0.95)) as prompt:
        assert "37 minutes" in picture_of_screen(prompt)


def test_enter_struck_twice_does_not_accept_a_box_that_nobody_has_seen() -> None:
    clock = SlowHands(step=0.0)
    with asking(box_question(12, "25", 0.99), box_question(13, "30", 0.99), clock=clock) as prompt:
        clock.now = 5.0
        prompt.enter("")
        clock.now += LOOK_S / 2
        prompt.enter("")
        type_on_screen(prompt, "bb")
        assert keeper_of(prompt).said() == [("day:2027-10-12", "25")]
        clock.now += LOOK_S * 1.01
        prompt.enter("")
        assert len(keeper_of(prompt).said()) == 2


@pytest.mark.parametrize("text", ["abc", "25x", "1:75", "-5", "2441", "99999999", "1.5", "²"])
def test_a_bad_entry_is_refused_in_words_and_stays_to_be_mended(text: str) -> None:
    with asking(box_question(12)) as prompt:
        assert prompt.enter(text) is False
        assert prompt.refused
        assert prompt.said.endswith(".")
        assert keeper_of(prompt).answers == []


def test_a_bad_entry_can_be_mended_on_the_line() -> None:
    with asking(box_question(12)) as prompt:
        type_on_screen(prompt, "25x", ENTER, BACKSPACE, ENTER)
        assert keeper_of(prompt).said() == [("day:2027-10-12", "25")]


def test_letters_are_no_commands_once_something_is_typed() -> None:
    with asking(box_question(12), box_question(13)) as prompt:
        type_on_screen(prompt, "2b", "l", "u", "q", ENTER, ESCAPE)
        assert keeper_of(prompt).answers == []
        assert prompt.left == 2
        assert prompt.put_off == 0


def test_hardly_possible_minutes_need_enter_twice() -> None:
    with asking(box_question(12), box_question(13)) as prompt:
        type_on_screen(prompt, "300", ENTER)
        assert "Enter again" in prompt.said
        assert keeper_of(prompt).answers == []
        type_on_screen(prompt, "300", ENTER)
        assert keeper_of(prompt).said() == [("day:2027-10-12", "300")]


def test_hardly_possible_minutes_are_not_doubted_where_that_is_the_question() -> None:
    with asking(box_question(12, "300", reason="too-much")) as prompt:
        assert prompt.enter("300")
        assert keeper_of(prompt).said() == [("day:2027-10-12", "300")]


def test_a_total_may_be_longer_than_a_day() -> None:
    week = Question("S001", "week:2", "", 0.0, (Flag("sum", "The week does not add up."),), 1)
    with asking(week) as prompt:
        assert prompt.enter("1500")
        assert keeper_of(prompt).said() == [("week:2", "1500")]


def circle_question(suggestion: str = "35") -> FakeKeeper:
    """A keeper that asks about the 12th, a day with circles of five minutes."""
    keeper = FakeKeeper([box_question(12, suggestion)])
    box = Settled("day:2027-10-12", State.FLAGGED, int(suggestion), 0.6, (), 1, minutes_each=5)
    maria, *others = keeper.book.sheets
    keeper.book = replace(keeper.book, sheets=(replace(maria, boxes={box.box: box}), *others))
    return keeper


def test_of_circles_it_says_what_each_counts() -> None:
    with CropsAhead(fake_crops()) as crops:
        prompt = Prompt(circle_question(), CHALLENGE, crops)
        assert prompt.why == "The writing is hard to read. Each filled circle counts 5 minutes."


@pytest.mark.parametrize("typed", ["7", "3"])
def test_a_number_that_may_be_circles_needs_enter_twice(typed: str) -> None:
    keeper = circle_question()
    with CropsAhead(fake_crops()) as crops:
        prompt = Prompt(keeper, CHALLENGE, crops, clock=SlowHands())
        assert not prompt.enter(typed)
        assert f"{typed} circles would be {5 * int(typed)}" in prompt.said
        assert len(prompt.said) < 80
        assert prompt.enter(typed)
        assert keeper_of(prompt).said() == [("day:2027-10-12", typed)]


def test_ten_may_be_ten_circles_where_ten_are_seen() -> None:
    with CropsAhead(fake_crops()) as crops:
        prompt = Prompt(circle_question("50"), CHALLENGE, crops, clock=SlowHands())
        assert not prompt.enter("10")
        prompt = Prompt(circle_question("20"), CHALLENGE, crops, clock=SlowHands())
        assert prompt.enter("10")
        prompt = Prompt(circle_question("50"), CHALLENGE, crops, clock=SlowHands())
        assert prompt.enter("50")


# Undo, later, help, page, leaving


def test_undo_takes_the_last_answer_back_and_asks_again() -> None:
    with asking(box_question(12), box_question(13)) as prompt:
        type_on_screen(prompt, "25", ENTER, "u", "35", ENTER)
        assert keeper_of(prompt).said() == [("day:2027-10-12", "35")]
        assert prompt.answered == 1


def test_undo_works_after_the_last_question_too() -> None:
    with asking(box_question(12)) as prompt:
        type_on_screen(prompt, "25", ENTER, "u")
        assert keeper_of(prompt).answers == []
        assert prompt.question is not None


def test_undo_goes_back_through_answers_and_put_off_ones_in_turn() -> None:
    first, second, third = (box_question(day) for day in (12, 13, 14))
    with asking(first, second, third) as prompt:
        prompt.enter("1")
        prompt.later()
        prompt.enter("3")
        assert prompt.question is None
        asked: list[Question | None] = []
        for _ in range(3):
            prompt.undo()
            asked.append(prompt.question)
        assert asked == [third, second, first]
        assert keeper_of(prompt).answers == []
        assert prompt.undo() is False
        assert "nothing to take back" in prompt.said


def test_undoing_later_after_it_was_asked_again_takes_back_no_other_answer() -> None:
    with asking(box_question(12), box_question(13)) as prompt:
        prompt.enter("1")
        prompt.later()
        prompt.later()  # nothing else is left: asks again what was put off
        prompt.enter("2")
        prompt.undo()
        prompt.undo()
        assert keeper_of(prompt).said() == [("day:2027-10-12", "1")]


def test_later_leaves_the_question_open_and_counts_it() -> None:
    with asking(box_question(12), box_question(13)) as prompt:
        type_on_screen(prompt, "l", "30", ENTER)
        assert keeper_of(prompt).said() == [("day:2027-10-13", "30")]
        assert (prompt.left, prompt.put_off, prompt.question) == (1, 1, None)


def test_help_shows_and_any_key_goes_back_without_doing_anything_else() -> None:
    with asking(box_question(12)) as prompt:
        assert "Any key goes back" in picture_of_screen(prompt, "?")
        type_on_screen(prompt, "?", "b", "25", ENTER)
        assert keeper_of(prompt).said() == [("day:2027-10-12", "25")]


def test_p_views_the_page_of_the_question() -> None:
    viewed: list[Question] = []
    question = box_question(12)
    with asking(question) as prompt:
        type_on_screen(prompt, "p", viewed=viewed)
        assert viewed == [question]
        assert prompt.said == "Opened."


@pytest.mark.parametrize("leave", ["q", CTRL_C, CTRL_D])
def test_leaving_keeps_what_was_answered(leave: str) -> None:
    with asking(box_question(12), box_question(13)) as prompt:
        type_on_screen(prompt, "25", ENTER, leave, "30", ENTER)
        assert keeper_of(prompt).said() == [("day:2027-10-12", "25")]


def test_a_refusing_ledger_ends_the_screen_with_its_own_error() -> None:
    class FullDisk(FakeKeeper):
        def answer(self, question: Question, answer: str, shown: bytes = b"", by: str = "prompt") -> None:
            raise LedgerError("The disk is full.")

    with CropsAhead(fake_crops()) as crops:
        prompt = Prompt(FullDisk([box_question(12)]), CHALLENGE, crops, clock=SlowHands())
        with pytest.raises(LedgerError, match="disk is full"):
            type_on_screen(prompt, "25", ENTER)


# Whose page


def test_typing_part_of_a_name_and_enter_gives_the_page_to_the_student() -> None:
    with asking(chart_question()) as prompt:
        type_on_screen(prompt, "okonk", ENTER)
        assert keeper_of(prompt).said() == [("chart", "S002")]


def test_arrows_choose_among_those_listed() -> None:
    with asking(chart_question()) as prompt:
        assert [student.id for student in prompt.students("lop")] == ["S001", "S003"]
        type_on_screen(prompt, "lop", DOWN, DOWN, DOWN, ENTER)  # no further than the last
        assert keeper_of(prompt).said() == [("chart", "S003")]


def test_command_letters_need_enter_where_names_are_typed() -> None:
    with asking(chart_question(), box_question(12)) as prompt:
        type_on_screen(prompt, "quill", ENTER)  # neither q nor u nor l was taken for a command
        assert keeper_of(prompt).said() == [("chart", "S004")]
    with asking(chart_question(), box_question(12)) as prompt:
        type_on_screen(prompt, "l", ENTER, "b")
        assert keeper_of(prompt).said() == [("day:2027-10-12", "blank")]


def test_a_page_whose_owner_is_known_is_asked_about_by_name() -> None:
    late = Question("S002", "chart", "S002", 1.0, (Flag("late", "It came on 3 November."),), 2)
    with asking(chart_question(), late) as prompt:
        assert " ".join(prompt.who) == "Whose chart is this?"
        assert "It came as october.zip/IMG_0042.jpg." in prompt.why
        prompt.not_ours()
        assert prompt.who == ("Zoë Okonkwo-Lind", "Period 2", "the whole page")


BLANK_CHART = Question("S002", "chart", "S002", 0.0, (Flag("blank-chart", "Nothing is on it."),), 2)


@pytest.mark.parametrize(("key", "answer"), [("y", "S002"), ("n", "not ours")])
def test_whether_a_page_counts_is_answered_by_y_or_n(key: str, answer: str) -> None:
    with asking(BLANK_CHART) as prompt:
        assert prompt.letters == {
            "y": "yes",
            "n": "no",
            "l": "later",
            "u": "undo",
            "p": "page",
            "?": "help",
            "q": "quit",
        }
        type_on_screen(prompt, key, ENTER)
        assert keeper_of(prompt).said() == [("chart", answer)]
        counts = "counts" if key == "y" else "does not count"
        assert prompt.said == f"Saved: Zoë Okonkwo-Lind, the whole page: {counts}."


def test_what_nobody_has_looked_at_is_not_waved_through_and_may_be_anothers() -> None:
    with asking(BLANK_CHART) as prompt:
        type_on_screen(prompt, ENTER)
        assert keeper_of(prompt).said() == []
        assert "Type y or n" in prompt.said
        shown = picture_of_screen(prompt)
        assert "Does it count?" in shown
        assert "quit" in shown  # the keys have room
        assert "it is left out" in picture_of_screen(prompt, "?", ENTER)
        type_on_screen(prompt, "quill", ENTER)
        assert keeper_of(prompt).said() == [("chart", "S004")]
        assert prompt.said == "Saved: the page belongs to Petra Quill."


def test_the_closest_names_are_listed_but_enter_alone_takes_none() -> None:
    with asking(chart_question("S003", 0.5), near=("S003", "S001", "S999")) as prompt:
        assert [student.id for student in prompt.students("")] == ["S003", "S001"]
        text = picture_of_screen(prompt)
        assert "Aurelio Lopes, Period 5, S003" in text
        assert "Maria Lopez, Period 2, S001" in text
        type_on_screen(prompt, ENTER)
        assert keeper_of(prompt).said() == []
        type_on_screen(prompt, DOWN, DOWN, ENTER)
        assert keeper_of(prompt).said() == [("chart", "S001")]
    with asking(chart_question("S003", 0.5), near=("S003", "S001")) as prompt:
        type_on_screen(prompt, DOWN, ENTER)
        assert keeper_of(prompt).said() == [("chart", "S003")]


def test_with_an_offer_the_arrows_go_on_from_there() -> None:
    with asking(chart_question("S003", 0.95), near=("S001", "S003")) as prompt:
        assert [student.id for student in prompt.students("")] == ["S003", "S001"]
        type_on_screen(prompt, DOWN, ENTER)
        assert keeper_of(prompt).said() == [("chart", "S001")]


def test_what_is_typed_after_an_arrow_counts() -> None:
    with asking(chart_question(), near=("S003", "S001")) as prompt:
        type_on_screen(prompt, DOWN, "quill", ENTER)
        assert keeper_of(prompt).said() == [("chart", "S004")]


def test_n_says_not_ours() -> None:
    with asking(chart_question()) as prompt:
        type_on_screen(prompt, "n", ENTER)
        assert keeper_of(prompt).said() == [("chart", "not ours")]


@pytest.mark.parametrize(
    ("suggestion", "confidence", "answers"),
    [
        ("S003", 0.95, ["S003"]),
        ("S003", 0.5, []),
        ("S999", 0.95, []),
        ("", 0.0, []),
        ("not ours", 1.0, ["not ours"]),
    ],
)
def test_enter_alone_takes_only_a_likely_student_of_the_roster(
    suggestion: str, confidence: float, answers: list[str]
) -> None:
    with asking(chart_question(suggestion, confidence)) as prompt:
        type_on_screen(prompt, ENTER)
        assert [answer for _, answer in keeper_of(prompt).said()] == answers


def test_the_student_offered_is_listed_in_full() -> None:
    with asking(chart_question("S003", 0.95)) as prompt:
        assert "Aurelio Lopes, Period 5, S003" in picture_of_screen(prompt)
    with asking(chart_question("S003", 0.5)) as prompt:
        assert "Aurelio" not in picture_of_screen(prompt)


def test_an_unknown_name_gives_the_page_to_nobody() -> None:
    with asking(chart_question("S003", 0.95)) as prompt:
        type_on_screen(prompt, "xyzzy", ENTER)
        assert keeper_of(prompt).answers == []
        assert "Nobody" in prompt.said


@pytest.mark.parametrize(
    ("text", "first"),
    [
        ("maria", "S001"),
        ("LOPEZ MARIA", "S001"),
        ("zoe", "S002"),
        ("Okonkwo Lind", "S002"),
        ("lopze", "S001"),
        ("s004", "S004"),
        ("aurelio lop", "S003"),
    ],
)
def test_students_are_found_in_either_order_without_accents_and_with_slips(text: str, first: str) -> None:
    assert matching(text, STUDENTS)[0].id == first


@pytest.mark.parametrize("text", ["", "  ", "xyzzy", "maria callas quartet of the moon"])
def test_nobody_is_found_for_what_is_no_name(text: str) -> None:
    assert matching(text, STUDENTS) == []


# Pictures


def test_no_crop_is_cut_twice_and_the_next_ones_are_cut_ahead() -> None:
    cut: list[str] = []

    @contextmanager
    def counting() -> Iterator[Cutter]:
        def cutter(question: Question) -> np.ndarray[tuple[int, int], np.dtype[np.uint8]]:
            cut.append(question.box)
            return np.full((96, 174), 200, np.uint8)

        yield cutter

    questions = [box_question(day) for day in range(1, 11)]
    with CropsAhead(counting()) as crops:
        prompt = Prompt(FakeKeeper(questions), CHALLENGE, crops, clock=SlowHands())
        crops.get(questions[3])
        assert [box[-2:] for box in cut] == ["01", "02", "03", "04"]
        prompt.enter("20")
        prompt.enter("20")
    assert len(cut) == len(set(cut)) <= 6


def test_a_missing_picture_is_told_and_the_question_can_still_be_answered() -> None:
    @contextmanager
    def broken() -> Iterator[Cutter]:
        def cutter(_: Question) -> np.ndarray[tuple[int, int], np.dtype[np.uint8]]:
            raise LedgerError('The picture of page 1 is not in the folder "pages".')

        yield cutter

    with CropsAhead(broken()) as crops:
        prompt = Prompt(FakeKeeper([box_question(12, "25", 0.99)]), CHALLENGE, crops, clock=SlowHands())
        assert prompt.offer == ""  # what nobody can see is not for waving through
        assert "The picture of page 1" in picture_of_screen(prompt)
        type_on_screen(prompt, "25", ENTER)
        keeper = keeper_of(prompt)
    assert keeper.answers[0][2] == b""


@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (120, 40), (20, 5), (1, 1), (200, 60)])
@pytest.mark.parametrize("question", [box_question(12), chart_question()], ids=["box", "chart"])
def test_every_size_of_terminal_is_survived(question: Question, columns: int, rows: int) -> None:
    with asking(question) as prompt:
        assert picture_of_screen(prompt, "?", "x", "25", ENTER, ESCAPE, columns=columns, rows=rows)


def test_the_screen_says_who_which_day_why_and_how_many_are_left() -> None:
    with asking(box_question(12), box_question(13)) as prompt:
        screen = picture_of_screen(prompt)
    for words in ("Maria Lopez", "Period 2", "Tuesday 12 October", "The writing is hard to read.", "2 left"):
        assert words in screen


def test_real_pictures_are_sent_once_a_question_and_taken_away_for_help() -> None:
    written = io.StringIO()
    output = Vt100_Output(written, lambda: Size(rows=24, columns=80))
    waiting = iter(["2", "5", ENTER, "3", "?", CTRL_C])
    sent: list[int] = []
    with asking(box_question(12), box_question(13)) as prompt, create_pipe_input() as source:

        def next_key(_: object) -> None:
            sent.append(written.getvalue().count("a=T,f=100"))
            source.send_text(next(waiting, ""))

        screen = Screen(prompt, "October", lambda _: "", Graphics.KITTY, source=source, output=output)
        screen.on_render(next_key)
        screen.run()
    assert sent[:6] == [1, 1, 1, 2, 2, 2]  # shown, 2, 5, Enter, 3, and a ? after the 3: no command
    assert written.getvalue().count("a=d,d=A") == 1  # the first picture, when the second question came
    assert not any(block in written.getvalue() for block in "▘▝▀▖▌")


# Line by line


def type_lines(prompt: Prompt, lines: Sequence[str], columns: int = 80, rows: int = 24) -> list[str]:
    """Type lines, then end of input; returns all that was written."""
    written: list[str] = []
    waiting = iter(lines)

    def read(label: str) -> str:
        written.append(label)
        try:
            return next(waiting)
        except StopIteration:
            raise EOFError from None

    ask_in_lines(prompt, lambda _: "Opened.", read, written.append, columns, rows)
    return written


def test_lines_answer_undo_put_off_and_leave() -> None:
    questions = [box_question(day) for day in (12, 13, 14)]
    with asking(*questions) as prompt:
        type_lines(prompt, ["25", "u", "35", "l", "what?", "b", "q"])
        assert keeper_of(prompt).said() == [("day:2027-10-12", "35"), ("day:2027-10-14", "blank")]
        assert prompt.put_off == 1


def test_lines_are_plain_ascii_and_fit_the_screen() -> None:
    with asking(box_question(12), box_question(13)) as prompt:
        written = type_lines(prompt, ["?", "p"])
    text = "\n".join(written)
    assert text.isascii()
    assert "\x1b" not in text
    assert max(map(len, text.splitlines())) < 80
    first = text.partition("Minutes")[0]
    assert len(first.splitlines()) <= 24


def test_lines_survive_a_terminal_of_no_size() -> None:
    with asking(box_question(12)) as prompt:
        type_lines(prompt, ["25"], columns=0, rows=0)
        assert prompt.answered == 1


def test_lines_say_who_is_near_and_take_y_or_n() -> None:
    with asking(chart_question(), BLANK_CHART, near=("S003", "S001")) as prompt:
        text = "\n".join(type_lines(prompt, ["n", "y"]))
        assert "Perhaps: Aurelio Lopes (S003), Maria Lopez (S001)" in text
        assert "Does it count? y or n" in text
        assert keeper_of(prompt).said() == [("chart", "not ours"), ("chart", "S002")]


def test_lines_list_students_to_pick_by_number() -> None:
    with asking(chart_question()) as prompt:
        written = type_lines(prompt, ["nobody at all", "lop", "", "lop", "7", "lop", "1"])
        assert keeper_of(prompt).said() == [("chart", "S001")]
    assert any("Nobody" in line for line in written)


def test_lines_accept_an_offer_with_enter() -> None:
    with asking(chart_question("S002", 0.97), box_question(12, "blank", 0.95)) as prompt:
        type_lines(prompt, ["", ""])
        assert keeper_of(prompt).said() == [("chart", "S002"), ("day:2027-10-12", "blank")]


def test_lines_end_after_the_last_question() -> None:
    with asking(box_question(12)) as prompt:
        written = type_lines(prompt, ["25", "", "never read"])
    assert "settled" in "".join(written)
    assert written.count("> ") == 1


# Words


@pytest.mark.parametrize(
    ("text", "minutes"),
    [
        ("0", 0),
        ("25", 25),
        (" 007 ", 7),
        ("45 min", 45),
        ("45m", 45),
        ("1:15", 75),
        ("0:05", 5),
        ("1h", 60),
        ("1 hr", 60),
        ("1h15", 75),
        ("1 H 15 min", 75),
        ("-", 0),
        ("24:00", 1440),
    ],
)
def test_minutes_are_understood_as_people_write_them(text: str, minutes: int) -> None:
    assert parse_minutes(text) == minutes


@pytest.mark.parametrize("text", ["", "b", "1:60", "1:", ":15", "--", "1,5", "+5", "٣", "15 20", "1e3"])
def test_what_is_no_number_of_minutes_is_none(text: str) -> None:
    assert parse_minutes(text) is None


def test_days_are_said_with_their_weekday() -> None:
    assert box_words("day:2027-10-12") == "Tuesday 12 October"  # a Tuesday by Zeller's congruence
    assert box_words("outside:2027-11-01") == "Monday 1 November, not in this month"
    assert box_words("week:2") == "total of week 2"


def test_the_last_words_name_the_next_command() -> None:
    assert "`daybox grades`" in closing(answered=3, left=0)
    assert "`daybox review`" in closing(answered=1, left=2)
    assert closing(1, 2).startswith("1 answer saved, 2 left")


@pytest.mark.parametrize(
    ("environ", "platform", "program"),
    [
        ({}, "linux", None),
        ({"DISPLAY": ":0"}, "linux", "xdg-open"),
        ({"WAYLAND_DISPLAY": "wayland-0"}, "linux", "xdg-open"),
        ({}, "darwin", "open"),
        ({}, "win32", "startfile"),
    ],
)
def test_pages_open_only_where_there_is_a_desktop(
    environ: dict[str, str], platform: str, program: str | None
) -> None:
    assert opener(environ, platform) == program


def test_the_fake_crop_is_a_picture() -> None:
    assert crop_saying("25").std() > 5
