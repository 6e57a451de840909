"""A crop as characters: small, grey, and legible in any terminal.

A character cell is taken to be twice as tall as wide, which holds within a tenth for the fonts that
terminals use (common practice, no source).
"""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from ingest.reading.values import Grey

CELL_ASPECT = 2.0  # height of a character cell over its width

# Darkest and lightest grey of a shown crop are spread to black and white, but never by more than this
# factor: a blank box must stay blank and not become a storm of magnified paper grain.
MOST_GAIN = 3.0

PAPER_GRAIN = 6  # grey levels below the paper's median that still count as paper

# Greys that are told apart on screen: enough for soft edges; more only make more to send.
GREYS = 16

# The sixteen ways to fill a cell's quarters; index = upper left 1, upper right 2, lower left 4, lower
# right 8.  Unicode block elements, U+2580 to U+259F.
QUARTERS = " ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█"

SHADES = " .:-=+*#%@"  # from paper to ink, plain ASCII


@dataclass(frozen=True, slots=True)
class Run:
    """Neighbouring cells of the same two greys (0 black .. 255 white)."""

    text: str
    ink: int
    paper: int


def fit(picture: Grey, columns: int, rows: int) -> tuple[int, int]:
    """The largest (columns, rows) in which the picture keeps its shape; at least 1 x 1."""
    height, width = picture.shape
    if not width or not height:
        return 1, 1
    scale = min(columns / width, rows * CELL_ASPECT / height)
    return (
        max(1, min(columns, round(width * scale))),
        max(1, min(rows, round(height * scale / CELL_ASPECT))),
    )


def spread(picture: Grey) -> Grey:
    """The picture with its paper white and its ink black; faint pencil comes out, grain does not.

    Its middle sets how dark ink is, for around the pencil there may be print, which is blacker.
    """
    if not picture.size:
        return picture
    height, width = picture.shape
    middle = picture[height // 5 : height - height // 5, width // 8 : width - width // 8]
    # More than half of a box is paper, so the median is paper for sure; a little under it, and the
    # grain of paper and JPEG is white too.
    dark, light = np.percentile(middle, (0.5, 50)) - (0, PAPER_GRAIN)
    gain = min(MOST_GAIN, 255.0 / max(1.0, float(light - dark)))
    stretched: Grey = np.clip(255.0 - (light - picture.astype(np.float32)) * gain, 0, 255).astype(np.uint8)
    return stretched


def _shrink(picture: Grey, columns: int, rows: int) -> Grey:
    if not picture.size:
        return np.full((rows, columns), 255, np.uint8)
    smaller = picture.shape[1] > columns or picture.shape[0] > rows
    how = cv2.INTER_AREA if smaller else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(picture, (columns, rows), interpolation=how), np.uint8)


def blocks(picture: Grey, columns: int, rows: int) -> tuple[tuple[Run, ...], ...]:
    """The picture in quarter blocks, two greys a cell, at most columns x rows cells.

    Each cell gets the pair of greys and the shape that come nearest to its four quarters.
    """
    columns, rows = fit(picture, columns, rows)
    small = _shrink(spread(picture), 2 * columns, 2 * rows).astype(np.float32)
    quarters = small.reshape(rows, 2, columns, 2).transpose(0, 2, 1, 3).reshape(rows, columns, 4)

    # Shapes 0..7 leave the lower right quarter to the paper; the other eight are their negatives.
    shapes = np.array([[bool(shape & 1 << bit) for bit in range(4)] for shape in range(8)], np.float32)
    filled = shapes.sum(1)
    ink = quarters @ shapes.T / np.maximum(filled, 1)
    paper = quarters @ (1 - shapes).T / (4 - filled)
    # Least squared error is greatest variance between the two groups: sum of n * mean squared.
    gain = filled * ink**2 + (4 - filled) * paper**2
    best = gain.argmax(2)
    ink_grey = _quantised(np.take_along_axis(ink, best[..., None], 2)[..., 0])
    paper_grey = _quantised(np.take_along_axis(paper, best[..., None], 2)[..., 0])
    even = (ink_grey == paper_grey) | (best == 0)
    best[even] = 0
    ink_grey[even] = paper_grey[even]
    glyphs = np.array(list(QUARTERS))[best]
    return tuple(_runs(glyphs[row], ink_grey[row], paper_grey[row]) for row in range(rows))


def _quantised(grey: npt.NDArray[np.float32]) -> npt.NDArray[np.int_]:
    step = 255 / (GREYS - 1)
    levels: npt.NDArray[np.int_] = np.rint(np.rint(grey / step) * step).astype(np.int_)
    return levels


def _runs(
    glyphs: npt.NDArray[np.str_], ink: npt.NDArray[np.int_], paper: npt.NDArray[np.int_]
) -> tuple[Run, ...]:
    changes = np.flatnonzero((ink[1:] != ink[:-1]) | (paper[1:] != paper[:-1])) + 1
    text = "".join(glyphs.tolist())
    starts = [0, *changes.tolist()]
    ends = [*starts[1:], len(text)]
    return tuple(
        Run(text[start:end], int(ink[start]), int(paper[start]))
        for start, end in zip(starts, ends, strict=True)
    )


def shading(picture: Grey, columns: int, rows: int) -> tuple[str, ...]:
    """The picture in plain ASCII, one character a cell, at most `rows` lines of `columns`."""
    columns, rows = fit(picture, columns, rows)
    darkness = 255.0 - _shrink(spread(picture), columns, rows).astype(np.float32)
    levels = np.minimum((darkness * len(SHADES) / 256).astype(int), len(SHADES) - 1)
    return tuple("".join(SHADES[level] for level in line).rstrip() for line in levels.tolist())
