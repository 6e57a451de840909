"""The awards as a sheet for reading aloud: large type, upright, and at its end what is still open."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from io import BytesIO

from reportlab.pdfgen.canvas import Canvas

from ingest import __version__
from ingest.chart.lettering import REGULAR, load_face
from ingest.chart.pen import Pen, points
from ingest.paper import PAPERS, POINTS_PER_MM, Paper
from ingest.report.award_sheet_words import sheet_words
from ingest.report.award_words import Phrases
from ingest.report.awards import Awards, Contender, Honour, Why, Winner
from ingest.report.fitting import PITCH, Fitted, fit
from ingest.tally.improvement import MOST_OF_A_DAY

NAMES_SHOWN = 12  # of those whose award is open, in one line of the sheet

_MARGIN = 18.0  # mm
_NAME, _PLACE, _HEADING, _SECTION, _TEXT, _SMALL = 18.0, 22.0, 21.0, 15.0, 12.0, 9.5  # points
_GUTTER = 8.0  # mm between the two columns of names
_NUMBER = 16.0  # mm for the number of a place
_PALE, _GREY = 0.75, 0.35


@dataclass(frozen=True, slots=True)
class _Block:
    """Something to be drawn at a height of the page. needs: mm that must be left for it and what follows."""

    height: float
    draw: Callable[[Pen, float], None]
    needs: float = 0.0


def draw_sheet(awards: Awards, said: Phrases) -> bytes:
    """The PDF."""
    challenge = said.challenge
    landscape = PAPERS[challenge.paper]
    paper = Paper(landscape.name, landscape.height, landscape.width)
    sheet = _Sheet(awards, said, paper)
    pages = sheet.pages()
    file = BytesIO()
    canvas = Canvas(
        file,
        pagesize=(paper.width * POINTS_PER_MM, paper.height * POINTS_PER_MM),
        pageCompression=1,
        lang=challenge.language.replace("_", "-"),  # a language tag (RFC 5646)
        initialFontName=load_face(REGULAR).pdf_name,
        invariant=1,
    )
    canvas.setTitle(sheet.event)
    canvas.setAuthor("")
    canvas.setSubject("")
    canvas.setCreator(f"Daybox {__version__}")
    canvas.setViewerPreference("DisplayDocTitle", "true")
    for number, blocks in enumerate(pages, start=1):
        pen = Pen(canvas, paper)
        y = _MARGIN
        for block in blocks:
            block.draw(pen, y)
            y += block.height
        sheet.draw_foot(pen, number, len(pages))
        canvas.showPage()
    canvas.save()
    return file.getvalue()


class _Sheet:
    """What is written, block by block, and how it is cut into pages."""

    def __init__(self, awards: Awards, said: Phrases, paper: Paper) -> None:
        self.awards = awards
        self.said = said
        self.words = sheet_words(said.locale.language)
        self.paper = paper
        self.left = _MARGIN
        self.wide = paper.width - 2 * _MARGIN
        self.event = said.fill(said.words.event)

    def pages(self) -> Sequence[Sequence[_Block]]:
        room = self.paper.height - 2 * _MARGIN - 6
        pages: list[list[_Block]] = [[]]
        used = 0.0
        for block in self._blocks():
            if pages[-1] and used + max(block.height, block.needs) > room:
                pages.append([])
                used = 0.0
            pages[-1].append(block)
            used += block.height
        return pages

    def draw_foot(self, pen: Pen, number: int, count: int) -> None:
        y = self.paper.height - _MARGIN + 4
        pen.line((self.left, y - 5), (self.left + self.wide, y - 5), thick=0.2, grey=_PALE)
        text = self.event if self.awards.settled else f"{self.event}. {self.words.not_final}"
        pen.text((self.left, y), text, _SMALL, grey=_GREY, room=self.wide - 30)
        of = self.words.page_of.format(number=number, count=count)
        pen.text((self.left + self.wide, y), of, _SMALL, grey=_GREY, align="right")

    # -- what is read aloud -------------------------------------------------------------------------

    def _blocks(self) -> Iterator[_Block]:
        yield self._text(self.event, 28, bold=True)
        yield self._text(self.words.lead, _TEXT, grey=_GREY)
        yield self._text(self.words.final if self.awards.settled else self.words.not_final, _TEXT, bold=True)
        yield from self._met()
        for honour in self.awards.places:
            yield from self._places(honour)
        for honour in self.awards.mentions:
            yield from self._mention(honour)
        yield from self._aside()

    def _met(self) -> Iterator[_Block]:
        challenge = self.said.challenge
        short = challenge.expectation.required_days_allowed_short
        required = len(challenge.required_dates())
        yield self._heading(self.words.met)
        rule = self.words.met_some if short else self.words.met_all
        yield self._text(self._filled(rule, needed=max(0, required - short)), _TEXT)
        for honour in self.awards.met:
            of = self._filled(self.words.of, met=len(honour.winners), rivals=honour.rivals)
            yield self._section(honour.section, of)
            yield from self._names([winner.student.name for winner in honour.winners])
            yield from self._nobody(honour)

    def _places(self, honour: Honour) -> Iterator[_Block]:
        words, challenge = self.words, self.said.challenge
        yield self._heading(
            self._filled(words.places_in, section=honour.section) if honour.section else words.places
        )
        yield self._text(words.rule, _TEXT)
        if cap := challenge.counting.counts_per_day:
            yield self._text(self._filled(words.cap, cap=cap), _TEXT)
        yield self._gap(2)
        numbers = [winner.place for winner in honour.winners]
        for winner in honour.winners:
            yield self._place(winner, shared=numbers.count(winner.place) > 1)
        yield from self._nobody(honour)

    def _mention(self, honour: Honour) -> Iterator[_Block]:
        title = self.said.title(honour)
        if honour.section:
            title = self._filled(self.words.mention_in, title=title, section=honour.section)
        yield self._heading(title)
        yield self._text(self._filled(self.words.rules[honour.kind]), _TEXT)
        yield from self._names([winner.student.name for winner in honour.winners])
        whys = {self.said.why(honour, winner) for winner in honour.winners}
        if len(whys) == 1 and (why := whys.pop()) and honour.kind != "every-weekday":
            yield self._text(why, _TEXT, grey=_GREY)
        yield from self._nobody(honour)

    def _nobody(self, honour: Honour) -> Iterator[_Block]:
        """Where there is nobody, or somebody is still missing."""
        if honour.open:
            words = self.words.open_for_more if honour.winners else self.words.open_here
            yield self._text(words, _TEXT, grey=_GREY)
        elif not honour.winners:
            yield self._text(
                self.words.nobody if self.awards.settled else self.words.nobody_yet, _TEXT, grey=_GREY
            )

    # -- what is not --------------------------------------------------------------------------------

    def _aside(self) -> Iterator[_Block]:
        words, awards = self.words, self.awards
        told = [honour for honour in awards.all if any(each.why is not Why.TIMES for each in honour.open)]
        yield self._heading(words.care)
        yield self._text(words.care_lead, _TEXT, grey=_GREY)
        yield self._text(self.said.fill(self.said.words.cautions), 14)
        yield self._text(words.sources, 8, grey=_GREY)
        if not awards.settled:
            yield self._heading(words.open, new_page=True)
            yield self._text(words.open_lead, _TEXT)
            if awards.strangers:
                yield self._text(_counted(words.strangers, awards.strangers), _TEXT)
            for honour in told:
                yield self._small_title(self._name_of(honour))
                yield from self._contenders(honour.open)
            yield self._gap(4)
            yield self._text(words.next, _TEXT, bold=True)
        for honour in awards.all:
            if honour.open and honour not in told:
                yield self._small_title(self._name_of(honour))
                yield self._text(words.times, _TEXT, grey=_GREY)
                yield from self._contenders(honour.open)
        if awards.settled and awards.questions:
            yield self._gap(6)
            yield self._text(_counted(words.harmless, awards.questions), _TEXT, grey=_GREY)
        if awards.missing:
            yield self._gap(6)
            yield self._text(_counted(words.missing, awards.missing), _TEXT, grey=_GREY)

    def _name_of(self, honour: Honour) -> str:
        title = {"met": self.words.met, "place": self.words.places}.get(honour.kind) or self.said.title(
            honour
        )
        return f"{title}: {honour.section}" if honour.section else title

    def _contenders(self, open_ones: Sequence[Contender]) -> Iterator[_Block]:
        """A line each; names stand by themselves, since they may run from right to left."""
        for each in open_ones[:NAMES_SHOWN]:
            yield self._pair(each.student.name, self._why(each))
        if len(open_ones) > NAMES_SHOWN:
            more = self._filled(self.words.more, count=len(open_ones) - NAMES_SHOWN)
            yield self._text(more, _TEXT, grey=_GREY)

    def _why(self, each: Contender) -> str:
        words = self.words
        why = {
            Why.BOXES: _counted(words.boxes, each.boxes),
            Why.PAGE: words.page,
            Why.OTHERS: words.others,
            Why.TIMES: "",
        }[each.why]
        if each.best and each.worst and each.worst > each.best:
            return f"{self._filled(words.open_place, best=each.best, worst=each.worst)}: {why}"
        return why

    # -- blocks -------------------------------------------------------------------------------------

    def _heading(self, text: str, *, new_page: bool = False) -> _Block:
        fitted = fit(text, self.wide, 40, most=_HEADING, bold=True)

        def draw(pen: Pen, y: float) -> None:
            pen.line((self.left, y + 7), (self.left + self.wide, y + 7), thick=0.5, grey=_PALE)
            self._lines(pen, fitted, self.left, y + 8.5, self.wide, bold=True)

        return _Block(9 + fitted.height, draw, needs=self.paper.height if new_page else 50)

    def _section(self, section: str, of: str) -> _Block:
        fitted = fit(section, self.wide - 60, 40, most=_SECTION, bold=True)

        def draw(pen: Pen, y: float) -> None:
            self._lines(pen, fitted, self.left, y + 4, self.wide - 60, bold=True)
            baseline = y + 4 + points(fitted.size)
            pen.text((self.left + self.wide, baseline), of, _SMALL, grey=_GREY, room=58, align="right")

        return _Block(5 + fitted.height, draw, needs=22)

    def _small_title(self, text: str) -> _Block:
        fitted = fit(text, self.wide, 40, most=_TEXT, bold=True)

        def draw(pen: Pen, y: float) -> None:
            self._lines(pen, fitted, self.left, y + 3, self.wide, bold=True)

        return _Block(3 + fitted.height, draw, needs=16)

    def _text(self, text: str, size: float, *, bold: bool = False, grey: float = 0.0) -> _Block:
        fitted = fit(text, self.wide, 400, most=size, bold=bold, even=False)

        def draw(pen: Pen, y: float) -> None:
            self._lines(pen, fitted, self.left, y, self.wide, bold=bold, grey=grey)

        return _Block(fitted.height + 1, draw)

    def _pair(self, name: str, note: str) -> _Block:
        """A name, and in the right half of the page what there is to say of it."""
        half = self.wide / 2
        fitted = fit(name, half - 4, 3 * PITCH * points(_TEXT), most=_TEXT, even=False)
        said = fit(note, half, 40, most=_TEXT, even=False)

        def draw(pen: Pen, y: float) -> None:
            self._lines(pen, fitted, self.left, y, half - 4)
            self._lines(pen, said, self.left + half, y, half, grey=_GREY)

        return _Block(max(fitted.height, said.height) + 0.5, draw)

    def _gap(self, height: float) -> _Block:
        return _Block(height, lambda pen, y: None)

    def _names(self, names: Sequence[str]) -> Iterator[_Block]:
        """Two to a row, to be read row by row."""
        column = (self.wide - _GUTTER) / 2
        for start in range(0, len(names), 2):
            yield self._row([self._fit_name(name, column) for name in names[start : start + 2]], column)

    def _fit_name(self, name: str, room: float) -> Fitted:
        return fit(name, room, 3 * PITCH * points(_NAME), most=_NAME, least=11)

    def _row(self, fitted: Sequence[Fitted], column: float) -> _Block:
        def draw(pen: Pen, y: float) -> None:
            for place, each in enumerate(fitted):
                self._lines(pen, each, self.left + place * (column + _GUTTER), y, column)

        return _Block(max(each.height for each in fitted) + 1.5, draw)

    def _place(self, winner: Winner, *, shared: bool) -> _Block:
        room = self.wide - _NUMBER - 40
        fitted = fit(winner.student.name, room, 3 * PITCH * points(_PLACE), most=_PLACE, least=12, bold=True)
        number = self.said.number(winner.at_least)
        figure = number if winner.figure is not None else self._filled(self.words.at_least, minutes=number)
        note = f"{figure} min"
        if self.said.challenge.prizes.across == "grade":
            note = f"{note}, {winner.student.section}"

        def draw(pen: Pen, y: float) -> None:
            baseline = y + points(_PLACE) * 1.02
            pen.text((self.left, baseline), str(winner.place), _PLACE, bold=True, room=_NUMBER - 3)
            self._lines(pen, fitted, self.left + _NUMBER, y, room, bold=True)
            right = self.left + self.wide
            pen.text((right, baseline), note, _SMALL, grey=_GREY, room=38, align="right")
            if shared:
                pen.text((right, baseline - 4.2), self.words.shared, _SMALL, grey=_GREY, align="right")

        return _Block(fitted.height + 2, draw)

    def _lines(
        self,
        pen: Pen,
        fitted: Fitted,
        x: float,
        y: float,
        room: float,
        *,
        bold: bool = False,
        grey: float = 0.0,
    ) -> None:
        em = points(fitted.size)
        for number, line in enumerate(fitted.lines):
            baseline = y + (number * PITCH + 1.02) * em
            pen.text((x, baseline), line, fitted.size, bold=bold, grey=grey, room=room)

    def _filled(self, sentence: str, **blanks: object) -> str:
        challenge = self.said.challenge
        return sentence.format(
            minimum=challenge.days.minimum_minutes,
            required=len(challenge.required_dates()),
            most=MOST_OF_A_DAY * challenge.days.minimum_minutes,
            **blanks,
        )


def _counted(one_or_many: tuple[str, str], count: int) -> str:
    return one_or_many[0 if count == 1 else 1].format(count=count)
