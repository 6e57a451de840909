"""The chart code, against the standard's examples and by trying every error."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_36

from ingest.chart.code import ALPHABET, new_code, parse_code, parse_payload, qr_payload


@pytest.mark.parametrize(("payload", "check"), [("A12425GABC1234002", "M")])
def test_check_character_is_that_of_the_published_example(payload: str, check: str) -> None:
    # The example of python-stdnum's documentation of ISO/IEC 7064 MOD 37,36 (Global Release Identifier).
    assert mod_37_36.calc_check_digit(payload) == check


def test_check_character_is_that_of_the_standards_recipe() -> None:
    """The hybrid system's recipe (ISO/IEC 7064, from memory), written out, for our own codes."""
    signs = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    for _ in range(200):
        code = new_code().replace("-", "")
        carried = 36
        for sign in code[:-1]:
            carried = ((carried + signs.index(sign)) % 36 or 36) * 2 % 37
        assert (carried + signs.index(code[-1])) % 36 == 1


def test_codes_hold_no_look_alikes_and_no_vowels() -> None:
    drawn = "".join(new_code() for _ in range(300)).replace("-", "")
    assert not set(drawn) & set("0O1IL2Z5S8BGUAE")
    assert set(drawn) <= set(ALPHABET)


def test_code_that_is_taken_is_not_given_again(monkeypatch: pytest.MonkeyPatch) -> None:
    draws = random.Random(3)
    monkeypatch.setattr("ingest.chart.code.secrets.choice", draws.choice)
    first = new_code()
    draws.seed(3)
    assert new_code() == first  # the same luck gives the same code ...
    draws.seed(3)
    assert new_code({first}) != first  # ... unless it is taken


def test_codes_differ() -> None:
    assert len({new_code() for _ in range(1000)}) == 1000


@pytest.mark.parametrize(
    "shape", ["{a}-{b}", "{a}{b}", " {a} {b} ", "{a} - {b}", "{a}–{b}", "{a}_{b}", "{a}\n{b}", "{a}.{b}"]
)
def test_codes_are_read_however_they_are_spaced(shape: str) -> None:
    code = new_code()
    text = shape.format(a=code[:4], b=code[5:])
    assert parse_code(text) == code
    assert parse_code(text.lower()) == code


def test_full_width_letters_are_read() -> None:
    code = new_code()
    assert parse_code("".join(chr(ord(letter) + 0xFEE0) if letter != "-" else "-" for letter in code)) == code


@pytest.mark.parametrize("text", ["", "-", "K7QF", "K7QF-3M2P", "K7QF-3M2PK", "ÄÖÜß-ÄÖÜß", "\x00" * 8])
def test_what_is_no_code_is_none(text: str) -> None:
    assert parse_code(text) is None


@given(st.text())
def test_no_text_upsets_the_reader(text: str) -> None:
    code = parse_code(text)
    assert code is None or parse_code(code) == code
    parse_payload(text)


def test_one_wrong_character_is_always_noticed() -> None:
    # ISO/IEC 7064: every single substitution is detected.
    for _ in range(40):
        code = new_code()
        for place, right in enumerate(code):
            if right != "-":
                for wrong in set(ALPHABET) - {right}:
                    assert parse_code(code[:place] + wrong + code[place + 1 :]) is None


def test_swapped_neighbours_are_nearly_always_noticed() -> None:
    # Hybrid systems detect nearly all of these (ISO/IEC 7064): a few in ten thousand slip.
    missed = tried = 0
    for _ in range(1500):
        code = new_code().replace("-", "")
        for place in range(len(code) - 1):
            if code[place] != code[place + 1]:
                tried += 1
                swapped = code[:place] + code[place + 1] + code[place] + code[place + 2 :]
                missed += parse_code(swapped) is not None
    assert tried > 9000
    assert missed / tried < 0.003


def test_payload_goes_there_and_back_and_holds_no_name() -> None:
    code = new_code()
    assert qr_payload("2027-10", code) == f"2027-10 {code}"
    assert parse_payload(f" 2027-10 {code}\n") == ("2027-10", code)


@pytest.mark.parametrize(
    "text", ["", "https://example.org", "2027-10", "2027-10 K7QF-3M2P", "2027-13 {code}", "{code}"]
)
def test_payload_of_other_qr_codes_is_none(text: str) -> None:
    assert parse_payload(text.format(code=new_code())) is None
