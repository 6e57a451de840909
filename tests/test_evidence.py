"""What is typed, and what else stands on the same page or on another one."""

from dataclasses import replace

from factories import october, origin, page, readings

from ingest.check.book import Settled, State
from ingest.check.evidence import OwnPage
from ingest.check.settle import settle
from ingest.reading.values import BoxReading, Candidate

DAY = "day:2027-10-05"


def settled(*candidates: Candidate, box: str = DAY, residual_mm: float = 0.1) -> Settled:
    """The box on a chart whose other boxes all say 20 and add up."""
    return chart(sheet(*candidates, box=box, residual_mm=residual_mm))[box]


def sheet(*candidates: Candidate, box: str = DAY, page_id: int = 1, residual_mm: float = 0.1) -> OwnPage:
    boxes = readings(october())
    changed = tuple(
        BoxReading(each.box, candidates, 0.1) if each.box == box and candidates else each for each in boxes
    )
    return OwnPage(page(changed, page_id, residual_mm=residual_mm), origin(page_id))


def chart(*pages: OwnPage) -> dict[str, Settled]:
    return dict(settle(pages, {}, october()).boxes)


def typed(value: int | None, text: str = "", p: float = 1.0) -> Candidate:
    return Candidate(value, text or str(value), p, typed=True)


def test_typed_number_is_certain_even_where_sums_speak_against_it() -> None:
    box = settled(typed(25))
    assert (box.state, box.value, box.confidence) == (State.READ, 25, 1)


def test_typed_number_still_has_to_be_possible() -> None:
    box = settled(typed(999))
    assert [flag.reason for flag in box.flags] == ["too-much"]


def test_total_that_typed_days_do_not_add_up_to_is_asked_about() -> None:
    boxes = chart(sheet(typed(25)))
    assert [flag.reason for flag in boxes["week:2"].flags] == ["sum"]
    assert boxes[DAY].flags == ()


def test_typed_text_that_is_no_number_is_quoted() -> None:
    box = settled(typed(None, "twenty"))
    assert [flag.reason for flag in box.flags] == ["not-a-number"]
    assert box.flags[0].why.startswith('"twenty" is typed here')
    assert box.value is None


def test_quoted_text_is_short_and_steers_no_terminal() -> None:
    why = settled(typed(None, "\x1b[2J" + "very " * 30)).flags[0].why
    assert "\x1b" not in why
    assert len(why) < 120


def test_picture_that_shows_something_else_is_asked_about() -> None:
    box = settled(typed(20, p=0.5), Candidate(50, "50", 0.4))
    assert [flag.reason for flag in box.flags] == ["typed-differs"]
    assert box.flags[0].why == '"20" is typed here, but the picture shows 50.'


def test_sums_do_not_talk_a_contradiction_away() -> None:
    """20 is what the week's total bears out; yet something was drawn over it."""
    assert settled(typed(20, p=0.5), Candidate(50, "50", 0.4)).state is State.FLAGGED


def test_text_beside_a_box_is_asked_about() -> None:
    box = settled(typed(20, p=0.5))
    assert [flag.reason for flag in box.flags] == ["typed-differs"]
    assert "beside this box" in box.flags[0].why


def test_typed_initials_are_just_there() -> None:
    box = settled(Candidate(None, "?", 0.999, typed=True), box="initials:2")
    assert (box.state, box.flags) == (State.READ, ())


def test_typed_number_on_a_page_that_lies_badly_is_not_certain() -> None:
    assert settled(typed(25), residual_mm=1.5).state is State.FLAGGED


def test_a_contradiction_outlasts_another_page() -> None:
    doubtful = sheet(typed(20, p=0.5), Candidate(50, "50", 0.4))
    plain = sheet(page_id=2)
    later = replace(plain.origin, dated=None)
    for pages in ((doubtful, plain), (OwnPage(doubtful.page, later), plain)):
        assert chart(*pages)[DAY].state is State.FLAGGED


def test_newer_page_that_contradicts_itself_is_not_outvoted() -> None:
    old = sheet(Candidate(30, "30", 0.9999))
    new = sheet(typed(20, p=0.5), Candidate(50, "50", 0.4), page_id=2)
    assert chart(old, new)[DAY].state is State.FLAGGED
