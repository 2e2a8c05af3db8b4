"""Patterns as a printed report: charts, tables and what every share is a share of, as PDF."""

from __future__ import annotations

import io

from fpdf.enums import XPos, YPos
from fpdf.fonts import FontFace

from fieldnote.narrate.pdf import BODY_PT, DEEP, INK, MARGIN_MM, RULE, SMALL_PT, SOFT, Sheet
from fieldnote.patterns.drawings import Drawing, Name, drawings, figure_of
from fieldnote.patterns.plotting import picture
from fieldnote.patterns.shown import Grid, Part, parts
from fieldnote.records import Patterns

_WIDE_CHART_IN = 7.6


def report(patterns: Patterns, name: Name, pack_name: str) -> bytes:
    """The report as a PDF file. Nobody's name is in it.

    Raises:
        DeviceMissing: matplotlib is not installed.

    """
    title = f"What recurs in {patterns.jobs} job{'' if patterns.jobs == 1 else 's'}"
    sheet = Sheet(title, f"{title} · {asked_words(patterns, name)}")
    _head(sheet, title, patterns, name, pack_name)
    charts = drawings(patterns, name)
    for part in parts(patterns, name):
        _part(sheet, part, [drawn for stem, drawn in charts.items() if figure_of(stem) == part.figure])
    return bytes(sheet.output())


def asked_words(patterns: Patterns, name: Name) -> str:
    """Which jobs were asked for, in words."""
    told = [f"opened {patterns.since or 'at any time'} to {patterns.until or 'now'}"]
    told += [f"water in or showing at the {name('place', patterns.place)}"] if patterns.place else []
    told += [f"worked on by: {patterns.role}"] if patterns.role else []
    least = {
        "suspected": "every leak named", "fault": "leaks whose fault was seen, or more",
        "water": "leaks seen to let water in", "cured": "leaks proved cured",
    }  # fmt: skip
    return "; ".join([*told, f"counted: {least[patterns.grade]}"])


def _head(sheet: Sheet, title: str, patterns: Patterns, name: Name, pack_name: str) -> None:
    sheet.inked("", 9.5, SOFT)
    sheet.cell(0, 5, pack_name, new_x=XPos.LMARGIN, new_y=YPos.NEXT)
    sheet.inked("B", 21, INK)
    sheet.multi_cell(0, 9.5, title, new_x=XPos.LMARGIN, new_y=YPos.NEXT)
    sheet.inked("", BODY_PT)
    asked = asked_words(patterns, name)
    sheet.multi_cell(0, 5, f"{asked[:1].upper()}{asked[1:]}.", align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
    sheet.inked("I", BODY_PT)
    sheet.multi_cell(0, 5, patterns.denominators["every"], align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
    _rule(sheet)


def _rule(sheet: Sheet) -> None:
    sheet.set_draw_color(*RULE)
    y = sheet.get_y() + 3
    sheet.line(MARGIN_MM, y, sheet.w - MARGIN_MM, y)
    sheet.set_y(y + 3)


def _part(sheet: Sheet, part: Part, charts: list[Drawing]) -> None:
    sheet.room(60 if charts else 30)
    sheet.inked("B", 14, DEEP)
    sheet.multi_cell(0, 7, part.title, align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
    sheet.inked("", SMALL_PT, SOFT)
    sheet.multi_cell(0, 4.2, part.of, align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
    sheet.ln(2)
    for drawn in charts:
        _chart(sheet, drawn)
    for grid in part.grids:
        _grid(sheet, grid)
    _rule(sheet)


def _chart(sheet: Sheet, drawn: Drawing) -> None:
    """A chart at the size that it was drawn for, or smaller where the page is."""
    from PIL import Image

    data = picture(drawn, "png", bare=True)
    with Image.open(io.BytesIO(data)) as opened:
        wide_px, high_px = opened.size
    wide = min(sheet.epw, sheet.epw * wide_px / (160 * _WIDE_CHART_IN))
    high = wide * high_px / wide_px
    sheet.room(high + 8)
    sheet.inked("B", BODY_PT)
    sheet.multi_cell(0, 5, drawn.title, align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
    sheet.image(io.BytesIO(data), x=MARGIN_MM, y=sheet.get_y(), w=wide, h=high, alt_text=f"{drawn.title}. {drawn.told}")
    sheet.set_y(sheet.get_y() + high + 2)


def _grid(sheet: Sheet, grid: Grid) -> None:
    if grid.lines and not grid.most:
        return
    sheet.room(24)
    sheet.inked("B", BODY_PT)
    sheet.multi_cell(0, 5, grid.title, align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
    sheet.inked("", SMALL_PT)
    if not grid.lines:
        sheet.multi_cell(0, 4.6, grid.none, align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        sheet.ln(2)
        return
    sheet.set_draw_color(*RULE)
    with sheet.table(
        col_widths=tuple(2 if n < grid.numbers else 1 for n in range(len(grid.heads))),
        borders_layout="HORIZONTAL_LINES",
        headings_style=FontFace(emphasis="BOLD", color=SOFT, size_pt=8),
        line_height=4.3,
        padding=(0.6, 1.2, 0.6, 0),
        text_align="LEFT",
    ) as table:
        for cells in (grid.heads, *(_cells(grid, n) for n in range(min(grid.most, len(grid.lines))))):
            row = table.row()
            for cell in cells:
                row.cell(cell)
    left = len(grid.lines) - grid.most
    notes = [f"{left} more rows are in the tables (CSV, Parquet)." if left > 0 else "", grid.note]
    sheet.inked("", 8, SOFT)
    sheet.multi_cell(0, 4, " ".join(filter(None, notes)), align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
    sheet.ln(3)


def _cells(grid: Grid, number: int) -> tuple[str, ...]:
    line = grid.lines[number]
    return tuple(f"{cell}, few" if n == grid.counted and line.few else cell for n, cell in enumerate(line.cells))
