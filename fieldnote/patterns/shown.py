"""Patterns in words: the tables of a page and a printed report, each row with a key that finds its jobs again."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from statistics import NormalDist

from fieldnote.errors import NotFound
from fieldnote.patterns.drawings import BY, Name, check_words, week_title, where
from fieldnote.patterns.statistics import SIGMAS
from fieldnote.patterns.tables import FIGURES
from fieldnote.records import EmptyCheck, FindingTime, GroupShare, Patterns, Share, WaterPath, WeekChart, WeekShare

CHANCE = 2 * NormalDist().cdf(-SIGMAS)
"""Of a week to lie beyond three standard deviations on either side."""


@dataclass(frozen=True, slots=True)
class Line:
    """One row: its cells, and under ``key`` the jobs behind it (pairs of visits where somebody came back)."""

    cells: tuple[str, ...]
    key: str
    jobs: tuple[str | tuple[str, str], ...]
    few: bool = False


@dataclass(frozen=True, slots=True)
class Grid:
    """One table. ``counted``: the column that opens the jobs behind a row; columns from ``numbers`` on are numbers."""

    title: str
    heads: tuple[str, ...]
    lines: tuple[Line, ...]
    counted: int
    numbers: int
    none: str
    note: str = ""
    first: int = 8
    """So many rows are shown before somebody asks for the rest."""
    most: int = 20
    """So many rows are printed; without any the table is left out."""


@dataclass(frozen=True, slots=True)
class Part:
    """One figure: its tables, and what its shares are shares of."""

    figure: str
    title: str
    of: str
    grids: tuple[Grid, ...]


TITLES = {
    "sources": "Where water came in",
    "paths": "Where it showed, and where it came in",
    "groups": "By vehicle",
    "times": "Minutes",
    "repeats": "Vehicles that came back",
    "weeks": "By week",
    "empty-checks": "Checks that found nothing",
}


def parts(patterns: Patterns, name: Name) -> tuple[Part, ...]:
    """Every figure in words, in the order of ``FIGURES``."""
    made = {
        "sources": (_sources(patterns, name),),
        "paths": (_paths(patterns, name),),
        "groups": tuple(_groups(patterns, name)),
        "times": tuple(_times(patterns, name)),
        "repeats": (_repeats(patterns, name),),
        "weeks": tuple(_weeks(patterns, name)),
        "empty-checks": (_empty_checks(patterns, name),),
    }
    return tuple(Part(figure, TITLES[figure], patterns.denominators[figure], made[figure]) for figure in FIGURES)


def behind(patterns: Patterns, name: Name, figure: str, key: str) -> tuple[str, Line]:
    """The row of a figure that has this key, with what its table is called.

    Raises:
        NotFound: there is no such figure, or no such row for the jobs asked for.

    """
    for part in parts(patterns, name):
        if part.figure == figure:
            for grid in part.grids:
                for line in grid.lines:
                    if line.key == key:
                        return grid.title, line
    raise NotFound("no such row", where=f"{figure} {key}", do="The jobs may have changed: go back to the patterns.")


def percent(share: float) -> str:
    """A share in percent."""
    return f"{100 * share:.1f} %"


def limits(share: Share) -> str:
    """An interval in percent."""
    return f"{100 * share.low:.1f} to {100 * share.high:.1f} %"


def counted(share: Share) -> str:
    """A count and what it is of."""
    return f"{share.count} of {share.of}"


def _key(*parts: str | None) -> str:
    return "~".join(part or "" for part in parts)


def _interval(patterns: Patterns) -> str:
    return f"{100 * patterns.level:g} % interval"


def _few(patterns: Patterns) -> str:
    return f"Few: fewer than {patterns.few} jobs, which shows little."


def _sources(patterns: Patterns, name: Name) -> Grid:
    lines = tuple(
        Line(
            (where(row.place, row.part, name), counted(row.share), percent(row.share.share), limits(row.share),
             percent(row.shrunk), _sides(row.sides)),
            _key(row.place, row.part), row.jobs, row.share.few,
        )
        for row in patterns.sources
    )  # fmt: skip
    note = (
        "In order of the shrunk share: drawn towards that of an average source, so that a small count does not lead. "
        + _few(patterns)
    )
    heads = ("Place and part", "Jobs", "Share", _interval(patterns), "Shrunk", "Sides")
    return Grid(TITLES["sources"], heads, lines, 1, 1, "No leak of this proof in these jobs.", note)


def _sides(sides: object) -> str:
    told = dict(sides) if isinstance(sides, dict) else {}
    return ", ".join(f"{side or 'not said'} {count}" for side, count in told.items())


def _paths(patterns: Patterns, name: Name) -> Grid:
    def told(path: WaterPath) -> tuple[str, str, str]:
        showed = name("place", path.showed) if path.showed else "not noted"
        return showed, name("place", path.came_in), str(len(path.jobs))

    lines = tuple(
        Line(told(path), _key(path.showed, path.came_in), path.jobs, len(path.jobs) < patterns.few)
        for path in patterns.paths
    )
    return Grid(TITLES["paths"], ("Showed at", "Came in at", "Jobs"), lines, 2, 2, "No leak of this proof.")


def _groups(patterns: Patterns, name: Name) -> Iterator[Grid]:
    for by, title in BY.items():
        rows = [row for row in patterns.groups if row.by == by]
        telling, rest = _telling_first(rows)
        lines = tuple(_group_line(row, name) for row in (*telling, *rest))
        note = (
            f"“Above” and “below” only where the {title} differs from all jobs by more than chance, allowing for the "
            f"number of rows compared ({len(rows)}). {_few(patterns)}"
        )
        heads = (title.capitalize(), "Place and part", "Jobs", _interval(patterns), "All jobs", "Than all jobs")
        if rows and not telling:
            note = f"No {title} has {patterns.few} jobs at any one source. {note}"
        many = min(12, len(telling))
        yield Grid(f"By {title}", heads, lines, 2, 2, f"No job says its {title}.", note, first=many, most=many)


def _telling_first(rows: list[GroupShare]) -> tuple[list[GroupShare], list[GroupShare]]:
    """Rows that differ and the first of each group that is not few, the largest groups first; and the rest."""
    apart = [row for row in rows if row.apart]
    first: dict[str, GroupShare] = {}
    for row in rows:
        first.setdefault(row.group, row)
    leading = [r for r in sorted(first.values(), key=lambda r: -r.share.of) if not r.apart and not r.share.few]
    there = {id(row) for row in (*apart, *leading)}
    return [*apart, *leading], [row for row in rows if id(row) not in there]


def _group_line(row: GroupShare, name: Name) -> Line:
    cells = (
        row.group, where(row.place, row.part, name), counted(row.share), limits(row.share), percent(row.overall),
        row.apart,
    )  # fmt: skip
    return Line(cells, _key(row.by, row.group, row.place, row.part), row.jobs, row.share.few)


def _times(patterns: Patterns, name: Name) -> Iterator[Grid]:
    for measure, title, none in (
        ("clock", "Minutes to find it, by the clock of the recordings", "No recording says when it began."),
        ("labor", "Labor stated, of the whole job", "No job states its labor."),
    ):

        def line(row: FindingTime) -> Line:
            cells = (
                where(row.place, row.part, name), str(row.count), f"{row.median:.0f}",
                f"{row.low:.0f} to {row.high:.0f}",
            )  # fmt: skip
            return Line(cells, _key(row.measure, row.place, row.part), row.jobs, row.few)

        lines = tuple(line(row) for row in patterns.times if row.measure == measure)
        yield Grid(title, ("Place and part", "Jobs", "Median", "Half of them"), lines, 1, 1, none, _few(patterns))


def _repeats(patterns: Patterns, name: Name) -> Grid:
    lines = tuple(
        Line(
            (name("place", row.place) if row.place else "all places", counted(row.share), percent(row.share.share),
             limits(row.share)),
            _key(row.place), row.jobs, row.share.few,
        )
        for row in patterns.repeats
    )  # fmt: skip
    title = f"Back within {patterns.repeat_days} days with a leak of the same zone"
    heads = ("Place mended", "Came back", "Share", _interval(patterns))
    note = f"Few: fewer than {patterns.few} mended visits. Both visits stand behind a row, the mended one first."
    return Grid(title, heads, lines, 1, 1, "No mended visit can be counted yet.", note)


def _weeks(patterns: Patterns, name: Name) -> Iterator[Grid]:
    out = [
        _week_line(chart, week, name, named=True)
        for chart in patterns.weeks
        for week in chart.weeks
        if week.mark in ("above", "below")
    ]
    many = sum(len(chart.weeks) for chart in patterns.weeks)
    untold = sum(week.mark == "too few" for chart in patterns.weeks for week in chart.weeks)
    note = (
        f"{many} weeks in {len(patterns.weeks)} charts. Limits are 3 sigma for the number of jobs of the week. "
        f"{untold} more weeks lie beyond a limit with too few jobs to tell. By chance alone, fewer than "
        f"{CHANCE * many:.1f} would be out."
    )
    heads: tuple[str, ...] = ("Week", "What", "Jobs", "Share", "Limits", "Out of control")
    lines = tuple(sorted(out, key=lambda line: line.cells[0], reverse=True))
    yield Grid("Weeks out of control", heads, lines, 2, 2, "None.", note)
    heads = ("Week", "Jobs", "Share", "Limits", "Out of control")
    for chart in patterns.weeks:
        lines = tuple(_week_line(chart, week, name, named=False) for week in reversed(chart.weeks))
        title = f"{week_title(chart, name)}, mean {percent(chart.center)} of jobs"
        yield Grid(title, heads, lines, 1, 1, "No week.", first=0, most=0)


def _week_line(chart: WeekChart, week: WeekShare, name: Name, *, named: bool) -> Line:
    cells = (
        f"{week.count} of {week.of}", percent(week.count / week.of),
        f"{100 * week.lower:.0f} to {100 * week.upper:.0f} %", week.mark,
    )  # fmt: skip
    what = (week_title(chart, name),) if named else ()
    return Line((week.week, *what, *cells), _key(chart.place, week.week), week.jobs)


def _empty_checks(patterns: Patterns, name: Name) -> Grid:
    def line(row: EmptyCheck) -> Line:
        minutes = "?" if row.minutes is None else f"{row.minutes:.0f}"
        each = "?" if row.minutes is None else f"{row.minutes / row.share.count:.0f}"
        cells = (check_words(row, name), counted(row.share), percent(row.share.share), minutes, each)
        return Line(cells, _key(row.do, row.place, row.part, row.method), row.jobs, row.share.few)

    heads = ("Check", "Found nothing", "Share", "Minutes in all", "Each")
    lines = tuple(line(row) for row in patterns.empty_checks)
    return Grid(TITLES["empty-checks"], heads, lines, 1, 1, "None.", _few(patterns))
