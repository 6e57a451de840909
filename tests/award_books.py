"""Awards to be drawn: names of every length and script, months that are settled and that are not."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from books import answered, book, flagged, month_of, page_question, sheet

from ingest.check.arrival import Arrival, Arrivals
from ingest.check.book import Book
from ingest.plan.challenge import MENTION_KINDS, Challenge, make_challenge
from ingest.plan.roster import Student
from ingest.report.award_words import Phrases, phrases
from ingest.report.awards import Awards, awards
from ingest.report.certificate_design import CertificateDesign, load_certificate

FANFARE = load_certificate("fanfare", Path())

# Invented, but for the long German one, which is no name.
NAMES_30 = (
    "Li Wu", "Zoë van der Berg", "José Ángel Muñoz Ortega de la Vega y Fernández-Castellanos", "明 李",
    "مريم حداد", "Ελένη Παππά", "Олена Ковальчук", "Nguyễn Thị Minh Châu", "יעל בן-עמי", "प्रिया रघुनाथन",
    "ประเสริฐ วงศ์สวัสดิ์", "박지훈", "さくら 小林", "Łukasz Wójcik",
    "Donaudampfschifffahrtselektrizitätenhauptbetriebswerkbauunterbeamtengesellschaft",
    "Siobhán Ó Ceallaigh", "ကျော်စွာ မြင့်အောင်", "សុខា ចាន់", "தமிழ்ச்செல்வி முருகன்", "Anaïs D'Andre-O'Brien",
    "მარიამ ბერიძე", "Հայկ Պետրոսյան", "አበበ በቀለ", "ਗੁਰਪ੍ਰੀਤ ਸਿੰਘ", "বিদ্যাসাগর চট্টোপাধ্যায়", "Xóchitl Iturbe",
    "Leilani Kealoha-Kamehamehaokalani", "محمد عبد الرحمن بن عبد الله", "Ng", "Иван Ёлкин",
)  # fmt: skip


def plan(**given: object) -> Challenge:
    """October 2027 with the 11th off, every mention, and what is given besides."""
    usual = {
        "month": "2027-10",
        "days": {"no_school": ["2027-10-11"]},
        "mentions": [{"kind": kind} for kind in MENTION_KINDS],
    }
    return make_challenge({**usual, **given}, "a test's plan")


def named(names: Sequence[str], sections: Sequence[str] = ("Period 2",)) -> list[Student]:
    return [Student(f"S{n:03}", name, "", sections[n % len(sections)]) for n, name in enumerate(names, 1)]


def month(
    challenge: Challenge, students: Sequence[Student], boxes: Mapping[str, Mapping[str, Any]] | None = None
) -> Book:
    """S001 has 20 minutes a day, S002 21 and so on. boxes: by student, what differs, as in `month_of`."""
    return book(
        *(
            sheet(student, month_of(challenge, 19 + n, **(boxes or {}).get(student.id, {})))
            for n, student in enumerate(students, 1)
        )
    )


def times(students: Sequence[Student]) -> Arrivals:
    """The first student was the first, at five past four on Friday, October 29."""
    at = [datetime(2027, 10, 29, 16, 5 + n % 50) for n, _ in enumerate(students)]
    return Arrivals({each.id: Arrival(time, time) for each, time in zip(students, at, strict=True)}, [])


def all_given(
    challenge: Challenge, names: Sequence[str] = NAMES_30, design: CertificateDesign = FANFARE
) -> tuple[Awards, Phrases]:
    """Everybody has met the challenge, five have a place, and every mention finds somebody."""
    students = named(names)
    improved = {f"d{n}": answered(f"day:2027-10-{n:02}", 15) for n in (12, 13, 14)}
    found = awards(month(challenge, students, {"S001": improved}), challenge, times(students))
    return found, phrases(challenge, design)


def some_open(challenge: Challenge) -> tuple[Awards, Phrases]:
    """Ana has surely met it, Ben's day is open, and a page is nobody's."""
    students = named(["Ana Marsh", "Ben Okoro", "Cleo Lind"], ["Flutes"])
    boxes = {"S002": {"d20": flagged("day:2027-10-20", 20)}, "S003": {"d20": answered("day:2027-10-20", 0)}}
    made = month(challenge, students, boxes)
    asked = Book(made.sheets, [*made.questions, page_question(9)])
    return awards(asked, challenge, times(students)), phrases(challenge, FANFARE)
