"""Children of every sort: what they write, and the truth about it."""

from collections import Counter
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from ingest.demo.children import SORTS, any_child
from ingest.demo.diary import Diary, keep_diary, value_of
from ingest.demo.doodles import DOODLES
from ingest.demo.fill import LINE, STICKER, Mishap, fill
from ingest.demo.hands import load_hands
from ingest.demo.letters import PLAIN, with_letters
from ingest.demo.mess import TIDY, WORDS, Mess
from ingest.paper import Box
from ingest.reading.texts import minutes_of

HANDS = load_hands()


def _areas() -> dict[str, Box]:
    """October 2027: weeks from Sunday, as on a chart."""
    areas = {"month": Box(200, 180, 30, 13)}
    row = 1
    for number in range(1, 32):
        day = date(2027, 10, number)
        row += day.isoweekday() == 7
        areas[f"day:{day}"] = Box(10 + 27 * (day.isoweekday() % 7), 20 * row, 26, 13)
        areas[f"week:{row}"] = Box(200, 20 * row, 24, 13)
    return areas


def _diaries(severity: str, count: int) -> list[Diary]:
    out = []
    for seed in range(count):
        rng = np.random.default_rng(seed)
        writer, habits = any_child(HANDS[seed % len(HANDS)], severity, rng)
        out.append(keep_diary(_areas(), habits, writer.hand, rng))
    return out


def test_everything_odd_happens_among_the_hard_children_and_nothing_among_the_gentle() -> None:
    hard = [(name, entry, d) for d in _diaries("hard", 80) for name, entry in d.entries.items()]
    assert {entry.mishap for _, entry, _ in hard} == set(Mishap)
    drawn = {entry.drawing for _, entry, _ in hard}
    assert drawn >= {"", STICKER, LINE}
    assert len(drawn & set(DOODLES)) > 3
    assert {entry.text for _, entry, _ in hard} & set(WORDS)
    gentle = _diaries("gentle", 30)
    assert not any(diary.no_number for diary in gentle)
    assert {entry.drawing for diary in gentle for entry in diary.entries.values()} == {""}


def test_ordinary_children_are_seldom_odd() -> None:
    diaries = _diaries("ordinary", 80)
    odd = sum(len(diary.no_number) for diary in diaries)
    assert 0.002 < odd / sum(len(diary.truth) for diary in diaries) < 0.03


def test_what_holds_one_number_says_its_truth_and_what_holds_none_is_marked() -> None:
    seen: Counter[str] = Counter()
    for diary in _diaries("hard", 60):
        for box, truth in diary.truth.items():
            entry = diary.entries[box]
            if box not in diary.no_number:
                assert value_of(entry.text) == truth
                assert entry.mishap not in (Mishap.STRUCK_OUT, Mishap.TWO)
                seen["number"] += 1
                continue
            assert entry.mishap in (Mishap.STRUCK_OUT, Mishap.TWO) or entry.drawing or entry.text
            # The reader's own grammar, written apart from this one: such a text means no minutes.
            assert not entry.text or entry.mishap is Mishap.TWO or minutes_of(entry.text) is None
            seen["none"] += 1
    assert min(seen["number"], seen["none"]) > 50


def test_the_sum_is_that_of_what_a_person_would_answer() -> None:
    mess = Mess(struck_out=0.2, two=0.2, words=0.2)
    _, habits = any_child(HANDS[0], "hard", np.random.default_rng(1))
    habits = replace(habits, adds=1.0, adds_wrongly=0.0, mess=mess)
    diary = keep_diary(_areas(), habits, with_letters(HANDS[0]), np.random.default_rng(2))
    assert diary.no_number
    weeks = [
        value for box, value in diary.truth.items() if box.startswith("week:") and box not in diary.no_number
    ]
    assert sum(diary.minutes().values()) > 0
    if not any(box.startswith("week:") for box in diary.no_number):
        assert sum(value or 0 for value in weeks) == sum(diary.minutes().values())


@pytest.mark.parametrize(
    ("text", "minutes"),
    [("20m", 20), ("20 mins", 20), ("45'", 45), ("1h30", 90), ("1 hr 15", 75), ("2 hr", 120), ("1h", 60)],
)
def test_units_of_every_kind_mean_minutes(text: str, minutes: int) -> None:
    assert value_of(text) == minutes


def test_every_word_can_be_spelt_with_plain_letters() -> None:
    assert set("".join(WORDS)) - {" "} <= set(PLAIN)


@pytest.mark.parametrize("severity", SORTS)
def test_every_entry_leaves_ink_and_blank_ones_none(severity: str) -> None:
    areas = _areas()
    for seed in range(4):
        rng = np.random.default_rng(seed)
        writer, habits = any_child(HANDS[seed], severity, rng)
        diary = keep_diary(areas, habits, writer.hand, rng)
        page = np.full((1000, 1400, 3), 255, np.uint8)  # 5 px/mm
        for name, entry in diary.entries.items():
            before = page.copy()
            fill(page, 5.0, areas, {name: entry}, writer, np.random.default_rng(7))
            area = areas[name].grown(5)
            part = page[
                round(area.top * 5) : round(area.bottom * 5), round(area.left * 5) : round(area.right * 5)
            ]
            was = before[
                round(area.top * 5) : round(area.bottom * 5), round(area.left * 5) : round(area.right * 5)
            ]
            written = bool(entry.text or entry.drawing or entry.mishap)
            assert (not np.array_equal(part, was)) == written, (name, entry)
            changed = np.abs(page.astype(int) - before).sum() - np.abs(part.astype(int) - was).sum()
            assert changed == 0, f"{name} {entry} left ink elsewhere"


def test_the_tidy_leave_the_demos_children_as_they_were() -> None:
    """The demo's diaries must not change because other children are odd."""
    _, habits = any_child(HANDS[3], "gentle", np.random.default_rng(3))
    assert habits.mess == TIDY
    one = keep_diary(_areas(), replace(habits, mess=TIDY), HANDS[3], np.random.default_rng(4))
    other = keep_diary(_areas(), replace(habits, mess=Mess()), HANDS[3], np.random.default_rng(4))
    assert [e.text for n, e in one.entries.items() if n.startswith("day:")] == [
        e.text for n, e in other.entries.items() if n.startswith("day:")
    ]
