"""Pictures to look at: contact sheets of boxes, and the diagrams."""

import math
from collections.abc import Sequence
from functools import lru_cache

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from ingest.demo.ink import Picture
from ingest.paper import Box
from ingest.reading.crops import crop
from ingest.reading.numerals import CROP_MARGIN_MM
from ingest.reading.values import PageReading
from proving.cases import Case
from proving.figures import Bin, bounds
from proving.verdicts import Verdict

WIDE, HIGH = 210, 112  # px of each half of a tile
LINE = 14
ACROSS = 4
MOST = 48  # tiles on a sheet: more nobody looks at
AROUND_MM = 4.0


def tile(case: Case, page: PageReading, verdict: Verdict) -> bytes:
    """A box as photographed and as the reader got it, with what was written and read: JPEG bytes."""
    area = next(box.area for box in case.layout.boxes if box.name == verdict.box)
    photo = _decoded(case.photo.jpeg, cv2.IMREAD_COLOR)  # obeys Exif
    seen = crop(_decoded(page.flat_jpeg, cv2.IMREAD_GRAYSCALE), area.grown(CROP_MARGIN_MM))
    board = np.full((HIGH + 4 * LINE + 2, 2 * WIDE + 10, 3), 255, np.uint8)
    board[:HIGH, :WIDE] = _as_photographed(photo, case, area)
    if seen.size:
        share = min(WIDE / seen.shape[1], HIGH / seen.shape[0])
        small = cv2.resize(seen, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
        board[: small.shape[0], WIDE + 4 : WIDE + 4 + small.shape[1]] = small[..., None]
    read = verdict.text if verdict.value is None else str(verdict.value)
    says = f"{verdict.written} ({verdict.mishap})" if verdict.mishap else verdict.written
    lines = (
        f"written {says} = {verdict.truth}",
        f"{verdict.outcome}: {read or 'blank'} at {verdict.confidence:.4f}  saw '{verdict.text}'",
        f"#{case.number} {verdict.box} {verdict.hand} {verdict.pen} {verdict.flags}",
        f"{case.photo.size[0] * case.photo.size[1] / 1e6:.0f} MP {', '.join(case.photo.damage)}"[:75],
    )
    for number, line in enumerate(lines):
        at = (2, HIGH + 11 + LINE * number)
        cv2.putText(board, line, at, cv2.FONT_HERSHEY_SIMPLEX, 0.37, (60, 0, 0), 1, cv2.LINE_AA)
    _, jpeg = cv2.imencode(".jpg", board, [cv2.IMWRITE_JPEG_QUALITY, 88])
    return bytes(jpeg.tobytes())


@lru_cache(maxsize=2)  # of one case, a photo and a flattened page
def _decoded(jpeg: bytes, flag: int) -> Picture:
    return np.asarray(cv2.imdecode(np.frombuffer(jpeg, np.uint8), flag), np.uint8)


def _as_photographed(photo: Picture, case: Case, area: Box) -> Picture:
    around = area.grown(AROUND_MM)
    corners = np.array(
        [
            [around.left, around.top],
            [around.right, around.top],
            [around.right, around.bottom],
            [around.left, around.bottom],
        ]
    )
    into = np.array([[0, 0], [WIDE, 0], [WIDE, HIGH], [0, HIGH]], np.float32)
    matrix = cv2.getPerspectiveTransform(case.photo.to_photo(corners).astype(np.float32), into)
    return np.asarray(cv2.warpPerspective(photo, matrix, (WIDE, HIGH), flags=cv2.INTER_LINEAR))


def contact_sheet(tiles: Sequence[bytes]) -> Picture:
    """Tiles in rows; the first MOST of them."""
    boards = [
        np.asarray(cv2.imdecode(np.frombuffer(each, np.uint8), cv2.IMREAD_COLOR)) for each in tiles[:MOST]
    ]
    boards += [np.full_like(boards[0], 255)] * (-len(boards) % ACROSS)
    rows = [np.hstack(boards[at : at + ACROSS]) for at in range(0, len(boards), ACROSS)]
    return np.vstack(rows)


# -- diagrams -----------------------------------------------------------------------------------------

SIZE, EDGE = 560, 70
INK, PALE = (30, 30, 30), (205, 205, 205)
COLOURS = ((0, 114, 178), (213, 94, 0), (0, 158, 115), (204, 121, 167))  # Okabe & Ito, told apart by all eyes


def _font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(size)


def _board(title: str, across: str, up: str) -> tuple[Image.Image, ImageDraw.ImageDraw]:
    board = Image.new("RGB", (SIZE + 2 * EDGE, SIZE + 2 * EDGE), "white")
    draw = ImageDraw.Draw(board)
    draw.text((EDGE, 18), title, INK, _font(18))
    draw.text((EDGE + SIZE / 2, SIZE + EDGE + 36), across, INK, _font(14), anchor="mm")
    turned = Image.new("RGB", (SIZE, 22), "white")
    ImageDraw.Draw(turned).text((SIZE / 2, 10), up, INK, _font(14), anchor="mm")
    board.paste(turned.rotate(90, expand=True), (4, EDGE))
    return board, draw


def reliability_diagram(title: str, bins: Sequence[Bin]) -> Image.Image:
    """How often wrong against how doubtful (1 - confidence), both logarithmic, with 95 % bounds."""
    board, draw = _board(title, "said to be wrong, 1 in ...", "is wrong, 1 in ...")

    def at(doubt: float) -> float:
        return EDGE + SIZE * (math.log10(min(max(doubt, 1e-4), 1.0)) + 4) / 4

    for power in range(5):
        here = at(10.0**-power)
        draw.line((here, EDGE, here, EDGE + SIZE), PALE)
        draw.line((EDGE, 2 * EDGE + SIZE - here, EDGE + SIZE, 2 * EDGE + SIZE - here), PALE)
        draw.text((here, EDGE + SIZE + 12), f"{10**power}", INK, _font(12), anchor="mm")
        draw.text((EDGE - 6, 2 * EDGE + SIZE - here), f"{10**power}", INK, _font(12), anchor="rm")
    draw.line((EDGE, EDGE + SIZE, EDGE + SIZE, EDGE), INK)
    for each in bins:
        wrong = each.count - each.right
        low, high = bounds(wrong, each.count)
        x = at(1 - each.confidence)
        draw.line((x, 2 * EDGE + SIZE - at(low), x, 2 * EDGE + SIZE - at(high)), COLOURS[0], 2)
        y = 2 * EDGE + SIZE - at(wrong / each.count)
        draw.ellipse((x - 5, y - 5, x + 5, y + 5), COLOURS[0])
        draw.text((x + 8, y - 8), f"{wrong} of {each.count}", INK, _font(11))
    return board


def risk_diagram(title: str, curves: Sequence[tuple[str, Sequence[float], Sequence[float]]]) -> Image.Image:
    """Share wrong (logarithmic, 1 in 10 to 1 in 10,000) against share taken (50 % to all); a line a chain."""
    board, draw = _board(title, "boxes taken without a person", "of these wrong")

    def x_of(coverage: float) -> float:
        return EDGE + SIZE * (min(max(coverage, 0.5), 1.0) - 0.5) * 2

    def y_of(risk: float) -> float:
        return EDGE + SIZE * (-1 - math.log10(min(max(risk, 1e-4), 0.1))) / 3

    for tenth in range(6):
        here = x_of(0.5 + tenth / 10)
        draw.line((here, EDGE, here, EDGE + SIZE), PALE)
        draw.text((here, EDGE + SIZE + 12), f"{50 + 10 * tenth} %", INK, _font(12), anchor="mm")
    for risk, name in ((0.1, "10 %"), (0.01, "1 %"), (0.001, "0.1 %"), (0.0005, "1/2000"), (1e-4, "0.01 %")):
        draw.line((EDGE, y_of(risk), EDGE + SIZE, y_of(risk)), PALE)
        draw.text((EDGE - 4, y_of(risk)), name, INK, _font(11), anchor="rm")
    for number, (name, shares, risks) in enumerate(curves):
        points = [(x_of(c), y_of(r)) for c, r in zip(shares, risks, strict=True) if c >= 0.5]
        draw.line(points, COLOURS[number], 3)
        draw.text((EDGE + 12, EDGE + 10 + 20 * number), name, COLOURS[number], _font(15))
    return board
