"""Written or blank, by how a box stands out among the others of its page."""

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.chart.layout import Kind
from ingest.reading.blank import Blankness, Signs, Writing
from ingest.reading.ink import Ink, Traces
from ingest.reading.numerals import Numerals
from ingest.reading.values import Grey


def box(grain: float, ink: float, text: str = "20", seed: int = 1) -> Grey:
    """A box on paper of 200: how much its grain spreads and how much darker its writing is."""
    rng = np.random.default_rng(seed)
    paper = 200 + rng.normal(0, grain, (101, 174))
    strokes = np.zeros(paper.shape, np.uint8)
    cv2.putText(strokes, text, (55, 68), cv2.FONT_HERSHEY_SIMPLEX, 1.4, 255, 4, cv2.LINE_AA)
    return np.asarray(np.clip(paper - ink * (strokes / 255.0), 0, 255), np.uint8)


def blank_chances(boxes: list[Grey]) -> list[float]:
    """How probable each box of a page is to be blank, as read."""
    read = Numerals.load().read(boxes, [Kind.MINUTES] * len(boxes))
    return [sum(c.probability for c in found if c.value is None and c.text == "") for found, _ in read]


def test_grain_that_pencil_could_hide_in_is_blank_among_bold_numbers() -> None:
    noisy = [box(12, 0, "", seed) for seed in range(4)]
    bold = [box(12, 150, "20", seed) for seed in range(8)]
    assert min(blank_chances(noisy + bold)[:4]) > 0.99


def test_the_same_grain_is_doubted_among_faint_numbers_or_none() -> None:
    noisy = box(12, 0, "")
    assert blank_chances([noisy])[0] < 0.99


def test_what_is_as_dark_as_the_rest_is_written_in_whatever_it_is() -> None:
    page = [box(2, 60, "20", seed) for seed in range(8)]
    assert blank_chances([box(2, 60, "-"), *page])[0] < 0.1


def test_a_page_that_was_never_on_paper_hides_nothing() -> None:
    assert min(blank_chances([box(0, 0, "")] * 6)) > 0.99


def traces(contrast: float, grain: float = 0.01) -> Traces:
    return Traces(contrast, grain, None)


def test_a_page_s_writing_is_as_dark_as_the_faintest_tenth_of_its_numbers() -> None:
    numbers = [traces(contrast) for contrast in np.linspace(0.1, 0.3, 21)]
    assert Writing.of(numbers, numbers).contrast == pytest.approx(0.12)
    few = Writing.of(numbers, numbers[:4])
    assert not few.is_known
    assert few.contrast < 0.1


def test_a_page_wiped_to_black_and_white_hides_what_left_a_trace() -> None:
    """Nobody knows how dark the writing was: a box that is not quite white may be a number that is gone."""
    number = Traces(0.5, 1e-6, Ink(40, 30, 90, 70, 0.1, clear=True))
    wiped, bare = traces(0.003, 1e-6), traces(0.0, 1e-6)
    page = Writing.of([bare] * 6 + [number], [number])
    chances = [Blankness().chance(page.signs(each, None, flat=False)) for each in (wiped, bare)]
    assert chances[0] < 0.99 < chances[1]
    never_on_paper = Writing.of([bare] * 6, [])
    assert Blankness().chance(never_on_paper.signs(wiped, None, flat=False)) > 0.99


def framed_traces(frame: float) -> Traces:
    return Traces(0.2, 0.01, None, frame=frame)


def test_where_frames_fade_pencil_may_be_gone() -> None:
    numbers = [framed_traces(frame) for frame in np.linspace(0.2, 0.4, 21)]
    page = Writing.of(numbers, numbers)
    assert [page.is_washed_out(framed_traces(frame)) for frame in (0.05, 0.12, 0.14, 0.4)] == [
        True,
        True,
        False,
        False,
    ]
    assert not Writing.of(numbers, numbers[:4]).is_washed_out(framed_traces(0.01))  # compared with what?
    typed = [Traces(0.2, 1e-6, None, frame=0.4)] * 20
    assert not Writing.of(typed, typed).is_washed_out(framed_traces(0.1))


@given(st.floats(0, 1), st.floats(0.001, 1), st.floats(0, 1), st.floats(0.001, 0.1), st.floats(0.02, 0.5))
def test_more_to_be_seen_never_speaks_for_blank(
    net: float, less: float, more: float, grain: float, writing: float
) -> None:
    page = Writing(writing, 0.3, is_known=True, is_clean=False)
    chances = [Blankness().chance(page.signs(traces(c, grain), net, flat=False)) for c in (less, less + more)]
    assert chances[1] <= chances[0]


def test_without_a_page_to_compare_with_the_net_decides() -> None:
    assert Blankness().chance(Signs(0.0, None, 5.0, 0.0)) == pytest.approx(0.5)
