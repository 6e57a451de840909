"""What a slip for the family says, in the languages that ship."""

from dataclasses import dataclass

from babel import Locale, UnknownLocaleError


@dataclass(frozen=True, slots=True)
class SlipWords:
    """The sentences of one language.

    What stands in braces is filled in. open_sign, person_sign: what signs in the table mean.
    totals_differ: a week that the child added up otherwise. line: a correction, with room to write wherever
    many spaces are. message: for a mail, where {total}, {days_met} and {open} are sentences from above.
    """

    title: str
    picture: str
    read: str
    no_picture: str
    blank: str
    open_sign: str
    person_sign: str
    add_heading: str
    total: str
    weekend: str
    days_met: str
    is_met: str
    undecided: str
    counted: str
    totals_differ: str
    open_heading: str
    all_read: str
    open_days: str
    open_totals: str
    open_page: str
    wrong_heading: str
    wrong: str
    line: str
    sign: str
    more: str
    message: str


_ENGLISH = SlipWords(
    title="What was read from your practice chart",
    picture="Your chart, as it came in",
    read="What was read",
    no_picture="There is no picture of the chart any more.",
    blank="blank",
    open_sign="could not be read for sure; counts for nothing so far",
    person_sign="your teacher looked at it",
    add_heading="What it adds up to",
    total="{minutes} minutes in all",
    weekend="{minutes} of them on Saturdays and Sundays",
    days_met="{met} of {required} required days with {minimum} minutes or more",
    is_met="The challenge is met. Well done!",
    undecided="Whether the challenge is met is not decided yet.",
    counted="For places a day counts at most {cap} minutes: {minutes} in all.",
    totals_differ="Week {week}: the days add up to {added}, the box says {said}. The days count.",
    open_heading="What could not be read",
    all_read="Everything on the chart could be read.",
    open_days="These days could not be read for sure, and count for nothing until your teacher has looked at "
    "them: {days}.",
    open_totals="Some of the totals that you wrote could not be read. They change nothing: the days count.",
    open_page="Another page that came in still waits for your teacher to look at it.",
    wrong_heading="Is something wrong?",
    wrong="Compare the two tables. If a number on the right is not what was written on the chart, tell your "
    "teacher, or return this slip with the right number written in. A blank day counts as 0 minutes.",
    line="Day               is not               but               minutes",
    sign="Signed by a grown-up",
    more="More of your chart, as it came in",
    message="This is what was read from {name}'s practice chart for {month}: {total}, {days_met}. {open} If "
    "something is wrong, tell your teacher, or return the slip with the right number written in.",
)

_SPANISH = SlipWords(
    title="Lo que se leyó en tu hoja de práctica",
    picture="Tu hoja, tal como llegó",
    read="Lo que se leyó",
    no_picture="Ya no hay imagen de la hoja.",
    blank="vacía",
    open_sign="no se pudo leer con seguridad; por ahora no cuenta",
    person_sign="la revisó tu maestro o maestra",
    add_heading="Cuánto suma",
    total="{minutes} minutos en total",
    weekend="{minutes} de ellos en sábados y domingos",
    days_met="{met} de {required} días obligatorios con {minimum} minutos o más",
    is_met="¡El reto está cumplido! ¡Muy bien!",
    undecided="Todavía no se sabe si el reto está cumplido.",
    counted="Para los lugares, cada día cuenta como máximo {cap} minutos: {minutes} en total.",
    totals_differ="Semana {week}: los días suman {added}; la casilla dice {said}. Cuentan los días.",
    open_heading="Lo que no se pudo leer",
    all_read="Se pudo leer todo lo que hay en la hoja.",
    open_days="Estos días no se pudieron leer con seguridad y no cuentan hasta que tu maestro o maestra los "
    "revise: {days}.",
    open_totals="Algunos de los totales que escribiste no se pudieron leer. No cambian nada: cuentan los "
    "días.",
    open_page="Otra página que llegó todavía espera a que tu maestro o maestra la revise.",
    wrong_heading="¿Hay algo mal?",
    wrong="Compara las dos tablas. Si un número de la derecha no es el que se escribió en la hoja, díselo a "
    "tu maestro o maestra, o devuelve este papel con el número correcto escrito en él. Un día vacío cuenta "
    "como 0 minutos.",
    line="El día               no son               sino               minutos",
    sign="Firma de un adulto",
    more="Más de tu hoja, tal como llegó",
    message="Esto es lo que se leyó en la hoja de práctica de {name} de {month}: {total}, {days_met}. {open} "
    "Si hay algo mal, díselo a tu maestro o maestra, o devuelve el papel con el número correcto escrito en "
    "él.",
)

_LANGUAGES = {"en": _ENGLISH, "es": _SPANISH}


def slip_words(language: str) -> tuple[SlipWords, Locale]:
    """The sentences in a challenge's language, or else in English, and how that language writes dates."""
    tag = language.replace("-", "_")
    spoken = tag.partition("_")[0].lower()  # es-MX is served by es
    if spoken not in _LANGUAGES:
        return _ENGLISH, Locale("en")
    try:
        return _LANGUAGES[spoken], Locale.parse(tag)
    except (UnknownLocaleError, ValueError):
        return _LANGUAGES[spoken], Locale(spoken)
