"""A PDF that was handed in becomes grey pictures of its pages, with what it holds as text beside each."""

import math
import os
from collections.abc import Iterator
from functools import partial
from itertools import islice
from pathlib import Path
from typing import IO

import pypdfium2 as pdfium

from ingest.collect.annotations import AnnotatedFile
from ingest.collect.pictures import (
    BROKEN_OFF,
    COARSE_LONG_SIDE_LEAST,
    LONG_SIDE_LEAST,
    LONG_SIDE_MOST,
    PIXELS_MOST,
    SHAPE_MOST,
    TOO_LARGE,
    PagePicture,
    check_page_count,
    doubled,
)
from ingest.collect.text_layer import render, text_layer
from ingest.errors import PictureError
from ingest.reading.values import Grey


def pdf_pages(file: IO[bytes], path: Path, first: int = 1, step: int = 1) -> Iterator[PagePicture]:
    """The pages of the PDF at `path`, which `file` is, one after another.

    first, step: only that page and every so many after it.

    Raises PictureError where no page can be had.
    """
    _check_end(file)
    try:
        document = pdfium.PdfDocument(path)
    except pdfium.PdfiumError as error:
        if error.err_code == pdfium.raw.FPDF_ERR_PASSWORD:
            raise PictureError("This PDF needs a password. Ask for one without.") from error
        raise PictureError("This PDF is damaged and cannot be opened. Ask for it again.") from error
    try:
        if len(document) == 0:
            raise PictureError("This PDF has no pages.")
        check_page_count(len(document))
        document.init_forms()  # so that what was typed into a form is drawn, too
        annotated = AnnotatedFile(path)
        for index in range(first - 1, len(document), step):
            try:
                page = _pdf_page(document, index, annotated)
            except PictureError as error:
                page = PagePicture(index + 1, None, str(error))
            except pdfium.PdfiumError:
                page = PagePicture(index + 1, None, "This page of the PDF is damaged.")
            yield page
    finally:
        document.close()


def _check_end(file: IO[bytes]) -> None:
    """Raises PictureError if a PDF lacks its end, since then its pictures may be half there, like blanks.

    Readers look for the marker in the last 1024 bytes (ISO 32000-1, Annex H, note 18); mails and web
    servers append more than that now and then.
    """
    end = file.seek(0, os.SEEK_END)
    file.seek(max(0, end - 4096))
    if b"%%EOF" not in file.read():
        raise PictureError(BROKEN_OFF)


def _pdf_page(document: pdfium.PdfDocument, index: int, annotated: AnnotatedFile) -> PagePicture:
    page = document[index]
    try:
        width, height = page.get_size()  # points, as the page is shown
        if not (width > 0 and height > 0 and max(width, height) <= SHAPE_MOST * min(width, height)):
            raise PictureError("This page of the PDF is a thin strip, not a sheet.")
        long_side = min(max(_scanned_long_side(page), LONG_SIDE_LEAST), LONG_SIDE_MOST)
        scale = long_side / max(width, height)
        has_more = pdfium.raw.FPDFPage_GetAnnotCount(page) > 0
        # A plain scan at twice the resolution that reading begins with is drawn so large only where it must.
        is_coarse = not has_more and long_side >= 2 * COARSE_LONG_SIDE_LEAST
        grey = render(page, scale / 2 if is_coarse else scale)
    finally:
        page.close()
    if is_coarse:
        if text_layer(document, index, grey, scale / 2, None) is None:
            return PagePicture(index + 1, grey, "", finer=partial(_finer, document, index, scale, grey))
        grey = _finer(document, index, scale, None)
    attached = annotated.on_page(index) if has_more else None
    return PagePicture(index + 1, grey, "", text_layer(document, index, grey, scale, attached))


def _finer(document: pdfium.PdfDocument, index: int, scale: float, coarse: Grey | None) -> Grey:
    """The page, drawn anew. coarse: as drawn before, with half as many pixels each way."""
    page = document[index]
    try:
        grey = render(page, scale)
    finally:
        page.close()
    return grey if coarse is None else doubled(grey, coarse.shape[::-1])


def _scanned_long_side(page: pdfium.PdfPage) -> float:
    """How many pixels the page's long side has at the resolution of the scan on it; 0 without a scan.

    A scan is a picture that covers at least a quarter of the page. Raises PictureError if any picture is
    absurdly large.
    """
    page_width, page_height = page.get_size()
    found = 0.0
    # Drawings have thousands of objects, scans a handful.
    for thing in islice(page.get_objects(filter=(pdfium.raw.FPDF_PAGEOBJ_IMAGE,), max_depth=3), 2000):
        pixels = thing.get_px_size()
        if math.prod(pixels) > PIXELS_MOST:
            raise PictureError(TOO_LARGE)
        left, bottom, right, top = thing.get_bounds()
        placed = (right - left, top - bottom)
        if min(placed) > 0 and math.prod(placed) >= 0.25 * page_width * page_height:
            found = max(found, max(pixels) * max(page_width, page_height) / max(placed))
    return found
