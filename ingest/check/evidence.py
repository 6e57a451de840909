"""What all pages of one student say of each box, put together."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from ingest.check.answers import value_of
from ingest.check.book import Flag
from ingest.check.faint import believed
from ingest.check.ownership import day_words
from ingest.check.plausible import plausible
from ingest.check.sums import Candidates
from ingest.ledger.records import AnswerRecord, PageRecord, ReturnRecord
from ingest.plan.challenge import Challenge
from ingest.printable import printable
from ingest.reading.certainty import SURE
from ingest.reading.values import BoxReading, Candidate

# A page whose frames lie farther from where they should be than this may have its boxes cut off. Twice the
# 0.5 mm within which a good page lands.
POOR_FIT_MM = 1.0
# From here on its boxes may show what stands elsewhere on the page.
HOPELESS_FIT_MM = 1.9
# What is left of each probability on a poor page: under SURE, so that only sums can make it sure again.
POOR_FIT_TRUST = SURE - 0.01
# And on a hopeless one, of which nothing is taken: of 471 boxes on hard photos by calibrating hands, 268 were
# read right, by their own probabilities 317.
HOPELESS_FIT_TRUST = 0.85

HIDDEN = (Candidate(None, "?", 1.0),)  # as `reading.page` reports a box that is covered or torn off


@dataclass(frozen=True, slots=True)
class OwnPage:
    """A page that is the student's, and the return that it came in."""

    page: PageRecord
    origin: ReturnRecord

    @property
    def handed_in(self) -> datetime:
        return self.origin.dated or self.origin.collected_at


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the ink says of one box, and what a person said.

    ink: the candidates that stand, of the page `page`. poor: that page is bent or badly placed. hopeless: so
        badly that not even the sums may settle a box.
    differs: two pages contradict each other, or a page that came in after an answer contradicts that, or what
        is typed contradicts what the same page shows.
    answer: a person's word, if it stands. readings: of every page that has the box, oldest first.
    """

    box: str
    ink: Candidates
    page: OwnPage
    poor: bool
    hopeless: bool
    differs: Flag | None = None
    answer: Candidate | None = None
    readings: Sequence[tuple[OwnPage, Candidates]] = ()


def is_unreadable(candidate: Candidate) -> bool:
    """Whether it is something that is no number."""
    return candidate.value is None and candidate.text != ""


def certainty(box: Candidates) -> float:
    """How sure the ink makes the minutes of its best candidate; 0 where that is no number.

    Whether a box is blank, or holds a dash or a 0, may be in doubt when it is not that it adds nothing.
    """
    best = box[0]
    if is_unreadable(best) or best.value:
        return 0.0 if is_unreadable(best) else best.probability
    return sum(c.probability for c in box if not c.value and not is_unreadable(c))


def is_only_seen(box: str) -> bool:
    """Whether it matters only that something is written there: initials, a name."""
    return box.partition(":")[0] in ("initials", "name")


def put_together(pages: Sequence[OwnPage], challenge: Challenge) -> dict[str, Evidence]:
    """What the pages say, box by box. pages: with readings, oldest first, at least one."""
    found: dict[str, Evidence] = {}
    for own in pages:
        residual = own.page.residual_mm
        fit = residual > POOR_FIT_MM, residual >= HOPELESS_FIT_MM
        inks = inks_of(own.page)
        for reading in own.page.readings:
            ink = inks[reading.box]
            if reading.box.startswith("day:") and ink != HIDDEN:
                ink = plausible(ink, challenge)
            new = Evidence(reading.box, ink, own, *fit, _typed_flag(reading), readings=((own, ink),))
            old = found.get(reading.box)
            found[reading.box] = _joined(old, new) if old else new
    for day in challenge.month.dates():  # a day that no page has must not pass for one without practice
        name = f"day:{day}"
        found.setdefault(name, Evidence(name, HIDDEN, pages[-1], poor=False, hopeless=False))
    return found


def contradictions(older: OwnPage, newer: OwnPage) -> list[str]:
    """The boxes in which two pages of one student contradict each other for sure."""
    return [box for box, old, new in _differing(older, newer) if not _is_added(older, old, newer, new)]


def is_addition(older: OwnPage, newer: OwnPage) -> bool:
    """Whether one of two pages has something written where the other is blank for sure."""
    return any(_is_added(older, old, newer, new) for _, old, new in _differing(older, newer))


def with_answer(found: Evidence, answer: AnswerRecord) -> Evidence:
    """The box with a person's answer, unless a page that was collected later contradicts it for sure."""
    value = value_of(answer.answer)
    said = Candidate(value, "" if value is None else str(value), 1.0)
    later = [
        (own, ink)
        for own, ink in found.readings
        if own.origin.collected_at > answer.at and certainty(ink) >= SURE and not _agree(ink[0], said)
    ]
    if not later:
        return replace(found, answer=said, differs=None)
    own, ink = later[-1]
    flag = Flag(
        "returns-differ",
        f"You answered {_words(said)}, but the page handed in on {day_words(own.handed_in.date())}, "
        f"which was collected after that, has {_words(ink[0])} here.",
    )
    return replace(found, ink=_mixed(ink, (said,)), page=own, differs=flag)


def _trust(page: PageRecord) -> float:
    """What is left of each probability on a page that does not lie where it should."""
    if page.residual_mm >= HOPELESS_FIT_MM:
        return HOPELESS_FIT_TRUST
    return POOR_FIT_TRUST if page.residual_mm > POOR_FIT_MM else 1.0


def inks_of(page: PageRecord) -> dict[str, Candidates]:
    """What the ink of a page's boxes says, by name, as probable as the page lets it be."""
    inks = believed({reading.box: merged(reading.candidates) for reading in page.readings})
    trust = _trust(page)
    if trust == 1:
        return inks
    return {
        name: ink if ink == HIDDEN else tuple(c.at(c.probability * trust) for c in ink)
        for name, ink in inks.items()
    }


def merged(candidates: Candidates) -> Candidates:
    """The candidates, `15` and `15 min` taken together, most probable first."""
    if len(candidates) == 1:
        return candidates
    found: dict[tuple[int | None, str], Candidate] = {}
    for c in candidates:
        key = (c.value, c.text if c.value is None else "")
        first = found.get(key)
        found[key] = first.at(c.probability + first.probability) if first else c
    return tuple(sorted(found.values(), key=lambda c: -c.probability))


def typed_words(candidate: Candidate) -> str:
    """What was typed, in quotation marks, as far as a sentence has room for it."""
    text = printable(candidate.text)
    return f'"{text[:_QUOTED]}…"' if len(text) > _QUOTED else f'"{text}"'


_QUOTED = 30  # letters


def _typed_flag(reading: BoxReading) -> Flag | None:
    """Why what is typed into a box cannot just be taken, or None."""
    typed = next((c for c in reading.candidates if c.typed), None)
    if typed is None or typed.probability == 1 or is_only_seen(reading.box):
        return None
    other = next((c for c in reading.candidates if not c.typed), None)
    if other:
        why = f"{typed_words(typed)} is typed here, but the picture shows {_words(other)}."
    else:
        why = f"{typed_words(typed)} is typed beside this box, or across more than one."
    return Flag("typed-differs", why)


def _joined(old: Evidence, new: Evidence) -> Evidence:
    """Both pages: what agrees stays, what was added counts, the sure one stands against the unsure.

    For the rest a person must say.
    """
    both = (*old.readings, *new.readings)
    if is_only_seen(new.box):
        blank = new.ink[0].value is None and new.ink[0].text == ""
        return replace(old if blank else new, readings=both)
    old_sure, new_sure = certainty(old.ink), certainty(new.ink)
    both_sure = min(old_sure, new_sure) >= SURE
    if _agree(old.ink[0], new.ink[0]):
        stands = new if new_sure >= min(old_sure, SURE) else old
        return replace(stands, differs=old.differs or new.differs, readings=both)
    if both_sure and not old.differs and _is_added(old.page, old.ink[0], new.page, new.ink[0]):
        return replace(old if _is_empty(new.ink[0]) else new, readings=both)
    if old.differs or new.differs or both_sure:
        flag = Flag("returns-differ", _differ_words(old, new))
        return replace(new, ink=_mixed(new.ink, old.ink), differs=flag, readings=both)
    return replace(old if old_sure > new_sure else new, readings=both)


def _differing(older: OwnPage, newer: OwnPage) -> Iterator[tuple[str, Candidate, Candidate]]:
    """The boxes of which both pages are sure, and not of the same; with what either says."""
    before = inks_of(older.page)
    for box, new in inks_of(newer.page).items():
        old = before.get(box)
        if old is None or is_only_seen(box) or min(certainty(old), certainty(new)) < SURE:
            continue
        if not _agree(old[0], new[0]):
            yield box, old[0], new[0]


def _is_added(older: OwnPage, old: Candidate, newer: OwnPage, new: Candidate) -> bool:
    """Whether two pages differ only because something was written on one of them, or later on.

    On one sheet more is written as the month goes on. What stood there on an earlier day and is gone was
    erased, or the times are wrong; of one day, nobody knows which came first: these are contradictions. Two
    different sheets may each hold a part of the month.
    """
    codes = older.page.code, newer.page.code
    if None not in codes and codes[0] != codes[1]:
        return _is_empty(old) or _is_empty(new)
    return _is_empty(old) and older.handed_in.date() < newer.handed_in.date()


def _is_empty(candidate: Candidate) -> bool:
    return candidate.value is None and not is_unreadable(candidate)


def _agree(a: Candidate, b: Candidate) -> bool:
    """Whether two boxes say the same; a blank one and a 0 do, for all that it matters."""
    return is_unreadable(a) == is_unreadable(b) and (a.value or 0) == (b.value or 0)


def _mixed(newer: Candidates, older: Candidates) -> Candidates:
    """Either, the newer a little rather: it was handed in to put the older right."""
    return replace(newer[0], probability=0.6), replace(older[0], probability=0.4)


def _differ_words(old: Evidence, new: Evidence) -> str:
    was, now = _words(old.ink[0]), _words(new.ink[0])
    before, after = old.page.handed_in.date(), new.page.handed_in.date()
    if before == after:
        return f"Two pages handed in on {day_words(after)} differ here: {was} on one, {now} on the other."
    return (
        f"The page handed in on {day_words(before)} has {was} here, the newer one of {day_words(after)} "
        f"has {now}."
    )


def _words(candidate: Candidate) -> str:
    if is_unreadable(candidate):
        return "something illegible"
    return "nothing" if candidate.value is None else str(candidate.value)
