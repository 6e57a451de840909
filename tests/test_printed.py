"""A plan that is no longer the one that charts were printed by is refused, and every other change is not."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from books import challenge_folder, october

from ingest.chart.design import load_design
from ingest.chart.layout import Layout, lay_out
from ingest.chart.printed import refuse_another_plan
from ingest.cli import COMMANDS, main
from ingest.errors import PlanError
from ingest.ledger.store import Ledger
from ingest.plan.challenge import Challenge


def printed(**keys: Any) -> Layout:
    challenge = Challenge.model_validate({"month": "2027-10", **keys})
    return lay_out(challenge, load_design("minutes", Path()))


def test_before_anything_is_printed_any_plan_will_do() -> None:
    refuse_another_plan([], october())


@pytest.mark.parametrize("week_starts", ["sun", "mon"])
@pytest.mark.parametrize("month", ["2027-02", "2027-10", "2028-02", "2026-02"])
def test_what_the_charts_were_printed_by_will_do(month: str, week_starts: str) -> None:
    plan: Mapping[str, Any] = {"month": month, "days": {"week_starts": week_starts}}
    refuse_another_plan([printed(**plan), printed(**plan, paper="a4")], Challenge.model_validate(plan))


def test_another_month_is_refused_with_both_months_and_the_way_out() -> None:
    november = Challenge.model_validate({"month": "2027-11"})
    with pytest.raises(PlanError) as refusal:
        refuse_another_plan([printed()], november)
    for words in ('says month = "2027-11"', "printed for 2027-10", 'month = "2027-10" back', "daybox new"):
        assert words in str(refusal.value)


def test_a_folder_that_two_months_were_printed_in_is_refused_whichever_the_plan_says() -> None:
    for month in ("2027-10", "2027-11"):
        with pytest.raises(PlanError, match="One folder holds one month"):
            refuse_another_plan(
                [printed(), printed(month="2027-11")], Challenge.model_validate({"month": month})
            )


@pytest.mark.parametrize(("before", "now"), [("sun", "mon"), ("mon", "sun")])
@pytest.mark.parametrize("month", ["2027-02", "2027-10"])  # the former begins on a Monday and has 28 days
def test_weeks_that_start_on_another_day_are_refused(month: str, before: str, now: str) -> None:
    plan = Challenge.model_validate({"month": month, "days": {"week_starts": now}})
    with pytest.raises(PlanError, match=f'week_starts = "{now}".* Put week_starts = "{before}" back'):
        refuse_another_plan([printed(month=month, days={"week_starts": before})], plan)


# What children wrote can be forgotten whatever the plan says by now.
@pytest.mark.parametrize("command", [name for name in COMMANDS if name not in ("new", "demo", "forget")])
@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("2027-10", "2027-11", "printed for 2027-10"),
        ("[days]\n", '[days]\nweek_starts = "mon"\n', '"sun" back'),
    ],
)
def test_every_command_on_a_folder_refuses_and_changes_nothing(
    command: str, old: str, new: str, told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    challenge_folder(tmp_path)
    plan, roster = tmp_path / "challenge.toml", tmp_path / "roster.csv"
    plan.write_text(plan.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")
    roster.write_text("student_id,first_name,last_name,section\nS1,Ana,Marsh,Flutes\n", encoding="utf-8")
    there = {path.name for path in tmp_path.iterdir()}
    paths = [str(roster)] if command == "collect" else []
    assert main([command, *paths, "--folder", str(tmp_path)]) == 1
    assert told in capsys.readouterr().err
    assert {path.name for path in tmp_path.iterdir()} == there
    with Ledger.open(tmp_path) as ledger:
        assert len(ledger.students()) == 2  # the roster was not taken up either
        assert len(ledger.layouts()) == 1
