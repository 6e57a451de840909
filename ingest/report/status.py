"""Where things stand: a page of plain text for a terminal of 80 columns, with or without colour."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence, Set

from rich import box
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from ingest.check.book import Book, Question
from ingest.check.fate import Fate, Outcome
from ingest.ledger.records import PageRecord, ReturnRecord, ReturnState
from ingest.plan.challenge import Challenge
from ingest.report.readings import page_origins
from ingest.tally.stakes import Stake, Stakes, stakes, verdict
from ingest.tally.student import Tally, tallies

NAMES_SHOWN = 12  # missing students named a section
OPEN_SHOWN = 6  # students named of whom something is open
LINES_SHOWN = 10  # files and pages named a list

_INDENT = 2


def status(
    book: Book,
    challenge: Challenge,
    returns: Sequence[ReturnRecord],
    pages: Sequence[PageRecord],
    *,
    fates: Sequence[Fate] = (),
    trusted: Sequence[str] = (),
    charts_printed: bool = True,
    folder: str = "",
) -> RenderableType:
    """The page. `rich` prints it.

    fates: what became of everything; says which pages do not count, and whose they may be.
    trusted: how far what was accepted can be trusted, in sentences.
    folder: as it must be typed after --folder in the next command; "" for the current one.
    """
    figures = tallies(book, challenge)
    origins = page_origins(returns, pages)
    asked = [question for question in book.questions if question.box == "chart"]
    names = {sheet.student.id: sheet.student.name for sheet in book.sheets}
    by_path = {fate.path: names[fate.named] for fate in fates if fate.named in names}
    refused = [record for record in returns if record.state is ReturnState.REFUSED]
    waiting = sum(record.state is ReturnState.WAITING for record in returns)
    # a page that a person is asked about stands in that list, not in this one
    strange = [page for page in pages if page.problem and page.id not in {each.page_id for each in asked}]
    parts = [
        _title(challenge),
        _sections(figures, len(book.questions)),
        _missing(figures),
        _counted_list(
            "Files that could not be opened",
            [(_with_name(record.path, by_path), record.note) for record in refused],
        ),
        _counted_list(
            "Pages on which no chart was found",
            [(_with_name(_origin(origins, page.id), by_path), page.problem) for page in strange],
        ),
        _counted_list("Charts that do not count", list(_aside(fates, names, by_path))),
        _to_review(book, asked, origins),
        Group(*map(Text, trusted)) if trusted else None,
        _could_change(figures, stakes(book, figures, challenge), book.questions, challenge),
    ]
    if untold := sum(fate.untold for fate in fates):
        parts.append(Text(f"Whether {_count(untold, 'page')} came in late cannot be told: daybox returns."))
    if waiting:
        parts.append(Text(f"{_count(waiting, 'file')} copied in, but not read yet."))
    command = _next(bool(book.questions), bool(returns), waiting > 0, charts_printed)
    parts.append(Text(f"Next: daybox {command}{f' --folder {folder}' if folder else ''}", style="bold"))
    lines: list[RenderableType] = []
    for part in parts:
        if part is not None:
            lines += [part, ""]
    return Group(*lines[:-1])


def _next(questions: bool, returns: bool, waiting: bool, charts_printed: bool) -> str:
    """The command that a month goes on with."""
    if not charts_printed and not returns:
        return "charts"
    if waiting or not returns:
        return "collect PATH"
    return "review" if questions else "grades"


def _title(challenge: Challenge) -> Text:
    due = f", due {challenge.hand_in.due}" if challenge.hand_in.due else ""
    return Text(f"{challenge.title} ({challenge.month}{due})", style="bold")


def _sections(figures: Sequence[Tally], questions: int) -> Table:
    """The counts by section. questions: all that are open, those about pages of nobody included."""
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False)
    table.add_column("Section", overflow="fold")
    for heading in ("Students", "Handed in", "Missing", "Late", "To review"):
        table.add_column(heading, justify="right", no_wrap=True)
    groups = _by_section(figures)
    for section, group in groups.items():
        table.add_row(Text(section), *_counts(group), str(_open_flags(group)))
    nobodys = questions - _open_flags(figures)
    if nobodys:
        table.add_row(Text("nobody's yet"), "", "", "", "", str(nobodys))
    if len(groups) > 1 or nobodys:
        table.add_section()
        table.add_row(Text("all"), *_counts(figures), str(questions))
    return table


def _counts(group: Sequence[Tally]) -> list[str]:
    handed_in = sum(tally.handed_in for tally in group)
    late = sum(tally.late for tally in group)
    return [str(number) for number in (len(group), handed_in, len(group) - handed_in, late)]


def _open_flags(group: Sequence[Tally]) -> int:
    return sum(tally.open_flags for tally in group)


def _by_section(figures: Iterable[Tally]) -> Mapping[str, list[Tally]]:
    groups: dict[str, list[Tally]] = {}
    for tally in figures:
        groups.setdefault(tally.student.section, []).append(tally)
    return groups


def _missing(figures: Sequence[Tally]) -> Table | None:
    table = _grid("Missing")
    for section, group in _by_section(figures).items():
        names = [
            f"{tally.student.name} (in review)" if tally.open_pages else tally.student.name
            for tally in group
            if not tally.handed_in
        ]
        if len(names) == len(group) > 1 and not any(tally.open_pages for tally in group):
            table.add_row(Text(section), Text(f"all {len(group)}"))
        elif names:
            more = len(names) - NAMES_SHOWN
            shown = ", ".join(names[:NAMES_SHOWN]) + (f" and {more} more" if more > 0 else "")
            table.add_row(Text(section), Text(shown))
    return table if table.row_count else None


def _aside(
    fates: Sequence[Fate], names: Mapping[str, str], by_path: Mapping[str, str]
) -> Iterator[tuple[str, str]]:
    """Charts that were handed in and count for nothing, and why."""
    for fate in fates:
        if fate.outcome is Outcome.ASIDE:
            path = fate.path if fate.page in (None, 1) else f"{fate.path}, page {fate.page}"
            whose = f" ({names[fate.student_id]})" if fate.student_id in names else ""
            yield (path + whose if whose else _with_name(path, by_path)), fate.why


def _with_name(path: str, by_path: Mapping[str, str]) -> str:
    """The path, with the student whom it names."""
    name = by_path.get(path.partition(", page ")[0])
    return f"{path} ({name}?)" if name else path


def _to_review(
    book: Book, asked: Sequence[Question], origins: Mapping[int, tuple[str, int]]
) -> RenderableType | None:
    if not book.questions:
        return None
    boxes = [question for question in book.questions if question.box != "chart"]
    charts = len({question.student_id for question in boxes})
    counts = []
    if boxes:
        counts.append(f"{_count(len(boxes), 'box', 'boxes')} on {_count(charts, 'chart')}")
    if asked:
        counts.append(_count(len(asked), "page"))
    lines = [
        (_origin(origins, question.page_id), " ".join(flag.why for flag in question.flags))
        for question in asked
    ]
    return _list(f"To review: {' and '.join(counts)}", lines)


def _could_change(
    figures: Sequence[Tally], found: Stakes, questions: Sequence[Question], challenge: Challenge
) -> RenderableType | None:
    """Which prizes and marks are open, of whom, and how many questions decide them."""
    handed_in = [tally for tally in figures if tally.handed_in]
    names = {tally.student.id: tally.student.name for tally in figures}
    of = f"of {_count(len(handed_in), 'student')} who handed in"
    top = challenge.prizes.top
    lines = []
    if found.met:
        surely = sum(tally.met is True for tally in handed_in), sum(tally.met is False for tally in handed_in)
        lines.append(
            f"Whether the challenge is met: open for {len(found.met)} {of}{_who(found.met, names)} It is met "
            f"for sure by {surely[0]}, and for sure not by {surely[1]}."
        )
    if found.places:
        first = "The first place" if top == 1 else f"The first {top} places"
        lines.append(f"{first}: open for {len(found.places)}{_who(found.places, names)}")
    for kind, ids in found.mentions.items():
        if ids:
            mention = f"Honourable mention, {kind.replace('-', ' ')}"
            lines.append(f"{mention}: open for {len(ids)}{_who(ids, names)}")
    if found.marks:
        lines.append(f"Points: open for {len(found.marks)} {of}{_who(found.marks, names)}")
    if undecided := sum(standing.place is None for standing in found.standings.values()):
        lines.append(f"Any place by minutes: open for {undecided} {of}.")
    if unowned := sum(question.box == "chart" and not question.student_id for question in questions):
        keeps = "keeps" if unowned == 1 else "keep"
        lines.append(f"{_count(unowned, 'page')} may yet be anybody's and {keeps} places open for all.")
    said = verdict(found, questions) or _decisive(found, questions)
    if not lines:
        return Text(said) if said else None
    table = _grid("What could still change")
    for line in lines:
        table.add_row(Text(line))
    return Group(table, "", Text(said)) if said else table


def _who(ids: Set[str], names: Mapping[str, str]) -> str:
    """Who they are, in the order of the roster, as the end of a sentence."""
    who = [name for student_id, name in names.items() if student_id in ids]
    more = len(who) - OPEN_SHOWN
    return f": {', '.join(who[:OPEN_SHOWN])}{f' and {more} more' if more > 0 else ''}."


def _decisive(found: Stakes, questions: Sequence[Question]) -> str:
    """How many questions something hangs on that can be won or lost."""
    by_stake = Counter(found.of(question) for question in questions)
    prizes = by_stake[Stake.PAGE] + by_stake[Stake.PRIZE]
    if not prizes:
        return ""
    if prizes == len(questions):
        return f"{_count(prizes, 'question')} can still change a prize."
    marks = f" and {by_stake[Stake.MARK]} more a mark" if by_stake[Stake.MARK] else ""
    return f"Of {len(questions)} questions, {prizes} can still change a prize{marks}; these are asked first."


def _counted_list(heading: str, lines: Sequence[tuple[str, str]]) -> RenderableType | None:
    return _list(f"{heading}: {len(lines)}", lines) if lines else None


def _list(heading: str, lines: Sequence[tuple[str, str]]) -> RenderableType:
    """A heading, then each thing on a line of its own and what is the matter on the next."""
    parts: list[RenderableType] = [Text(heading, style="bold")]
    for what, why in lines[:LINES_SHOWN]:
        parts.append(_indented(Text(what, overflow="fold"), 1))
        if why:
            parts.append(_indented(Text(why), 2))
    if len(lines) > LINES_SHOWN:
        parts.append(_indented(Text(f"and {len(lines) - LINES_SHOWN} more"), 1))
    return Group(*parts)


def _indented(text: Text, steps: int) -> Padding:
    return Padding(text, (0, 0, 0, steps * _INDENT), expand=False)


def _grid(title: str) -> Table:
    """Rows without lines under a bold title."""
    table = Table(box=None, show_header=False, title=Text(title, style="bold"), title_justify="left")
    table.padding = (0, 2, 0, _INDENT)
    return table


def _origin(origins: Mapping[int, tuple[str, int]], page_id: int) -> str:
    path, number = origins.get(page_id, ("a page without a file", 1))
    return path if number == 1 else f"{path}, page {number}"


def _count(number: int, one: str, many: str = "") -> str:
    """ "1 box", "3 boxes"."""
    return f"{number} {one if number == 1 else many or one + 's'}"
