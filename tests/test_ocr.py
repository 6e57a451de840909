"""Tesseract is another program: missing, hung or crashed, it costs nothing but what it would have read."""

from pathlib import Path
from time import monotonic

import cv2
import numpy as np
import pytesseract
import pytest

from ingest.reading import ocr
from ingest.reading.ocr import ONE_LINE, OcrError, OcrMissingError, read_words
from ingest.reading.values import Grey


def saying(text: str) -> Grey:
    picture = np.full((90, 900), 245, np.uint8)
    cv2.putText(picture, text, (20, 62), cv2.FONT_HERSHEY_SIMPLEX, 1.6, 30, 3, cv2.LINE_AA)
    return picture


def stand_in(folder: Path, monkeypatch: pytest.MonkeyPatch, script: str) -> None:
    """A program in Tesseract's place."""
    program = folder / "tesseract"
    program.write_text(f"#!/bin/sh\n{script}\n", encoding="ascii")
    program.chmod(0o755)
    monkeypatch.setenv("PATH", f"{folder}:/usr/bin:/bin")


def test_print_is_read_word_by_word_with_how_sure_it_is() -> None:
    words = read_words(saying("Maria Lopez"), ONE_LINE)
    assert [word.text for word in words] == ["Maria", "Lopez"]
    assert all(50 < word.confidence <= 100 for word in words)


def test_where_nothing_is_written_nothing_is_sure() -> None:
    words = read_words(np.full((90, 900), 245, np.uint8), ONE_LINE)
    assert all(word.confidence < 5 for word in words)  # it sees letters in anything


def test_only_the_letters_that_may_occur_are_read() -> None:
    (word,) = read_words(saying("7734"), ONE_LINE, "ABC34")
    assert set(word.text) <= set("ABC34")


def test_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    assert ocr.has_tesseract()
    monkeypatch.setenv("PATH", "/nowhere")
    assert not ocr.has_tesseract()
    with pytest.raises(OcrMissingError, match="not installed"):
        read_words(saying("x"), ONE_LINE)


@pytest.mark.parametrize(
    ("script", "why"),
    [
        ("exec sleep 20", "hung"),
        ("kill -SEGV $$", "TesseractError"),
        ("echo no language >&2; exit 1", "TesseractError"),
        ("exit 0", "FileNotFoundError"),  # and no output
        (r'printf "\377\376" > "$2.tsv"', "UnicodeDecodeError"),
        ('echo rubbish > "$2.tsv"; echo more >> "$2.tsv"', "KeyError"),
    ],
)
def test_trouble_is_named_and_nothing_else_happens(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, script: str, why: str
) -> None:
    stand_in(tmp_path, monkeypatch, script)
    monkeypatch.setattr(ocr, "OCR_SECONDS", 0.5)
    began = monotonic()
    with pytest.raises(OcrError, match=why):
        read_words(saying("x"), ONE_LINE)
    assert monotonic() - began < 10


def test_no_room_for_its_files_is_trouble_too(monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*args: object, **more: object) -> str:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(pytesseract, "run_and_get_output", full)
    with pytest.raises(OcrError, match="OSError"):
        read_words(saying("x"), ONE_LINE)
