"""The write-up as a PDF with its fonts inside, set like a letter of the shop.

The typeface is shipped whole with its licence (SIL Open Font License 1.1) in ``templates/fonts``.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fpdf import FPDF
from fpdf.enums import XPos, YPos
from fpdf.fonts import FontFace

from fieldnote.narrate.document import APPENDIX, CAUTIONS, Document, Line, Section, Table, spans
from fieldnote.narrate.page import TEMPLATES
from fieldnote.narrate.sketch import Mark, Sketch, placed, shape, size_of

FACE = "Source Sans"
INK, SOFT, DEEP, RULE, TINT = (22, 35, 42), (85, 99, 106), (12, 74, 91), (205, 199, 184), (245, 243, 236)
MARGIN_MM, SIDE_MM, GAP_MM = 18.0, 34.0, 4.0
BODY_PT, MAIN_PT, SMALL_PT = 10.0, 11.0, 8.5
PHOTO_MM = 75.0
"""A photo is no taller than this."""
REF_SHARE = 0.68
"""Size of the numbers of entries against the text."""


class Sheet(FPDF):
    """A4 pages with the shipped face and a foot that tells which text this is and which page."""

    def __init__(self, title: str, foot: str, *, begin: bool = True) -> None:
        super().__init__(orientation="portrait", unit="mm", format="A4")
        self.foot = foot
        self.set_margins(MARGIN_MM, MARGIN_MM, MARGIN_MM)
        # Cells are words here: air inside them would be gaps in the text.
        self.c_margin = 0
        self.set_auto_page_break(auto=True, margin=20)
        fonts = TEMPLATES / "fonts"
        self.add_font(FACE, "", fonts / "SourceSansPro-Regular.ttf")
        self.add_font(FACE, "B", fonts / "SourceSansPro-Semibold.ttf")
        self.add_font(FACE, "I", fonts / "SourceSansPro-It.ttf")
        self.set_title(title)
        self.set_lang("en")
        self.set_creator("fieldnote")
        # The same write-up gives the same file: no time of making inside.
        self.set_creation_date(_fixed_date())
        if begin:
            self.add_page()

    def footer(self) -> None:
        """The foot of every page."""
        # A page may end within an indented section.
        self.set_xy(MARGIN_MM, -14)
        self.set_font(FACE, "", 8)
        self.set_text_color(*SOFT)
        width = self.w - 2 * MARGIN_MM
        self.cell(width * 0.8, 5, self.foot, new_x=XPos.RIGHT, new_y=YPos.TOP)
        self.cell(width * 0.2, 5, f"{self.page_no()} / {{nb}}", align="R")

    def inked(self, style: str = "", size: float = BODY_PT, color: tuple[int, int, int] = INK) -> None:
        """Set the face, size in points and colour."""
        self.set_font(FACE, style, size)
        self.set_text_color(*color)

    def room(self, mm: float) -> None:
        """Begin a new page where less than ``mm`` is left."""
        if self.get_y() + mm > self.h - 20:
            self.add_page()


def _fixed_date() -> Any:
    from datetime import UTC, datetime

    return datetime(2000, 1, 1, tzinfo=UTC)


def pdf(document: Document) -> bytes:
    """The document as a PDF file."""
    sheet = Sheet(f"{document.title}: {document.kind}", " · ".join(x for x in (document.title, document.foot) if x))
    _head(sheet, document)
    for section in document.sections:
        if section.shape == "steps" and document.sketch is not None and document.marks:
            _where(sheet, document, document.sketch)
        _section(sheet, section)
    if document.closing:
        sheet.ln(3)
        sheet.inked("I", SMALL_PT, SOFT)
        sheet.multi_cell(0, 4.2, document.closing, align="L")
    return bytes(sheet.output())


def _head(sheet: Sheet, document: Document) -> None:
    sheet.inked("", 9.5, SOFT)
    sheet.cell(0, 5, document.over, new_x=XPos.LMARGIN, new_y=YPos.NEXT)
    sheet.inked("B", 21, INK)
    sheet.multi_cell(0, 9.5, document.title, new_x=XPos.LMARGIN, new_y=YPos.NEXT)
    sheet.ln(2)
    _grid(sheet, document.facts, columns=4)
    sheet.set_draw_color(*DEEP)
    sheet.set_line_width(0.8)
    y = sheet.get_y() + 1.5
    sheet.line(MARGIN_MM, y, sheet.w - MARGIN_MM, y)
    sheet.set_line_width(0.2)
    sheet.set_y(y + 4)


def _grid(sheet: Sheet, facts: tuple[tuple[str, str], ...], *, columns: int) -> None:
    """Labels above values, in columns of equal width; a long value takes more lines."""
    width = sheet.epw / columns
    for start in range(0, len(facts), columns):
        top = sheet.get_y()
        lowest = top
        for index, (label, value) in enumerate(facts[start : start + columns]):
            x = MARGIN_MM + index * width
            sheet.set_xy(x, top)
            sheet.inked("", 8, SOFT)
            sheet.cell(width - 3, 4, label, new_x=XPos.LEFT, new_y=YPos.NEXT)
            sheet.set_x(x)
            sheet.inked("B", 10)
            sheet.multi_cell(width - 3, 4.6, value, align="L", new_x=XPos.LEFT, new_y=YPos.NEXT)
            lowest = max(lowest, sheet.get_y())
        sheet.set_xy(MARGIN_MM, lowest + 1.6)


def _where(sheet: Sheet, document: Document, sketch: Sketch) -> None:
    """The vehicle with the marks of the job."""
    width = sheet.epw * 0.56
    sheet.room(width * sketch.height / sketch.width + 8)
    top = sheet.get_y()
    sheet.inked("B", 10.5, DEEP)
    sheet.cell(SIDE_MM, 5.4, "Where")
    bottom = draw_sketch(sheet, sketch, document.marks, MARGIN_MM + SIDE_MM, top - 2, width)
    sheet.set_xy(MARGIN_MM + SIDE_MM, bottom - 1)
    sheet.inked("", 8, SOFT)
    sheet.multi_cell(sheet.epw - SIDE_MM, 4, document.drawn, align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
    _ruled_off(sheet)


def _ruled_off(sheet: Sheet) -> None:
    sheet.set_draw_color(*RULE)
    y = sheet.get_y() + GAP_MM / 2
    sheet.line(MARGIN_MM, y, sheet.w - MARGIN_MM, y)
    sheet.set_xy(MARGIN_MM, y + GAP_MM / 2 + 0.6)


def _section(sheet: Sheet, section: Section) -> None:
    wide = section.table is not None and bool(section.table.rows)
    sheet.room(40 if wide else 18)
    top = sheet.get_y()
    sheet.inked("B", 10.5, DEEP)
    if wide:
        sheet.cell(0, 5.4, section.heading, new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        sheet.ln(1)
        assert section.table is not None
        _table(sheet, section.table, appendix=section.heading == APPENDIX)
    else:
        sheet.multi_cell(SIDE_MM - 2, 5.4, section.heading, align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        bottom, page = sheet.get_y(), sheet.page_no()
        sheet.set_left_margin(MARGIN_MM + SIDE_MM)
        sheet.set_xy(MARGIN_MM + SIDE_MM, top)
        _body(sheet, section)
        sheet.set_left_margin(MARGIN_MM)
        if sheet.page_no() == page:
            sheet.set_y(max(sheet.get_y(), bottom))
    _ruled_off(sheet)


def _body(sheet: Sheet, section: Section) -> None:
    if not section.lines:
        sheet.inked("I", BODY_PT, SOFT)
        sheet.multi_cell(0, 5.4, section.empty, new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        return
    if section.shape == "prose":
        for line in section.lines:
            _written(sheet, line, MAIN_PT, 5.7)
            _space(sheet, 5.7)
        sheet.ln(5.7)
        return
    if section.heading == CAUTIONS:
        _boxed(sheet, section)
        return
    if section.pictures:
        _pictures(sheet, section)
        return
    for index, line in enumerate(section.lines, 1):
        _item(sheet, line, f"{index}" if section.shape == "steps" else "–", labelled=section.shape == "steps")


def _written(sheet: Sheet, line: Line, size: float, height: float) -> None:
    """Text from where the pen stands, broken between words; the numbers of entries small and raised, never alone."""
    sheet.inked("", size)
    words = line.text.split(" ")
    refs = spans(line.refs).replace(" ", "\u00a0")
    for index, word in enumerate(words):
        last = index == len(words) - 1
        tail = _ref_width(sheet, refs, size) if last and refs else 0.0
        _word(sheet, word, height, tail)
        if not last:
            _space(sheet, height)
    if refs:
        sheet.inked("", size * REF_SHARE, SOFT)
        top = sheet.get_y()
        sheet.set_xy(sheet.get_x() + 0.6, top - height * 0.16)
        sheet.cell(sheet.get_string_width(refs), height, refs, new_x=XPos.END, new_y=YPos.TOP)
        sheet.set_xy(sheet.get_x(), top)
        sheet.inked("", size)


def _ref_width(sheet: Sheet, refs: str, size: float) -> float:
    sheet.set_font_size(size * REF_SHARE)
    width: float = sheet.get_string_width(refs) + 0.6
    sheet.set_font_size(size)
    return width


def _word(sheet: Sheet, word: str, height: float, tail: float) -> None:
    """One word; on the next line where it does not fit, cut where no line is long enough for it."""
    room = sheet.w - sheet.r_margin
    width = sheet.get_string_width(word)
    if sheet.get_x() + width + tail > room and sheet.get_x() > sheet.l_margin:
        sheet.ln(height)
    while width > room - sheet.get_x() and len(word) > 1:
        keep = max(1, int(len(word) * (room - sheet.get_x()) / width) - 1)
        sheet.cell(sheet.get_string_width(word[:keep]), height, word[:keep], new_x=XPos.END, new_y=YPos.TOP)
        sheet.ln(height)
        word = word[keep:]
        width = sheet.get_string_width(word)
    sheet.cell(width, height, word, new_x=XPos.END, new_y=YPos.TOP)


def _space(sheet: Sheet, height: float) -> None:
    sheet.cell(sheet.get_string_width(" "), height, " ", new_x=XPos.END, new_y=YPos.TOP)


def _item(sheet: Sheet, line: Line, mark: str, *, labelled: bool) -> None:
    left = sheet.l_margin
    sheet.room(9)
    top = sheet.get_y()
    indent = 8.0 if labelled else 5.0
    sheet.inked("B" if labelled else "", BODY_PT, DEEP if labelled else SOFT)
    sheet.set_xy(left, top)
    sheet.cell(indent, 5, mark)
    if labelled:
        sheet.inked("", SMALL_PT, SOFT)
        sheet.cell(15, 5, line.label)
        indent += 15
    sheet.set_left_margin(left + indent)
    sheet.set_xy(left + indent, top)
    _written(sheet, line, BODY_PT, 5)
    sheet.ln(5.6)
    sheet.set_left_margin(left)
    sheet.set_x(left)


def _boxed(sheet: Sheet, section: Section) -> None:
    """Cautions: each with a double bar before it, so that they stand out in grey print as well."""
    left = sheet.l_margin
    for line in section.lines:
        sheet.room(10)
        top = sheet.get_y()
        sheet.set_left_margin(left + 5)
        sheet.set_xy(left + 5, top)
        sheet.inked("", BODY_PT)
        sheet.multi_cell(0, 4.8, line.text, align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        bottom = sheet.get_y()
        if bottom > top:
            sheet.set_draw_color(*DEEP)
            sheet.line(left + 1, top + 0.4, left + 1, bottom - 0.4)
            sheet.line(left + 2, top + 0.4, left + 2, bottom - 0.4)
        sheet.set_left_margin(left)
        sheet.set_xy(left, bottom + 1.4)


def _pictures(sheet: Sheet, section: Section) -> None:
    """Photos two by two, each above its line; a pair is never torn apart by the end of a page."""
    import io

    left = sheet.l_margin
    width = (sheet.w - sheet.r_margin - left - GAP_MM) / 2
    pairs = list(zip(section.pictures, section.lines, strict=True))
    for start in range(0, len(pairs), 2):
        row = pairs[start : start + 2]
        tall = [min(PHOTO_MM, width * picture.height / picture.width) for picture, _ in row]
        sheet.room(max(tall) + 14)
        top, lowest = sheet.get_y(), 0.0
        for index, ((picture, line), high) in enumerate(zip(row, tall, strict=True)):
            x = left + index * (width + GAP_MM)
            sheet.image(
                io.BytesIO(picture.data), x, top, w=high * picture.width / picture.height, h=high, alt_text=picture.told
            )
            sheet.set_xy(x, top + high + 1)
            sheet.inked("", SMALL_PT)
            told = line.text + (f" Entry {spans(line.refs)}." if line.refs else "")
            sheet.multi_cell(width, 4, told, align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
            lowest = max(lowest, sheet.get_y())
        sheet.set_xy(left, lowest + 3)


def _table(sheet: Sheet, table: Table, *, appendix: bool) -> None:
    heads, widths, rows = table.heads, table.widths, table.rows
    if not appendix:
        heads = ("Entry", *heads)
        widths = (0.08, *(w * 0.92 for w in widths))
        rows = tuple((str(k), *row) for k, row in zip(table.keys, rows, strict=True))
    sheet.inked("", SMALL_PT)
    sheet.set_draw_color(*RULE)
    with sheet.table(
        col_widths=tuple(round(w * 1000) for w in widths),
        borders_layout="HORIZONTAL_LINES",
        headings_style=FontFace(emphasis="BOLD", color=SOFT, size_pt=8),
        line_height=4.3,
        padding=(0.8, 1.2, 0.8, 0),
        text_align="LEFT",
        v_align="TOP",
    ) as grid:
        for cells in (heads, *rows):
            row = grid.row()
            for cell in cells:
                row.cell(cell)


def draw_sketch(sheet: Sheet, sketch: Sketch, marks: Sequence[Mark], x: float, y: float, width: float) -> float:
    """The drawing with its marks, ``width`` mm wide with its corner at ``x``, ``y``; returns the y below it."""
    from fpdf.svg import SVGObject

    scale = width / sketch.width
    spots = placed(sketch, marks)
    parts = [f'<path d="{d}" fill="none" stroke="{_hex(INK)}" stroke-width="2"/>' for d in sketch.outline]
    parts += [f'<path d="{d}" fill="none" stroke="{_hex(SOFT)}" stroke-width="0.8"/>' for d in sketch.detail]
    for spot in spots:
        fill = {"showed": _hex(DEEP), "entry": _hex(INK), "sound": "#ffffff"}[spot.mark.kind]
        stroke = _hex(INK) if spot.mark.kind == "sound" else "#ffffff"
        path = shape(spot.mark.kind, spot.x, spot.y, size_of(spot.mark))
        parts.append(f'<path d="{path}" fill="{fill}" stroke="{stroke}" stroke-width="1.2"/>')
    drawing = SVGObject(
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {sketch.width:g} {sketch.height:g}" '
        f'width="{sketch.width * scale:g}mm" height="{sketch.height * scale:g}mm">{"".join(parts)}</svg>'
    )
    drawing.draw_to_page(sheet, x, y)
    sheet.set_font(FACE, "B", 10.5 * scale / 0.3528)
    for spot in spots:
        if spot.mark.label:
            sheet.set_text_color(*(INK if spot.mark.kind == "sound" else (255, 255, 255)))
            half = sheet.get_string_width(spot.mark.label) / 2
            sheet.text(x + spot.x * scale - half, y + (spot.y + 3.6) * scale, spot.mark.label)
    return y + sketch.height * scale


def _hex(color: tuple[int, int, int]) -> str:
    return "#" + "".join(f"{part:02x}" for part in color)


__all__ = ["Sheet", "draw_sketch", "pdf"]
