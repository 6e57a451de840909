"""The table: each file's name, how it is made, and what becomes of it.

What becomes of it is listed by label. "3 pages" means that so many pictures of pages come out of it; anything
else is part of the problem that the teacher is told. An empty mapping means that it is passed over.
"""

import stat
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from PIL import Image

from hostile import making
from hostile.making import (
    entry,
    heic,
    jpeg,
    locked,
    nested,
    page,
    pdf,
    picture,
    png_of_size,
    zipped,
)
from ingest.collect.unpack import MIB, Limits

# Smaller than in earnest, so that the bombs here are small, too.
LIMITS = Limits(file_bytes=4 * MIB, free_bytes=8 * MIB, entries=50, directory_bytes=1 * MIB)


@dataclass(frozen=True)
class Case:
    name: str
    make: Callable[[], bytes]
    outcome: Mapping[str, str]


def _one(name: str, make: Callable[[], bytes], outcome: str) -> Case:
    return Case(name, make, {name: outcome})


def _cut(data: bytes, share: float) -> bytes:
    return data[: int(len(data) * share)]


def _deep_grey() -> Image.Image:
    return Image.fromarray(np.asarray(page()).astype(np.uint16) << 8)


def _faded() -> Image.Image:
    image = page().convert("RGBA")
    image.putalpha(128)
    return image


CASES = (
    # forms and modes that are fine
    _one("plain.jpg", jpeg, "1 pages"),
    _one("grey.jpg", lambda: jpeg("L"), "1 pages"),
    _one("press.jpg", lambda: jpeg("CMYK"), "1 pages"),
    _one("web.jpg", lambda: jpeg(progressive=True), "1 pages"),
    _one("no-end-marker.jpg", lambda: jpeg()[:-2], "1 pages"),
    _one("odd-exif.jpg", lambda: jpeg(exif=b"Exif\0\0II*\0\xff\xff\xff\x7fgarbage"), "1 pages"),
    _one("really-a-jpeg.pdf", jpeg, "1 pages"),
    _one("really-a-png.jpg", lambda: picture("PNG"), "1 pages"),
    _one("no-extension", jpeg, "1 pages"),
    _one("deep.png", lambda: picture("PNG", _deep_grey()), "1 pages"),
    _one("palette.png", lambda: picture("PNG", page().convert("P"), transparency=0), "1 pages"),
    _one("faded.webp", lambda: picture("WEBP", _faded()), "1 pages"),
    _one("phone.heic", heic, "1 pages"),
    _one("old.bmp", lambda: picture("BMP"), "1 pages"),
    _one("moving.gif", lambda: picture("GIF", save_all=True, append_images=[page().convert("P")]), "1 pages"),
    _one(
        "fax.tif",
        lambda: picture(
            "TIFF",
            page().convert("1"),
            compression="group4",
            save_all=True,
            append_images=[page().convert("1")] * 2,
        ),
        "3 pages",
    ),
    _one("class-set.pdf", lambda: pdf(3, scan=True), "3 pages"),
    # pictures that are not whole, or not what they seem
    _one("cut.jpg", lambda: _cut(jpeg(), 0.7), "breaks off: only"),
    _one("filled-with-zeros.jpg", lambda: _cut(jpeg(), 0.7) + bytes(20_000), "breaks off: only"),
    _one("stub.jpg", lambda: _cut(jpeg(), 0.15), "breaks off before its end"),
    _one("header-only.jpg", lambda: jpeg()[:20], "damaged"),
    _one("cut-web.jpg", lambda: _cut(jpeg(progressive=True), 0.7), "breaks off before its end"),
    _one("cut.png", lambda: _cut(picture("PNG"), 0.7), "damaged"),
    _one("cut.heic", lambda: _cut(heic(), 0.7), "damaged"),
    _one("cut.webp", lambda: _cut(picture("WEBP"), 0.7), "damaged"),
    _one("cut.tif", lambda: _cut(picture("TIFF"), 0.7), "damaged"),
    _one("huge.png", lambda: png_of_size(50_000, 50_000), "absurdly large"),
    _one("huge.jpg", lambda: making.jpeg_of_size(60_000, 60_000), "absurdly large"),
    _one("strip.png", lambda: png_of_size(1, 100_000), "thin strip"),
    _one("icon.png", lambda: picture("PNG", page().resize((32, 32))), "too small"),
    _one("empty.jpg", bytes, "is empty"),
    _one("note.jpg", lambda: "Sorry, we lost it. José".encode(), "a text file, not a picture or PDF"),
    _one("login-page.jpg", lambda: b"\n<!DOCTYPE html><title>Sign in</title>", "a web page"),
    _one("clip.mov", lambda: b"\0\0\0\x14ftypqt  \0\0\0\0qt  " + bytes(99), "a video"),
    _one("noise.bin", lambda: bytes(range(256)) * 8, "a file of an unknown kind"),
    _one("large.jpg", lambda: jpeg() + bytes(5 * MIB), "larger than 4 MB"),
    # PDFs
    _one("locked.pdf", lambda: pdf(password="secret"), "needs a password"),
    _one("cut.pdf", lambda: _cut(pdf(2, scan=True), 0.7), "breaks off"),
    _one("hollow.pdf", lambda: b"%PDF-1.4\nnothing\n%%EOF\n", "PDF is damaged"),
    _one("strip.pdf", lambda: pdf(size=(10, 5000)), "thin strip"),
    # other programs' files that are zips
    _one(
        "letter.docx",
        lambda: zipped({"[Content_Types].xml": b"<x/>", "word/document.xml": b"<x/>", "word/a.jpg": jpeg()}),
        "office program",
    ),
    _one("letter.odt", lambda: zipped({"mimetype": b"application/x", "a.jpg": jpeg()}), "office program"),
    # zips whose names would lead elsewhere
    Case(
        "slip.zip",
        lambda: zipped({"../../evil.jpg": jpeg(), "/etc/cron.d/job.jpg": jpeg(), "a/../../b.jpg": jpeg()}),
        {
            "slip.zip/evil.jpg": "1 pages",
            "slip.zip/etc/cron.d/job.jpg": "1 pages",
            "slip.zip/a/b.jpg": "1 pages",
        },
    ),
    Case(
        "windows.zip",
        lambda: zipped({"C:\\Users\\Ana\\IMG 1.jpg": jpeg(), "Ana\\": b"", "D:evil.jpg": jpeg()}),
        {"windows.zip/Users/Ana/IMG 1.jpg": "1 pages", "windows.zip/evil.jpg": "1 pages"},
    ),
    Case(
        "nul.zip",
        lambda: making.renamed(zipped({"a.jpg_.exe": jpeg()}), b"a.jpg_.exe", b"a.jpg\0.exe"),
        {"nul.zip/a.jpg": "1 pages"},
    ),
    Case(
        "turned-name.zip",
        lambda: zipped({"gpj.\N{RIGHT-TO-LEFT OVERRIDE}a\n\x1b[2J.jpg": jpeg()}),
        {"turned-name.zip/gpj.�a��[2J.jpg": "1 pages"},
    ),
    Case(
        "long-name.zip",
        lambda: zipped({"x" * 5000 + ".jpg": jpeg()}),
        {"long-name.zip/" + "x" * 60 + "…" + "x" * 56 + ".jpg": "1 pages"},
    ),
    Case(
        "old-names.zip",  # code page 437, as its tools had it: 0x82 is é
        lambda: making.renamed(zipped({"Jos?.jpg": jpeg()}), b"Jos?.jpg", b"Jos\x82.jpg"),
        {"old-names.zip/José.jpg": "1 pages"},
    ),
    Case(
        "unsaid-utf-8.zip",
        lambda: making.renamed(zipped({"Jos??.jpg": jpeg()}), b"Jos??.jpg", "José.jpg".encode()),
        {"unsaid-utf-8.zip/José.jpg": "1 pages"},
    ),
    Case(
        "links.zip",
        lambda: zipped(
            [
                (entry("passwd.jpg", mode=stat.S_IFLNK | 0o777), b"/etc/passwd"),
                (entry("pipe.jpg", mode=stat.S_IFIFO | 0o644), b""),
                (entry("good.jpg", mode=stat.S_IFREG | 0o644), jpeg()),
            ]
        ),
        {
            "links.zip/passwd.jpg": "link or a device",
            "links.zip/pipe.jpg": "link or a device",
            "links.zip/good.jpg": "1 pages",
        },
    ),
    Case(
        "junk.zip",
        lambda: zipped(
            {
                "__MACOSX/a/._IMG_1.jpg": b"\0\5\x16\7",
                "a/.DS_Store": b"x",
                "a/Thumbs.db": b"x",
                "desktop.ini": b"x",
                "~$letter.docx": b"x",
                "a/IMG_1.jpg": jpeg(),
            }
        ),
        {"junk.zip/a/IMG_1.jpg": "1 pages"},
    ),
    Case("only-junk.zip", lambda: zipped({"__MACOSX/._a.jpg": b"x"}), {}),
    # zips that are locked, damaged, or hold more than they should
    _one("locked.zip", lambda: locked(zipped({"a.jpg": jpeg(), "b.jpg": jpeg()})), "locked with a password"),
    Case(
        "half-locked.zip",
        lambda: locked(zipped({"a.jpg": jpeg(), "b.jpg": jpeg()}), every=False),
        {"half-locked.zip/a.jpg": "locked with a password", "half-locked.zip/b.jpg": "1 pages"},
    ),
    _one("empty.zip", lambda: zipped({}), "This zip is empty"),
    _one("cut.zip", lambda: _cut(zipped({"a.jpg": jpeg(), "b.jpg": jpeg()}), 0.9), "not downloaded whole"),
    Case(
        "one-bad.zip",
        lambda: making.damaged(zipped({"a.jpg": jpeg(), "b.jpg": jpeg()})),
        {"one-bad.zip/a.jpg": "damaged inside the zip", "one-bad.zip/b.jpg": "1 pages"},
    ),
    Case(
        "odd-packing.zip",
        lambda: zipped({"a.jpg": jpeg()}, zipfile.ZIP_LZMA),
        {"odd-packing.zip/a.jpg": "unusual way"},
    ),
    Case(
        "bomb.zip",
        lambda: zipped({"a.jpg": bytes(6 * MIB), "b.jpg": jpeg()}),
        {"bomb.zip/a.jpg": "unpacks to more than 4 MB", "bomb.zip/b.jpg": "1 pages"},
    ),
    Case(
        "bombs-in-a-zip.zip",  # each is under the limit for a file
        lambda: zipped({f"{n}.zip": zipped({"a.jpg": bytes([n]) * (3 * MIB)}) for n in range(9)}),
        {
            "bombs-in-a-zip.zip/0.zip/a.jpg": "unknown kind",
            "bombs-in-a-zip.zip/1.zip/a.jpg": "unknown kind",
            "bombs-in-a-zip.zip": "as a zip bomb does",
        },
    ),
    _one("overlapping.zip", lambda: making.overlapping(jpeg()), "overlap, as in a zip bomb"),
    _one("many.zip", lambda: zipped({f"{n}.txt": b"x" for n in range(51)}), "more than 50 files"),
    _one("long-list.zip", lambda: making.with_directory_of(900 * MIB), "absurdly long list"),
    Case(
        "deep-enough.zip",
        lambda: nested(4, "a.jpg", jpeg()),
        {"deep-enough.zip/3.zip/2.zip/1.zip/a.jpg": "1 pages"},
    ),
    Case(
        "too-deep.zip",
        lambda: nested(5, "a.jpg", jpeg()),
        {"too-deep.zip/4.zip/3.zip/2.zip/1.zip": "more than 4 deep"},
    ),
)
