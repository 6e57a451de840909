"""What the sheet of awards says, in each language that it speaks."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SheetWords:
    """What the sheet says besides the certificate's own words. In braces: what Daybox fills in."""

    lead: str
    final: str
    not_final: str
    met: str
    met_all: str
    met_some: str
    of: str
    nobody: str
    nobody_yet: str
    places: str
    places_in: str
    rule: str
    cap: str
    shared: str
    at_least: str
    open_here: str
    open_for_more: str
    rules: dict[str, str]
    mention_in: str
    open: str
    open_lead: str
    open_place: str
    boxes: tuple[str, str]
    page: str
    others: str
    more: str
    times: str
    strangers: tuple[str, str]
    harmless: tuple[str, str]
    next: str
    missing: tuple[str, str]
    care: str
    care_lead: str
    sources: str
    page_of: str


_ENGLISH = SheetWords(
    lead="For reading aloud. What stands small and grey is for you alone.",
    final="Everything that decides an award is settled.",
    not_final="Not final: some awards are still open. They stand at the end.",
    met="Met the challenge",
    met_all="At least {minimum} minutes on every one of {required} practice days.",
    met_some="At least {minimum} minutes on at least {needed} of {required} practice days.",
    of="{met} of {rivals} who handed in",
    nobody="Nobody this time.",
    nobody_yet="Nobody yet.",
    places="Most minutes",
    places_in="Most minutes in {section}",
    rule="Equal minutes share a place, and the next place is left out: 1, 2, 2, 4.",
    cap="Of each day, at most {cap} minutes count.",
    shared="shared",
    at_least="at least {minutes}",
    open_here="Still open; see the end.",
    open_for_more="Still open for others; see the end.",
    rules={
        "longest-streak": "Most practice days in a row with at least {minimum} minutes.",
        "every-weekday": "At least {minimum} minutes on every one of {required} practice days.",
        "most-improved-week": "Biggest rise in minutes from one whole week to the next. A day counts at most "
        "{most} minutes, so that no leap is praised.",
        "first-to-hand-in": "By the times of the files.",
    },
    mention_in="{title} in {section}",
    open="Still open",
    open_lead="Nothing of this is given yet: a box that nobody has settled could change it.",
    open_place="place {best} to {worst}",
    boxes=("{count} open box", "{count} open boxes"),
    page="a page to be confirmed",
    others="waits for others",
    more="and {count} more",
    times="The files do not say which of these came first: decide it yourself.",
    strangers=(
        "{count} page is nobody's yet, and may be anybody's.",
        "{count} pages are nobody's yet, and may be anybody's.",
    ),
    harmless=(
        "{count} open question is left; it cannot change an award.",
        "{count} open questions are left; they cannot change an award.",
    ),
    next="Settle them with daybox review, then run daybox awards again.",
    missing=(
        "{count} student has nothing in that counts: daybox missing says why.",
        "{count} students have nothing in that counts: daybox missing says why.",
    ),
    care="A word of care",
    care_lead="Where minutes are praised, this belongs to it:",
    sources="After: National Association of Schools of Music and Performing Arts Medicine Association, "
    "Protecting Your Neuromusculoskeletal Health; British Association for Performing Arts Medicine and "
    "Musicians' Union, Performance Health Guide for Instrumental and Vocal Teachers (2023).",
    page_of="{number} of {count}",
)

_SPANISH = SheetWords(
    lead="Para leer en voz alta. Lo que está en gris y en letra pequeña es solo para ti.",
    final="Todo lo que decide un premio está resuelto.",
    not_final="No es definitivo: quedan premios por decidir. Están al final.",
    met="Cumplieron el reto",
    met_all="Al menos {minimum} minutos en cada uno de los {required} días de práctica.",
    met_some="Al menos {minimum} minutos en {needed} o más de los {required} días de práctica.",
    of="{met} de {rivals} que entregaron",
    nobody="Esta vez, nadie.",
    nobody_yet="Todavía nadie.",
    places="Más minutos",
    places_in="Más minutos en {section}",
    rule="Con los mismos minutos se comparte el lugar, y el siguiente queda libre: 1, 2, 2, 4.",
    cap="De cada día cuentan como máximo {cap} minutos.",
    shared="compartido",
    at_least="al menos {minutes}",
    open_here="Por decidir; mira al final.",
    open_for_more="Para otros está por decidir; mira al final.",
    rules={
        "longest-streak": "Más días de práctica seguidos con al menos {minimum} minutos.",
        "every-weekday": "Al menos {minimum} minutos en cada uno de los {required} días de práctica.",
        "most-improved-week": "El mayor aumento de minutos de una semana completa a la siguiente. De cada "
        "día cuentan como máximo {most} minutos, para no premiar los saltos.",
        "first-to-hand-in": "Según la hora de los archivos.",
    },
    mention_in="{title} en {section}",
    open="Por decidir",
    open_lead="Nada de esto se da todavía: una casilla que nadie ha resuelto podría cambiarlo.",
    open_place="lugar {best} a {worst}",
    boxes=("{count} casilla abierta", "{count} casillas abiertas"),
    page="una página por confirmar",
    others="depende de otros",
    more="y {count} más",
    times="Los archivos no dicen quién de ellos fue primero: decídelo tú.",
    strangers=(
        "{count} página no es de nadie todavía y puede ser de cualquiera.",
        "{count} páginas no son de nadie todavía y pueden ser de cualquiera.",
    ),
    harmless=(
        "Queda {count} pregunta abierta; no puede cambiar ningún premio.",
        "Quedan {count} preguntas abiertas; no pueden cambiar ningún premio.",
    ),
    next="Resuélvelas con daybox review y después repite daybox awards.",
    missing=(
        "De {count} estudiante no hay nada que cuente: daybox missing dice por qué.",
        "De {count} estudiantes no hay nada que cuente: daybox missing dice por qué.",
    ),
    care="Con cuidado",
    care_lead="Donde se premian los minutos, hay que decir también esto:",
    sources=_ENGLISH.sources.replace("After:", "Según:"),
    page_of="{number} de {count}",
)

_LANGUAGES = {"en": _ENGLISH, "es": _SPANISH}


def sheet_words(language: str) -> SheetWords:
    """The words for a language ("es"), or else the English ones."""
    return _LANGUAGES.get(language, _ENGLISH)
