"""Files become grey pages, and nothing but PictureError comes out of bad ones."""

import contextlib
import io
import tempfile
import warnings
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pillow_heif
import pytest
from hostile.making import heic, jpeg, jpeg_of_size, page, pdf, picture, png_of_size, with_exif
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageFile
from pypdf import PdfReader, PdfWriter
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas
from typed_chart import filled

from ingest.collect.pictures import (
    LONG_SIDE_LEAST,
    LONG_SIDE_MOST,
    PAGES_MOST,
    PIXELS_MOST,
    PagePicture,
    open_pages,
)
from ingest.errors import PictureError
from ingest.reading.values import Grey


def opened(data: bytes, tmp_path: Path) -> list[PagePicture]:
    (tmp_path / "file").write_bytes(data)
    return list(open_pages(tmp_path / "file"))


def only(data: bytes, tmp_path: Path) -> Grey:
    (found,) = opened(data, tmp_path)
    assert found.problem == ""
    assert found.grey is not None
    assert found.grey.dtype == np.uint8
    assert found.grey.ndim == 2
    return found.grey


def smooth(width: int, height: int) -> Image.Image:
    across = np.linspace(0, 200, width)[None, :] + np.linspace(0, 55, height)[:, None]
    return Image.fromarray(across.astype(np.uint8))


def difference(one: npt.ArrayLike | Image.Image, other: npt.ArrayLike | Image.Image) -> float:
    return float(np.abs(np.asarray(one, dtype=float) - np.asarray(other, dtype=float)).mean())


# -- turned -------------------------------------------------------------------------------------------

# Stored rows [1 2][3 4][5 6] as they are to be displayed for each value of the tag (TIFF 6.0, Orientation;
# Exif 2.3). 0 and 9 are no values: taken for 1.
DISPLAYED = {
    0: ((1, 2), (3, 4), (5, 6)),
    1: ((1, 2), (3, 4), (5, 6)),
    2: ((2, 1), (4, 3), (6, 5)),
    3: ((6, 5), (4, 3), (2, 1)),
    4: ((5, 6), (3, 4), (1, 2)),
    5: ((1, 3, 5), (2, 4, 6)),
    6: ((5, 3, 1), (6, 4, 2)),
    7: ((6, 4, 2), (5, 3, 1)),
    8: ((2, 4, 6), (1, 3, 5)),
    9: ((1, 2), (3, 4), (5, 6)),
}
TILE = 128


def stored() -> Image.Image:
    numbers = np.array([[1, 2], [3, 4], [5, 6]], dtype=np.uint8)
    return Image.fromarray(np.kron(numbers * 40, np.ones((TILE, TILE), dtype=np.uint8))).convert("RGB")


def displayed(grey: Grey) -> tuple[tuple[int, ...], ...]:
    middles = grey[TILE // 2 :: TILE, TILE // 2 :: TILE]
    return tuple(tuple(round(int(value) / 40) for value in row) for row in middles)


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP", "TIFF"])
@pytest.mark.parametrize("orientation", DISPLAYED)
def test_exif_orientation_is_obeyed(orientation: int, form: str, tmp_path: Path) -> None:
    grey = only(picture(form, stored(), exif=with_exif(orientation)), tmp_path)
    assert displayed(grey) == DISPLAYED[orientation]


@pytest.mark.parametrize("orientation", [1, 3, 6])
def test_heic_is_turned_once(orientation: int, tmp_path: Path) -> None:
    """HEIC turns by a property of its own; encoders write the Exif tag as well, which must not count, too."""
    out = io.BytesIO()
    pillow_heif.from_pillow(stored()).save(out, quality=90, exif=with_exif(orientation))
    truth = pillow_heif.open_heif(io.BytesIO(out.getvalue())).to_pillow().convert("L")
    assert displayed(only(out.getvalue(), tmp_path)) == displayed(np.asarray(truth))


# -- to grey ------------------------------------------------------------------------------------------


def _faded() -> Image.Image:
    """Left half black and opaque, right half black and transparent."""
    image = Image.new("RGBA", (400, 300), (0, 0, 0, 255))
    image.paste((0, 0, 0, 0), (200, 0, 400, 300))
    return image


@pytest.mark.parametrize(
    "data",
    [
        picture("PNG", _faded()),
        picture("PNG", _faded().convert("LA")),
        picture("WEBP", _faded(), lossless=True),
        picture("GIF", _faded()),
        picture("TIFF", _faded()),
    ],
    ids=["rgba", "grey-alpha", "webp", "palette", "tiff"],
)
def test_what_is_transparent_becomes_white(data: bytes, tmp_path: Path) -> None:
    grey = only(data, tmp_path)
    assert (grey[:, :195] < 5).all()
    assert (grey[:, 205:] > 250).all()


@pytest.mark.parametrize("bits", [8, 10, 12, 16])
def test_deep_grey_keeps_its_tones(bits: int, tmp_path: Path) -> None:
    tones = np.tile(np.arange(256, dtype=np.uint16), (256, 1))
    deep = Image.fromarray(tones << (bits - 8))
    assert difference(only(picture("PNG", deep), tmp_path), tones) == 0


def test_numbers_with_a_point_are_grey_by_their_range(tmp_path: Path) -> None:
    tones = np.tile(np.linspace(0, 1, 256, dtype=np.float32), (256, 1))
    grey = only(picture("TIFF", Image.fromarray(tones)), tmp_path)
    assert difference(grey, np.tile(np.arange(256), (256, 1))) < 1


@pytest.mark.parametrize("mode", ["L", "RGB", "CMYK"])
def test_jpeg_modes_come_out_as_the_same_grey(mode: str, tmp_path: Path) -> None:
    assert difference(only(picture("JPEG", smooth(400, 300).convert(mode)), tmp_path), smooth(400, 300)) < 2


def test_fax_is_black_on_white_whichever_bit_means_black(tmp_path: Path) -> None:
    fax = Image.fromarray(np.kron([[True, False]], np.ones((300, 200))).astype(bool))
    for compression in ("group4", "raw"):
        assert (
            difference(only(picture("TIFF", fax, compression=compression), tmp_path), np.asarray(fax) * 255)
            == 0
        )


# -- size ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("long_side", "expected"),
    [(1500, 1500), (4032, 4032), (LONG_SIDE_MOST, 4200), (4300, 2150), (8064, 4032), (9000, 3000)],
)
def test_long_side_is_brought_to_where_reading_has_enough(
    long_side: int, expected: int, tmp_path: Path
) -> None:
    grey = only(picture("PNG", smooth(long_side, 1200)), tmp_path)
    assert grey.shape[1] == expected
    assert difference(grey, smooth(*grey.shape[::-1])) < 3


@pytest.mark.parametrize(
    ("long_side", "expected"),
    [(1500, 1500), (3798, 3798), (3800, 1900), (4032, 2016), (7599, 3800), (8064, 2016), (9000, 2250)],
)
def test_a_jpeg_is_decoded_to_the_least_that_reading_can_begin_with(
    long_side: int, expected: int, tmp_path: Path
) -> None:
    grey = only(picture("JPEG", smooth(long_side, 1200)), tmp_path)
    assert grey.shape[1] == expected
    assert difference(grey, smooth(*grey.shape[::-1])) < 3


@pytest.mark.parametrize("size", [(3800, 1000), (3801, 1001), (7603, 801)])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_jpeg_can_be_had_finer_with_every_pixel_in_its_place(
    orientation: int, size: tuple[int, int], tmp_path: Path
) -> None:
    """Of a picture in blocks of a dozen pixels and more, a shift by a single pixel shows."""
    noise = np.random.default_rng(1).integers(0, 256, (size[1] // 12 + 1, size[0] // 12 + 1), dtype=np.uint8)
    blocks = np.kron(noise, np.ones((12, 12), dtype=np.uint8))[: size[1], : size[0]]
    data = picture("JPEG", Image.fromarray(blocks), exif=with_exif(orientation), quality=95)
    (tmp_path / "file").write_bytes(data)
    (found,) = (
        (page.grey, page.finer())
        for page in open_pages(tmp_path / "file")
        if page.grey is not None and page.finer
    )
    coarse, fine = found
    assert fine.shape == tuple(2 * side for side in coarse.shape)
    halved = fine.astype(float).reshape(coarse.shape[0], 2, coarse.shape[1], 2).mean(axis=(1, 3))
    assert difference(halved, coarse) < 4
    assert difference(np.roll(fine, 1, axis=1)[::2, ::2], coarse) > 8


def test_what_is_small_or_no_plain_jpeg_has_nothing_finer(tmp_path: Path) -> None:
    big = smooth(4000, 400)
    for data in (
        picture("JPEG", smooth(1500, 400)),
        picture("JPEG", big.convert("CMYK")),
        picture("JPEG", big)[:-2000],
        picture("PNG", big),
    ):
        (found,) = opened(data, tmp_path)
        assert found.finer is None
        assert found.grey is not None
        assert max(found.grey.shape) in (1500, 4000)


def test_pictures_up_to_the_limit_are_opened_and_above_it_refused(tmp_path: Path) -> None:
    """Also between Pillow's warning and Pillow's error, and without a warning to the user."""
    side = int(PIXELS_MOST**0.5)
    image = Image.new("1", (side, side), 1)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", Image.DecompressionBombWarning)
        data = picture("TIFF", image, compression="group4")
    del image
    assert only(data, tmp_path).shape == (3345, 3345)
    for width, height in ((side + 1, side + 1), (60_000, 60_000)):
        with pytest.raises(PictureError, match="absurdly large"):
            opened(png_of_size(width, height), tmp_path)
        with pytest.raises(PictureError, match="absurdly large"):
            opened(jpeg_of_size(width, height), tmp_path)


@pytest.mark.parametrize(
    ("width", "height", "fits"), [(4000, 200, True), (4200, 200, False), (199, 300, False)]
)
def test_strips_and_icons_are_refused(width: int, height: int, fits: bool, tmp_path: Path) -> None:
    data = picture("PNG", smooth(width, height))
    if fits:
        assert only(data, tmp_path).shape == (height, width)
    else:
        with pytest.raises(PictureError, match=r"strip|too small"):
            opened(data, tmp_path)


# -- broken off ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("filling", [b"", bytes(100_000)], ids=["ends", "zeros"])
@pytest.mark.parametrize("orientation", [1, 3])
def test_a_broken_off_jpeg_is_cut_where_the_picture_ends(
    filling: bytes, orientation: int, tmp_path: Path
) -> None:
    whole = jpeg(exif=with_exif(orientation))
    upright = only(whole, tmp_path)
    (found,) = opened(whole[: int(len(whole) * 0.6)] + filling, tmp_path)
    assert "breaks off" in found.problem
    assert found.grey is not None
    rows = len(found.grey)
    assert 0.5 < rows / len(upright) < 0.7
    assert difference(found.grey, upright[:rows] if orientation == 1 else upright[-rows:]) == 0


def test_no_switch_of_the_whole_process_is_touched(tmp_path: Path) -> None:
    before = ImageFile.LOAD_TRUNCATED_IMAGES, Image.MAX_IMAGE_PIXELS, list(warnings.filters)
    opened(jpeg()[:-100], tmp_path)
    assert before == (ImageFile.LOAD_TRUNCATED_IMAGES, Image.MAX_IMAGE_PIXELS, list(warnings.filters))


def test_the_first_of_several_pictures_in_a_jpeg_is_taken(tmp_path: Path) -> None:
    """Phones append a depth map or a small copy (CIPA DC-007, Multi-Picture Format)."""
    out = io.BytesIO()
    smooth(400, 300).save(out, "MPO", save_all=True, append_images=[smooth(200, 250)])
    assert only(out.getvalue(), tmp_path).shape == (300, 400)


# -- PDF ----------------------------------------------------------------------------------------------


def scan_pdf(image: Image.Image, size: tuple[float, float], turn: int = 0) -> bytes:
    out = io.BytesIO()
    canvas = Canvas(out, size)
    canvas.drawImage(ImageReader(image), 0, 0, *size)
    canvas.save()
    writer = PdfWriter(PdfReader(out))
    writer.pages[0].rotate(turn)
    turned = io.BytesIO()
    writer.write(turned)
    return turned.getvalue()


@pytest.mark.parametrize(
    ("scanned", "expected"),
    [(1100, LONG_SIDE_LEAST), (3300, 3300), (4032, 2016), (6600, LONG_SIDE_MOST // 2)],
    ids=["100 dpi", "300 dpi", "a photo", "600 dpi"],
)
def test_pdf_pages_are_drawn_at_their_scans_resolution(scanned: int, expected: int, tmp_path: Path) -> None:
    grey = only(scan_pdf(smooth(scanned, scanned * 17 // 22), (792, 612)), tmp_path)
    assert grey.shape[1] == pytest.approx(expected, abs=2)
    assert difference(grey, smooth(*grey.shape[::-1])) < 3


def test_a_large_scan_in_a_pdf_can_be_had_finer(tmp_path: Path) -> None:
    """PDFium draws the same picture at two sizes a pixel or two apart; reading looks where the lines are."""
    noise = np.random.default_rng(1).integers(0, 256, (64, 84), dtype=np.uint8)
    blocks = Image.fromarray(np.kron(noise, np.ones((48, 48), dtype=np.uint8))[:3059, :4001])
    (tmp_path / "file").write_bytes(scan_pdf(blocks, (800.2, 611.8)))
    ((coarse, fine),) = (
        (page.grey, page.finer())
        for page in open_pages(tmp_path / "file")
        if page.grey is not None and page.finer
    )
    assert fine.shape == tuple(2 * side for side in coarse.shape)
    assert difference(fine[::2, ::2], coarse) < 8
    assert difference(np.roll(fine, 12, axis=1)[::2, ::2], coarse) > 16


def test_a_pdf_that_holds_text_is_drawn_at_once_as_finely_as_it_is_read(tmp_path: Path) -> None:
    out = io.BytesIO()
    canvas = Canvas(out, (792, 612))
    canvas.drawImage(ImageReader(smooth(4000, 3000)), 0, 0, 792, 612)
    canvas.drawString(300, 300, "25")
    canvas.save()
    (found,) = opened(out.getvalue(), tmp_path)
    assert found.text is not None
    assert found.finer is None
    assert found.grey is not None
    assert found.grey.shape[1] == pytest.approx(4000, abs=2)


@pytest.mark.parametrize("size", [(79.2, 61.2), (792, 612), (7920, 6120)], ids=["stamp", "letter", "poster"])
def test_pdf_page_size_does_not_matter(size: tuple[float, float], tmp_path: Path) -> None:
    assert only(pdf(size=size), tmp_path).shape[1] == pytest.approx(LONG_SIDE_LEAST, abs=2)


def test_pdf_page_is_drawn_as_it_is_shown(tmp_path: Path) -> None:
    grey = only(scan_pdf(smooth(800, 600), (792, 612), turn=90), tmp_path)
    assert grey.shape[0] > grey.shape[1]
    assert grey[10, 10] < grey[-10, 10]  # turned clockwise: the picture's left edge is on top


def test_pages_are_numbered_from_one_and_a_bad_one_costs_itself(tmp_path: Path) -> None:
    out = io.BytesIO()
    canvas = Canvas(out)
    for size in ((612, 792), (5, 5000), (612, 792)):
        canvas.setPageSize(size)
        canvas.drawString(1, 1, "x")
        canvas.showPage()
    canvas.save()
    pages = opened(out.getvalue(), tmp_path)
    assert [(page.number, page.grey is None) for page in pages] == [(1, False), (2, True), (3, False)]
    assert "thin strip" in pages[1].problem


def test_documents_with_very_many_pages_are_refused(tmp_path: Path) -> None:
    with pytest.raises(PictureError, match="Split it"):
        opened(pdf(PAGES_MOST + 1), tmp_path)


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(PictureError, match="cannot be opened"):
        list(open_pages(tmp_path / "gone"))


# -- anything -----------------------------------------------------------------------------------------

WHOLE = {
    "jpeg": jpeg(),
    "progressive": jpeg(progressive=True),
    "png": picture("PNG"),
    "gif": picture("GIF"),
    "webp": picture("WEBP"),
    "tiff": picture("TIFF", compression="tiff_lzw", save_all=True, append_images=[page()]),
    "bmp": picture("BMP"),
    "heic": heic(),
    "pdf": pdf(2, scan=True),
    "form": filled({"day:2027-10-05": 20}),
}


@given(data=st.data(), form=st.sampled_from(sorted(WHOLE)))
@settings(max_examples=80, deadline=None)
def test_no_damage_raises_anything_but_picture_error(data: st.DataObject, form: str) -> None:
    changed = bytearray(WHOLE[form])
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.one_of(st.integers(12, 400), st.integers(12, len(changed) - 1)))
        changed[at] = data.draw(st.integers(0, 255))
    if data.draw(st.booleans()):
        del changed[data.draw(st.integers(12, len(changed))) :]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "file"
        path.write_bytes(changed)
        with contextlib.suppress(PictureError):
            for found in open_pages(path):
                assert found.grey is not None or found.problem
