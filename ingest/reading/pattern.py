"""All frames together as one pattern, followed where a sheet is bent so much that single lines mislead.

Parts of the drawn pattern are slid over the flattened page; where a part fits best says how far the
sheet is displaced there, in both directions at once.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt

from ingest.chart.layout import Layout
from ingest.paper import Box
from ingest.reading.bend import Floats, Samples, fit_bend
from ingest.reading.flatten import Pose, flatten, shrink_to
from ingest.reading.values import Grey

_PX_PER_MM = 2.0
_LINE_MM = 0.35
_SOFT_PX = 0.8
_PAPER_MM = 4.0  # paper is the brightest within so much
_DARKEST = 0.4  # share of the paper's brightness; anything darker is writing

_LONG_MM = 5.0  # what goes on straight for less is no line

_LEAST_FIT = 0.25  # correlation below which a part was not found


@dataclass(frozen=True, slots=True)
class _Part:
    """How large the parts are that are slid about, how far, and how far from smooth they may land (mm)."""

    width: float
    height: float
    reach: float
    tolerance: float


_ROUNDS = (_Part(56.0, 44.0, 8.0, 2.0), _Part(36.0, 28.0, 3.5, 0.8))


def follow(grey: Grey, pose: Pose, layout: Layout, tags: tuple[Samples, Samples]) -> Pose:
    """The pose with its bend fitted to the pattern; good to about half a mm where the pattern shows."""
    small, near = shrink_to(grey, pose, _PX_PER_MM)
    page = Box(0, 0, layout.paper.width, layout.paper.height)
    drawn = _drawn(layout)
    for part in _ROUNDS:
        seen = _lines(flatten(small, near, page, _PX_PER_MM))
        centres, shifts, trust = _slide(drawn, seen, layout, part)
        if not len(centres):
            return pose
        whole = shifts + near.bend.at(centres + shifts)
        sure = np.zeros(len(trust), np.bool_)
        x, y = (Samples(centres, whole[:, i], trust, sure) + tags[i] for i in (0, 1))
        near = replace(near, bend=fit_bend(near.bend, x, y, part.tolerance, rounds=5))
    return replace(pose, bend=near.bend)


@lru_cache(maxsize=4)
def _drawn(layout: Layout) -> npt.NDArray[np.float32]:
    """The frames as darkness, 0 to 1, at _PX_PER_MM."""
    fine = 4
    scale = _PX_PER_MM * fine
    size = (round(layout.paper.height * _PX_PER_MM), round(layout.paper.width * _PX_PER_MM))
    page = np.zeros((size[0] * fine, size[1] * fine), np.uint8)
    for box in layout.boxes:
        frame = box.frame
        first = (round(frame.left * scale), round(frame.top * scale))
        last = (round(frame.right * scale), round(frame.bottom * scale))
        cv2.rectangle(page, first, last, 255, max(1, round(_LINE_MM * scale)))
    small = cv2.resize(page, (size[1], size[0]), interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.GaussianBlur(small.astype(np.float32) / 255, (0, 0), _SOFT_PX), np.float32)


def _lines(flat: Grey) -> npt.NDArray[np.float32]:
    """How much darker than the paper around it each place is, as a share, along lines only.

    Print and writing go: they are darker than the frames, and every row of days has print above it.
    """
    side = 2 * round(_PAPER_MM * _PX_PER_MM / 2) + 1
    paper = cv2.blur(cv2.dilate(flat, np.ones((side, side), np.uint8)), (side, side))
    share = cv2.GaussianBlur(
        np.clip(1 - flat / np.maximum(paper, 1).astype(np.float32), 0, _DARKEST), (0, 0), _SOFT_PX
    )
    length = round(_LONG_MM * _PX_PER_MM)
    lines = np.maximum(
        cv2.morphologyEx(share, cv2.MORPH_OPEN, np.ones((1, length), np.uint8)),
        cv2.morphologyEx(share, cv2.MORPH_OPEN, np.ones((length, 1), np.uint8)),
    )
    return np.asarray(lines, np.float32)


def _slide(
    drawn: npt.NDArray[np.float32], seen: npt.NDArray[np.float32], layout: Layout, part: _Part
) -> tuple[Floats, Floats, Floats]:
    """Where parts of the pattern are found: their centres (k, 2), displacements (k, 2) in mm, trust (k,)."""
    reach = round(part.reach * _PX_PER_MM)
    wide, high = round(part.width * _PX_PER_MM / 2), round(part.height * _PX_PER_MM / 2)
    border = cv2.copyMakeBorder(seen, reach, reach, reach, reach, cv2.BORDER_CONSTANT, value=0)
    centres, shifts, trust = [], [], []
    for x, y in _centres(layout):
        column, row = round(x * _PX_PER_MM), round(y * _PX_PER_MM)
        left, right = max(0, column - wide), min(seen.shape[1], column + wide)
        top, bottom = max(0, row - high), min(seen.shape[0], row + high)
        pattern = drawn[top:bottom, left:right]
        around = border[top : bottom + 2 * reach, left : right + 2 * reach]
        fit = cv2.matchTemplate(around, pattern, cv2.TM_CCOEFF_NORMED)
        _, best, _, at = cv2.minMaxLoc(fit)
        if best < _LEAST_FIT or not (0 < at[0] < 2 * reach and 0 < at[1] < 2 * reach):
            continue
        centres.append(((left + right) / 2 / _PX_PER_MM, (top + bottom) / 2 / _PX_PER_MM))
        shifts.append(((at[0] - reach) / _PX_PER_MM, (at[1] - reach) / _PX_PER_MM))
        trust.append(best**2)
    return (
        np.array(centres, np.float64).reshape(-1, 2),
        np.array(shifts, np.float64).reshape(-1, 2),
        np.array(trust, np.float64),
    )


@lru_cache(maxsize=4)
def _centres(layout: Layout) -> tuple[tuple[float, float], ...]:
    """Where parts are taken: at the middle of every box and of every corner where boxes meet."""
    places = set()
    for box in layout.boxes:
        frame = box.frame
        places.add((round(frame.left), round(frame.top)))
        places.add((round(frame.right), round(frame.bottom)))
    return tuple(sorted(places))
