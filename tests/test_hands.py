"""Hands, pens and paper of the demo."""

from dataclasses import replace

import numpy as np
import pytest

from ingest.demo.fill import Entry, Mishap, Writer, fill
from ingest.demo.hands import (
    QUANTUM,
    Hand,
    Manner,
    any_manner,
    curve,
    initials,
    load_hands,
    pack,
    scribble,
    unpack,
    write,
)
from ingest.demo.ink import Pen, any_pen, draw, rub, smear
from ingest.demo.make_hands import STEP, even
from ingest.paper import Box

BOX = Box(40, 30, 26, 13)
TIDY = Manner(height=0.6, uneven=0.05, slant=0.1, gap=0.1, wobble=0.04, place=0.5, stray=0.1, overrun=0.0)
PENCIL = Pen("pencil", 0.5, (0.7, 0.7, 0.7), grain=0.5, pressure=0.3)
PX_PER_MM = 8.0


def _page() -> np.ndarray:
    return np.full((round(70 * PX_PER_MM), round(100 * PX_PER_MM), 3), 250, np.uint8)


def _ink(page: np.ndarray, box: Box) -> float:
    """Mean darkness inside a box, 0..1."""
    k = PX_PER_MM
    part = page[round(box.top * k) : round(box.bottom * k), round(box.left * k) : round(box.right * k)]
    return 1 - float(part.mean()) / 250


@pytest.fixture(scope="module")
def hands() -> tuple[Hand, ...]:
    return load_hands()


def test_packed_hands_come_back_to_half_a_step(hands: tuple[Hand, ...]) -> None:
    rng = np.random.default_rng(0)
    odd = Hand("x/1", {"1": [(rng.random((5, 2)),)], ":": [(rng.random((1, 2)), rng.random((1, 2)))]})
    (back,) = unpack(pack([odd]))
    assert back.writer == "x/1"
    for sign, glyphs in odd.glyphs.items():
        for before, after in zip(glyphs, back.glyphs[sign], strict=True):
            for a, b in zip(before, after, strict=True):
                assert np.abs(a - b).max() <= QUANTUM / 2 + 1e-9
    assert pack(unpack(pack(hands))) == pack(hands)


def test_glyphs_are_about_one_digit_high(hands: tuple[Hand, ...]) -> None:
    heights = [
        max(stroke[:, 1].max() for stroke in glyph)
        for hand in hands
        for digit in "0123456789"
        for glyph in hand.glyphs[digit]
    ]
    assert 0.9 < np.median(heights) < 1.1
    assert np.quantile(heights, 0.01) > 0.5
    assert np.quantile(heights, 0.99) < 1.7


def test_a_dash_and_a_colon_can_be_written_by_everybody_a_letter_not() -> None:
    bare = Hand("x/1", {})
    rng = np.random.default_rng(1)
    assert bare.can_write("- :")
    assert not bare.can_write("5")
    assert len(bare.glyph("-", rng)) == 1
    assert len(bare.glyph(":", rng)) == 2
    with pytest.raises(KeyError, match="no sample of 'h'"):
        bare.glyph("h", rng)


@pytest.mark.parametrize("text", ["0", "15", "240", "1:15", "-", "1000"])
def test_tidy_writing_stays_in_its_box(hands: tuple[Hand, ...], text: str) -> None:
    rng = np.random.default_rng(2)
    for hand in hands:
        for _ in range(10):
            every = np.concatenate(write(hand, text, BOX, TIDY, rng))
            low, high = every.min(axis=0), every.max(axis=0)
            # Half a millimetre is for the line as a whole running uphill.
            assert np.all(low > np.array([BOX.left, BOX.top]) - 0.5)
            assert np.all(high < np.array([BOX.right, BOX.bottom]) + 0.5)


def test_overrunning_writing_crosses_an_edge_but_not_the_neighbour(hands: tuple[Hand, ...]) -> None:
    rng = np.random.default_rng(3)
    over = 0
    for _ in range(200):
        every = np.concatenate(write(hands[0], "25", BOX, replace(TIDY, overrun=1.0), rng))
        low, high = every.min(axis=0), every.max(axis=0)
        beyond = max(BOX.left - low[0], high[0] - BOX.right, BOX.top - low[1], high[1] - BOX.bottom)
        over += beyond > 0
        assert beyond < 2.0
    assert over > 150


def test_manners_span_what_children_do() -> None:
    rng = np.random.default_rng(4)
    heights = [any_manner(rng).height for _ in range(300)]
    assert 0.45 <= min(heights) < 0.5
    assert 0.8 < max(heights) <= 0.9


def test_nothing_to_write_draws_nothing(hands: tuple[Hand, ...]) -> None:
    assert write(hands[0], "", BOX, TIDY, np.random.default_rng(0)) == ()


def test_same_chance_same_writing(hands: tuple[Hand, ...]) -> None:
    one, two = (write(hands[3], "45", BOX, TIDY, np.random.default_rng(7)) for _ in range(2))
    assert all(np.array_equal(a, b) for a, b in zip(one, two, strict=True))


def test_marks_stay_in_their_box() -> None:
    rng = np.random.default_rng(5)
    for _ in range(50):
        for lines in (initials(BOX, rng), scribble(BOX, rng)):
            every = np.concatenate(lines)
            assert np.all(every >= np.array([BOX.left, BOX.top]) - 1.5)
            assert np.all(every <= np.array([BOX.right, BOX.bottom]) + 1.5)


def test_a_curve_goes_through_its_knots() -> None:
    knots = np.array([[0.0, 0.0], [1.0, 2.0], [3.0, 1.0], [4.0, 4.0]])
    line = curve(knots)
    for knot in knots:
        assert np.hypot(*(line - knot).T).min() < 1e-9


def test_evened_strokes_keep_their_ends_and_their_spacing() -> None:
    raw = np.array([[0.0, 0.0], [0.0, 0.0], [0.5, 0.1], [0.6, 0.9], [0.1, 1.0]])
    smooth = even(raw)
    assert np.allclose(smooth[0], raw[0], atol=0.02)
    assert np.allclose(smooth[-1], raw[-1], atol=0.05)
    steps = np.hypot(*np.diff(smooth, axis=0).T)
    assert steps.min() > 0.7 * STEP
    assert steps.max() < 1.3 * STEP
    assert len(even(np.array([[0.3, 0.3], [0.3, 0.3]]))) == 1  # a dot


@pytest.mark.parametrize("seed", range(12))
def test_every_pen_leaves_its_line_and_nothing_elsewhere(seed: int) -> None:
    rng = np.random.default_rng(seed)
    page = _page()
    draw(page, PX_PER_MM, [np.array([[20.0, 20.0], [60.0, 20.0]])], any_pen(rng), rng)
    assert _ink(page, Box(20, 19.8, 40, 0.4)) > 0.1
    assert _ink(page, Box(20, 25, 40, 20)) == 0


def test_ink_on_the_pages_edge_is_cut_off() -> None:
    page = _page()
    rng = np.random.default_rng(0)
    draw(page, PX_PER_MM, [np.array([[-5.0, 10.0], [120.0, 10.0]])], PENCIL, rng)
    draw(page, PX_PER_MM, [np.array([[-50.0, -10.0], [-20.0, -10.0]])], PENCIL, rng)
    assert _ink(page, Box(0, 9.5, 99, 1)) > 0.05


def test_an_erased_line_is_a_ghost_and_a_smear_keeps_the_line() -> None:
    line = [np.array([[20.0, 20.0], [60.0, 20.0]])]
    rng = np.random.default_rng(0)
    fresh, ghost = _page(), _page()
    draw(fresh, PX_PER_MM, line, PENCIL, rng)
    draw(ghost, PX_PER_MM, line, PENCIL, rng, strength=0.1, soften_mm=0.1)
    strip = Box(20, 19, 40, 2)
    assert 0 < _ink(ghost, strip) < 0.2 * _ink(fresh, strip)
    smeared = fresh.copy()
    smear(smeared, PX_PER_MM, np.array([15.0, 15.0]), np.array([65.0, 25.0]), rng)
    assert _ink(smeared, strip) > 0.5 * _ink(fresh, strip)
    rubbed = _page()
    rub(rubbed, PX_PER_MM, np.array([15.0, 15.0]), np.array([65.0, 25.0]), rng)
    assert 0 < _ink(rubbed, Box(15, 15, 50, 10)) < 0.15


def test_one_changed_entry_leaves_the_other_boxes_as_they_were(hands: tuple[Hand, ...]) -> None:
    areas = {"a": Box(5, 5, 26, 13), "b": Box(40, 5, 26, 13), "c": Box(5, 30, 26, 13)}
    writer = Writer(hands[0], TIDY, PENCIL, PENCIL)
    entries = {"a": Entry("15"), "b": Entry("20"), "c": Entry("", mark=True)}
    pages = []
    for middle in (Entry("20"), Entry("45", Mishap.STRUCK, "20")):
        page = _page()
        fill(page, PX_PER_MM, areas, {**entries, "b": middle}, writer, np.random.default_rng(9))
        pages.append(page)
    left = slice(0, round(35 * PX_PER_MM))
    assert np.array_equal(pages[0][:, left], pages[1][:, left])
    assert not np.array_equal(pages[0], pages[1])


@pytest.mark.parametrize("mishap", list(Mishap))
def test_mishaps_leave_ink_in_the_box(hands: tuple[Hand, ...], mishap: Mishap) -> None:
    page = _page()
    writer = Writer(hands[1], TIDY, PENCIL, PENCIL)
    entry = Entry("30", mishap, "" if mishap in (Mishap.NONE, Mishap.SMUDGED) else "25")
    fill(page, PX_PER_MM, {"a": BOX}, {"a": entry}, writer, np.random.default_rng(3))
    assert _ink(page, BOX) > 0.01


def test_an_unknown_box_is_a_mistake_of_the_caller(hands: tuple[Hand, ...]) -> None:
    writer = Writer(hands[1], TIDY, PENCIL, PENCIL)
    with pytest.raises(KeyError, match="day:2027-10-32"):
        fill(_page(), PX_PER_MM, {}, {"day:2027-10-32": Entry("1")}, writer, np.random.default_rng(0))
