"""How the files are made: small, the same every time, and wrong in one known way each."""

import io
import struct
import zipfile
import zlib
from collections.abc import Mapping, Sequence
from functools import lru_cache

import numpy as np
import pillow_heif
from PIL import Image, ImageFile
from pypdf import PdfReader, PdfWriter
from reportlab.pdfgen.canvas import Canvas


@lru_cache
def page(width: int = 480, height: int = 360) -> Image.Image:
    """Something that compresses like a photo and has no even rows."""
    noise = np.random.default_rng(20271001).integers(0, 256, (height // 4, width // 4), dtype=np.uint8)
    return Image.fromarray(np.kron(noise, np.ones((4, 4), dtype=np.uint8)))


def picture(form: str, image: Image.Image | None = None, **options: object) -> bytes:
    out = io.BytesIO()
    (image or page()).save(out, form, **options)
    return out.getvalue()


def jpeg(mode: str = "RGB", **options: object) -> bytes:
    return picture("JPEG", page().convert(mode), quality=80, **options)


def jpeg_of_size(width: int, height: int) -> bytes:
    """A JPEG that says how large it is, and has fewer pixels. ITU-T T.81, B.2.2."""
    data = bytearray(jpeg())
    at = data.index(b"\xff\xc0")  # SOF0: marker, length, precision, lines, samples a line
    struct.pack_into(">HH", data, at + 5, height, width)
    return bytes(data)


def heic(**options: object) -> bytes:
    out = io.BytesIO()
    pillow_heif.from_pillow(page().convert("RGB")).save(out, **options)
    return out.getvalue()


def png_of_size(width: int, height: int) -> bytes:
    """A PNG that says how large it is, and has hardly any pixels. PNG specification, 5.3 and 11.2."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">L", len(data)) + kind + data + struct.pack(">L", zlib.crc32(kind + data))

    header = struct.pack(">LLBBBBB", width, height, 8, 0, 0, 0, 0)
    ends = chunk(b"IDAT", zlib.compress(bytes(1000))) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + ends


def pdf(
    pages: int = 1, size: tuple[float, float] = (612, 792), scan: bool = False, password: str = ""
) -> bytes:
    out = io.BytesIO()
    canvas = Canvas(out, size)
    for number in range(1, pages + 1):
        if scan:
            canvas.drawInlineImage(page().convert("RGB"), 0, 0, *size)
        canvas.drawString(5, 5, f"page {number}")
        canvas.showPage()
    canvas.save()
    if not password:
        return out.getvalue()
    writer = PdfWriter(PdfReader(out))
    writer.encrypt(password, algorithm="RC4-128")
    locked = io.BytesIO()
    writer.write(locked)
    return locked.getvalue()


def zipped(
    entries: Mapping[str, bytes] | Sequence[tuple[str | zipfile.ZipInfo, bytes]],
    method: int = zipfile.ZIP_DEFLATED,
) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, data in entries.items() if isinstance(entries, Mapping) else entries:
            archive.writestr(name, data)
    return out.getvalue()


def entry(
    name: str, *, mode: int = 0, date: tuple[int, int, int, int, int, int] = (2027, 11, 1, 8, 30, 0)
) -> zipfile.ZipInfo:
    made = zipfile.ZipInfo(name, date)
    made.external_attr = mode << 16
    return made


def locked(archive: bytes, every: bool = True) -> bytes:
    """The zip with the flag of encryption (APPNOTE.TXT 4.4.4) on all entries, or only on the first."""
    changed = bytearray(archive)
    for signature, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        at = changed.find(signature)
        while at >= 0:
            changed[at + offset] |= 1
            at = changed.find(signature, at + 4) if every else -1
    return bytes(changed)


def nested(depth: int, name: str, data: bytes) -> bytes:
    """`data` in so many zips, one in the other."""
    for level in range(depth):
        data = zipped({f"{level}.zip" if level else name: data})
    return data


def overlapping(data: bytes) -> bytes:
    """A zip whose list of contents names the same packed bytes twice."""
    archive = zipped({"a.jpg": data})
    end = archive.rindex(b"PK\x05\x06")
    start = archive.rindex(b"PK\x01\x02")
    listed = archive[start:end]
    record = struct.pack("<4sHHHHLLH", b"PK\x05\x06", 0, 0, 2, 2, 2 * len(listed), start, 0)
    return archive[:start] + 2 * listed + record


def with_directory_of(size: int) -> bytes:
    """A zip that says its list of contents has so many bytes."""
    archive = bytearray(zipped({"a.jpg": jpeg()}))
    struct.pack_into("<L", archive, archive.rindex(b"PK\x05\x06") + 12, size)
    return bytes(archive)


def damaged(archive: bytes) -> bytes:
    """The zip with one byte of the first entry's packed data turned over."""
    changed = bytearray(archive)
    changed[200] ^= 0xFF
    return bytes(changed)


def renamed(archive: bytes, old: bytes, new: bytes) -> bytes:
    """The zip with a name's raw bytes replaced; same length, and no flag that says UTF-8."""
    assert len(old) == len(new)
    assert archive.count(old) == 2
    return archive.replace(old, new)


def with_exif(orientation: int) -> bytes:
    exif = Image.Exif()
    exif[0x0112] = orientation
    return exif.tobytes()


assert not ImageFile.LOAD_TRUNCATED_IMAGES  # else the broken-off pictures here prove nothing
