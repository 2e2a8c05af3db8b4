"""The field guide as a PDF: each leaf begins a sheet of its own."""

from __future__ import annotations

from collections.abc import Sequence

from fpdf.enums import XPos, YPos

from fieldnote.narrate.field_guide import RULE, Candidate, Leaf
from fieldnote.narrate.guide_page import CAPTION, marks_of_leaf, minutes, openings, share
from fieldnote.narrate.pdf import DEEP, INK, MARGIN_MM, SOFT, Sheet, draw_sketch
from fieldnote.narrate.pdf import RULE as LINE
from fieldnote.narrate.sketch import Sketch

SMALL, BODY = 8.3, 9.0
LABEL_MM, NUMBER_MM = 10.0, 7.0


def guide_pdf(leaves: Sequence[Leaf], sketch: Sketch | None, *, taught: str = "") -> bytes:
    """The leaves as a PDF file. ``taught`` says what the base rates come from besides the map."""
    sheet = Sheet("Field guide: where water may come in", "Field guide", begin=False)
    for leaf in leaves:
        sheet.foot = f"Field guide · water shows at the {leaf.title}"
        sheet.add_page()
        sheet.start_section(leaf.title)
        _head(sheet, leaf, sketch, taught)
        for index, candidate in enumerate(leaf.candidates, 1):
            _way(sheet, index, candidate)
        _foot(sheet, leaf)
    return bytes(sheet.output())


def _head(sheet: Sheet, leaf: Leaf, sketch: Sketch | None, taught: str) -> None:
    top, half = sheet.get_y(), sheet.epw * 0.46
    bottom = top
    if sketch is not None:
        width = sheet.epw * 0.5
        bottom = draw_sketch(sheet, sketch, marks_of_leaf(leaf), sheet.w - MARGIN_MM - width, top, width)
        sheet.set_xy(sheet.w - MARGIN_MM - width, bottom)
        sheet.inked("", 7.5, SOFT)
        sheet.multi_cell(width, 3.6, CAPTION, align="L")
        bottom = sheet.get_y()
    sheet.set_xy(MARGIN_MM, top)
    sheet.inked("", 9, SOFT)
    sheet.multi_cell(half, 5, "Field guide · water shows at the", new_x=XPos.LMARGIN, new_y=YPos.NEXT, align="L")
    sheet.inked("B", 19, INK)
    sheet.multi_cell(half, 8.5, leaf.title, new_x=XPos.LMARGIN, new_y=YPos.NEXT, align="L")
    sheet.ln(1.5)
    sheet.inked("", SMALL, SOFT)
    said = f"{RULE} {taught}".strip()
    sheet.multi_cell(half, 4, said, new_x=XPos.LMARGIN, new_y=YPos.NEXT, align="L")
    y = max(sheet.get_y(), bottom) + 2
    sheet.set_draw_color(*DEEP)
    sheet.set_line_width(0.8)
    sheet.line(MARGIN_MM, y, sheet.w - MARGIN_MM, y)
    sheet.set_line_width(0.2)
    sheet.set_xy(MARGIN_MM, y + 2)


def _way(sheet: Sheet, index: int, found: Candidate) -> None:
    """One way in: what and where on the left, how to look and test on the right."""
    sheet.room(24)
    top = sheet.get_y()
    left = MARGIN_MM + NUMBER_MM
    width = sheet.epw * 0.4 - NUMBER_MM
    sheet.inked("B", BODY + 1, DEEP)
    sheet.set_xy(MARGIN_MM, top)
    sheet.cell(NUMBER_MM, 4.4, str(index))
    sheet.set_xy(left, top)
    sheet.inked("B", BODY)
    sheet.multi_cell(width, 4.2, found.name, new_x=XPos.LEFT, new_y=YPos.NEXT, align="L")
    sheet.inked("", SMALL, SOFT)
    where = "; ".join(x for x in (found.where, found.side, share(found.share)) if x)
    sheet.multi_cell(width, 3.8, where, new_x=XPos.LEFT, new_y=YPos.NEXT, align="L")
    if found.note:
        sheet.inked("I", SMALL)
        sheet.multi_cell(width, 3.8, found.note, new_x=XPos.LEFT, new_y=YPos.NEXT, align="L")
    bottom = sheet.get_y()
    sheet.set_xy(left, top)
    bottom = max(bottom, _how(sheet, found, left + width + 5, top))
    sheet.set_draw_color(*LINE)
    sheet.line(MARGIN_MM, bottom + 1, sheet.w - MARGIN_MM, bottom + 1)
    sheet.set_xy(MARGIN_MM, bottom + 2)


def _how(sheet: Sheet, found: Candidate, x: float, y: float) -> float:
    look = minutes(found.minutes) + (f"; first off: {openings(found.opens)}" if found.opens else "")
    rows = (("Look", look), ("Test", found.test), ("Good", found.good), ("Bad", found.bad))
    width = sheet.w - MARGIN_MM - x - LABEL_MM
    for label, text in rows:
        sheet.set_xy(x, y)
        sheet.inked("", SMALL, SOFT)
        sheet.cell(LABEL_MM, 3.9, label)
        sheet.inked("", SMALL)
        sheet.multi_cell(width, 3.9, text, new_x=XPos.LEFT, new_y=YPos.NEXT, align="L")
        y = sheet.get_y()
    return y


def _foot(sheet: Sheet, leaf: Leaf) -> None:
    if leaf.rest:
        sheet.room(12)
        sheet.inked("", SMALL)
        sheet.multi_cell(0, 4, f"Less likely: {'; '.join(leaf.rest)}.", align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        sheet.ln(1.5)
    sheet.room(14)
    sheet.inked("B", BODY, DEEP)
    sheet.cell(0, 5, "Cautions", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
    for caution in leaf.cautions:
        sheet.room(9)
        top = sheet.get_y()
        sheet.set_xy(MARGIN_MM + 4, top)
        sheet.inked("", SMALL)
        sheet.multi_cell(sheet.epw - 4, 3.9, caution, align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        sheet.set_draw_color(*DEEP)
        sheet.line(MARGIN_MM + 1, top + 0.3, MARGIN_MM + 1, sheet.get_y() - 0.3)
        sheet.line(MARGIN_MM + 2, top + 0.3, MARGIN_MM + 2, sheet.get_y() - 0.3)
        sheet.ln(0.8)


__all__ = ["guide_pdf"]
