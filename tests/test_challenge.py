from datetime import date
from pathlib import Path

import pytest

from ingest.errors import PlanError
from ingest.plan.challenge import Challenge, default_due, default_title, load_challenge, parse_challenge
from ingest.plan.month import Month

# The contract, word for word.
CONTRACT = """
title = "October practice challenge"
month = "2027-10"
design = "minutes"              # a design in templates/, or a path to your own .toml
paper = "letter"                # or "a4"
language = "en"                 # chart wording; at least "en" and "es" ship

[days]
required = ["mon", "tue", "wed", "thu", "fri"]
no_school = ["2027-10-11"]      # not required; minutes still count toward the total
minimum_minutes = 15

[counting]
most_per_day = 240              # above this a reading is flagged as hardly possible
counts_per_day = 0              # ranking counts at most so many minutes a day; 0: no cap

[expectation]
required_days_allowed_short = 0 # how many required days may fall short and still meet the challenge

[prizes]
top = 5
across = "grade"                # or "section"

[hand_in]
due = "2027-11-01"
late = "accept"                 # or "flag"

[grade]
points = 10                     # full marks
rule = "met"                    # "met": all or nothing; "share": share of required days met

[reading]
silent_errors = "1 in 2000"     # of boxes that nobody but the program looked at
"""

SUNDAYS = ["2027-10-03", "2027-10-10", "2027-10-17", "2027-10-24", "2027-10-31"]


def read(text: str) -> Challenge:
    return parse_challenge(text.encode(), "challenge.toml")


def refusal(text: str | bytes) -> str:
    with pytest.raises(PlanError) as caught:
        parse_challenge(text if isinstance(text, bytes) else text.encode(), "challenge.toml")
    message = str(caught.value)
    assert message.startswith("challenge.toml cannot be ")
    assert message.endswith("run the same command again.")
    assert "\n" not in message
    return message


def october(rest: str = "") -> str:
    return f'month = "2027-10"\n{rest}'


def test_contract_is_read_and_its_values_are_the_defaults() -> None:
    full = read(CONTRACT)
    assert full.days.no_school == {date(2027, 10, 11)}
    assert full.hand_in.due == date(2027, 11, 1)
    assert read(CONTRACT.replace('["2027-10-11"]', "[]")) == read(october())


def test_required_dates_leave_out_weekends_and_days_without_school() -> None:
    required = read(CONTRACT).required_dates()
    assert len(required) == 20  # October 2027 starts on a Friday: 21 weekdays, less Monday the 11th
    assert required[0] == date(2027, 10, 1)
    assert date(2027, 10, 11) not in required
    assert all(day.isoweekday() <= 5 for day in required)


@pytest.mark.parametrize(
    ("month", "weekdays", "weekend"),
    # Counted on wall calendars, as in tests/test_month.py.
    [("2027-03", 23, 8), ("2028-02", 21, 8), ("2026-08", 21, 10), ("2027-02", 20, 8), ("2026-12", 23, 8)],
)
def test_required_dates_of_other_months(month: str, weekdays: int, weekend: int) -> None:
    assert len(read(f'month = "{month}"').required_dates()) == weekdays
    assert len(read(f'month = "{month}"\n[days]\nrequired = ["sat", "sun"]').required_dates()) == weekend


@pytest.mark.parametrize(
    ("month", "due"),
    [
        ("2027-10", "2027-11-01"),
        ("2027-07", "2027-08-02"),
        ("2027-12", "2028-01-03"),
        ("2028-02", "2028-03-01"),
    ],
)
def test_charts_are_due_on_the_first_weekday_after_the_month(month: str, due: str) -> None:
    assert default_due(Month.parse(month)) == date.fromisoformat(due)


def test_due_date_may_lie_anywhere_and_may_be_a_toml_date() -> None:
    assert read(october("[hand_in]\ndue = 2027-12-24")).hand_in.due == date(2027, 12, 24)
    assert read(october('[hand_in]\ndue = "2027-10-29"')).hand_in.due == date(2027, 10, 29)
    assert read(october('[hand_in]\nlate = "flag"')).hand_in.due == date(2027, 11, 1)


def test_title_follows_month_and_language() -> None:
    assert default_title(Month(2027, 10)) == "October practice challenge"
    assert read(october('language = "es-MX"')).title == "Reto de práctica de octubre"
    assert read(october('language = "tlh"')).title == "October practice challenge"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("minimum_minuts = 9", "is not a key of this file (did you mean days.minimum_minutes?)"),
        ("minimum_minutes = 20", "is not a key of this file (did you mean days.minimum_minutes?)"),
        ("[days]\nno_scool = []", "days.no_scool is not a key of this file (did you mean days.no_school?)"),
        ("[prize]\ntop = 3", "prize is not a key of this file (did you mean prizes?)"),
        ("[prizes]\nlate = 'flag'", "prizes.late is not a key of this file (did you mean hand_in.late?)"),
        ("xyzzy = 1", "xyzzy is not a key of this file."),
        ("paper = 'A4'", 'paper must be "letter" or "a4", not "A4"'),
        ("[days]\nweek_starts = 'sat'", 'days.week_starts must be "sun" or "mon", not "sat"'),
        ("[days]\nrequired = ['monday']", 'or "sun", not "monday"'),
        ("[days]\nrequired = ['mon', 'tue', 'mon']", "days.required: mon stands there more than once"),
        ("[days]\nrequired = 'mon'", 'days.required must be a list in square brackets, not "mon"'),
        ("[days]\nrequired = []", "leave no required day"),
        (f"[days]\nrequired = ['sun']\nno_school = {SUNDAYS}", "leave no required day"),
        ("[days]\nno_school = ['2027-11-01']", "days.no_school: 2027-11-01 is not in 2027-10"),
        ("[days]\nno_school = ['2026-10-11']", "days.no_school: 2026-10-11 is not in 2027-10"),
        ("[days]\nno_school = ['2027-10-32']", "days.no_school: there is no day 2027-10-32"),
        ("[days]\nno_school = [11]", 'days.no_school: a date is written like "2027-10-11", not 11'),
        ("[days]\nno_school = ['Oct 11']", 'a date is written like "2027-10-11", not "Oct 11"'),
        ("[days]\nno_school = [2027-10-11T00:00:00]", "not 2027-10-11T00:00:00"),
        ("[days]\nminimum_minutes = '15'", 'days.minimum_minutes must be a whole number, not "15"'),
        ("[days]\nminimum_minutes = 15.0", "days.minimum_minutes must be a whole number, not 15.0"),
        ("[days]\nminimum_minutes = true", "days.minimum_minutes must be a whole number, not true"),
        ("[days]\nminimum_minutes = 0", "days.minimum_minutes must be at least 1, not 0"),
        ("[counting]\nmost_per_day = 1441", "counting.most_per_day must be at most 1440, not 1441"),
        ("[counting]\nmost_per_day = 10", "days.minimum_minutes is 15, but counting.most_per_day"),
        ("[counting]\ncounts_per_day = -1", "counting.counts_per_day must be at least 0, not -1"),
        ("[expectation]\nrequired_days_allowed_short = 'two'", "days_allowed_short must be a whole number"),
        ("[prizes]\ntop = -1", "prizes.top must be at least 0, not -1"),
        ("[prizes]\nacross = 'school'", 'prizes.across must be "grade" or "section", not "school"'),
        ("[[mentions]]\nknd = 'x'", "mentions.knd is not a key of this file (did you mean mentions.kind?)"),
        ("[[mentions]]\ntitle = 'x'", "mentions.kind is missing"),
        ("[[mentions]]\nkind = 'streak'", 'mentions.kind must be "longest-streak", "every-weekday", "most-'),
        ("[mentions]\nkind = 'every-weekday'", "opens with [[mentions]], in double brackets"),
        ("mentions = ['every-weekday']", "opens with [[mentions]], in double brackets"),
        ("[[mention]]\nkind = 'every-weekday'", "mention is not a key of this file (did you mean mentions?)"),
        ("[[mentions]]\nkind = 'every-weekday'\ntitle = ''", "mentions.title: must be one line of text"),
        (2 * "[[mentions]]\nkind = 'every-weekday'\n", "mentions: every-weekday stands there more than once"),
        ("[prizes]\ncertificate = 3", "prizes.certificate must be text in quotation marks, not 3"),
        ("[hand_in]\ndue = ''", 'hand_in.due: a date is written like "2027-10-11", not ""'),
        ("[hand_in]\nlate = true", 'hand_in.late must be "accept" or "flag", not true'),
        ("[grade]\npoints = 'ten'", 'grade.points must be a number, not "ten"'),
        ("[grade]\npoints = true", "grade.points must be a number, not true"),
        ("[grade]\npoints = inf", "grade.points must be a number, not inf"),
        ("[grade]\npoints = nan", "grade.points must be"),
        ("[grade]\npoints = 0", "grade.points must be more than 0, not 0"),
        ("[grade]\npoints = 1e308", "grade.points must be"),
        ("[grade]\nrule = 'all'", 'grade.rule must be "met" or "share", not "all"'),
        ("days = 3", "days must be a section that opens with [days], not 3"),
        ("title = 10", "title must be text in quotation marks, not 10"),
        ("title = ' '", "title: must be one line of text"),
        ('title = "a\\u0007b"', "title: must be one line of text"),
        ("language = ['en']", "language must be text in quotation marks"),
    ],
)  # fmt: skip
def test_bad_value_is_named_by_its_key(text: str, told: str) -> None:
    assert told in refusal(october(text))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "month is missing"),
        ("month = '2027-13'", "month: no such month: 2027-13"),
        ("month = 'October'", 'month: a month is written like "2027-10", not "October"'),
        ("month = 2027", 'month: a month is written like "2027-10", not "2027"'),
    ],
)
def test_month_must_be_one(text: str, told: str) -> None:
    assert told in refusal(text)


def test_all_problems_of_a_file_are_told_at_once() -> None:
    told = refusal(
        october(
            "paper = 'A3'\ncolour = 'red'\n[days]\nno_school = ['2027-11-11', '2027-10-40']\nmimimum = 3\n"
            "[grade]\nrule = 1\n"
        )
    )
    for key in (
        "paper must",
        "colour is",
        "2027-11-11 is not in",
        "no day 2027-10-40",
        "days.mimimum is",
        "grade.rule",
    ):
        assert key in told


def test_syntax_error_names_and_shows_the_line() -> None:
    told = refusal('title = "x"\nmonth = 2027-10\n')
    assert "line 2" in told
    assert "where it says month = 2027-10." in told


def test_same_key_twice_is_refused() -> None:
    assert "line 2" in refusal('month = "2027-10"\nmonth = "2027-11"\n')


def test_deep_brackets_and_huge_numbers_are_refused_in_words() -> None:
    assert "nested too deep" in refusal("x = " + "[" * 100_000)
    assert "cannot be read" in refusal("x = " + "9" * 5_000)


def test_wrong_encoding_is_refused_by_line_and_a_mark_is_fine() -> None:
    assert "line 2 has a letter that is not in UTF-8" in refusal(
        b'month = "2027-10"\ntitle = "pr\xe1ctica"\n'
    )
    assert parse_challenge(b'\xef\xbb\xbfmonth = "2027-10"\r\n', "challenge.toml").month == Month(2027, 10)


def test_folder_without_a_plan_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(PlanError, match=r"has no challenge\.toml.*daybox new"):
        load_challenge(tmp_path)
    with pytest.raises(PlanError, match="There is no folder"):
        load_challenge(tmp_path / "nowhere")


def test_plan_is_loaded_from_its_folder(tmp_path: Path) -> None:
    (tmp_path / "challenge.toml").write_text(CONTRACT, encoding="utf-8")
    assert load_challenge(tmp_path) == read(CONTRACT)


@pytest.mark.parametrize("spelling", ["1 in 20,000", "1 in 20000", "1:20000", "0.005 %"])
def test_the_rate_of_silent_errors_may_be_spelled_in_usual_ways(spelling: str) -> None:
    assert read(october(f'[reading]\nsilent_errors = "{spelling}"')).reading.silent_errors == 20_000


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("2000", 'is written like "1 in 2000", not 2000'),
        ("0.0005", 'is written like "1 in 2000", not 0.0005'),
        ('"few"', 'is written like "1 in 2000", not "few"'),
        ('"1 in 20"', 'must be from 1 in 100 to 1 in 1,000,000, not "1 in 20"'),
        ('"1 in 2,000,000"', 'must be from 1 in 100 to 1 in 1,000,000, not "1 in 2,000,000"'),
    ],
)
def test_a_rate_that_cannot_be_is_refused_with_an_example(value: str, words: str) -> None:
    assert f"reading.silent_errors: {words}" in refusal(
        october(f"[reading]\nsilent_errors = {value}")
    ).replace("a rate ", "")
