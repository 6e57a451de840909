"""A reader that does what the picture's tone tells it: for trying out what happens around the reader."""

import io
import os
import time
from collections.abc import Mapping
from enum import IntEnum

import numpy as np
from PIL import Image

from ingest.chart.layout import Layout
from ingest.collect.reader import Reader
from ingest.errors import PageError
from ingest.reading.values import BoxReading, Candidate, Finer, Grey, PageReading, TextLayer


class Tone(IntEnum):
    """Mean grey of a picture, and what the reader does with it."""

    CRASH = 20
    HANG = 60
    NO_CHART = 100
    STUMBLE = 140
    NO_CODE = 180
    READ = 220  # reads the first of the known codes
    PAIR = 235  # reads two charts
    SLOW = 250  # the same, after a while


def told(tone: Tone, width: int = 400) -> bytes:
    """A JPEG for the reader; another width makes other bytes."""
    out = io.BytesIO()
    Image.new("L", (width, 300), int(tone)).save(out, "JPEG")
    return out.getvalue()


def make_reader(layouts: Mapping[str, Layout], chart_layouts: Mapping[str, str]) -> Reader:
    code = next(iter(chart_layouts))

    def read(grey: Grey, text: TextLayer | None, finer: Finer | None) -> list[PageReading]:
        del text, finer
        tone = min(Tone, key=lambda tone: abs(tone - float(np.mean(grey))))
        if tone is Tone.CRASH:
            os.abort()
        elif tone is Tone.HANG:
            time.sleep(600)
        elif tone is Tone.NO_CHART:
            raise PageError("There is no chart on this page.")
        elif tone is Tone.STUMBLE:
            raise ZeroDivisionError("by the reader")
        elif tone is Tone.SLOW:
            time.sleep(0.1)
        readings = (BoxReading("day:2027-10-01", (Candidate(25, "25", 0.99),), 0.1),)
        known = None if tone is Tone.NO_CODE else code
        layout = next(iter(layouts), None)
        page = PageReading(known, "2027-10", "qr" if known else "", "", readings, b"", 0.1, 8, layout)
        return [page] * (2 if tone is Tone.PAIR else 1)

    return read


def make_nothing(layouts: Mapping[str, Layout], chart_layouts: Mapping[str, str]) -> Reader:
    """Cannot start."""
    del layouts, chart_layouts
    os._exit(3)
