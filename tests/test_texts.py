"""Texts and their probabilities from the net's scores; minutes from texts."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.reading.texts import ALPHABET, is_empty, likely_texts, minutes_of, typed_minutes, written_minutes
from ingest.training.strings import ALPHABET as DRAWN


def collapsed(path: tuple[int, ...]) -> str:
    """CTC's rule (Graves et al. 2006): drop repeats, then blanks."""
    kept = [step for n, step in enumerate(path) if n == 0 or step != path[n - 1]]
    return "".join(ALPHABET[step - 1] for step in kept if step)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 5))
def test_probabilities_agree_with_adding_up_every_alignment(seed: int, steps: int) -> None:
    rng = np.random.default_rng(seed)
    chances = np.zeros((steps, len(ALPHABET) + 1), np.float32)
    chances[:, :3] = rng.dirichlet([0.5, 0.5, 0.5], steps)
    every: dict[str, float] = {}
    for path in product(range(3), repeat=steps):
        text = collapsed(path)
        every[text] = every.get(text, 0.0) + float(np.prod([chances[n, k] for n, k in enumerate(path)]))
    found = likely_texts(chances)
    best, chance = found[0]
    assert every[best] == pytest.approx(max(every.values()), rel=0.05)
    if len(every) <= 8:  # nothing was dropped
        assert chance == pytest.approx(every[best], abs=1e-4)
    assert sum(p for _, p in found) <= 1 + 1e-5


def test_a_digit_twice_needs_a_gap() -> None:
    one = ALPHABET.index("1") + 1
    steps = np.zeros((3, len(ALPHABET) + 1), np.float32)
    steps[:, one] = 1
    assert likely_texts(steps)[0][0] == "1"
    steps[1] = 0
    steps[1, 0] = 1
    assert likely_texts(steps)[0][0] == "11"


def test_reader_and_training_spell_alike() -> None:
    assert ALPHABET == DRAWN


@pytest.mark.parametrize(
    ("text", "minutes"),
    [
        ("15", 15), ("0", 0), ("-", 0), ("007", 7), ("45min", 45), ("45m", 45), ("20mins", 20), ("120", 120),
        ("1:15", 75), ("0:40", 40), ("1h", 60), ("1hr", 60), ("2hrs", 120), ("1h15", 75), ("1hr30min", 90),
        ("1hr5m", 65), ("1250", 1250),
    ],
)  # fmt: skip
def test_minutes_in_a_text(text: str, minutes: int) -> None:
    assert minutes_of(text) == minutes


@pytest.mark.parametrize("text", ["", "min", "1:7", "1:75", "12345", "h15", "--", "1-5", ":", "15hr", "1h75"])
def test_what_are_no_minutes(text: str) -> None:
    assert minutes_of(text) is None


@pytest.mark.parametrize("text", ["20mi", "20mn", "20minn", "20miin", "20mis"])
def test_a_scrawled_unit_is_a_unit_but_only_in_handwriting(text: str) -> None:
    assert written_minutes(text) == 20
    assert minutes_of(text) is None or text == "20mn"


def test_written_minutes_are_else_those_of_the_text() -> None:
    for text in ("20", "1h15", "1hr30min", "2hs", "1:15", "-", "mi", "20ni", "x"):
        assert written_minutes(text) == (120 if text == "2hs" else minutes_of(text))


@pytest.mark.parametrize(
    ("text", "minutes"),
    [
        ("20", 20), (" 20 ", 20), ("20.", 20), ("0", 0), ("00", 0), ("45 min", 45), ("45min.", 45),
        ("45 Minutes", 45), ("90 minutos", 90), ("20'", 20), ("20 ′", 20), ("1:15", 75), ("01:15", 75),
        ("0:45", 45), ("1 h", 60),
        ("1 H 15", 75), ("1h15m", 75), ("1 hour 15 minutes", 75), ("2 hrs", 120), ("1 hora 5 min", 65),
        ("1.5 h", 90), ("1,5 h", 90), ("0,75 horas", 45), ("1.25 hours", 75),
        ("２０", 20), ("４５　ｍｉｎ", 45), ("１：１５", 75), ("٢٠", 20), ("١:١٥", 75), ("२५", 25),
        ("-", 0), ("–", 0), ("—", 0), ("−", 0), ("－", 0),
        ("20\u200b", 20), ("\u200e20", 20), ("20\xa0min", 20), ("20\nmin", 20), ("20\r", 20),
    ],
)  # fmt: skip
def test_typed_minutes_beyond_doubt(text: str, minutes: int) -> None:
    assert typed_minutes(text) == minutes


@pytest.mark.parametrize(
    "text",
    [
        "", " ", "-5", "−5", "+20", "1,5", "1.5", "20.0", "7,5 min", "1.33 h", "1..5 h", "20-30", "20–30",
        "2 0", "20 30", "20\n30", "20?", "~20", "twenty", "veinte", "zero", "no", "x", "✓", "O", "2O",
        "l5", "20²",
        "½", "1½ h", "②⓪", "Ⅴ", "1e2", "0x20", "1:75", "10:30", "1:15 h", "1,200", "12345", "min", "h",
        "15m15",
        "m15", "1 h 75", "=20", "20+10", "20/30", "2h0h", "100%", "20€", "٢٠/٣٠",
    ],
)  # fmt: skip
def test_typed_texts_that_leave_a_doubt(text: str) -> None:
    assert typed_minutes(text) is None


@given(st.integers(0, 9999))
def test_any_whole_number_of_minutes_is_read_in_all_digits_of_unicode(number: int) -> None:
    """Decimal digits of the Unicode Character Database, which Python's `int` knows, too."""
    for zero in (ord("0"), 0xFF10, 0x0660, 0x0966, 0x09E6, 0x0E50):
        text = "".join(chr(zero + int(digit)) for digit in str(number))
        assert typed_minutes(text) == int(text) == number


@given(st.text(max_size=12))
def test_no_text_fails_and_no_negative_or_endless_number_comes_out(text: str) -> None:
    minutes = typed_minutes(text)
    assert minutes is None or 0 <= minutes <= 9999


@given(st.text(alphabet="0123456789", min_size=1, max_size=4))
def test_what_is_typed_in_plain_digits_is_read_as_if_it_were_written(text: str) -> None:
    assert typed_minutes(text) == minutes_of(text)


@pytest.mark.parametrize(
    ("text", "empty"), [("", True), (" \u200b\n\xa0", True), ("\u200e", True), ("-", False)]
)
def test_what_shows_nothing_is_empty(text: str, empty: bool) -> None:
    assert is_empty(text) is empty
