"""When a photo was taken: Exif as Pillow writes it, and as pillow-heif does."""

from datetime import datetime
from pathlib import Path

import pillow_heif
import pytest
from PIL import Image

from ingest.collect.taken import taken_at

MOMENT = datetime(2027, 10, 30, 17, 4, 9)


def exif(text: str | None) -> bytes:
    """Exif 2.3: DateTimeOriginal is tag 36867 of the Exif IFD, which tag 34665 points to."""
    tags = Image.Exif()
    if text is not None:
        tags.get_ifd(34665)[36867] = text
    return tags.tobytes()


def photo(folder: Path, form: str, text: str | None) -> Path:
    path = folder / f"photo.{form}"
    picture = Image.new("RGB", (64, 48), "white")
    if form == "heic":
        pillow_heif.from_pillow(picture).save(path, exif=exif(text))
    else:
        picture.save(path, form, exif=exif(text))
    return path


@pytest.mark.parametrize("form", ["jpeg", "heic"])
def test_photos_say_when_they_were_taken(tmp_path: Path, form: str) -> None:
    assert taken_at(photo(tmp_path, form, "2027:10:30 17:04:09")) == MOMENT


@pytest.mark.parametrize("text", [None, "", "    :  :     :  :  ", "yesterday", "1970:01:01 00:00:00"])
def test_what_is_no_time_is_none(tmp_path: Path, text: str | None) -> None:
    assert taken_at(photo(tmp_path, "jpeg", text)) is None


@pytest.mark.parametrize("content", [b"", b"\xff\xd8\xff\xe1\xff\xff", b"%PDF-1.7", b"\xff\xd8\xff" * 900])
def test_any_file_will_do(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "file"
    path.write_bytes(content)
    assert taken_at(path) is None
    assert taken_at(tmp_path / "gone") is None


def test_a_damaged_note_is_none(tmp_path: Path) -> None:
    path = photo(tmp_path, "jpeg", "2027:10:30 17:04:09")
    path.write_bytes(path.read_bytes().replace(b"MM\0*", b"MM\0\0").replace(b"II*\0", b"II\0\0"))
    assert taken_at(path) is None
