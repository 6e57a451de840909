"""Boxes in two parts, filled in by the demo's hands."""

from collections import Counter

import cv2
import numpy as np
import pytest

from ingest.chart.layout import Kind
from ingest.demo.fill import Entry, Mishap, any_writer, fill
from ingest.demo.hands import load_hands
from ingest.paper import Box
from ingest.reading.ink import find_traces, flatten
from ingest.reading.numerals import CROP_MARGIN_MM, EDGE_PX, FLAT_PX_PER_MM, Numerals
from ingest.reading.parts import cuts
from ingest.reading.values import Grey

AREA = Box(CROP_MARGIN_MM, CROP_MARGIN_MM, 26.0, 13.0)


def filled(entry: Entry, seed: int) -> Grey:
    """A box as it is cut out of a page, without its frame."""
    rng = np.random.default_rng(seed)
    hands = load_hands()
    high, wide = (round((side + 2 * CROP_MARGIN_MM) * FLAT_PX_PER_MM) for side in (13.0, 26.0))
    paper = rng.normal(235, 1.5, (high, wide, 1)).clip(0, 255).astype(np.uint8).repeat(3, axis=2)
    paper = np.ascontiguousarray(paper)
    writer = any_writer(hands[seed % len(hands)], rng)
    fill(paper, FLAT_PX_PER_MM, {"box": AREA}, {"box": entry}, writer, rng)
    return np.asarray(cv2.cvtColor(paper, cv2.COLOR_RGB2GRAY), np.uint8)


@pytest.fixture(scope="module")
def numerals() -> Numerals:
    return Numerals.load()


def read(numerals: Numerals, entry: Entry, count: int = 30) -> Counter[str]:
    """What so many boxes are most probably read as."""
    boxes = [filled(entry, seed) for seed in range(count)]
    return Counter(found[0].text for found, _ in numerals.read(boxes, [Kind.MINUTES] * count))


def test_the_number_beside_one_struck_out_is_found(numerals: Numerals) -> None:
    assert read(numerals, Entry("20", Mishap.STRUCK, "35"))["20"] >= 24
    assert read(numerals, Entry("20", Mishap.SCRIBBLED, "35"))["20"] >= 22


def test_of_two_numbers_that_both_stand_neither_is_taken(numerals: Numerals) -> None:
    found = read(numerals, Entry("20", Mishap.TWO, "35"))
    assert found["20"] + found["35"] <= 1


def test_beside_a_number_struck_out_for_good_there_is_none(numerals: Numerals) -> None:
    assert read(numerals, Entry("", Mishap.STRUCK_OUT, "35"))["?"] == 30


def test_a_box_is_cut_where_no_ink_is() -> None:
    box = np.full((96, 174), 235, np.uint8)
    for left in (30, 70, 130):
        cv2.rectangle(box, (left, 30), (left + 20, 66), 60, 3)
    flat = flatten(box, EDGE_PX)
    found = list(cuts(flat, find_traces(flat)))
    sides = [side for (_, left), (_, right) in found for side in (left.right, right.left)]
    assert sides == pytest.approx([52, 69, 92, 129], abs=4)
    (first, _), (second, ink) = found[1]
    assert first[:, 120:].min() > 200 > 100 > first[:, 60:100].min()
    assert second[:, :100].min() > 200 > 100 > second[:, 120:].min()
    assert [ink.top, ink.bottom] == pytest.approx([29, 68], abs=4)


def test_a_blank_box_and_one_mark_are_not_cut() -> None:
    box = np.full((96, 174), 235, np.uint8)
    blank = flatten(box, EDGE_PX)
    assert list(cuts(blank, find_traces(blank))) == []
    cv2.circle(box, (80, 48), 20, 60, 3)
    ring = flatten(box, EDGE_PX)
    assert list(cuts(ring, find_traces(ring))) == []
