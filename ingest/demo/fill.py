"""Filling a chart in: what a family writes into each box, and what goes wrong while writing."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from ingest.demo.doodles import doodle, line_through, stick
from ingest.demo.hands import Hand, Manner, Points, any_manner, initials, scribble, strike, write
from ingest.demo.ink import Pen, Picture, any_pen, draw, rub, smear
from ingest.paper import Box


class Mishap(StrEnum):
    """What happened to one box."""

    NONE = ""
    ERASED = "erased"  # another number was there and was rubbed out
    STRUCK = "struck"  # another number was struck out, the right one squeezed beside it
    SCRIBBLED = "scribbled"  # the same, but scrawled over
    SMUDGED = "smudged"  # a sleeve went over the fresh line
    STRUCK_OUT = "struck out"  # a number was struck out and nothing put in its place
    OVERWRITTEN = "written over"  # the right number was written on top of another
    TWO = "two numbers"  # two numbers side by side or one above the other; which counts?


STICKER, LINE = "sticker", "line"  # drawings besides those of `ingest.demo.doodles`


@dataclass(frozen=True, slots=True)
class Entry:
    """What goes into one box.

    text: what is to be read at the end; "" leaves the box empty (after an erasure, say).
    earlier: for mishaps that need one, what was written first.
    mark: draw initials instead of text.
    drawing: what is drawn or stuck beside the text, or alone in the box where there is none: the name of a
        doodle, STICKER, or LINE for a line from side to side. "" for nothing.
    """

    text: str
    mishap: Mishap = Mishap.NONE
    earlier: str = ""
    mark: bool = False
    drawing: str = ""


@dataclass(frozen=True, slots=True)
class Writer:
    """A child with a pen: hand, manner, and what they and the grown-up hold.

    ghost: how much the eraser leaves of a line, at least and at most, 0..1.
    """

    hand: Hand
    manner: Manner
    pen: Pen
    grown_up_pen: Pen
    ghost: tuple[float, float] = (0.04, 0.16)


def any_writer(hand: Hand, rng: np.random.Generator) -> Writer:
    return Writer(hand, any_manner(rng), any_pen(rng), any_pen(rng))


def fill(
    picture: Picture,
    px_per_mm: float,
    areas: Mapping[str, Box],
    entries: Mapping[str, Entry],
    writer: Writer,
    rng: np.random.Generator,
) -> None:
    """Write `entries` (by box name) into the page in place. Raises KeyError for an unknown box."""
    for name, entry in entries.items():
        area = areas[name]
        # Chance of its own for every box: one changed entry leaves the others as they were.
        own = np.random.default_rng(rng.integers(2**32))
        if entry.mark:
            draw(picture, px_per_mm, initials(area, own), writer.grown_up_pen, own)
        else:
            _fill_box(picture, px_per_mm, area, entry, writer, own)


def _fill_box(
    picture: Picture,
    px_per_mm: float,
    area: Box,
    entry: Entry,
    writer: Writer,
    rng: np.random.Generator,
) -> None:
    hand, manner, pen = writer.hand, writer.manner, writer.pen
    place = area
    if entry.drawing:
        place = _draw_beside(picture, px_per_mm, area, entry, pen, rng)
        manner = replace(manner, overrun=0.0)
    if entry.mishap is Mishap.ERASED:
        ghost = write(hand, entry.earlier, area, manner, rng)
        left = float(rng.uniform(*writer.ghost))
        draw(picture, px_per_mm, ghost, pen, rng, strength=left, soften_mm=0.12)
        every = np.concatenate(ghost)
        rub(picture, px_per_mm, every.min(axis=0) - 1.0, every.max(axis=0) + 1.0, rng)
    elif entry.mishap in (Mishap.STRUCK, Mishap.SCRIBBLED, Mishap.STRUCK_OUT):
        if entry.mishap is Mishap.STRUCK_OUT:
            half = area
        else:
            manner = replace(manner, height=min(manner.height, 0.6), overrun=0.0)  # two must fit
            half, place = _halves(area)
        wrong = write(hand, entry.earlier, half, manner, rng)
        draw(picture, px_per_mm, wrong, pen, rng)
        if entry.mishap is Mishap.SCRIBBLED or (entry.mishap is Mishap.STRUCK_OUT and rng.random() < 0.4):
            every = np.concatenate(wrong)
            low, high = every.min(axis=0), every.max(axis=0)
            over = Box(low[0] - 0.6, low[1] - 0.3, high[0] - low[0] + 1.2, high[1] - low[1] + 0.6)
            draw(picture, px_per_mm, scribble(over, rng), pen, rng)
        else:
            draw(picture, px_per_mm, strike(wrong, rng), pen, rng)
    elif entry.mishap is Mishap.OVERWRITTEN:
        wrong = write(hand, entry.earlier, area, manner, rng)
        draw(picture, px_per_mm, wrong, pen, rng)
        pen, place = pen.pressed(), _where(wrong, area)
    elif entry.mishap is Mishap.TWO:
        manner = replace(manner, height=min(manner.height, 0.6), overrun=0.0)
        half, place = _halves(area) if rng.random() < 0.7 else _storeys(area)
        draw(picture, px_per_mm, write(hand, entry.earlier, half, manner, rng), pen, rng)
    lines = write(hand, entry.text, place, manner, rng)
    draw(picture, px_per_mm, lines, pen, rng)
    if entry.mishap is Mishap.SMUDGED and lines:
        every = np.concatenate(lines)
        smear(picture, px_per_mm, every.min(axis=0) - 2.5, every.max(axis=0) + 2.5, rng)


def _halves(area: Box) -> tuple[Box, Box]:
    """Left for the first number, right for the second."""
    left = Box(area.left, area.top, area.width * 0.42, area.height)
    return left, Box(area.left + area.width * 0.52, area.top, area.width * 0.48, area.height)


def _storeys(area: Box) -> tuple[Box, Box]:
    upper = Box(area.left, area.top, area.width, area.height * 0.47)
    return upper, Box(area.left, area.top + area.height * 0.53, area.width, area.height * 0.47)


def _where(lines: tuple[Points, ...], area: Box) -> Box:
    """The space around what is written, for writing the same size on top of it."""
    every = np.concatenate(lines) if lines else np.array([[area.left, area.top], [area.right, area.bottom]])
    low, high = every.min(axis=0), every.max(axis=0)
    return Box(low[0] - 1, area.top, max(high[0] - low[0] + 2, 0.4 * area.width), area.height)


def _draw_beside(
    picture: Picture, px_per_mm: float, area: Box, entry: Entry, pen: Pen, rng: np.random.Generator
) -> Box:
    """Draw or stick the entry's drawing; the space that is left for its text."""
    if entry.drawing == LINE:
        draw(picture, px_per_mm, line_through(area, rng), pen, rng)
        return area
    space, place = area, area
    if entry.text:
        place = Box(area.left, area.top, area.width * 0.62, area.height)
        space = Box(area.left + area.width * 0.64, area.top, area.width * 0.34, area.height)
    if entry.drawing == STICKER:
        stick(picture, px_per_mm, space, rng)
    else:
        draw(picture, px_per_mm, doodle(entry.drawing, space, rng), pen, rng)
    return place
