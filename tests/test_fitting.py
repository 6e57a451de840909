"""Text of any length in a place of given size."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.chart.lettering import REGULAR, typeset, width
from ingest.chart.pen import points
from ingest.report.fitting import PITCH, fit


def widest(lines: tuple[str, ...], size: float) -> float:
    return max(width(typeset(line, REGULAR)) for line in lines) * points(size)


def test_short_text_is_set_as_large_as_asked() -> None:
    found = fit("Li Wu", 100, 30, most=40)
    assert (found.size, found.lines) == (40, ("Li Wu",))


def test_long_text_is_set_in_even_lines_rather_than_very_small() -> None:
    found = fit("Maximiliana Alexandrina von und zu Hohenbergen", 100, 25, most=30)
    assert len(found.lines) == 2
    first, second = (widest((line,), found.size) for line in found.lines)
    assert abs(first - second) < 0.35 * first


def test_text_that_is_read_as_text_fills_its_lines() -> None:
    words = "one two three four five six seven eight nine ten"
    filled, even = (fit(words, 60, 40, most=14, even=each) for each in (False, True))
    assert len(filled.lines) == len(even.lines)
    assert len(filled.lines[0]) > len(even.lines[0])


def test_no_word_is_broken_while_the_type_is_large_enough() -> None:
    assert fit("Alexandrina-Wilhelmina", 40, 40, most=40, least=8).lines == ("Alexandrina-Wilhelmina",)
    assert len(fit("W" * 60, 40, 40, most=40, least=8).lines) > 1


def test_nothing_at_all_fits_anywhere() -> None:
    assert fit("", 10, 10, most=20).height == pytest.approx(PITCH * points(20))


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.text(st.characters(categories=["L", "M", "N"]), min_size=1, max_size=25), min_size=1, max_size=8
    )
)
def test_whatever_it_is_it_fits(words: list[str]) -> None:
    found = fit(" ".join(words), 80, 25, most=30)
    assert found.height <= 25
    assert widest(found.lines, found.size) <= 80.001
