"""The review prompt line by line, for terminals without colour or without a cursor to move."""

import textwrap
from collections.abc import Callable

from ingest.check.book import Question
from ingest.errors import DayboxError
from ingest.plan.roster import Student
from ingest.printable import printable
from ingest.review.picture import shading
from ingest.review.prompt import Prompt

TEXT_ROWS = 8  # rows of a screenful that are not picture


def ask_in_lines(
    prompt: Prompt,
    view: Callable[[Question], str],
    read: Callable[[str], str],
    write: Callable[[str], None],
    columns: int = 80,
    rows: int = 24,
) -> None:
    """Ask until the person leaves.

    view: opens the whole page of a question and says in one line what it did.
    read: shows its argument and returns the line typed; EOFError or KeyboardInterrupt leaves.
    write: shows a line.
    """
    shown: Question | None = None
    if prompt.said:
        write(prompt.said)
    try:
        while True:
            question = prompt.question
            if question is None:
                write(f"\n{prompt.end}")
            elif question is not shown:
                _show(prompt, write, columns, rows)
            shown = question
            text = read(_label(prompt)).strip()
            prompt.tell("")
            if text == "q" or (not text and question is None):
                return
            if text == "?":
                write(prompt.help)
            elif text == "p" and question is not None:
                write(view(question))
            elif text in prompt.letters:
                prompt.do(text)
            elif prompt.about_chart and text:
                _choose(prompt, text, read, write)
            else:
                prompt.enter(text)
            if prompt.said:
                write(prompt.said)
    except (EOFError, KeyboardInterrupt):
        write("")


def _show(prompt: Prompt, write: Callable[[str], None], columns: int, rows: int) -> None:
    columns = max(20, columns)
    write(f"\n{prompt.count_words}")
    write(printable(", ".join(prompt.who)))
    why = textwrap.wrap(prompt.why, columns - 1)
    try:
        picture = shading(prompt.crop(), columns - 1, max(4, rows - TEXT_ROWS - len(why)))
    except DayboxError as problem:
        picture = tuple(textwrap.wrap(str(problem), columns - 1))
    for line in (*why, *picture):
        write(printable(line))
    if near := prompt.students(""):
        names = ", ".join(f"{student.name} ({student.id})" for student in near)
        for line in textwrap.wrap(f"Perhaps: {names}", columns - 1):
            write(printable(line))
    write("  ".join(f"{letter} {does}" for letter, does in prompt.letters.items()))


def _label(prompt: Prompt) -> str:
    if prompt.question is None:
        return "> "
    what = "Name or id" if prompt.about_chart else "Minutes"
    if prompt.asks_yes_or_no:
        what = "Does it count? y or n"
    return f"{what} (Enter: {prompt.offer}): " if prompt.offer else f"{what}: "


def _choose(prompt: Prompt, text: str, read: Callable[[str], str], write: Callable[[str], None]) -> None:
    students = prompt.students(text)
    if not students:
        prompt.enter(text)  # which says that nobody is called that
        return
    for number, student in enumerate(students, 1):
        write(f"  {number}  {prompt.student_words(student)}")
    if (picked := _picked(read("Which one? Number, or Enter for none of them: "), students)) is not None:
        prompt.choose(picked)


def _picked(text: str, students: list[Student]) -> Student | None:
    number = int(text) if text.strip().isdecimal() and len(text) < 9 else 0
    return students[number - 1] if 1 <= number <= len(students) else None
