"""What commands have left in a challenge's folder, known by what is in it, whatever it is called.

So a file that was written with --out into the folder is found as well, and one of somebody else's that has
the usual name of one of ours is not taken for it.
"""

import os
import re
import zipfile
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from ingest.ledger.store import FILE_NAME as LEDGER
from ingest.plan.challenge import FILE_NAME as PLAN
from ingest.plan.new import ROSTER_NAME
from ingest.plan.oneroster import BROKEN_ZIP
from ingest.report import award_csv, comparison, gradebook, readings, returns, trail
from ingest.report.class_figures import FILE_NAME as FIGURES
from ingest.report.oneroster import FILES, MANIFEST, OURS
from ingest.spans import SEPARATORS, decode, split

ORIGINALS, PAGES = "originals", "pages"
PICTURES = "-pictures"  # how folders beside review sheets end

# What a header must have to be that of a table of ours, in any order: people move columns about. Review
# sheets come from a room that this one may not look into; a test compares them.
_HEADERS = (
    frozenset(gradebook.COLUMNS),
    frozenset(readings.COLUMNS),
    frozenset(returns.COLUMNS),
    frozenset(award_csv.COLUMNS),
    frozenset(trail.COLUMNS),
    frozenset(comparison.COLUMNS),
    frozenset({"student_id", "state", "why", "reminder"}),  # missing
    frozenset({"student_id", "readings", "not_read", "message", "file"}),  # slips
    frozenset({"student_id", "box", "suggestion", "why", "picture", "answer"}),  # review sheets
)
_HEADER_WITHIN = 20  # rows: people put titles above tables
_LOOKED_AT = 16_384  # bytes of a file's beginning
_LARGEST_PDF = 300_000_000
_DEEPEST = 5  # folders within folders

_BY_DAYBOX = b"/Creator (Daybox "
_IMAGE = b"/Subtype /Image"
_PAGE = b'<meta name="generator" content="Daybox">'
_LAYOUT = b'{"version":1,"challenge":'
_DRAWN = re.compile(r"(calendar|sections|totals|poster|comparison)(-\d+)?\.png")
_SHEET_PICTURE = re.compile(r"page-\d+(-[\w-]+)?\.png")
# What `write_whole` leaves where it is killed.
_HALF_WRITTEN = re.compile(r"\..+\.(csv|pdf|png|html|json|zip|toml)\.[a-z0-9_]{8}")


@dataclass(frozen=True, slots=True)
class Trace:
    """A file that a command wrote. is_pictured: it shows what was handed in."""

    path: Path
    is_pictured: bool


@dataclass(frozen=True, slots=True)
class Survey:
    """What lies in a challenge's folder besides plan, roster, ledger and what was handed in.

    traces: what commands wrote. others: what is left, files by themselves, folders as one.
    """

    traces: Sequence[Trace]
    others: Sequence[Path]


def survey(folder: Path) -> Survey:
    """Look through a challenge's folder and the folders in it; other challenges in it are left out."""
    traces: list[Trace] = []
    others: dict[Path, None] = {}
    for path in _files(folder, folder, _DEEPEST):
        top = folder / path.relative_to(folder).parts[0]
        found = None
        with suppress(OSError):  # of a link to nowhere, or what may not be read: somebody else's
            found = _trace(path)
        if found:
            traces.append(found)
        elif not (path == top and _is_plan(path)):
            others[top] = None
    # By its manifest a package is known, so that goes last: what is stopped must be known again.
    traces.sort(key=lambda each: each.path.name == MANIFEST)
    return Survey(tuple(traces), tuple(others))


def _files(folder: Path, top: Path, deeper: int) -> Iterator[Path]:
    entries = sorted(os.scandir(folder), key=lambda entry: entry.name)
    for entry in entries:
        path = folder / entry.name
        if entry.is_dir(follow_symlinks=False):
            is_kept = folder == top and entry.name in (ORIGINALS, PAGES)
            is_another = (path / PLAN).exists() or (path / LEDGER).exists()
            if deeper and not (is_kept or is_another or entry.name.startswith(".")):
                yield from _files(path, top, deeper - 1)
        elif not (folder == top and (entry.name == ROSTER_NAME or entry.name.startswith(LEDGER))):
            yield path


def _is_plan(path: Path) -> bool:
    """The plan, designs of one's own, and figures without names."""
    return path.suffix == ".toml" or path.name == FIGURES or path.name.startswith(".")


def _trace(path: Path) -> Trace | None:
    ending = path.suffix.lower()
    if _HALF_WRITTEN.fullmatch(path.name):
        return Trace(path, is_pictured=True)  # who knows
    if ending == ".pdf" and path.stat().st_size <= _LARGEST_PDF:
        content = path.read_bytes()
        return Trace(path, _IMAGE in content) if _BY_DAYBOX in content else None
    if ending == ".png":
        is_of_sheet = path.parent.name.endswith(PICTURES) and _SHEET_PICTURE.fullmatch(path.name)
        return Trace(path, bool(is_of_sheet)) if is_of_sheet or _DRAWN.fullmatch(path.name) else None
    if ending in (".html", ".htm"):
        return Trace(path, is_pictured=True) if _PAGE in _beginning(path) else None
    if path.name.endswith(".layout.json"):
        return Trace(path, is_pictured=False) if _beginning(path).startswith(_LAYOUT) else None
    if ending == ".csv":
        is_ours = _is_ours(_beginning(path)) or (path.name in FILES and _is_of_package(path.parent))
        return Trace(path, is_pictured=False) if is_ours else None
    if ending == ".zip":
        return Trace(path, is_pictured=False) if _is_package(path) else None
    return None


def _is_of_package(folder: Path) -> bool:
    manifest = folder / MANIFEST
    return manifest.is_file() and OURS in _beginning(manifest)


def _is_package(path: Path) -> bool:
    try:
        with zipfile.ZipFile(path) as package, package.open(MANIFEST) as manifest:
            return OURS in manifest.read(_LOOKED_AT)
    except (KeyError, *BROKEN_ZIP):
        return False


def _beginning(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(_LOOKED_AT)


def _is_ours(beginning: bytes) -> bool:
    """Whether a table has one of our headers."""
    is_wide = beginning.startswith((b"\xff\xfe", b"\xfe\xff"))  # UTF-16; else a letter may be cut in two
    end = len(beginning) // 2 * 2 if is_wide else beginning.rfind(b"\n") + 1
    found = decode(beginning[: end or None])
    if found is None:
        return False
    return any(
        header <= set(row.texts)
        for separator in SEPARATORS
        for row in split(found.text, separator)[:_HEADER_WITHIN]
        for header in _HEADERS
    )
