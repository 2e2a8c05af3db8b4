"""How patterns look in a terminal of 80 columns: one table a figure, each with what its shares are shares of."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from fieldnote.patterns.drawings import BY
from fieldnote.patterns.shown import CHANCE
from fieldnote.patterns.sources import matrix
from fieldnote.records import GroupShare, Patterns, Share, WeekChart, WeekShare

LINE = 92
_FEW_ROWS, _MATRIX, _LAST_WEEKS, _SCALE, _FEW_JOBS = 8, 7, 12, 25, 6

Name = Callable[[str, str], str]


class View:
    """Prints figures of one ``Patterns``; ``everything``: all rows; ``jobs``: the jobs behind each row."""

    def __init__(self, console: Console, patterns: Patterns, name: Name, *, everything: bool, jobs: bool) -> None:
        console.width = min(console.width, LINE)
        self._console = console
        self._patterns = patterns
        self._name = name
        self._most = 10_000 if everything else _FEW_ROWS
        self._everything = everything
        self._jobs = jobs
        self._noted: list[Text] = []

    def show(self, figures: Sequence[str]) -> None:
        """The head, and the figures asked for."""
        p = self._patterns
        dates = f", opened {p.since or 'at any time'} to {p.until or 'now'}" if p.since or p.until else ""
        place = f", with water at the {self._name('place', p.place)}" if p.place else ""
        place += f", worked on by: {p.role}" if p.role else ""
        self._console.print(
            Text(f"What recurs in {p.jobs} job{'' if p.jobs == 1 else 's'}{dates}{place}", style="bold")
        )
        if not p.jobs:
            self._console.print("No job fits. `fieldnote job list` shows what is kept.")
            return
        self._console.print(Text(p.denominators["every"], style="italic"))
        for figure in figures:
            self._console.print()
            getattr(self, f"_{figure.replace('-', '_')}")()
            self._console.print(Padding(Text(p.denominators[figure], style="dim"), (0, 0, 0, 2)))

    # ---- figures --------------------------------------------------------------------------------------------

    def _sources(self) -> None:
        rows = self._patterns.sources
        self._head("Where water came in")
        table = self._table("place and part", "jobs", "share", self._interval(), "shrunk")
        for row in rows[: self._most]:
            table.add_row(
                self._where(row.place, row.part), _count(row.share), _percent(row.share.share), _limits(row.share),
                _percent(row.shrunk),
            )  # fmt: skip
            self._behind(self._where(row.place, row.part), row.jobs)
        self._print(table, len(rows), "no leak")
        if rows:
            told = f"In order of the share shrunk towards that of an average source; {self._few_note()}"
            self._console.print(Padding(Text(told, style="dim"), (0, 0, 0, 2)))

    def _paths(self) -> None:
        self._head("Where it showed (down), and where it came in (across); jobs")
        rows, columns, counts = matrix(self._patterns.paths, 10_000 if self._everything else _MATRIX)
        if rows and not self._everything:
            table = Table(box=None, pad_edge=False, header_style="dim", padding=(0, 1, 0, 0))
            table.add_column("showed")
            for n in range(len(columns)):
                table.add_column(chr(ord("A") + n), justify="right")
            for place, line in zip(rows, counts, strict=True):
                table.add_row(self._name("place", place), *(str(count or "·") for count in line))
            self._console.print(Padding(table, (0, 0, 0, 2)))
            legend = ", ".join(f"{chr(ord('A') + n)} {self._name('place', c)}" for n, c in enumerate(columns))
            self._console.print(Padding(Text(f"came in: {legend}"), (0, 0, 0, 2)))
            self._console.print()
        table = self._table("showed at", "came in at", "jobs", left=2)
        paths = self._patterns.paths
        for path in paths[: self._most]:
            showed = self._name("place", path.showed) if path.showed else "not noted"
            table.add_row(showed, self._name("place", path.came_in), f"{len(path.jobs)}")
            self._behind(f"{showed} from {self._name('place', path.came_in)}", path.jobs)
        self._print(table, len(paths), "no leak")

    def _groups(self) -> None:
        p = self._patterns
        for by, title in BY.items():
            rows = [row for row in self._patterns.groups if row.by == by]
            self._head(f"By {title}")
            shown = self._chosen(rows)
            table = self._table(title.split()[-1], "place and part", "jobs", self._interval(), "all jobs", "")
            for row in shown[: self._most]:
                table.add_row(
                    row.group, self._where(row.place, row.part), _count(row.share), _limits(row.share),
                    _percent(row.overall), row.apart,
                )  # fmt: skip
                self._behind(f"{row.group}, {self._where(row.place, row.part)}", row.jobs)
            few = len({row.group for row in rows} - {row.group for row in shown})
            self._print(table, len(shown), "none with enough jobs" if rows else "not recorded")
            if few:
                told = f"… {few} more with fewer than {p.few} jobs at any one source, with --all"
                self._console.print(Text(f"  {told}", style="dim"))
        told = (
            'The last column says "above" or "below" only where the group differs from all jobs by more than chance, '
            f"allowing for the number of rows compared; {self._few_note()}"
        )
        self._console.print(Padding(Text(told, style="dim"), (0, 0, 0, 2)))

    def _chosen(self, rows: Sequence[GroupShare]) -> list[GroupShare]:
        """Everything, or the rows that differ and the first of each group that is not few, the largest groups first."""
        if self._everything:
            return list(rows)
        first: dict[str, GroupShare] = {}
        for row in rows:
            first.setdefault(row.group, row)
        large = sorted(first.values(), key=lambda row: -row.share.of)
        told = [row for row in large if not row.apart and not row.share.few]
        return [row for row in rows if row.apart] + told

    def _times(self) -> None:
        self._head("Minutes, where recorded")
        table = self._table("place and part", "what", "jobs", "half of them", "median")
        rows = self._patterns.times
        for row in rows[: self._most]:
            what = "to find it" if row.measure == "clock" else "labor, whole job"
            table.add_row(
                self._where(row.place, row.part), what, f"{row.count}{' few' if row.few else ''}",
                f"{row.low:.0f} to {row.high:.0f}", f"{row.median:.0f}",
            )  # fmt: skip
            self._behind(self._where(row.place, row.part), row.jobs)
        self._print(table, len(rows), "not recorded in any of these jobs")

    def _repeats(self) -> None:
        p = self._patterns
        self._head(f"Back within {p.repeat_days} days with a leak of the same zone")
        table = self._table("place mended", "came back", "share", self._interval())
        for row in p.repeats[: self._most]:
            where = self._name("place", row.place) if row.place else "all places"
            table.add_row(where, _count(row.share), _percent(row.share.share), _limits(row.share))
            self._behind(where, row.jobs)
        self._print(table, len(p.repeats), "no mended visit can be counted yet")

    def _weeks(self) -> None:
        p = self._patterns
        if not p.weeks:
            self._head("By week")
            self._console.print(
                Padding(Text("too few jobs at any place, and none closed", style="italic"), (0, 0, 0, 2))
            )
            return
        out = [(chart, week) for chart in p.weeks for week in chart.weeks if week.mark in ("above", "below")]
        untold = sum(week.mark == "too few" for chart in p.weeks for week in chart.weeks)
        many = sum(len(chart.weeks) for chart in p.weeks)
        self._head(f"Weeks out of control: {len(out)} of {many} in {len(p.weeks)} charts")
        table = self._table("week", "what", "jobs", "limits", "", left=2)
        for chart, week in out[: self._most]:
            table.add_row(week.week, self._what(chart), f"{week.count} of {week.of}", _week_limits(week), week.mark)
            self._behind(week.week, week.jobs)
        self._print(table, len(out), "none")
        told = (
            f"Limits are 3 sigma for the number of jobs of the week. {untold} more weeks lie beyond a limit with "
            f"too few jobs to tell. By chance alone, fewer than {CHANCE * many:.1f} would be out."
        )
        self._console.print(Padding(Text(told, style="dim"), (0, 0, 0, 2)))
        for chart in p.weeks if self._everything else p.weeks[:1]:
            self._week_chart(chart)

    def _week_chart(self, chart: WeekChart) -> None:
        weeks = chart.weeks if self._everything else chart.weeks[-_LAST_WEEKS:]
        top = max(max(week.upper, week.count / week.of) for week in weeks)
        self._console.print()
        self._console.print(Text(f"  {self._what(chart)}, mean {_percent(chart.center)} of jobs"))
        table = self._table("week", "jobs", f"0 to {_percent(top)}", "", left=1)
        for week in weeks:
            table.add_row(week.week, f"{week.count} of {week.of}", _scale(week, chart.center, top), week.mark)
            self._behind(week.week, week.jobs)
        self._console.print(Padding(table, (0, 0, 0, 2)))
        self._tell_jobs()
        key = "o share of the week, X out of control, ? too few to tell, | mean, [ ] limits"
        self._console.print(Padding(Text(key, style="dim"), (0, 0, 0, 2)))

    def _empty_checks(self) -> None:
        self._head("Checks that found nothing, by minutes")
        table = self._table("check", "found nothing", "share", "min", "each")
        rows = self._patterns.empty_checks
        for row in rows[: self._most]:
            how = f"{self._name('method', row.method)} test" if row.method else row.do
            minutes = "?" if row.minutes is None else f"{row.minutes:.0f}"
            each = "?" if row.minutes is None else f"{row.minutes / row.share.count:.0f}"
            where = Text.assemble((f"{how}: ", ""), self._where(row.place, row.part))
            table.add_row(where, _count(row.share), _percent(row.share.share), minutes, each)
            self._behind(f"{how}: {self._where(row.place, row.part)}", row.jobs)
        self._print(table, len(rows), "none")

    # ---- parts of them --------------------------------------------------------------------------------------

    def _where(self, place: str, part: str | None) -> str:
        words = self._name("place", place)
        return f"{words}, {self._name('part', part)}" if part else words

    def _what(self, chart: WeekChart) -> str:
        return f"water in at {self._name('place', chart.place)}" if chart.place else "closed without a proved cure"

    def _interval(self) -> str:
        return f"{100 * self._patterns.level:g}% interval"

    def _few_note(self) -> str:
        return f"few: fewer than {self._patterns.few} jobs, which shows little."

    def _head(self, title: str) -> None:
        self._console.print(Text(title, style="bold"))

    def _table(self, *heads: str, left: int = 1) -> Table:
        table = Table(box=None, pad_edge=False, header_style="dim", padding=(0, 1, 0, 0))
        for n, head in enumerate(heads):
            words = n < left or head in ("", "place and part", "what") or head.startswith("0 to")
            table.add_column(head, justify="left" if words else "right", overflow="fold", no_wrap=not words)
        return table

    def _behind(self, row: str, behind: Iterable[str | tuple[str, str]]) -> None:
        """Note the jobs behind a row, to be told below its table: ids, or pairs of a visit and the one after it."""
        if not self._jobs:
            return
        names = [
            self._patterns.names[job] if isinstance(job, str) else " → ".join(self._patterns.names[id] for id in job)
            for job in behind
        ]
        if names:
            most = len(names) if self._everything else _FEW_JOBS
            more = f" … and {len(names) - most} more with --all" if len(names) > most else ""
            self._noted.append(Text.assemble((f"{row}: ", "bold"), f"{', '.join(names[:most])}{more}"))

    def _tell_jobs(self) -> None:
        """The jobs noted behind the rows of the table above."""
        for line in self._noted:
            self._console.print(Padding(line, (0, 0, 0, 4)))
        self._noted.clear()

    def _print(self, table: Table, many: int, none: str) -> None:
        self._console.print(Padding(table if many else Text(none, style="italic"), (0, 0, 0, 2)))
        if many > self._most:
            self._console.print(Text(f"  … {many - self._most} more with --all", style="dim"))
        self._tell_jobs()


def _count(share: Share) -> str:
    return f"{share.count} of {share.of}{' few' if share.few else ''}"


def _percent(share: float) -> str:
    return f"{100 * share:.1f}%"


def _limits(share: Share) -> str:
    return f"{100 * share.low:.1f} to {100 * share.high:.1f}%"


def _week_limits(week: WeekShare) -> str:
    return f"{100 * week.lower:.0f} to {100 * week.upper:.0f}%"


def _scale(week: WeekShare, center: float, top: float) -> Text:
    """The week between its limits on a line of ``_SCALE`` characters."""
    line: list[Any] = ["·"] * _SCALE

    def spot(share: float) -> int:
        return min(_SCALE - 1, round(share / top * (_SCALE - 1)) if top else 0)

    line[spot(week.lower)], line[spot(week.upper)], line[spot(center)] = "[", "]", "|"
    line[spot(week.count / week.of)] = "?" if week.mark == "too few" else "X" if week.mark else "o"
    return Text("".join(line))
