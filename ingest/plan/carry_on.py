"""The plan of the next month, made from the last one's: everything but its dates."""

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import Any

from babel import Locale, UnknownLocaleError

from ingest.errors import PlanError
from ingest.plan.challenge import Challenge, default_title, load_challenge, make_challenge
from ingest.plan.month import Month


@dataclass(frozen=True, slots=True)
class CarriedOn:
    """last: the plan that is carried on. designs: the teacher's own, by the names that the new plan has."""

    challenge: Challenge
    last: Challenge
    designs: Mapping[str, bytes]


def carry_on(folder: Path, target: Path, month: Month | None, changes: Mapping[str, object]) -> CarriedOn:
    """Read the plan in `folder` and make that of a later month of it.

    target: the new folder; it need not be there. month: None for the one after. changes: keys at the plan's
    top that are to be otherwise.

    Days without school and the hand-in date belong to their month, and are left out; a month that stands in
    the title becomes the new one. A design of the teacher's own that lies in the folder comes along; one that
    lies elsewhere is called from where the new folder is.

    Raises PlanError if there is no plan or it cannot be used, or a design is not there.
    """
    last = load_challenge(folder)
    month = month or last.month.following()
    given: dict[str, Any] = last.model_dump()
    given["month"] = month
    given["title"] = _title(last, month, str(changes.get("language", last.language)))
    del given["days"]["no_school"], given["hand_in"]["due"]
    given["reading"] = {"silent_errors": f"1 in {last.reading.silent_errors}"}
    designs: dict[str, bytes] = {}
    given["design"] = _design(last.design, folder, target, "design" not in changes, designs)
    given["prizes"]["certificate"] = _design(last.prizes.certificate, folder, target, True, designs)
    return CarriedOn(make_challenge({**given, **changes}, "This plan"), last, designs)


def _title(last: Challenge, month: Month, language: str) -> str:
    """The usual title of the new month; the teacher's own with the month in it put right."""
    if last.title == default_title(last.month, last.language):
        return default_title(month, language)
    for old, new in zip(_names(last.month, last.language), _names(month, last.language), strict=True):
        if old in last.title:
            return last.title.replace(old, new)
    return last.title


def _names(month: Month, language: str) -> tuple[str, ...]:
    """How the month is called in a title, also at its beginning; and in figures."""
    try:
        locale = Locale.parse(language.replace("-", "_"))
    except (UnknownLocaleError, ValueError):
        locale = Locale("en")
    name = locale.months["stand-alone"]["wide"][month.number]
    return name, name[:1].upper() + name[1:], name.upper(), str(month)


def _design(named: str, folder: Path, target: Path, is_wanted: bool, designs: dict[str, bytes]) -> str:
    """What the new plan calls a design; the file of one that comes along is added to `designs`."""
    if not named.lower().endswith(".toml") or not is_wanted:
        return named
    path = folder / named
    if not path.is_file():
        raise PlanError(
            f"{folder} has its own design {named}, but {path} is not there. Put it back, or name another "
            "with --design or in that folder's challenge.toml."
        )
    if PurePath(named).name == named:
        designs[named] = path.read_bytes()
        return named
    try:
        return Path(os.path.relpath(path.resolve(), target.resolve())).as_posix()
    except ValueError:  # another drive
        return path.resolve().as_posix()
