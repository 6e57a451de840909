"""Texts and their probabilities from the net's scores; minutes from texts."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.reading.texts import ALPHABET, likely_texts, minutes_of
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
