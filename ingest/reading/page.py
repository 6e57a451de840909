"""One picture of a page: find the chart, flatten it, read its boxes."""

from collections.abc import Collection, Iterator, Mapping, Sequence

import cv2
import numpy as np

from ingest.chart.layout import ChartBox, Layout
from ingest.errors import PageError
from ingest.paper import Box
from ingest.reading.codes import FoundCode, read_code, read_qr
from ingest.reading.counts import read_circles
from ingest.reading.crops import box_crops
from ingest.reading.flatten import Pose, box_corners, flatten, shrink_to
from ingest.reading.frames import Fit, refine
from ingest.reading.numerals import FLAT_PX_PER_MM, Numerals
from ingest.reading.placing import Placed, find, find_another, place_by
from ingest.reading.typed import foreseen_tags, typed_name, with_texts, without_text
from ingest.reading.values import BoxReading, Candidate, Finer, Grey, PageReading, TextLayer

# A picture with fewer pixels for a millimetre, in the middle of the page, is looked at in finer detail if
# there is any. Photos of 12 megapixels by calibrating hands, halved to 4 to 5.25: of 2,419 boxes 14 were read
# wrong at first sight; from the same photos in full, 12. What was written got the same probability to 0.001.
LEAST_PX_PER_MM = 4.0

FLAT_QUALITY = 85  # JPEG quality of the kept page: a third of a megabyte, and no edge is lost

# A box whose frame is missing, on a page whose frames are otherwise seen, is covered or torn off.
_PAGE_SEEN = 0.75
_BOX_HIDDEN = 0.2

_CHARTS_MOST = 6  # in one picture; more are too small to read
_ANOTHER = (
    "there is another chart in this picture, of which too little can be made out; take a photo of that one "
    "by itself, with the whole page in view"
)

_HIDDEN = (Candidate(None, "?", 1.0),)


def read_page(
    grey: Grey,
    layouts: Mapping[str, Layout],
    chart_layouts: Mapping[str, str],
    numerals: Numerals,
    text: TextLayer | None = None,
    finer: Finer | None = None,
) -> PageReading:
    """Read one page: the first chart of those that `read_pages` finds."""
    return next(read_pages(grey, layouts, chart_layouts, numerals, text, finer))


def read_pages(
    grey: Grey,
    layouts: Mapping[str, Layout],
    chart_layouts: Mapping[str, str],
    numerals: Numerals,
    text: TextLayer | None = None,
    finer: Finer | None = None,
) -> Iterator[PageReading]:
    """Read each chart in a picture, mostly one, as a page of its own.

    layouts: by key. chart_layouts: chart code to layout key. text: what the file holds as text.
    finer: for a picture that is not yet as large as it could be; asked where that may help.

    A box that is covered, torn off or outside the picture has the one candidate "?", never blank.
    The chart of another challenge gives its code and its flattened page, but no readings.

    Raises:
        PageError: no chart can be placed, or none of those that are left; the message is for the teacher.
    """
    if grey.ndim != 2 or min(grey.shape) < 100:
        raise PageError("this picture is too small to show a chart; hand in the photo or scan itself")
    grey = np.ascontiguousarray(grey)
    kinds = tuple(layouts.values())
    placed, code = _found(grey, finer, text, kinds, chart_layouts)
    if not placed.has_company:
        yield _read_placed(placed, code, layouts, chart_layouts, numerals, grey, text)
        return
    # Text says nothing of which of several charts it stands on: each is read as it looks.
    yield _read_placed(placed, code, layouts, chart_layouts, numerals, grey, None)
    if finer and placed.picture.shape == grey.shape:
        fine = finer() if placed.picture is grey else np.ascontiguousarray(finer()[:, ::-1])
        placed = placed.in_detail(fine)
    found = [placed]
    while found[-1].has_company and len(found) < _CHARTS_MOST:
        try:
            found.append(find_another(found, kinds))
        except PageError as error:
            raise PageError(_ANOTHER) from error
        placed = found[-1]
        code = read_code(placed.picture, placed.pose, placed.layout, chart_layouts)
        yield _read_placed(placed, code, layouts, chart_layouts, numerals, grey, None)


def _read_placed(
    placed: Placed,
    code: FoundCode,
    layouts: Mapping[str, Layout],
    chart_layouts: Mapping[str, str],
    numerals: Numerals,
    grey: Grey,
    text: TextLayer | None,
) -> PageReading:
    """grey: the picture that `text` belongs to."""
    if text and text.code and not code.code:
        code = FoundCode(text.code, code.challenge or text.challenge, "typed")
    candidates = _candidates(code, layouts, chart_layouts)
    if not candidates:
        picture, pose = shrink_to(placed.picture, placed.pose, FLAT_PX_PER_MM)
        paper = placed.layout.paper
        flat = flatten(picture, pose, Box(0, 0, paper.width, paper.height), FLAT_PX_PER_MM)
        return _reading(code, None, (), flat, placed.misfit_mm, len(placed.tags))
    key, fit, seen = min(
        ((key, *_fitted(placed, layout)) for key, layout in candidates.items()),
        key=lambda option: option[1].residual_mm,
    )
    layout, name = candidates[key], ""
    if text is None or placed.picture is not grey:  # text that is mirrored was never typed over this chart
        readings = _read_boxes(fit, fit.flat, layout, placed.picture, numerals)
    else:
        ink = without_text(layout, fit.pose, text)
        readings = _read_boxes(fit, ink, layout, placed.picture, numerals)
        readings = with_texts(readings, layout, fit, text, numerals)
        name = typed_name(layout, fit.pose, text)
    return _reading(code, key, readings, fit.flat, fit.residual_mm, seen, name)


def _found(
    grey: Grey,
    finer: Finer | None,
    text: TextLayer | None,
    layouts: Sequence[Layout],
    known: Collection[str],
) -> tuple[Placed, FoundCode]:
    """The chart in the picture, and its code. The picture is a finer one if the chart is small in it.

    What a quick look at the coarse picture does not settle waits for the finer one.
    """
    if finer is None:
        placed = _found_by_fields(grey, text, layouts)
    else:
        try:
            placed = find(grey, layouts, longer=False)
        except PageError:
            placed = find(finer(), layouts)
        else:
            fine_enough = placed.pose.scale >= LEAST_PX_PER_MM
            if fine_enough and (code := read_qr(placed.picture, placed.pose, placed.layout)):
                return placed, code
            fine = finer() if placed.picture is grey else np.ascontiguousarray(finer()[:, ::-1])
            placed = placed.in_detail(fine)
    return placed, read_code(placed.picture, placed.pose, placed.layout, known)


def _found_by_fields(grey: Grey, text: TextLayer | None, layouts: Sequence[Layout]) -> Placed:
    """The chart by its tags or, where they were cut off, by the fields of its form."""
    try:
        return find(grey, layouts)
    except PageError:
        foreseen = foreseen_tags(text, layouts) if text else None
        if foreseen is None:
            raise
        layout, tags = foreseen
        return place_by(tags, grey, layout)


def _candidates(
    code: FoundCode, layouts: Mapping[str, Layout], chart_layouts: Mapping[str, str]
) -> dict[str, Layout]:
    """The layouts, by key, that this chart may have; none if it is another challenge's."""
    own = chart_layouts.get(code.code or "", "")
    if own in layouts:
        return {own: layouts[own]}
    return {key: layout for key, layout in layouts.items() if code.challenge in (None, layout.challenge)}


def _fitted(placed: Placed, layout: Layout) -> tuple[Fit, int]:
    """The refined pose under a layout, and how many of its tags were found."""
    if layout.paper != placed.layout.paper or layout.tags != placed.layout.tags:
        placed = place_by(placed.tags, placed.picture, layout)
    return refine(placed.picture, placed.pose, layout, placed.tags), len(placed.tags)


def _read_boxes(
    fit: Fit, flat: Grey, layout: Layout, picture: Grey, numerals: Numerals
) -> tuple[BoxReading, ...]:
    """flat: the page to read the ink of, `fit.flat` or that without its text."""
    boxes = (*layout.boxes, *layout.outside)
    read = _read_each(boxes, flat, numerals)
    page_shows = float(fit.seen.mean()) > _PAGE_SEEN
    covered = {
        box.name
        for box, seen in zip(layout.boxes, fit.seen, strict=True)
        if page_shows and seen < _BOX_HIDDEN
    }
    inside = _inside([box.area for box in boxes], fit.pose, picture)
    return tuple(
        BoxReading(
            box.name,
            candidates if is_inside and box.name not in covered else _HIDDEN,
            ink,
        )
        for box, is_inside, (candidates, ink) in zip(boxes, inside, read, strict=True)
    )


def _read_each(
    boxes: Sequence[ChartBox], flat: Grey, numerals: Numerals
) -> list[tuple[tuple[Candidate, ...], float]]:
    """What stands in each box, and its share of ink: circles are counted, all else is for the net."""
    counted = read_circles(flat, boxes)
    written = [box for box in boxes if box.name not in counted]
    texts = iter(numerals.read(box_crops(flat, written), [box.kind for box in written]))
    return [counted[box.name] if box.name in counted else next(texts) for box in boxes]


def _inside(areas: Sequence[Box], pose: Pose, picture: Grey) -> list[bool]:
    """Whether the picture shows the whole of each area."""
    corners = pose.to_picture(np.concatenate([box_corners(area) for area in areas]))
    shown = np.all((corners >= 0) & (corners <= np.array(picture.shape[::-1]) - 1), axis=1)
    return [bool(all_four) for all_four in shown.reshape(-1, 4).all(axis=1)]


def _reading(
    code: FoundCode,
    layout: str | None,
    readings: Sequence[BoxReading],
    flat: Grey,
    residual_mm: float,
    tags_seen: int,
    written_name: str = "",
) -> PageReading:
    _, jpeg = cv2.imencode(".jpg", flat, [cv2.IMWRITE_JPEG_QUALITY, FLAT_QUALITY])
    return PageReading(
        code=code.code,
        code_challenge=code.challenge,
        code_source=code.source,
        written_name=written_name,
        readings=readings,
        flat_jpeg=jpeg.tobytes(),
        residual_mm=residual_mm,
        tags_seen=tags_seen,
        layout=layout,
    )
