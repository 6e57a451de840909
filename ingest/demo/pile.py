"""The pile that comes back: fills the made-up school's charts in, photographs and packs them.

Every file is made from a printed page and a pen; nothing of the truth goes into it.
"""

import io
import json
import os
import zipfile
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pillow_heif
import pypdfium2
from PIL import Image, ImageOps

from ingest.demo.camera import HARD, ORDINARY, Severity, flatbed, photograph
from ingest.demo.diary import Diary, any_habits, areas_of, keep_diary
from ingest.demo.fill import Entry, Mishap, Writer, any_writer, fill
from ingest.demo.hands import load_hands
from ingest.demo.ink import Picture
from ingest.demo.school import CAT, PUPILS, SECOND_TRY, Story, handed_in_at
from ingest.paper import Box

PAGE_DPI = 220
PHONE = replace(ORDINARY, megapixels=(2, 3, 5, 8))


@dataclass(frozen=True, slots=True)
class Printed:
    """What `daybox charts` left: the PDF, and the public layout beside it."""

    pdf: Path
    layout: Mapping[str, Any]

    @classmethod
    def of(cls, pdf: Path) -> "Printed":
        return cls(pdf, json.loads(pdf.with_suffix(".layout.json").read_text(encoding="utf-8")))

    def page_of(self, student: str) -> Mapping[str, Any]:
        """The student's page; "" for the first spare one. Raises StopIteration if there is none."""
        page: Mapping[str, Any] = next(page for page in self.layout["pages"] if page["student_id"] == student)
        return page


@dataclass(frozen=True, slots=True)
class Job:
    """One page to be filled in and taken a picture of.

    camera: None for the flatbed scanner of the school office. cover: what a sticky note hides, mm.
    seeds: for the writing and for the picture, so that one sheet can be taken twice.
    """

    printed: Printed
    page: Mapping[str, Any]
    entries: Mapping[str, Entry]
    writer: Writer
    camera: Severity | None
    cover: Box | None
    seeds: tuple[int, int]


@dataclass(frozen=True, slots=True)
class Pile:
    """paths: what to hand to `daybox collect`. diaries: the truth; None where nothing usable came back.

    whose: path of a file in the pile to whom each of its pages belongs: a student id or "not ours".
    """

    paths: Sequence[Path]
    diaries: Mapping[str, Diary | None]
    whose: Mapping[str, Sequence[str]]

    def owner(self, path: str, page: int) -> str:
        """Whose page `page` (from 1) of a return is; path as `daybox collect` calls it. "" if unknown."""
        for known, owners in self.whose.items():
            if known.endswith(path) or path.endswith(known):
                return owners[page - 1]
        return ""


def make_pile(folder: Path, printed: Printed, september: Printed, code_area: Box, seed: int) -> Pile:
    """Write the pile into `folder` (made if need be).

    september: the month before's charts. code_area: where code and letters stand, mm.
    """
    rng = np.random.default_rng(seed)
    hands = load_hands()
    diaries: dict[str, Diary | None] = {}
    whose: dict[str, list[str]] = {}
    jobs: list[tuple[str, datetime, Job]] = []
    for number, pupil in enumerate(PUPILS):
        own = np.random.default_rng([seed, number])
        writer = any_writer(hands[number % len(hands)], own)
        source = september if pupil.story is Story.WRONG_MONTH else printed
        page = source.page_of("" if pupil.story is Story.SPARE else pupil.id)
        diary = keep_diary(areas_of(page), any_habits(own), writer.hand, own)
        if pupil.story is Story.SMUDGED:
            diary = replace(diary, entries=_smudged(diary.entries))
        unusable = pupil.story in (Story.MISSING, Story.WRONG_MONTH)
        diaries[pupil.id] = None if unusable else diary
        if pupil.story is Story.MISSING:
            continue
        job = Job(
            printed=source,
            page=page,
            entries=diary.entries,
            writer=writer,
            camera=None if pupil.path.endswith((".tif", ".pdf")) else PHONE,
            cover=code_area if pupil.story is Story.COVERED else None,
            seeds=(int(rng.integers(2**32)), int(rng.integers(2**32))),
        )
        whose.setdefault(pupil.path, []).append("not ours" if unusable else pupil.id)
        when = handed_in_at(pupil)
        if pupil.story is Story.TWICE:
            before = replace(job, entries=_before_the_change(diary.entries))
            jobs.append((pupil.path, when, before))
            whose[SECOND_TRY] = [pupil.id]
            later = replace(job, seeds=(job.seeds[0], int(rng.integers(2**32))))
            jobs.append((SECOND_TRY, when.replace(hour=22), later))
        else:
            jobs.append((pupil.path, when, job))
    files = _files(jobs)
    whose[CAT] = ["not ours"]
    files[CAT] = (datetime(2027, 10, 31, 20, 3), _cat(rng))
    return Pile(_pack(folder, files), diaries, whose)


def _smudged(entries: Mapping[str, Entry]) -> dict[str, Entry]:
    """Every second written box gets the sleeve."""
    return {
        name: replace(entry, mishap=Mishap.SMUDGED, earlier="") if entry.text and index % 2 else entry
        for index, (name, entry) in enumerate(entries.items())
    }


def _before_the_change(entries: Mapping[str, Entry]) -> dict[str, Entry]:
    """The same chart with its third written day as it stood before it was corrected."""
    day = [name for name, entry in entries.items() if name.startswith("day:") and entry.text.isdigit()][2]
    was = "15" if entries[day].text != "15" else "40"
    return {**entries, day: Entry(was)}


def _files(jobs: Sequence[tuple[str, datetime, Job]]) -> dict[str, tuple[datetime, bytes]]:
    """Path in the pile to time and bytes, in the order of the jobs."""
    workers = min(4, os.cpu_count() or 1)
    pages: dict[str, list[bytes]] = {}
    times: dict[str, datetime] = {}
    # One thread each: OpenCV's own would only wait for one another.
    with ProcessPoolExecutor(workers, initializer=cv2.setNumThreads, initargs=(1,)) as pool:
        pictures = pool.map(take_picture, [job for _, _, job in jobs])
        for (path, when, _), picture in zip(jobs, pictures, strict=True):
            pages.setdefault(path, []).append(picture)
            times[path] = when
        files = pool.map(as_file, pages.values(), pages)
        return {path: (times[path], data) for path, data in zip(pages, files, strict=True)}


def take_picture(job: Job) -> bytes:
    """Print the page, fill it in, and take its picture: JPEG bytes."""
    layout = job.printed.layout
    page = print_page(job.printed.pdf, job.page["page"])
    writing, picture = (np.random.default_rng(seed) for seed in job.seeds)
    fill(page, PAGE_DPI / 25.4, areas_of(job.page), job.entries, job.writer, writing)
    if job.cover:
        _stick_note(page, job.cover)
    size = (layout["width_mm"], layout["height_mm"])
    if job.camera is None:
        return flatbed(page, size, picture)
    return photograph(page, size, picture, job.camera).jpeg


def print_page(pdf: Path, number: int) -> Picture:
    """Page `number` (from 1) of a PDF as RGB pixels, PAGE_DPI to the inch."""
    with pypdfium2.PdfDocument(pdf) as document:
        image = document[number - 1].render(scale=PAGE_DPI / 72).to_pil().convert("RGB")
    return np.asarray(image).copy()


def _stick_note(page: Picture, area: Box) -> None:
    """A yellow note over `area`, a little askew."""
    k = PAGE_DPI / 25.4
    x, y = area.centre
    note = cv2.boxPoints(((x * k, y * k), ((area.width + 5) * k, (area.height + 5) * k), 4.0))
    cv2.fillConvexPoly(page, np.rint(note).astype(np.int32), (247, 232, 130), cv2.LINE_AA)


def as_file(jpegs: Sequence[bytes], path: str) -> bytes:
    """Pictures in the format that the path's ending names; several become pages."""
    ending = path.rpartition(".")[2].lower()
    if ending in ("jpg", "jpeg"):
        return jpegs[0]
    images = [ImageOps.exif_transpose(Image.open(io.BytesIO(jpeg))).convert("RGB") for jpeg in jpegs]
    buffer = io.BytesIO()
    if ending == "heic":
        # The usual preset takes nine seconds for five megapixels.
        pillow_heif.from_pillow(images[0]).save(buffer, quality=60, enc_params={"preset": "ultrafast"})
    elif ending == "tif":
        grey = [image.convert("L") for image in images]
        grey[0].save(buffer, "TIFF", compression="tiff_lzw", save_all=True, append_images=grey[1:])
    elif ending == "pdf":
        images[0].save(buffer, "PDF", resolution=200, save_all=True, append_images=images[1:])
    else:
        images[0].save(buffer, {"png": "PNG", "webp": "WEBP"}[ending])
    return buffer.getvalue()


def _pack(folder: Path, files: Mapping[str, tuple[datetime, bytes]]) -> list[Path]:
    """Put every file where its path says; `a.zip/b` goes into a zip, and zips into zips."""
    zips: dict[str, dict[str, tuple[datetime, bytes]]] = {}
    tops = set()
    for path, (when, data) in files.items():
        outer, inside, rest = path.partition(".zip/")
        top = folder / (f"{outer}.zip" if inside else path.split("/")[0])
        tops.add(top)
        if inside:
            zips.setdefault(f"{outer}.zip", {})[rest] = (when, data)
            continue
        target = folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)
        os.utime(target, (when.timestamp(), when.timestamp()))
    for name, members in zips.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(_zipped(members))
    return sorted(tops)


def _zipped(members: Mapping[str, tuple[datetime, bytes]]) -> bytes:
    nested: dict[str, dict[str, tuple[datetime, bytes]]] = {}
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:  # stored: photos do not shrink any more
        for path, (when, data) in members.items():
            outer, inside, rest = path.partition(".zip/")
            if inside:
                nested.setdefault(f"{outer}.zip", {})[rest] = (when, data)
            else:
                archive.writestr(zipfile.ZipInfo(path, when.timetuple()[:6]), data)
        for name, parts in nested.items():
            latest = max(when for when, _ in parts.values())
            archive.writestr(zipfile.ZipInfo(name, latest.timetuple()[:6]), _zipped(parts))
    return buffer.getvalue()


def _cat(rng: np.random.Generator) -> bytes:
    """A drawing of a cat, photographed: as far from a chart as families go."""
    page = np.full((1000, 1300, 3), 250, np.uint8)
    grey, dark, pink = (150, 140, 130), (60, 50, 45), (230, 150, 160)
    for ear in ([[400, 330], [440, 120], [590, 250]], [[900, 330], [860, 120], [710, 250]]):
        cv2.fillConvexPoly(page, np.array(ear), grey, cv2.LINE_AA)
    cv2.ellipse(page, (650, 480), (300, 270), 0, 0, 360, grey, -1, cv2.LINE_AA)
    for x in (540, 760):
        cv2.ellipse(page, (x, 430), (55, 65), 0, 0, 360, (190, 210, 90), -1, cv2.LINE_AA)
        cv2.ellipse(page, (x, 430), (16, 58), 0, 0, 360, dark, -1, cv2.LINE_AA)
    cv2.fillConvexPoly(page, np.array([[620, 530], [680, 530], [650, 565]]), pink, cv2.LINE_AA)
    for side in (-1, 1):
        cv2.ellipse(page, (650 + side * 40, 570), (40, 35), 0, 0, 180, dark, 6, cv2.LINE_AA)
        for tilt in (-40, 0, 40):
            cv2.line(page, (650 + side * 90, 560), (650 + side * 330, 550 + tilt), dark, 4, cv2.LINE_AA)
    return photograph(page, (279.4, 215.0), rng, replace(HARD, megapixels=(3,))).jpeg
