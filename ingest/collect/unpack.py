"""Everything that was handed in, one file at a time: folders, files, zips, zips in zips.

Nothing is written under a name from outside, and no more than one file at a time is held: in memory
while it is small, else in a temporary file that has no name.
"""

import os
import re
import stat
import struct
import tempfile
import unicodedata
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO, TypeAlias

from ingest.collect.signature import HEAD_BYTES, Form, form_of, name_of
from ingest.printable import steers

Stream: TypeAlias = IO[bytes]

MIB = 1024 * 1024


@dataclass(frozen=True, slots=True)
class Limits:
    """Where a pile stops being honest. Bytes are counted while they are inflated, whatever headers say.

    file_bytes: one file. A class set scanned at 300 dpi in one PDF is some 100 MB.
    ratio: how many times its packed size a zip, with all zips in it, may inflate to, once past
        `free_bytes`. Photos and PDFs hardly shrink; uncompressed pictures of blank paper shrink about
        1:50; DEFLATE ends at about 1:1032.
    entries: files in one zip, with all zips in it. A grade hands in some 500.
    depth: zips in zips.
    directory_bytes: a zip's list of contents, which is held in memory.
    """

    file_bytes: int = 512 * MIB
    ratio: int = 100
    free_bytes: int = 256 * MIB
    entries: int = 20_000
    depth: int = 4
    directory_bytes: int = 8 * MIB


@dataclass(frozen=True, slots=True)
class Found:
    """One file that was met.

    label: where it was met, `october.zip/Maria Lopez/IMG_1.jpg`. To show and to guess from, never a path.
    dated: the zip entry's or the file's time, local; None where there is none.
    problem: "" or why it cannot be a return, in one or two plain sentences.
    content: its bytes, at the beginning, until the next file is asked for; None where there are none
        to be had. A file with a problem may have content, so that it can be kept.
    """

    label: str
    dated: datetime | None
    problem: str
    content: Stream | None


def walk(
    paths: Iterable[Path],
    *,
    leave_out: Callable[[Path], bool] = lambda path: False,
    limits: Limits = Limits(),
) -> Iterator[Found]:
    """All files in `paths`, in the order of names. Raises nothing because of what it meets.

    leave_out: asked for every file and folder (absolute path) met inside a folder.
    """
    for path in paths:
        yield from _path(path, leave_out, limits)


# -- on the disk --------------------------------------------------------------------------------------

_JUNK = frozenset(
    ("__macosx", "thumbs.db", "ehthumbs.db", "desktop.ini", "$recycle.bin", "system volume information")
)


def _is_junk(name: str) -> bool:
    """Whether a file or folder is some system's own: hidden, or an Office lock file, or on the list."""
    return name.startswith((".", "~$")) or name.casefold() in _JUNK


def _path(path: Path, leave_out: Callable[[Path], bool], limits: Limits) -> Iterator[Found]:
    """What was named on the command line: a link is followed here, and only here."""
    try:
        mode = path.stat().st_mode
        whole = path.resolve()
    except (OSError, RuntimeError) as error:  # RuntimeError: Python 3.11 on a loop of links
        yield Found(shown(path.name), None, _cannot_open(error), None)
        return
    if stat.S_ISDIR(mode):
        yield from _folder(whole, leave_out, limits)
        return
    # A loose picture keeps its folders if they were given: they may name the student.
    is_relative = not path.is_absolute() and form_on_disk(path) is not Form.ZIP
    yield from _file(path, shown(str(path) if is_relative else path.name), limits)


def form_on_disk(path: Path) -> Form | None:
    """The form of a file, None if it is none of ours or cannot be opened."""
    try:
        if not stat.S_ISREG(path.stat().st_mode):  # opening a FIFO would wait for ever
            return None
        with path.open("rb") as file:
            return form_of(file.read(HEAD_BYTES))
    except OSError:
        return None


def _folder(root: Path, leave_out: Callable[[Path], bool], limits: Limits) -> Iterator[Found]:
    """Everything below a folder. A stack and not recursion: folders may be nested deeper than Python."""
    stack = [root]
    while stack:
        path = stack.pop()
        try:
            mode = path.lstat().st_mode
            if stat.S_ISDIR(mode):
                names = sorted(os.listdir(path), reverse=True)  # the first name ends on top of the stack
                inside = (path / name for name in names if not _is_junk(name))
                stack.extend(inner for inner in inside if not leave_out(inner))
                continue
            problem = ""
            if stat.S_ISLNK(mode):
                problem = "This is a link to another place. Collect that place itself if it belongs to this."
        except OSError as error:
            problem = _cannot_open(error)
        label = shown(str(Path(root.name) / path.relative_to(root)))
        if problem:
            yield Found(label, None, problem, None)
        else:
            yield from _file(path, label, limits)


def _file(path: Path, label: str, limits: Limits) -> Iterator[Found]:
    try:
        about = path.stat()
        if not stat.S_ISREG(about.st_mode):
            yield Found(label, None, "This is a device or a pipe, not a file.", None)
            return
        dated = _file_time(about.st_mtime)
        file: Stream = path.open("rb")
    except OSError as error:
        yield Found(label, None, _cannot_open(error), None)
        return
    with file:
        allowance = _Allowance(limits, about.st_size)
        try:
            yield from _content(file, about.st_size, label, dated, 0, allowance)
        except _TooMuchError as refusal:
            yield Found(label, dated, str(refusal), None)
        except OSError as error:  # the disk fails, or a stick is pulled out
            yield Found(label, dated, _cannot_open(error), None)


def _file_time(seconds: float) -> datetime | None:
    try:
        return datetime.fromtimestamp(seconds)
    except (OverflowError, ValueError, OSError):
        return None


def _cannot_open(error: OSError | RuntimeError) -> str:
    if isinstance(error, FileNotFoundError):
        return "This is gone: it was listed, but is not there any more."
    if isinstance(error, PermissionError):
        return "This may not be opened. Change its permissions, then collect it again."
    reason = error.strerror if isinstance(error, OSError) and error.strerror else "a loop of links"
    return f"This cannot be opened ({reason})."


# -- in a zip -----------------------------------------------------------------------------------------


class _TooMuchError(Exception):
    """A zip holds more than an honest one does; the message is the problem. The rest of it is left."""


class _Allowance:
    """How much may still come out of one file on the disk, with all zips in it."""

    def __init__(self, limits: Limits, packed: int) -> None:
        self.limits = limits
        self._bytes = limits.free_bytes + limits.ratio * packed
        self._entries = limits.entries

    def entries(self, count: int) -> None:
        self._entries -= count
        if self._entries < 0:
            raise _TooMuchError(
                f"This zip holds more than {self.limits.entries} files, so it was left out. Unpack it and "
                "collect the folder if it is really meant."
            )

    def inflated(self, count: int) -> None:
        self._bytes -= count
        if self._bytes < 0:
            raise _TooMuchError(
                "This zip unpacks to far more than photos would, as a zip bomb does. The rest of it was "
                "left out."
            )


def _content(
    file: Stream, size: int, label: str, dated: datetime | None, depth: int, allowance: _Allowance
) -> Iterator[Found]:
    """One file whose bytes can be had, and what is in it if it is a zip."""
    limits = allowance.limits
    head = file.read(HEAD_BYTES)
    file.seek(0)
    form = form_of(head)
    if form is Form.ZIP:
        yield from _zip(file, size, label, dated, depth, allowance)
    elif not head:
        yield Found(label, dated, "This file is empty. Ask for it again.", file)
    elif size > limits.file_bytes:
        problem = f"This file is larger than {limits.file_bytes // MIB} MB. Hand it in in parts."
        yield Found(label, dated, problem, None)
    elif form is None:
        yield Found(label, dated, f"This is {name_of(head)}, not a picture or PDF.", file)
    else:
        yield Found(label, dated, "", file)


# Only these two ways of packing are for interchange (ISO/IEC 21320-1). The others are hardly met, and
# Python inflates them without a bound on the memory taken.
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
# Names inside that tell other programs' files, which are zips, from zips: OPC (ISO/IEC 29500-2), ODF and
# EPUB (their container specifications), Java; the last two are Apple's.
_OFFICE = frozenset(("[Content_Types].xml", "mimetype", "META-INF/MANIFEST.MF"))
_OFFICE_FOLDERS = ("Index/", "Index.zip")
# What the library raises on damage; NotImplementedError is its word for features that it does not know.
_DAMAGE = (zipfile.BadZipFile, zlib.error, EOFError, struct.error, ValueError, NotImplementedError)


def _zip(
    file: Stream, size: int, label: str, dated: datetime | None, depth: int, allowance: _Allowance
) -> Iterator[Found]:
    limits = allowance.limits
    kept = file if size <= limits.file_bytes else None
    if depth >= limits.depth:
        yield Found(label, dated, f"Zips lie in zips here, more than {limits.depth} deep.", kept)
        return
    try:
        if _directory_bytes(file) > limits.directory_bytes:
            problem = "This zip has an absurdly long list of contents."
            yield Found(label, dated, problem, None)
            return
        archive = zipfile.ZipFile(file)
    except (*_DAMAGE, OSError):  # OSError: its end record leads to before the file's beginning
        problem = "This zip is damaged or was not downloaded whole. Download it again."
        yield Found(label, dated, problem, _rewound(kept))
        return
    with archive:
        entries = [entry for entry in archive.infolist() if not _is_folder(entry)]
        problem = _zip_problem(archive, entries)
        if problem:
            yield Found(label, dated, problem, _rewound(kept))
            return
        allowance.entries(len(entries))
        for entry in entries:
            parts = _parts(_entry_name(entry))
            if not any(map(_is_junk, parts)):
                yield from _entry(archive, entry, shown("/".join((label, *parts))), depth, allowance)


def _rewound(file: Stream | None) -> Stream | None:
    if file:
        file.seek(0)
    return file


def _zip_problem(archive: zipfile.ZipFile, entries: list[zipfile.ZipInfo]) -> str:
    """Why a zip is not gone into at all, or ""."""
    names = {entry.filename for entry in entries}
    if names & _OFFICE or any(name.startswith(_OFFICE_FOLDERS) for name in names):
        return (
            "This is a document of an office program, not a picture or PDF. Save it as a PDF and "
            "collect that."
        )
    if not entries:
        return "This zip is empty."
    if all(_is_locked(entry) for entry in entries):
        return "This zip is locked with a password. Unpack it with the password and collect the folder."
    # Bombs that do without nesting let many entries share the same packed bytes (D. Fifield, "A better
    # zip bomb", 2019). An entry takes at least its header's 30 fixed bytes (APPNOTE.TXT 4.3.7) and its own.
    end = 0
    for entry in sorted(entries, key=lambda entry: entry.header_offset):
        if entry.header_offset < end:
            return "The files in this zip overlap, as in a zip bomb. Nothing in it was opened."
        end = entry.header_offset + 30 + entry.compress_size
    return ""


def _is_folder(entry: zipfile.ZipInfo) -> bool:
    return entry.filename.endswith(("/", "\\")) and entry.file_size == 0


def _is_locked(entry: zipfile.ZipInfo) -> bool:
    return bool(entry.flag_bits & 0x1)  # bit 0: encrypted (APPNOTE.TXT 4.4.4)


def _entry(
    archive: zipfile.ZipFile, entry: zipfile.ZipInfo, label: str, depth: int, allowance: _Allowance
) -> Iterator[Found]:
    dated = _entry_time(entry)
    kind = stat.S_IFMT(entry.external_attr >> 16)  # where Unix tools keep the file's mode
    if kind not in (0, stat.S_IFREG):
        yield Found(label, dated, "This is a link or a device, not a file.", None)
    elif _is_locked(entry):
        problem = "This is locked with a password. Unpack the zip with the password and collect the folder."
        yield Found(label, dated, problem, None)
    elif entry.compress_type not in _METHODS:
        problem = "This is packed in an unusual way. Unpack the zip and collect the folder."
        yield Found(label, dated, problem, None)
    else:
        with tempfile.SpooledTemporaryFile(max_size=16 * MIB) as spool:
            try:
                size = _inflate(archive, entry, spool, allowance)
            except _DAMAGE:
                problem = "This is damaged inside the zip. Download the zip again."
                yield Found(label, dated, problem, None)
                return
            if size > allowance.limits.file_bytes:
                problem = (
                    f"This unpacks to more than {allowance.limits.file_bytes // MIB} MB, as a zip bomb does."
                )
                yield Found(label, dated, problem, None)
                return
            spool.seek(0)
            yield from _content(spool, size, label, dated, depth + 1, allowance)


def _inflate(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, spool: Stream, allowance: _Allowance) -> int:
    """Bytes written to the spool; no more than one chunk above the limit for a file."""
    size = 0
    with archive.open(entry) as packed:
        while size <= allowance.limits.file_bytes:
            try:
                chunk = packed.read(64 * 1024)
            except OSError as error:  # a seek to where no file is; the spool's own errors are not meant
                raise zipfile.BadZipFile("headers lead nowhere") from error
            if not chunk:
                break
            size += len(chunk)
            allowance.inflated(len(chunk))
            spool.write(chunk)
    return size


def _directory_bytes(file: Stream) -> int:
    """How long a zip says its central directory is, the larger of the 32-bit and the 64-bit figure.

    Looked up before `zipfile` loads it. APPNOTE.TXT 4.3.14 to 4.3.16. Raises BadZipFile if there is no end
    record.
    """
    end = file.seek(0, os.SEEK_END)
    start = max(0, end - 22 - 0xFFFF)  # the record's 22 bytes and the longest comment
    file.seek(start)
    tail = file.read()
    at = tail.rfind(b"PK\x05\x06")
    if at < 0 or len(tail) < at + 22:
        raise zipfile.BadZipFile("no end record")
    size = int(struct.unpack_from("<L", tail, at + 12)[0])
    locator = start + at - 20
    if locator >= 56:
        file.seek(locator - 56)
        wide = file.read(76)
        if wide[:4] == b"PK\x06\x06" and wide[56:60] == b"PK\x06\x07":
            size = max(size if size != 0xFFFFFFFF else 0, int(struct.unpack_from("<Q", wide, 40)[0]))
    file.seek(0)
    return size


def _entry_time(entry: zipfile.ZipInfo) -> datetime | None:
    try:
        time = datetime(*entry.date_time)
    except ValueError:  # month 0 and the like
        return None
    return time if time.year > 1980 else None  # 1980-01-01 is what tools without a clock write


def _entry_name(entry: zipfile.ZipInfo) -> str:
    """The name as meant. Many tools write UTF-8 without saying so, which reads as code page 437."""
    if entry.flag_bits & 0x800:  # bit 11: says that it is UTF-8
        return entry.filename
    try:
        return entry.filename.encode("cp437").decode("utf-8")
    except UnicodeError:
        return entry.filename


# -- labels -------------------------------------------------------------------------------------------

_PART_LETTERS = 120
_LABEL_LETTERS = 400


def _parts(name: str) -> list[str]:
    """A name's folders and file, without what would lead elsewhere: roots, drives, `..`."""
    parts = (re.sub(r"^[A-Za-z]:", "", part).strip() for part in re.split(r"[/\\]", name))
    return [part for part in parts if part not in ("", ".", "..")]


def shown(name: str) -> str:
    """A name from outside, fit to be shown and stored: no control characters, no lone surrogates."""
    parts = []
    for part in _parts(unicodedata.normalize("NFC", name)):
        clean = "".join("\N{REPLACEMENT CHARACTER}" if steers(c) else c for c in part)
        if len(clean) > _PART_LETTERS:
            clean = f"{clean[: _PART_LETTERS // 2]}…{clean[-_PART_LETTERS // 2 :]}"
        parts.append(clean)
    label = "/".join(parts)
    return label if len(label) <= _LABEL_LETTERS else f"…{label[-_LABEL_LETTERS:]}"
