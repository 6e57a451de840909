"""What is given, to whom, and what is not given yet; from books written by hand."""

from collections.abc import Mapping
from datetime import datetime
from itertools import pairwise, product
from typing import Any

import pandas
import pytest
from books import answered, book, flagged, month_of, october, page_question, sheet, student
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.check.arrival import Arrival, Arrivals
from ingest.check.book import Book, Sheet
from ingest.plan.challenge import MENTION_KINDS, Challenge, Mention
from ingest.report.awards import Awards, Honour, Why, awards
from ingest.tally.days import Range
from ingest.tally.improvement import improvement

NO_TIMES = Arrivals({}, [])
FIRST = datetime(2027, 10, 29, 16, 5)


def plan(*kinds: str, **sections: Mapping[str, Any]) -> Challenge:
    """October with the mentions of those kinds."""
    mentions = tuple(Mention.model_validate({"kind": kind}) for kind in kinds)
    return october(**sections).model_copy(update={"mentions": mentions})


def with_minutes(challenge: Challenge, student_id: str, minutes: int, section: str = "Flutes") -> Sheet:
    """A month of so many minutes, all of them on its first Saturday."""
    return sheet(student(student_id, section), month_of(challenge, 0, d2=answered("day:2027-10-02", minutes)))


def names(honour: Honour) -> list[str]:
    return [winner.student.id for winner in honour.winners]


def open_names(honour: Honour) -> list[str]:
    return [each.student.id for each in honour.open]


def placed(now: Awards) -> list[tuple[str, int | None, int | None]]:
    (places,) = now.places
    return [(winner.student.id, winner.place, winner.figure) for winner in places.winners]


# -- who met the challenge ----------------------------------------------------------------------------


def test_who_met_the_challenge_is_named_by_section_in_the_rosters_order() -> None:
    challenge = plan()
    now = awards(
        book(
            sheet(student("S1", "Flutes"), month_of(challenge, 20)),
            sheet(student("S2", "Horns"), month_of(challenge, 20)),
            sheet(student("S3", "Flutes"), month_of(challenge, 10)),
            sheet(student("S4", "Flutes"), month_of(challenge, 15)),
            sheet(student("S5", "Horns"), []),
        ),
        challenge,
        NO_TIMES,
    )
    flutes, horns = now.met
    assert (flutes.section, names(flutes), flutes.rivals) == ("Flutes", ["S1", "S4"], 3)
    assert (horns.section, names(horns), horns.rivals) == ("Horns", ["S2"], 1)
    assert [winner.figure for winner in flutes.winners] == [20, 20]
    assert now.settled
    assert now.missing == 1


def test_an_open_box_holds_back_what_it_can_change_and_nothing_else() -> None:
    challenge = plan(expectation={"required_days_allowed_short": 1})
    one = {"d4": flagged("day:2027-10-04", 20)}
    two = {**one, "d5": flagged("day:2027-10-05", 20)}
    now = awards(
        book(
            sheet(student("S1"), month_of(challenge, 20, **one)),  # met, whatever the box says
            sheet(student("S2"), month_of(challenge, 20, **two)),
            sheet(student("S3"), month_of(challenge, 5, **one)),  # not met, whatever the box says
        ),
        challenge,
        NO_TIMES,
    )
    (met,) = now.met
    assert names(met) == ["S1"]
    assert met.winners[0].figure is None  # 19 or 20 days: no number is said
    assert [(each.student.id, each.why, each.boxes) for each in met.open] == [("S2", Why.BOXES, 2)]
    assert not now.settled


# -- places -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("minutes", "places"),
    [([120, 95, 95, 60], [1, 2, 2, 4]), ([90, 90, 85, 85, 85, 70, 1], [1, 1, 3, 3, 3, 6, 7])],
)
def test_equal_minutes_share_a_place_and_the_next_is_left_out(minutes: list[int], places: list[int]) -> None:
    # Standard competition ranking, "1224", as pandas has it.
    assert pandas.Series(minutes).rank(ascending=False, method="min").tolist() == places
    challenge = plan(prizes={"top": 10})
    sheets = [with_minutes(challenge, f"S{n}", count) for n, count in enumerate(minutes)]
    now = placed(awards(book(*reversed(sheets)), challenge, NO_TIMES))
    assert [(place, count) for _, place, count in now] == list(zip(places, minutes, strict=True))


def test_a_tie_at_the_last_place_with_a_prize_gives_it_to_all_of_them() -> None:
    challenge = plan(prizes={"top": 2})
    sheets = [with_minutes(challenge, f"S{n}", count) for n, count in enumerate([50, 70, 50, 20])]
    assert placed(awards(book(*sheets), challenge, NO_TIMES)) == [("S1", 1, 70), ("S0", 2, 50), ("S2", 2, 50)]


def test_minutes_over_the_days_cap_win_nothing() -> None:
    challenge = plan(counting={"counts_per_day": 60})
    heap = with_minutes(challenge, "S1", 200)
    steady = sheet(student("S2"), month_of(challenge, 5))
    assert placed(awards(book(heap, steady), challenge, NO_TIMES)) == [("S2", 1, 155), ("S1", 2, 60)]


def test_nobody_has_a_place_for_no_minutes_and_the_absent_have_none() -> None:
    challenge = plan()
    sheets = [with_minutes(challenge, "S1", 30), with_minutes(challenge, "S2", 0), sheet(student("S3"), [])]
    assert placed(awards(book(*sheets), challenge, NO_TIMES)) == [("S1", 1, 30)]


def test_a_sure_place_is_not_given_while_its_minutes_may_be_none() -> None:
    challenge = plan()
    alone = sheet(student("S1"), month_of(challenge, 0, d2=flagged("day:2027-10-02", 45)))
    (places,) = awards(book(alone), challenge, NO_TIMES).places
    assert (names(places), open_names(places)) == ([], ["S1"])


def test_places_are_by_section_where_the_plan_says_so() -> None:
    challenge = plan(prizes={"across": "section", "top": 1})
    sheets = [with_minutes(challenge, "S1", 30), with_minutes(challenge, "S2", 20, "Horns")]
    flutes, horns = awards(book(*sheets), challenge, NO_TIMES).places
    assert (flutes.section, names(flutes)) == ("Flutes", ["S1"])
    assert (horns.section, names(horns)) == ("Horns", ["S2"])


def test_a_plan_without_prizes_has_no_places() -> None:
    challenge = plan(prizes={"top": 0})
    now = awards(book(with_minutes(challenge, "S1", 30)), challenge, NO_TIMES)
    assert now.places == []
    assert now.settled


def test_a_place_that_an_open_box_could_move_is_not_given() -> None:
    challenge = plan(counting={"most_per_day": 60})
    open_one = sheet(student("S2"), month_of(challenge, 0, d2=flagged("day:2027-10-02", 45)))
    sheets = [with_minutes(challenge, "S1", 200), open_one, with_minutes(challenge, "S3", 40)]
    now = awards(book(*sheets), challenge, NO_TIMES)
    assert placed(now) == [("S1", 1, 200)]
    (places,) = now.places
    assert [(each.student.id, each.best, each.worst, each.why) for each in places.open] == [
        ("S2", 2, 3, Why.BOXES),
        ("S3", 2, 3, Why.OTHERS),
    ]


def test_a_place_that_is_sure_is_given_without_the_minutes_that_are_not() -> None:
    challenge = plan(counting={"most_per_day": 60})
    boxes = month_of(challenge, 10, d2=flagged("day:2027-10-02", 45))
    sheets = [sheet(student("S1"), boxes), with_minutes(challenge, "S2", 20)]
    (places,) = awards(book(*sheets), challenge, NO_TIMES).places
    first, second = places.winners
    assert (first.student.id, first.place, first.figure, first.at_least) == ("S1", 1, None, 300)
    assert (second.student.id, second.place, second.figure) == ("S2", 2, 20)


def test_a_page_that_may_be_anybodys_keeps_open_what_it_could_change() -> None:
    challenge = plan("longest-streak")
    settled = book(sheet(student("S1"), month_of(challenge, 20)))
    now = awards(Book(settled.sheets, [page_question(9)]), challenge, NO_TIMES)
    assert names(now.met[0]) == ["S1"]  # nobody else's page takes that away
    assert open_names(now.places[0]) == ["S1"]
    assert names(now.mentions[0]) == ["S1"]  # the longest that there can be
    assert now.strangers == 1
    assert not now.settled


def test_a_student_whose_page_must_be_confirmed_is_given_nothing() -> None:
    challenge = plan(*MENTION_KINDS)
    one = sheet(student("S1"), month_of(challenge, 20))
    now = awards(Book([one], [page_question(1, "S1")]), challenge, Arrivals({}, [Arrival(FIRST, FIRST)]))
    for honour in now.all[:-1]:
        assert (names(honour), open_names(honour)) == ([], ["S1"]), honour.kind
        assert honour.open[0].why is Why.PAGE


# -- mentions -----------------------------------------------------------------------------------------


def mention(challenge: Challenge, *sheets: Sheet, arrived: Arrivals = NO_TIMES) -> Honour:
    (honour,) = awards(book(*sheets), challenge, arrived).mentions
    return honour


def test_the_longest_streak_is_shared_and_a_single_day_is_none() -> None:
    challenge = plan("longest-streak")
    broken = {"d12": answered("day:2027-10-12", 0)}  # the 11th is a holiday
    long = sheet(student("S1"), month_of(challenge, 20, **broken))
    same = sheet(student("S2"), month_of(challenge, 15, **broken))
    short = sheet(student("S3"), month_of(challenge, 20, **broken, d20=answered("day:2027-10-20", 0)))
    found = mention(challenge, long, same, short)
    assert names(found) == ["S1", "S2"]
    assert [winner.figure for winner in found.winners] == [13, 13]  # the 13th to the 29th, on a wall calendar
    once = sheet(student("S1"), month_of(challenge, 0, d13=answered("day:2027-10-13", 20)))
    assert names(mention(challenge, once)) == []


def test_every_weekday_is_for_those_without_a_day_missed_though_fewer_would_do() -> None:
    challenge = plan("every-weekday", expectation={"required_days_allowed_short": 2})
    whole = sheet(student("S1"), month_of(challenge, 15))
    short = sheet(student("S2"), month_of(challenge, 60, d20=answered("day:2027-10-20", 14)))
    open_one = sheet(student("S3"), month_of(challenge, 15, d20=flagged("day:2027-10-20", 15)))
    found = mention(challenge, whole, short, open_one)
    assert names(found) == ["S1"]
    assert open_names(found) == ["S3"]


def test_a_leap_in_minutes_improves_no_week_beyond_twice_the_minimum_a_day() -> None:
    challenge = plan("most-improved-week")
    leap = with_minutes(challenge, "S1", 0)
    leap = sheet(leap.student, month_of(challenge, 0, d14=answered("day:2027-10-14", 240)))  # one huge day
    steady = sheet(
        student("S2"),
        month_of(challenge, 0, **{f"d{n}": answered(f"day:2027-10-{n}", 10) for n in range(10, 15)}),
    )
    found = mention(challenge, leap, steady)
    assert names(found) == ["S2"]
    assert [winner.figure for winner in found.winners] == [50]


def test_weeks_that_reach_into_another_month_are_not_compared() -> None:
    challenge = plan("most-improved-week")  # October 2027: Friday the 1st; Sunday the 31st stands alone
    days = {day: Range(0, 0) for day in challenge.month.dates()}
    last = max(days)
    assert improvement({**days, last: Range(30, 30)}, challenge) == Range(0, 0)
    assert improvement({**days, min(days): Range(30, 30)}, challenge) == Range(0, 0)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 6), st.integers(0, 3)), min_size=4, max_size=4))
def test_the_improvement_lies_exactly_between_what_the_days_allow(weeks: list[tuple[int, int]]) -> None:
    """Against trying everything: four whole weeks, in each one open day from `low` to `low + more`."""
    challenge = Challenge.model_validate({"month": "2027-02", "days": {"week_starts": "mon"}})
    ranges = [range(low, low + more + 1) for low, more in weeks]
    mondays = challenge.month.dates()[::7]
    days = {day: Range(0, 0) for day in challenge.month.dates()}
    open_days = {day: Range(each[0], each[-1]) for day, each in zip(mondays, ranges, strict=True)}
    rises = [max(0, *(b - a for a, b in pairwise(minutes))) for minutes in product(*ranges)]
    assert improvement({**days, **open_days}, challenge) == Range(min(rises), max(rises))


def arrived(*minutes: int | None) -> Arrivals:
    """S0, S1 ... handed in so many minutes after the first; None: some time before it was collected."""
    here = datetime(2027, 11, 2, 20)
    known = [datetime(2027, 10, 29, 16, 5 + late) if late is not None else None for late in minutes]
    return Arrivals(
        {
            f"S{n}": Arrival(time, time) if time else Arrival(datetime(2027, 10, 1), here)
            for n, time in enumerate(known)
        },
        [],
    )


def test_the_first_to_hand_in_is_known_by_the_files_times() -> None:
    challenge = plan("first-to-hand-in")
    sheets = [sheet(student(f"S{n}"), month_of(challenge, 5)) for n in range(3)]
    found = mention(challenge, *sheets, arrived=arrived(7, 0, 0))
    assert names(found) == ["S1", "S2"]
    assert found.at == FIRST


def test_where_the_times_do_not_tell_nobody_is_named_the_first_but_all_who_may_be() -> None:
    challenge = plan("first-to-hand-in")
    sheets = [sheet(student(f"S{n}"), month_of(challenge, 5)) for n in range(3)]
    now = awards(book(*sheets), challenge, arrived(7, None, 0))
    (found,) = now.mentions
    assert names(found) == []
    assert [(each.student.id, each.why) for each in found.open] == [("S1", Why.TIMES), ("S2", Why.TIMES)]
    assert now.settled  # no answer in the review would help


def test_an_earlier_page_that_somebody_must_say_more_of_may_be_the_first() -> None:
    challenge = plan("first-to-hand-in")
    one = sheet(student("S0"), month_of(challenge, 5))
    before = datetime(2027, 10, 28)
    found = mention(challenge, one, arrived=Arrivals(arrived(0).counted, [Arrival(before, before)]))
    assert names(found) == []
    assert [(each.student.id, each.why) for each in found.open] == [("S0", Why.OTHERS)]


def test_mentions_stand_in_the_plans_order_with_the_teachers_titles() -> None:
    mentions = (Mention(kind="every-weekday"), Mention(kind="longest-streak", title="Steady as a drum"))
    challenge = plan().model_copy(update={"mentions": mentions})
    now = awards(book(sheet(student("S1"), month_of(challenge, 20))), challenge, NO_TIMES)
    assert [(honour.kind, honour.title) for honour in now.mentions] == [
        ("every-weekday", None),
        ("longest-streak", "Steady as a drum"),
    ]


# -- all of it ----------------------------------------------------------------------------------------


def given_to(one: Awards) -> set[tuple[str, str, int | None]]:
    return {(h.kind, winner.student.id, winner.place) for h in one.all for winner in h.winners}


@settings(max_examples=30, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.lists(st.sampled_from([0, 10, 20, 40]), min_size=6, max_size=6),
            st.sets(st.integers(0, 5), max_size=2),
        ),
        min_size=2,
        max_size=3,
    )
)
def test_what_is_given_is_given_whatever_is_answered(months: list[tuple[list[int], set[int]]]) -> None:
    """Against trying all answers at their ends: what is given is what all of them give.

    And what is given or open is what any of them gives. Days are set by weekday from Monday to Saturday.
    """
    challenge = plan(
        "longest-streak",
        "every-weekday",
        prizes={"top": 2},
        counting={"most_per_day": 40},
        expectation={"required_days_allowed_short": 4},
    )
    dates = challenge.month.dates()

    def make(answers: Mapping[tuple[int, int], int]) -> Book:
        """answers: by student and weekday; whatever is missing stays open, in the week from the 18th."""
        sheets = []
        for n, (minutes, open_days) in enumerate(months):
            boxes = []
            for day in dates:
                name, weekday = f"day:{day}", day.weekday()
                if weekday in open_days and 18 <= day.day < 25 and (n, weekday) not in answers:
                    boxes.append(flagged(name, 20))
                elif weekday in open_days and 18 <= day.day < 25:
                    boxes.append(answered(name, answers[n, weekday]))
                else:
                    boxes.append(answered(name, minutes[weekday] if weekday < 6 else 0))
            sheets.append(sheet(student(f"S{n}"), boxes))
        return book(*sheets)

    now = awards(make({}), challenge, NO_TIMES)
    asked = [(n, weekday) for n, (_, open_days) in enumerate(months) for weekday in open_days]
    ways = [
        given_to(awards(make(dict(zip(asked, said, strict=True))), challenge, NO_TIMES))
        for said in product([0, 40], repeat=len(asked))
    ]
    assert given_to(now) == set.intersection(*ways)
    open_now = {(honour.kind, each.student.id) for honour in now.all for each in honour.open}
    assert {one[:2] for one in given_to(now)} | open_now == {one[:2] for way in ways for one in way}
