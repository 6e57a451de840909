"""Whom a name means that was read on a page, by a program that misreads letters."""

import unicodedata
from collections.abc import Sequence
from dataclasses import replace

from rapidfuzz import fuzz

from ingest.collect.owner import Guess, guess_owner
from ingest.plan.roster import Student

# A name is not sure, however well it fits, if it has fewer letters, or if another student's is so like it (of
# 100) that a letter misread makes one of the other: Ana and Anna Lopez. Assumptions, no source.
LETTERS_LEAST = 5
NAMESAKE = 85.0
NOT_SURE = 90.0

CLOSEST = 5  # students listed
CLOSE_LEAST = 50.0  # of 100, under which a name is not worth listing


def guess_written(name: str, students: Sequence[Student]) -> Guess:
    """As `guess_owner`, but never over NOT_SURE where a misread letter could have made this name."""
    guess = guess_owner(name, students)
    if guess.score <= NOT_SURE:
        return guess
    meant = next(student for student in students if student.id == guess.student_id)
    if sum(map(str.isalpha, meant.name)) < LETTERS_LEAST or _has_namesake(meant, students):
        return replace(guess, score=NOT_SURE)
    return guess


def closest(name: str, path_names: str, students: Sequence[Student]) -> tuple[str, ...]:
    """The ids of the students whom a page may belong to, likeliest first, at most CLOSEST.

    name: what was read on it, or "". path_names: the id of the student whom its path names, or "".
    """
    wanted = _folded(name)
    scores = {student.id: fuzz.token_sort_ratio(wanted, _folded(student.name)) for student in students}
    close = [student_id for student_id, score in scores.items() if wanted and score >= CLOSE_LEAST]
    close.sort(key=lambda student_id: -scores[student_id])
    named = [path_names] if path_names in scores else []
    return tuple(dict.fromkeys([*named, *close]))[:CLOSEST]


def _has_namesake(meant: Student, students: Sequence[Student]) -> bool:
    name = _folded(meant.name)
    return any(
        fuzz.ratio(name, _folded(other.name)) >= NAMESAKE for other in students if other.id != meant.id
    )


def _folded(name: str) -> str:
    """Lower case, without accents."""
    apart = unicodedata.normalize("NFKD", name.casefold())
    return "".join(letter for letter in apart if not unicodedata.combining(letter)).strip()
