"""Boxes and minutes as a person says them."""

from datetime import date


def box_words(box: str) -> str:
    """A box as a person says it: "Tuesday 12 October", "total of week 2"."""
    kind, _, which = box.partition(":")
    if kind in ("day", "outside"):
        day = date.fromisoformat(which)
        words = f"{day:%A} {day.day} {day:%B}"
        return words if kind == "day" else f"{words}, not in this month"
    return {
        "week": f"total of week {which}",
        "month": "total of the month",
        "initials": f"initials of week {which}",
        "name": "the name",
        "chart": "the whole page",
    }.get(kind, box)


def minutes_words(minutes: int) -> str:
    """`1 minute`, `25 minutes`."""
    return f"{minutes} minute{'' if minutes == 1 else 's'}"
