"""Certificate designs: the shipped one loads, and a bad copy is told what is wrong with it."""

import re
from pathlib import Path

import pytest

from ingest.errors import DesignError
from ingest.plan.challenge import MENTION_KINDS
from ingest.report.certificate_design import Words, load_certificate, luminance, shipped_certificate

FANFARE = shipped_certificate("fanfare").read_text(encoding="utf-8")


def refusal(folder: Path, old: str, new: str) -> str:
    """What is said of a copy in which one thing was changed."""
    assert old in FANFARE
    (folder / "my.toml").write_text(FANFARE.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(DesignError) as told:
        load_certificate("my.toml", folder)
    return str(told.value)


def test_the_shipped_certificate_speaks_english_and_spanish() -> None:
    design = load_certificate("fanfare", Path())
    assert {"en", "es"} <= set(design.words)
    assert design.wording("es-MX").heading == "Diploma"


def test_every_kind_of_mention_has_its_words() -> None:
    for kind in MENTION_KINDS:
        name = kind.replace("-", "_")
        assert {name, f"{name}_why"} <= set(Words.model_fields)


def test_a_teachers_copy_is_found_from_the_challenges_folder(tmp_path: Path) -> None:
    (tmp_path / "my.toml").write_text(FANFARE.replace('"Certificate"', '"Bravo!"'), encoding="utf-8")
    design = load_certificate("my.toml", tmp_path)
    assert (design.name, design.wording("en").heading) == ("my", "Bravo!")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("heading = 50.0", "headign = 50.0", r"sizes\.headign is not a key.*did you mean sizes\.heading"),
        ("margin = 10.0", "margin = 2.0", r"sizes\.margin must be at least 9\.1, not 2"),
        ("name = 46.0", "name = 99", r"sizes\.name must be at most 60, not 99"),
        ("small_print = 9.0", "small_print = 3", r"sizes\.small_print must be at least 7, not 3"),
        (
            'frame = "#0072B2"',
            'frame = "blue"',
            r'colors\.frame: a color is written like "#0072B2", not "blue"',
        ),
        ('frame = "#0072B2"', 'frame = "#F5BE41"', r"colors\.frame: #F5BE41 is too pale: .* is 1\.7"),
        ('seal = "#F5BE41"', 'seal = "#0072B2"', r"colors\.seal: #0072B2 is too dark: .* is 4\.0"),
        ("tune = true", "tune = 7", r"parts\.tune must be true or false, not 7"),
        ('to = "goes to"', "to = 7", r"words\.en\.to must be text"),
        (
            'place = "Place {place}"',
            'place = "Place {days}"',
            r"words\.en.*place has \{days\}, which nothing",
        ),
        ('"{title} {year}"', '"{title} {years}"', r"event has \{years\}.*there are .*\{year\}"),
        ('"{title} {year}"', '"{title} {year"', r"event has a brace that does not belong"),
        ('places = ["First place"', 'places = ["{place!r}"', r"places has \{place\} with more in the braces"),
        ('heading = "Certificate"\n', "", r"words\.en\.heading is missing"),
        ("[words.en]", "[words]\nen = 3\n[words.fr]", r"words"),
        ("[sizes]", "[sizes", r"line 8"),
    ],
)
def test_a_bad_certificate_is_told_the_key(tmp_path: Path, old: str, new: str, said: str) -> None:
    assert re.search(said, refusal(tmp_path, old, new))


def test_the_word_of_care_cannot_be_left_empty(tmp_path: Path) -> None:
    (caution,) = re.findall(r'^cautions = "Rest.*$', FANFARE, re.M)
    assert "cautions must not be empty" in refusal(tmp_path, caution, 'cautions = " "')


def test_a_language_that_is_lacking_is_named_with_those_there_are() -> None:
    with pytest.raises(DesignError, match=r'"fr"; it has en, es\. .*\[words\.fr\]'):
        load_certificate("fanfare", Path()).wording("fr")


def test_an_unknown_name_and_a_missing_file_are_refused(tmp_path: Path) -> None:
    with pytest.raises(DesignError, match=r'no certificate "fanfar"; there are: fanfare\. Set prizes\.'):
        load_certificate("fanfar", tmp_path)
    with pytest.raises(DesignError, match=r"no certificate .*gone\.toml"):
        load_certificate("gone.toml", tmp_path)
    (tmp_path / "folder.toml").mkdir()
    with pytest.raises(DesignError, match=r"cannot be opened"):
        load_certificate("folder.toml", tmp_path)


@pytest.mark.parametrize(
    ("color", "contrast"),
    # To white, as the WCAG's formula has it: worked examples with published results.
    [("#767676", 4.542), ("#0072B2", 5.19), ("#000000", 21.0), ("#FF0000", 3.998), ("#E69F00", 2.25)],
)
def test_luminance_is_the_wcags(color: str, contrast: float) -> None:
    assert 1.05 / (luminance(color) + 0.05) == pytest.approx(contrast, abs=0.005)
