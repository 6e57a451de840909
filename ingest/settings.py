"""Settings files: TOML that people write, and what is wrong with one, in plain words."""

import json
import re
import string
import tomllib
from collections.abc import Iterator, Mapping
from datetime import date
from difflib import get_close_matches
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from ingest.errors import DayboxError


def parse_toml(data: bytes, where: str, refusal: type[DayboxError]) -> dict[str, Any]:
    """Read a settings file's bytes; `where` names the file in messages.

    Raises the given refusal, with the line, if they are no UTF-8 or no TOML.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise refusal(
            f"{where} cannot be read: line {line} has a letter that is not in UTF-8. In your text editor, "
            'choose "Save as" and the encoding UTF-8, then run the same command again.'
        ) from error
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # the latter: thousands of brackets
        raise refusal(
            f"{where} cannot be read: {_syntax_problem(error, text)}. Text and dates need quotation marks, "
            "lists need square brackets, and 0.5 has a point, no comma. Mend the line and run the same "
            "command again."
        ) from error


def problems(error: ValidationError, model: type[BaseModel]) -> list[str]:
    """What pydantic found wrong with a file of this model: each problem once, opened by its dotted key."""
    return list(dict.fromkeys(_problem(detail, model) for detail in error.errors()))


def part_problems(parts: object, key: str, model: type[BaseModel]) -> list[str]:
    """What is wrong within the named parts of a file that are all of one model, such as [words.en].

    parts: what stands under `key`; what is no part at all is left to the model of the whole file.
    """
    wrong = []
    if isinstance(parts, Mapping):
        for name, part in parts.items():
            if isinstance(part, Mapping):
                try:
                    model.model_validate(part)
                except ValidationError as error:
                    wrong += [f"{key}.{name}.{problem}" for problem in problems(error, model)]
    return wrong


def blanks_in(key: str, sentence: str) -> Iterator[str]:
    """The names in a sentence's braces. Raises ValueError for braces that hold no mere name."""
    try:
        parts = list(string.Formatter().parse(sentence))
    except ValueError as problem:
        raise ValueError(
            f"{key} has a brace that does not belong ({problem}); double it to print it"
        ) from None
    for _, blank, form, conversion in parts:
        if blank is not None:
            if form or conversion:
                raise ValueError(f"{key} has {{{blank}}} with more in the braces than the word")
            yield blank


def shown(value: object) -> str:
    """A value as the file would have it, cut to a length that fits a message."""
    if isinstance(value, bool | str):
        text = json.dumps(value, ensure_ascii=False)
    elif isinstance(value, Mapping):
        text = "a section"
    elif isinstance(value, list):
        text = f"[{', '.join(shown(item) for item in value[:5])}]"
    elif isinstance(value, date):
        text = value.isoformat()
    else:
        text = str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _syntax_problem(error: Exception, text: str) -> str:
    """The parser's words, and the line they are about for people who do not count lines."""
    if isinstance(error, RecursionError):
        return "brackets are nested too deep"
    words = str(error)
    found = re.search(r"\(at line (\d+)", words)
    lines = text.split("\n")  # TOML knows no other line ends
    if found and int(found[1]) <= len(lines):
        return f"{words}, where it says {lines[int(found[1]) - 1].strip()[:60]}"
    return words


def _problem(detail: ErrorDetails, model: type[BaseModel]) -> str:
    key = ".".join(part for part in detail["loc"] if isinstance(part, str))  # numbers count list items
    context, value = detail.get("ctx", {}), shown(detail["input"])
    match detail["type"]:
        case "extra_forbidden":
            return f"{key} is not a key of this file{_suggestion(key, model)}"
        case "missing":
            return f"{key} is missing"
        case "literal_error":
            allowed = str(context["expected"]).replace("'", '"')
            return f"{key} must be {allowed}, not {value}"
        case "bool_type" | "bool_parsing":
            return f"{key} must be true or false, not {value}"
        case "int_type" | "int_parsing_size" | "int_parsing" | "int_from_float":
            return f"{key} must be a whole number, not {value}"
        case "float_type" | "float_parsing" | "finite_number":
            return f"{key} must be a number, not {value}"
        case "string_type":
            return f"{key} must be text in quotation marks, not {value}"
        case "tuple_type" | "frozen_set_type":
            return f"{key} must be a list in square brackets, not {value}"
        case "model_type" | "dict_type":
            return f"{key} must be a section that opens with [{key}], not {value}"
        case "too_short":
            return f"{key} must hold at least {context['min_length']}, not {context['actual_length']}"
        case "too_long":
            return f"{key} must hold at most {context['max_length']}, not {context['actual_length']}"
        case "greater_than_equal":
            return f"{key} must be at least {context['ge']:g}, not {value}"
        case "less_than_equal":
            return f"{key} must be at most {context['le']:g}, not {value}"
        case "greater_than":
            return f"{key} must be more than {context['gt']:g}, not {value}"
        case "value_error":
            return f"{key}: {context['error']}" if key else str(context["error"])
    return f"{key}: {detail['msg']}, not {value}"


def _suggestion(key: str, model: type[BaseModel]) -> str:
    """The key that was probably meant: the same word in another section, or one spelled alike."""
    known = list(_keys(model))
    word = key.rpartition(".")[2]
    close = (
        [name for name in known if name.rpartition(".")[2] == word]
        or get_close_matches(key, known, n=1)
        or [
            name
            for near in get_close_matches(word, {name.rpartition(".")[2] for name in known}, n=1)
            for name in known
            if name.rpartition(".")[2] == near
        ]
    )
    return f" (did you mean {close[0]}?)" if close else ""


def _keys(section: type[BaseModel], prefix: str = "") -> Iterator[str]:
    """All dotted keys of the file."""
    for name, field in section.model_fields.items():
        yield prefix + name
        for kind in (field.annotation, *get_args(field.annotation)):  # a section, or one that may be left out
            if isinstance(kind, type) and issubclass(kind, BaseModel):
                yield from _keys(kind, f"{prefix}{name}.")
