"""`samples/`: what lies there is listed, small, and true to its word."""

import csv
import json
import re
from collections import Counter
from datetime import date
from pathlib import Path

import cv2
import numpy as np
import pytest

from ingest.chart.code import parse_code
from ingest.chart.layout import layout_from_json
from ingest.demo.diary import value_of
from ingest.demo.hands import load_hands
from ingest.plan.challenge import load_challenge
from ingest.plan.roster import load_roster
from ingest.training.split import part_of

SAMPLES = Path(__file__).parents[1] / "samples"
OCTOBER = SAMPLES / "october"
PHOTOS = ("kitchen-table", "curled-and-folded", "copied-then-whitened", "dim-and-corner-out")


def _truth() -> list[dict[str, str]]:
    with (OCTOBER / "truth.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_every_sample_states_its_origin_and_purpose() -> None:
    text = (SAMPLES / "README.md").read_text(encoding="utf-8")
    listed = re.findall(r"^\| `([^`]+)` \| [^|]+ \| [^|]+ \|$", text, re.M)
    present = {p.relative_to(SAMPLES).as_posix() for p in SAMPLES.rglob("*") if p.is_file()} - {"README.md"}
    assert Counter(listed) == Counter(present)


def test_hands_are_small_and_of_writers_that_trained_nothing() -> None:
    assert (SAMPLES / "hands.npz").stat().st_size <= 300_000
    hands = load_hands()
    assert len(hands) == 15
    assert {part_of(hand.writer) for hand in hands} == {"test"}
    assert all(hand.can_write("0123456789") for hand in hands)


def test_readme_counts_the_writers_of_each_source() -> None:
    text = (SAMPLES / "README.md").read_text(encoding="utf-8")
    counts = [int(number) for number in re.findall(r"^\| [^|`]+ \| (\d+) \|$", text, re.M)]
    providers = Counter(hand.writer.split("/")[0] for hand in load_hands())
    pen, uji = providers.pop("pen"), providers.pop("uji")
    assert counts == [providers.total(), pen, uji]


@pytest.mark.parametrize("name", PHOTOS)
def test_photos_are_small_but_large_enough_to_read(name: str) -> None:
    data = (OCTOBER / f"{name}.jpg").read_bytes()
    assert len(data) <= 250_000
    picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_GRAYSCALE)
    assert picture is not None
    assert 1_200_000 < picture.size < 3_000_000


def test_truth_names_every_day_of_the_month_and_what_the_texts_mean() -> None:
    rows = _truth()
    assert {row["photo"] for row in rows} == {f"{name}.jpg" for name in PHOTOS}
    for row in rows:
        value = value_of(row["written"])
        assert row["minutes"] == ("" if value is None else str(value))
    days = Counter(row["box"] for row in rows if row["box"].startswith("day:"))
    assert days == {f"day:{date(2027, 10, day)}": 4 for day in range(1, 32)}


def test_plan_roster_layout_and_truth_fit_together() -> None:
    challenge = load_challenge(OCTOBER)
    students = {student.id for student in load_roster(OCTOBER / "roster.csv")}
    layout = layout_from_json((OCTOBER / "layout.json").read_text(encoding="utf-8"))
    public = json.loads((OCTOBER / "charts.layout.json").read_text(encoding="utf-8"))
    assert layout.challenge == str(challenge.month) == public["challenge"]
    assert {page["student_id"] for page in public["pages"]} == students
    assert {box.name for box in layout.boxes} == {box["box"] for box in public["pages"][0]["boxes"]}
    codes = {page["student_id"]: page["chart"] for page in public["pages"]}
    for row in _truth():
        assert row["chart"] == codes[row["student_id"]] == parse_code(row["chart"])
