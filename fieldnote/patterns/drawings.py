"""What the charts of patterns show, as plain data: a figure's rows, its words, and what its shares are shares of.

Nothing here draws; ``plotting`` does. The same data always gives the same picture.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from fieldnote.patterns.sources import matrix
from fieldnote.records import EmptyCheck, Patterns, Share, WeekChart

Name = Callable[[str, str], str]
"""The printed name of an id by its kind (place, part, method)."""

_MOST_ROWS, _MOST_PLACES, _LAST_WEEKS = 15, 12, 104
BY = {"family": "vehicle family", "model_year": "model year", "build_month": "build month"}


@dataclass(frozen=True, slots=True)
class RangeRow:
    """One row of a chart of ranges: a line from ``low`` to ``high`` with its mark at ``at``, and a bar at ``bar``."""

    label: str
    low: float
    high: float
    at: float
    bar: float | None
    few: bool
    told: str


@dataclass(frozen=True, slots=True)
class Ranges:
    """Rows of ranges over one axis; ``level`` marks one value for all rows."""

    title: str
    axis: str
    rows: tuple[RangeRow, ...]
    told: str
    level: float | None = None


@dataclass(frozen=True, slots=True)
class BarRow:
    """One bar."""

    label: str
    value: float
    few: bool
    told: str


@dataclass(frozen=True, slots=True)
class Bars:
    """Bars over one axis."""

    title: str
    axis: str
    rows: tuple[BarRow, ...]
    told: str


@dataclass(frozen=True, slots=True)
class Matrix:
    """Counts by row and column."""

    title: str
    axis: str
    rows: tuple[str, ...]
    columns: tuple[str, ...]
    counts: tuple[tuple[int, ...], ...]
    told: str


@dataclass(frozen=True, slots=True)
class WeekPoint:
    """One week of a p-chart, in percent."""

    week: str
    share: float
    lower: float
    upper: float
    mark: str
    told: str


@dataclass(frozen=True, slots=True)
class Weeks:
    """A p-chart."""

    title: str
    center: float
    points: tuple[WeekPoint, ...]
    told: str


Drawing = Ranges | Bars | Matrix | Weeks


def drawings(patterns: Patterns, name: Name) -> dict[str, Drawing]:
    """The charts that ``patterns`` has rows for, by the stem of their files: a figure's name and, where a figure has
    several charts, what tells them apart."""
    found: dict[str, Drawing] = {}
    if patterns.sources:
        found["sources"] = _sources(patterns, name)
    if any(path.showed for path in patterns.paths):
        found["paths"] = _paths(patterns, name)
    found |= {f"groups-{by}": drawn for by, drawn in _groups(patterns, name)}
    found |= {f"times-{measure}": drawn for measure, drawn in _times(patterns, name)}
    if patterns.repeats:
        found["repeats"] = _repeats(patterns, name)
    for number, chart in enumerate(worth_drawing(patterns.weeks), 1):
        found[f"weeks-{number:02d}-{chart.place or 'unproved'}"] = _weeks(patterns, chart, name)
    if any(row.minutes for row in patterns.empty_checks):
        found["empty-checks"] = _empty_checks(patterns, name)
    return found


def figure_of(stem: str) -> str:
    """The figure that a chart belongs to, by the stem of its file."""
    return stem if stem == "empty-checks" else stem.split("-")[0]


def worth_drawing(charts: tuple[WeekChart, ...]) -> tuple[WeekChart, ...]:
    """The first place, those with a week out of control, and the share without a proved cure."""
    return tuple(
        chart
        for index, chart in enumerate(charts)
        if len(chart.weeks) > 1
        and (index == 0 or chart.place is None or any(week.mark in ("above", "below") for week in chart.weeks))
    )


def where(place: str, part: str | None, name: Name) -> str:
    """A place and part in words."""
    words = name("place", place)
    return f"{words}, {name('part', part)}" if part else words


def check_words(row: EmptyCheck, name: Name) -> str:
    """A check in words."""
    how = f"{name('method', row.method)} test" if row.method else row.do
    return f"{how}: {where(row.place, row.part, name)}"


def week_title(chart: WeekChart, name: Name) -> str:
    """What a chart by week shows."""
    return f"Water in at {name('place', chart.place)}" if chart.place else "Closed without a proved cure"


def _told(patterns: Patterns, figure: str) -> str:
    return f"{patterns.denominators[figure]} {patterns.denominators['every']}"


def _share_row(label: str, share: Share, bar: float | None) -> RangeRow:
    told = f"{share.count} of {share.of}"
    return RangeRow(
        label, 100 * share.low, 100 * share.high, 100 * share.share, None if bar is None else 100 * bar, share.few, told
    )


def _interval(patterns: Patterns) -> str:
    return f"line: {100 * patterns.level:g} % interval"


def _few(patterns: Patterns) -> str:
    return f"hollow: fewer than {patterns.few} jobs"


def _sources(patterns: Patterns, name: Name) -> Ranges:
    rows = tuple(
        _share_row(where(row.place, row.part, name), row.share, row.shrunk) for row in patterns.sources[:_MOST_ROWS]
    )
    axis = f"% of jobs; {_interval(patterns)}; bar: shrunk; {_few(patterns)}"
    return Ranges("Where water came in", axis, rows, _told(patterns, "sources"))


def _paths(patterns: Patterns, name: Name) -> Matrix:
    rows, columns, counts = matrix(patterns.paths, _MOST_PLACES)
    return Matrix(
        "Where it showed, and where it came in",
        "across: where it came in; down: where it showed; in jobs",
        tuple(name("place", row) for row in rows),
        tuple(name("place", column) for column in columns),
        tuple(map(tuple, counts)),
        _told(patterns, "paths"),
    )


def _groups(patterns: Patterns, name: Name) -> Iterator[tuple[str, Ranges]]:
    """Of each kind of group, the rows that differ from all jobs; where none does, there is nothing to draw."""
    for by, title in BY.items():
        apart = [row for row in patterns.groups if row.by == by and row.apart]
        if not apart:
            continue
        rows = tuple(
            _share_row(f"{row.group}: {where(row.place, row.part, name)}", row.share, row.overall)
            for row in apart[:_MOST_ROWS]
        )
        axis = f"% of jobs of the group; {_interval(patterns)}; bar: all jobs"
        yield by.replace("_", "-"), Ranges(f"By {title}: unlike all jobs", axis, rows, _told(patterns, "groups"))


def _times(patterns: Patterns, name: Name) -> Iterator[tuple[str, Ranges]]:
    for measure, title in (("clock", "Minutes to find it"), ("labor", "Labor stated, whole job")):
        known = [row for row in patterns.times if row.measure == measure][:_MOST_ROWS]
        if not known:
            continue
        rows = tuple(
            RangeRow(where(row.place, row.part, name), row.low, row.high, row.median, None, row.few, f"{row.count}")
            for row in known
        )
        axis = f"minutes; line: the middle half; mark: median; {_few(patterns)}; right: jobs"
        yield measure, Ranges(title, axis, rows, _told(patterns, "times"))


def _repeats(patterns: Patterns, name: Name) -> Ranges:
    rows = tuple(
        _share_row(name("place", row.place) if row.place else "all places", row.share, None)
        for row in patterns.repeats[:_MOST_ROWS]
    )
    axis = f"% of visits; {_interval(patterns)}; hollow: fewer than {patterns.few} visits"
    title = f"Back within {patterns.repeat_days} days"
    return Ranges(title, axis, rows, _told(patterns, "repeats"), level=rows[0].at)


def _weeks(patterns: Patterns, chart: WeekChart, name: Name) -> Weeks:
    points = tuple(
        WeekPoint(
            week.week, 100 * week.count / week.of, 100 * week.lower, 100 * week.upper, week.mark,
            f"{week.count} of {week.of}",
        )
        for week in chart.weeks[-_LAST_WEEKS:]
    )  # fmt: skip
    return Weeks(f"{week_title(chart, name)}: % of jobs by week", 100 * chart.center, points, _told(patterns, "weeks"))


def _empty_checks(patterns: Patterns, name: Name) -> Bars:
    rows = tuple(
        BarRow(check_words(row, name), row.minutes, row.share.few, f"{row.share.count} of {row.share.of}")
        for row in patterns.empty_checks[:_MOST_ROWS]
        if row.minutes
    )
    axis = f"minutes of checks that found nothing; right: how many of those made; {_few(patterns)}"
    return Bars("Checks that found nothing", axis, rows, _told(patterns, "empty-checks"))
