"""Chart designs: the shipped ones load, and a bad copy is told what is wrong with it."""

import re
from pathlib import Path

import pytest

from ingest import shipped
from ingest.chart.design import load_design
from ingest.errors import DesignError

MINUTES = (shipped.templates() / "minutes.toml").read_text(encoding="utf-8")


def test_shipped_design_speaks_english_and_spanish() -> None:
    design = load_design("minutes", Path())
    assert {"en", "es"} <= set(design.words)
    assert design.name == "minutes"
    assert design.wording("es").week_total == "total semanal"


@pytest.mark.parametrize("language", ["es", "es-MX", "es_US", "ES-mx"])
def test_regional_language_is_served_by_its_main_one(language: str) -> None:
    assert load_design("minutes", Path()).wording(language).name == "Nombre"


def test_missing_language_is_named_with_those_there_are() -> None:
    with pytest.raises(DesignError, match=r'"tlh"; it has en, es\. .*\[words\.tlh\]'):
        load_design("minutes", Path()).wording("tlh")


def test_unknown_design_is_named_with_those_there_are() -> None:
    with pytest.raises(DesignError, match=r'no chart design "minuets"; there are: .*minutes'):
        load_design("minuets", Path())


def test_a_teachers_copy_is_found_from_the_challenges_folder(tmp_path: Path) -> None:
    (tmp_path / "my.toml").write_text(MINUTES.replace('"week total"', '"our week"'), encoding="utf-8")
    design = load_design("my.toml", tmp_path)
    assert design.name == "my"
    assert design.wording("en").week_total == "our week"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("day_width = ", "day_widht = ", r"sizes\.day_widht is not a key.*did you mean sizes\.day_width"),
        ("week_total = true", "week_total = 7", r"columns\.week_total.*7"),
        ("margin = 6.5", "margin = 2.0", r"sizes\.margin must be at least 6, not 2"),
        ("margin = 6.5", "margin = nan", r"sizes\.margin"),
        ("day_width_most = 28.0", "day_width_most = 21.0", r"day_width_most is smaller than day_width"),
        ("frame_grey = 0.6", "frame_grey = 0.95", r"lines\.frame_grey must be at most 0\.75"),
        ("ids = [0, 1,", "ids = [1, 1,", r"tags: every tag needs its own number"),
        ("ids = [0, 1,", "ids = [1,", r"tags\.ids must hold at least 8, not 7"),
        ("ids = [0, 1,", "ids = [8, 0, 1,", r"tags\.ids must hold at most 8, not 9"),
        ("ids = [0, 1,", 'ids = ["a", 1,', r'tags\.ids must be a whole number, not "a"'),
        ("week_total = true", 'week_total = "x"', r'columns\.week_total must be true or false, not "x"'),
        ("margin = 6.5", 'margin = "wide"', r'sizes\.margin must be a number, not "wide"'),
        ("margin = 6.5", "margin = 6,5", r"line 8, .*margin = 6,5.* 0\.5 has a point, no comma"),
        (
            'initials = "grown',
            'initalls = "grown',
            r"words\.en\.initalls is not a key.*did you mean initials",
        ),
        (
            "{minutes} minutes every",
            "{minuts} minutes every",
            r"words\.en\..*rule has \{minuts\}.*\{minutes\}",
        ),
        ("{minutes} minutes every", "{minutes minutes every", r"words\.en\..*rule has a brace"),
        ("{minutes} minutes every", "{minutes!r:>99} minutes every", r"words\.en\..*rule"),
        ("[sizes]", "[sizes", r"cannot be read: .*line 7, .*\[sizes"),
        ("[words.es]", "[wörds.es]", r"cannot be read: .*line 71"),
    ],
)
def test_bad_design_is_told_the_key(tmp_path: Path, old: str, new: str, said: str) -> None:
    assert old in MINUTES
    (tmp_path / "my.toml").write_text(MINUTES.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(DesignError) as refusal:
        load_design("my.toml", tmp_path)
    message = str(refusal.value)
    assert re.search(said, message), message
    assert "my.toml" in message
    assert "\n" not in message


def test_wording_that_is_no_section_is_told_how_one_opens(tmp_path: Path) -> None:
    before_words = MINUTES[: MINUTES.index("[words.en]")]
    (tmp_path / "my.toml").write_text("words = 3\n" + before_words, encoding="utf-8")
    with pytest.raises(DesignError, match=r"words must be a section that opens with \[words\], not 3"):
        load_design("my.toml", tmp_path)


def test_missing_key_is_named(tmp_path: Path) -> None:
    (tmp_path / "my.toml").write_text(re.sub(r"strip = .*", "", MINUTES), encoding="utf-8")
    with pytest.raises(DesignError, match=r"sizes\.strip is missing"):
        load_design("my.toml", tmp_path)


@pytest.mark.parametrize("content", [b"\xff\xfe\x00", b"words = 3", b"", b"words = {en = 3}"])
def test_file_that_is_no_design_is_refused(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "my.toml").write_bytes(content)
    with pytest.raises(DesignError, match=r"my\.toml"):
        load_design("my.toml", tmp_path)


def test_missing_file_and_folder_are_refused(tmp_path: Path) -> None:
    with pytest.raises(DesignError, match="There is no chart design"):
        load_design("gone.toml", tmp_path)
    (tmp_path / "folder.toml").mkdir()
    with pytest.raises(DesignError, match="cannot be opened"):
        load_design("folder.toml", tmp_path)


def test_every_font_states_its_origin_and_licence() -> None:
    fonts = shipped.templates() / "fonts"
    readme = (fonts / "README.md").read_text(encoding="utf-8")
    for font in fonts.glob("*.ttf"):
        assert font.stem in readme or f"…{font.stem.removeprefix('NotoSans')}" in readme, font.name
        assert font.stat().st_size < 2.4e6
    assert sum(font.stat().st_size for font in fonts.iterdir()) < 6e6
