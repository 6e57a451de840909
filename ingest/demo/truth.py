"""What the gradebook must say, worked out from the diaries alone, and how a real one differs.

On purpose this shares nothing with `ingest.report`: two ways to the same figures check each other.
"""

import csv
import io
from collections.abc import Mapping, Sequence
from datetime import date

from ingest.demo.diary import Diary


def expected_gradebook(
    diaries: Mapping[str, Diary | None], required: Sequence[date], minimum: int, points: int
) -> dict[str, dict[str, str]]:
    """Student id to the columns that follow from what was practised; rule "met", nothing capped.

    diaries: None for a student of whom nothing usable came back.
    """
    minutes = {student: diary.minutes() for student, diary in diaries.items() if diary is not None}
    totals = {student: sum(days.values()) for student, days in minutes.items()}
    rows = {}
    for student in diaries:
        if student not in minutes:
            empty = ("total_minutes", "weekend_minutes", "days_met", "met", "standing", "points")
            rows[student] = {"handed_in": "no", **dict.fromkeys(empty, ""), "open_flags": "0"}
            continue
        days = minutes[student]
        days_met = sum(days[day] >= minimum for day in required)
        rows[student] = {
            "handed_in": "yes",
            "total_minutes": str(totals[student]),
            "weekend_minutes": str(sum(days[day] for day in days if day.isoweekday() >= 6)),
            "required_days": str(len(required)),
            "days_met": str(days_met),
            "met": "yes" if days_met == len(required) else "no",
            # Ties share the better place: 1-2-2-4.
            "standing": str(1 + sum(other > totals[student] for other in totals.values())),
            "points": str(points if days_met == len(required) else 0),
            "open_flags": "0",
        }
    return rows


def differences(gradebook: str, expected: Mapping[str, Mapping[str, str]]) -> list[str]:
    """In words, where a gradebook CSV is not as expected; empty if it is."""
    found = {row["student_id"]: row for row in csv.DictReader(io.StringIO(gradebook))}
    out = [f"{student}: not in the gradebook" for student in expected if student not in found]
    out += [f"{student}: in the gradebook, but nobody's" for student in found if student not in expected]
    for student, columns in expected.items():
        row = found.get(student, {})
        out += [
            f"{student}: {column} is {row[column] or 'empty'}, should be {value or 'empty'}"
            for column, value in columns.items()
            if row and row.get(column) != value
        ]
    return out


def box_differences(readings: str, truths: Mapping[str, Diary]) -> list[str]:
    """Boxes in a readings CSV that were taken (read, blank or answered) and are not what was written."""
    out = []
    for row in csv.DictReader(io.StringIO(readings)):
        diary = truths.get(row["student_id"])
        if diary is None or row["box"] not in diary.truth or row["state"] == "flagged":
            continue
        meant = diary.truth[row["box"]]
        if row["value"] != ("" if meant is None else str(meant)):
            out.append(
                f"{row['student_id']} {row['box']}: {row['value'] or 'blank'} was taken, "
                f"{'blank' if meant is None else meant} was written ({row['return']})"
            )
    return out


def answered(sheet: str, truths: Mapping[str, Diary], owners: Mapping[str, str]) -> tuple[str, list[str]]:
    """A review sheet with its answers filled in from the truth.

    owners: picture of a page (as the sheet names it) to a student id or "not ours".
    Returns the CSV text, and what could not be answered, in words.
    """
    rows = list(csv.DictReader(io.StringIO(sheet)))
    puzzles = []
    for row in rows:
        if row["box"] == "chart":
            row["answer"] = owners.get(row["picture"], "")
        elif row["student_id"] in truths:
            meant = truths[row["student_id"]].truth.get(row["box"])
            row["answer"] = "blank" if meant is None else str(meant)
        if not row["answer"]:
            puzzles.append(f"{row['student_id'] or '?'} {row['box']}: {row['why']}")
    buffer = io.StringIO(newline="")
    writer = csv.DictWriter(buffer, list(rows[0]) if rows else ["student_id", "box", "answer"])
    writer.writeheader()
    writer.writerows(rows)
    return buffer.getvalue(), puzzles
