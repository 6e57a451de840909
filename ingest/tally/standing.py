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
    days = len(challenge.month.dates())
    anybody = Range(0, days * counted(challenge.counting.most_per_day, challenge))
    groups: dict[str, list[Tally]] = {}
    for tally in tallies:
        group = tally.student.section if challenge.prizes.across == "section" else ""
        groups.setdefault(group, []).append(tally)
    return {
        tally.student.id: standing
        for members in groups.values()
        for tally, standing in _rank(members, [anybody] * unowned)
    }


def unowned_pages(book: Book) -> int:
    """Pages of which nobody can yet say whose they are."""
    return sum(question.box == "chart" and not question.student_id for question in book.questions)


def _rank(group: Sequence[Tally], strangers: Sequence[Range]) -> Iterable[tuple[Tally, Standing]]:
    """Compare each student's possible minutes with everybody else's.

    At best everybody else has their fewest minutes and the student the most; at worst the other way
    round. Both can happen, since boxes are filled independently, so these bounds are exact.
    """
    # a student with an unconfirmed page and nothing else may yet join; their range starts at 0
    rivals = [tally.counted_range for tally in group if tally.handed_in or tally.open_pages]
    fewest = sorted([rival.lowest for rival in rivals] + [stranger.lowest for stranger in strangers])
    most = sorted([rival.highest for rival in rivals] + [stranger.highest for stranger in strangers])
    for tally in group:
        if not tally.handed_in:
            continue
        own = tally.counted_range
        ahead_at_best = len(fewest) - bisect_right(fewest, own.highest)
        ahead_at_worst = len(most) - bisect_right(most, own.lowest) - (own.highest > own.lowest)
        yield tally, Standing(1 + ahead_at_best, 1 + ahead_at_worst, in_doubt=tally.open_pages > 0)
