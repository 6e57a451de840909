"""A file that was handed in becomes grey pictures of its pages.

Everything here meets files from strangers: sizes are checked before pixels are made, and whatever a
decoder does, only PictureError comes out.
"""

import math
import os
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import IO

import cv2
import numpy as np
import pillow_heif
from PIL import Image
from PIL.JpegImagePlugin import JpegImageFile

from ingest.collect.signature import HEAD_BYTES, Form, form_of
from ingest.errors import PictureError
from ingest.reading.values import Finer, Grey, TextLayer

# Twice Pillow's own Image.MAX_IMAGE_PIXELS (1 GiB // 4 // 3), where Pillow itself refuses. A photo of
# 12 megapixels has a fourteenth of it, a Letter page at 600 dpi a fifth.
PIXELS_MOST = 178_956_970
# A page that fills four fifths of the long side has 7.9 px/mm at 2200, above the 6 px/mm at which it is
# read. 4200 leaves the common 12 megapixels (4032 px) as they are: the page may fill much less of a photo.
LONG_SIDE_LEAST = 2200
LONG_SIDE_MOST = 4200
# A JPEG is decoded to the smallest of the sizes that its format offers that has so much, which is half of 12
# megapixels. Reading says so when a chart is so small in it that it needs the next size.
COARSE_LONG_SIDE_LEAST = 1900
SHORT_SIDE_LEAST = 200  # less is an icon: not two pixels for a millimetre of a box
SHAPE_MOST = 20  # times as long as wide; sheets are 1.3 to 1.5
PAGES_MOST = 1000  # a grade of 500, scanned on both sides
ROWS_LEAST = 0.25  # share of a broken-off picture that must be there


@dataclass(frozen=True, slots=True)
class PagePicture:
    """One page.

    number: 1 for the first.
    grey: None where there is a problem that leaves no picture. Its long side has 1900 to 4200 pixels,
        or as many as the file holds if that is fewer.
    problem: "" or what is wrong with the page, in plain sentences.
    text: what a page of a PDF holds as text; None where that is nothing.
    finer: makes the same picture with twice the pixels each way, until the next page is asked for; None if
        the file has no more. Raises PictureError.
    """

    number: int
    grey: Grey | None
    problem: str
    text: TextLayer | None = None
    finer: Finer | None = None


def open_pages(path: Path, first: int = 1, step: int = 1) -> Iterator[PagePicture]:
    """The pages of a picture or PDF, upright as far as the file says.

    first, step: of a PDF, only that page and every so many after it. Any other file is in the share from 1.

    Raises PictureError, and nothing else because of what the file holds, where no page can be had;
    the message is for the user and does not name the file.
    """
    pages = _pages(path, first, step)
    while True:
        with warnings.catch_warnings():
            # Decoders mutter about metadata. Pillow's warning of large pictures is below PIXELS_MOST.
            warnings.simplefilter("ignore")
            try:
                page = next(pages, None)
            except PictureError:
                raise
            except Image.DecompressionBombError as error:
                raise PictureError(TOO_LARGE) from error
            except MemoryError as error:
                raise PictureError("There was not enough memory to open this picture.") from error
            except Exception as error:  # decoders raise whatever they like on damaged files
                raise PictureError(_DAMAGED) from error
        if page is None:
            return
        yield page


_DAMAGED = "This picture is damaged and cannot be opened. Ask for it again."
TOO_LARGE = "This picture is absurdly large. Scan at 300 dpi, or take an ordinary photo."
BROKEN_OFF = "This file breaks off before its end. Ask for it again."


def _pages(path: Path, first: int, step: int) -> Iterator[PagePicture]:
    try:
        file = path.open("rb")
    except OSError as error:
        raise PictureError(f"This cannot be opened ({error.strerror}).") from error
    with file:
        form = form_of(file.read(HEAD_BYTES))
        file.seek(0)
        match form:
            case None | Form.ZIP:
                raise PictureError("This is not a picture or PDF.")
            case Form.PDF:
                # Most files are photos, and what PDFs need takes long to load.
                from ingest.collect.pdf_pages import pdf_pages

                yield from pdf_pages(file, path, first, step)
            case _ if first > 1:
                return
            case Form.JPEG:
                yield _jpeg(file)
            case Form.TIFF:
                yield from _tiff_pages(file)
            case Form.HEIC:
                heif = pillow_heif.open_heif(file)  # pixels are made later; it turns and mirrors by itself
                _check_shape(*heif.size)
                yield PagePicture(1, _upright(heif.to_pillow()), "")
            case _:
                # Of moving pictures, the first frame.
                with Image.open(file, formats=(form.name,)) as picture:
                    yield PagePicture(1, _upright(picture), "")


def _check_shape(width: float, height: float) -> None:
    """Raises PictureError for what cannot be a photo or scan of a page. In pixels."""
    if width * height > PIXELS_MOST:
        raise PictureError(TOO_LARGE)
    if max(width, height) > SHAPE_MOST * min(width, height):
        raise PictureError("This picture is a thin strip, not a page.")
    if min(width, height) < SHORT_SIDE_LEAST:
        raise PictureError("This picture is too small to read. Ask for the photo in its full size.")


# -- to grey ------------------------------------------------------------------------------------------


def _upright(picture: Image.Image) -> Grey:
    """Decode, make grey, bring down to size, turn as Exif says."""
    _check_shape(*picture.size)
    picture.load()
    return _turned(_reduced(_to_grey(picture)), _orientation(picture))


def _to_grey(picture: Image.Image) -> Image.Image:
    """Any mode to 8-bit grey; what is transparent becomes white."""
    if picture.mode == "L" and not picture.has_transparency_data:
        return picture
    if picture.mode in ("I", "I;16", "I;16L", "I;16B", "F"):
        return Image.fromarray(_eight_bits(np.asarray(picture)))
    if picture.has_transparency_data:
        faded = picture.convert("RGBA").convert("LA")  # by way of RGBA: a palette's transparent colour
        grey = Image.new("L", picture.size, 255)
        grey.paste(faded.getchannel("L"), mask=faded.getchannel("A"))
        return grey
    return picture.convert("L")


def _eight_bits(values: np.ndarray) -> Grey:
    """Deep grey to 0..255: whole numbers by their upper 8 bits, anything else by its own range."""
    if values.dtype.kind in "iu" and values.max() > 255 and values.min() >= 0:
        return (values >> (int(values.max()).bit_length() - 8)).astype(np.uint8)  # 10 and 12 bits, too
    wide = np.nan_to_num(values.astype(np.float32))
    low, high = float(wide.min()), float(wide.max())
    if low >= 0 and 1 < high <= 255:
        low, high = 0.0, 255.0
    return ((wide - low) * (255 / max(high - low, 1e-6))).astype(np.uint8)


def _reduced(grey: Image.Image) -> Image.Image:
    factor = math.ceil(max(grey.size) / LONG_SIDE_MOST)
    return grey.reduce(factor) if factor > 1 else grey


def _orientation(picture: Image.Image) -> int:
    """The Exif orientation, 1 to 8. An unreadable one is 1, as displayed: reading finds turns."""
    try:
        turn = picture.getexif().get(_ORIENTATION)
    except Exception:  # as in `open_pages`; a damaged Exif block is no reason to refuse a good picture
        return 1
    return turn if isinstance(turn, int) and turn in _TURNS else 1


def _turned(grey: Image.Image | Grey, orientation: int) -> Grey:
    """The picture as it is to be displayed."""
    pixels: Grey = np.asarray(grey, np.uint8)
    transposed, flip = _TURNS[orientation]
    if transposed:
        pixels = np.asarray(cv2.transpose(pixels), np.uint8)
    return pixels if flip is None else np.asarray(cv2.flip(pixels, flip), np.uint8)


# By orientation: whether rows become columns, and how `cv2.flip` then turns the picture over.
_TURNS = {
    1: (False, None),
    2: (False, 1),
    3: (False, -1),
    4: (False, 0),
    5: (True, None),
    6: (True, 1),
    7: (True, -1),
    8: (True, 0),
}
_ORIENTATION = 0x0112  # TIFF 6.0 and Exif 2.3


# -- JPEG ---------------------------------------------------------------------------------------------


class _ForgivingJpeg(JpegImageFile):
    """A JPEG that may break off: the end marker is supplied, so that what is there gets decoded.

    The same as ImageFile.LOAD_TRUNCATED_IMAGES, which is for the whole process. Of the several pictures
    that phones put in one file, only the first is seen.
    """

    stop = 0  # where the bytes end: a download that was stopped may be filled up with zeros
    broken_off = False

    def load_read(self, read_bytes: int) -> bytes:
        if self.fp is None:
            return b""
        found = self.fp.read(max(0, min(read_bytes, self.stop - self.fp.tell())))
        if not found and not self.broken_off:
            self.broken_off = True
            return b"\xff\xd9"  # EOI
        return found


def _jpeg(file: IO[bytes]) -> PagePicture:
    picture = _ForgivingJpeg(file)
    _check_shape(*picture.size)
    stop, orientation = _end_of_bytes(file), _orientation(picture)
    long_side = max(picture.size)
    scale = next((s for s in (8, 4, 2) if long_side / s >= COARSE_LONG_SIDE_LEAST), 1)
    if picture.mode in ("L", "RGB"):
        grey = _load(picture, stop, scale)
        if not picture.broken_off:
            finer = partial(_finer, file, stop, grey.size, scale // 2, orientation) if scale > 1 else None
            return PagePicture(1, _turned(grey, orientation), "", finer=finer)
        file.seek(0)
        picture = _ForgivingJpeg(file)
    scale = next((s for s in (1, 2, 4, 8) if long_side / s <= LONG_SIDE_MOST), 8)
    grey = _load(picture, stop, scale)
    if not picture.broken_off:
        return PagePicture(1, _turned(_reduced(grey), orientation), "")
    if "progressive" in picture.info:  # what is missing is sharpness everywhere, which looks like blanks
        raise PictureError(BROKEN_OFF)
    rows = _whole_rows(np.asarray(grey), is_grey=picture.mode == "L")
    share = rows / grey.height
    if share < ROWS_LEAST:
        raise PictureError(BROKEN_OFF)
    problem = "" if share == 1 else f"This picture breaks off: only {share:.0%} of it is there."
    return PagePicture(1, _turned(_reduced(grey.crop((0, 0, grey.width, rows))), orientation), problem)


def _load(picture: _ForgivingJpeg, stop: int, scale: int) -> Image.Image:
    """Decode to grey, each way one pixel of `scale`.

    Decoding fewer of the frequencies gives the smaller picture at once, and grey is only one channel.
    """
    picture.stop = stop
    picture.draft("L", (picture.width // scale, picture.height // scale))
    picture.load()
    return _to_grey(picture)


def doubled(finer: Grey, size: tuple[int, int]) -> Grey:
    """A picture that has twice `size`, width and height, or a pixel less, with the last pixels repeated.

    So two stand for one of before, however the picture is turned.
    """
    down, across = 2 * size[1] - finer.shape[0], 2 * size[0] - finer.shape[1]
    return np.pad(finer, ((0, down), (0, across)), "edge") if down or across else finer


def _finer(file: IO[bytes], stop: int, size: tuple[int, int], scale: int, orientation: int) -> Grey:
    """A whole JPEG, decoded before to `size`, with twice the pixels."""
    file.seek(0)
    try:
        finer = np.asarray(_load(_ForgivingJpeg(file), stop, scale), np.uint8)
    except Exception as error:  # as in `open_pages`
        raise PictureError(_DAMAGED) from error
    return _turned(doubled(finer, size), orientation)


def _end_of_bytes(file: IO[bytes]) -> int:
    """Offset after the last byte that is not 0. Leaves the file where it was."""
    place = file.tell()
    end = file.seek(0, os.SEEK_END)
    while end > 0:
        start = max(0, end - 64 * 1024)
        file.seek(start)
        if kept := file.read(end - start).rstrip(b"\0"):
            end = start + len(kept)
            break
        end = start
    file.seek(place)
    return end


def _whole_rows(grey: Grey, is_grey: bool) -> int:
    """How many rows of a broken-off baseline JPEG hold picture all the way across.

    What is missing is decoded as one even tone: all coefficients are zero (libjpeg, jdhuff.c). It is cut
    off, and with it the row of blocks (up to 16 pixels high) in which the file ended: boxes that are
    missing must be missing, not blank.

    is_grey: decoded as grey, where that tone is 128; else the tone that ends the picture is taken for it.
    """
    tone = 128 if is_grey else int(grey[-1, -1])
    if (grey[-8:, -8:] != tone).any():
        return len(grey)  # only the end marker is missing
    is_even = (grey == tone).all(axis=1)
    filled = len(grey) - (int(np.argmin(is_even[::-1])) if not is_even.all() else len(grey))
    return max(0, filled - 16)


# -- several pages ------------------------------------------------------------------------------------


def _tiff_pages(file: IO[bytes]) -> Iterator[PagePicture]:
    with Image.open(file, formats=("TIFF",)) as picture:
        for number in range(1, PAGES_MOST + 2):
            try:
                picture.seek(number - 1)
            except EOFError:
                return
            check_page_count(number)
            try:
                yield PagePicture(number, _upright(picture), "")
            except (PictureError, OSError, ValueError, SyntaxError) as error:
                if number == 1:
                    raise  # most often the only page: then the file is what cannot be opened
                yield PagePicture(number, None, str(error) if isinstance(error, PictureError) else _DAMAGED)


def check_page_count(count: int) -> None:
    """Raises PictureError if a file has more pages than a grade can fill."""
    if count > PAGES_MOST:
        raise PictureError(f"This file has more than {PAGES_MOST} pages. Split it into smaller ones.")
