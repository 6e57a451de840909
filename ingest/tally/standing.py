"""Who stands where by counted minutes, with ties, and whether that can still change."""

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from ingest.check.book import Book
from ingest.plan.challenge import Challenge
from ingest.tally.days import Range, counted
from ingest.tally.student import Tally


@dataclass(frozen=True, slots=True)
class Standing:
    """The best and the worst place that open questions leave possible; 1 is the first.

    in_doubt: a page held to be this student's must be confirmed before there is any place at all.
    """

    best: int
    worst: int
    in_doubt: bool = False

    @property
    def place(self) -> int | None:
        """The place, or None while it could change."""
        return self.best if self.best == self.worst and not self.in_doubt else None


def standings(tallies: Sequence[Tally], challenge: Challenge, unowned: int = 0) -> Mapping[str, Standing]:
    """The standing of every student who handed in, by student id.

    Equal minutes share the better place and the next place is skipped: 1-2-2-4. Across the grade, or
    within each section if the prizes say so. Nobody who did not hand in is ranked, not even last.

    unowned: pages that could turn out to be anybody's (see `unowned_pages`). Each is one more rival, with
        anything from nothing to a month of the most minutes.
    """
    strangers = [anybody(challenge)] * unowned
    found = {}
    for members in groups(tallies, challenge).values():
        # a student with an unconfirmed page and nothing else may yet join; their range starts at 0
        rivals = [tally for tally in members if tally.handed_in or tally.open_pages]
        for tally, (best, worst) in zip(
            rivals, places([rival.counted_range for rival in rivals], strangers), strict=True
        ):
            if tally.handed_in:
                found[tally.student.id] = Standing(best, worst, in_doubt=tally.open_pages > 0)
    return found


def places(figures: Sequence[Range], strangers: Sequence[Range] = ()) -> list[tuple[int, int]]:
    """The best and the worst place that each can come to, by any figure of which more is better.

    At best everybody else, strangers too, has the least and one has the most oneself; at worst the other way
    round. Both can happen, since boxes are answered independently of each other, so these bounds are exact.
    """
    least = sorted(each.lowest for each in (*figures, *strangers))
    most = sorted(each.highest for each in (*figures, *strangers))
    return [
        (
            1 + len(least) - bisect_right(least, own.highest),
            1 + len(most) - bisect_right(most, own.lowest) - (own.highest > own.lowest),
        )
        for own in figures
    ]


def groups(tallies: Iterable[Tally], challenge: Challenge) -> Mapping[str, Sequence[Tally]]:
    """Who is compared with whom: all under "", or each section under its name if the prizes say so."""
    found: dict[str, list[Tally]] = {}
    for tally in tallies:
        found.setdefault(tally.student.section if challenge.prizes.across == "section" else "", []).append(
            tally
        )
    return found


def anybody(challenge: Challenge) -> Range:
    """The counted minutes of a month of which nothing is known."""
    days = len(challenge.month.dates())
    return Range(0, days * counted(challenge.counting.most_per_day, challenge))


def unowned_pages(book: Book) -> int:
    """Pages of which nobody can yet say whose they are."""
    return sum(question.box == "chart" and not question.student_id for question in book.questions)
