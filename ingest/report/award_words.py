"""What an award is called and what it is for, in the words of the certificate's design."""

from dataclasses import dataclass

from babel import Locale, UnknownLocaleError
from babel.dates import format_date, format_skeleton
from babel.numbers import format_decimal

from ingest.errors import DesignError
from ingest.plan.challenge import Challenge
from ingest.plan.roster import Student
from ingest.report.awards import Honour, Winner
from ingest.report.certificate_design import CertificateDesign, Words


@dataclass(frozen=True, slots=True)
class Phrases:
    """The sentences of one challenge. Make it with `phrases`."""

    challenge: Challenge
    words: Words
    locale: Locale

    def title(self, honour: Honour, place: int | None = None) -> str:
        """What it is called: "Second place", or as the teacher has it."""
        if honour.title is not None:
            return honour.title
        if honour.kind == "place" and place is not None:
            named = self.words.places[place - 1 : place]
            return self.fill(named[0] if named else self.words.place, place=place)
        return self.fill(getattr(self.words, honour.kind.replace("-", "_")))

    def why(self, honour: Honour, winner: Winner) -> str:
        """What it is for, or "" where an open box could still change the figure."""
        words, figure = self.words, winner.figure
        if honour.kind == "first-to-hand-in" and honour.at:
            day = honour.at.date()
            return self.fill(
                words.first_to_hand_in_why,
                winner.student,
                weekday=str(format_date(day, "EEEE", locale=self.locale)),
                date=str(format_skeleton("MMMMd", day, locale=self.locale)),
            )
        if figure is None:
            return ""
        match honour.kind:
            case "met":
                whole = figure == len(self.challenge.required_dates())
                return self.fill(words.met_every_day if whole else words.met_why, winner.student, days=figure)
            case "place":
                return self.fill(
                    words.place_why, winner.student, place=winner.place or 0, minutes=self.number(figure)
                )
            case "longest-streak":
                return self.fill(words.longest_streak_why, winner.student, days=figure)
            case "every-weekday":
                return self.fill(words.every_weekday_why, winner.student)
            case _:
                return self.fill(words.most_improved_week_why, winner.student, minutes=self.number(figure))

    def number(self, figure: int) -> str:
        """ "1,148", as the language writes it."""
        return str(format_decimal(figure, locale=self.locale))

    def fill(self, sentence: str, student: Student | None = None, **own: str | int) -> str:
        """A sentence of the design with its blanks filled."""
        month = self.challenge.month
        return sentence.format(
            title=self.challenge.title,
            month=format_skeleton("yMMMM", month.dates()[0], locale=self.locale),
            year=month.year,
            minimum=self.challenge.days.minimum_minutes,
            required=len(self.challenge.required_dates()),
            name=student.name if student else "",
            section=student.section if student else "",
            **own,
        )


def phrases(challenge: Challenge, design: CertificateDesign) -> Phrases:
    """Raises DesignError if the design or the calendar lacks the challenge's language."""
    words = design.wording(challenge.language)
    try:
        locale = Locale.parse(challenge.language.replace("-", "_"))
    except (UnknownLocaleError, ValueError):
        raise DesignError(
            f'The calendar has no month and day names for the language "{challenge.language}". Set '
            'language in challenge.toml to a language tag such as "en", "es" or "pt-BR".'
        ) from None
    return Phrases(challenge, words, locale)
