"""What a page's file holds as text, not as ink: which box it is in, and what that box then says.

Text is exact where ink is only probable. But a page may bear both, so its ink is read from the picture with
the text taken away, and what contradicts each other is for a person to settle.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import cv2
import numpy as np
import numpy.typing as npt

from ingest.chart.layout import FRAME_DISTANCE, ChartBox, Kind, Layout
from ingest.paper import Box
from ingest.reading.bend import Bend
from ingest.reading.certainty import SURE
from ingest.reading.crops import box_crops
from ingest.reading.flatten import Pose, box_corners, flatten, shrink_to, tag_corners
from ingest.reading.frames import Fit
from ingest.reading.numerals import FLAT_PX_PER_MM, Numerals
from ingest.reading.tags import SeenTag
from ingest.reading.texts import is_empty, typed_minutes
from ingest.reading.values import BoxReading, Candidate, Floats, Grey, Text, TextLayer

# Text and something else: neither is more than likely, so that a person is asked.
_TYPED, _OTHER = 0.5, 0.4
_FILLED = 0.999  # initials or a name: something is there; as `numerals` has it
# A number that is in no box, but so near to one, may be meant for it: above it, in the strip that the day is
# printed in, or below it; mm.
_ABOVE_MM = 4.5
_BELOW_MM = 2.5
_FIELDS_LEAST = 6  # from which a page can be placed


def without_text(layout: Layout, pose: Pose, layer: TextLayer) -> Grey:
    """The flattened page as it is without its text: what is left in a box is ink."""
    picture, near = shrink_to(layer.bare, pose, FLAT_PX_PER_MM)
    return flatten(picture, near, Box(0, 0, layout.paper.width, layout.paper.height), FLAT_PX_PER_MM)


def with_texts(
    readings: Sequence[BoxReading], layout: Layout, fit: Fit, layer: TextLayer, numerals: Numerals
) -> tuple[BoxReading, ...]:
    """The readings of the layout's boxes and outside cells, with what was typed into them.

    readings: of the page without its text.

    A box's typed candidate has probability 1 where it is all that the box holds. Where there is ink, too, or
    the picture surely shows another number than the file says, or the text lies across boxes or beside the
    box, no candidate is probable.
    """
    boxes = {box.name: box for box in (*layout.boxes, *layout.outside)}
    held = _held(tuple(boxes.values()), fit.pose, layer.texts)
    chosen = [boxes[name] for name in held]
    looks = numerals.read(box_crops(fit.flat, chosen), [box.kind for box in chosen])
    seen = {box.name: candidates[0] for box, (candidates, _) in zip(chosen, looks, strict=True)}
    return tuple(
        replace(reading, candidates=_said(boxes[name], held[name], reading.candidates, seen[name]))
        if (name := reading.box) in held
        else reading
        for reading in readings
    )


def typed_name(layout: Layout, pose: Pose, layer: TextLayer) -> str:
    """What was typed where the name stands; "" if nothing."""
    frame = _in_picture([layout.name.grown(1.0)], pose)
    inside = [text for text in layer.texts if not text.is_printed and _inside(frame, text.middles).all()]
    typed = [text.text.strip() for text in inside if text.is_field and not is_empty(text.text)]
    return " ".join(typed or (text.text for text in inside if not text.is_field))


def foreseen_tags(layer: TextLayer, layouts: Iterable[Layout]) -> tuple[Layout, tuple[SeenTag, ...]] | None:
    """Where a chart's tags would be seen, by its form's fields, and its layout; None with too few fields.

    For a page of which so much was cut off that its tags are gone.
    """
    found = [(*placed, layout) for layout in layouts if (placed := _placed_by_fields(layer, layout))]
    if not found:
        return None
    _, pose, layout = min(found, key=lambda option: option[0])
    corners = tag_corners(layout.tags)
    return layout, tuple(SeenTag(number, pose.to_picture(corners[number])) for number in corners)


def _placed_by_fields(layer: TextLayer, layout: Layout) -> tuple[float, Pose] | None:
    """The pose by which the boxes come to lie where the fields are, and how far they miss them, px."""
    boxes = [box for box in layout.boxes if box.name in layer.corners]
    if len(boxes) < _FIELDS_LEAST:
        return None
    millimetres = np.concatenate([box_corners(box.area) for box in boxes])
    pixels = np.concatenate([layer.corners[box.name] for box in boxes])
    matrix, _ = cv2.findHomography(millimetres, pixels, 0)
    if matrix is None or not np.isfinite(matrix).all():
        return None
    pose = Pose(np.asarray(matrix, np.float64), Bend.none(layout.paper.width, layout.paper.height))
    return float(np.linalg.norm(pose.to_picture(millimetres) - pixels, axis=1).mean()), pose


@dataclass(slots=True)
class _Held:
    """The text of one box. values: of fields. shown: all else. beside: not, or not only, in this box."""

    values: list[str] = field(default_factory=list)
    shown: list[str] = field(default_factory=list)
    beside: list[str] = field(default_factory=list)


def _held(boxes: Sequence[ChartBox], pose: Pose, texts: Sequence[Text]) -> dict[str, _Held]:
    """The boxes that hold text, by name."""
    frames = _in_picture([box.area.grown(FRAME_DISTANCE) for box in boxes], pose)
    held: dict[str, _Held] = {}
    strays: list[Text] = []
    for text in texts:
        if is_empty(text.text):
            continue
        touched = _chosen(boxes, _inside(frames, text.middles).any(axis=1))
        for box in touched:
            found = held.setdefault(box.name, _Held())
            if len(touched) > 1 or text.is_aside or text.field not in ("", box.name):
                found.beside.append(text.text)
            elif text.is_field:
                found.values.append(text.text)
            else:
                found.shown.append(text.text)
        if not touched and not text.is_printed and typed_minutes(text.text) is not None:
            strays.append(text)
    around = _in_picture([_around(box.frame) for box in boxes], pose)
    filled = set(held)
    for text in strays:
        near = _chosen(boxes, _inside(around, text.middles.mean(axis=0, keepdims=True))[:, 0])
        if any(box.name.startswith("day:") and int(box.name[-2:]) == _number(text.text) for box in near):
            continue  # the day's number, printed above its box
        for box in near:
            if box.name not in filled:
                held.setdefault(box.name, _Held()).beside.append(text.text)
    return held


def _number(text: str) -> int | None:
    return int(text) if text.isdecimal() else None


def _chosen(boxes: Sequence[ChartBox], chosen: npt.ArrayLike) -> list[ChartBox]:
    return [boxes[int(n)] for n in np.flatnonzero(chosen)]


def _in_picture(areas: Sequence[Box], pose: Pose) -> Floats:
    """The areas' corners, px: shape (m, 4, 2)."""
    corners = np.concatenate([box_corners(area) for area in areas])
    return pose.to_picture(corners).reshape(-1, 4, 2)


def _around(frame: Box) -> Box:
    return Box(frame.left, frame.top - _ABOVE_MM, frame.width, frame.height + _ABOVE_MM + _BELOW_MM)


def _inside(quads: Floats, points: Floats) -> npt.NDArray[np.bool_]:
    """Which quadrangles, shape (m, 4, 2), hold which points, shape (n, 2): shape (m, n)."""
    edges = np.roll(quads, -1, axis=1) - quads
    away = points[None, None] - quads[:, :, None]  # (m, 4, n, 2)
    side = edges[:, :, None, 0] * away[..., 1] - edges[:, :, None, 1] * away[..., 0]
    return np.asarray((side >= 0).all(axis=1) | (side <= 0).all(axis=1))


def _said(box: ChartBox, held: _Held, ink: Sequence[Candidate], seen: Candidate) -> tuple[Candidate, ...]:
    """What a box with text says. ink: what it says without its text. seen: what it looks like with it.

    A text box may cover a box so that nothing can be said of its ink: then the text is all there is.
    """
    typed = " ".join(held.values or held.shown or held.beside).strip()
    if box.kind in (Kind.MARK, Kind.TEXT):
        return (Candidate(None, "?", _FILLED, typed=True),) if held.values or held.shown else tuple(ink)
    value = typed_minutes(typed)
    shown = " ".join(held.shown)
    other: Candidate | None = None
    if held.values and shown and not _same(typed, shown):
        other = Candidate(typed_minutes(shown), shown, _OTHER)
    elif not _is_nothing(ink) and (value is None or ink[0].value != value):
        other = replace(ink[0], probability=_OTHER)
    elif None not in (value, seen.value) and seen.value != value and seen.probability >= SURE:
        other = replace(seen, probability=_OTHER)  # a font may say that its letters are others than they are
    if other:
        return Candidate(value, typed, _TYPED, typed=True), other
    return (Candidate(value, typed, _TYPED if held.beside else 1.0, typed=True),)


def _is_nothing(ink: Sequence[Candidate]) -> bool:
    """Whether a box is blank, or hidden as `reading.page` reports it."""
    return ink[0].value is None and (ink[0].text == "" or ink[0].probability == 1)


def _same(value: str, shown: str) -> bool:
    """Whether a field's look shows its value, as far as it has the letters and the room for it."""
    minutes = typed_minutes(shown)
    if minutes is not None:
        return minutes == typed_minutes(value)
    typed, seen = "".join(value.split()), "".join(shown.split())
    return len(seen) <= len(typed) and all(
        letter == look or (not letter.isascii() and look in _MISSING)
        for letter, look in zip(typed, seen, strict=False)
    )


_MISSING = "?\N{REPLACEMENT CHARACTER}"  # stand for a letter that a font lacks
