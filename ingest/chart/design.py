"""A chart design: sizes, lines, columns and wording, kept as data in `templates/`."""

import string
import tomllib
from collections.abc import Iterable
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from ingest import shipped
from ingest.errors import DesignError

Millimetres = Annotated[float, Field(gt=0, le=300)]
Grey = Annotated[float, Field(ge=0, le=1)]  # 0 black, 1 white

# What a sentence of the wording may ask for in braces.
BLANKS = frozenset({"minutes", "month", "title", "number", "weekday", "due"})


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Sizes(_Part):
    """All in millimetres; meanings stand beside the values in `templates/minutes.toml`."""

    margin: Annotated[float, Field(ge=6, le=15)]
    tag: Annotated[float, Field(ge=10, le=12)]
    header: Millimetres
    footer: Millimetres
    day_width: Annotated[float, Field(ge=20)]
    day_width_most: Millimetres
    day_height: Annotated[float, Field(ge=10)]
    day_height_most: Annotated[float, Field(le=17)]
    strip: Annotated[float, Field(ge=3.5)]
    total_width: Annotated[float, Field(ge=16)]
    initials_width: Annotated[float, Field(ge=12)]
    month_width: Annotated[float, Field(ge=20)]
    gap: Annotated[float, Field(ge=1)]
    name_height: Annotated[float, Field(ge=7)]
    qr_module: Annotated[float, Field(ge=0.72, le=1.2)]  # version 2 has 25 modules: at least 18 mm

    @model_validator(mode="after")
    def _most_is_not_less(self) -> "Sizes":
        if self.day_width_most < self.day_width:
            raise ValueError("day_width_most is smaller than day_width")
        if self.day_height_most < self.day_height:
            raise ValueError("day_height_most is smaller than day_height")
        return self


class Lines(_Part):
    frame: Annotated[float, Field(ge=0.2, le=0.6)]  # mm
    # Darker is taken for pencil, paler is lost by a copier.
    frame_grey: Annotated[float, Field(ge=0.5, le=0.75)]
    hint_grey: Grey


class Tags(_Part):
    ids: Annotated[tuple[Annotated[int, Field(ge=0, le=586)], ...], Field(min_length=8, max_length=8)]

    @model_validator(mode="after")
    def _all_differ(self) -> "Tags":
        if len(set(self.ids)) != len(self.ids):
            raise ValueError("every tag needs its own number in ids")
        return self


class Columns(_Part):
    week_total: bool
    initials: bool


class Words(_Part):
    """The wording in one language."""

    name: str
    section: str
    rule: str
    rule_other_days: str
    practice_time: str
    required_hint: str
    extra_hint: str
    no_school: str
    week: str
    week_total: str
    month_total: str
    initials: str
    work_on: str
    how_to_title: str
    how_to: tuple[str, ...]
    hand_in_title: str
    hand_in: tuple[str, ...]
    hand_in_due: str
    stars: str
    cautions: str

    @model_validator(mode="after")
    def _blanks_are_known(self) -> "Words":
        for key, value in self:
            for sentence in [value] if isinstance(value, str) else value:
                for blank in _blanks(key, sentence):
                    if blank not in BLANKS:
                        known = ", ".join(f"{{{name}}}" for name in sorted(BLANKS))
                        raise ValueError(f'"{key}" has {{{blank}}}, which nothing fills; there are {known}')
        return self


class Design(_Part):
    """A whole design. Build it with `load_design`. name: the file's name without `.toml`."""

    name: str
    sizes: Sizes
    lines: Lines
    tags: Tags
    columns: Columns
    words: Annotated[dict[str, Words], Field(min_length=1)]

    def wording(self, language: str) -> Words:
        """The wording for a language tag; `es-MX` is served by `es`. Raises DesignError."""
        for tag in (language, language.replace("_", "-").split("-")[0].lower()):
            if tag in self.words:
                return self.words[tag]
        have = ", ".join(sorted(self.words))
        raise DesignError(
            f'The chart design "{self.name}" has no wording for the language "{language}"; it has {have}. '
            f"Set language in challenge.toml to one of these, or add a part [words.{language}] to a copy "
            "of the design."
        )


def load_design(name_or_path: str, folder: Path) -> Design:
    """Read a shipped design by name, or a teacher's own by its path (ending in `.toml`).

    folder: the challenge's folder; a relative path starts there.
    Raises DesignError, which names the bad key.
    """
    if name_or_path.lower().endswith(".toml"):
        path = folder / Path(name_or_path).expanduser()
    else:
        path = shipped.templates() / f"{name_or_path}.toml"
        names = sorted(file.stem for file in shipped.templates().glob("*.toml"))
        if name_or_path not in names:
            raise DesignError(
                f'There is no chart design "{name_or_path}"; there are: {", ".join(names)}. For a design '
                "of your own give the path of its file, which ends in .toml."
            )
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise DesignError(
            f"{path}: there is no such chart design file. Correct design in challenge.toml, or copy the file "
            "there."
        ) from None
    except (OSError, UnicodeDecodeError) as problem:
        raise DesignError(f"{path}: the chart design cannot be opened ({problem}).") from problem
    except tomllib.TOMLDecodeError as problem:
        raise DesignError(
            f"{path}: the chart design is not valid TOML: {problem}. Mend that line, or start again from a "
            "copy of a shipped design."
        ) from problem
    try:
        return Design.model_validate({**data, "name": path.stem})
    except ValidationError as problem:
        raise DesignError(f"{path}: {_explain(problem)}") from problem


def _blanks(key: str, sentence: str) -> Iterable[str]:
    try:
        return [blank for _, blank, _, _ in string.Formatter().parse(sentence) if blank is not None]
    except ValueError as problem:
        raise ValueError(
            f'"{key}" has a brace that is not closed ({problem}); write {{{{ for a brace'
        ) from None


def _explain(problem: ValidationError) -> str:
    """The first thing that is wrong, with the key's full name."""
    error = problem.errors()[0]
    where = ".".join(str(step) for step in error["loc"])
    more = len(problem.errors()) - 1
    rest = f" ({more} more after this one.)" if more else ""
    if error["type"] == "extra_forbidden":
        near = get_close_matches(str(error["loc"][-1]), _keys_at(error["loc"][:-1]), n=1, cutoff=0.6)
        hint = f' Did you mean "{near[0]}"?' if near else " Take it out."
        return f'the chart design has an unknown key "{where}".{hint}{rest}'
    if error["type"] == "missing":
        return f'the chart design lacks the key "{where}". Copy it from a shipped design.{rest}'
    said = error["msg"].removeprefix("Value error, ")
    value = error["input"]
    got = f" (it is {value!r})" if isinstance(value, (str, int, float, bool)) else ""
    return f'in the chart design, "{where}" is not good: {said}{got}. Mend it there.{rest}'


def _keys_at(loc: tuple[Any, ...]) -> list[str]:
    """The known keys of the part of the design that `loc` leads to."""
    part: type[BaseModel] = Design
    steps = list(loc)
    while steps:
        step = steps.pop(0)
        kind = part.model_fields[step].annotation if step in part.model_fields else None
        inner = [kind, *get_args(kind)]
        parts = [one for one in inner if isinstance(one, type) and issubclass(one, BaseModel)]
        if not parts:
            return []
        part = parts[-1]
        if part is Words and steps:
            steps.pop(0)  # the language
    return [key for key in part.model_fields if part is not Design or key != "name"]
