"""What is given for a month: who met the challenge, the places, honourable mentions, and what is still open.

Nothing is given while an open question could still take it away, and nobody is named a winner of nothing: a
place without minutes, or a streak of a single day, is none.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from ingest.check.arrival import Arrivals
from ingest.check.book import Book
from ingest.plan.challenge import Challenge, Mention
from ingest.plan.roster import Student
from ingest.tally.days import LEAST_STREAK, Range, longest_streak
from ingest.tally.improvement import any_month, improvement
from ingest.tally.standing import Standing, standings, unowned_pages
from ingest.tally.student import Tally, tallies


class Why(StrEnum):
    """Why something about a student is open."""

    BOXES = "boxes"  # own boxes are flagged
    PAGE = "page"  # a page held to be theirs must be confirmed
    OTHERS = "others"  # somebody else's boxes or pages are
    TIMES = "times"  # the files do not say when they were handed in


@dataclass(frozen=True, slots=True)
class Winner:
    """figure: what it was given for, in the unit of the honour; None while it could still change.

    at_least: what the figure will be at the least. place: 1 for the first; None where no places are given.
    """

    student: Student
    figure: int | None
    at_least: int
    place: int | None = None


@dataclass(frozen=True, slots=True)
class Contender:
    """Somebody who may yet get it, or may not. best, worst: places, where places are given.

    boxes: how many of the student's are open.
    """

    student: Student
    why: Why
    boxes: int = 0
    best: int | None = None
    worst: int | None = None


@dataclass(frozen=True, slots=True)
class Honour:
    """One thing that is given, in one section or across the grade.

    kind: "met", "place", or a mention's. title: a teacher's own name for it, or None.
    section: "" across the grade. rivals: of so many students who handed in.
    winners: places in their order, else in the roster's. The figure's unit: required days met, minutes
        that count, days of a streak, minutes more than in the week before; none for the first to hand in.
    at: when the first was handed in, if that is what is given for.
    """

    kind: str
    title: str | None
    section: str
    rivals: int
    winners: Sequence[Winner]
    open: Sequence[Contender]
    at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Awards:
    """met: by section. places: across the grade or by section; empty if the plan gives no prizes.

    strangers: pages that could be anybody's. missing: students of whom nothing counts.
    questions: all that are open, whether they can change an award or not.
    """

    met: Sequence[Honour]
    places: Sequence[Honour]
    mentions: Sequence[Honour]
    strangers: int
    missing: int
    questions: int

    @property
    def all(self) -> Sequence[Honour]:
        """In the order of reading aloud."""
        return (*self.met, *self.places, *self.mentions)

    @property
    def settled(self) -> bool:
        """Whether no open question decides an award. What files' times do not tell, no answer settles."""
        open_ones = [each for honour in self.all for each in honour.open if each.why is not Why.TIMES]
        return not open_ones and not self.strangers


def awards(book: Book, challenge: Challenge, arrived: Arrivals) -> Awards:
    """arrived: needed only for the mention "first-to-hand-in"."""
    figures = tallies(book, challenge)
    strangers = unowned_pages(book)
    sections = _by_section(figures)
    groups = sections if challenge.prizes.across == "section" else {"": figures}
    places = standings(figures, challenge, strangers)
    return Awards(
        met=[_met(section, group) for section, group in sections.items()],
        places=[
            _places(section, group, places, challenge.prizes.top)
            for section, group in groups.items()
            if challenge.prizes.top
        ],
        mentions=[
            _mention(mention, section, group, challenge, strangers, arrived)
            for mention in challenge.mentions
            for section, group in groups.items()
        ],
        strangers=strangers,
        missing=sum(not tally.handed_in for tally in figures),
        questions=len(book.questions),
    )


def _by_section(figures: Iterable[Tally]) -> Mapping[str, list[Tally]]:
    groups: dict[str, list[Tally]] = {}
    for tally in figures:
        groups.setdefault(tally.student.section, []).append(tally)
    return groups


def _met(section: str, group: Sequence[Tally]) -> Honour:
    winners = [
        Winner(tally.student, _settled(tally.days_met_range), tally.days_met_range.lowest)
        for tally in group
        if tally.met
    ]
    contenders = [_contender(tally) for tally in group if tally.met is None and _may_be_there(tally)]
    return Honour("met", None, section, _rivals(group), winners, contenders)


def _places(section: str, group: Sequence[Tally], places: Mapping[str, Standing], top: int) -> Honour:
    winners, contenders = [], []
    for tally in group:
        own, standing = tally.counted_range, places.get(tally.student.id)
        if standing is None:
            if tally.open_pages:  # in review, and with nothing else: any place is possible
                contenders.append(_contender(tally))
        elif standing.best > top or not own.highest:
            continue
        elif standing.place and own.lowest:
            winners.append(Winner(tally.student, _settled(own), own.lowest, standing.place))
        else:
            contenders.append(_contender(tally, standing.best, standing.worst))
    winners.sort(key=lambda winner: winner.place or 0)
    contenders.sort(key=lambda each: (each.best or 1, each.worst or len(group)))
    return Honour("place", None, section, _rivals(group), winners, contenders)


def _mention(
    mention: Mention,
    section: str,
    group: Sequence[Tally],
    challenge: Challenge,
    strangers: int,
    arrived: Arrivals,
) -> Honour:
    at = None
    if mention.kind == "first-to-hand-in":
        at, winners, contenders = _first(group, arrived)
    elif mention.kind == "every-weekday":
        winners, contenders = _reach(group, len(challenge.required_dates()))
    else:
        figure, least = {
            "longest-streak": (longest_streak, LEAST_STREAK),
            "most-improved-week": (improvement, 1),
        }[mention.kind]
        ranges = {tally.student.id: figure(tally.days, challenge) for tally in group}
        anybody = figure(any_month(challenge), challenge) if strangers else None
        winners, contenders = _best(group, ranges, least, anybody)
    return Honour(mention.kind, mention.title, section, _rivals(group), winners, contenders, at)


def _best(
    group: Sequence[Tally], ranges: Mapping[str, Range], least: int, anybody: Range | None
) -> tuple[list[Winner], list[Contender]]:
    """Who has the most, ties and all, and who may yet have it.

    least: with less, nobody does; at least 1, so that a student in doubt has nothing for sure.
    anybody: what a page could be worth that may be anybody's.
    """
    rivals = {tally.student.id: ranges[tally.student.id] for tally in group if _may_be_there(tally)}
    needed = max([least, *(rival.lowest for rival in rivals.values())])
    winners, contenders = [], []
    for tally in group:
        own = rivals.get(tally.student.id)
        if own is None or own.highest < needed:
            continue
        others = [rival.highest for student_id, rival in rivals.items() if student_id != tally.student.id]
        ahead = max([*others, anybody.highest if anybody else 0])
        if own.lowest >= max(needed, ahead):
            winners.append(Winner(tally.student, _settled(own), own.lowest))
        else:
            contenders.append(_contender(tally))
    return winners, contenders


def _reach(group: Sequence[Tally], needed: int) -> tuple[list[Winner], list[Contender]]:
    """Who has met so many days, and who may yet have."""
    winners, contenders = [], []
    for tally in group:
        if tally.days_met_range.lowest >= needed:
            winners.append(Winner(tally.student, needed, needed))
        elif _may_be_there(tally) and tally.days_met_range.highest >= needed:
            contenders.append(_contender(tally))
    return winners, contenders


def _first(
    group: Sequence[Tally], arrived: Arrivals
) -> tuple[datetime | None, list[Winner], list[Contender]]:
    """When the first chart of the group came in, whose it was, and whose it may have been."""
    own = {
        tally.student.id: arrived.counted[tally.student.id]
        for tally in group
        if tally.student.id in arrived.counted
    }
    if not own:
        return None, [], []
    latest = min(arrival.latest for arrival in own.values())
    early = {student_id: arrival for student_id, arrival in own.items() if arrival.earliest <= latest}
    asked = any(arrival.earliest < latest for arrival in arrived.asked)
    known = all(arrival.earliest == arrival.latest == latest for arrival in early.values())
    first = [tally.student for tally in group if tally.student.id in early]
    if known and not asked:
        return latest, [Winner(student, None, 0) for student in first], []
    why = Why.TIMES if not known else Why.OTHERS
    return None, [], [Contender(student, why) for student in first]


def _contender(tally: Tally, best: int | None = None, worst: int | None = None) -> Contender:
    why = Why.PAGE if tally.open_pages else Why.BOXES if tally.open_boxes else Why.OTHERS
    return Contender(tally.student, why, tally.open_boxes, best, worst)


def _rivals(group: Iterable[Tally]) -> int:
    return sum(tally.handed_in for tally in group)


def _may_be_there(tally: Tally) -> bool:
    return tally.handed_in or tally.open_pages > 0


def _settled(figure: Range) -> int | None:
    return figure.lowest if figure.settled else None
