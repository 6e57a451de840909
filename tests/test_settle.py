"""Whose page it is, what a box stands for, and what a person is asked, in what words."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial
from typing import Any

import pytest
from factories import NOON, Said, october, origin, page, readings, students

from ingest.check.answers import NOT_OURS, parse_answer
from ingest.check.book import Flag, Settled, Sheet, State
from ingest.check.evidence import OwnPage
from ingest.check.ownership import Claim, Grade, Hints, claim
from ingest.check.questions import about_boxes
from ingest.check.settle import Chart
from ingest.check.settle import settle as settle_as_shipped
from ingest.collect.owner import NOBODY, Guess
from ingest.errors import AnswerError
from ingest.ledger.records import AnswerRecord, ChartRecord, CopyRecord, PageRecord
from ingest.plan.challenge import Challenge
from ingest.reading.certainty import Clearness, Threshold

PLAN = october()
DUE = october(hand_in={"due": "2027-11-01", "late": "flag"})
NOVEMBER_3 = datetime(2027, 11, 3, 9)

pytestmark = pytest.mark.usefixtures("usual_threshold")


# -- whose page ---------------------------------------------------------------------------------------


def grade(challenge: Challenge = PLAN, former: int = 0) -> Grade:
    """S001 to S003, of whom the last `former` have left; charts K001 to K003, spare X001."""
    everybody = students(3)
    here, gone = everybody[: 3 - former], everybody[3 - former :]
    charts = [ChartRecord(f"K{student.id[1:]}", student.id, "l1") for student in everybody]
    charts.append(ChartRecord("X001", None, "l1"))
    return Grade(
        challenge,
        {chart.code: chart for chart in charts},
        {student.id: student for student in here},
        {student.id: student for student in gone},
    )


def claimed(
    of: PageRecord, answer: str = "", *, dated: datetime | None = NOON, school: Grade | None = None
) -> Claim:
    return claim(of, origin(dated=dated), school or grade(), answer)


def asked(found: Claim) -> tuple[list[str], str, str]:
    """(reasons, suggestion, first reason's words) of the question about a page that is nobody's yet."""
    assert found.owner == ""
    assert found.question is not None
    assert found.question.box == "chart"
    reasons = [flag.reason for flag in found.question.flags]
    return reasons, found.question.suggestion, found.question.flags[0].why


def test_a_known_code_says_whose_page_it_is() -> None:
    assert claimed(page(readings(PLAN), code="K002")) == Claim("S002", None)


def test_a_page_that_shows_no_chart_is_not_asked_about() -> None:
    found = claimed(page((), problem="no chart can be seen", code=None))
    assert found == Claim("", None, "no chart can be seen")


@pytest.mark.parametrize(
    ("changes", "reason", "suggestion", "words"),
    [
        ({"code": None, "code_challenge": None}, "no-code", "", "No chart code can be read"),
        (
            {"code": None, "code_challenge": None, "guess": "S003", "guess_score": 96.0},
            "no-code",
            "S003",
            "anybody's",
        ),
        ({"code": None, "guess": "S999", "guess_score": 96.0}, "no-code", "", "anybody's"),
        ({"code": "ZZZZ"}, "unknown-code", "", "ZZZZ is none of those printed"),
        ({"code": "X001", "guess": "S002", "guess_score": 60.0}, "spare", "S002", "spare chart"),
        (
            {"code": "K001", "guess": "S002", "guess_score": 90.0},
            "shared-code",
            "S002",
            "name says Ben Two, but the chart was printed for Ana One",
        ),
    ],
)
def test_a_page_in_doubt_belongs_to_nobody_until_a_person_says(
    changes: dict[str, Any], reason: str, suggestion: str, words: str
) -> None:
    reasons, offered, why = asked(claimed(page(readings(PLAN), **changes)))
    assert reasons == [reason]
    assert offered == suggestion
    assert words in why


@pytest.mark.parametrize(("month", "words"), [("2027-09", "September 2027"), ("soon", "soon")])
def test_last_months_chart_is_nobodys_without_a_question(month: str, words: str) -> None:
    found = claimed(page((), code="ZZZZ", code_challenge=month))
    assert found == Claim("", None, f"This is a chart for {words}, not for October 2027.")


def test_a_chart_that_we_printed_is_ours_whatever_month_its_code_names() -> None:
    assert claimed(page(readings(PLAN), code_challenge="2027-09")) == Claim("S001", None)


def test_an_id_that_passed_to_another_child_is_asked_about() -> None:
    school = grade()
    charts = {**school.charts, "K001": ChartRecord("K001", "S001", "l1", "Dora Quill")}
    reasons, suggestion, why = asked(claimed(page(readings(PLAN)), school=replace(school, charts=charts)))
    assert (reasons, suggestion) == (["renamed"], "")
    assert why == "The chart was printed for Dora Quill, but the roster now gives the id S001 to Ana One."
    charts = {**school.charts, "K001": ChartRecord("K001", "S001", "l1", "Anna One")}
    assert claimed(page(readings(PLAN)), school=replace(school, charts=charts)) == Claim("S001", None)


# -- a name that was read on the page, and the same file under other names


def hinted(of: PageRecord, written: Guess = NOBODY, copies: Sequence[CopyRecord] = ()) -> Claim:
    return claim(of, origin(), grade(), "", Hints(written, copies))


@pytest.mark.parametrize("code", ["X001", None])
@pytest.mark.parametrize(
    ("written", "path", "owner"),
    [
        (Guess("S002", 100.0), "", "S002"),
        (Guess("S002", 85.0), "", ""),  # a letter was misread: nearly sure is not sure
        (Guess("S002", 85.0), "S002", "S002"),  # but two signs agree
        (Guess("S002", 60.0), "S002", ""),
        (Guess("S002", 100.0), "S003", ""),  # the path names somebody else
        (Guess("S009", 100.0), "", ""),  # not on the roster
        (NOBODY, "S002", ""),
    ],
)
def test_a_written_name_says_whose_page_it_is_where_it_is_sure(
    code: str | None, written: Guess, path: str, owner: str
) -> None:
    found = hinted(page(readings(PLAN), code=code, guess=path, guess_score=95.0 if path else 0.0), written)
    assert found.owner == owner
    assert (found.question is None) == bool(owner)


def test_a_written_name_is_suggested_but_nobody_may_wave_it_through() -> None:
    question = hinted(page(readings(PLAN), code="X001"), Guess("S002", 95.0)).question
    assert question is not None
    assert (question.suggestion, question.confidence) == ("S002", 0.5)


def test_a_written_name_does_not_settle_a_code_that_was_never_printed() -> None:
    found = hinted(page(readings(PLAN), code="ZZZZ"), Guess("S002", 100.0))
    assert asked(found)[:2] == (["unknown-code"], "S002")


def test_the_same_file_under_two_students_names_is_asked_about() -> None:
    copy = CopyRecord(1, "Ben Two/IMG_7.jpg", "S002", 100.0)
    reasons, _, why = asked(hinted(page(readings(PLAN)), copies=[copy]))
    assert reasons == ["shared-code"]
    assert "came as Ben Two/IMG_7.jpg too, which says Ben Two, but the chart was printed for Ana One" in why


@pytest.mark.parametrize(("guess", "score"), [("S001", 100.0), ("S002", 60.0), ("S999", 100.0), ("", 0.0)])
def test_the_same_file_once_more_is_no_matter(guess: str, score: float) -> None:
    copy = CopyRecord(1, "again/IMG_7.jpg", guess, score)
    assert hinted(page(readings(PLAN)), copies=[copy]) == Claim("S001", None)


def test_a_page_of_which_nothing_was_read_is_asked_about() -> None:
    reasons, _, why = asked(claimed(page(())))
    assert reasons == ["poor-fit"]
    assert "could not be found" in why


@pytest.mark.parametrize(("guess", "score"), [("S002", 89.9), ("S001", 100.0), ("", 0.0), ("S999", 100.0)])
def test_a_printed_code_is_not_doubted_lightly(guess: str, score: float) -> None:
    assert claimed(page(readings(PLAN), guess=guess, guess_score=score)) == Claim("S001", None)


def test_the_chart_of_a_student_who_left_is_asked_about() -> None:
    reasons, offered, why = asked(claimed(page(readings(PLAN), code="K003"), school=grade(former=1)))
    assert (reasons, offered) == (["student-left"], NOT_OURS)
    assert "Cleo Three" in why


def test_an_answer_settles_whose_page_it_is() -> None:
    spare = page(readings(PLAN), code="X001")
    assert claimed(spare, "S002") == Claim("S002", None)
    left_out = Claim("", None, "You said that it does not count.")
    assert claimed(spare, NOT_OURS) == left_out
    assert claimed(page(readings(PLAN)), NOT_OURS) == left_out
    assert claimed(spare, "").question is not None


def test_an_answer_naming_a_student_who_has_left_since_is_asked_again() -> None:
    assert claimed(page(readings(PLAN), code="X001"), "S003", school=grade(former=1)).question is not None


@pytest.mark.parametrize(
    ("dated", "is_asked"),
    [
        (datetime(2027, 11, 1, 23, 59), False),  # the due day itself is in time
        (datetime(2027, 11, 2, 0, 1), True),
        (None, False),
    ],
)
def test_late_returns_are_asked_about_if_the_plan_says_so(dated: datetime | None, is_asked: bool) -> None:
    found = claimed(page(readings(DUE)), dated=dated, school=grade(DUE))
    assert (found.question is not None) == is_asked
    if is_asked:
        reasons, offered, why = asked(found)
        assert reasons == ["late"]
        assert offered == "S001"
        assert why == "Handed in on 2 November; it was due on 1 November. Does it count?"
    accepted = october(hand_in={"due": "2027-11-01"})
    assert claimed(page(readings(PLAN)), dated=dated, school=grade(accepted)).owner == "S001"


# -- one chart ----------------------------------------------------------------------------------------


def answer(box: str, text: str, at: datetime = NOON + timedelta(hours=1)) -> dict[str, AnswerRecord]:
    return {box: AnswerRecord(1, at, "S001", box, 1, text, "", "", "prompt", b"")}


# Confidences as they come: what the clearness of a chart makes of them has tests of its own.
settle = partial(settle_as_shipped, clearness=Clearness())


def chart(challenge: Challenge = PLAN, minutes: int | None = 20, **said: Said) -> Chart:
    return settle([OwnPage(page(readings(challenge, minutes, **said)), origin())], {}, challenge)


def day(number: int) -> str:
    return f"day:2027-10-{number:02}"


def flagged(found: Chart) -> dict[str, str]:
    """Reasons of the flagged boxes, by name."""
    assert found.doubts.keys() == {b.box for b in found.boxes.values() if b.state is State.FLAGGED}
    return {name: ";".join(flag.reason for flag in found.boxes[name].flags) for name in found.doubts}


def only_flag(box: Settled) -> Flag:
    (flag,) = box.flags
    return flag


def test_a_chart_in_order_is_taken_as_it_is() -> None:
    found = chart(d5=0, d6=None, w2=100, month=580)
    assert flagged(found) == {}
    assert found.boxes[day(4)].confidence == pytest.approx(0.9999)
    assert replace(found.boxes[day(4)], confidence=1.0) == Settled(day(4), State.READ, 20, 1.0, (), 1)
    assert found.boxes[day(5)].state is State.READ
    assert found.boxes[day(5)].value == 0
    assert replace(found.boxes[day(6)], confidence=1.0) == Settled(day(6), State.BLANK, None, 1.0, (), 1)
    assert found.boxes["week:2"].value == 100
    assert found.boxes["initials:2"].state is State.READ
    assert found.boxes["initials:2"].value is None


def test_nothing_handed_in_is_an_empty_chart() -> None:
    assert settle([], {}, PLAN) == Chart({}, {}, (), False)
    unread = OwnPage(page(()), origin())
    assert settle([unread], {}, PLAN) == Chart({}, {}, (1,), False)


def test_an_unsure_box_is_asked_about_with_its_best_guess() -> None:
    found = chart(d5=((25, 0.7), (45, 0.2)), w2=None, month=None)
    assert flagged(found) == {day(5): "illegible"}
    box = found.boxes[day(5)]
    assert box.value == 25
    assert box.confidence == pytest.approx(0.7)


def test_a_day_that_looks_blank_is_borne_out_by_a_sum_but_not_by_a_blank_total() -> None:
    """Faint pencil goes from all boxes at once, and nothing and nothing always adds up."""
    doubtful = ((None, 0.9), (15, 0.05))
    borne_out = chart(d5=doubtful, w2=120, w3=None, w4=None, month=None)
    assert borne_out.boxes[day(5)].state is State.BLANK
    days: dict[str, Any] = {f"d{number}": doubtful for number in range(3, 10)}
    faint = chart(**days, w2=((None, 0.9), (90, 0.05)), month=None)
    assert {day(number) for number in range(3, 10)} <= flagged(faint).keys()
    assert "faint" in faint.boxes[day(5)].flags[0].why


def test_a_dash_or_nothing_is_nothing_either_way() -> None:
    either = chart(d5=((None, 0.6), (0, 0.399)), w2=None, month=None)
    assert either.boxes[day(5)].state is State.BLANK
    assert either.boxes[day(5)].confidence == pytest.approx(0.999)


def test_a_week_without_practice_keeps_its_blank_total() -> None:
    """A 0 would add up, and a blank says nothing; but what stands there is for the ink to say."""
    days: dict[str, Any] = {f"d{number}": None for number in range(3, 10)}
    found = chart(**days, w2=((None, 0.55), (0, 0.449)))
    assert found.boxes["week:2"].state is State.BLANK


def test_a_0_that_is_written_for_sure_is_borne_out_by_days_without_practice() -> None:
    days: dict[str, Any] = {f"d{number}": None for number in range(3, 10)}
    written = chart(**days, w2=((0, 0.85), (6, 0.1)), month=None)
    assert written.boxes["week:2"].state is State.READ
    assert written.boxes["week:2"].value == 0
    hardly = chart(**days, w2=((0, 0.8), (None, 0.05)), month=None)
    assert flagged(hardly) == {"week:2": "illegible"}


def test_a_sum_that_agrees_spares_the_question() -> None:
    found = chart(d5=((75, 0.5), (20, 0.45)))
    assert flagged(found) == {}
    assert found.boxes[day(5)].value == 20


def test_a_sum_that_only_repeats_a_doubt_does_not_settle_it() -> None:
    """A 7 like a 1, in a day, its week's total and the month's: as sure as the surest of the three."""
    others: dict[str, Any] = {f"d{number}": None for number in range(3, 10) if number != 5}
    days: dict[str, Any] = {**others, "d5": ((15, 0.6), (25, 0.1), (75, 0.29))}
    month = 15 + 25 * 24  # 615 or 675
    week = ((15, 0.9), (75, 0.09))
    repeated = chart(minutes=25, **days, w2=week, month=((month, 0.9), (month + 60, 0.09)))
    assert {"week:2", day(5)} <= flagged(repeated).keys()
    assert repeated.boxes[day(5)].confidence == repeated.boxes["week:2"].confidence == pytest.approx(0.9)
    assert day(5) in flagged(chart(minutes=25, **days, w2=week, month=640))  # which bears nothing out
    # another sign in the month's total is another matter, and so is one that is sure
    assert flagged(chart(minutes=25, **days, w2=week, month=((month, 0.9), (month + 1, 0.09)))) == {}
    assert flagged(chart(minutes=25, **days, w2=((15, 0.999),), month=None)) == {}


def test_a_hand_whose_4_looks_like_a_9_is_seen_through() -> None:
    four: Said = ((95, 0.997), (45, 0.001))
    month = 25 * 28 + 45 * 3
    found = chart(minutes=25, d4=four, d5=four, d6=four, w2=25 * 4 + 45 * 3, month=month)
    assert flagged(found) == dict.fromkeys((day(4), day(5), day(6)), "sum")
    assert {found.boxes[day(number)].value for number in (4, 5, 6)} == {45}
    assert only_flag(found.boxes[day(4)]).why.startswith("Read as 95, but then the sums")


def test_such_a_hand_is_not_taken_at_its_word_where_a_day_and_the_month_agree() -> None:
    """A day and the month's total have the same 9 for a 4; only the week's total has none and differs."""
    found = chart(d5=((90, 0.997),), w2=160, month=((690, 0.997), (640, 0.002)))
    assert {day(5), "month"} <= flagged(found).keys()


def test_what_a_child_usually_writes_spares_a_question() -> None:
    no_sums: dict[str, Any] = {f"w{n}": None for n in range(1, 7)} | {"month": None}
    found = chart(d5=((20, 0.9), (30, 0.09)), **no_sums)
    assert flagged(found) == {}
    assert found.boxes[day(5)].value == 20
    assert flagged(chart(d5=((25, 0.9), (35, 0.09)), **no_sums)) == {day(5): "illegible"}


def test_sums_do_not_settle_what_the_ink_hardly_shows() -> None:
    found = chart(d5=((55, 0.85), (20, 0.04)))
    assert flagged(found) == {day(5): "illegible"}


def test_what_is_no_number_is_asked_about_without_a_guess_that_is_not_there() -> None:
    found = chart(d5=(("?", 0.9), (25, 0.05)), d6=(("?", 0.9),), w2=None, month=None)
    assert flagged(found) == {day(5): "not-a-number", day(6): "not-a-number"}
    assert "perhaps it was crossed out" in found.boxes[day(5)].flags[0].why
    assert found.boxes[day(5)].value == 25
    assert (found.boxes[day(6)].value, found.boxes[day(6)].confidence) == (None, 0.0)


def test_a_day_that_no_page_shows_is_asked_about_not_counted_as_nothing() -> None:
    cut = tuple(box for box in readings(PLAN, w2=None, month=None) if box.box != day(5))
    found = settle([OwnPage(page(cut), origin())], {}, PLAN)
    assert flagged(found) == {day(5): "illegible"}
    assert "not in the picture" in only_flag(found.boxes[day(5)]).why


def test_more_than_is_possible_is_asked_about_and_may_be_answered() -> None:
    found = chart(d5=241, w2=None, month=None)
    assert flagged(found) == {day(5): "too-much"}
    assert flagged(chart(d5=240, w2=None, month=None)) == {}
    own = [OwnPage(page(readings(PLAN, d5=300, w2=None, month=None)), origin())]
    answered = settle(own, answer(day(5), "300"), PLAN)
    assert answered.boxes[day(5)] == Settled(day(5), State.ANSWERED, 300, 1.0, (), 1)
    assert flagged(answered) == {}


def test_writing_on_days_outside_the_month_is_asked_about() -> None:
    found = chart(o30=15)
    assert flagged(found) == {"outside:2027-09-30": "outside-month"}
    assert flagged(chart(o30=0)) == {}  # a dash
    assert flagged(chart(o30="?")) == {}  # a sticker


def test_initials_are_never_asked_about() -> None:
    found = chart(i1=((None, 0.5), ("?", 0.4)), i2=(("?", 0.5), (None, 0.4)))
    assert flagged(found) == {}
    assert [found.boxes[f"initials:{n}"].state for n in (1, 2)] == [State.BLANK, State.READ]


def test_on_a_page_that_fits_badly_only_sums_make_sure() -> None:
    bent = page(readings(PLAN, d5=25, w2=145, w3=None, month=None), residual_mm=1.2)
    found = settle([OwnPage(bent, origin())], {}, PLAN)
    reasons = flagged(found)
    assert not any(name in reasons for name in [day(n) for n in range(3, 10)])
    assert all(reasons[day(n)] == "illegible" for n in range(10, 17))
    torn = page(readings(PLAN, d5=(("?", 1.0),)), residual_mm=1.2)
    hidden = settle([OwnPage(torn, origin())], {}, PLAN).boxes[day(5)]
    assert "torn off" in only_flag(hidden).why
    assert "bent or blurred" in only_flag(found.boxes[day(10)]).why


def test_nothing_is_taken_from_a_page_that_lies_elsewhere_though_the_sums_agree() -> None:
    lost = page(readings(PLAN), residual_mm=2.0)
    found = settle([OwnPage(lost, origin())], {}, PLAN)
    assert all(reason == "illegible" for reason in flagged(found).values())
    assert {day(n) for n in range(1, 32)} <= set(flagged(found))


# -- sums that do not come out ------------------------------------------------------------------------


def test_a_wrong_sum_is_asked_about_with_the_numbers() -> None:
    found = chart(w2=130)
    assert flagged(found) == {"week:2": "sum"}
    assert only_flag(found.boxes["week:2"]).why == "The days add up to 140, the week's box says 130."
    assert found.boxes["week:2"].value == 130


def test_a_day_that_would_explain_the_sum_is_asked_about_instead() -> None:
    found = chart(d5=((75, 0.998), (20, 1e-3)))
    assert flagged(found) == {day(5): "sum"}
    why = only_flag(found.boxes[day(5)]).why
    assert why.startswith("Read as 75: so the days add up to 195, but the week's box says 140")
    assert why.endswith("which would be right if this were 20.")


def test_two_days_that_would_explain_it_leave_it_with_the_total() -> None:
    both = ((75, 0.998), (20, 1e-3))
    assert flagged(chart(d5=both, d6=both, w2=195, month=None))["week:2"] == "sum"


def test_an_answer_that_bears_the_reader_out_closes_the_sum() -> None:
    boxes = readings(PLAN, d5=((75, 0.998), (20, 1e-3)), month=None)
    own = [OwnPage(page(boxes), origin())]
    assert "week:2" not in flagged(settle(own, answer(day(5), "75"), PLAN))
    # but an answer that is neither the reading nor the sum may be a slip of the finger
    assert flagged(settle(own, answer(day(5), "57"), PLAN))["week:2"] == "sum"


def test_an_answered_total_does_not_ask_again() -> None:
    own = [OwnPage(page(readings(PLAN, w2=130)), origin())]
    found = settle(own, answer("week:2", "130"), PLAN)
    assert flagged(found) == {}
    assert found.boxes["week:2"].state is State.ANSWERED


def test_what_is_taken_without_a_person_follows_from_the_wish(monkeypatch: pytest.MonkeyPatch) -> None:
    wishes = {2000: 0.98, 100: 0.9}
    monkeypatch.setattr(
        "ingest.check.settle.threshold", lambda wished: Threshold(wishes[wished], wished, None)
    )
    own = [OwnPage(page(readings(PLAN, d5=((20, 0.95),), w2=None, month=None)), origin())]
    mild = october(reading={"silent_errors": "1 in 100"})
    assert flagged(settle(own, {}, PLAN)) == {day(5): "illegible"}
    assert flagged(settle(own, {}, mild)) == {}
    assert flagged(settle(own, {}, mild, sure=0.98)) == {day(5): "illegible"}


def test_a_day_that_sums_leave_less_sure_than_wished_is_asked_about() -> None:
    """What the ink alone says for sure is held to the same threshold once the sums have spoken."""
    own = [OwnPage(page(readings(PLAN, d5=((20, 0.9995),), w2=127, month=None)), origin())]
    answers = answer("week:2", "127")
    confidence = settle(own, answers, PLAN, sure=0.9).boxes[day(5)].confidence
    assert flagged(settle(own, answers, PLAN, sure=confidence - 0.001)) == {}
    assert flagged(settle(own, answers, PLAN, sure=confidence + 0.001))[day(5)] == "sum"


def test_a_mild_wish_does_not_make_a_bent_page_trusted() -> None:
    bent = page(readings(PLAN, w2=None, month=None), residual_mm=1.5)
    own = [OwnPage(bent, origin())]
    assert flagged(settle(own, {}, PLAN, sure=0.9))[day(5)] == "illegible"
    added = [OwnPage(page(readings(PLAN), residual_mm=1.5), origin())]
    assert flagged(settle(added, {}, PLAN, sure=0.9)) == {}


def test_sums_alone_throw_no_vague_doubt_on_sure_days() -> None:
    """One day in 2,000 misread against one week in 20 added wrongly: most likely the child's adding."""
    boxes = readings(PLAN, d5=((20, 0.9995),), w2=127, month=None)
    found = settle([OwnPage(page(boxes), origin())], answer("week:2", "127"), PLAN)
    assert flagged(found) == {}
    assert 0.95 < found.boxes[day(5)].confidence < 0.995


def test_when_the_total_stands_days_that_are_less_sure_are_asked_about() -> None:
    boxes = readings(PLAN, d5=((20, 0.996),), w2=127, month=None)
    own = [OwnPage(page(boxes), origin())]
    found = settle(own, answer("week:2", "127"), PLAN)
    assert flagged(found) == {day(5): "sum"}


def test_a_month_that_fits_neither_days_nor_weeks_is_asked_about() -> None:
    assert flagged(chart(month=620)) == {}
    found = chart(month=610)
    assert flagged(found) == {"month": "sum"}
    assert only_flag(found.boxes["month"]).why == "The days add up to 620; the month's box says 610."


def test_one_round_of_answers_closes_what_is_added_wrongly_twice() -> None:
    found = chart(w2=130, month=600)
    assert flagged(found) == {"week:2": "sum", "month": "sum"}
    assert only_flag(found.boxes["month"]).why == (
        "The days add up to 620, the weeks' boxes to 610; the month's box says 600."
    )
    own = [OwnPage(page(readings(PLAN, w2=130, month=600)), origin())]
    assert flagged(settle(own, answer("week:2", "130") | answer("month", "600"), PLAN)) == {}


def test_a_month_that_repeats_a_weeks_slip_is_explained_by_it() -> None:
    assert flagged(chart(w2=130, month=610)) == {"week:2": "sum"}
    own = [OwnPage(page(readings(PLAN, w2=130, month=610)), origin())]
    assert flagged(settle(own, answer("week:2", "130"), PLAN)) == {}


# -- several pages ------------------------------------------------------------------------------------


def two(
    first: dict[str, Any], second: dict[str, Any], *, second_dated: datetime = NOVEMBER_3, order: int = 1
) -> Chart:
    """Two charts without totals; the second handed in on 3 November."""
    blank: dict[str, Any] = {f"w{n}": None for n in range(1, 7)} | {"month": None}
    pages = [
        OwnPage(page(readings(PLAN, **blank, **first), 1), origin(1)),
        OwnPage(page(readings(PLAN, **blank, **second), 2), origin(2, second_dated)),
    ]
    return settle(pages[::order], {}, PLAN)


@pytest.mark.parametrize("order", [1, -1])
def test_a_newer_page_that_differs_is_asked_about_with_both(order: int) -> None:
    found = two({"d5": 25}, {"d5": 30}, order=order)
    assert found.pages == (1, 2)
    assert flagged(found) == {day(5): "returns-differ"}
    assert only_flag(found.boxes[day(5)]).why == (
        "The page handed in on 31 October has 25 here, the newer one of 3 November has 30."
    )
    assert found.boxes[day(5)].value == 30
    assert found.boxes[day(5)].page_id == 2


def test_pages_of_one_day_are_not_called_older_and_newer() -> None:
    found = two({"d5": 25}, {"d5": None}, second_dated=NOON)
    why = "Two pages handed in on 31 October differ here: 25 on one, nothing on the other."
    assert only_flag(found.boxes[day(5)]).why == why


def test_what_was_written_later_on_is_no_contradiction() -> None:
    found = two({"d30": None, "d31": None}, {"d30": 35, "d31": 0})
    assert flagged(found) == {}
    assert [found.boxes[day(n)].value for n in (30, 31)] == [35, 0]
    assert found.boxes[day(30)].page_id == 2


def test_what_stood_there_earlier_and_is_gone_is_asked_about() -> None:
    assert flagged(two({"d5": 25}, {"d5": None})) == {day(5): "returns-differ"}


def test_two_sheets_may_each_hold_a_part_of_the_month() -> None:
    def part(first: int, last: int, page_id: int, code: str) -> OwnPage:
        days: dict[str, Any] = {f"d{n}": 20 if first <= n <= last else None for n in range(1, 32)}
        totals: dict[str, Any] = {**dict.fromkeys([f"w{n}" for n in range(1, 7)]), "month": None}
        read = readings(PLAN, **days, **totals)
        return OwnPage(page(read, page_id, code=code), origin(page_id))

    found = settle([part(15, 31, 1, "K001"), part(1, 14, 2, "X001")], {}, PLAN)
    assert flagged(found) == {}
    assert [found.boxes[day(n)].value for n in range(1, 32)] == [20] * 31
    differing = settle([part(15, 31, 1, "K001"), part(1, 15, 2, "X001")], {}, PLAN)
    assert flagged(differing) == {}  # both have 20 on the 15th


@pytest.mark.parametrize("unsure", [((30, 0.9),), (("?", 1.0),)])
def test_the_sure_reading_stands_against_the_unsure(unsure: Said) -> None:
    for first, second in ((25, unsure), (unsure, 25)):
        found = two({"d5": first}, {"d5": second})
        assert flagged(found) == {}
        assert found.boxes[day(5)].value == 25


def test_two_halves_of_a_page_join_up() -> None:
    days = [f"d{n}" for n in range(1, 32)]
    hidden: Said = (("?", 1.0),)
    found = two(dict.fromkeys(days[:15], hidden), dict.fromkeys(days[15:], hidden))
    assert flagged(found) == {}
    assert {found.boxes[day(1)].page_id, found.boxes[day(31)].page_id} == {1, 2}


def test_readings_that_agree_stay_and_a_dash_agrees_with_blank() -> None:
    found = two({"d5": ((25, 0.9),), "d6": None}, {"d5": 25, "d6": 0})
    assert flagged(found) == {}
    assert (found.boxes[day(5)].value, found.boxes[day(5)].page_id) == (25, 2)
    assert found.boxes[day(6)].value == 0


def test_a_sum_helps_to_choose_between_returns_but_a_person_decides() -> None:
    pages = [
        OwnPage(page(readings(PLAN, d5=25, w2=150, month=630), 1), origin(1)),
        OwnPage(page(readings(PLAN, d5=30, w2=150, month=630), 2), origin(2, NOVEMBER_3)),
    ]
    box = settle(pages, {}, PLAN).boxes[day(5)]
    assert box.state is State.FLAGGED
    assert box.value == 30
    assert box.confidence > 0.99


def test_an_answer_stands_against_what_was_there_but_not_against_a_later_page() -> None:
    old = OwnPage(page(readings(PLAN, w2=None, month=None), 1), origin(1))
    given = answer(day(5), "25")
    assert settle([old], given, PLAN).boxes[day(5)].state is State.ANSWERED

    def later(minutes: int) -> Chart:
        boxes = readings(PLAN, d5=minutes, w2=None, month=None)
        new = OwnPage(page(boxes, 2), origin(2, NOVEMBER_3, collected_at=NOVEMBER_3))
        return settle([old, new], given, PLAN)

    assert flagged(later(25)) == {}
    found = later(30)
    assert flagged(found) == {day(5): "returns-differ"}
    why = only_flag(found.boxes[day(5)]).why
    assert why.startswith("You answered 25, but the page handed in on 3 November")
    assert found.boxes[day(5)].value == 30


def test_an_answer_that_was_taken_back_is_none() -> None:
    own = [OwnPage(page(readings(PLAN)), origin())]
    assert settle(own, answer(day(5), ""), PLAN).boxes[day(5)].state is State.READ


def test_late_is_who_handed_in_nothing_in_time() -> None:
    in_time, late = origin(1), origin(2, NOVEMBER_3)
    boxes = readings(DUE)
    assert settle([OwnPage(page(boxes, 2), late)], {}, DUE).late
    assert not settle([OwnPage(page(boxes, 1), in_time), OwnPage(page(boxes, 2), late)], {}, DUE).late
    assert not settle([OwnPage(page(boxes), origin(1, None))], {}, DUE).late


# -- the order of questions ---------------------------------------------------------------------------


def order(challenge: Challenge, **said: Any) -> list[str]:
    found = chart(challenge, **said)
    sheet = Sheet(students(1)[0], found.boxes, found.pages, found.late)
    questions = sorted(about_boxes(sheet, found.doubts, challenge), key=lambda each: each.rank)
    return [each.question.box for each in questions]


UNSURE: Said = ((25, 0.7), (5, 0.25))  # 15 minutes are the minimum
WIDE: Said = ((30, 0.5), (200, 0.45))
NO_SUMS: dict[str, Any] = {f"w{n}": None for n in (1, 2, 3, 4, 5)} | {"month": None}


def test_decisive_days_come_first_then_those_that_could_change_most_then_totals() -> None:
    above: Said = ((25, 0.7), (35, 0.3))  # required, but past the minimum either way
    asked_about = order(PLAN, **NO_SUMS, d5=UNSURE, d6=above, d9=WIDE, w6=((100, 0.5),), o30=15)
    assert asked_about == [day(5), day(9), day(6), "week:6", "outside:2027-09-30"]


def test_once_the_challenge_is_missed_no_day_is_decisive() -> None:
    missed = order(PLAN, **NO_SUMS, w6=None, d5=UNSURE, d9=WIDE, d4=10)
    assert missed == [day(9), day(5)]
    allowed = october(expectation={"required_days_allowed_short": 1})
    assert order(allowed, **NO_SUMS, w6=None, d5=UNSURE, d9=WIDE, d4=10) == [day(5), day(9)]


# -- answers ------------------------------------------------------------------------------------------

ROSTER = {student.id: student for student in students(2)}


@pytest.mark.parametrize(
    ("box", "text", "kept"),
    [
        (day(5), " 25 ", "25"),
        (day(5), "0", "0"),
        (day(5), "007", "7"),
        (day(5), "1440", "1440"),
        (day(5), "Blank", "blank"),
        ("week:1", "1441", "1441"),
        ("month", "7000", "7000"),
        ("chart", "S002", "S002"),
        ("chart", "s002", "S002"),
        ("chart", "Not  ours", "not ours"),
    ],
)
def test_answers_are_taken_in_the_ledgers_words(box: str, text: str, kept: str) -> None:
    assert parse_answer(box, text, ROSTER) == kept


@pytest.mark.parametrize(
    ("box", "text"),
    [
        (day(5), ""),
        (day(5), "1441"),
        (day(5), "-5"),
        (day(5), "2.5"),
        (day(5), "25 min"),
        (day(5), "٢٥"),
        (day(5), "not ours"),
        ("week:1", "10081"),
        ("chart", ""),
        ("chart", "S003"),
        ("chart", "blank"),
        ("chart", "25"),
    ],
)
def test_other_answers_are_refused_in_plain_words(box: str, text: str) -> None:
    with pytest.raises(AnswerError, match=r"give (whole minutes|a student id)"):
        parse_answer(box, text, ROSTER)
