"""What open questions can still decide: whose prize, whose mark; and in which order to ask them.

A prize is to meet the challenge, a place among the first `[prizes] top`, or an honourable mention. What is
settled stays so, whatever a person answers within `ingest.tally.days.possible_days`. While a page may be
anybody's, it can change everything.

The order is greedy. Each thing that is open, such as one student's challenge or one student's place, is
worth 1, shared evenly among the boxes on which it hangs; a box is worth its shares. So first comes the last
box that something hangs on, or one on which much hangs. Whole pages come before boxes, what decides prizes
before what decides only marks, and what decides nothing last. After each answer all is reckoned anew.
(Of 173 questions about 300 made-up students, 24 answers settle all prizes in this order, 89 if any box that
decides something is taken: tests/bench/asking_order.py.)
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence, Set
from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from ingest.check.book import Book, Question
from ingest.plan.challenge import Challenge
from ingest.tally.days import LEAST_STREAK, Range
from ingest.tally.improvement import any_month, improvement
from ingest.tally.standing import Standing, anybody, groups, places, standings, unowned_pages
from ingest.tally.student import Tally

Worth = defaultdict[tuple[str, str], float]  # of boxes, by student id and box


class Stake(IntEnum):
    """The most that hangs on a question; in the order of asking."""

    PAGE = 0  # whose a page is, or whether it counts: anything may hang on it
    PRIZE = 1
    MARK = 2
    NOTHING = 3


@dataclass(frozen=True, slots=True)
class Stakes:
    """met, marks: ids of students of whom it is open whether they meet the challenge, which points they get.

    standings: of everybody who handed in. places: ids of students whose place is open and could be a prize.
    mentions: by kind, ids of students who may get it or may not.
    prizes_by, marks_by: what boxes are worth, by student id and box; those that decide nothing are not there.
    """

    met: Set[str]
    marks: Set[str]
    standings: Mapping[str, Standing]
    places: Set[str]
    mentions: Mapping[str, Set[str]]
    prizes_by: Mapping[tuple[str, str], float]
    marks_by: Mapping[tuple[str, str], float]

    def of(self, question: Question) -> Stake:
        """What hangs on a question."""
        if question.box == "chart":
            return Stake.PAGE
        box = question.student_id, question.box
        return Stake.PRIZE if box in self.prizes_by else Stake.MARK if box in self.marks_by else Stake.NOTHING

    def in_order(self, questions: Iterable[Question]) -> tuple[Question, ...]:
        """As they should be asked; those that are worth the same stay as they are."""
        return tuple(sorted(questions, key=self._rank))

    def _rank(self, question: Question) -> tuple[Stake, float]:
        box, stake = (question.student_id, question.box), self.of(question)
        worth = {Stake.PRIZE: self.prizes_by, Stake.MARK: self.marks_by}.get(stake, {})
        return stake, -worth.get(box, 0.0)


def stakes(book: Book, tallies: Sequence[Tally], challenge: Challenge) -> Stakes:
    """tallies: of the book's sheets."""
    unowned = unowned_pages(book)
    strangers = [anybody(challenge)] * unowned
    moving = {tally.student.id: list(tally.moves) for tally in tallies}
    crossing = {tally.student.id: _crossing(tally, challenge) for tally in tallies}
    there = [tally for tally in tallies if tally.handed_in or tally.open_pages]
    prizes: Worth = defaultdict(float)
    marks: Worth = defaultdict(float)

    met = [tally for tally in there if tally.handed_in and tally.met is None]
    points = [tally for tally in there if tally.handed_in and tally.points is None]
    _share(met, crossing, prizes)
    _share(points, crossing, marks)
    contested: set[str] = set()
    mentions: dict[str, set[str]] = {mention.kind: set() for mention in challenge.mentions}
    for group in groups(there, challenge).values():
        contested |= _race(
            group, lambda tally: tally.counted_range, challenge.prizes.top, strangers, moving, prizes
        )
        if "longest-streak" in mentions:
            nobodys = [Range(0, len(challenge.required_dates()))] * unowned
            mentions["longest-streak"] |= _race(
                group, lambda tally: tally.streak_range, 1, nobodys, crossing, prizes, LEAST_STREAK
            )
        if "most-improved-week" in mentions:
            nobodys = [improvement(any_month(challenge), challenge)] * unowned
            mentions["most-improved-week"] |= _race(
                group, lambda tally: tally.improvement_range, 1, nobodys, moving, prizes
            )
    if "every-weekday" in mentions:
        perhaps = [tally for tally in there if _may_have_met_every_day(tally)]
        mentions["every-weekday"] = {tally.student.id for tally in perhaps}
        _share(perhaps, crossing, prizes)
    return Stakes(
        met={tally.student.id for tally in met},
        marks={tally.student.id for tally in points},
        standings=standings(tallies, challenge, unowned),
        places=contested,
        mentions=mentions,
        prizes_by=prizes,
        marks_by=marks,
    )


def verdict(found: Stakes, questions: Sequence[Question]) -> str:
    """That no prize hangs on the open questions any more, in words; "" if one does, or none is open."""
    by_stake = Counter(found.of(question) for question in questions)
    if not questions or by_stake[Stake.PAGE] or by_stake[Stake.PRIZE]:
        return ""
    left = f"{len(questions)} box{'' if len(questions) == 1 else 'es'} left that cannot change one."
    said = f"Everything that decides a prize is settled; {left}"
    if not (marks := by_stake[Stake.MARK]):
        return said
    if marks == len(questions):
        return f"{said} {'It' if marks == 1 else 'They'} can still change marks."
    return f"{said} {marks} of them can still change {'a mark' if marks == 1 else 'marks'}."


def _may_have_met_every_day(tally: Tally) -> bool:
    """Whether the student may have, and may not."""
    met = tally.days_met_range
    return met.highest == tally.required_days and (not met.settled or tally.open_pages > 0)


# -- what hangs on what -------------------------------------------------------------------------------


def _crossing(tally: Tally, challenge: Challenge) -> list[str]:
    """The open boxes that can turn a required day."""
    if not tally.moves:
        return []
    minimum = challenge.days.minimum_minutes
    turning = {
        day
        for day in challenge.required_dates()
        if tally.days[day].lowest < minimum <= tally.days[day].highest
    }
    return [name for name, days in tally.moves.items() if days & turning]


def _share(undecided: Iterable[Tally], boxes: Mapping[str, Sequence[str]], worth: Worth) -> None:
    """Share what is open about each student among the student's own boxes."""
    for tally in undecided:
        own = boxes.get(tally.student.id, ())
        for name in own:
            worth[tally.student.id, name] += 1 / (len(own) + tally.open_pages)


def _race(
    rivals: Sequence[Tally],
    figure: Callable[[Tally], Range],
    top: int,
    strangers: Sequence[Range],
    boxes: Mapping[str, Sequence[str]],
    worth: Worth,
    least: int = 1,
) -> set[str]:
    """Who may or may not be among the first so many by a figure of which more is better; ids.

    least: with less, nobody wins anything.

    Each such place is shared among the boxes on which it hangs: those of everybody who may come to stand on
    either side of the one whose place it is, the same student included.
    """
    figures = [figure(tally) for tally in rivals]
    open_places = [
        number
        for number, (best, worst) in enumerate(places(figures, strangers))
        if best <= top
        and figures[number].highest >= least
        and (best < worst or figures[number].lowest < least or rivals[number].open_pages)
    ]
    if not open_places:
        return set()
    lowest = np.array([each.lowest for each in figures])
    highest = np.array([each.highest for each in figures])
    names = [
        () if each.settled else boxes.get(tally.student.id, ())
        for tally, each in zip(rivals, figures, strict=True)
    ]
    questions = np.array([len(own) + tally.open_pages for own, tally in zip(names, rivals, strict=True)])
    # a row a rival, a column an open place: may the rival be ahead of whose place it is, and may they not?
    either = (highest[:, None] > lowest[open_places]) & (lowest[:, None] <= highest[open_places])
    shares = either @ (1 / np.maximum(1, questions @ either + len(strangers)))
    for tally, own, share in zip(rivals, names, shares, strict=True):
        for name in own:
            if share > 0:
                worth[tally.student.id, name] += share
    return {rivals[number].student.id for number in open_places}
