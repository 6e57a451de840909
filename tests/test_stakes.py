import itertools
from collections.abc import Iterator, Sequence
from datetime import date
from random import Random
from typing import Any

import pytest
from books import answered, book, flagged, month_of, page_question, read, sheet, student
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.check.arrival import Arrivals
from ingest.check.book import Book, Settled
from ingest.plan.challenge import Challenge
from ingest.report.awards import awards
from ingest.tally.days import Range
from ingest.tally.stakes import Stake, Stakes, stakes, verdict
from ingest.tally.student import Tally, tallies, tally

DAYS = (1, 4, 6)  # of October 2027: a Friday, then a Monday and a Wednesday of one week
MOST = 2  # minutes a day that the small plans think possible


def plan(
    required: Sequence[int] = DAYS,
    minimum: int = 1,
    most: int = MOST,
    short: int = 0,
    top: int = 2,
    across: str = "grade",
    rule: str = "met",
    cap: int = 0,
    mentions: Sequence[str] = (),
) -> Challenge:
    """October 2027 with those required days only."""
    given: dict[str, Any] = {
        "month": "2027-10",
        "days": {
            "minimum_minutes": minimum,
            "no_school": [f"2027-10-{n:02}" for n in range(1, 32) if n not in required],
        },
        "counting": {"most_per_day": most, "counts_per_day": cap},
        "expectation": {"required_days_allowed_short": short},
        "prizes": {"top": top, "across": across},
        "grade": {"rule": rule},
        "mentions": [{"kind": kind} for kind in mentions],
    }
    return Challenge.model_validate(given)


def day(number: int) -> str:
    return f"day:2027-10-{number:02}"


Class = Sequence[Sequence[int | None]]  # the minutes of each student's DAYS; None where a person must look


def book_of(minutes: Class, sections: Sequence[str] = ()) -> Book:
    return book(
        *(
            sheet(
                student(f"S{n}", sections[n] if sections else "Flutes"),
                [
                    flagged(day(number), 1) if value is None else answered(day(number), value)
                    for number, value in zip(DAYS, own, strict=True)
                ],
            )
            for n, own in enumerate(minutes)
        )
    )


def look(of: Book, challenge: Challenge) -> Stakes:
    return stakes(of, tallies(of, challenge), challenge)


def said(of: Book, challenge: Challenge) -> str:
    return verdict(look(of, challenge), of.questions)


# -- who gets what once everything is answered, by the simplest code there is ------------------------------

Filled = Sequence[Sequence[int]]
Prize = tuple[str, str]  # what for, and whose


def prizes(minutes: Filled, challenge: Challenge, sections: Sequence[str]) -> dict[Prize, object]:
    """Everything that is a prize: met or not, the place, the mention or not."""
    required = [n for n, number in enumerate(DAYS) if date(2027, 10, number) in challenge.required_dates()]
    least = len(required) - challenge.expectation.required_days_allowed_short
    cap = challenge.counting.counts_per_day or 1440
    kinds = [mention.kind for mention in challenge.mentions]
    found: dict[Prize, object] = {}
    reached = [[own[each] >= challenge.days.minimum_minutes for each in required] for own in minutes]
    totals = [sum(min(value, cap) for value in own) for own in minutes]
    streaks = [max(len(run) for run in "".join("x "[not met] for met in own).split(" ")) for own in reached]
    for n in range(len(minutes)):
        rivals = [
            m for m in range(len(minutes)) if challenge.prizes.across == "grade" or sections[m] == sections[n]
        ]
        found["met", f"S{n}"] = sum(reached[n]) >= least
        place = 1 + sum(totals[m] > totals[n] for m in rivals)
        found["place", f"S{n}"] = place if place <= challenge.prizes.top and totals[n] else None
        if "every-weekday" in kinds:
            found["every-weekday", f"S{n}"] = all(reached[n])
        if "longest-streak" in kinds:
            found["longest-streak", f"S{n}"] = (
                streaks[n] == max(streaks[m] for m in rivals) and streaks[n] >= 2
            )
    return found


def marks(minutes: Filled, challenge: Challenge) -> list[float]:
    """Each student's share of the points, by the rule "share"."""
    required = [n for n, number in enumerate(DAYS) if date(2027, 10, number) in challenge.required_dates()]
    return [sum(own[each] >= challenge.days.minimum_minutes for each in required) for own in minutes]


def holes(minutes: Class) -> list[tuple[int, int]]:
    return [(n, d) for n, own in enumerate(minutes) for d, value in enumerate(own) if value is None]


def fillings(minutes: Class) -> Iterator[tuple[dict[tuple[str, str], int], Filled]]:
    """Every way in which the open boxes can be answered: the answers by box, and all minutes then."""
    for values in itertools.product(range(MOST + 1), repeat=len(holes(minutes))):
        answers = dict(zip(holes(minutes), values, strict=True))
        filled = [
            [answers.get((n, d), value or 0) for d, value in enumerate(own)] for n, own in enumerate(minutes)
        ]
        yield {(f"S{n}", day(DAYS[d])): value for (n, d), value in answers.items()}, filled


def small_classes(most_open: int = 5) -> st.SearchStrategy[list[list[int | None]]]:
    box = st.none() | st.integers(0, MOST)
    own = st.lists(box, min_size=len(DAYS), max_size=len(DAYS))
    return st.lists(own, min_size=1, max_size=4).filter(lambda each: len(holes(each)) <= most_open)


PLANS = st.builds(
    plan,
    required=st.sets(st.sampled_from(DAYS), min_size=1).map(sorted),
    minimum=st.integers(1, MOST),
    short=st.integers(0, 1),
    top=st.integers(0, 3),
    across=st.sampled_from(["grade", "section"]),
    rule=st.sampled_from(["met", "share"]),
    cap=st.integers(0, 1),
    mentions=st.sets(st.sampled_from(["every-weekday", "longest-streak"])).map(sorted),
)
SECTIONS = st.lists(st.sampled_from(["Flutes", "Horns"]), min_size=4, max_size=4)


@settings(max_examples=100, deadline=None)
@given(small_classes(), PLANS, SECTIONS)
def test_what_is_open_is_what_trying_every_answer_leaves_open(
    minutes: Class, challenge: Challenge, sections: list[str]
) -> None:
    found = look(book_of(minutes, sections), challenge)
    ends = [prizes(filled, challenge, sections) for _, filled in fillings(minutes)]
    differ = {prize for prize in ends[0] if len({end[prize] for end in ends}) > 1}
    assert {("met", who) for who in found.met} == {prize for prize in differ if prize[0] == "met"}
    assert {("place", who) for who in found.places} == {prize for prize in differ if prize[0] == "place"}
    for kind, who in found.mentions.items():
        assert {(kind, each) for each in who} == {prize for prize in differ if prize[0] == kind}


@settings(max_examples=100, deadline=None)
@given(small_classes(), PLANS, SECTIONS)
def test_boxes_said_to_decide_nothing_decide_nothing_however_all_are_answered(
    minutes: Class, challenge: Challenge, sections: list[str]
) -> None:
    of = book_of(minutes, sections)
    found = look(of, challenge)
    stake = {(each.student_id, each.box): found.of(each) for each in of.questions}
    ends: dict[object, list[object]] = {}
    shares: dict[object, list[object]] = {}
    for answers, filled in fillings(minutes):
        decisive = tuple(value for box, value in answers.items() if stake[box] == Stake.PRIZE)
        marking = tuple(value for box, value in answers.items() if stake[box] != Stake.NOTHING)
        ends.setdefault(decisive, []).append(prizes(filled, challenge, sections))
        shares.setdefault(marking, []).append(marks(filled, challenge))
    assert all(end == same[0] for same in ends.values() for end in same)
    if challenge.grade.rule == "share":
        assert all(each == same[0] for same in shares.values() for each in same)
    # and the other way round: where a box is said to decide, answers do make a difference
    differ = len({str(prizes(filled, challenge, sections)) for _, filled in fillings(minutes)}) > 1
    assert (Stake.PRIZE in stake.values()) == differ
    assert bool(verdict(found, of.questions)) == (bool(of.questions) and not differ)


@settings(max_examples=200, deadline=None)
@given(small_classes(most_open=9), PLANS, SECTIONS)
def test_the_awards_are_open_just_where_review_says_that_a_prize_is(
    minutes: Class, challenge: Challenge, sections: list[str]
) -> None:
    of = book_of(minutes, sections)
    found = look(of, challenge)
    is_open = bool(found.met or found.places or any(found.mentions.values()))
    assert awards(of, challenge, Arrivals({}, ())).settled != is_open


@settings(max_examples=60, deadline=None)
@given(small_classes(most_open=9), PLANS, SECTIONS, st.randoms(use_true_random=False))
def test_what_was_settled_at_any_time_is_what_comes_out(
    minutes: Class, challenge: Challenge, sections: list[str], chance: Random
) -> None:
    now = [list(own) for own in minutes]
    settled: list[tuple[set[Prize], dict[Prize, object]]] = []
    while True:
        of = book_of(now, sections)
        found = look(of, challenge)
        left_open = {("met", who) for who in found.met} | {("place", who) for who in found.places}
        left_open |= {(kind, who) for kind, each in found.mentions.items() for who in each}
        as_if = [[1 if value is None else value for value in own] for own in now]
        settled.append((left_open, prizes(as_if, challenge, sections)))
        if not of.questions:
            break
        asked = found.in_order(of.questions)[0]
        number, place = int(asked.student_id[1:]), DAYS.index(int(asked.box[-2:]))
        now[number][place] = chance.randint(0, MOST)
    end = settled[-1][1]
    for left_open, then in settled:
        assert all(then[prize] == end[prize] for prize in end if prize not in left_open)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), st.integers(5, 60), st.sampled_from([0.01, 0.05, 0.3]))
def test_settled_prizes_of_a_whole_grade_stand_against_any_answers(
    seed: int, size: int, share: float
) -> None:
    chance = Random(seed)
    challenge = plan(range(1, 32), minimum=15, most=60, top=5, cap=chance.choice([0, 30]), short=3)
    sheets, filled = [], []
    for n in range(size):
        usual = chance.randint(5, 40)
        boxes = month_of(challenge, 0)
        for number in range(1, 32):
            value = max(0, usual + chance.randint(-10, 20))
            unsure = chance.random() < share
            boxes[number - 1] = flagged(day(number), value) if unsure else read(day(number), value)
        sheets.append(sheet(student(f"S{n}"), boxes))
    before = book(*sheets)
    found = look(before, challenge)
    for way in ("least", "most", "one", "any"):
        lucky = chance.randrange(size)
        for n in range(size):
            top = {"least": False, "most": True, "one": n == lucky, "any": chance.random() < 0.5}[way]
            filled = [
                answered(name, (60 if top else 0) if way != "any" else chance.randint(0, 60))
                if name in {each.box for each in before.questions if each.student_id == f"S{n}"}
                else box
                for name, box in before.sheets[n].boxes.items()
            ]
            sheets[n] = sheet(student(f"S{n}"), filled)
        after = tallies(book(*sheets), challenge)
        places = {
            each.student.id: 1 + sum(other.counted_minutes > each.counted_minutes for other in after)
            for each in after
        }
        for each, was in zip(after, tallies(before, challenge), strict=True):
            who = each.student.id
            assert was.counted_range.lowest <= each.counted_minutes <= was.counted_range.highest
            assert was.streak_range.lowest <= each.longest_streak <= was.streak_range.highest
            if who not in found.met:
                assert each.met == was.met
            if who not in found.places:
                assert places[who] == found.standings[who].place or places[who] > challenge.prizes.top


# -- the order ---------------------------------------------------------------------------------------------


def order(of: Book, challenge: Challenge) -> list[tuple[str, str]]:
    return [(each.student_id, each.box) for each in look(of, challenge).in_order(of.questions)]


def one_day(minutes: int, **other: Settled) -> list[Settled]:
    return month_of(plan(), minutes, **other)


def test_prizes_come_before_marks_and_marks_before_the_rest() -> None:
    by_share = plan(top=1, rule="share", most=5)
    of = book(
        sheet(student("S0"), one_day(1, d2=flagged(day(2), 1))),  # a Saturday of somebody who is far behind
        sheet(student("S1"), one_day(1, d1=read(day(1), 0), d4=flagged(day(4), 1))),  # short already: a mark
        sheet(student("S2"), one_day(1, d4=flagged(day(4), 1))),  # meets the challenge or not
        sheet(student("S3"), one_day(5)),
    )
    assert order(of, by_share) == [("S2", day(4)), ("S1", day(4)), ("S0", day(2))]
    # where marks follow from the challenge alone, S1's hangs on nothing any more
    assert order(of, plan(top=1, most=5)) == [("S2", day(4)), ("S0", day(2)), ("S1", day(4))]


def test_the_last_box_that_something_hangs_on_comes_first() -> None:
    none_placed = plan(top=0)
    of = book(
        sheet(student("S0"), one_day(1, d4=flagged(day(4), 1), d6=flagged(day(6), 1))),
        sheet(student("S1"), one_day(1, d4=flagged(day(4), 1))),
    )
    assert order(of, none_placed) == [("S1", day(4)), ("S0", day(4)), ("S0", day(6))]


def test_a_box_on_which_many_places_hang_comes_before_one_on_which_few_do() -> None:
    # S9 could pass any of the first three, S8 only its neighbour, who is the last that wins anything
    won = plan(top=3, most=200)
    of = book(
        sheet(student("S8"), one_day(10, d2=flagged(day(2), 5))),
        sheet(student("S9"), one_day(13, d2=flagged(day(2), 5))),
        *(sheet(student(f"S{n}"), one_day(minutes)) for n, minutes in enumerate((18, 17, 16))),
    )
    assert order(of, won)[0] == ("S9", day(2))


def test_totals_and_cells_outside_the_month_decide_nothing() -> None:
    of = book(
        sheet(
            student("S0"),
            [*one_day(1), flagged("week:2", 3), flagged("month", 9), flagged("outside:2027-09-30", 1)],
        )
    )
    assert {look(of, plan()).of(each) for each in of.questions} == {Stake.NOTHING}


def test_a_total_of_minutes_that_wins_whatever_is_answered_is_settled_though_not_known() -> None:
    of = book(
        sheet(student("S0"), one_day(2, d2=flagged(day(2), 1))),
        sheet(student("S1"), one_day(1)),
    )
    assert look(of, plan()).places == set()
    assert (
        said(of, plan()) == "Everything that decides a prize is settled; 1 box left that cannot change one."
    )


def test_whose_own_place_is_settled_may_still_decide_somebody_elses() -> None:
    # with the same minutes both are first; with any more, S0 still is, but S1 is second
    of = book_of([[1, None, 0], [1, 0, 0]])
    found = look(of, plan([1]))
    assert (found.met, found.places) == (set(), {"S1"})
    assert found.of(of.questions[0]) is Stake.PRIZE


def test_whoever_has_nothing_so_far_wins_nothing_yet() -> None:
    of = book(sheet(student("S0"), one_day(0, d2=flagged(day(2), 1))))
    assert look(of, plan()).places == {"S0"}


VALUES = (None, 0, 1, 2)
TWO_DAYS = list(itertools.product(VALUES, VALUES))


@pytest.mark.parametrize("first", TWO_DAYS)
def test_who_may_have_improved_most_is_what_trying_every_answer_leaves_open(
    first: tuple[int | None, int | None],
) -> None:
    for second in TWO_DAYS:
        _try_improvements([first, second])


def _try_improvements(minutes: Sequence[tuple[int | None, int | None]]) -> None:
    # a day of the first whole week (the 3rd to the 9th) and one of the second; no rise is no improvement
    improved = plan([6], top=0, mentions=["most-improved-week"])
    of = book(
        *(
            sheet(
                student(f"S{n}"),
                one_day(0)[:2]
                + [
                    flagged(day(number), 1) if value is None else answered(day(number), value)
                    for number, value in zip((4, 12), own, strict=True)
                ],
            )
            for n, own in enumerate(minutes)
        )
    )
    ends = []
    for values in itertools.product(range(MOST + 1), repeat=sum(own.count(None) for own in minutes)):
        left = iter(values)
        filled = [[next(left) if value is None else value for value in own] for own in minutes]
        rises = [max(0, after - before) for before, after in filled]
        ends.append([0 < rise == max(rises) for rise in rises])
    differ = {f"S{n}" for n in range(len(minutes)) if len({end[n] for end in ends}) > 1}
    assert look(of, improved).mentions["most-improved-week"] == differ


# -- whole pages ---------------------------------------------------------------------------------------------


def test_a_page_comes_before_all_boxes_and_leaves_nothing_settled() -> None:
    one = sheet(student("S0"), one_day(1, d2=flagged(day(2), 1)))
    box = book(one).questions[0]
    for page in (page_question(7), page_question(7, student_id="S0", reason="late")):
        of = book(one, questions=[box, page])
        found = look(of, plan())
        assert found.in_order(of.questions) == (page, box)
        assert found.of(page) is Stake.PAGE
        assert "S0" in found.places
        assert verdict(found, of.questions) == ""


def test_somebody_of_whom_only_a_page_waits_may_take_any_place() -> None:
    waiting = page_question(7, suggestion="S1")
    of = book(sheet(student("S0"), one_day(1)), sheet(student("S1"), [], pages=()), questions=[waiting])
    assert look(of, plan()).places == {"S0", "S1"}


# -- what an answer may bring up -----------------------------------------------------------------------------


def with_confidence(confidence: float) -> Tally:
    """The 4th is open; the 6th, of the same week, was read as sure as that."""
    shaky = Settled(day(6), read(day(6), 1).state, 1, confidence, (), 1)
    return tally(sheet(student("S0"), one_day(1, d4=flagged(day(4), 1), d6=shaky)), plan())


def test_a_day_that_was_taken_for_less_than_nearly_certain_is_open_with_its_week() -> None:
    shaky = with_confidence(0.998)
    assert shaky.days[date(2027, 10, 6)] == Range(0, MOST)
    assert shaky.days_met_range == Range(1, 3)
    assert shaky.days_met == 2  # as it stands
    assert with_confidence(0.9999).days_met_range == Range(2, 3)
    quiet = Settled(day(6), read(day(6), 1).state, 1, 0.998, (), 1)
    assert tally(sheet(student("S0"), one_day(1, d6=quiet)), plan()).days_met_range == Range(3, 3)


def test_a_box_that_decides_nothing_itself_still_matters_for_a_shaky_day_beside_it() -> None:
    monday = plan([6], top=0)
    shaky = Settled(day(6), read(day(6), 1).state, 1, 0.998, (), 1)
    of = book(sheet(student("S0"), one_day(1, d4=flagged(day(4), 1), d6=shaky)))
    assert look(of, monday).met == {"S0"}
    assert look(of, monday).of(of.questions[0]) is Stake.PRIZE


def test_a_day_for_which_something_impossible_is_named_may_become_it() -> None:
    named = Settled(day(4), flagged(day(4), 1).state, 1, 0.6, flagged(day(4), 1).flags, 1, most_named=300)
    figures = tally(sheet(student("S0"), one_day(1, d4=named)), plan())
    assert figures.days[date(2027, 10, 4)] == Range(0, 24 * 60)


# -- words ---------------------------------------------------------------------------------------------------


def weekend(count: int) -> Book:
    """S0 is far ahead and has so many Saturdays and Sundays open."""
    numbers = (2, 3, 9, 10, 16, 17, 23, 24, 30, 31)[:count]
    open_days = {f"d{n}": flagged(day(n), 1) for n in numbers}
    return book(sheet(student("S0"), one_day(2, **open_days)), sheet(student("S1"), one_day(0)))


@pytest.mark.parametrize(
    ("count", "words"),
    [
        (0, ""),
        (1, "Everything that decides a prize is settled; 1 box left that cannot change one."),
        (2, "Everything that decides a prize is settled; 2 boxes left that cannot change one."),
    ],
)
def test_it_is_said_when_no_prize_hangs_on_what_is_left(count: int, words: str) -> None:
    assert said(weekend(count), plan()) == words


@pytest.mark.parametrize(
    ("short_days", "others", "words"),
    [
        (1, 0, "1 box left that cannot change one. It can still change marks."),
        (2, 0, "2 boxes left that cannot change one. They can still change marks."),
        (1, 2, "3 boxes left that cannot change one. 1 of them can still change a mark."),
        (2, 1, "3 boxes left that cannot change one. 2 of them can still change marks."),
    ],
)
def test_marks_that_are_open_still_are_told(short_days: int, others: int, words: str) -> None:
    by_share = plan(range(1, 8), rule="share", top=0)
    open_days = {f"d{n}": flagged(day(n), 1) for n in (*range(4, 4 + short_days), *range(20, 20 + others))}
    of = book(sheet(student("S0"), one_day(1, d1=read(day(1), 0), **open_days)))
    assert said(of, by_share) == f"Everything that decides a prize is settled; {words}"
