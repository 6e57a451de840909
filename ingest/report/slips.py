"""Slips for families: what was read from a child's chart, what it adds up to. No other child is on it."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import PurePath

from babel import Locale
from babel.dates import format_date, format_skeleton

from ingest.cells import Cell, to_csv
from ingest.check.book import Book, Sheet, State, chart_order
from ingest.plan.challenge import Challenge
from ingest.plan.roster import Student
from ingest.report.gradebook import COLUMNS as GRADEBOOK_COLUMNS
from ingest.report.gradebook import gradebook_row
from ingest.report.slip_words import SlipWords, slip_words
from ingest.tally.student import Tally, tallies


@dataclass(frozen=True, slots=True)
class Slip:
    """One child's slip.

    page_id: the page from which most days were read. others: the ids of the other pages that count.
    adds_up, not_read: sentences in the chart's language; the first of adds_up is the total.
    message: the same in a few sentences, for a mail.
    """

    sheet: Sheet
    tally: Tally
    page_id: int
    others: Sequence[int]
    adds_up: Sequence[str]
    not_read: Sequence[str]
    message: str

    @property
    def student(self) -> Student:
        return self.sheet.student


def slips(book: Book, challenge: Challenge) -> tuple[Slip, ...]:
    """One for everybody of whom a chart counts, in roster order."""
    words, locale = slip_words(challenge.language)
    return tuple(
        _slip(sheet, tally, challenge, words, locale)
        for sheet, tally in zip(book.sheets, tallies(book, challenge), strict=True)
        if sheet.boxes
    )


def _slip(sheet: Sheet, tally: Tally, challenge: Challenge, words: SlipWords, locale: Locale) -> Slip:
    days = [box.page_id for box in sheet.boxes.values() if box.box.startswith("day:")]
    read_on = Counter(page_id for page_id in days if page_id in sheet.pages)
    main = max(sheet.pages, key=lambda page_id: (read_on[page_id], page_id))
    adds_up = tuple(_adds_up(sheet, tally, challenge, words))
    not_read = tuple(_not_read(sheet, tally, words, locale))
    month = format_skeleton("yMMMM", challenge.month.dates()[0], locale=locale)
    message = words.message.format(
        name=sheet.student.first_name,
        month=month,
        total=adds_up[0],
        days_met=_days_met(tally, challenge, words),
        open=" ".join(not_read),
    )
    others = tuple(page_id for page_id in sheet.pages if page_id != main)
    return Slip(sheet, tally, main, others, adds_up, not_read, message)


def _adds_up(sheet: Sheet, tally: Tally, challenge: Challenge, words: SlipWords) -> Iterator[str]:
    yield words.total.format(minutes=tally.total_minutes)
    yield words.weekend.format(minutes=tally.weekend_minutes)
    yield _days_met(tally, challenge, words)
    if tally.met is None:
        yield words.undecided
    elif tally.met:
        yield words.is_met
    if tally.counted_minutes != tally.total_minutes:
        cap = challenge.counting.counts_per_day
        yield words.counted.format(cap=cap, minutes=tally.counted_minutes)
    for week, added, said in _differing(sheet, challenge):
        yield words.totals_differ.format(week=week, added=added, said=said)


def _days_met(tally: Tally, challenge: Challenge, words: SlipWords) -> str:
    return words.days_met.format(
        met=tally.days_met, required=tally.required_days, minimum=challenge.days.minimum_minutes
    )


def _differing(sheet: Sheet, challenge: Challenge) -> Iterator[tuple[int, int, int]]:
    """The weeks whose written total is another than the days': number, sum of the days, what is written."""
    month = set(challenge.month.dates())
    for number, row in enumerate(challenge.month.weeks(challenge.days.week_starts), start=1):
        days = [sheet.boxes.get(f"day:{day}") for day in row if day in month]
        total = sheet.boxes.get(f"week:{number}")
        if total is None or total.state is State.FLAGGED or total.value is None:
            continue
        if any(box is not None and box.state is State.FLAGGED for box in days):
            continue
        added = sum(box.value or 0 for box in days if box)
        if added != total.value:
            yield number, added, total.value


def _not_read(sheet: Sheet, tally: Tally, words: SlipWords, locale: Locale) -> Iterator[str]:
    """What a person must still look at; what stands on a day of another month counts for nothing anyway."""
    names = sorted((box.box for box in sheet.boxes.values() if box.state is State.FLAGGED), key=chart_order)
    days = [date.fromisoformat(name.partition(":")[2]) for name in names if name.startswith("day:")]
    totals = [name for name in names if name.partition(":")[0] in ("week", "month")]
    if days:
        yield words.open_days.format(days=", ".join(_day_words(day, locale) for day in days))
    if totals:
        yield words.open_totals
    if tally.open_pages:
        yield words.open_page
    if not (days or totals or tally.open_pages):
        yield words.all_read


def _day_words(day: date, locale: Locale) -> str:
    """`Tuesday 12`."""
    return f"{format_date(day, 'EEEE', locale=locale)} {day.day}"


_FIGURES = ("total_minutes", "weekend_minutes", "required_days", "days_met", "met", "open_flags")


def slips_csv(found: Sequence[Slip], files: Sequence[PurePath]) -> bytes:
    """The CSV file, for a mail merge. files: where each slip lies alone, from the CSV's folder; may be none.

    The roster's e-mail column comes along if it has one.
    """
    emails = any("email" in slip.student.extra for slip in found)
    header = ("student_id", "first_name", "last_name", "section", *(["email"] if emails else []))
    rows = []
    for number, slip in enumerate(found):
        student = slip.student
        row: dict[str, Cell] = dict(zip(GRADEBOOK_COLUMNS, gradebook_row(slip.tally, None), strict=True))
        rows.append(
            (
                student.id,
                student.first_name,
                student.last_name,
                student.section,
                *([student.extra.get("email", "")] if emails else []),
                *(row[name] for name in _FIGURES),
                "; ".join(_readings(slip.sheet)),
                " ".join(slip.not_read),
                slip.message,
                files[number].as_posix() if files else "",
            )
        )
    return to_csv((*header, *_FIGURES, "readings", "not_read", "message", "file"), rows)


def _readings(sheet: Sheet) -> Iterator[str]:
    """`2027-10-01: 25`, a day each; `?` where it is open."""
    for box in sorted(sheet.boxes.values(), key=lambda box: chart_order(box.box)):
        if box.box.startswith("day:"):
            said = "?" if box.state is State.FLAGGED else "blank" if box.value is None else str(box.value)
            yield f"{box.box.partition(':')[2]}: {said}"
