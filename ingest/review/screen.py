"""The review prompt on a full screen: one question, its picture, one line to type in."""

import textwrap
from collections.abc import Callable, Iterable
from contextlib import suppress
from functools import partial

from prompt_toolkit.application import Application
from prompt_toolkit.buffer import Buffer
from prompt_toolkit.data_structures import Size
from prompt_toolkit.filters import Always, Condition, Filter
from prompt_toolkit.formatted_text import StyleAndTextTuples
from prompt_toolkit.input import Input
from prompt_toolkit.key_binding import KeyBindings, KeyPressEvent
from prompt_toolkit.keys import Keys
from prompt_toolkit.layout import (
    BufferControl,
    Dimension,
    FormattedTextControl,
    HSplit,
    Layout,
    VSplit,
    Window,
)
from prompt_toolkit.output import Output
from prompt_toolkit.styles import Style

from ingest.check.book import Question
from ingest.check.spoken import minutes_words
from ingest.errors import DayboxError
from ingest.plan.roster import Student
from ingest.reading.values import Grey
from ingest.review.ahead import key_of
from ingest.review.graphics import Graphics, drawn, erased
from ingest.review.picture import blocks, fit, spread
from ingest.review.prompt import MATCHES, Prompt, parse_minutes

STYLE = Style.from_dict(
    {
        "bar": "reverse",
        "who": "bold",
        "said": "ansigreen",
        "refused": "ansired bold",
        "key": "bold",
        "chosen": "reverse",
    }
)

GREY = [f"#{level:02x}{level:02x}{level:02x}" for level in range(256)]

MARGIN = "  "  # left of everything
MOST_WHY_ROWS = 4
SAID_ROWS = 2
MOST_PICTURE_ROWS = 24  # taller is no clearer: a box has about two pixels for each quarter of a cell then
BELOW_ROWS = 2  # the line to type in, and the keys


class Screen:
    """A full-screen view of a Prompt.

    title: the challenge's, for the bar.
    view: opens the whole page of a question and says in one line what it did.
    cell: a character cell's width and height in pixels, where known.
    """

    def __init__(
        self,
        prompt: Prompt,
        title: str,
        view: Callable[[Question], str],
        graphics: Graphics = Graphics.NONE,
        cell: tuple[int, int] | None = None,
        *,
        source: Input | None = None,
        output: Output | None = None,
    ) -> None:
        self._prompt = prompt
        self._title = title
        self._view = view
        self._graphics = graphics
        self._cell = cell
        self._helping = False
        self._chosen = 0  # which of the listed students
        self._moved = False  # whether a person chose it
        self._sent = ""  # the terminal's own picture as it stands on the screen
        self._to_send = ""
        self._shows: object = None  # what the screen was about when the picture was sent
        self._picture_of: object = None
        self._picture_lines: list[StyleAndTextTuples] = []
        self._picture_code = ""
        self._line = Buffer(multiline=False, on_text_changed=self._typed)
        self._app: Application[None] = Application(
            layout=self._layout(),
            key_bindings=self._keys(),
            style=STYLE,
            full_screen=True,
            before_render=self._wipe_picture,
            after_render=self._send_picture,
            input=source,
            output=output,
        )
        # Escape alone clears the line; the usual whole second of waiting for a second key feels stuck.
        self._app.ttimeoutlen = 0.05
        self._app.timeoutlen = 0.3

    def run(self) -> None:
        """Ask until the person leaves. Raises what the keeper raises; answers until then are kept."""
        with suppress(EOFError):  # the terminal went away
            self._app.run()

    def on_render(self, handler: Callable[[object], None]) -> None:
        """Call `handler` each time the screen has been brought up to date."""
        self._app.after_render += handler

    # What stands where

    def _layout(self) -> Layout:
        line = VSplit(
            [
                Window(FormattedTextControl(self._label), dont_extend_width=True),
                Window(BufferControl(self._line), width=Dimension(min=8, preferred=24, max=24)),
                Window(FormattedTextControl(self._hint)),
            ],
            height=1,
        )
        # Its height is given, not asked of the content, which would lay out the whole picture once more.
        upper = Window(
            FormattedTextControl(self._upper),
            height=lambda: Dimension.exact(max(0, self._size().rows - BELOW_ROWS)),
            always_hide_cursor=True,
        )
        keys = Window(FormattedTextControl(self._footer), height=1)
        return Layout(HSplit([upper, line, keys]), focused_element=self._line)

    def _size(self) -> Size:
        return self._app.output.get_size()

    def _upper(self) -> StyleAndTextTuples:
        """Everything above the line to type in: bar, question with its picture, what was said."""
        size = self._size()
        self._to_send = ""
        rows = max(0, size.rows - BELOW_ROWS - SAID_ROWS - 1)
        middle = self._middle(size.columns - 2 * len(MARGIN), rows)[:rows]
        lines = [self._bar(size.columns), *_filled(middle, rows), *self._said(size.columns)]
        return [part for line in lines for part in (*line, ("", "\n"))][:-1]

    def _bar(self, columns: int) -> StyleAndTextTuples:
        prompt = self._prompt
        left = prompt.count_words
        room = max(0, columns - len(left) - len(MARGIN))
        title = f"{MARGIN}Daybox {prompt.task.name}, {self._title}"[: max(0, room - 1)]
        return [("class:bar", f"{title:<{room}}{left}{MARGIN}")]

    def _middle(self, columns: int, rows: int) -> list[StyleAndTextTuples]:
        prompt = self._prompt
        if self._helping:
            return _texts(["", *prompt.help.splitlines()])
        if prompt.question is None:
            return _texts(["", *prompt.end.splitlines()])
        why = textwrap.wrap(prompt.why, max(10, columns))[:MOST_WHY_ROWS]
        above: list[StyleAndTextTuples] = [
            [("class:who", MARGIN + " · ".join(prompt.who))],
            *_texts(why),
            [],
        ]
        if not prompt.about_chart:
            return [*above, *self._picture(1 + len(above), columns, rows - len(above))]
        # Whose a page is takes room for names; whether it counts, a large picture until a name is typed.
        names = 0 if prompt.asks_yes_or_no and not self._line.text else 1 + MATCHES
        picture = self._picture(1 + len(above), columns, rows - len(above) - names)
        return [*above, *picture, [], *self._listing()]

    def _said(self, columns: int) -> list[StyleAndTextTuples]:
        """What the last key did, at the foot of its SAID_ROWS lines."""
        style = "class:refused" if self._prompt.refused else "class:said"
        words = textwrap.wrap(self._prompt.said, max(10, columns - 2 * len(MARGIN)))[:SAID_ROWS]
        said: list[StyleAndTextTuples] = [[(style, MARGIN + line)] for line in words]
        return [*_filled([], SAID_ROWS - len(said)), *said]

    def _picture(self, top: int, columns: int, rows: int) -> list[StyleAndTextTuples]:
        """The crop, at most `rows` lines, of which the first is line `top` of the screen, from 0."""
        question = self._prompt.question
        if question is None or rows < 1 or columns < 1:
            return []
        try:
            crop = self._prompt.crop()
        except DayboxError as problem:
            return _texts(textwrap.wrap(str(problem), columns)[:rows])
        shows = (key_of(question), columns, rows, top)
        if self._picture_of != shows:  # made once a question, not once a key
            room = min(rows, MOST_PICTURE_ROWS)
            self._picture_of, self._picture_code = shows, self._placed(crop, top, columns, room)
            self._picture_lines = (
                _filled([], fit(crop, columns, room)[1])
                if self._picture_code
                else _blocks(crop, columns, room)
            )
        self._to_send = self._picture_code
        return self._picture_lines

    def _placed(self, crop: Grey, top: int, columns: int, rows: int) -> str:
        """What makes the terminal show the crop itself; "" where it cannot."""
        columns, rows = fit(crop, columns, rows)
        picture = drawn(self._graphics, spread(crop), columns, rows, self._cell)
        return f"\x1b[{top + 1};{len(MARGIN) + 1}H{picture}" if picture else ""

    def _wipe_picture(self, _: Application[None]) -> None:
        """Take the terminal's own picture away once it is out of date; characters are not enough."""
        question = self._prompt.question
        shows = (key_of(question) if question else None, self._helping, self._size())
        if self._sent and shows != self._shows:
            self._app.output.write_raw(erased(self._graphics))
            self._app.renderer.erase(leave_alternate_screen=False)
            self._sent = ""
        self._shows = shows

    def _send_picture(self, _: Application[None]) -> None:
        """Put the terminal's own picture over the blank lines, once they are on the screen."""
        if self._to_send and self._to_send != self._sent:
            # Cursor kept and brought back (DECSC, DECRC), for the renderer counts on where it is.
            self._app.output.write_raw(f"\x1b7{self._to_send}\x1b8")
            self._app.output.flush()
            self._sent = self._to_send

    def _listing(self) -> list[StyleAndTextTuples]:
        """The students that what is typed may mean, at most MATCHES lines."""
        lines: list[StyleAndTextTuples] = []
        for number, student in enumerate(self._students()):
            style = "class:chosen" if number == self._chosen and self._would_take() else ""
            lines.append([("", MARGIN), (style, f" {self._prompt.student_words(student)} ")])
        return lines

    def _label(self) -> StyleAndTextTuples:
        if self._helping or self._prompt.question is None:
            return []
        if self._prompt.about_chart:
            label = "Does it count? " if self._prompt.asks_yes_or_no else "Name or id: "
            return [("class:key", MARGIN + label)]
        total = self._prompt.question.box.startswith(("week", "month"))
        return [("class:key", f"{MARGIN}{'Total' if total else 'Minutes'}: ")]

    def _hint(self) -> StyleAndTextTuples:
        """What Enter would do now."""
        prompt, text = self._prompt, self._line.text.strip()
        if self._helping or prompt.question is None:
            return []
        if prompt.about_chart and text in prompt.letters:
            does = prompt.letters[text]
        elif prompt.about_chart and self._would_take() and (students := self._students()):
            does = students[self._chosen].name
        elif text and prompt.about_chart:
            does = ""
        elif text:
            minutes = parse_minutes(text)
            does = minutes_words(minutes) if minutes is not None else ""
        else:
            does = prompt.offer
        return [("", "Enter: "), ("class:key", does)] if does else []

    def _footer(self) -> StyleAndTextTuples:
        if self._helping:
            return [("", f"{MARGIN}Any key goes back.")]
        prompt = self._prompt
        parts: StyleAndTextTuples = [("", MARGIN)]
        if prompt.about_chart:
            parts.append(("", "A letter and Enter: "))
        elif prompt.question is not None:
            parts += [("class:key", "number Enter"), ("", " answer  ")]
        for letter, does in prompt.letters.items():
            parts += [("class:key", letter), ("", f" {does}  ")]
        return parts

    def _students(self) -> list[Student]:
        text = self._line.text.strip()
        return [] if text in self._prompt.letters else self._prompt.students(text)

    # What the keys do

    def _typed(self, _: Buffer) -> None:
        self._chosen, self._moved = 0, False

    def _keys(self) -> KeyBindings:
        keys = KeyBindings()
        helping = Condition(lambda: self._helping)
        listing = ~helping & Condition(lambda: self._prompt.about_chart)
        # A letter is a command on an empty line only, so that it cannot take away what is half typed;
        # where names are typed it needs Enter as well.
        ready = ~listing & ~helping & Condition(lambda: not self._line.text)

        def on(key: str, when: Filter, act: Callable[[], None]) -> None:
            @keys.add(key, filter=when)
            def _(event: KeyPressEvent) -> None:
                try:
                    act()
                except Exception as problem:  # out through `run`, with the terminal put back in order
                    event.app.exit(exception=problem)

        on(Keys.Any, helping, self._leave_help)
        on(Keys.ControlC, Always(), self._app_exit)
        on(Keys.ControlD, Always(), self._app_exit)
        on(Keys.Escape, ~helping, self._line.reset)
        on(Keys.Enter, ~helping, self._enter)
        on(Keys.Up, listing, lambda: self._move(-1))
        on(Keys.Down, listing, lambda: self._move(1))
        for letter in "blup?q":
            on(letter, ready & Condition(partial(self._means, letter)), partial(self._command, letter))
        return keys

    def _means(self, letter: str) -> bool:
        return letter in self._prompt.letters

    def _command(self, letter: str) -> None:
        self._clear()
        question = self._prompt.question
        if letter == "q":
            self._app_exit()
        elif letter == "?":
            self._helping = True
        elif letter == "p" and question is not None:
            self._prompt.tell(self._view(question))
        elif letter != "b" or not self._prompt.too_soon():
            self._prompt.do(letter)

    def _enter(self) -> None:
        prompt, text = self._prompt, self._line.text.strip()
        if prompt.question is None:
            self._app_exit()
        elif prompt.about_chart and text in prompt.letters:
            self._command(text)
        elif prompt.about_chart and (text or self._moved) and (students := self._students()):
            prompt.choose(students[self._chosen])
            self._clear()
        elif prompt.enter(text):
            self._clear()

    def _clear(self) -> None:
        self._line.reset()
        self._chosen, self._moved = 0, False

    def _would_take(self) -> bool:
        """Whether Enter would take the chosen student: one is typed, picked, or offered."""
        return bool(self._line.text.strip()) or self._moved or bool(self._prompt.offer)

    def _move(self, by: int) -> None:
        if self._would_take():
            self._chosen = max(0, min(self._chosen + by, len(self._students()) - 1))
        self._moved = bool(self._students())

    def _leave_help(self) -> None:
        self._helping = False

    def _app_exit(self) -> None:
        self._app.exit()


def _blocks(crop: Grey, columns: int, rows: int) -> list[StyleAndTextTuples]:
    """The crop in quarter blocks."""
    return [
        [("", MARGIN), *((f"fg:{GREY[run.ink]} bg:{GREY[run.paper]}", run.text) for run in line)]
        for line in blocks(crop, columns, rows)
    ]


def _filled(lines: list[StyleAndTextTuples], rows: int) -> list[StyleAndTextTuples]:
    """The lines and as many empty ones as make `rows`."""
    return [*lines, *([] for _ in range(rows - len(lines)))]


def _texts(lines: Iterable[str]) -> list[StyleAndTextTuples]:
    return [[("", MARGIN + line)] for line in lines]
