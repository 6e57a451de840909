"""A certificate's design: sizes, colours, parts and wording, kept as data in `templates/certificates/`."""

from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, model_validator
from reportlab.lib.colors import HexColor

from ingest import shipped
from ingest.errors import DesignError
from ingest.settings import blanks_in, parse_toml, part_problems, problems

# What any sentence may ask for in braces, and what some may besides.
BLANKS = frozenset({"title", "month", "year", "minimum", "required", "name", "section"})
OWN_BLANKS = {
    "met_why": frozenset({"days"}),
    "place": frozenset({"place"}),
    "place_why": frozenset({"place", "minutes"}),
    "longest_streak_why": frozenset({"days"}),
    "most_improved_week_why": frozenset({"minutes"}),
    "first_to_hand_in_why": frozenset({"weekday", "date"}),
}

# Least contrasts, by WCAG 2.2: of large letters to white paper (criterion 1.4.3), and of black to a colour,
# as if it were small text (1.4.6).
FRAME_CONTRAST = 3.0
SEAL_CONTRAST = 7.0


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Sizes(_Part):
    """On a whole sheet; margin in millimetres, the others in points."""

    margin: Annotated[float, Field(ge=9.1, le=25)]  # printers leave 6 blank, and notes reach beyond the frame
    heading: Annotated[float, Field(ge=20, le=60)]
    name: Annotated[float, Field(ge=20, le=60)]
    award: Annotated[float, Field(ge=14, le=36)]
    text: Annotated[float, Field(ge=10, le=20)]
    small_print: Annotated[float, Field(ge=7, le=12)]


def luminance(color: str) -> float:
    """Relative luminance of "#RRGGBB", 0 black to 1 white: WCAG 2.2, "relative luminance"."""

    def linear(channel: float) -> float:
        return channel / 12.92 if channel <= 0.04045 else ((channel + 0.055) / 1.055) ** 2.4

    red, green, blue = (linear(channel) for channel in HexColor(color).rgb())
    return float(0.2126 * red + 0.7152 * green + 0.0722 * blue)


def _dark_enough(color: str) -> str:
    contrast = 1.05 / (luminance(color) + 0.05)
    if contrast < FRAME_CONTRAST:
        raise ValueError(
            f"{color} is too pale: its contrast to white paper is {contrast:.1f}, and large letters need "
            f"{FRAME_CONTRAST:g}"
        )
    return color


def _light_enough(color: str) -> str:
    contrast = (luminance(color) + 0.05) / 0.05
    if contrast < SEAL_CONTRAST:
        raise ValueError(
            f"{color} is too dark: the contrast of the black sign on it is {contrast:.1f}, and should be "
            f"{SEAL_CONTRAST:g}"
        )
    return color


def _hex(color: str) -> str:
    digits = color.removeprefix("#")
    if len(digits) != 6 or len(color) != 7 or not set(digits.lower()) <= set("0123456789abcdef"):
        raise ValueError(f'a color is written like "#0072B2", not "{color}"')
    return color


class Colors(_Part):
    frame: Annotated[str, AfterValidator(_hex), AfterValidator(_dark_enough)]
    seal: Annotated[str, AfterValidator(_hex), AfterValidator(_light_enough)]


class Parts(_Part):
    tune: bool
    seal: bool
    signature: bool


class Words(_Part):
    """The wording in one language. Keys that end in _why say what an award is for."""

    heading: str
    event: str
    to: str
    section: str
    met: str
    met_every_day: str
    met_why: str
    places: tuple[str, ...]
    place: str
    place_why: str
    longest_streak: str
    longest_streak_why: str
    every_weekday: str
    every_weekday_why: str
    most_improved_week: str
    most_improved_week_why: str
    first_to_hand_in: str
    first_to_hand_in_why: str
    date: str
    signature: str
    cautions: str

    @model_validator(mode="after")
    def _blanks_are_known(self) -> "Words":
        for key, value in self:
            known = BLANKS | OWN_BLANKS.get(key, frozenset())
            for sentence in [value] if isinstance(value, str) else value:
                for blank in blanks_in(key, sentence):
                    if blank not in known:
                        there = ", ".join(f"{{{name}}}" for name in sorted(known))
                        raise ValueError(f"{key} has {{{blank}}}, which nothing fills; there are {there}")
        return self

    @model_validator(mode="after")
    def _caution_is_there(self) -> "Words":
        if not self.cautions.strip():
            raise ValueError("cautions must not be empty: where minutes are praised, a word of care belongs")
        return self


class CertificateDesign(_Part):
    """A whole design. Build it with `load_certificate`. name: the file's name without `.toml`."""

    name: str
    sizes: Sizes
    colors: Colors
    parts: Parts
    words: Annotated[dict[str, Words], Field(min_length=1)]

    def wording(self, language: str) -> Words:
        """The wording for a language tag; `es-MX` is served by `es`. Raises DesignError."""
        for tag in (language, language.replace("_", "-").split("-")[0].lower()):
            if tag in self.words:
                return self.words[tag]
        raise DesignError(
            f'The certificate "{self.name}" has no wording for the language "{language}"; it has '
            f"{', '.join(sorted(self.words))}. Make a copy of it with `daybox awards --own-design` and add a "
            f"part [words.{language}]."
        )


def shipped_certificate(name: str) -> Path:
    """The file of a design that comes along. Raises DesignError where there is none of that name."""
    folder = shipped.templates() / "certificates"
    names = sorted(file.stem for file in folder.glob("*.toml"))
    if name not in names:
        raise DesignError(
            f'There is no certificate "{name}"; there are: {", ".join(names)}. Set prizes.certificate in '
            "challenge.toml to one of these, or to the path of a design of your own, which ends in .toml."
        )
    return folder / f"{name}.toml"


def load_certificate(name_or_path: str, folder: Path) -> CertificateDesign:
    """Read a shipped design by name, or a teacher's own by its path (ending in `.toml`).

    folder: the challenge's folder; a relative path starts there. Raises DesignError, which names the bad key.
    """
    if name_or_path.lower().endswith(".toml"):
        path = folder / Path(name_or_path).expanduser()
    else:
        path = shipped_certificate(name_or_path)
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        raise DesignError(
            f"There is no certificate {path}. Correct prizes.certificate in challenge.toml, or put the file "
            "there."
        ) from None
    except OSError as error:
        raise DesignError(
            f"{path}: the certificate cannot be opened: {error.strerror}. Put a file there that can be read, "
            "then run the same command again."
        ) from error
    data = parse_toml(content, str(path), DesignError)
    wrong = part_problems(data.get("words"), "words", Words)
    if not wrong:
        try:
            return CertificateDesign.model_validate({**data, "name": path.stem})
        except ValidationError as error:
            wrong = problems(error, CertificateDesign)
    raise DesignError(
        f"The certificate {path} cannot be used: {'; '.join(wrong)}. Mend that and run the same command "
        "again, or compare it with a fresh copy: `daybox awards --own-design` in another folder makes one."
    )
