"""Filling a chart in: what a family writes into each box, and what goes wrong while writing."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from ingest.demo.hands import Hand, Manner, any_manner, initials, scribble, strike, write
from ingest.demo.ink import Pen, Picture, any_pen, draw, rub, smear
from ingest.paper import Box


class Mishap(StrEnum):
    """What happened to one box."""

    NONE = ""
    ERASED = "erased"  # another number was there and was rubbed out
    STRUCK = "struck"  # another number was struck out, the right one squeezed beside it
    SCRIBBLED = "scribbled"  # the same, but scrawled over
    SMUDGED = "smudged"  # a sleeve went over the fresh line


@dataclass(frozen=True, slots=True)
class Entry:
    """What goes into one box.

    text: what is to be read at the end; "" leaves the box empty (after an erasure, say).
    earlier: for mishaps that need one, what was written first.
    mark: draw initials instead of text.
    """

    text: str
    mishap: Mishap = Mishap.NONE
    earlier: str = ""
    mark: bool = False


@dataclass(frozen=True, slots=True)
class Writer:
    """A child with a pen: hand, manner, and what they and the grown-up hold."""

    hand: Hand
    manner: Manner
    pen: Pen
    grown_up_pen: Pen


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
    if entry.mishap is Mishap.ERASED:
        ghost = write(hand, entry.earlier, area, manner, rng)
        left = float(rng.uniform(0.04, 0.16))
        draw(picture, px_per_mm, ghost, pen, rng, strength=left, soften_mm=0.12)
        every = np.concatenate(ghost)
        rub(picture, px_per_mm, every.min(axis=0) - 1.0, every.max(axis=0) + 1.0, rng)
    elif entry.mishap in (Mishap.STRUCK, Mishap.SCRIBBLED):
        manner = replace(manner, height=min(manner.height, 0.6), overrun=0.0)  # two must fit
        half = Box(area.left, area.top, area.width * 0.42, area.height)
        place = Box(area.left + area.width * 0.52, area.top, area.width * 0.48, area.height)
        wrong = write(hand, entry.earlier, half, manner, rng)
        draw(picture, px_per_mm, wrong, pen, rng)
        if entry.mishap is Mishap.STRUCK:
            draw(picture, px_per_mm, strike(wrong, rng), pen, rng)
        else:
            every = np.concatenate(wrong)
            low, high = every.min(axis=0), every.max(axis=0)
            over = Box(low[0] - 0.6, low[1] - 0.3, high[0] - low[0] + 1.2, high[1] - low[1] + 0.6)
            draw(picture, px_per_mm, scribble(over, rng), pen, rng)
    lines = write(hand, entry.text, place, manner, rng)
    draw(picture, px_per_mm, lines, pen, rng)
    if entry.mishap is Mishap.SMUDGED and lines:
        every = np.concatenate(lines)
        smear(picture, px_per_mm, every.min(axis=0) - 2.5, every.max(axis=0) + 2.5, rng)
