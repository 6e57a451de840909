"""What to write to families of whom no chart counts yet: ready to paste, and naming no other child.

Each sentence is a line of its own, so that it survives being pasted anywhere.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from babel import Locale
from babel.dates import format_date, format_skeleton, get_month_names

from ingest.chart.design import Design
from ingest.plan.challenge import Challenge
from ingest.report.missing import Lack


@dataclass(frozen=True, slots=True)
class _Words:
    """The sentences of one language. In braces: {name}, {month}, and {due} as `date` has it.

    all_before, all_after, one_before, one_after: to everybody or to one, before and after the due date.
    """

    date: str
    hello: str
    lacks: Mapping[Lack, str]
    all_before: Sequence[str]
    all_after: Sequence[str]
    one_before: str
    one_after: Sequence[str]
    spare: str
    thanks: str


_ENGLISH = _Words(
    date="{weekday}, {day}",
    hello="Hello {name},",
    lacks={
        Lack.NOTHING: "I do not have your practice chart for {month} yet.",
        Lack.UNREAD: "Thank you for what you handed in, but no practice chart can be read in it.",
        Lack.OTHER: "Thank you for your chart, but it is another month's. I need the one for {month}.",
        Lack.BLANK: "Thank you for your practice chart, but nothing is written on it.",
        Lack.ASIDE: "What you handed in cannot count as your practice chart for {month}.",
    },
    all_before=(
        "Is your practice chart for {month} not in yet?",
        "Please hand it in by {due}.",
    ),
    all_after=(
        "The practice charts for {month} were due on {due}.",
        "If yours is not in yet, please hand it in as soon as you can.",
    ),
    one_before="Please hand it in by {due}.",
    one_after=("It was due on {due}.", "Please hand it in as soon as you can."),
    spare="Did you lose your chart? Ask me for a new one.",
    thanks="Thank you!",
)

_SPANISH = _Words(
    date="{weekday} {day}",
    hello="Hola, {name}:",
    lacks={
        Lack.NOTHING: "Todavía no tengo tu hoja de práctica de {month}.",
        Lack.UNREAD: "Gracias por tu entrega, pero no se puede leer en ella ninguna hoja de práctica.",
        Lack.OTHER: "Gracias por tu hoja, pero es la de otro mes. Necesito la de {month}.",
        Lack.BLANK: "Gracias por tu hoja de práctica, pero no tiene nada escrito.",
        Lack.ASIDE: "Lo que entregaste no puede contar como tu hoja de práctica de {month}.",
    },
    all_before=(
        "¿Todavía no has entregado tu hoja de práctica de {month}?",
        "Entrégala a más tardar el {due}.",
    ),
    all_after=(
        "La fecha de entrega de las hojas de práctica de {month} era el {due}.",
        "Si falta la tuya, entrégala lo antes posible.",
    ),
    one_before="Entrégala a más tardar el {due}.",
    one_after=("La fecha de entrega era el {due}.", "Entrégala lo antes posible."),
    spare="¿Perdiste tu hoja? Pídeme otra.",
    thanks="¡Gracias!",
)

_LANGUAGES = {"en": _ENGLISH, "es": _SPANISH}


def reminder_to_all(challenge: Challenge, design: Design, today: date) -> str:
    """One text for a whole class, without any name."""
    words, blanks = _words(challenge)
    before = challenge.hand_in.due is not None and today <= challenge.hand_in.due
    call = words.all_before if before else words.all_after[0 if challenge.hand_in.due else 1 :]
    return _text(call, _how(challenge, design), [words.spare, words.thanks], blanks)


def reminder_to_one(first_name: str, lack: Lack, challenge: Challenge, design: Design, today: date) -> str:
    """A text for one child, which names nobody else; "" where the teacher must look first."""
    words, blanks = _words(challenge)
    if lack not in words.lacks:
        return ""
    before = challenge.hand_in.due is not None and today <= challenge.hand_in.due
    call = [words.one_before] if before else words.one_after[0 if challenge.hand_in.due else 1 :]
    first = [words.hello, words.lacks[lack], *call]
    return _text(first, _how(challenge, design), [words.spare, words.thanks], {**blanks, "name": first_name})


def _words(challenge: Challenge) -> tuple[_Words, dict[str, str]]:
    """The sentences in the challenge's language, or else in English, and what fills their blanks."""
    spoken = challenge.language.replace("_", "-").partition("-")[0].lower()  # es-MX is served by es
    spoken = spoken if spoken in _LANGUAGES else "en"
    month = get_month_names("wide", "stand-alone", Locale(spoken))[challenge.month.number]
    words, due = _LANGUAGES[spoken], challenge.hand_in.due
    said = ""
    if due:
        weekday, day = format_date(due, "EEEE", locale=spoken), format_skeleton("MMMMd", due, locale=spoken)
        said = words.date.format(weekday=weekday, day=day)
    return words, {"month": str(month), "due": said}


def _how(challenge: Challenge, design: Design) -> list[str]:
    """How to hand in, as the chart itself says it, a sentence a line."""
    due = challenge.hand_in.due
    locale = challenge.language.replace("-", "_")
    blanks = {
        "minutes": challenge.days.minimum_minutes,
        "month": format_skeleton("yMMMM", challenge.month.dates()[0], locale=locale),
        "title": challenge.title,
        "weekday": format_date(due, "EEEE", locale=locale) if due else "",
        "due": format_skeleton("MMMMd", due, locale=locale) if due else "",
        "number": "",
    }
    said = [sentence.format(**blanks) for sentence in design.wording(challenge.language).hand_in]
    return [line for text in said for line in re.split(r"(?<=[.!?])\s+", text)]


def _text(first: Sequence[str], how: Sequence[str], last: Sequence[str], blanks: Mapping[str, str]) -> str:
    """Three short paragraphs."""
    parts = [[line.format(**blanks) for line in first], how, [line.format(**blanks) for line in last]]
    return "\n\n".join("\n".join(part) for part in parts)
