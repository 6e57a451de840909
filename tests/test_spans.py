"""Where the cells of a CSV text stand: the meaning is Python's csv, and every byte has its place."""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.spans import SEPARATORS, decode, line_of, replaced, split

CSV_TEXT = st.text(alphabet=st.sampled_from("ab\",;\t|\r\n 'é\u2028"), max_size=40)


@given(CSV_TEXT, st.sampled_from(SEPARATORS))
def test_rows_mean_what_pythons_csv_says(text: str, separator: str) -> None:
    theirs = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))
    assert [row.texts for row in split(text, separator)] == theirs


@given(CSV_TEXT, st.sampled_from(SEPARATORS))
def test_rows_and_cells_lie_side_by_side_over_the_whole_text(text: str, separator: str) -> None:
    rows = split(text, separator)
    assert "".join(text[row.start : row.end] for row in rows) == text
    for row in rows:
        raw = separator.join(text[cell.start : cell.end] for cell in row.cells)
        assert text[row.start : row.end].rstrip("\r\n") == raw.rstrip("\r\n")
        end = row.cells[-1].end if row.cells else row.start
        assert text[end : row.end] in ("", "\n", "\r", "\r\n")


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("text", ["Zoë,1\r\n", "", "Łukasz\n"])
def test_utf8_comes_back_with_its_mark(mark: bytes, text: str) -> None:
    data = mark + text.encode()
    found = decode(data)
    assert found is not None
    assert found.text == text
    assert found.encode(found.text) == data


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("mark", ["\ufeff", ""])
def test_utf16_is_known_with_and_without_a_mark(encoding: str, mark: str) -> None:
    data = (mark + "id,Zoë\r\n1,2\r\n").encode(encoding)
    found = decode(data)
    assert found is not None
    assert found.text == "id,Zoë\r\n1,2\r\n"
    assert found.encode(found.text) == data


def test_windows_western_letters_are_known() -> None:
    found = decode("Zoë,–\r\n".encode("cp1252"))
    assert found is not None
    assert found.text == "Zoë,–\r\n"


@given(st.binary(max_size=30))
def test_what_is_decoded_comes_back_byte_for_byte(data: bytes) -> None:
    found = decode(data)
    assert found is None or found.encode(found.text) == data


@pytest.mark.parametrize("data", [b"PK\x03\x04\0\0\x80\0", b"a\0b", b"\xff\xfea", b"caf\xe9 \x81"])
def test_what_is_no_text_is_refused(data: bytes) -> None:
    assert decode(data) is None


def test_spans_are_replaced_and_an_empty_one_is_put_in() -> None:
    assert replaced("abcdef", {(1, 3): "X", (5, 5): "Y"}) == "aXdeYf"
    assert replaced("abc", {}) == "abc"


def test_overlapping_spans_are_a_mistake() -> None:
    with pytest.raises(ValueError, match="overlap"):
        replaced("abcdef", {(1, 3): "X", (2, 4): "Y"})


def test_lines_are_counted_as_an_editor_counts_them() -> None:
    text = 'a\r\n"b\nb",c\rd\n\n'
    assert line_of(text, split(text)) == [1, 2, 4, 5]
