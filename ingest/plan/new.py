"""Starting a month: a commented `challenge.toml` and a `roster.csv`, empty or carried over."""

import json
import tempfile
from collections.abc import Mapping
from pathlib import Path

from ingest.errors import PlanError
from ingest.plan.challenge import FILE_NAME, Challenge, Mention, default_due

ROSTER_NAME = "roster.csv"
ROSTER_HEADER = "student_id,first_name,last_name,section,instrument,email,school\r\n"


def write_new(
    folder: Path,
    challenge: Challenge,
    roster: bytes | None = None,
    designs: Mapping[str, bytes] | None = None,
    last: Challenge | None = None,
) -> tuple[Path, Path]:
    """Write plan and roster into the folder, which is made if need be, and return their paths.

    roster: of whom; None for an empty one. designs: files that go beside them, by the names by which the plan
    calls them. last: the plan that is carried on, whose dates are told as comments.
    Raises PlanError if any of them is there already; then nothing is written.
    """
    if folder.exists() and not folder.is_dir():
        raise PlanError(f"{folder} is a file, not a folder. Name another folder and run the command again.")
    # The mark at the start tells spreadsheets that the roster is UTF-8; without it, they save names in
    # whatever the computer's language suggests, and letters outside that are lost.
    files = {
        folder / FILE_NAME: challenge_text(challenge, last).encode(),
        folder / ROSTER_NAME: ROSTER_HEADER.encode("utf-8-sig") if roster is None else roster,
    }
    files.update({folder / name: content for name, content in (designs or {}).items()})
    there = [path.name for path in files if path.exists()]
    if there:
        raise PlanError(
            f"{folder.resolve()} already has {' and '.join(there)}, so nothing was written. Edit what is "
            "there, or choose a new folder for the new month."
        )
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder, prefix=".new-") as place:
        for path, data in files.items():
            (Path(place) / path.name).write_bytes(data)
        for path in files:
            (Path(place) / path.name).rename(path)
    return folder / FILE_NAME, folder / ROSTER_NAME


def challenge_text(challenge: Challenge, last: Challenge | None = None) -> str:
    """The text of a challenge's file, a comment at every key; `parse_challenge` reads it back.

    last: the plan that is carried on: its days without school and its hand-in date are told as comments.
    """
    days, counting, hand_in, grade = challenge.days, challenge.counting, challenge.hand_in, challenge.grade
    due = f"due = {_toml(str(hand_in.due))}" if hand_in.due else f'# due = "{challenge.month}-28"'
    return f"""\
# The plan of one month. Change what stands after the equals signs.
# A line that you take out gets its usual value.

title = {_toml(challenge.title)}
month = {_toml(str(challenge.month))}

# The chart: a design that comes with Daybox, or the path of your own .toml file.
design = {_toml(challenge.design)}

# "letter" or "a4".
paper = {_toml(challenge.paper)}

# Of the wording on the chart: "en" English, "es" Spanish, or another that the design has.
language = {_toml(challenge.language)}

[days]
# The weekdays on which practice is expected: mon, tue, wed, thu, fri, sat, sun.
required = {_toml(days.required)}

# Dates on which it is not, for instance ["{challenge.month}-11", "{challenge.month}-12"].
# Minutes on such a day still count toward the total.
no_school = {_toml(sorted(str(day) for day in days.no_school))}
{_last_no_school(last)}
# So many minutes make a required day.
minimum_minutes = {days.minimum_minutes}

# The first column of the chart: "sun" or "mon".
week_starts = {_toml(days.week_starts)}

[counting]
# More than this on one day, and you are asked whether it was read right.
most_per_day = {counting.most_per_day}

# The ranking counts at most so many minutes a day; 0: all of them.
counts_per_day = {counting.counts_per_day}

[expectation]
# So many required days may fall short, and the challenge is still met.
required_days_allowed_short = {challenge.expectation.required_days_allowed_short}

[prizes]
# Places with a prize, by total minutes.
top = {challenge.prizes.top}

# Ranked over the whole "grade", or each "section" by itself.
across = {_toml(challenge.prizes.across)}

# The certificate: a design that comes with Daybox, or the path of your own .toml
# file; `daybox awards --own-design` makes a copy for you to change.
certificate = {_toml(challenge.prizes.certificate)}

[hand_in]
# The last day to hand the chart in.
{due}
{_last_due(last)}
# A chart that comes later: "accept" it, or "flag" it, so that you are asked.
late = {_toml(hand_in.late)}

[grade]
# Full marks.
points = {_number(grade.points)}

# "met": all points or none; "share": as many as the share of required days met.
rule = {_toml(grade.rule)}

[reading]
# So many of the boxes that nobody but Daybox looks at may be misread. With a
# stricter wish, such as "1 in 10,000", you are asked about more boxes.
silent_errors = "1 in {challenge.reading.silent_errors}"
{_mentions(challenge.mentions)}"""


_ABOUT_MENTIONS = """
# Honourable mentions, for `daybox awards`: each kind that you want, in a section of
# its own. "title" is what you call it; leave it out for the usual name. Kinds:
#   "longest-streak"      most required days in a row with the minimum
#   "every-weekday"       the minimum on every required day, none short
#   "most-improved-week"  biggest rise in minutes from one whole week to the next,
#                         where a day counts at most twice the minimum
#   "first-to-hand-in"    by the times of the files, where they can be believed
"""

_EXAMPLE = """\
#
# [[mentions]]
# kind = "longest-streak"
# title = "Steady as a drum"
"""


def _last_no_school(last: Challenge | None) -> str:
    if last is None or not last.days.no_school:
        return ""
    return f"# In {last.month} it was {_toml(sorted(str(day) for day in last.days.no_school))}.\n"


def _last_due(last: Challenge | None) -> str:
    if last is None or last.hand_in.due in (None, default_due(last.month)):
        return ""
    return f"# In {last.month} it was {_toml(str(last.hand_in.due))}.\n"


def _mentions(mentions: tuple[Mention, ...]) -> str:
    """Their sections and what there is to know of them; an example to uncomment where there is none."""
    if not mentions:
        return (
            f'{_ABOUT_MENTIONS}#\n# [[mentions]]\n# kind = "longest-streak"\n# title = "Steady as a drum"\n'
        )
    told = []
    for mention in mentions:
        title = "" if mention.title is None else f"\ntitle = {_toml(mention.title)}"
        told.append(f"\n[[mentions]]\nkind = {_toml(mention.kind)}{title}\n")
    return _ABOUT_MENTIONS + "".join(told)


def _toml(value: str | tuple[str, ...] | list[str]) -> str:
    # JSON writes strings and lists as TOML does, but for U+007F, which no field lets in.
    return json.dumps(value, ensure_ascii=False)


def _number(value: float) -> str:
    return str(int(value)) if value == int(value) else str(value)
