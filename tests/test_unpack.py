"""Taking downloads apart, whatever is in them."""

import os
import sys
import tempfile
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import IO

import pytest
from hostile.making import entry, jpeg, locked, nested, zipped
from hostile.table import CASES, LIMITS, Case
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.collect.pictures import open_pages
from ingest.collect.unpack import Found, walk
from ingest.errors import PictureError


def seen(*paths: Path) -> dict[str, str]:
    """Labels in the order in which they come, and problems."""
    return {found.label: found.problem for found in walk(paths)}


def outcome(found: Found, folder: Path) -> str:
    """As in the hostile table."""
    if found.problem:
        return found.problem
    assert found.content is not None
    path = folder / "content"
    path.write_bytes(found.content.read())
    try:
        pages = list(open_pages(path))
    except PictureError as error:
        return str(error)
    return next((page.problem for page in pages if page.problem), f"{len(pages)} pages")


def test_hostile_table_is_whole() -> None:
    assert len(CASES) == len({case.name for case in CASES}) == 65


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_hostile_file_ends_as_the_table_says(case: Case, tmp_path: Path) -> None:
    path = tmp_path / case.name
    path.write_bytes(case.make())
    became = {found.label: outcome(found, tmp_path) for found in walk([path], limits=LIMITS)}
    assert list(became) == list(case.outcome)
    for label, expected in case.outcome.items():
        assert expected in became[label]


def test_same_name_twice_in_a_zip_is_two_files(tmp_path: Path) -> None:
    with pytest.warns(UserWarning, match="Duplicate name"):
        data = zipped([("1.jpg", jpeg()), ("1.jpg", jpeg("L"))])
    (tmp_path / "a.zip").write_bytes(data)
    contents = [found.content.read() for found in walk([tmp_path / "a.zip"]) if found.content]
    assert contents == [jpeg(), jpeg("L")]


# -- folders ------------------------------------------------------------------------------------------


@pytest.fixture
def pile(tmp_path: Path) -> Path:
    pile = tmp_path / "october"
    (pile / "Maria Lopez").mkdir(parents=True)
    (pile / "Maria Lopez" / "IMG_1.jpg").write_bytes(jpeg())
    (pile / "a.zip").write_bytes(zipped({"Ben/2.jpg": jpeg(), "Ben/more.zip": zipped({"3.jpg": jpeg()})}))
    return pile


def test_folders_and_zips_are_walked_in_the_order_of_names(pile: Path) -> None:
    assert list(seen(pile)) == [
        "october/Maria Lopez/IMG_1.jpg",
        "october/a.zip/Ben/2.jpg",
        "october/a.zip/Ben/more.zip/3.jpg",
    ]


def test_a_zip_is_labelled_by_its_name_and_a_loose_picture_by_what_was_given(
    pile: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(pile.parent)
    given = [Path("october/a.zip"), Path("october/Maria Lopez/IMG_1.jpg"), pile / "Maria Lopez/IMG_1.jpg"]
    assert [found.label for found in walk(given)] == [
        "a.zip/Ben/2.jpg",
        "a.zip/Ben/more.zip/3.jpg",
        "october/Maria Lopez/IMG_1.jpg",
        "IMG_1.jpg",
    ]


def test_hidden_files_and_folders_are_passed_over_unless_named(pile: Path) -> None:
    (pile / ".hidden").mkdir()
    (pile / ".hidden" / "a.jpg").write_bytes(jpeg())
    (pile / ".b.jpg").write_bytes(jpeg())
    assert not any("hidden" in label or ".b" in label for label in seen(pile))
    assert seen(pile / ".b.jpg") == {".b.jpg": ""}


def test_what_is_to_be_left_out_is_asked_for_inside_folders(pile: Path) -> None:
    found = [found.label for found in walk([pile], leave_out=lambda path: path == pile / "Maria Lopez")]
    assert found == ["october/a.zip/Ben/2.jpg", "october/a.zip/Ben/more.zip/3.jpg"]


def test_links_in_folders_are_named_and_not_followed(pile: Path) -> None:
    (pile / "Maria Lopez" / "loop").symlink_to(pile, target_is_directory=True)
    (pile / "self").symlink_to(pile / "self")
    (pile / "way-out.jpg").symlink_to("/etc/passwd")
    problems = {label: problem for label, problem in seen(pile).items() if problem}
    assert list(problems) == ["october/Maria Lopez/loop", "october/self", "october/way-out.jpg"]
    assert all("link to another place" in problem for problem in problems.values())


def test_a_link_that_was_named_is_followed_and_a_loop_is_a_problem(pile: Path) -> None:
    (pile.parent / "here").symlink_to(pile / "Maria Lopez")
    (pile.parent / "self").symlink_to(pile.parent / "self")
    assert seen(pile.parent / "here") == {"Maria Lopez/IMG_1.jpg": ""}
    assert "cannot be opened" in seen(pile.parent / "self")["self"]


def test_pipes_and_devices_are_not_opened(pile: Path) -> None:
    os.mkfifo(pile / "Maria Lopez" / "pipe.jpg")
    assert "device or a pipe" in seen(pile)["october/Maria Lopez/pipe.jpg"]
    assert seen(Path("/dev/zero")) == {"zero": "This is a device or a pipe, not a file."}


def test_files_that_may_not_be_read_or_are_gone_are_named_and_the_rest_goes_on(
    pile: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Root may read anything, so the refusal is put in by hand."""
    for name in ("gone.jpg", "secret.jpg"):
        (pile / name).write_bytes(jpeg())
    (pile / "shut").mkdir()
    opened, listed = Path.open, os.listdir

    def refuse_open(path: Path, mode: str) -> object:
        errors = {"secret.jpg": PermissionError(13, "no"), "gone.jpg": FileNotFoundError(2, "gone")}
        if path.name in errors:
            raise errors[path.name]
        return opened(path, mode)

    def refuse_list(path: Path) -> list[str]:
        if path.name == "shut":
            raise PermissionError(13, "no")
        return listed(path)

    monkeypatch.setattr(Path, "open", refuse_open)
    monkeypatch.setattr(os, "listdir", refuse_list)
    became = seen(pile)
    assert "gone" in became["october/gone.jpg"]
    assert "may not be opened" in became["october/secret.jpg"]
    assert "may not be opened" in became["october/shut"]
    assert became["october/a.zip/Ben/2.jpg"] == ""


def test_folders_nested_deeper_than_python_recurses_are_walked(tmp_path: Path) -> None:
    folders = [tmp_path / "/".join("d" * depth) for depth in range(1, sys.getrecursionlimit() + 100)]
    for folder in folders:
        folder.mkdir()
    picture = folders[-1] / "a.jpg"
    picture.write_bytes(jpeg())
    try:
        ((label, problem),) = seen(folders[0]).items()
    finally:  # shutil, with which pytest cleans up, recurses
        picture.unlink()
        for folder in reversed(folders):
            folder.rmdir()
    assert label.endswith("/d/d/a.jpg")
    assert len(label) <= 401
    assert problem == ""


def test_names_that_are_no_unicode_are_shown_with_a_mark(tmp_path: Path) -> None:
    Path(os.fsdecode(os.fsencode(tmp_path) + b"/Jos\xe9.jpg")).write_bytes(jpeg())
    (label,) = seen(tmp_path)
    assert label.endswith("/Jos�.jpg")
    label.encode()  # can be stored


# -- time and memory ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("date", "expected"),
    [
        ((2027, 11, 1, 8, 30, 2), datetime(2027, 11, 1, 8, 30, 2)),
        ((1980, 1, 1, 0, 0, 0), None),  # what tools without a clock write
        ((2027, 0, 1, 0, 0, 0), None),
    ],
)
def test_entries_are_dated_by_the_zip(
    date: tuple[int, int, int, int, int, int], expected: datetime | None, tmp_path: Path
) -> None:
    (tmp_path / "a.zip").write_bytes(zipped([(entry("a.jpg", date=date), jpeg())]))
    assert [found.dated for found in walk([tmp_path / "a.zip"])] == [expected]


def test_files_are_dated_by_their_change(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(jpeg())
    when = datetime(2027, 11, 1, 8, 30)
    os.utime(tmp_path / "a.jpg", (when.timestamp(), when.timestamp()))
    assert [found.dated for found in walk([tmp_path / "a.jpg"])] == [when]


def test_one_file_is_open_at_a_time(pile: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    spools: list[IO[bytes]] = []
    make = tempfile.SpooledTemporaryFile

    def spool(max_size: int) -> IO[bytes]:
        spools.append(make(max_size=max_size))
        return spools[-1]

    monkeypatch.setattr(tempfile, "SpooledTemporaryFile", spool)
    for _ in walk([pile]):
        assert sum(not spool.closed for spool in spools) <= 2  # one, and the zip that it lies in
    assert len(spools) == 3
    assert all(spool.closed for spool in spools)


def test_a_bad_file_keeps_its_content_from_the_beginning(tmp_path: Path) -> None:
    for name, data in (("a.zip", locked(zipped({"a.jpg": jpeg()}))), ("b.docx", zipped({"mimetype": b"x"}))):
        (tmp_path / name).write_bytes(data)
        walked = walk([tmp_path / name])
        found = next(walked)
        assert found.problem
        assert found.content is not None
        assert found.content.read() == data


def _zips() -> Iterator[bytes]:
    yield zipped({"Ana/a.jpg": jpeg(), "b.txt": b"hello"})
    yield nested(2, "a.jpg", jpeg())


@given(data=st.data(), whole=st.sampled_from(tuple(_zips())))
@settings(max_examples=60, deadline=None)
def test_no_damage_to_a_zip_raises(data: st.DataObject, whole: bytes) -> None:
    """Most changes are made to headers: those are what the code has to believe or not."""
    changed = bytearray(whole)
    for _ in range(data.draw(st.integers(1, 4))):
        far = data.draw(st.integers(0, min(120, len(changed) - 1)))
        at = data.draw(st.sampled_from((far, len(changed) - 1 - far)))
        changed[at] = data.draw(st.integers(0, 255))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.zip"
        path.write_bytes(changed)
        for found in walk([path], limits=LIMITS):
            if found.content and not found.problem:
                found.content.read()
