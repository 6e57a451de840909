"""When a photo was taken, by the camera's own clock."""

from datetime import datetime
from pathlib import Path

import pillow_heif
from PIL import Image

from ingest.collect.signature import Form
from ingest.collect.unpack import form_on_disk

# Tags of Exif 2.3 (CIPA DC-008), 4.6.3 and 4.6.5: where the photo's own tags are, and when it was taken.
_EXIF_IFD, _DATE_TIME_ORIGINAL = 0x8769, 0x9003
_FORMAT = "%Y:%m:%d %H:%M:%S"
_FIRST_YEAR = 2000  # a camera whose clock was never set says 1970 or 1980


def taken_at(path: Path) -> datetime | None:
    """Local time as the camera had it; None where the file does not say so, or is no photo."""
    try:
        exif = _exif(path)
        text = exif.get_ifd(_EXIF_IFD).get(_DATE_TIME_ORIGINAL) if exif else None
        moment = datetime.strptime(str(text).strip("\0 "), _FORMAT) if text else None
    except Exception:  # a damaged or hostile note is no note; the picture itself is opened elsewhere
        return None
    return moment if moment and moment.year >= _FIRST_YEAR else None


def _exif(path: Path) -> Image.Exif | None:
    """Only the head of the file is read."""
    form = form_on_disk(path)
    if form is Form.JPEG:
        with Image.open(path, formats=("JPEG",)) as picture:
            return picture.getexif()
    if form is Form.HEIC:
        exif = Image.Exif()
        exif.load(pillow_heif.open_heif(path).info.get("exif") or b"")
        return exif
    return None
