"""Print, read by Tesseract: another program, which may be missing, hang, or crash."""

import csv
import io
import shutil
from dataclasses import dataclass

from ingest.reading.values import Grey

OCR_SECONDS = 8.0  # more than ten times what one line takes; then it has hung

# Page segmentation modes (Tesseract's manual, `--psm`).
ONE_BLOCK, ONE_LINE, RAW_LINE = 6, 7, 13


class OcrError(Exception):
    """Tesseract did not work; the message says why. That is no reason to give a page up."""


class OcrMissingError(OcrError):
    """There is no Tesseract on this computer."""


@dataclass(frozen=True, slots=True)
class Word:
    """A word as it was read. confidence: Tesseract's own, 0 to 100."""

    text: str
    confidence: float


def has_tesseract() -> bool:
    """Whether there is one; it may still not work."""
    return shutil.which("tesseract") is not None


def read_words(picture: Grey, mode: int, letters: str = "") -> tuple[Word, ...]:
    """The words of a picture, line by line.

    mode: a page segmentation mode. letters: all that may occur; "" for any.

    Raises OcrError.
    """
    import pytesseract  # here: it loads pandas, and hardly one chart in a hundred needs it

    config = f"-c tessedit_create_tsv=1 --psm {mode}"
    if letters:
        config += f" -c tessedit_char_whitelist={letters}"
    try:
        # Not `image_to_data`, which asks for the version first, without a limit of time.
        table = str(pytesseract.run_and_get_output(picture, "tsv", "eng", config, 0, OCR_SECONDS))
        rows = csv.DictReader(io.StringIO(table), delimiter="\t", quoting=csv.QUOTE_NONE)
        return tuple(Word(text, float(row["conf"])) for row in rows if (text := (row["text"] or "").strip()))
    except pytesseract.TesseractNotFoundError as trouble:
        raise OcrMissingError("Tesseract is not installed") from trouble
    except Exception as trouble:  # its own crash, a language file or a disk that is not there, a hang
        hung = type(trouble) is RuntimeError  # as pytesseract raises only after its time is up
        why = "it hung" if hung else type(trouble).__name__
        raise OcrError(f"Tesseract did not work ({why})") from trouble
