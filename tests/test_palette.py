"""Colours by WCAG 2.2, in grey, and as people see them who lack a kind of cone."""

from itertools import combinations, pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from ingest.report.palette import BAR, INK, PALE_BAR, PAPER, QUIET, SHADES, STAR, shade, steps

# Machado, Oliveira and Fernandes, "A Physiologically-based Model for Simulation of Color Vision Deficiency",
# IEEE Transactions on Visualization and Computer Graphics 15 (2009), full severity, for linear RGB; written
# down from memory. The test below checks what can be: white must stay white, so each row adds up to 1.
DEFICIENCIES = {
    "protanopia": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deuteranopia": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritanopia": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
NORMAL = {"normal": [[1.0, 0, 0], [0, 1.0, 0], [0, 0, 1.0]]}
EYES = {**NORMAL, **DEFICIENCIES}


def linear(color: str) -> NDArray[np.float64]:
    """WCAG 2.2, "relative luminance", its three terms before they are weighed."""
    c = np.array([int(color[at : at + 2], 16) / 255 for at in (1, 3, 5)])
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def luminance(color: str, eye: str = "normal") -> float:
    seen = np.clip(np.array(EYES[eye]) @ linear(color), 0, 1)
    return float(seen @ [0.2126, 0.7152, 0.0722])


def contrast(one: str, other: str, eye: str = "normal") -> float:
    """WCAG 2.2, "contrast ratio"."""
    low, high = sorted((luminance(one, eye), luminance(other, eye)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize(
    ("color", "published"), [("#767676", 4.542), ("#0072B2", 5.19), ("#D55E00", 3.87), ("#000000", 21.0)]
)
def test_the_ruler_itself(color: str, published: float) -> None:
    """#767676 is the well-known palest grey for text; the others are Okabe and Ito's on white."""
    assert contrast(color, "#FFFFFF") == pytest.approx(published, abs=0.005)


@pytest.mark.parametrize("eye", DEFICIENCIES)
def test_white_stays_white_to_every_eye(eye: str) -> None:
    assert np.array(EYES[eye]).sum(axis=1) == pytest.approx([1, 1, 1], abs=2e-6)


@pytest.mark.parametrize("eye", EYES)
def test_words_can_be_read_on_every_shade(eye: str) -> None:
    """WCAG 2.2, 1.4.3: 4.5 : 1."""
    for each in SHADES:
        assert contrast(each.fill, each.ink, eye) >= 4.5
    for ink in (INK, QUIET, BAR):  # large figures are set in BAR, and need 3 only
        assert contrast(ink, PAPER, eye) >= 4.5


@pytest.mark.parametrize("eye", EYES)
def test_parts_of_a_picture_stand_out_from_what_is_beside_them(eye: str) -> None:
    """WCAG 2.2, 1.4.11: 3 : 1, by themselves or by the line around them."""
    assert contrast(BAR, PAPER, eye) >= 3
    assert contrast(INK, BAR, eye) >= 3  # the dashed goal over bars
    assert contrast(INK, STAR, eye) >= 3  # stars have a frame in INK
    assert contrast(BAR, PALE_BAR, eye) >= 3  # pale bars have a frame in BAR
    assert contrast(QUIET, PAPER, eye) >= 3  # frames of days


@pytest.mark.parametrize("eye", EYES)
def test_more_minutes_are_darker_to_every_eye_and_in_grey(eye: str) -> None:
    """Grey print is luminance alone. How far apart they should be has no source."""
    for paler, darker in pairwise(SHADES):
        assert luminance(paler.fill, eye) > luminance(darker.fill, eye)
        assert contrast(paler.fill, darker.fill, eye) >= 1.2


@pytest.mark.parametrize("eye", DEFICIENCIES)
def test_star_bar_and_paper_are_three_colors_to_every_eye(eye: str) -> None:
    seen = {
        color: np.clip(np.array(EYES[eye]) @ linear(color), 0, 1) for color in (STAR, BAR, PAPER, PALE_BAR)
    }
    for one, other in combinations(seen, 2):
        assert np.linalg.norm(seen[one] - seen[other]) > 0.25


def test_shades_begin_one_after_the_other_whatever_the_minimum() -> None:
    for minimum in range(1, 601):  # all that a plan may have
        begins = steps(minimum)
        assert len(begins) == len(SHADES) - 1
        assert all(one < other for one, other in pairwise(begins))
        assert [shade(begin, minimum) for begin in begins] == list(SHADES[1:])
        assert [shade(begin - 1, minimum) for begin in begins] == list(SHADES[:-1])


def test_nothing_gets_darker_above_five_thirds_of_the_minimum() -> None:
    assert shade(25, 15) == shade(240, 15) == SHADES[-1]
