"""What is fitted to charts by calibrating hands, on boxes whose law is known."""

from dataclasses import replace

import numpy as np
import pytest

from ingest.check.evidence import HIDDEN
from ingest.demo.hands import load_hands
from ingest.reading.certainty import Calibration
from ingest.training.calibrate import Photographed, Seen, calibrate, clearness_of, photographed, seen
from ingest.training.thresholds import Outcome


@pytest.fixture(scope="module")
def chart() -> Photographed:
    return photographed((load_hands()[0], 3))


def test_what_was_seen_is_read_as_it_was_at_first_and_otherwise_with_another_calibration(
    chart: Photographed,
) -> None:
    assert chart.page
    assert chart.read_with(Calibration()) == chart.page
    humble = chart.read_with(Calibration(shift=-3.0))
    assert humble
    pairs = list(zip(chart.page.readings, humble.readings, strict=True))
    assert [a.box for a, _ in pairs] == [b.box for _, b in pairs]
    written = [(a, b) for a, b in pairs if a.candidates[0].value]
    assert len(written) > 10
    assert all(b.candidates[0].probability < a.candidates[0].probability for a, b in written)
    covered = replace(chart.page.readings[0], candidates=HIDDEN)
    torn = replace(chart, page=replace(chart.page, readings=(covered, *chart.page.readings[1:])))
    read = torn.read_with(Calibration())
    assert read
    assert read.readings[0] == covered


def test_a_page_that_was_not_placed_is_kept_and_tells_nothing(chart: Photographed) -> None:
    lost = replace(chart, page=None, looks=())
    assert lost.read_with(Calibration()) is None
    assert seen(lost) == []


def test_every_box_with_a_truth_is_seen(chart: Photographed) -> None:
    assert {box.box for box in seen(chart)} == chart.diary.truth.keys()


def box(text: str, *, right: bool, odds: float) -> Seen:
    minutes = int(text)
    return Seen(
        "hand",
        "ordinary",
        "day",
        text,
        "",
        is_blank=False,
        is_number=True,
        truth=minutes if right else minutes + 1,
        net=-9.0,
        contrast=0.0,
        grain=3.0,
        flat=0.0,
        text=text,
        value=minutes,
        chance=float(1 / (1 + np.exp(-odds))),
    )


def test_how_much_less_a_nine_is_worth_is_found() -> None:
    rng = np.random.default_rng(5)
    boxes = []
    for text, shift in (("45", 0.0), ("90", -2.0)):
        odds = rng.normal(3, 2, 6000)
        right = rng.random(6000) < 1 / (1 + np.exp(-(odds + shift)))
        boxes += [box(text, right=bool(good), odds=each) for good, each in zip(right, odds, strict=True)]
    blank = replace(boxes[0], written="", is_blank=True, truth=None, net=9.0, contrast=-3.0, text="")
    figures = calibrate([*boxes, *[replace(blank, grain=each) for each in np.linspace(-1, 1, 200)]])
    assert figures["nine"] == pytest.approx(-2.0, abs=0.2)
    assert figures["slope"] == pytest.approx(1.0, abs=0.1)
    assert figures["shift"] == pytest.approx(0.0, abs=0.2)


def test_how_much_a_murky_chart_takes_is_found() -> None:
    rng = np.random.default_rng(6)
    murk, confidence = np.exp(rng.uniform(-5, -1, 40_000)), rng.uniform(0.6, 0.99, 40_000)
    odds = np.log(confidence / (1 - confidence)) - 0.7 * np.log(murk) - 2.0
    wrong = rng.random(40_000) > 1 / (1 + np.exp(-odds))
    found = clearness_of([Outcome(*each) for each in zip(confidence, murk, wrong, strict=True)])
    assert found.slope == pytest.approx(1.0, abs=0.15)
    assert found.murk == pytest.approx(-0.7, abs=0.1)
    assert found.shift == pytest.approx(-2.0, abs=0.3)
    assert found.most < 1
