"""Shares by week with control limits (p-chart), and which weeks are out of control."""

from __future__ import annotations

from datetime import date
from typing import Literal

import numpy as np

from fieldnote.patterns.chosen import Chosen, grouped, grouped_ids
from fieldnote.patterns.packing import Bools, Ints
from fieldnote.patterns.statistics import control_limits, tail, too_rare
from fieldnote.records import WeekChart, WeekShare
from fieldnote.settings import PatternSettings

Mark = Literal["above", "below", "too few", ""]

_DAY = 86_400_000_000
_EPOCH_DAY = date(1970, 1, 1).toordinal()
_EPOCH_WEEKDAY = date(1970, 1, 1).weekday()


def week_charts(chosen: Chosen, settings: PatternSettings) -> tuple[WeekChart, ...]:
    """A chart for each of the places at which water came in most, the most frequent first (only the set number, since
    every chart more puts more weeks out by chance alone); last, jobs closed without a proved cure."""
    mondays = _mondays(chosen.columns.head["opened"])
    visit, place = chosen.came_in
    by_place = {chosen.word(code): visits for code, visits in grouped(place, visit).items()}
    places = sorted(by_place, key=lambda place: (-len(by_place[place]), place))[: settings.charts]
    sizes = _counted(mondays, chosen.found)
    charts = [
        _chart(chosen, place, by_place[place], mondays, sizes)
        for place in places
        if len(by_place[place]) >= settings.few
    ]
    unproved = np.flatnonzero(chosen.closed & (chosen.columns.head["proved"] == 0))
    charts.append(_chart(chosen, None, unproved, mondays, _counted(mondays, chosen.closed)))
    return tuple(chart for chart in charts if chart.weeks)


def _mondays(opened: Ints) -> Ints:
    """The Monday (in days since 1970, UTC) of the week in which each job was opened."""
    days = opened // _DAY
    return np.asarray(days - (days + _EPOCH_WEEKDAY) % 7)


def _week_of(monday: int) -> str:
    """The week of ISO 8601 that begins on that day (``2026-W07``)."""
    year, week, _ = date.fromordinal(_EPOCH_DAY + monday).isocalendar()
    return f"{year}-W{week:02d}"


def _counted(mondays: Ints, ours: Bools) -> dict[int, int]:
    """Jobs by week, in order of time; weeks without any are left out, since they have no share."""
    weeks, counts = np.unique(mondays[ours], return_counts=True)
    return dict(zip(weeks.tolist(), counts.tolist(), strict=True))


def _chart(chosen: Chosen, place: str | None, visits: Ints, mondays: Ints, sizes: dict[int, int]) -> WeekChart:
    by_week = grouped_ids(chosen.columns, mondays[visits], visits)
    of_all = sum(sizes.values())
    center = len(visits) / of_all if of_all else 0.0
    return WeekChart(
        place,
        center,
        tuple(week_share(_week_of(monday), by_week.get(monday, ()), of, center) for monday, of in sizes.items()),
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
