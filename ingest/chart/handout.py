"""A file for each chart, to be handed out one by one: how it is called."""

import unicodedata
from collections.abc import Sequence
from pathlib import PurePath

from ingest.chart.charts import Chart

_PART_MOST = 60  # letters of a folder's or a file's name; file systems take 255 bytes
_SPARE = "Spare charts"


def file_names(charts: Sequence[Chart], ending: str = ".pdf") -> list[PurePath]:
    """A path for each chart, relative, all different: `Period 2/Yusuf Amina S001.pdf`.

    Class sites show files by name, so a student's begins with the last name; the id tells namesakes apart.
    """
    names: list[PurePath] = []
    taken: set[str] = set()
    for chart in charts:
        if chart.student is None:
            folder, name = _SPARE, chart.code
        else:
            student = chart.student
            folder = student.section
            name = f"{student.last_name} {student.first_name} {student.id}"
        stem, path = _fit(name), PurePath()
        for copy in range(1, len(charts) + 2):
            path = PurePath(_fit(folder), f"{stem}{f' {copy}' if copy > 1 else ''}{ending}")
            if str(path).casefold() not in taken:  # as file systems that ignore capitals see it
                break
        taken.add(str(path).casefold())
        names.append(path)
    return names


def _fit(name: str) -> str:
    """A name that every file system takes: without its special signs, not too long, never a device's."""
    plain = "".join(
        "_" if letter in '<>:"/\\|?*' or unicodedata.category(letter) in ("Cc", "Cf", "Cs", "Cn") else letter
        for letter in unicodedata.normalize("NFC", name)
    )
    plain = " ".join(plain.split())[:_PART_MOST].strip(" .")
    if not plain or plain.split(".")[0].upper() in _DEVICES:
        return f"_{plain}"
    return plain


# Names that Windows keeps for devices, with any ending.
_DEVICES = {"CON", "PRN", "AUX", "NUL", *(f"{kind}{n}" for kind in ("COM", "LPT") for n in range(1, 10))}
