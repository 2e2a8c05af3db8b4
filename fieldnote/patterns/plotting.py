"""Draws the charts of patterns, as SVG, PNG or PDF. The one module that uses matplotlib.

Everything that matters is told by position, shape and number, so that the charts read the same in gray; the one color
only pleases.
"""

from __future__ import annotations

import io
import textwrap
from typing import Any, Literal

from fieldnote.errors import DeviceMissing
from fieldnote.patterns.drawings import Bars, Drawing, Matrix, Ranges, WeekPoint, Weeks

Picture = Literal["svg", "png"]

INK, SOFT, TINT, GRID, PALE, PAPER = "#22303a", "#5f6d77", "#2f7f86", "#dde3e7", "#d5e7e8", "#ffffff"
_WIDE_IN, _NARROW_IN = 7.6, 3.6
_LAST_WEEKS_NARROW, _MOST_PLACES_NARROW = 26, 6
_STYLE: dict[Any, Any] = {
    "font.family": ["DejaVu Sans", "sans-serif"],
    "font.size": 9,
    "text.color": INK,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "axes.titlelocation": "left",
    "axes.titlesize": 11,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "xtick.color": INK,
    "ytick.color": INK,
    "grid.color": GRID,
    "grid.linewidth": 0.8,
    "svg.fonttype": "none",  # text stays text: it can be searched, copied and read aloud
    "svg.hashsalt": "fieldnote",
}


def picture(drawing: Drawing, to: Picture = "svg", *, narrow: bool = False, bare: bool = False) -> bytes:
    """A chart as a file.

    Args:
        drawing: what it shows.
        to: the format.
        narrow: for a screen as wide as a hand.
        bare: without title and footnote, where these stand beside it.

    Raises:
        DeviceMissing: matplotlib is not installed.

    """
    try:
        import matplotlib
    except ImportError as error:
        raise DeviceMissing(
            "charts need matplotlib, which is not installed",
            where="--charts",
            do="Install it with: pip install 'fieldnote[patterns]'. Tables need nothing more.",
        ) from error
    from matplotlib.figure import Figure

    with matplotlib.rc_context(_STYLE):
        figure = _DRAW[type(drawing)](Figure, drawing, _Sheet(narrow, bare))
        if not bare:
            width = round(15 * figure.get_figwidth())
            figure.text(0.01, 0.01, textwrap.fill(drawing.told, width), fontsize=7, color=SOFT, va="bottom")
        # Without a date the same drawing gives the same file.
        metadata = {"Date": None, "Description": drawing.told} if to == "svg" else {"Description": drawing.told}
        out = io.BytesIO()
        figure.savefig(out, format=to, dpi=160, metadata=metadata)
    return out.getvalue()


class _Sheet:
    """Inches around a chart."""

    def __init__(self, narrow: bool, bare: bool) -> None:
        self.narrow = narrow
        self.bare = bare
        self.width = _NARROW_IN if narrow else _WIDE_IN
        self.above = 0.1 if bare else 0.45
        self.foot = 0.0 if bare else 0.45

    def axis_words(self, axis: str) -> str:
        """What stands below the axis, in lines that fit."""
        return textwrap.fill(axis, 50 if self.narrow else 110)


def _rows_figure(figure_of: Any, sheet: _Sheet, labels: list[str], axis: str) -> tuple[Any, Any]:
    """A figure of rows with their labels: at the left, or above each row where there is little room."""
    words = sheet.axis_words(axis)
    below = sheet.foot + 0.42 + 0.16 * (words.count("\n") + 1)
    high = sheet.above + (0.46 if sheet.narrow else 0.3) * len(labels) + below
    figure = figure_of(figsize=(sheet.width, high))
    axes = figure.subplots()
    left, right = (0.02, 0.76) if sheet.narrow else (0.36, 0.86)
    figure.subplots_adjust(left=left, right=right, top=1 - sheet.above / high, bottom=below / high)
    if sheet.narrow:
        for spot, label in enumerate(labels):
            axes.text(0.0, spot - 0.26, textwrap.shorten(label, 52, placeholder="…"), va="center",
                      transform=axes.get_yaxis_transform(), fontsize=8.5)  # fmt: skip
        axes.set_yticks([])
        axes.spines["left"].set_visible(False)
    else:
        axes.set_yticks(range(len(labels)), [textwrap.fill(label, 38) for label in labels])
        axes.tick_params(axis="y", length=0)
    axes.set_ylim(len(labels) - 0.4, -0.6)
    axes.grid(axis="x")
    axes.set_xlabel(words, fontsize=8)
    return figure, axes


def _ranges(figure_of: Any, drawing: Ranges, sheet: _Sheet) -> Any:
    rows = drawing.rows
    figure, axes = _rows_figure(figure_of, sheet, [row.label for row in rows], drawing.axis)
    low_in_row = 0.14 if sheet.narrow else 0.0
    if drawing.level is not None:
        axes.axvline(drawing.level, color=SOFT, linewidth=1.0, linestyle=(0, (4, 2)))
    spots = [number + low_in_row for number in range(len(rows))]
    # Rows of one look are one line each: a mark of its own for every row takes three times as long to draw.
    axes.hlines(spots, [row.low for row in rows], [row.high for row in rows], color=SOFT, linewidth=2.2)
    for few, face in ((False, TINT), (True, PAPER)):
        at = [(row.at, spot) for row, spot in zip(rows, spots, strict=True) if row.few is few]
        axes.plot(*zip(*at, strict=True) if at else ((), ()), "o", color=TINT, markerfacecolor=face, markersize=6)
    bars = [(row.bar, spot) for row, spot in zip(rows, spots, strict=True) if row.bar is not None]
    if bars:
        axes.plot(*zip(*bars, strict=True), "|", color=INK, markersize=11, markeredgewidth=1.4)
    for row, spot in zip(rows, spots, strict=True):
        _beside(axes, spot, row.told)
    _, most = axes.get_xlim()
    axes.set_xlim(-0.015 * most, most)  # a mark at 0 is whole
    _titled(axes, drawing.title, sheet)
    return figure


def _bars(figure_of: Any, drawing: Bars, sheet: _Sheet) -> Any:
    rows = drawing.rows
    figure, axes = _rows_figure(figure_of, sheet, [row.label for row in rows], drawing.axis)
    low_in_row = 0.14 if sheet.narrow else 0.0
    spots = [number + low_in_row for number in range(len(rows))]
    faces = [PAPER if row.few else PALE for row in rows]
    high = 0.36 if sheet.narrow else 0.56
    axes.barh(spots, [row.value for row in rows], height=high, facecolor=faces, edgecolor=TINT, linewidth=1.0)
    for row, spot in zip(rows, spots, strict=True):
        _beside(axes, spot, row.told)
    _titled(axes, drawing.title, sheet)
    return figure


def _beside(axes: Any, spot: float, told: str) -> None:
    axes.text(1.02, spot, told, transform=axes.get_yaxis_transform(), va="center", fontsize=8.5)


def _titled(axes: Any, title: str, sheet: _Sheet) -> None:
    if not sheet.bare:
        axes.set_title(textwrap.fill(title, 40) if sheet.narrow else title)


def _matrix(figure_of: Any, drawing: Matrix, sheet: _Sheet) -> Any:
    most_shown = _MOST_PLACES_NARROW if sheet.narrow else len(drawing.rows) + len(drawing.columns)
    rows, columns = drawing.rows[:most_shown], drawing.columns[:most_shown]
    counts = [line[:most_shown] for line in drawing.counts[:most_shown]]
    words = sheet.axis_words(drawing.axis)
    # Inches for the titles around cells of one size.
    above, below, beside = sheet.above + 1.05, sheet.foot + 0.4, 1.35 if sheet.narrow else 2.0
    right = 0.35 if sheet.narrow else 0.6
    wide = _NARROW_IN - beside - right if sheet.narrow else max(0.5 * len(columns), 3.6)
    high = 0.36 * len(rows)
    size = (beside + wide + right, above + high + below)
    figure = figure_of(figsize=size)
    axes = figure.subplots()
    figure.subplots_adjust(
        left=beside / size[0], right=1 - right / size[0], top=1 - above / size[1], bottom=below / size[1]
    )
    most = max((max(line, default=0) for line in counts), default=0) or 1
    for y, line in enumerate(counts):
        for x, count in enumerate(line):
            if count:
                # The larger the count, the larger the square; the number stands in it.
                axes.add_patch(_box(x, y, 0.25 + 0.7 * (count / most) ** 0.5))
                axes.text(x, y, str(count), ha="center", va="center", fontsize=8)
    axes.set_xlim(-0.6, len(columns) - 0.4)
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.xaxis.tick_top()
    axes.set_xticks(range(len(columns)), columns, rotation=60 if sheet.narrow else 40, ha="left", fontsize=8)
    axes.set_yticks(range(len(rows)), [textwrap.fill(row, 18 if sheet.narrow else 30) for row in rows], fontsize=8)
    axes.tick_params(length=0)
    axes.grid(True)
    axes.spines[:].set_visible(False)
    axes.set_xlabel(words, fontsize=8)
    if not sheet.bare:
        figure.suptitle(drawing.title, x=0.01, ha="left", fontsize=11)
    return figure


def _box(x: float, y: float, edge: float) -> Any:
    from matplotlib.patches import Rectangle

    corner = (x - edge / 2, y - edge / 2)
    return Rectangle(corner, edge, edge, facecolor=PALE, edgecolor=TINT, linewidth=0.8)


def _weeks(figure_of: Any, drawing: Weeks, sheet: _Sheet) -> Any:
    points = drawing.points[-_LAST_WEEKS_NARROW:] if sheet.narrow else drawing.points
    key = "solid: mean; dashed: 3 sigma limits; filled diamond: out of control; hollow: beyond, too few jobs to tell"
    words = sheet.axis_words(key)
    below = sheet.foot + 0.75 + 0.16 * (words.count("\n") + 1)
    high = sheet.above + 2.1 + below
    figure = figure_of(figsize=(sheet.width, high))
    axes = figure.subplots()
    figure.subplots_adjust(
        left=0.4 / sheet.width, right=1 - 0.15 / sheet.width, top=1 - sheet.above / high, bottom=below / high
    )
    spots = range(len(points))
    for limits in ([p.lower for p in points], [p.upper for p in points]):
        axes.step(spots, limits, where="mid", color=SOFT, linewidth=1.1, linestyle=(0, (4, 2)))
    axes.axhline(drawing.center, color=SOFT, linewidth=1.1)
    axes.plot(spots, [p.share for p in points], "-o", color=TINT, linewidth=0.8, markersize=3)
    named = -len(points)
    for spot, point in zip(spots, points, strict=True):
        out = point.mark in ("above", "below")
        # Of weeks in a row the first is named: the names of all would lie over each other.
        apart = spot - named > 0.08 * len(points)
        _mark(axes, spot, point, named=out and apart, at_end=spot > 0.8 * len(points))
        named = spot if out and apart else named
    step = max(1, len(points) // (4 if sheet.narrow else 10))
    axes.set_xticks(list(spots)[::step], [p.week for p in points][::step], rotation=30, ha="right", fontsize=8)
    axes.set_ylim(0, max(1.18 * max(max(p.share, p.upper) for p in points), 1.0))
    axes.grid(axis="y")
    axes.set_xlabel(words, fontsize=8)
    _titled(axes, drawing.title, sheet)
    return figure


def _mark(axes: Any, spot: int, point: WeekPoint, *, named: bool, at_end: bool) -> None:
    if not point.mark:
        return
    face = PAPER if point.mark == "too few" else INK
    axes.plot(spot, point.share, "D", color=INK, markerfacecolor=face, markersize=7)
    if named:
        axes.annotate(
            f"{point.week}\n{point.told}", (spot, point.share), (-6 if at_end else 6, 4),
            ha="right" if at_end else "left", textcoords="offset points", fontsize=7,
        )  # fmt: skip


_DRAW: dict[type, Any] = {Ranges: _ranges, Bars: _bars, Matrix: _matrix, Weeks: _weeks}
