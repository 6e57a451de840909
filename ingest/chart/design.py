"""A chart design: sizes, lines, columns and wording, kept as data in `templates/`."""

from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from ingest import shipped
from ingest.errors import DesignError
from ingest.settings import blanks_in, parse_toml, part_problems, problems

Grey = Annotated[float, Field(ge=0, le=1)]  # 0 black, 1 white

# What a sentence of the wording may ask for in braces.
BLANKS = frozenset({"minutes", "month", "title", "number", "weekday", "due"})
# The same, of a chart with circles.
CIRCLE_BLANKS = frozenset({"step", "most", "example"})


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Sizes(_Part):
    """All in millimetres; meanings stand beside the values in `templates/minutes.toml`."""

    margin: Annotated[float, Field(ge=6, le=8)]
    tag: Annotated[float, Field(ge=10, le=12)]
    header: Annotated[float, Field(ge=46, le=90)]
    footer: Annotated[float, Field(ge=40, le=90)]
    day_width: Annotated[float, Field(ge=20, le=32)]
    day_width_most: Annotated[float, Field(ge=20, le=32)]
    day_height: Annotated[float, Field(ge=10, le=17)]
    day_height_most: Annotated[float, Field(ge=10, le=22)]
    strip: Annotated[float, Field(ge=4.5, le=8)]
    total_width: Annotated[float, Field(ge=16, le=40)]
    initials_width: Annotated[float, Field(ge=12, le=40)]
    month_width: Annotated[float, Field(ge=20, le=50)]
    gap: Annotated[float, Field(ge=1.5, le=15)]
    name_height: Annotated[float, Field(ge=9, le=10)]
    qr_module: Annotated[float, Field(ge=0.72, le=0.9)]  # version 2 has 25 modules: at least 18 mm

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


class Circles(_Part):
    """Circles to fill in instead of a number to write; meanings stand in `templates/color-in.toml`.

    In millimetres but for `minutes` and `most_minutes`, and for `across`, which counts.
    """

    minutes: Annotated[int, Field(ge=1, le=60)]
    most_minutes: Annotated[int, Field(ge=1, le=600)]
    across: Annotated[int, Field(ge=1, le=8)]
    diameter: Annotated[float, Field(ge=3.5, le=9)]
    diameter_most: Annotated[float, Field(ge=3.5, le=9)]
    # Nearer, and a crayon in one circle is taken for a mark in the next.
    gap: Annotated[float, Field(ge=0.7, le=4)]
    number: Annotated[float, Field(ge=5, le=12)]
    line: Annotated[float, Field(ge=0.2, le=0.4)]
    line_grey: Annotated[float, Field(ge=0.5, le=0.75)]

    @property
    def count(self) -> int:
        """How many circles a day has."""
        return self.most_minutes // self.minutes

    @model_validator(mode="after")
    def _fits_together(self) -> "Circles":
        if self.most_minutes % self.minutes:
            raise ValueError(f"most_minutes must be a whole number of circles of {self.minutes} minutes")
        if self.diameter_most < self.diameter:
            raise ValueError("diameter_most is smaller than diameter")
        return self


class Words(_Part):
    """The wording in one language. legend: what filled circles mean; only for charts that have some."""

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
    legend: str = ""

    @model_validator(mode="after")
    def _blanks_are_known(self) -> "Words":
        for key, value in self:
            for sentence in [value] if isinstance(value, str) else value:
                for blank in blanks_in(key, sentence):
                    if blank not in BLANKS | CIRCLE_BLANKS:
                        known = ", ".join(f"{{{name}}}" for name in sorted(BLANKS))
                        raise ValueError(f"{key} has {{{blank}}}, which nothing fills; there are {known}")
        return self


class Design(_Part):
    """A whole design. Build it with `load_design`.

    name: the file's name without `.toml`. circles: None where days are boxes to write a number in.
    """

    name: str
    sizes: Sizes
    lines: Lines
    tags: Tags
    columns: Columns
    circles: Circles | None = None
    words: Annotated[dict[str, Words], Field(min_length=1)]

    @model_validator(mode="after")
    def _circles_are_there_to_speak_of(self) -> "Design":
        for language, words in self.words.items():
            for key, value in words:
                for sentence in [value] if isinstance(value, str) else value:
                    if self.circles is None and CIRCLE_BLANKS & set(blanks_in(key, sentence)):
                        raise ValueError(
                            f"words.{language}.{key} speaks of circles, but there is no part [circles]"
                        )
        return self

    def wording(self, language: str, given_as: str = "language in challenge.toml") -> Words:
        """The wording for a language tag; `es-MX` is served by `es`.

        given_as: where the language was chosen, for the message. Raises DesignError.
        """
        for tag in (language, language.replace("_", "-").split("-")[0].lower()):
            if tag in self.words:
                return self.words[tag]
        have = ", ".join(sorted(self.words))
        raise DesignError(
            f'The chart design "{self.name}" has no wording for the language "{language}"; it has {have}. '
            f"Set {given_as} to one of these, or add a part [words.{language}] to a copy "
            "of the design."
        )


def load_design(name_or_path: str, folder: Path, given_as: str = "design in challenge.toml") -> Design:
    """Read a shipped design by name, or a teacher's own by its path (ending in `.toml`).

    folder: the challenge's folder; a relative path starts there.
    given_as: where the design was chosen, for messages.
    Raises DesignError, which names the bad key.
    """
    if name_or_path.lower().endswith(".toml"):
        path = folder / Path(name_or_path).expanduser()
    else:
        path = shipped.templates() / f"{name_or_path}.toml"
        names = sorted(file.stem for file in shipped.templates().glob("*.toml"))
        if name_or_path not in names:
            raise DesignError(
                f'There is no chart design "{name_or_path}"; there are: {", ".join(names)}. Set '
                f"{given_as} to one of these, or to the path of a design of your own, which ends in .toml."
            )
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        raise DesignError(
            f"There is no chart design {path}. Correct {given_as}, or put the file there."
        ) from None
    except OSError as error:
        raise DesignError(
            f"{path}: the chart design cannot be opened: {error.strerror}. Put a file there that can be "
            "read, then run the same command again."
        ) from error
    data = parse_toml(content, str(path), DesignError)
    wrong = part_problems(data.get("words"), "words", Words)
    if not wrong:
        try:
            return Design.model_validate({**data, "name": path.stem})
        except ValidationError as error:
            wrong = problems(error, Design)
    raise DesignError(
        f"The chart design {path} cannot be used: {'; '.join(wrong)}. Mend that and run the same command "
        "again; `daybox new FOLDER --own-design` makes a copy that works, to compare with."
    )
