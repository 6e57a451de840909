"""What the pictures say, in the languages that ship."""

from dataclasses import dataclass

from babel import Locale, UnknownLocaleError


@dataclass(frozen=True, slots=True)
class ProgressWords:
    """The words of one language; what stands in braces is filled in. A pair is for one and for more."""

    # the class
    calendar: str
    calendar_lead: str
    practiced_of: str
    no_school: str
    unknown: str
    none: str
    minutes_between: str
    minutes_from: str
    minutes: str
    by_section: str
    by_section_lead: str
    a_day: str
    a_week: str
    nothing_in: str
    totals: str
    totals_lead: str
    charts: str
    total_axis: str
    goal: str
    at_least: str
    charts_in: str
    open_note: tuple[str, str]
    # a student
    own: str
    days_met: str
    days_open: tuple[str, str]
    practiced: tuple[str, str]
    streak: str
    so_far: str
    best: str
    best_more: tuple[str, str]
    total: str
    running: str
    path: str
    met: str
    undecided: str
    cheer: str
    waits: str
    star_sign: str
    not_in_heading: str
    not_in: str
    # the poster
    together: str
    hours_of: str
    minutes_of: str
    tune: str
    met_count: tuple[str, str]
    days_count: tuple[str, str]
    may_grow: tuple[str, str]
    everybody: str
    # months beside each other
    compared: str
    compared_lead: str
    median: str
    share_met: str
    hours: str
    all_together: str
    compared_note: str
    # all
    cautions: str
    sources: str


_SOURCES = (
    "National Association of Schools of Music and Performing Arts Medicine Association, Protecting Your "
    "Neuromusculoskeletal Health; British Association for Performing Arts Medicine and Musicians' Union, "
    "Performance Health Guide for Instrumental and Vocal Teachers (2023)."
)

_ENGLISH = ProgressWords(
    calendar="Our month",
    calendar_lead="Minutes on each day, on average of all charts that are in",
    practiced_of="{count} of {all} practiced",
    no_school="no school",
    unknown="not yet known",
    none="no practice",
    minutes_between="{low} to {high} min",
    minutes_from="{low} min and more",
    minutes="{minutes} min",
    by_section="Minutes by section",
    by_section_lead="On average for each chart that is in. Pale: days that are not practice days; dashed: "
    "the {minimum} minutes of a practice day",
    a_day="Minutes a day",
    a_week="Minutes a week",
    nothing_in="No chart of this section is in yet.",
    totals="What everybody's minutes add up to",
    totals_lead="How many charts there are with so many minutes in the whole month",
    charts="Charts",
    total_axis="Minutes in the month",
    goal="Goal: {goal} min ({required} days with {minimum})",
    at_least="at least so many; more is not yet known",
    charts_in="Charts that are in: {count} of {all}.",
    open_note=("{count} day is not yet known and left out.", "{count} days are not yet known and left out."),
    own="{month}: my practice",
    days_met="practice days with {minimum} minutes or more",
    days_open=("{count} day is not yet known", "{count} days are not yet known"),
    practiced=("day with my instrument", "days with my instrument"),
    streak="practice days in a row, my longest streak",
    so_far="so far",
    best="on my best day: {day}",
    best_more=("{day} and {count} more day", "{day} and {count} more days"),
    total="in the whole month",
    running="How my minutes grew",
    path="{minimum} minutes on every practice day",
    met="Challenge met. Well done!",
    undecided="Whether the challenge is met is not known yet.",
    cheer="Every one of these minutes counts, and next month starts fresh.",
    waits="Another page that came in still waits for your teacher to look at it.",
    star_sign="practice day with {minimum} minutes or more",
    not_in_heading="Your chart is not here yet",
    not_in="When it comes in, your month will be drawn here. Is it lost? Ask your teacher for a new one. "
    "You can also color in the days on which you played, as far as you remember.",
    together="Together we practiced",
    hours_of="{hours} hours",
    minutes_of="{minutes} minutes",
    tune="Every note is a day: the higher it stands, the more we played that day.",
    met_count=("{count} of us met the challenge", "{count} of us met the challenge"),
    days_count=("{count} day with an instrument in hand", "{count} days with an instrument in hand"),
    may_grow=(
        "{count} day is not yet known, so there may be more.",
        "{count} days are not yet known, so there may be more.",
    ),
    everybody="All of us",
    compared="Month beside month",
    compared_lead="Of the whole class, and of sections that are in more than one month",
    median="Minutes in the month, the middle chart",
    share_met="Met the challenge, of 100 who handed in",
    hours="Hours, all together",
    all_together="All",
    compared_note="The middle chart: half have more minutes, half have fewer. Charts with an open question "
    "are left out of it. Hatched, or with a question mark: not yet known. Months differ in practice days "
    "and minutes.",
    cautions="Rest belongs to practicing: take breaks and days off, and let your minutes grow slowly. If "
    "something hurts, stop and tell your teacher; if it does not go away, see a doctor. This is no medical "
    "advice.",
    sources=f"After: {_SOURCES}",
)

_SPANISH = ProgressWords(
    calendar="Nuestro mes",
    calendar_lead="Minutos de cada día, en promedio de todas las hojas que ya llegaron",
    practiced_of="practicaron {count} de {all}",
    no_school="sin clases",
    unknown="aún no se sabe",
    none="sin práctica",
    minutes_between="de {low} a {high} min",
    minutes_from="{low} min y más",
    minutes="{minutes} min",
    by_section="Minutos por sección",
    by_section_lead="En promedio por cada hoja que ya llegó. Claro: días que no son obligatorios; raya "
    "cortada: los {minimum} minutos de un día obligatorio",
    a_day="Minutos al día",
    a_week="Minutos a la semana",
    nothing_in="Todavía no ha llegado ninguna hoja de esta sección.",
    totals="Cuánto suman los minutos de cada quien",
    totals_lead="Cuántas hojas tienen tantos minutos en todo el mes",
    charts="Hojas",
    total_axis="Minutos en el mes",
    goal="Meta: {goal} min ({required} días con {minimum})",
    at_least="por lo menos tantos; aún no se sabe si más",
    charts_in="Hojas que ya llegaron: {count} de {all}.",
    open_note=(
        "{count} día aún no se sabe y no está incluido.",
        "{count} días aún no se saben y no están incluidos.",
    ),
    own="{month}: mi práctica",
    days_met="días obligatorios con {minimum} minutos o más",
    days_open=("{count} día aún no se sabe", "{count} días aún no se saben"),
    practiced=("día con mi instrumento", "días con mi instrumento"),
    streak="días obligatorios seguidos, mi racha más larga",
    so_far="hasta ahora",
    best="en mi mejor día: {day}",
    best_more=("{day} y {count} día más", "{day} y {count} días más"),
    total="en todo el mes",
    running="Cómo crecieron mis minutos",
    path="{minimum} minutos en cada día obligatorio",
    met="¡Reto cumplido! ¡Muy bien!",
    undecided="Todavía no se sabe si el reto está cumplido.",
    cheer="Cada uno de estos minutos cuenta, y el próximo mes empieza de nuevo.",
    waits="Otra página que llegó todavía espera a que tu maestro o maestra la revise.",
    star_sign="día obligatorio con {minimum} minutos o más",
    not_in_heading="Tu hoja todavía no está aquí",
    not_in="Cuando llegue, aquí se dibujará tu mes. ¿Se perdió? Pide otra a tu maestro o maestra. También "
    "puedes colorear los días en que tocaste, si te acuerdas.",
    together="Entre todos practicamos",
    hours_of="{hours} horas",
    minutes_of="{minutes} minutos",
    tune="Cada nota es un día: cuanto más alta, más tocamos ese día.",
    met_count=("{count} de nosotros cumplió el reto", "{count} de nosotros cumplimos el reto"),
    days_count=(
        "{count} día con un instrumento en las manos",
        "{count} días con un instrumento en las manos",
    ),
    may_grow=(
        "{count} día aún no se sabe, así que puede ser más.",
        "{count} días aún no se saben, así que puede ser más.",
    ),
    everybody="Todos nosotros",
    compared="Mes con mes",
    compared_lead="De toda la clase, y de las secciones que están en más de un mes",
    median="Minutos en el mes, la hoja de en medio",
    share_met="Cumplieron el reto, de cada 100 que entregaron",
    hours="Horas, entre todos",
    all_together="Todos",
    compared_note="La hoja de en medio: la mitad tiene más minutos y la mitad menos. No incluye hojas con "
    "preguntas abiertas. Rayado, o con signo de interrogación: aún no se sabe. Los meses difieren en días "
    "obligatorios y minutos.",
    cautions="Descansar también es practicar: haz pausas, toma días libres y aumenta los minutos poco a "
    "poco. Si algo te duele, detente y díselo a tu maestro o maestra; si no se te pasa, ve al médico. Esto "
    "no es un consejo médico.",
    sources=f"Según: {_SOURCES}",
)

_LANGUAGES = {"en": _ENGLISH, "es": _SPANISH}


def progress_words(language: str) -> tuple[ProgressWords, Locale]:
    """The words in a challenge's language, or else in English, and how that language writes dates."""
    tag = language.replace("-", "_")
    spoken = tag.partition("_")[0].lower()  # es-MX is served by es
    if spoken not in _LANGUAGES:
        return _ENGLISH, Locale("en")
    try:
        return _LANGUAGES[spoken], Locale.parse(tag)
    except (UnknownLocaleError, ValueError):
        return _LANGUAGES[spoken], Locale(spoken)


def counted(words: tuple[str, str], count: int) -> str:
    return words[count != 1].format(count=count)
