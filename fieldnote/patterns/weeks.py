"""Shares by week with control limits (p-chart), and which weeks are out of control."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Literal

from fieldnote.patterns.statistics import control_limits, tail, too_rare
from fieldnote.patterns.visits import Visit
from fieldnote.records import WeekChart, WeekShare
from fieldnote.settings import PatternSettings

Mark = Literal["above", "below", "too few", ""]


def week_charts(seen: Sequence[Visit], settings: PatternSettings) -> tuple[WeekChart, ...]:
    """A chart for each of the places at which water came in most, the most frequent first (only the set number, since
    every chart more puts more weeks out by chance alone); last, jobs closed without a proved cure."""
    weeks = {visit.id: week_of(visit) for visit in seen}
    found = [visit for visit in seen if visit.leaks]
    by_place: dict[str, list[str]] = {}
    for visit in found:
        for place in dict.fromkeys(place for place, _ in visit.sources):
            by_place.setdefault(place, []).append(visit.id)
    places = sorted(by_place, key=lambda place: (-len(by_place[place]), place))[: settings.charts]
    sizes = _counted(weeks[visit.id] for visit in found)
    charts = [_chart(place, by_place[place], weeks, sizes) for place in places if len(by_place[place]) >= settings.few]
    closed = [visit for visit in seen if visit.closed is not None]
    unproved = [visit.id for visit in closed if not visit.proved]
    charts.append(_chart(None, unproved, weeks, _counted(weeks[visit.id] for visit in closed)))
    return tuple(chart for chart in charts if chart.weeks)


def week_of(visit: Visit) -> str:
    """The week of ISO 8601 in which a job was opened (``2026-W07``)."""
    year, week, _ = visit.day.isocalendar()
    return f"{year}-W{week:02d}"


def _counted(weeks: Iterable[str]) -> dict[str, int]:
    """Jobs by week, in order of time; weeks without any are left out, since they have no share."""
    return dict(sorted(Counter(weeks).items()))


def _chart(place: str | None, jobs: Sequence[str], weeks: Mapping[str, str], sizes: Mapping[str, int]) -> WeekChart:
    by_week: dict[str, list[str]] = {}
    for job in jobs:
        by_week.setdefault(weeks[job], []).append(job)
    of_all = sum(sizes.values())
    center = len(jobs) / of_all if of_all else 0.0
    return WeekChart(
        place, center, tuple(week_share(w, tuple(by_week.get(w, ())), of, center) for w, of in sizes.items())
    )


def week_share(week: str, jobs: tuple[str, ...], of: int, center: float) -> WeekShare:
    """One week against the center line, with limits for its own number of jobs."""
    lower, upper = control_limits(center, of)
    return WeekShare(week, len(jobs), of, lower, upper, _mark(len(jobs), of, center, lower, upper), jobs)


def _mark(count: int, of: int, center: float, lower: float, upper: float) -> Mark:
    """Beyond a limit; with so few jobs that the exact chance of it is more than three sigma mean, "too few".

    The limits take the binomial distribution for a normal one. That fails where few are expected: one job of a rare
    source would put nearly any week out of control.
    """
    share = count / of
    if lower <= share <= upper:
        return ""
    above = share > upper
    if not too_rare(tail(count, of, center, upper=above)):
        return "too few"
    return "above" if above else "below"
