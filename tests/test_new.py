import tomllib
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.errors import PlanError
from ingest.plan.challenge import (
    MENTION_KINDS,
    Challenge,
    HandIn,
    Mention,
    load_challenge,
    make_challenge,
    parse_challenge,
)
from ingest.plan.month import Month
from ingest.plan.new import challenge_text, write_new
from ingest.plan.roster import load_roster

OCTOBER = Challenge(month=Month(2027, 10))


def test_new_plan_loads_back_as_the_defaults(tmp_path: Path) -> None:
    write_new(tmp_path / "a" / "b", OCTOBER)
    assert load_challenge(tmp_path / "a" / "b") == OCTOBER


def test_every_key_is_written_in_the_order_of_the_contract() -> None:
    written = tomllib.loads(challenge_text(OCTOBER))
    model = OCTOBER.model_dump(exclude={"mentions"})  # of which a new plan has none
    assert list(written) == list(model)
    for key, section in model.items():
        if isinstance(section, dict):
            assert list(written[key]) == list(section)


@given(
    title=st.text(st.characters(categories=["L", "N", "P", "S", "Zs"]), min_size=1).filter(
        lambda text: text.strip() and text.isprintable()
    ),
    required=st.lists(
        st.sampled_from(["mon", "tue", "wed", "thu", "fri", "sat", "sun"]), min_size=1, unique=True
    ),
    no_school=st.sets(st.dates(date(2027, 10, 1), date(2027, 10, 3))),
    points=st.floats(0.25, 1000) | st.integers(1, 100),
    due=st.dates(date(1900, 1, 1), date(2999, 12, 31)),
    one_in=st.integers(100, 1_000_000),
    mentions=st.lists(st.sampled_from(MENTION_KINDS), unique=True),
)
def test_any_plan_reads_back_as_it_was(
    title: str,
    required: list[str],
    no_school: set[date],
    points: float,
    due: date,
    one_in: int,
    mentions: list[str],
) -> None:
    plan = make_challenge(
        {
            "title": title,
            "month": "2027-10",
            "days": {"required": required, "no_school": list(no_school)},
            "grade": {"points": points},
            "hand_in": {"due": due},
            "reading": {"silent_errors": f"1 in {one_in}"},
            "mentions": [
                {"kind": kind, **({"title": title} if place % 2 else {})}
                for place, kind in enumerate(mentions)
            ],
        },
        "plan",
    )
    assert parse_challenge(challenge_text(plan).encode(), "plan") == plan


def test_a_new_plan_has_a_mention_to_uncomment_and_says_what_kinds_there_are() -> None:
    text = challenge_text(OCTOBER)
    for kind in MENTION_KINDS:
        assert f'"{kind}"' in text
    head, mark, example = text.partition("# [[mentions]]\n")
    live = head + "\n".join(line.removeprefix("# ") for line in (mark + example).splitlines())
    (mention,) = parse_challenge(live.encode(), "plan").mentions
    assert mention == Mention(kind="longest-streak", title="Steady as a drum")


def test_plan_without_a_hand_in_date_is_still_written_whole() -> None:
    plan = Challenge(month=Month(2027, 10), hand_in=HandIn(late="flag"))
    assert plan.hand_in.due is None
    assert parse_challenge(challenge_text(plan).encode(), "plan").hand_in.late == "flag"


def test_new_roster_has_its_header_and_asks_to_be_filled_in(tmp_path: Path) -> None:
    _, roster = write_new(tmp_path, OCTOBER)
    header = roster.read_text(encoding="utf-8-sig").strip()
    assert header == "student_id,first_name,last_name,section,instrument,email,school"
    with pytest.raises(PlanError, match="no students yet"):
        load_roster(roster)
    with roster.open("a", encoding="utf-8", newline="") as file:
        file.write("S001,Ana,Lopez,Period 1,flute,,\r\n")
    assert [student.name for student in load_roster(roster)] == ["Ana Lopez"]


@pytest.mark.parametrize("there", [["challenge.toml"], ["roster.csv"], ["challenge.toml", "roster.csv"]])
def test_nothing_is_written_over_or_half_written(tmp_path: Path, there: list[str]) -> None:
    for name in there:
        (tmp_path / name).write_text("mine", encoding="utf-8")
    with pytest.raises(PlanError, match="already has " + " and ".join(there)):
        write_new(tmp_path, OCTOBER)
    assert {path.name: path.read_text(encoding="utf-8") for path in tmp_path.iterdir()} == dict.fromkeys(
        there, "mine"
    )


def test_nothing_but_the_two_files_is_left(tmp_path: Path) -> None:
    write_new(tmp_path, OCTOBER)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["challenge.toml", "roster.csv"]


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    (tmp_path / "october").write_text("", encoding="utf-8")
    with pytest.raises(PlanError, match="is a file, not a folder"):
        write_new(tmp_path / "october", OCTOBER)
