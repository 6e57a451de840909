"""What a file is, by its first bytes. Names lie: class sites and phones hand out any extension."""

from enum import StrEnum

HEAD_BYTES = 1024  # enough for every signature; a PDF's may stand this late (ISO 32000-1, Annex H, note 13)


class Form(StrEnum):
    """The forms that can be taken in. Anything else is only named; see `name_of`."""

    JPEG = "JPEG"
    PNG = "PNG"
    GIF = "GIF"
    WEBP = "WebP"
    TIFF = "TIFF"
    BMP = "BMP"
    HEIC = "HEIC"
    PDF = "PDF"
    ZIP = "zip"


_FORMS = (  # at the file's very beginning; each from its format's own specification
    (b"\xff\xd8\xff", Form.JPEG),
    (b"\x89PNG\r\n\x1a\n", Form.PNG),
    (b"GIF87a", Form.GIF),
    (b"GIF89a", Form.GIF),
    (b"II*\0", Form.TIFF),
    (b"MM\0*", Form.TIFF),
    (b"II+\0", Form.TIFF),  # BigTIFF
    (b"MM\0+", Form.TIFF),
    (b"PK\x03\x04", Form.ZIP),
    (b"PK\x05\x06", Form.ZIP),  # without entries
)
_HEIF_BRANDS = frozenset((b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"))
_NAMES = (
    (b"Rar!", "a RAR archive"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "an old Office file"),
    (b"\x1aE\xdf\xa3", "a video"),  # Matroska, WebM
    (b"ID3", "a sound recording"),
    (b"OggS", "a sound recording"),
    (b"MZ", "a program"),
    (b"{\\rtf", "a text file"),
)


def form_of(head: bytes) -> Form | None:
    """The form of the file that begins with `head` (HEAD_BYTES of it, or all); None: none of ours."""
    for start, form in _FORMS:
        if head.startswith(start):
            return form
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return Form.WEBP
    if head[4:8] == b"ftyp" and _brands(head) & _HEIF_BRANDS and b"avif" not in _brands(head):
        return Form.HEIC
    if head[:2] == b"BM" and head[6:10] == b"\0\0\0\0":  # both reserved fields are 0
        return Form.BMP
    if b"%PDF-" in head[:HEAD_BYTES]:
        return Form.PDF
    return None


def name_of(head: bytes) -> str:
    """What to call a file that `form_of` does not know, with its article: "a video"."""
    for start, name in _NAMES:
        if head.startswith(start):
            return name
    if head[4:8] == b"ftyp":
        return "an AVIF picture" if b"avif" in _brands(head) else "a video"
    if head[:4] == b"RIFF":
        return "a sound recording" if head[8:12] == b"WAVE" else "a video"
    if head.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] == b"<":
        return "a web page"
    if head and not any(byte < 9 or 13 < byte < 32 for byte in head):
        return "a text file"
    return "a file of an unknown kind"


def _brands(head: bytes) -> set[bytes]:
    """The brands of an ISO base media file (ISO/IEC 14496-12, 4.3): the major one and those compatible."""
    size = min(int.from_bytes(head[:4], "big"), 256)
    return {head[8:12], *(head[at : at + 4] for at in range(16, size, 4))}
