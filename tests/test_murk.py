"""How much of a chart is in doubt, and what that makes of its other boxes."""

import pytest
from factories import NOON, Said, october, origin, page, readings

from ingest.check.book import State
from ingest.check.evidence import OwnPage, put_together
from ingest.check.murk import SURE_IF_MURKY, murk, needed
from ingest.check.settle import settle
from ingest.ledger.records import AnswerRecord
from ingest.reading.certainty import Clearness

PLAN = october()
BOXES = 31 + 6 + 1  # days, weeks and the month
DAY = "day:2027-10-05"
STEEP = Clearness(slope=1.0, murk=-1.0, shift=-2.0)


def pages(**said: Said) -> list[OwnPage]:
    return [OwnPage(page(readings(PLAN, 20, w2=None, month=None, **said)), origin())]


def test_murk_is_the_share_of_the_others_in_doubt() -> None:
    clear = murk(put_together(pages(), PLAN))
    assert len(clear) == BOXES
    assert clear[DAY] == pytest.approx(0.2 / BOXES, rel=0.05)
    half = murk(put_together(pages(d6=((25, 0.5),), d7=(("?", 1.0),)), PLAN))
    assert half[DAY] - clear[DAY] == pytest.approx((0.5 + 1.0) / BOXES, rel=0.01)


def test_a_box_throws_no_doubt_on_itself() -> None:
    found = murk(put_together(pages(d5=((20, 0.5),)), PLAN))
    assert found[DAY] < found["day:2027-10-06"]


def test_a_sure_box_on_a_murky_chart_is_asked_about() -> None:
    unsure: dict[str, Said] = {f"d{n}": ((25, 0.3),) for n in range(10, 20)}
    clear = settle(pages(d5=((20, 0.97),)), {}, PLAN, sure=0.98, clearness=STEEP)
    murky = settle(pages(d5=((20, 0.97),), **unsure), {}, PLAN, sure=0.98, clearness=STEEP)
    assert clear.boxes[DAY].state is State.READ
    assert murky.boxes[DAY].state is State.FLAGGED
    assert murky.boxes[DAY].flags[0].reason == "illegible"


def test_answers_do_not_make_a_page_clearer() -> None:
    own = pages(d5=((20, 0.97),), **{f"d{n}": ((25, 0.3),) for n in range(10, 20)})
    answers = {
        f"day:2027-10-{n}": AnswerRecord(1, NOON, "S001", f"day:2027-10-{n}", 1, "25", "", "", "prompt", b"")
        for n in range(10, 20)
    }
    found = settle(own, answers, PLAN, sure=0.98, clearness=STEEP)
    assert found.boxes[DAY].state is State.FLAGGED


def test_sums_that_cost_a_box_its_trust_are_named() -> None:
    """By itself sure enough for so clear a chart; with the week's total answered otherwise, no more."""
    own = [OwnPage(page(readings(PLAN, 20, d5=((20, 0.9995),), w2=127, month=None)), origin())]
    answers = {"week:2": AnswerRecord(1, NOON, "S001", "week:2", 1, "127", "", "", "prompt", b"")}
    found = settle(own, answers, PLAN, sure=0.999, clearness=Clearness())
    assert [flag.reason for flag in found.boxes[DAY].flags] == ["sum"]


def test_on_a_murky_chart_only_the_surest_boxes_are_taken() -> None:
    assert needed(0.98, 0.02) == 0.98
    assert needed(0.98, 0.2) == SURE_IF_MURKY
    assert needed(0.9999, 0.2) == 0.9999
    unsure: dict[str, Said] = {f"d{n}": ((25, 0.3),) for n in range(10, 20)}
    found = settle(
        pages(d5=((20, 0.999),), d6=((20, 0.99999),), **unsure), {}, PLAN, sure=0.98, clearness=Clearness()
    )
    assert found.boxes[DAY].state is State.FLAGGED
    assert found.boxes["day:2027-10-06"].state is State.READ
