"""Crops as characters and as terminal graphics."""

import base64
import re
import shutil
import subprocess
import unicodedata
from pathlib import Path

import cv2
import numpy as np
import pytest

from ingest.reading.values import Grey
from ingest.review.graphics import Graphics, announced, drawn, sixels
from ingest.review.picture import QUARTERS, blocks, fit, shading, spread


def halves(left: int, right: int) -> Grey:
    """A picture of two plain halves."""
    picture = np.full((60, 120), left, np.uint8)
    picture[:, 60:] = right
    return picture


def grey_of(picture: Grey, columns: int, rows: int) -> Grey:
    """What `blocks` puts on the screen, two pixels a cell each way."""
    lines = []
    for line in blocks(picture, columns, rows):
        upper: list[int] = []
        lower: list[int] = []
        for run in line:
            for glyph in run.text:
                shape = QUARTERS.index(glyph)
                quarter = [run.ink if shape >> bit & 1 else run.paper for bit in range(4)]
                upper += quarter[:2]
                lower += quarter[2:]
        lines += [upper, lower]
    return np.array(lines, np.uint8)


def test_quarter_blocks_are_those_that_unicode_names() -> None:
    for shape, glyph in enumerate(QUARTERS[1:-1], 1):
        name = unicodedata.name(glyph)
        halves_named = {"UPPER HALF": 3, "LOWER HALF": 12, "LEFT HALF": 5, "RIGHT HALF": 10}
        quarters_named = {"UPPER LEFT": 1, "UPPER RIGHT": 2, "LOWER LEFT": 4, "LOWER RIGHT": 8}
        known = halves_named if "HALF" in name else quarters_named
        assert sum(value for words, value in known.items() if words in name) == shape, name


@pytest.mark.parametrize(("columns", "rows"), [(76, 16), (1, 1), (10, 40), (200, 3)])
@pytest.mark.parametrize("shape", [(96, 174), (1, 500), (500, 1), (3, 3)])
def test_pictures_stay_within_the_room_they_are_given(
    columns: int, rows: int, shape: tuple[int, int]
) -> None:
    picture = np.random.default_rng(1).integers(0, 255, shape, np.uint8)
    for lines in (
        ["".join(run.text for run in line) for line in blocks(picture, columns, rows)],
        shading(picture, columns, rows),
    ):
        assert 1 <= len(lines) <= rows
        assert max(map(len, lines)) <= columns


def test_a_picture_keeps_its_shape_in_cells_twice_as_tall_as_wide() -> None:
    assert fit(np.zeros((100, 200), np.uint8), 80, 99) == (80, 20)
    assert fit(np.zeros((100, 200), np.uint8), 999, 20) == (80, 20)


def test_blocks_show_a_dark_half_dark_and_a_light_half_light() -> None:
    seen = grey_of(halves(40, 200), 40, 10)
    assert seen.shape == (20, 80)
    assert (seen[:, :40] <= 60).all()
    assert (seen[:, 40:] == 255).all()


def test_blocks_keep_a_thin_slanted_stroke() -> None:
    picture = np.full((96, 174), 205, np.uint8)
    cv2.line(picture, (60, 80), (110, 16), 100, 4, cv2.LINE_AA)
    seen = grey_of(picture, 58, 16)
    wanted = cv2.resize(spread(picture), (seen.shape[1], seen.shape[0]), interpolation=cv2.INTER_AREA)
    assert np.corrcoef(seen.ravel(), np.asarray(wanted).ravel())[0, 1] > 0.95
    # The ruler: the stroke slanting the other way is no match.
    assert np.corrcoef(seen[:, ::-1].ravel(), np.asarray(wanted).ravel())[0, 1] < 0.5


def test_a_blank_box_stays_blank() -> None:
    grain = np.random.default_rng(2).normal(200, 5, (96, 174)).astype(np.uint8)
    assert (grey_of(grain, 58, 16) > 200).all()
    assert set("".join(shading(grain, 58, 16))) <= set(" .")


def test_faint_pencil_comes_out() -> None:
    picture = np.full((96, 174), 210, np.uint8)
    cv2.line(picture, (87, 10), (87, 86), 160, 8)
    assert grey_of(picture, 58, 16).min() < 130  # paper is 255; undone, it would be 160 on 210


def test_black_print_around_the_box_does_not_make_its_pencil_fainter() -> None:
    picture = np.full((96, 174), 210, np.uint8)
    cv2.line(picture, (87, 10), (87, 86), 160, 8)
    picture[:8] = 10
    assert grey_of(picture, 58, 16)[4:].min() < 130


def test_shading_is_plain_ascii_and_shows_ink_where_ink_is() -> None:
    lines = shading(halves(255, 0), 40, 10)
    assert all(line.isascii() for line in lines)
    assert {line[:20] for line in lines} == {" " * 20}
    assert {line[20:] for line in lines} == {"@" * 20}


@pytest.mark.parametrize("shape", [(0, 0), (0, 5)])
def test_an_empty_picture_is_drawn_as_paper(shape: tuple[int, int]) -> None:
    nothing = np.zeros(shape, np.uint8)
    assert "".join(shading(nothing, 10, 5)) == ""
    assert (grey_of(nothing, 10, 5) == 255).all()


@pytest.mark.parametrize(
    ("environ", "graphics"),
    [
        ({"TERM": "xterm-kitty"}, Graphics.KITTY),
        ({"TERM": "xterm-256color", "TERM_PROGRAM": "iTerm.app"}, Graphics.INLINE),
        ({"TERM": "foot"}, Graphics.SIXEL),
        ({"TERM": "xterm-256color"}, Graphics.NONE),
        ({}, Graphics.NONE),
        ({"TERM": "tmux-256color", "TERM_PROGRAM": "iTerm.app"}, Graphics.NONE),
        ({"TERM": "xterm-kitty", "TMUX": "/tmp/tmux-1000/default,1,0"}, Graphics.NONE),
        ({"TERM": "dumb", "TERM_PROGRAM": "WezTerm"}, Graphics.NONE),
    ],
)
def test_graphics_are_used_only_where_the_terminal_announces_them(
    environ: dict[str, str], graphics: Graphics
) -> None:
    assert announced(environ) is graphics


def test_kitty_pieces_join_to_the_picture_and_obey_the_size_limit() -> None:
    picture = np.random.default_rng(3).integers(0, 255, (96, 174), np.uint8)  # grain: a large PNG
    sent = drawn(Graphics.KITTY, picture, 50, 14, None)
    pieces = re.findall(r"\x1b_G([^;]*);([^\x1b]*)\x1b\\", sent)
    assert "".join(f"\x1b_G{control};{data}\x1b\\" for control, data in pieces) == sent
    assert len(pieces) > 1
    assert all(len(data) <= 4096 for _, data in pieces)
    assert [control.endswith("m=1") for control, _ in pieces] == [True] * (len(pieces) - 1) + [False]
    assert "c=50,r=14" in pieces[0][0]
    back = cv2.imdecode(
        np.frombuffer(base64.b64decode("".join(data for _, data in pieces)), np.uint8), cv2.IMREAD_GRAYSCALE
    )
    assert back is not None
    assert (back == picture).all()


def test_inline_picture_carries_its_true_size() -> None:
    sent = drawn(Graphics.INLINE, halves(0, 255), 50, 14, None)
    found = re.fullmatch(r"\x1b\]1337;File=inline=1;size=(\d+);width=50;height=14;[^:]*:(.*)\a", sent)
    assert found is not None
    assert len(base64.b64decode(found[2])) == int(found[1])


def has_imagemagick() -> bool:
    """Whether `convert` is ImageMagick's: other programs go by that name, too."""
    if shutil.which("convert") is None:
        return False
    said = subprocess.run(["convert", "-version"], capture_output=True, text=True, timeout=20, check=False)
    return said.stdout.startswith("Version: ImageMagick")


def test_sixels_are_read_back_by_another_program(tmp_path: Path) -> None:
    """ImageMagick has a sixel reader; without it there is nobody to ask."""
    picture = np.full((96, 174), 255, np.uint8)
    cv2.putText(picture, "45", (40, 70), cv2.FONT_HERSHEY_SIMPLEX, 1.6, 0, 4, cv2.LINE_AA)
    (tmp_path / "box.six").write_text(sixels(picture, 400, 221), encoding="ascii")
    if not has_imagemagick():
        pytest.skip("ImageMagick is not installed")
    subprocess.run(
        ["convert", f"sixel:{tmp_path / 'box.six'}", str(tmp_path / "box.png")], check=True, timeout=20
    )
    back = cv2.imread(str(tmp_path / "box.png"), cv2.IMREAD_GRAYSCALE)
    assert back is not None
    back = back[:221, :400]
    wanted = np.asarray(cv2.resize(picture, (400, 221), interpolation=cv2.INTER_LINEAR))
    assert back.shape == wanted.shape
    assert np.abs(back.astype(int) - wanted).max() <= 16  # sixteen greys


def test_sixels_need_the_size_of_a_cell() -> None:
    assert drawn(Graphics.SIXEL, halves(0, 255), 50, 14, None) == ""
    assert drawn(Graphics.SIXEL, halves(0, 255), 50, 14, (8, 16)).startswith("\x1bP")
