"""CSV files that a spreadsheet may open: harmless cells, RFC 4180, written whole or not at all."""

import csv
import io
import os
import re
import tempfile
import unicodedata
from collections.abc import Iterable, Sequence
from pathlib import Path

Cell = str | int | None  # text, a whole number, nothing

# Where a spreadsheet starts to see a formula: OWASP, "CSV Injection", revision of August 2025.
_STARTS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")
_NUMBER = re.compile(r"[+-]?\d+([.,]\d+)?")


def harmless(text: str) -> str:
    """The text with a single quote before it if a spreadsheet would run it as a formula.

    OWASP's cure, which alters the text, so it is kept to cells that need it: a plain number such as
    `-5` is none. Full-width signs and blanks before a sign count as well, since some spreadsheets
    ignore the difference. A separator in mid-text is left alone, as in OWASP's own examples: quoting
    (see `to_csv`) holds it inside its cell wherever the file is read as comma-separated.
    """
    seen = unicodedata.normalize("NFKC", text).lstrip(" ")
    if seen.startswith(_STARTS_A_FORMULA) and not _NUMBER.fullmatch(text):
        return "'" + text
    return text


def to_csv(header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> bytes:
    """RFC 4180: commas, CRLF, quotes where needed; UTF-8 without a byte order mark."""
    return to_exact_csv(
        *([harmless(cell) if isinstance(cell, str) else cell for cell in row] for row in (header, *rows))
    )


def to_exact_csv(*rows: Sequence[Cell]) -> bytes:
    """The same, with every cell to the letter: for programs that take ids, not for spreadsheets."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)  # its defaults are RFC 4180's
    writer.writerows(rows)
    return text.getvalue().encode("utf-8")


def write_whole(path: Path, content: bytes) -> None:
    """Write beside the file, then rename over it: a stopped program leaves the old file or the new.

    Raises OSError where the folder cannot be written or the file is held open by another program.
    """
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        # mkstemp makes the file private; give it what any new file of this user would have
        umask = os.umask(0)
        os.umask(umask)
        os.chmod(name, 0o666 & ~umask)
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
