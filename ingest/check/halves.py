"""Half a chart in one photo, the rest in another: which page without a code is the rest of which."""

from collections.abc import Mapping, Sequence
from pathlib import PurePosixPath

from ingest.check.evidence import HIDDEN, OwnPage, certainty, contradictions, inks_of, is_only_seen
from ingest.check.sums import Candidates
from ingest.reading.certainty import SURE

# So many boxes that both photos show must be written in, surely and alike, and not all with one number: who
# writes 20 every day is like many. Besides, the other photo must lack just what this one has, and lie in the
# same folder; and what is joined wrongly does not add up. Common practice, no source.
ALIKE, DIFFERENT = 3, 2
# A page that lacks fewer boxes than this is not half a chart.
LACKING = 3


def other_halves(pages: Sequence[OwnPage], owners: Mapping[str, str]) -> dict[int, str]:
    """The student of each page that has no code but is the rest of a page that has one, by the page's id.

    pages: all. owners: the students' ids by their charts' codes. Pages of which it is not beyond doubt are
    left out: where photos do not overlap, or fit more than one student's, a person must say.
    """
    halves = [own for own in pages if own.page.readings and len(_hidden(own)) >= LACKING]
    coded = [own for own in halves if own.page.code in owners]
    found: dict[int, str] = {}
    for own in halves:
        if own.page.code:
            continue
        fitting = {owners[other.page.code] for other in coded if other.page.code and _is_rest(own, other)}
        if len(fitting) == 1:
            found[own.page.id] = fitting.pop()
    return found


def _is_rest(one: OwnPage, other: OwnPage) -> bool:
    """Whether two pages are the two halves of one chart."""
    if one.page.layout != other.page.layout or _folder(one) != _folder(other):
        return False
    if _hidden(one) & _hidden(other) or contradictions(one, other):
        return False
    ours, theirs = _written(one), _written(other)
    alike = [minutes for box, minutes in ours.items() if theirs.get(box) == minutes]
    return len(alike) >= ALIKE and len(set(alike)) >= DIFFERENT


def _folder(own: OwnPage) -> PurePosixPath:
    return PurePosixPath(own.origin.path).parent


def _hidden(own: OwnPage) -> set[str]:
    """The boxes for minutes that the picture does not show."""
    return {each.box for each in own.page.readings if _counts(each.box) and each.candidates == HIDDEN}


def _written(own: OwnPage) -> dict[str, int]:
    """The minutes in the boxes that are surely written in."""
    inks = {box: ink for box, ink in inks_of(own.page).items() if _counts(box) and _is_sure(ink)}
    return {box: ink[0].value for box, ink in inks.items() if ink[0].value}


def _is_sure(ink: Candidates) -> bool:
    return certainty(ink) >= SURE


def _counts(box: str) -> bool:
    return not is_only_seen(box) and not box.startswith("outside:")
