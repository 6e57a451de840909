"""The printed charts as a form: a field for text in every box, to be filled in on a computer or a tablet.

Interactive forms: ISO 32000-1, 12.7; tagged PDF, so that a screen reader finds its way: 14.7 and 14.8.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from io import BytesIO

import uharfbuzz
from babel import Locale
from babel.dates import format_date, format_skeleton
from babel.units import get_unit_name
from pypdf import PdfWriter
from pypdf.generic import (
    ArrayObject,
    BooleanObject,
    DecodedStreamObject,
    DictionaryObject,
    FloatObject,
    IndirectObject,
    NameObject,
    NumberObject,
    PdfObject,
    StreamObject,
    TextStringObject,
)

from ingest.chart.charts import Chart
from ingest.chart.design import Design
from ingest.chart.layout import ChartBox, Kind, Layout
from ingest.chart.lettering import REGULAR, load_face
from ingest.errors import DesignError
from ingest.paper import to_points
from ingest.plan.challenge import Challenge

_FONT = "Chart"  # what the fields call their font
# Points. In a day of 26 mm there is room for `1 h 30 min`; what is longer can be scrolled.
_SIZE = {Kind.MINUTES: 14, Kind.TOTAL: 14, Kind.MARK: 12, Kind.TEXT: 16}
_LONGEST = {Kind.MINUTES: 16, Kind.TOTAL: 16, Kind.MARK: 12, Kind.TEXT: 60}  # letters: `1 hr 15 minutes`
_CENTRED = 1
_PRINTED = 4  # annotation flag, bit 3 (table 165)
_NOT_SPELL_CHECKED = 1 << 22  # field flag, bit 23 (table 228)
_NONSYMBOLIC = 32  # font flag, bit 6 (table 123)


def make_fillable(
    pdf: bytes, challenge: Challenge, design: Design, layout: Layout, charts: Sequence[Chart]
) -> bytes:
    """The charts of `draw_charts`, with a field in each box.

    A field's full name is the chart's code, a full stop, and the box's name in `charts.layout.json`:
    `K7QF-3M4P.day:2027-10-01`.

    Raises DesignError where circles are to be filled in: a form has nothing to color with.
    """
    if any(box.circles for box in layout.boxes):
        raise DesignError(
            f'The chart design "{design.name}" has circles to color in, which cannot be typed into. '
            'Use the design "minutes" for charts to be filled in on a screen.'
        )
    return _Form(pdf, challenge, design, layout).filled_with(charts)


def _dictionary(**entries: PdfObject) -> DictionaryObject:
    return DictionaryObject({NameObject(f"/{key}"): value for key, value in entries.items()})


def _numbers(*values: float) -> ArrayObject:
    return ArrayObject(FloatObject(round(value, 2)) for value in values)


@dataclass(frozen=True, slots=True)
class _Place:
    """A box, and what a screen reader or a pointer that rests on it says of it."""

    box: ChartBox
    hint: str


class _Form:
    def __init__(self, pdf: bytes, challenge: Challenge, design: Design, layout: Layout) -> None:
        self._writer = PdfWriter(clone_from=BytesIO(pdf))
        self._writer.pdf_header = "%PDF-1.7"  # tags came with 1.4, hints and the order of tabs with 1.5
        self._layout = layout
        self._places = list(_in_reading_order(challenge, design, layout))
        self._name = _Place(
            ChartBox("name", Kind.TEXT, layout.name, layout.name), design.wording(challenge.language).name
        )
        self._root = self._writer.root_object
        self._font = self._writer._add_object(_embedded_font(self._writer))
        self._tags: list[tuple[int, PdfObject]] = []  # of the parent tree: number, and what it leads to

    def _add(self, thing: PdfObject) -> IndirectObject:
        return self._writer._add_object(thing)

    def filled_with(self, charts: Sequence[Chart]) -> bytes:
        tree = _dictionary(Type=NameObject("/StructTreeRoot"))
        tree_at = self._add(tree)
        whole = _dictionary(Type=NameObject("/StructElem"), S=NameObject("/Document"), P=tree_at)
        whole_at = self._add(whole)
        parts, fields = ArrayObject(), ArrayObject()
        for page, chart in zip(self._writer.pages, charts, strict=True):
            part, field = self._chart(page, chart, whole_at)
            parts.append(part)
            fields.append(field)
        whole[NameObject("/K")] = parts
        tree[NameObject("/K")] = whole_at
        numbers = ArrayObject(
            entry for number, leads_to in self._tags for entry in (NumberObject(number), leads_to)
        )
        tree[NameObject("/ParentTree")] = self._add(_dictionary(Nums=numbers))
        tree[NameObject("/ParentTreeNextKey")] = NumberObject(len(self._tags))
        self._root[NameObject("/StructTreeRoot")] = tree_at
        self._root[NameObject("/MarkInfo")] = _dictionary(Marked=BooleanObject(True))
        # No NeedAppearances: every field comes with its look, and PDF 2.0 has done away with it.
        self._root[NameObject("/AcroForm")] = self._add(
            _dictionary(
                Fields=fields,
                DR=_dictionary(Font=DictionaryObject({NameObject(f"/{_FONT}"): self._font})),
                DA=_type(_SIZE[Kind.MINUTES]),
            )
        )
        file = BytesIO()
        self._writer.write(file)
        return file.getvalue()

    def _chart(self, page: DictionaryObject, chart: Chart, whole: PdfObject) -> tuple[PdfObject, PdfObject]:
        """Put the fields on one page; its part of the document, and its field of fields."""
        page_at = page.indirect_reference
        assert page_at is not None
        part = _dictionary(Type=NameObject("/StructElem"), S=NameObject("/Sect"), P=whole)
        part_at = self._add(part)
        print_ = _dictionary(
            Type=NameObject("/StructElem"), S=NameObject("/P"), P=part_at, Pg=page_at, K=NumberObject(0)
        )
        kids = ArrayObject([self._add(print_)])
        self._tags.append((len(self._tags), ArrayObject(kids)))
        page[NameObject("/StructParents")] = NumberObject(len(self._tags) - 1)
        page[NameObject("/Tabs")] = NameObject("/S")  # in the order of the tags
        self._mark(page)

        field = _dictionary(T=TextStringObject(chart.code))
        field_at = self._add(field)
        widgets = ArrayObject()
        for place in [*([] if chart.student else [self._name]), *self._places]:
            widget = self._widget(place, field_at, page_at)
            widget_at = self._add(widget)
            widgets.append(widget_at)
            form = _dictionary(
                Type=NameObject("/StructElem"),
                S=NameObject("/Form"),
                P=part_at,
                K=_dictionary(Type=NameObject("/OBJR"), Obj=widget_at, Pg=page_at),
            )
            form_at = self._add(form)
            kids.append(form_at)
            self._tags.append((len(self._tags), form_at))
            widget[NameObject("/StructParent")] = NumberObject(len(self._tags) - 1)
        field[NameObject("/Kids")] = widgets
        page[NameObject("/Annots")] = ArrayObject(widgets)
        part[NameObject("/K")] = kids
        return part_at, field_at

    def _widget(self, place: _Place, field: PdfObject, page: PdfObject) -> DictionaryObject:
        box = place.box
        x, y, width, height = to_points(box.area, self._layout.paper.height)
        return _dictionary(
            Type=NameObject("/Annot"),
            Subtype=NameObject("/Widget"),
            FT=NameObject("/Tx"),
            T=TextStringObject(box.name),
            TU=TextStringObject(place.hint),
            Parent=field,
            P=page,
            Rect=_numbers(x, y, x + width, y + height),
            F=NumberObject(_PRINTED),
            Ff=NumberObject(_NOT_SPELL_CHECKED),
            MaxLen=NumberObject(_LONGEST[box.kind]),
            DA=_type(_SIZE[box.kind]),
            Q=NumberObject(0 if box.kind is Kind.TEXT else _CENTRED),
            # Each has a look of its own: programs that fill a field in write over the look in its place.
            AP=_dictionary(N=self._add(_empty_look(width, height))),
        )

    def _mark(self, page: DictionaryObject) -> None:
        """What is printed on the page becomes the first thing that the tags lead to."""
        printed = page[NameObject("/Contents")].get_object()
        assert isinstance(printed, StreamObject)
        marked = DecodedStreamObject()
        marked.set_data(b"/P <</MCID 0>> BDC\n" + printed.get_data() + b"\nEMC\n")
        page[NameObject("/Contents")] = self._add(marked.flate_encode())


def _type(size: int) -> TextStringObject:
    return TextStringObject(f"/{_FONT} {size} Tf 0 g")


def _empty_look(width: float, height: float) -> StreamObject:
    look = DecodedStreamObject()
    look.set_data(b"/Tx BMC\nEMC\n")
    look.update(
        _dictionary(
            Type=NameObject("/XObject"),
            Subtype=NameObject("/Form"),
            BBox=_numbers(0, 0, width, height),
            Resources=DictionaryObject(),
        )
    )
    return look


def _in_reading_order(challenge: Challenge, design: Design, layout: Layout) -> Iterator[_Place]:
    """The boxes row by row, each row from the left, the month's last; hints in the challenge's language."""
    words = design.wording(challenge.language)
    locale = Locale.parse(challenge.language.replace("-", "_"))
    minutes = get_unit_name("duration-minute", locale=locale) or "min"
    titles = {"week": words.week_total, "initials": words.initials, "month": words.month_total}
    for box in sorted(layout.boxes, key=lambda box: (box.frame.bottom, box.frame.left)):
        kind, _, which = box.name.partition(":")
        if kind == "day":
            day = date.fromisoformat(which)
            weekday = format_date(day, "EEEE", locale=locale)
            yield _Place(box, f"{weekday}, {format_skeleton('MMMMd', day, locale=locale)}: {minutes}")
        elif kind == "month":
            yield _Place(box, titles[kind])
        else:
            week = words.week.format(number=which)
            yield _Place(box, f"{week}: {titles[kind]}")


def _embedded_font(writer: PdfWriter) -> DictionaryObject:
    """The chart's type with the letters of WinAnsiEncoding, which is how all programs can set it."""
    face = load_face(REGULAR)
    letters = {code: bytes([code]).decode("cp1252", "ignore") for code in range(32, 256)}
    wanted = uharfbuzz.SubsetInput()
    wanted.sets(uharfbuzz.SubsetInputSets.UNICODE).update(
        ord(letter) for letter in letters.values() if letter
    )
    subset = uharfbuzz.subset(face.font.face, wanted)
    program = DecodedStreamObject()
    program.set_data(bytes(subset.blob.data))
    compressed = program.flate_encode()
    compressed[NameObject("/Length1")] = NumberObject(len(subset.blob.data))
    font, per_mille = face.font, 1000 / face.upem

    def glyph(letter: str) -> int:
        return (font.get_nominal_glyph(ord(letter)) if letter else 0) or 0

    widths = [round(font.get_glyph_h_advance(glyph(letter)) * per_mille) for letter in letters.values()]
    extents = font.get_font_extents("ltr")
    capital = font.get_glyph_extents(glyph("H"))
    name = NameObject(f"/DAYBOX+{face.name.partition('-')[0]}")
    descriptor = _dictionary(
        Type=NameObject("/FontDescriptor"),
        FontName=name,
        Flags=NumberObject(_NONSYMBOLIC),
        FontBBox=_numbers(-1000, extents.descender * per_mille, 2000, extents.ascender * per_mille),
        ItalicAngle=NumberObject(0),
        Ascent=NumberObject(round(extents.ascender * per_mille)),
        Descent=NumberObject(round(extents.descender * per_mille)),
        CapHeight=NumberObject(round(capital.y_bearing * per_mille)),
        StemV=NumberObject(80),
        FontFile2=writer._add_object(compressed),
    )
    return _dictionary(
        Type=NameObject("/Font"),
        Subtype=NameObject("/TrueType"),
        BaseFont=name,
        FirstChar=NumberObject(32),
        LastChar=NumberObject(255),
        Widths=ArrayObject(NumberObject(width) for width in widths),
        Encoding=NameObject("/WinAnsiEncoding"),
        FontDescriptor=writer._add_object(descriptor),
    )
