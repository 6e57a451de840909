"""A family's phone: photographs a page lying on a table.

The page is bent in space (curl, waves, folds: bends along one direction at a time, so that paper
neither stretches nor tears), turned, tilted and projected through a pinhole. The picture is found
backwards: for every pixel of the photo, where on the page does it look? Light, lens and sensor follow.

Coordinates: page millimetres as in `ingest.paper`; photo pixels with (0, 0) in the middle of the top
left pixel of the photo as displayed, that is after its Exif orientation is obeyed.
"""

import io
import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, TypeAlias

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image

from ingest.demo.desk import desk
from ingest.demo.hands import Points
from ingest.demo.ink import FloatArray, Picture

Span: TypeAlias = tuple[float, float]  # from, to
Floats: TypeAlias = npt.NDArray[Any]  # float64

EXIF_ORIENTATION = 274  # TIFF 6.0 tag 0x0112


@dataclass(frozen=True, slots=True)
class Severity:
    """How unkind the photograph is. Spans are drawn from evenly; chances are 0..1.

    tilt: degrees between the lens axis and the page's normal. fill: share of the frame that the page
    spans, in the direction where it spans more. skew: degrees of turn besides the four quarter turns.
    curl: height of a bend, mm, in a sheet 280 mm wide. fold: degrees of the kink at a fold.
    creases: of a crumpled sheet, at most; they run anywhere. barrel: spread of the lens's distortion, as a
    share of the way from the middle to the frame's corner.
    shadow: how much light the darkest shadow takes. focus, motion: blur, in mm on the page.
    noise: standard deviation, grey levels of 255. corner_out: chance that one corner is outside the frame.
    crumple: chance that the sheet was crushed and smoothed out; crumple_mm: how high its ridges stand.
    thumb_mm: how far in a thumb reaches.
    """

    name: str
    tilt: Span
    fill: Span
    skew: float
    curl: Span
    folds: float  # chance of folds
    fold: Span
    creases: int
    barrel: float
    shadow: Span
    gradient: float  # largest fall of light across the picture, share
    vignette: float
    colour_cast: float
    focus: Span
    motion: float  # chance
    motion_mm: Span
    noise: Span
    low_light: float  # chance
    glare: float  # chance
    thumb: float  # chance
    corner_out: float  # chance
    scan_mode: float  # chance that the phone's document mode whitened the picture
    local_scan: float  # chance that its black and white is decided by what is around each place
    photocopy: float  # chance that the page went through a copier first
    copies: int  # at most so many times, each copy from the last
    mirrored: float  # chance that an app saved it mirrored
    exif: float  # chance that the pixels are stored turned, with an Exif note to turn them back
    megapixels: tuple[float, ...]
    quality: tuple[int, int]  # JPEG
    crumple: float = 0.0
    crumple_mm: Span = (0, 0)
    thumb_mm: Span = (5, 5)


GENTLE = Severity(
    "gentle",
    tilt=(0, 10),
    fill=(0.85, 0.95),
    skew=3,
    curl=(0, 2),
    folds=0.0,
    fold=(0, 0),
    creases=0,
    barrel=0.0,
    shadow=(0.0, 0.15),
    gradient=0.15,
    vignette=0.1,
    colour_cast=0.04,
    focus=(0.05, 0.12),
    motion=0.0,
    motion_mm=(0, 0),
    noise=(1, 3),
    low_light=0.0,
    glare=0.0,
    thumb=0.0,
    corner_out=0.0,
    scan_mode=0.0,
    local_scan=0.0,
    photocopy=0.0,
    copies=1,
    mirrored=0.0,
    exif=0.35,
    megapixels=(8, 12),
    quality=(80, 95),
)
ORDINARY = Severity(
    "ordinary",
    tilt=(2, 25),
    fill=(0.7, 0.95),
    skew=10,
    curl=(0, 10),
    folds=0.35,
    fold=(2, 9),
    creases=0,
    barrel=0.0,
    shadow=(0.0, 0.45),
    gradient=0.35,
    vignette=0.25,
    colour_cast=0.09,
    focus=(0.06, 0.2),
    motion=0.2,
    motion_mm=(0.1, 0.35),
    noise=(2, 7),
    low_light=0.1,
    glare=0.08,
    thumb=0.12,
    corner_out=0.0,
    scan_mode=0.1,
    local_scan=0.0,
    photocopy=0.08,
    copies=1,
    mirrored=0.0,
    exif=0.35,
    megapixels=(2, 3, 5, 8, 12),
    quality=(55, 92),
)
HARD = Severity(
    "hard",
    tilt=(15, 45),
    fill=(0.6, 0.95),
    skew=45,
    curl=(4, 20),
    folds=0.6,
    fold=(5, 16),
    creases=7,
    barrel=0.012,
    shadow=(0.2, 0.65),
    gradient=0.5,
    vignette=0.4,
    colour_cast=0.11,
    focus=(0.1, 0.32),
    motion=0.4,
    motion_mm=(0.2, 0.6),
    noise=(4, 13),
    low_light=0.3,
    glare=0.2,
    thumb=0.3,
    corner_out=0.2,
    scan_mode=0.15,
    local_scan=0.5,
    photocopy=0.2,
    copies=3,
    mirrored=0.04,
    exif=0.35,
    megapixels=(1, 2, 3, 5, 8, 12),
    quality=(40, 95),
    crumple=0.25,
    crumple_mm=(0.4, 1.6),
    thumb_mm=(4, 30),
)
SEVERITIES = {severity.name: severity for severity in (GENTLE, ORDINARY, HARD)}


@dataclass(frozen=True, slots=True)
class Photo:
    """A photograph and where everything on the page came to lie in it.

    jpeg: the file; its Exif orientation is to be obeyed. size: width, height in px as displayed.
    grid: photo px of page points GRID_MM apart, from (0, 0); shape (rows, columns, 2).
    damage: what was done to it, in words, for reports.
    """

    jpeg: bytes
    size: tuple[int, int]
    grid: FloatArray
    damage: tuple[str, ...]

    def to_photo(self, page_mm: Points) -> Points:
        """Where page points, shape (n, 2) in mm, lie in the photo, in px."""
        at = np.asarray(page_mm, np.float32).reshape(-1, 2) / GRID_MM
        x, y = at[:, :1].copy(), at[:, 1:].copy()
        found = cv2.remap(self.grid, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(found, np.float64).reshape(-1, 2)


GRID_MM = 2.0


@dataclass(frozen=True, slots=True)
class _Bend:
    """A bend of the sheet along one direction: a profile in space, by length along the paper.

    at: positions along the paper, mm. along, height: where the profile then is, mm. slope: its angle.
    """

    direction: tuple[float, float]
    at: Floats
    along: Floats
    height: Floats
    slope: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Relief:
    """Ridges and facets of a sheet that was crushed and smoothed out: too small to be bends of the whole.

    height: mm, at points RELIEF_MM apart; the first is RELIEF_REACH_MM left of and above the sheet's corner.
    """

    height: FloatArray

    def at(self, sheet: Points) -> Floats:
        """Height in mm at points of the sheet, mm, shape (n, 2)."""
        return _sample(self.height, sheet)

    def slope(self, sheet: Points, towards: float) -> Floats:
        """Rise towards that direction (an angle in the sheet), radians for small ones."""
        down, across = np.gradient(self.height, RELIEF_MM)
        return _sample(across * math.cos(towards) + down * math.sin(towards), sheet)


RELIEF_MM = 1.5
RELIEF_REACH_MM = 30.0


def _sample(field: FloatArray, sheet: Points) -> Floats:
    """A relief's field at points of the sheet, between its nodes in straight lines."""
    most = np.array([field.shape[1], field.shape[0]]) - 1.001
    at = np.clip((sheet + RELIEF_REACH_MM) / RELIEF_MM, 0, most)
    left, top = np.floor(at).astype(int).T
    across, down = (at - np.floor(at)).T
    upper = field[top, left] * (1 - across) + field[top, left + 1] * across
    lower = field[top + 1, left] * (1 - across) + field[top + 1, left + 1] * across
    return np.asarray(upper * (1 - down) + lower * down, np.float64)


@dataclass(frozen=True, slots=True)
class _View:
    """Everything between a page point and a photo pixel."""

    page: tuple[float, float]  # mm
    copy: Floats  # 2 x 3: page mm to mm on the sheet that is photographed
    bends: tuple[_Bend, ...]
    relief: _Relief | None
    matrix: Floats  # 3 x 4: points in space, homogeneous, to photo px
    lens: Floats  # middle (x, y, px), px to the frame's corner, and by what share that is moved outwards

    def project(self, sheet: Points) -> Points:
        """Photo px of points of the photographed sheet, mm, shape (n, 2)."""
        middle = np.array(self.page) / 2
        flat = sheet - middle
        height = self.relief.at(sheet) if self.relief else np.zeros(len(flat))
        for bend in self.bends:
            across = np.array(bend.direction)
            s = flat @ across
            shift = np.interp(s, bend.at, bend.along - bend.at)
            # Outside the profile the sheet goes on straight; nothing there is looked at.
            flat = flat + shift[:, None] * across
            height = height + np.interp(s, bend.at, bend.height)
        space = np.column_stack([flat, height, np.ones(len(flat))])
        seen = space @ self.matrix.T
        ideal = seen[:, :2] / seen[:, 2:] - self.lens[:2]
        away = (ideal**2).sum(axis=1, keepdims=True) / self.lens[2] ** 2
        return np.asarray(ideal * (1 + self.lens[3] * np.minimum(away, 4)) + self.lens[:2])


def photograph(
    page: npt.NDArray[np.uint8],
    page_mm: tuple[float, float],
    rng: np.random.Generator,
    severity: Severity = ORDINARY,
    lies: Floats | None = None,
) -> Photo:
    """Photograph a page.

    page: shape (h, w) grey or (h, w, 3) RGB, the whole sheet. page_mm: its width and height.
    lies: 2 x 3, page mm to where they lie on `page`, in mm, where that is a copy (`photocopied`) already.
    """
    damage: list[str] = []
    sheet = np.ascontiguousarray(np.repeat(page[..., None], 3, axis=2) if page.ndim == 2 else page)
    copy = UNMOVED if lies is None else lies
    if rng.random() < severity.photocopy:
        times = int(rng.integers(1, severity.copies + 1)) if severity.copies > 1 else 1
        sheet, moved = photocopied(sheet, page_mm, rng, times)
        copy = after(moved, copy)
        damage.append("photocopied" if times == 1 else f"photocopied {times} times")
    size = _frame(rng, severity)
    view = _compose(page_mm, size, copy, rng, severity, damage)
    picture, alpha, slope = _look(sheet, view, size, rng)
    mm = _px_per_mm(view)
    picture = _light(picture, alpha, slope, rng, severity, damage)
    if rng.random() < severity.thumb:
        _thumb(picture, view, severity, rng)
        damage.append("thumb")
    picture = _lens(picture, mm, rng, severity, damage)
    grid = _grid(view)
    if rng.random() < severity.scan_mode:
        if rng.random() < 0.75:
            picture, grid = _cut_out(picture, view, grid, rng)
        picture = _scan_mode(picture, mm, rng, severity.local_scan, damage)
    if rng.random() < severity.mirrored:
        picture = np.ascontiguousarray(picture[:, ::-1])
        grid[..., 0] = picture.shape[1] - 1 - grid[..., 0]
        damage.append("mirrored")
    quality = int(rng.integers(severity.quality[0], severity.quality[1] + 1))
    shown = (picture.shape[1], picture.shape[0])
    return Photo(_develop(picture, quality, severity.exif, rng), shown, grid, tuple(damage))


UNMOVED = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])


def after(then: Floats, first: Floats) -> Floats:
    """Two moves of the page, 2 x 3 each, as one."""
    return np.asarray((np.vstack([then, [0, 0, 1]]) @ np.vstack([first, [0, 0, 1]]))[:2])


def photocopied(
    sheet: Picture, page_mm: tuple[float, float], rng: np.random.Generator, times: int
) -> tuple[Picture, Floats]:
    """Copy a page, and the copy again, `times` in all; and where page mm then lie, 2 x 3, in mm."""
    moved = UNMOVED
    for _ in range(times):
        sheet, step = _photocopy(sheet, page_mm, rng)
        moved = after(step, moved)
    return sheet, moved


def flatbed(page: Picture, page_mm: tuple[float, float], rng: np.random.Generator) -> bytes:
    """Scan a page (as for `photograph`) on the school office's copier: grey JPEG bytes, any way up."""
    scan, _ = _photocopy(page, page_mm, rng)
    turned = np.rot90(cv2.cvtColor(scan, cv2.COLOR_RGB2GRAY), int(rng.integers(4)))
    buffer = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(turned)).save(buffer, "JPEG", quality=75)
    return buffer.getvalue()


def _frame(rng: np.random.Generator, severity: Severity) -> tuple[int, int]:
    """Width and height in px of a 4:3 (now and then 16:9) frame, either way up."""
    pixels = float(rng.choice(severity.megapixels)) * 1e6
    ratio = 4 / 3 if rng.random() < 0.85 else 16 / 9
    long, short = round(math.sqrt(pixels * ratio)), round(math.sqrt(pixels / ratio))
    return (long, short) if rng.random() < 0.6 else (short, long)


def _compose(
    page_mm: tuple[float, float],
    size: tuple[int, int],
    copy: Floats,
    rng: np.random.Generator,
    severity: Severity,
    damage: list[str],
) -> _View:
    """Hold the phone: bend the sheet, turn it, tilt it, and step back until it fills the frame."""
    bends = _bends(page_mm, rng, severity, damage)
    relief = None
    if severity.crumple and rng.random() < severity.crumple:
        relief = _relief(page_mm, rng.uniform(*severity.crumple_mm), rng)
        damage.append("crumpled")
    wide = size[0] > size[1]
    # Mostly people turn the phone so that the sheet fits; the sheet may then lie any way round.
    fits = rng.random() < 0.85
    quarter = int(rng.choice([0, 2])) if wide == fits else int(rng.choice([1, 3]))
    turn = math.radians(90 * quarter + rng.uniform(-severity.skew, severity.skew))
    tilt = math.radians(rng.uniform(*severity.tilt))
    lean = rng.uniform(0, 2 * math.pi)
    damage.append(f"turned {90 * quarter}, tilted {math.degrees(tilt):.0f}")
    spin = _rotation(0, 0, 1, turn)
    tip = _rotation(math.cos(lean), math.sin(lean), 0, tilt)
    # A phone's main lens sees about 65 degrees across the frame's diagonal-and-a-bit.
    focal = 0.78 * max(size) * rng.uniform(0.95, 1.25)
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * page_mm
    fill = rng.uniform(*severity.fill)
    distance = 350.0
    plain = np.array([0.0, 0.0, 1.0, 0.0])
    for _ in range(12):
        matrix = _camera(tip @ spin, focal, distance, (0.0, 0.0))
        seen = _View(page_mm, copy, bends, relief, matrix, plain).project(corners)
        spans = (seen.max(axis=0) - seen.min(axis=0)) / size
        distance *= float(spans.max()) / fill
    matrix = _camera(tip @ spin, focal, distance, (0.0, 0.0))
    seen = _View(page_mm, copy, bends, relief, matrix, plain).project(corners)
    low, high = seen.min(axis=0), seen.max(axis=0)
    slack = np.maximum(np.array(size) - (high - low), 0)
    centre = slack * rng.uniform(0.15, 0.85, 2) - low
    if rng.random() < severity.corner_out:
        out = _scale_at(seen, page_mm) * rng.uniform(8, 22)
        centre += _corner_out(seen + centre, size, out, rng)
        damage.append("corner out of the frame")
    matrix = _camera(tip @ spin, focal, distance, (float(centre[0]), float(centre[1])))
    middle = np.array(size) / 2
    barrel = rng.normal(0, severity.barrel) if severity.barrel else 0.0
    return _View(page_mm, copy, bends, relief, matrix, np.array([*middle, np.hypot(*middle), barrel]))


def _corner_out(corners: Points, size: tuple[int, int], out: float, rng: np.random.Generator) -> Points:
    """The shift that puts one corner, and little else, up to `out` px past an edge of the frame."""
    shifts = []
    for axis in (0, 1):
        order = np.argsort(corners[:, axis])
        for extreme, nearest, edge, sign in (
            (order[0], order[1], 0.0, -1.0),
            (order[-1], order[-2], float(size[axis]), 1.0),
        ):
            # At most a quarter of the side up to the next corner is cut off with it.
            depth = min(out, 0.25 * abs(corners[extreme, axis] - corners[nearest, axis]))
            shift = np.zeros(2)
            shift[axis] = edge + sign * depth - corners[extreme, axis]
            shifts.append((depth, shift))
    shifts.sort(key=lambda item: item[0])
    return shifts[int(rng.integers(2, 4))][1]


def _rotation(x: float, y: float, z: float, angle: float) -> Floats:
    return np.asarray(cv2.Rodrigues(np.array([x, y, z]) * angle)[0], np.float64)


def _camera(rotation: Floats, focal: float, distance: float, centre: tuple[float, float]) -> Floats:
    """3 x 4 pinhole matrix; the page's height axis points away from the table, towards the lens."""
    inside = np.array([[focal, 0, centre[0]], [0, focal, centre[1]], [0, 0, 1]])
    towards = np.diag([1.0, 1.0, -1.0])
    return np.asarray(inside @ np.column_stack([rotation @ towards, [0, 0, distance]]))


def _scale_at(corners: Points, page_mm: tuple[float, float]) -> float:
    """Photo px a page mm, from where the four corners lie (by the area)."""
    x, y = corners.T
    area = 0.5 * abs(float(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1))))
    return math.sqrt(area / (page_mm[0] * page_mm[1]))


def _px_per_mm(view: _View) -> float:
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * view.page
    return _scale_at(view.project(corners), view.page)


def _bends(
    page_mm: tuple[float, float], rng: np.random.Generator, severity: Severity, damage: list[str]
) -> tuple[_Bend, ...]:
    """Curl or waves, then folds in half across and along."""
    reach = 0.75 * math.hypot(*page_mm)
    at = np.linspace(-reach, reach, 601)
    bends = []
    rise = rng.uniform(*severity.curl)
    if rise > 0.5:
        angle = rng.choice([0.0, math.pi / 2]) + rng.normal(0, 0.25)
        length = 280.0
        if rng.random() < 0.6:  # curled: one bow, up or down
            slope = rng.choice([-1, 1]) * 8 * rise / length**2 * np.clip(at, -160, 160)
        else:  # wavy, as after a night in a school bag
            waves = rng.uniform(0.8, 1.8)
            swing = rise / 2 * 2 * math.pi * waves / length / 1.5
            slope = swing * np.sin(2 * math.pi * waves * at / length + rng.uniform(0, 2 * math.pi))
        bends.append(_bend(angle, at, slope))
        damage.append(f"curl {rise:.0f} mm")
    if rng.random() < severity.folds:
        ways = [0.0, math.pi / 2] if rng.random() < 0.4 else [float(rng.choice([0.0, math.pi / 2]))]
        for way in ways:
            kink = math.radians(rng.uniform(*severity.fold)) * rng.choice([-1, 1])
            middle = rng.normal(0, 4)
            slope = kink / 2 * np.tanh((at - middle) / 1.5)
            bends.append(_bend(way + rng.normal(0, 0.01), at, slope))
        damage.append("folded")
    if severity.creases and (count := int(rng.integers(severity.creases + 1))):
        for _ in range(count):
            kink = math.radians(rng.uniform(0.5, 3)) * rng.choice([-1, 1])
            slope = kink / 2 * np.tanh((at - rng.normal(0, 70)) / 1.5)
            bends.append(_bend(rng.uniform(0, math.pi), at, slope))
        damage.append(f"{count} creases")
    return tuple(bends)


def _relief(page_mm: tuple[float, float], rise: float, rng: np.random.Generator) -> _Relief:
    """Facets that meet in ridges about `rise` mm high: the folded-up side of smooth noise."""
    columns, rows = (round((side + 2 * RELIEF_REACH_MM) / RELIEF_MM) + 1 for side in page_mm)
    field = np.zeros((rows, columns), np.float32)
    for cell, share in ((rng.uniform(35, 70), 1.0), (rng.uniform(14, 25), 0.3)):
        lattice = (max(3, round(rows * RELIEF_MM / cell)), max(3, round(columns * RELIEF_MM / cell)))
        knots = rng.normal(0, 1, lattice).astype(np.float32)
        field += share * np.abs(cv2.resize(knots, (columns, rows), interpolation=cv2.INTER_CUBIC))
    soft = cv2.GaussianBlur(field, (0, 0), 1.0)
    low, high = np.percentile(soft, [5, 95])
    return _Relief((soft - soft.min()) * (rise / (high - low)))


def _bend(angle: float, at: Floats, slope: Floats) -> _Bend:
    """The profile with that slope: lengths along the paper are kept."""
    step = at[1] - at[0]
    along = np.cumsum(np.cos(slope)) * step
    height = np.cumsum(np.sin(slope)) * step
    middle = len(at) // 2
    inside = np.abs(at) < 160
    height -= height[inside].min()  # the lowest part lies on the table
    along += at[middle] - along[middle]
    return _Bend((math.cos(angle), math.sin(angle)), at, along, height, slope)


def _look(
    sheet: Picture, view: _View, size: tuple[int, int], rng: np.random.Generator
) -> tuple[Picture, FloatArray, FloatArray]:
    """What the photo's pixels see: the sheet on the desk.

    Returns the picture, how much of each pixel is paper (quarter size), and the paper's slope towards
    the light at each pixel (about 1/24 size), in radians.
    """
    width, height = size
    page_px = sheet.shape[1] / view.page[0]
    wanted = _px_per_mm(view) * 1.15
    if wanted < page_px:  # shrink first: remapping alone would drop lines
        shrink = wanted / page_px
        sheet = cv2.resize(sheet, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    scale = np.array([sheet.shape[1], sheet.shape[0]]) / view.page
    step = max(8, round(max(size) / 240))
    columns, rows = width // step + 2, height // step + 2
    xs, ys = np.meshgrid(np.arange(columns) * step, np.arange(rows) * step)
    sheet_mm = _backwards(view, np.column_stack([xs.ravel(), ys.ravel()]).astype(np.float64))
    slope = np.zeros(len(sheet_mm))
    light = rng.uniform(0, 2 * math.pi)
    for bend in view.bends:
        facing = bend.direction[0] * math.cos(light) + bend.direction[1] * math.sin(light)
        along = (sheet_mm - np.array(view.page) / 2) @ np.array(bend.direction)
        slope += facing * np.interp(along, bend.at, bend.slope)
    if view.relief:
        slope += view.relief.slope(sheet_mm, light)
    coarse = (sheet_mm * scale - 0.5).reshape(rows, columns, 2).astype(np.float32)
    # The coarse map's nodes lie on pixels 0, step, 2 step ...: enlarge it node to node.
    fine = cv2.warpAffine(
        coarse,
        np.array([[1 / step, 0, 0], [0, 1 / step, 0]], np.float64),
        size,
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    pixels = cv2.cvtColor(sheet, cv2.COLOR_RGB2RGBA)  # opaque: alpha 255
    x, y = cv2.split(fine)
    seen = cv2.remap(pixels, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    paper = seen[..., 3]
    background = desk(size, rng, _px_per_mm(view))
    quarter = cv2.resize(paper, (max(1, width // 4), max(1, height // 4)), interpolation=cv2.INTER_AREA)
    alpha = quarter.astype(np.float32) / 255
    _contact_shadow(background, alpha, rng)
    picture = cv2.cvtColor(seen, cv2.COLOR_RGBA2RGB)
    # Premultiplied: the border's zeros have already darkened the paper's edge by its own share.
    bare = cv2.cvtColor(cv2.bitwise_not(paper), cv2.COLOR_GRAY2RGB)
    cv2.add(picture, cv2.multiply(background, bare, scale=1 / 255), dst=picture)
    return picture, alpha, slope.reshape(rows, columns).astype(np.float32)


def _backwards(view: _View, pixels: Points) -> Points:
    """Points of the sheet (mm) that are seen at photo pixels: solve `project` by Newton's steps."""
    corners = (np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * view.page).astype(np.float32)
    flat = cv2.getPerspectiveTransform(view.project(corners.astype(np.float64)).astype(np.float32), corners)
    guess: Points = cv2.perspectiveTransform(pixels.reshape(-1, 1, 2), flat).reshape(-1, 2)
    for _ in range(6):
        miss = view.project(guess) - pixels
        if float(np.abs(miss).max()) < 0.05:
            break
        back = cv2.perspectiveTransform((pixels + miss).reshape(-1, 1, 2), flat).reshape(-1, 2)
        here = cv2.perspectiveTransform(pixels.reshape(-1, 1, 2), flat).reshape(-1, 2)
        guess = guess - np.clip(back - here, -30, 30)
    return guess


def _grid(view: _View) -> FloatArray:
    """Photo px of page points GRID_MM apart."""
    xs = np.arange(0, view.page[0] + 2 * GRID_MM, GRID_MM)
    ys = np.arange(0, view.page[1] + 2 * GRID_MM, GRID_MM)
    page = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
    sheet = page @ view.copy[:, :2].T + view.copy[:, 2]
    return view.project(sheet).reshape(len(ys), len(xs), 2).astype(np.float32)


def _contact_shadow(background: Picture, alpha: FloatArray, rng: np.random.Generator) -> None:
    """The sheet's own soft shadow on the desk, in place."""
    height, width = alpha.shape
    reach = max(2.0, 0.008 * width)
    move = np.array([[1, 0, rng.normal(0, reach)], [0, 1, rng.normal(0, reach)]])
    shade = cv2.GaussianBlur(cv2.warpAffine(alpha, move, (width, height)), (0, 0), reach)
    _multiply(background, 1 - 0.45 * shade)


def _multiply(picture: Picture, field: FloatArray) -> None:
    """Multiply by a small field of light, shape (h, w) or (h, w, 3), enlarged to fit; in place."""
    height, width = picture.shape[:2]
    if field.ndim == 2:
        field = np.repeat(field[..., None], 3, axis=2)
    # In strips: a whole 12-megapixel field in floats would take 150 MB.
    strip = max(1, 2_000_000 // width)
    small = field.astype(np.float32)
    for top in range(0, height, strip):
        rows = min(strip, height - top)
        down = small.shape[0] / height
        across = small.shape[1] / width
        into = np.array([[across, 0, across / 2 - 0.5], [0, down, (top + 0.5) * down - 0.5]])
        part = cv2.warpAffine(
            small,
            into,
            (width, rows),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
        view = picture[top : top + rows]
        cv2.multiply(view, part, dst=view, dtype=cv2.CV_8U)


def _light(
    picture: Picture,
    alpha: FloatArray,
    slope: FloatArray,
    rng: np.random.Generator,
    severity: Severity,
    damage: list[str],
) -> Picture:
    """Window and lamp, shadows, the paper's own shading, glare, white balance, exposure."""
    height, width = alpha.shape
    rows, columns = max(8, height // 4), max(8, width // 4)
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32)
    x, y = x / columns - 0.5, y / rows - 0.5
    way = rng.uniform(0, 2 * math.pi)
    light = 1 - rng.uniform(0, severity.gradient) * (0.5 + x * math.cos(way) + y * math.sin(way))
    light *= 1 - rng.uniform(0.3, 1) * severity.vignette * 2 * (x**2 + y**2)
    bent = cv2.resize(slope, (columns, rows), interpolation=cv2.INTER_LINEAR)
    paper = cv2.resize(alpha, (columns, rows), interpolation=cv2.INTER_AREA)  # the desk is flat
    light *= 1 + 0.9 * np.clip(bent, -0.25, 0.25) * paper
    dark = rng.uniform(*severity.shadow)
    if dark > 0.05:
        light *= 1 - dark * _shadow(x, y, rng)
        damage.append(f"shadow {dark:.0%}")
    exposure = rng.uniform(0.72, 1.0)  # what the phone makes of the sheet's brightness
    if rng.random() < severity.low_light:
        exposure = rng.uniform(0.4, 0.6)
        damage.append("low light")
    light *= exposure / max(0.2, float((light * paper).sum() / max(float(paper.sum()), 1.0)))
    warm, green = severity.colour_cast * rng.normal(0, 1, 2) * [1.0, 0.25]
    cast = np.array([1 + warm, 1 + green, 1 - warm])  # a lamp is warm or cool, seldom green or pink
    cast /= cast.mean()
    _multiply(picture, (light[..., None] * cast).astype(np.float32))
    if rng.random() < severity.glare:
        at = rng.uniform(-0.35, 0.35, 2)
        spread = rng.uniform(0.03, 0.1)
        spot = np.exp(-(((x - at[0]) ** 2 + (y - at[1]) ** 2) / (2 * spread**2)))
        strong = rng.uniform(0.25, 0.6)
        big = cv2.resize(spot * strong, (picture.shape[1], picture.shape[0]))[..., None]
        picture = (picture + (255 - picture) * big).astype(np.uint8)
        damage.append("glare")
    return picture


def _shadow(x: FloatArray, y: FloatArray, rng: np.random.Generator) -> FloatArray:
    """0 in the light .. 1 in shadow: an edge (the person leaning over) or a blob (hand and phone)."""
    soft = rng.uniform(0.008, 0.08)
    way = rng.uniform(0, 2 * math.pi)
    if rng.random() < 0.6:
        offset = rng.uniform(-0.3, 0.3)
        wavy = 0.04 * np.sin(9 * (x * math.sin(way) - y * math.cos(way)) + rng.uniform(0, 6))
        edge = x * math.cos(way) + y * math.sin(way) + offset + wavy
    else:
        at = rng.uniform(-0.4, 0.4, 2)
        turned_x = (x - at[0]) * math.cos(way) + (y - at[1]) * math.sin(way)
        turned_y = -(x - at[0]) * math.sin(way) + (y - at[1]) * math.cos(way)
        edge = 0.25 - np.sqrt((turned_x / rng.uniform(0.8, 1.6)) ** 2 + turned_y**2)
    return np.asarray(1 / (1 + np.exp(-np.clip(edge / soft, -30, 30))), np.float32)


def _thumb(picture: Picture, view: _View, severity: Severity, rng: np.random.Generator) -> None:
    """A thumb holds the sheet at its edge, mostly over the margin only; in place."""
    along = rng.uniform(0.15, 0.85)
    width, height = view.page
    # The tip lies so far inside an edge; the hand is outside. Under about 10 mm only margin is covered.
    least, most = severity.thumb_mm
    inside = rng.uniform(least, most) if least < most else least
    tip_mm, away = (
        ((width * along, inside), (0.0, -1.0)),
        ((width - inside, height * along), (1.0, 0.0)),
        ((width * along, height - inside), (0.0, 1.0)),
        ((inside, height * along), (-1.0, 0.0)),
    )[int(rng.integers(4))]
    lean = rng.normal(0, 0.35)
    turn = np.array([[math.cos(lean), -math.sin(lean)], [math.sin(lean), math.cos(lean)]])
    reach = turn @ np.array(away)
    tip, knuckle, palm, arm = view.project(np.array([tip_mm + reach * mm for mm in (0, 38, 78, 320)]))
    px = _px_per_mm(view)
    thick = max(2, round(16 * px))
    spots = np.array([tip, knuckle, palm, arm])
    size = np.array([picture.shape[1], picture.shape[0]])
    low = np.floor(spots.min(axis=0) - 3 * thick).astype(int).clip(0, size)
    high = np.ceil(spots.max(axis=0) + 3 * thick).astype(int).clip(0, size)
    part = picture[low[1] : high[1], low[0] : high[0]]
    if part.size == 0:
        return
    mask = np.zeros(part.shape[:2], np.uint8)
    direction = (knuckle - tip) / max(float(np.hypot(*(knuckle - tip))), 1e-6)
    start = tip + direction * thick / 2 - low
    around = np.linspace(0, 2 * math.pi, 40)
    ring = np.column_stack([np.cos(around), np.sin(around)])
    joints = [(start, 0.5), (knuckle - low, 0.62), (palm - low, 1.5), (arm - low, 1.9)]
    for (one, narrow), (other, wide) in pairwise(joints):
        limb = np.concatenate([one + ring * thick * narrow, other + ring * thick * wide])
        cv2.fillConvexPoly(mask, cv2.convexHull(limb.round().astype(np.int32)), 255)
    nail = np.zeros_like(mask)
    axis = math.degrees(math.atan2(direction[1], direction[0]))
    cv2.ellipse(nail, _at(start), (round(thick * 0.42), round(thick * 0.3)), axis, 0, 360, 255, -1)
    cover = cv2.GaussianBlur(mask, (0, 0), max(0.6, 0.5 * px)).astype(np.float32)[..., None] / 255
    round_ = cv2.distanceTransform(mask, cv2.DIST_L2, 3)[..., None] / (thick / 2)
    tone = np.array([[224, 172, 140], [198, 134, 96], [141, 85, 54], [92, 58, 40]])[int(rng.integers(4))]
    lit = float(np.percentile(part[::4, ::4], 95)) / 240  # the hand is in the same light as the sheet
    tone = tone * lit
    skin = tone * (0.6 + 0.4 * np.clip(round_, 0, 1))
    shine = cv2.GaussianBlur(nail, (0, 0), max(0.6, 0.4 * px)).astype(np.float32)[..., None] / 255
    skin = skin + (np.minimum(tone * 1.15 + 14, 255) - skin) * shine * 0.7
    shade = cv2.GaussianBlur(mask, (0, 0), max(1.0, 2.5 * px)).astype(np.float32)[..., None] / 255
    under = part * (1 - 0.45 * shade)
    part[:] = np.clip(under * (1 - cover) + skin * cover, 0, 255).astype(np.uint8)


def _at(point: Points) -> tuple[int, int]:
    return round(float(point[0])), round(float(point[1]))


def _lens(
    picture: Picture, px_per_mm: float, rng: np.random.Generator, severity: Severity, damage: list[str]
) -> Picture:
    """Focus, a shaking hand, and the sensor's grain (coarser in the dark)."""
    focus = rng.uniform(*severity.focus) * px_per_mm
    if focus > 0.35:
        picture = cv2.GaussianBlur(picture, (0, 0), focus)
    if rng.random() < severity.motion:
        reach = rng.uniform(*severity.motion_mm) * px_per_mm
        picture = cv2.filter2D(picture, -1, _streak(reach, rng.uniform(0, math.pi)))
        damage.append("shaken")
    noise = rng.uniform(*severity.noise)
    if "low light" in damage:
        noise *= 1.5
    side = 512
    grain = rng.normal(0, noise, (side, side, 3)).astype(np.float32)
    grain = 0.7 * grain + 0.3 * grain.mean(axis=2, keepdims=True) * math.sqrt(3)
    if picture.shape[0] * picture.shape[1] > 6e6:  # small pixels, smoothed by the phone
        grain = cv2.GaussianBlur(grain, (0, 0), 0.7) * 1.6
    tile = np.rint(grain).astype(np.int16)
    height, width = picture.shape[:2]
    for top in range(0, height, side):
        for left in range(0, width, side):
            part = picture[top : top + side, left : left + side]
            piece = np.roll(tile, tuple(rng.integers(0, side, 2)), axis=(0, 1))
            cv2.add(part, piece[: part.shape[0], : part.shape[1]], dst=part, dtype=cv2.CV_8U)
    return picture


def _streak(length: float, angle: float) -> FloatArray:
    """A line kernel of that length in px."""
    side = max(3, 2 * math.ceil(length / 2) + 1)
    big = np.zeros((side * 8, side * 8), np.uint8)
    middle = side * 4
    reach = np.array([math.cos(angle), math.sin(angle)]) * max(length, 1.0) * 4
    cv2.line(big, _at(middle - reach), _at(middle + reach), 255, 8)
    kernel = cv2.resize(big, (side, side), interpolation=cv2.INTER_AREA).astype(np.float32)
    return np.asarray(kernel / kernel.sum())


def _cut_out(
    picture: Picture, view: _View, grid: FloatArray, rng: np.random.Generator
) -> tuple[Picture, FloatArray]:
    """Document mode finds the sheet's corners, roughly, and straightens what lies between them."""
    width, height = view.page
    slack = rng.uniform(-1, 4, (4, 2)) * [[-1, -1], [1, -1], [1, 1], [-1, 1]]
    corners = view.project(np.array([[0, 0], [width, 0], [width, height], [0, height]]) + slack)
    px = _px_per_mm(view)
    size = (round(width * px), round(height * px))
    into = np.array([[0, 0], [size[0], 0], size, [0, size[1]]], np.float32)
    # The picture stays the way the phone was held: the corner at the top left comes first.
    first = int(np.argmin(corners @ [1.0, 1.0]))
    if first % 2:
        size = (size[1], size[0])
        into = np.array([[0, 0], [size[0], 0], size, [0, size[1]]], np.float32)
    matrix = cv2.getPerspectiveTransform(np.roll(corners, -first, axis=0).astype(np.float32), into)
    cut = cv2.warpPerspective(picture, matrix, size, borderMode=cv2.BORDER_REPLICATE)
    moved = cv2.perspectiveTransform(grid.reshape(-1, 1, 2), matrix).reshape(grid.shape)
    return np.asarray(cut, np.uint8), moved


def _scan_mode(
    picture: Picture, px_per_mm: float, rng: np.random.Generator, local: float, damage: list[str]
) -> Picture:
    """What a phone's document mode makes of it: paper to white, or all to black and white."""
    height, width = picture.shape[:2]
    small = cv2.resize(picture, (max(8, width // 8), max(8, height // 8)), interpolation=cv2.INTER_AREA)
    reach = max(3, round(12 * px_per_mm / 8) | 1)
    paper = cv2.dilate(small, np.ones((reach, reach), np.uint8))
    paper = cv2.GaussianBlur(paper, (0, 0), reach / 2)
    white = 250 / np.maximum(paper.astype(np.float32), 30)
    out = picture.copy()
    _multiply(out, white)
    if rng.random() < 0.6:
        table = np.clip((np.arange(256) - 40) * (255 / 195), 0, 255).astype(np.uint8)
        damage.append("whitened by the phone")
        return np.asarray(cv2.LUT(out, table), np.uint8)
    if local and rng.random() < local:
        grey = cv2.GaussianBlur(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY), (0, 0), 0.1 * px_per_mm + 0.3)
        around = max(3, round(rng.uniform(4, 9) * px_per_mm) | 1)
        sharp = cv2.adaptiveThreshold(
            grey, 255, cv2.ADAPTIVE_THRESH_GAUSSIAN_C, cv2.THRESH_BINARY, around, rng.uniform(6, 14)
        )
        damage.append("black and white by the phone, place by place")
        return np.asarray(cv2.cvtColor(sharp, cv2.COLOR_GRAY2RGB), np.uint8)
    grey = cv2.cvtColor(out, cv2.COLOR_RGB2GRAY)
    level = rng.uniform(178, 208)  # pencil stays, just; a phone picks the level by the page
    sharp = np.clip((grey.astype(np.float32) - level) * 6 + 128, 0, 255).astype(np.uint8)
    damage.append("black and white by the phone")
    return np.asarray(cv2.cvtColor(sharp, cv2.COLOR_GRAY2RGB), np.uint8)


def _photocopy(
    sheet: Picture, page_mm: tuple[float, float], rng: np.random.Generator
) -> tuple[Picture, Floats]:
    """A copier's hand: grey, hard contrast, specks, a little askew and a little smaller."""
    height, width = sheet.shape[:2]
    px = width / page_mm[0]
    grey = cv2.cvtColor(sheet, cv2.COLOR_RGB2GRAY)
    angle = rng.normal(0, 0.4)
    scale = rng.uniform(0.965, 1.0)
    around = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), angle, scale)
    around[:, 2] += rng.normal(0, 1.0, 2) * px
    grey = cv2.warpAffine(grey, around, (width, height), borderValue=255)
    low, high = rng.uniform(5, 35), rng.uniform(225, 245)
    table = np.clip((np.arange(256) - low) * (255 / (high - low)), 0, 255).astype(np.uint8)
    grey = np.asarray(cv2.LUT(grey, table), np.uint8)
    for _ in range(int(rng.integers(20, 120))):
        at = (int(rng.integers(width)), int(rng.integers(height)))
        cv2.circle(grey, at, max(1, round(rng.uniform(0.05, 0.25) * px)), int(rng.integers(0, 120)), -1)
    if rng.random() < 0.3:  # a streak of dirt on the glass
        x = int(rng.integers(width))
        grey[:, x : x + max(1, round(0.25 * px))] = np.minimum(
            grey[:, x : x + max(1, round(0.25 * px))], int(rng.integers(150, 215))
        )
    # The same map in mm; a pixel's middle is half a pixel from its edge.
    to_px = np.array([[px, 0, -0.5], [0, px, -0.5], [0, 0, 1]])
    in_mm = np.linalg.inv(to_px) @ np.vstack([around, [0, 0, 1]]) @ to_px
    return cv2.cvtColor(grey, cv2.COLOR_GRAY2RGB), in_mm[:2]


def _develop(picture: Picture, quality: int, turned: float, rng: np.random.Generator) -> bytes:
    """JPEG bytes. turned: the chance that the pixels are stored turned, by a note to be turned back."""
    orientation = 1
    image = Image.fromarray(picture)
    if rng.random() < turned:
        orientation = int(rng.choice([3, 6, 8, 2, 4, 5, 7], p=[0.2, 0.35, 0.35, 0.025, 0.025, 0.025, 0.025]))
        # The stored picture is the displayed one put through the inverse turn.
        stored = {
            2: Image.Transpose.FLIP_LEFT_RIGHT,
            3: Image.Transpose.ROTATE_180,
            4: Image.Transpose.FLIP_TOP_BOTTOM,
            5: Image.Transpose.TRANSPOSE,
            6: Image.Transpose.ROTATE_90,
            7: Image.Transpose.TRANSVERSE,
            8: Image.Transpose.ROTATE_270,
        }[orientation]
        image = image.transpose(stored)
    exif = Image.Exif()
    exif[EXIF_ORIENTATION] = orientation
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=quality, exif=exif)
    return buffer.getvalue()
