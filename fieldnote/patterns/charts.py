"""Charts of patterns: intervals of sources, where it showed against where it came in, shares by week.

The one place that uses matplotlib. Everything that matters is told by position, shape and number, so that the charts
read the same in gray; the one color only pleases.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal

from fieldnote.errors import DeviceMissing, StoreFault, UserMistake
from fieldnote.patterns.sources import matrix
from fieldnote.records import Patterns, SourceShare, WeekChart

Name = Callable[[str, str], str]
"""The printed name of an id by its kind (place, part)."""
Picture = Literal["svg", "png"]

INK, SOFT, TINT = "#22303a", "#8795a0", "#2f7f86"
_MOST_SOURCES, _MOST_PLACES, _LAST_WEEKS = 15, 12, 104
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
    "grid.color": "#dde3e7",
    "grid.linewidth": 0.8,
    "svg.fonttype": "none",  # text stays text: it can be searched, copied and read aloud
    "svg.hashsalt": "fieldnote",
}


def draw(patterns: Patterns, name: Name, folder: Path, picture: Picture = "svg") -> tuple[Path, ...]:
    """Write the charts that ``patterns`` has rows for into ``folder``; gives the files.

    Raises:
        DeviceMissing: matplotlib is not installed.
        UserMistake: there is nothing to draw.
        StoreFault: the folder cannot be written.

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

    made = []
    with matplotlib.rc_context(_STYLE):
        drawn: dict[str, Any] = {}
        if patterns.sources:
            drawn["sources"] = _sources(Figure, patterns, name)
        if any(path.showed for path in patterns.paths):
            drawn["paths"] = _paths(Figure, patterns, name)
        for number, chart in enumerate(_worth_drawing(patterns), 1):
            drawn[f"weeks-{number:02d}-{chart.place or 'unproved'}"] = _weeks(Figure, patterns, chart, name)
        if not drawn:
            raise UserMistake("no job has a leak to draw", where="--charts", do="Ask for more jobs, or a lower grade.")
        for stem, figure in drawn.items():
            made.append(
                _write(
                    figure,
                    folder / f"{stem}.{picture}",
                    f"{patterns.denominators[stem.split('-')[0]]} {patterns.denominators['every']}",
                )
            )
    return tuple(made)


def _worth_drawing(patterns: Patterns) -> tuple[WeekChart, ...]:
    """The first place, those with a week out of control, and the share without a proved cure."""
    charts = patterns.weeks
    return tuple(
        chart
        for index, chart in enumerate(charts)
        if len(chart.weeks) > 1
        and (index == 0 or chart.place is None or any(week.mark in ("above", "below") for week in chart.weeks))
    )


def _write(figure: Any, path: Path, told: str) -> Path:
    width = round(15 * figure.get_figwidth())
    figure.text(0.01, 0.01, textwrap.fill(told, width), fontsize=7, color=SOFT, va="bottom")
    # Without a date the same patterns give the same file.
    metadata = {"Date": None, "Description": told} if path.suffix == ".svg" else {"Description": told}
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        figure.savefig(path, dpi=160, metadata=metadata)
    except OSError as error:
        raise StoreFault(
            f"cannot be written ({error.strerror})", where=str(path), do="Choose another folder."
        ) from error
    return path


def _sources(figure_of: Any, patterns: Patterns, name: Name) -> Any:
    rows = patterns.sources[:_MOST_SOURCES]
    figure = figure_of(figsize=(7.6, 1.7 + 0.3 * len(rows)))
    axes = figure.subplots()
    figure.subplots_adjust(
        left=0.36, right=0.86, top=1 - 0.45 / figure.get_figheight(), bottom=1.05 / figure.get_figheight()
    )
    for spot, row in enumerate(rows):
        axes.plot([100 * row.share.low, 100 * row.share.high], [spot, spot], color=SOFT, linewidth=2.2)
        face = "white" if row.share.few else TINT
        axes.plot(100 * row.share.share, spot, "o", color=TINT, markerfacecolor=face, markersize=6)
        axes.plot(100 * row.shrunk, spot, "|", color=INK, markersize=11, markeredgewidth=1.4)
        axes.text(1.02, spot, f"{row.share.count} of {row.share.of}", transform=axes.get_yaxis_transform(), va="center")
    axes.set_yticks(range(len(rows)), [_source_name(row, name) for row in rows])
    axes.tick_params(axis="y", length=0)
    axes.invert_yaxis()
    axes.set_xlim(left=0)
    axes.grid(axis="x")
    axes.set_title("Where water came in")
    level = f"{100 * patterns.level:g}"
    axes.set_xlabel(f"% of jobs; line: {level} % interval; bar: shrunk; hollow: fewer than {patterns.few} jobs")
    return figure


def _source_name(row: SourceShare, name: Name) -> str:
    words = name("place", row.place)
    return textwrap.fill(f"{words}, {name('part', row.part)}" if row.part else words, 38)


def _paths(figure_of: Any, patterns: Patterns, name: Name) -> Any:
    rows, columns, counts = matrix(patterns.paths, _MOST_PLACES)
    above, below, beside = 1.5, 0.85, 2.0  # inches for the titles around cells of one size
    wide, high = max(0.5 * len(columns), 3.6), 0.36 * len(rows)
    size = (beside + wide + 0.6, above + high + below)
    figure = figure_of(figsize=size)
    axes = figure.subplots()
    figure.subplots_adjust(
        left=beside / size[0], right=1 - 0.6 / size[0], top=1 - above / size[1], bottom=below / size[1]
    )
    most = max(max(line) for line in counts) or 1
    for y, line in enumerate(counts):
        for x, count in enumerate(line):
            if count:
                # The larger the count, the larger the square; the number stands in it.
                axes.add_patch(_box(x, y, 0.25 + 0.7 * (count / most) ** 0.5))
                axes.text(x, y, str(count), ha="center", va="center", fontsize=8)
    axes.set_xlim(-0.6, len(columns) - 0.4)
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.xaxis.tick_top()
    axes.set_xticks(range(len(columns)), [name("place", c) for c in columns], rotation=40, ha="left")
    axes.set_yticks(range(len(rows)), [name("place", r) for r in rows])
    axes.tick_params(length=0)
    axes.grid(True)
    axes.spines[:].set_visible(False)
    axes.set_xlabel("across: where it came in; down: where it showed; in jobs")
    figure.suptitle("Where it showed, and where it came in", x=0.01, ha="left", fontsize=11)
    return figure


def _box(x: float, y: float, edge: float) -> Any:
    from matplotlib.patches import Rectangle

    corner = (x - edge / 2, y - edge / 2)
    return Rectangle(corner, edge, edge, facecolor="#d5e7e8", edgecolor=TINT, linewidth=0.8)


def _weeks(figure_of: Any, patterns: Patterns, chart: WeekChart, name: Name) -> Any:
    figure = figure_of(figsize=(8.2, 3.6))
    axes = figure.subplots()
    figure.subplots_adjust(left=0.09, right=0.97, top=0.88, bottom=0.3)
    weeks = chart.weeks[-_LAST_WEEKS:]
    spots = range(len(weeks))
    shares = [100 * week.count / week.of for week in weeks]
    for limits in ([100 * w.lower for w in weeks], [100 * w.upper for w in weeks]):
        axes.step(spots, limits, where="mid", color=SOFT, linewidth=1.1, linestyle=(0, (4, 2)))
    axes.axhline(100 * chart.center, color=SOFT, linewidth=1.1)
    axes.plot(spots, shares, "-o", color=TINT, linewidth=0.8, markersize=3)
    for spot, week, share in zip(spots, weeks, shares, strict=True):
        if week.mark:
            face = "white" if week.mark == "too few" else INK
            axes.plot(spot, share, "D", color=INK, markerfacecolor=face, markersize=7)
        if week.mark in ("above", "below"):
            axes.annotate(
                f"{week.week}\n{week.count} of {week.of}", (spot, share), (6, 4), textcoords="offset points", fontsize=7
            )
    step = max(1, len(weeks) // 10)
    axes.set_xticks(list(spots)[::step], [week.week for week in weeks][::step], rotation=30, ha="right")
    axes.set_ylim(bottom=0)
    axes.grid(axis="y")
    what = f"Water in at {name('place', chart.place)}" if chart.place else "Closed without a proved cure"
    axes.set_title(f"{what}: % of jobs by week")
    axes.annotate(
        "solid: mean; dashed: 3 sigma limits; filled diamond: out of control; hollow: beyond, too few jobs to tell",
        (0.0, -0.34), xycoords="axes fraction", fontsize=7, annotation_clip=False,
    )  # fmt: skip
    return figure
