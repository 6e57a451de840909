"""One student's chart: what each box stands for, and why a person must look at it."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from ingest.check.answers import BLANK, MINUTES_IN_A_DAY, is_same, value_of
from ingest.check.book import Flag, Settled, State
from ingest.check.colored import adds_up, doubt_words, minutes_each
from ingest.check.evidence import (
    HIDDEN,
    Evidence,
    OwnPage,
    certainty,
    is_only_seen,
    is_unreadable,
    put_together,
    typed_words,
    with_answer,
)
from ingest.check.lateness import is_late
from ingest.check.murk import murk, needed
from ingest.check.sums import Candidates
from ingest.check.together import Rows, rows_of, together
from ingest.ledger.records import AnswerRecord
from ingest.plan.challenge import Challenge
from ingest.reading.certainty import SURE, Clearness, threshold
from ingest.reading.values import Candidate

# A second reading of a day that explains a wrong sum is worth asking about from this probability on.
WORTH_ASKING = 1e-3

# From here on, by ink or sums, a box is taken as it is; whether a person must look at it all the same depends
# on how clear its chart is.
LIKELY = 0.9

# Sums may settle a box only on what the ink itself makes at least so probable: further down, too few readings
# were ever counted to trust the probability. An assumption, no source.
LEAST_INK = 0.05


@dataclass(frozen=True, slots=True)
class Doubt:
    """How much a flagged box could still change.

    crosses: whether a day could be on either side of the daily minimum.
    minutes: how far from its best guess the box is to be expected.
    """

    crosses: bool
    minutes: float


@dataclass(frozen=True, slots=True)
class Chart:
    """All pages of one student put together. doubts: of the flagged boxes. late: every page is."""

    boxes: Mapping[str, Settled]
    doubts: Mapping[str, Doubt]
    pages: Sequence[int]
    late: bool


def settle(
    pages: Sequence[OwnPage],
    answers: Mapping[str, AnswerRecord],
    challenge: Challenge,
    *,
    disputes: Mapping[str, str] = MappingProxyType({}),
    sure: float | None = None,
    clearness: Clearness | None = None,
) -> Chart:
    """Put a student's pages and the answers about them together.

    pages: in any order. answers: the last one about each box. disputes: by box, what a person who did not
    know the reading said of it in a spot check. sure: the confidence from which on a box is taken without a
    person; None: the one that follows from the challenge's `silent_errors`. clearness: None: the one that
    ships.
    """
    clearness = clearness or Clearness.load()
    if sure is None:
        sure = threshold(challenge.reading.silent_errors).sure
    in_order = sorted(pages, key=lambda own: (own.handed_in, own.page.id))
    page_ids = tuple(own.page.id for own in in_order)
    late = bool(pages) and all(is_late(own.origin, challenge) for own in pages)
    read = [own for own in in_order if own.page.readings]
    if not read:
        return Chart({}, {}, page_ids, late)

    found = put_together(read, challenge)
    for name in found.keys() & answers.keys():
        if answers[name].answer:
            found[name] = with_answer(found[name], answers[name])
    inks = {name: each.ink if each.answer is None else (each.answer,) for name, each in found.items()}
    rows = rows_of(challenge)
    alone, weighed = together(inks, rows, challenge, SURE)
    in_sums = {day for days, total in rows if total in weighed and weighed[total][0].value for day in days}
    boxes = {
        name: _Box.judged(evidence, alone[name], weighed[name], is_in_sum=name in in_sums)
        for name, evidence in found.items()
    }
    sums = _sum_flags(boxes, rows)
    murks = murk(found)
    settled = {}
    for name, box in boxes.items():
        confidence, enough = box.confidence, sure
        if name in murks and box.is_handwritten:
            enough = needed(sure, murks[name])
            confidence = clearness.chance(confidence, murks[name])
            by_itself = clearness.chance(certainty(alone[name]), murks[name])
            if confidence < enough <= by_itself and box.is_sure:
                sums.setdefault(name, _against(box.ink))
        is_trusted = confidence >= enough or name not in murks
        settled[name] = _settled(
            box, confidence, sums.get(name), disputes.get(name), challenge, is_trusted=is_trusted
        )
    doubts = {
        name: _doubt(boxes[name], box, disputes.get(name), challenge)
        for name, box in settled.items()
        if box.state is State.FLAGGED
    }
    return Chart(settled, doubts, page_ids, late)


@dataclass(frozen=True, slots=True)
class _Box:
    """A box with what its pages say of it and what the whole chart makes of that.

    is_overruled: the sums speak against what the ink alone says for sure.
    is_sure: nobody need look, as far as the box and its sums go.
    """

    evidence: Evidence
    weighed: Candidates
    is_overruled: bool
    is_sure: bool

    @classmethod
    def judged(cls, evidence: Evidence, alone: Candidates, weighed: Candidates, *, is_in_sum: bool) -> "_Box":
        """is_in_sum: a day of a week with a total that is not nothing."""
        if evidence.answer:
            return cls(evidence, weighed, is_overruled=False, is_sure=True)
        if evidence.hopeless:
            return cls(evidence, weighed, is_overruled=False, is_sure=False)
        best = weighed[0]
        sure = SURE if evidence.poor else LIKELY  # which the ink of a bent page never reaches: sums must help
        if certainty(evidence.ink) >= sure:
            agrees = _is_same(best, evidence.ink[0])
            overruled = not agrees or certainty(weighed) < min(sure, certainty(alone))
            return cls(
                evidence, weighed, is_overruled=overruled, is_sure=agrees and certainty(weighed) >= sure
            )
        if not best.value and not is_in_sum and not _is_written(evidence.ink):
            # That nothing and nothing is nothing proves nothing: faint pencil goes from all boxes at once. A
            # 0 that stands there in so many strokes is another matter.
            return cls(evidence, weighed, is_overruled=False, is_sure=False)
        likely = sum(c.probability for c in evidence.ink if c.text == best.text) >= LEAST_INK
        settled = certainty(weighed) >= sure and likely and not evidence.differs
        return cls(evidence, weighed, is_overruled=False, is_sure=settled)

    @property
    def name(self) -> str:
        return self.evidence.box

    @property
    def ink(self) -> Candidate:
        return self.evidence.ink[0]

    @property
    def best(self) -> Candidate:
        """What it stands for. Whether nothing is a blank, a dash or a 0, sums cannot tell; the ink says."""
        best = self.weighed[0]
        if best.value or is_unreadable(best) or self.evidence.answer:
            return best
        return next(c for c in self.evidence.ink if not c.value and not is_unreadable(c))

    @property
    def is_handwritten(self) -> bool:
        return not self.ink.typed and not minutes_each(self.weighed)

    @property
    def confidence(self) -> float:
        return 1.0 if self.ink.typed else min(certainty(self.weighed), _INK_MOST)

    @property
    def is_answered(self) -> bool:
        return self.evidence.answer is not None

    @property
    def is_borne_out(self) -> bool:
        """Whether the answer is something that the ink may say."""
        return any(c.value == self.best.value and c.probability >= LEAST_INK for c in self.evidence.ink)

    @property
    def firm(self) -> Candidate | None:
        """What to add up with: what is sure, or what the ink said for sure until the sums spoke."""
        if self.is_sure:
            return self.best
        return self.ink if self.is_overruled else None


def _is_written(ink: Candidates) -> bool:
    """Whether something stands there for sure, whatever it says."""
    return sum(c.probability for c in ink if c.value is None and c.text == "") < _BLANK_AT_MOST


_BLANK_AT_MOST = 0.01

# -- the sums -----------------------------------------------------------------------------------------


def _is_same(one: Candidate, other: Candidate) -> bool:
    """Whether two candidates stand for the same minutes."""
    return is_unreadable(one) == is_unreadable(other) and _minutes(one) == _minutes(other)


def _sum_flags(boxes: Mapping[str, _Box], rows: Rows) -> dict[str, Flag]:
    """Why to look at boxes because of sums that do not come out."""
    flags: dict[str, Flag] = {}
    for days, total in rows:
        if total in boxes:
            flags.update(_week_flags([boxes[day] for day in days], boxes[total]))
    if "month" in boxes:
        flags.update(_month_flags(boxes, rows))
    for box in boxes.values():
        if box.is_overruled and box.name not in flags:
            flags[box.name] = _against(box.ink)
    return flags


def _against(ink: Candidate) -> Flag:
    """That the sums speak against what is read by itself."""
    return Flag("sum", f"{_read_as(ink)}, but then the sums on the chart do not come out.")


def _week_flags(days: Sequence[_Box], total: _Box) -> Iterator[tuple[str, Flag]]:
    added, written = _added(days), total.firm
    if added is None or written is None or adds_up(written.value, added, [day.weighed for day in days]):
        return
    explaining = [
        (day, other)
        for day in days
        for other in day.evidence.ink
        if other.probability >= WORTH_ASKING
        and not is_unreadable(other)
        and added - _minutes(day.firm) + _minutes(other) == written.value
    ]
    if len({day.name for day, _ in explaining}) == 1:
        day, other = explaining[0]
        if not day.is_answered:
            yield (
                day.name,
                Flag(
                    "sum",
                    f"{_read_as(day.ink)}: so the days add up to {added}, but the week's box says "
                    f"{written.value}, which would be right if this were {_value_words(other)}.",
                ),
            )
            return
    if any(day.is_overruled for day in days) and sum(_minutes(day.best) for day in days) == written.value:
        return  # several days together explain it, and each of them is asked about
    # Where a person has looked at the week and bears the reader out, it is the child who added wrongly; an
    # answer that the ink does not bear out may be a slip of the finger.
    answered = [day for day in days if day.is_answered]
    if not total.is_answered and not (answered and all(day.is_borne_out for day in answered)):
        yield (
            total.name,
            Flag("sum", f"The days add up to {added}, the week's box says {written.value}."),
        )


def _month_flags(boxes: Mapping[str, _Box], rows: Rows) -> Iterator[tuple[str, Flag]]:
    month = boxes["month"]
    by_week = [_added([boxes[day] for day in days]) for days, _ in rows]
    if month.is_answered or month.firm is None or month.firm.value is None or None in by_week:
        return
    sums = [added for added in by_week if added is not None]
    written = []
    for added, (_, total) in zip(sums, rows, strict=True):
        box = boxes.get(total)
        if box is None:
            written.append(added)
            continue
        if box.firm is None:
            return
        written.append(added if box.firm.value is None else box.firm.value)
    every_day = [boxes[day].weighed for days, _ in rows for day in days]
    if month.firm.value == sum(written) or adds_up(month.firm.value, sum(sums), every_day):
        return
    weeks = "" if sums == written else f", the weeks' boxes to {sum(written)}"
    why = f"The days add up to {sum(sums)}{weeks}; the month's box says {month.firm.value}."
    yield month.name, Flag("sum", why)


def _added(days: Iterable[_Box]) -> int | None:
    """The sum of the days; None while one of them is not known."""
    firm = [day.firm for day in days]
    return None if None in firm else sum(_minutes(candidate) for candidate in firm)


def _minutes(candidate: Candidate | None) -> int:
    return candidate.value or 0 if candidate else 0


# -- what stands --------------------------------------------------------------------------------------


def _settled(
    box: _Box,
    confidence: float,
    sum_flag: Flag | None,
    dispute: str | None,
    challenge: Challenge,
    *,
    is_trusted: bool,
) -> Settled:
    """confidence, is_trusted: by how clear the whole chart is."""
    page_id = box.evidence.page.page.id
    if box.evidence.answer is not None:
        return Settled(box.name, State.ANSWERED, box.evidence.answer.value, 1.0, (), page_id)
    kind = box.name.partition(":")[0]
    blank = box.best.value is None and not is_unreadable(box.best)
    if is_only_seen(box.name) or (kind == "outside" and not _minutes(box.best)):
        # a smudge or a drawing in a cell of another month is nobody's practice
        state = State.BLANK if blank or kind == "outside" else State.READ
        return Settled(box.name, state, None, box.best.probability, (), page_id)
    is_sure = box.is_sure and is_trusted
    flags = (*_dispute_flags(box, dispute), *_flags(box, kind, sum_flag, challenge, is_sure=is_sure))
    if flags:
        guess = _guess(box.weighed)
        value, sure = (guess.value, guess.probability) if guess else (None, 0.0)
        each, most = minutes_each(box.weighed), _most_named(box, dispute)
        return Settled(box.name, State.FLAGGED, value, sure, flags, page_id, each, most)
    state = State.BLANK if blank else State.READ
    return Settled(box.name, state, box.best.value, confidence, (), page_id, minutes_each(box.weighed))


_INK_MOST = 0.9999  # confidence in what ink says, sums and all: only what was typed or answered is certain


def _most_named(box: _Box, dispute: str | None) -> int:
    """The most minutes that a reading names which is worth asking about, or that a person saw.

    More than a day has, which no answer can be, names nothing.
    """
    named = [_minutes(c) for c in (*box.evidence.ink, *box.weighed) if c.probability >= WORTH_ASKING]
    named = [minutes for minutes in named if minutes <= MINUTES_IN_A_DAY]
    return max([0, *named, (value_of(dispute) or 0) if dispute else 0])


def _flags(
    box: _Box, kind: str, sum_flag: Flag | None, challenge: Challenge, *, is_sure: bool
) -> Iterator[Flag]:
    if kind == "outside":
        yield Flag(
            "outside-month",
            f"{_minutes(box.best)} is written on a day outside the month, where it counts for nothing. It "
            "may belong to a day beside it.",
        )
        return
    if box.evidence.differs:
        yield box.evidence.differs
    elif box.evidence.ink == HIDDEN:
        yield Flag("illegible", "This box is covered, torn off or not in the picture.")
    elif is_unreadable(box.best):
        why = "Something is written here that is no number; perhaps it was crossed out."
        why = doubt_words(box.weighed) or why
        if box.ink.typed:
            why = f"{typed_words(box.ink)} is typed here, which does not say beyond doubt how many minutes."
        yield Flag("not-a-number", why)
    elif sum_flag is None and not is_sure:
        bent = " The page is bent or blurred here." if box.evidence.poor else ""
        what = "This cannot be read with certainty."
        if box.best.value is None:
            what = "This looks blank, but faint writing may be there."
        what = doubt_words(box.weighed) or what
        yield Flag("illegible", f"{what}{bent}")
    if sum_flag:
        yield sum_flag
    days = {"day": 1, "week": 7, "month": 31}.get(kind, 1)
    most = challenge.counting.most_per_day * days
    if _minutes(box.best) > most:
        yield Flag(
            "too-much", f"{_minutes(box.best)} minutes is more than the {most} that are thought possible."
        )


def _dispute_flags(box: _Box, dispute: str | None) -> Iterator[Flag]:
    """That a person saw something else than the reader."""
    if dispute is not None and not is_unreadable(box.best) and not is_same(dispute, _answer(box.best)):
        said = "you found it blank" if value_of(dispute) is None else f"you typed {dispute}"
        yield Flag("spot-check", f"{_read_as(box.best)}, but in the spot check {said}.")


def _answer(candidate: Candidate) -> str:
    """What a person would answer who read the same."""
    return BLANK if candidate.value is None else str(candidate.value)


def _guess(box: Candidates) -> Candidate | None:
    """The best candidate that could be an answer."""
    return next((candidate for candidate in box if not is_unreadable(candidate)), None)


def _doubt(box: _Box, settled: Settled, dispute: str | None, challenge: Challenge) -> Doubt:
    most = challenge.counting.most_per_day
    guess = settled.value or 0
    minimum = challenge.days.minimum_minutes
    unknown = max(0.0, 1 - sum(c.probability for c in box.weighed if not is_unreadable(c)))
    apart = sum(c.probability * abs(_minutes(c) - guess) for c in box.weighed if not is_unreadable(c))
    met = sum(c.probability for c in box.weighed if _minutes(c) >= minimum)
    missed = sum(c.probability for c in box.weighed if not is_unreadable(c) and _minutes(c) < minimum)
    too_much = guess if guess > most else 0  # it may turn out to be anything
    # what no candidate names is anywhere from 0 to the most: about half of that away
    crosses = min(met, missed) + unknown / 2 >= WORTH_ASKING or too_much > 0
    apart += unknown * most / 2 + too_much
    if dispute is not None:
        said = value_of(dispute) or 0
        crosses |= (said >= minimum) != (guess >= minimum)
        apart = max(apart, abs(said - guess))
    return Doubt(box.name.startswith("day:") and crosses, apart)


def _read_as(candidate: Candidate) -> str:
    return "Read as blank" if candidate.value is None else f"Read as {candidate.value}"


def _value_words(candidate: Candidate) -> str:
    return "blank" if candidate.value is None else str(candidate.value)
