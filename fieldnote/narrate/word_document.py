"""The write-up as a word-processor file (Office Open XML, ECMA-376), with real headings, lists and tables."""

from __future__ import annotations

import io
import zipfile
from typing import Any

from docx import Document as NewDocument
from docx.enum.text import WD_TAB_ALIGNMENT
from docx.oxml import OxmlElement
from docx.oxml.ns import qn
from docx.shared import Mm, Pt, RGBColor

from fieldnote.narrate.document import APPENDIX, Document, Line, Section, Table, spans
from fieldnote.narrate.pictures import Picture
from fieldnote.narrate.sketch import Sketch
from fieldnote.narrate.sketch_picture import sketch_png

INK, SOFT, DEEP = RGBColor(22, 35, 42), RGBColor(85, 99, 106), RGBColor(12, 74, 91)
FACE = "Arial"
"""A face that every word processor has, or one of the same widths."""
PHOTO_MM, PHOTO_WIDE_MM = 85, 110
"""No photo is taller, or wider, than this."""
DRAWN_MM = 120
"""Width of the drawing."""


def word_document(document: Document) -> bytes:
    """The document as a .docx file."""
    out = NewDocument()
    _styles(out)
    _properties(out, document)
    _head(out, document)
    for section in document.sections:
        if section.shape == "steps" and document.sketch is not None and document.marks:
            _drawing(out, document, document.sketch)
        _section(out, section)
    _footer(out, document)
    if document.closing:
        out.add_paragraph(document.closing, style="Small")
    buffer = io.BytesIO()
    out.save(buffer)
    return _undated(buffer)


def _undated(made: io.BytesIO) -> bytes:
    """The same file without the time at which each of its parts was packed."""
    plain = io.BytesIO()
    with zipfile.ZipFile(made) as before, zipfile.ZipFile(plain, "w", zipfile.ZIP_DEFLATED) as after:
        for name in before.namelist():
            part = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
            part.compress_type = zipfile.ZIP_DEFLATED
            after.writestr(part, before.read(name))
    return plain.getvalue()


def _styles(out: Any) -> None:
    page = out.sections[0]
    page.page_width, page.page_height = Mm(210), Mm(297)
    page.left_margin = page.right_margin = Mm(20)
    page.top_margin = page.bottom_margin = Mm(18)
    normal = out.styles["Normal"]
    normal.font.name, normal.font.size, normal.font.color.rgb = FACE, Pt(10.5), INK
    normal.paragraph_format.space_after = Pt(4)
    for name, size, before in (("Title", 22, 0), ("Heading 1", 12.5, 12)):
        style = out.styles[name]
        style.font.name, style.font.size, style.font.bold = FACE, Pt(size), True
        style.font.color.rgb = INK if name == "Title" else DEEP
        style.paragraph_format.space_before, style.paragraph_format.space_after = Pt(before), Pt(3)
        fonts = style.element.get_or_add_rPr().get_or_add_rFonts()
        for slot in ("w:asciiTheme", "w:hAnsiTheme", "w:eastAsiaTheme", "w:cstheme"):
            fonts.attrib.pop(qn(slot), None)
        border = style.element.get_or_add_pPr().find(qn("w:pBdr"))
        if border is not None:
            style.element.get_or_add_pPr().remove(border)
    small = out.styles.add_style("Small", 1)
    small.base_style = normal
    small.font.size, small.font.color.rgb = Pt(8.5), SOFT


def _properties(out: Any, document: Document) -> None:
    from datetime import UTC, datetime

    core = out.core_properties
    core.title, core.subject = document.title, document.kind
    core.author = core.last_modified_by = ""
    core.comments = document.foot
    # The same write-up gives the same file: no time of making inside.
    core.created = core.modified = datetime(2000, 1, 1, tzinfo=UTC)


def _head(out: Any, document: Document) -> None:
    out.add_paragraph(document.over, style="Small")
    out.add_paragraph(document.title, style="Title")
    table = out.add_table(rows=0, cols=4)
    for start in range(0, len(document.facts), 4):
        cells = table.add_row().cells
        for cell, (label, value) in zip(cells, document.facts[start : start + 4], strict=False):
            paragraph = cell.paragraphs[0]
            run = paragraph.add_run(label)
            run.font.size, run.font.color.rgb = Pt(8.5), SOFT
            run.add_break()
            paragraph.add_run(value).bold = True


def _drawing(out: Any, document: Document, sketch: Sketch) -> None:
    """The vehicle with its marks, told in words to who cannot see it."""
    paragraph = out.add_paragraph()
    paragraph.paragraph_format.keep_with_next = True
    picture = paragraph.add_run().add_picture(io.BytesIO(sketch_png(sketch, document.marks)), width=Mm(DRAWN_MM))
    told = picture._inline.docPr
    told.set("descr", document.drawing_title)
    told.set("name", "Where")
    out.add_paragraph(document.drawn, style="Small")


def _section(out: Any, section: Section) -> None:
    out.add_heading(section.heading, level=1)
    if section.table is not None and section.table.rows:
        _table(out, section.table, appendix=section.heading == APPENDIX)
    elif not section.lines:
        out.add_paragraph().add_run(section.empty).italic = True
    elif section.pictures:
        for picture, line in zip(section.pictures, section.lines, strict=True):
            _picture(out, picture, line)
    elif section.shape == "prose":
        paragraph = out.add_paragraph()
        for index, line in enumerate(section.lines):
            if index:
                paragraph.add_run(" ")
            _written(paragraph, line)
    elif section.shape == "steps":
        for index, line in enumerate(section.lines, 1):
            _step(out, index, line)
    else:
        for line in section.lines:
            _written(out.add_paragraph(style="List Bullet"), line)


def _picture(out: Any, picture: Picture, line: Line) -> None:
    """A photo above its line, told in words to who cannot see it."""
    paragraph = out.add_paragraph()
    paragraph.paragraph_format.keep_with_next = True
    high = min(PHOTO_MM, PHOTO_WIDE_MM * picture.height / picture.width)
    shown = paragraph.add_run().add_picture(io.BytesIO(picture.data), height=Mm(high))
    told = shown._inline.docPr
    told.set("descr", picture.told)
    told.set("name", f"Photo {picture.number}")
    _written(out.add_paragraph(), line)


def _step(out: Any, index: int, line: Line) -> None:
    """A step with its number written out: a numbering of the program would count on from one list to the next."""
    paragraph = out.add_paragraph()
    form = paragraph.paragraph_format
    form.left_indent, form.first_line_indent = Mm(24), Mm(-24)
    form.tab_stops.add_tab_stop(Mm(8), WD_TAB_ALIGNMENT.LEFT)
    form.tab_stops.add_tab_stop(Mm(24), WD_TAB_ALIGNMENT.LEFT)
    form.space_after = Pt(2)
    paragraph.add_run(f"{index}\t").bold = True
    label = paragraph.add_run(f"{line.label}\t")
    label.font.size, label.font.color.rgb = Pt(9), SOFT
    _written(paragraph, line)


def _written(paragraph: Any, line: Line) -> None:
    paragraph.add_run(line.text)
    if line.refs:
        run = paragraph.add_run(f"\u00a0{spans(line.refs)}")
        run.font.superscript = True
        run.font.color.rgb = SOFT


def _table(out: Any, table: Table, *, appendix: bool) -> None:
    heads, widths, rows = table.heads, table.widths, table.rows
    if not appendix:
        heads = ("Entry", *heads)
        widths = (0.08, *(w * 0.92 for w in widths))
        rows = tuple((str(k), *row) for k, row in zip(table.keys, rows, strict=True))
    grid = out.add_table(rows=1, cols=len(heads))
    grid.autofit = False
    for column, share in zip(grid.columns, widths, strict=True):
        column.width = Mm(170 * share)
    for cells, texts, head in ((grid.rows[0].cells, heads, True), *((grid.add_row().cells, r, False) for r in rows)):
        for cell, text, share in zip(cells, texts, widths, strict=True):
            cell.width = Mm(170 * share)
            run = cell.paragraphs[0].add_run(text)
            cell.paragraphs[0].paragraph_format.space_after = Pt(1)
            run.font.size = Pt(9)
            run.bold = head
            if head:
                run.font.color.rgb = SOFT
    _ruled(grid)
    _repeated(grid.rows[0])
    out.add_paragraph().paragraph_format.space_after = Pt(0)


def _ruled(grid: Any) -> None:
    """Thin lines between the rows."""
    borders = OxmlElement("w:tblBorders")
    for edge in ("top", "bottom", "insideH"):
        line = OxmlElement(f"w:{edge}")
        for key, value in (("val", "single"), ("sz", "4"), ("space", "0"), ("color", "CDC7B8")):
            line.set(qn(f"w:{key}"), value)
        borders.append(line)
    grid._tbl.tblPr.append(borders)


def _repeated(row: Any) -> None:
    """Mark the row as one that stands again at the top of every page."""
    mark = OxmlElement("w:tblHeader")
    mark.set(qn("w:val"), "true")
    row._tr.get_or_add_trPr().append(mark)


def _footer(out: Any, document: Document) -> None:
    paragraph = out.sections[0].footer.paragraphs[0]
    paragraph.style = out.styles["Small"]
    paragraph.add_run(" · ".join(x for x in (document.title, document.foot, "page ") if x))
    for kind, text in (("begin", ""), ("", "PAGE"), ("end", "")):
        run = paragraph.add_run()
        if kind:
            mark = OxmlElement("w:fldChar")
            mark.set(qn("w:fldCharType"), kind)
        else:
            mark = OxmlElement("w:instrText")
            mark.set(qn("xml:space"), "preserve")
            mark.text = text
        run._r.append(mark)


__all__ = ["word_document"]
