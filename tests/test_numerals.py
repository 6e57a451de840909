"""The handwriting reader on digits that never trained it, and on boxes with known faults."""

import csv
import io
from collections.abc import Iterator

import cv2
import numpy as np
import pytest

from ingest.chart.layout import Kind
from ingest.reading.blank import Signs
from ingest.reading.certainty import Calibration
from ingest.reading.ink import Traces, even_out, find_traces, flatten
from ingest.reading.net import Scores
from ingest.reading.numerals import EDGE_PX, Look, Numerals, candidates_of, main, said_of, view_of
from ingest.reading.texts import ALPHABET
from ingest.reading.values import Candidate, Grey
from ingest.training.make_digits import Digits, load_digits


@pytest.fixture(scope="module")
def numerals() -> Numerals:
    return Numerals.load()


def boxes(digits: Digits, wide: float, high: float) -> Iterator[Grey]:
    """Each digit as a box of a chart would show it, enlarged, on white."""
    for picture in digits.pictures:
        grown = cv2.resize(picture, None, fx=wide, fy=high, interpolation=cv2.INTER_LINEAR)
        soft = cv2.GaussianBlur(grown, (0, 0), 1.5)
        yield np.asarray(255 - cv2.copyMakeBorder(soft, 20, 20, 50, 50, cv2.BORDER_CONSTANT, value=0))


@pytest.mark.parametrize(
    ("source", "count", "wide", "high", "least_right", "most_wrong"),
    [
        # MNIST, test part: LeCun, Cortes & Burges, from NIST Special Databases 1 and 3.
        ("mnist", 400, 3, 3, 0.98, 0.01),
        # Semeion Handwritten Digit, UCI: 1593 digits of about 80 persons, each stretched to a square of
        # 16 x 16 (its ones are as wide as its zeros), so that many are rightly declined.
        ("semeion", 1593, 3, 4.5, 0.92, 0.03),
    ],
)
def test_open_digits_are_read(
    numerals: Numerals,
    source: str,
    count: int,
    wide: float,
    high: float,
    least_right: float,
    most_wrong: float,
) -> None:
    digits = load_digits()[source]
    assert len(digits.labels) == count
    read = numerals.read(list(boxes(digits, wide, high)), [Kind.MINUTES] * count)
    texts = [found[0].text for found, _ in read]
    right = sum(text == str(label) for text, label in zip(texts, digits.labels, strict=True))
    declined = texts.count("?") + texts.count("")
    assert right >= least_right * count
    assert count - right - declined <= most_wrong * count


def test_what_is_surest_is_hardly_ever_wrong(numerals: Numerals) -> None:
    digits = load_digits()["mnist"]
    read = numerals.read(list(boxes(digits, 3, 3)), [Kind.MINUTES] * len(digits.labels))
    by_doubt = sorted(
        (1 - found[0].probability, found[0].text == str(label))
        for (found, _), label in zip(read, digits.labels, strict=True)
    )
    surest = [right for _, right in by_doubt[: len(by_doubt) * 9 // 10]]
    assert surest.count(False) <= 1


def paper(height: int = 101, width: int = 174, shade: int = 230) -> Grey:
    """A box of a chart without its writing, lightly grained."""
    grain = np.random.default_rng(1).normal(0, 2, (height, width))
    return np.clip(shade + grain, 0, 255).astype(np.uint8)


def framed(box: Grey, shade: int = 90) -> Grey:
    box = box.copy()
    cv2.rectangle(box, (4, 4), (box.shape[1] - 5, box.shape[0] - 5), shade, 2)
    return box


def with_digits(box: Grey, text: str = "25", shade: int = 60) -> Grey:
    box = box.copy()
    cv2.putText(box, text, (45, 75), cv2.FONT_HERSHEY_SIMPLEX, 1.8, shade, 4, cv2.LINE_AA)
    return box


def test_an_empty_framed_box_is_blank_whatever_the_light(numerals: Numerals) -> None:
    slope = np.linspace(1.0, 0.5, 174)
    shadowed = (framed(paper()) * slope).astype(np.uint8)
    edge = framed(paper())
    edge[:, 90:] = (edge[:, 90:] * 0.9).astype(np.uint8)
    read = numerals.read([framed(paper()), framed(paper(shade=120)), shadowed], [Kind.MINUTES] * 3)
    assert [found[0].text for found, _ in read] == ["", "", ""]
    assert all(ink == 0 for _, ink in read)
    page = [edge, *[with_digits(framed(paper()))] * 5]
    (found, _), *_ = numerals.read(page, [Kind.MINUTES] * 6)
    assert found[0].value is None  # a shadow's edge may be doubtful, but it is no number


def test_where_light_has_bleached_the_paper_nothing_is_sure(numerals: Numerals) -> None:
    """A frame that has all but gone from the picture tells that pencil may have gone with it."""
    bleached = framed(paper(shade=250), shade=232)
    numbers = [with_digits(framed(paper()), shade=190)] * 6
    (lit, _), (beside, _), *_ = numerals.read([bleached, framed(paper()), *numbers], [Kind.MINUTES] * 8)
    assert lit[0].text == beside[0].text == ""
    assert lit[0].probability < 0.91
    assert beside[0].probability > 0.99
    half_gone = with_digits(bleached, "5", shade=225)
    (found, _), *_ = numerals.read([half_gone, *numbers], [Kind.MINUTES] * 7)
    assert sum(c.probability for c in found) < 0.91


def test_faint_pencil_is_not_blank(numerals: Numerals) -> None:
    ((found, ink),) = numerals.read([with_digits(framed(paper()), shade=205)], [Kind.MINUTES])
    assert found[0].value == 25
    assert ink > 0


def test_where_strokes_hardly_stand_out_from_the_grain_a_box_is_read_as_a_whole(numerals: Numerals) -> None:
    """A 2 in lighter pencil than the 5 beside it: by what stood out of both, 25 was read as 5, and surely."""
    crops = []
    for seed in range(4):
        box = np.full((101, 174), 230, np.uint8)
        for text, left, shade in (("2", 35, 216), ("5", 80, 206)):
            cv2.putText(box, text, (left, 75), cv2.FONT_HERSHEY_SIMPLEX, 1.8, shade, 3, cv2.LINE_AA)
        grain = cv2.GaussianBlur(np.random.default_rng(seed).normal(0, 1, box.shape), (0, 0), 1.2)
        crops.append(framed(np.clip(box + 5 * grain / grain.std(), 0, 255).astype(np.uint8)))
    page = [*crops, *[with_digits(framed(paper()), shade=200)] * 5]
    read = numerals.read(page, [Kind.MINUTES] * len(page))
    assert [found[0].value for found, _ in read[:4]] == [25] * 4
    assert not any(find_traces(flatten(crop, EDGE_PX)).is_legible for crop in crops)
    assert find_traces(flatten(page[-1], EDGE_PX)).is_legible


def test_noise_that_could_hide_pencil_is_never_blank_by_looking_alone() -> None:
    for seed in range(30):
        noise = np.random.default_rng(seed).normal(40, 14, (101, 174)).clip(0, 255).astype(np.uint8)
        ink = find_traces(flatten(noise, EDGE_PX)).ink
        assert ink is not None
        assert not ink.clear


def test_the_frame_is_lifted_and_strokes_across_it_stay() -> None:
    box = framed(paper())
    cv2.line(box, (60, 0), (60, 100), 60, 4)
    bare = flatten(box, EDGE_PX).picture
    assert abs(float(bare[50, 4:7].mean()) - 235) < 12  # left side of the frame is gone
    assert bare[2, 58:62].mean() < 150  # the stroke still reaches the edge
    assert abs(float(bare[30:70, 90:150].mean()) - 235) < 2


def test_a_speck_of_dirt_is_not_writing_and_a_dash_is(numerals: Numerals) -> None:
    speck, dash = framed(paper()), framed(paper())
    cv2.circle(speck, (90, 50), 3, 60, -1)
    cv2.line(dash, (70, 52), (105, 49), 60, 4, cv2.LINE_AA)
    short = framed(paper())
    cv2.line(short, (80, 50), (88, 50), 60, 2, cv2.LINE_AA)
    assert find_traces(flatten(short, EDGE_PX)).ink is not None
    page = [speck, dash, *[with_digits(framed(paper()))] * 5]
    (dirt, _), (nothing, _), *_ = numerals.read(page, [Kind.MINUTES] * 7)
    assert dirt[0].text == ""
    assert (nothing[0].text, nothing[0].value) == ("-", 0)
    assert nothing[0].probability >= 0.99


def test_initials_are_only_seen(numerals: Numerals) -> None:
    read = numerals.read([framed(paper()), with_digits(framed(paper()), "AB")], [Kind.MARK, Kind.MARK])
    assert [found[0].text for found, _ in read] == ["", "?"]


def test_ink_is_found_where_it_is() -> None:
    flat = flatten(with_digits(paper()), EDGE_PX)
    ink = find_traces(flat).ink
    assert ink is not None
    assert (ink.left, ink.top) == pytest.approx((45, 36), abs=8)
    assert ink.bottom == pytest.approx(76, abs=6)
    view = view_of(flat.picture, ink)
    dark = even_out(view)
    rows = np.flatnonzero(dark.max(axis=1) > 0.5)
    assert rows[0] == pytest.approx(48 - rows[-1], abs=4)  # in the middle
    assert rows[-1] - rows[0] == pytest.approx(0.7 * 48, abs=5)


def written(scores: Scores) -> Look:
    """A box in which something stands out as clearly as in any."""
    return Look(Traces(0.5, 0.01, None), said_of(scores), Signs(-11, 2, 6, 0))


def scores(text: str, chance: float, number_odds: float) -> Scores:
    """The net being `chance` sure of each character of a text."""
    steps = np.full((2 * len(text) + 1, len(ALPHABET) + 1), 1e-9, np.float32)
    steps[:, 0] = 1.0
    for place, letter in enumerate(text):
        steps[2 * place + 1, 0] = 1 - chance
        steps[2 * place + 1, ALPHABET.index(letter) + 1] = chance
    return Scores(steps / steps.sum(axis=1, keepdims=True), number_odds)


def test_texts_of_the_same_minutes_count_together() -> None:
    both = scores("45m", 1.0, 40.0)
    both.chances[5] = 0
    both.chances[5, 0] = 0.4
    both.chances[5, ALPHABET.index("m") + 1] = 0.6
    best, *rest = candidates_of(written(both), Calibration())
    assert (best.value, best.text) == (45, "45m")
    assert best.probability == pytest.approx(0.9999, abs=1e-5)
    assert not rest


def test_what_is_no_number_says_so() -> None:
    best, second = candidates_of(written(scores("45", 1.0, -4.0)), Calibration())[:2]
    assert (best.text, best.value) == ("?", None)
    assert (second.text, second.value) == ("45", 45)
    assert best.probability + second.probability == pytest.approx(1, abs=1e-3)


def test_a_unit_makes_a_number_of_what_looks_like_a_word() -> None:
    best, second = candidates_of(written(scores("45min", 1.0, -6.0)), Calibration())[:2]
    assert (best.value, second.text) == (45, "?")
    assert best.probability > 0.99
    assert candidates_of(written(scores("45m", 1.0, -6.0)), Calibration())[0].text == "?"


def test_the_number_beside_what_was_struck_out_waits_for_a_sum_to_bear_it_out() -> None:
    word = said_of(scores("45", 1.0, -12.0))
    look = Look(Traces(0.5, 0.01, None), word, Signs(-11, 2, 6, 0), Candidate(20, "20", 0.999))
    best, none, *_ = candidates_of(look, Calibration())
    assert (best.value, none.text) == (20, "?")
    assert 0.9 < best.probability < 0.96
    assert best.probability + none.probability > 0.99


def test_no_crops_no_readings(numerals: Numerals) -> None:
    assert numerals.read([], []) == []


def test_pictures_named_on_the_command_line(
    tmp_path_factory: pytest.TempPathFactory, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path_factory.mktemp("crops") / "a.png"
    cv2.imwrite(str(path), with_digits(paper()))
    broken = path.with_name("b.png")
    broken.write_bytes(b"no picture")
    assert main([str(path)]) == 0
    capsys.readouterr()
    assert main([str(broken), str(path)]) == 1
    printed = capsys.readouterr()
    assert "b.png cannot be opened" in printed.err
    header, row = csv.reader(io.StringIO(printed.out))
    assert header == ["file", "text", "confidence"]
    assert row[:2] == [str(path), "25"]
    assert 0.3 < float(row[2]) <= 1
