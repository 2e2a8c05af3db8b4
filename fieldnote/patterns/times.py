"""Minutes by source: to find it by the clock of the recordings, and labor as stated. Only what was recorded counts."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

import numpy as np

from fieldnote.patterns.chosen import Chosen, grouped
from fieldnote.patterns.packing import Ints
from fieldnote.patterns.statistics import quartiles
from fieldnote.records import FindingTime
from fieldnote.settings import PatternSettings

Measure = Literal["clock", "labor"]
Minutes = np.ndarray[tuple[int], np.dtype[np.float64]]


def times(chosen: Chosen, settings: PatternSettings) -> tuple[FindingTime, ...]:
    """Quartiles by source and measure, those with most jobs first; sources without any minutes are left out."""
    rows = []
    for measure, source, visits, minutes in (*_clock(chosen, settings), *_labor(chosen)):
        place, part = chosen.sources.keys[source]
        low, median, high = quartiles(minutes.tolist())
        few = len(visits) < settings.few
        rows.append(
            FindingTime(place, part, measure, len(visits), low, median, high, few, chosen.columns.ids_at(visits))
        )
    return tuple(sorted(rows, key=lambda row: (row.measure, -row.count, row.place, row.part or "")))


def _clock(chosen: Chosen, settings: PatternSettings) -> Iterator[tuple[Measure, int, Ints, Minutes]]:
    """By the clock; of two leaks at one place and part, the one found first."""
    leaks, of = chosen.found_leaks
    minutes = leaks["find_min"]
    # nan compares as false: where no clock tells, the leak is left out.
    known = (minutes >= 0.0) & (minutes <= settings.longest_find_min)
    minutes, of, source = minutes[known], of[known], chosen.sources.of_leak[known]
    order = np.lexsort((minutes, of, source))
    minutes, of, source = minutes[order], of[order], source[order]
    first = np.ones(len(order), bool)
    first[1:] = (np.diff(of) != 0) | (np.diff(source) != 0)
    spots = np.flatnonzero(first)
    for number, own in grouped(source[spots], spots).items():
        yield "clock", number, of[own], minutes[own]


def _labor(chosen: Chosen) -> Iterator[tuple[Measure, int, Ints, Minutes]]:
    """Labor is that of the whole job: with several leaks nobody said how much went to which."""
    found, stated = chosen.sources, chosen.columns.head["labor_min"]
    alone = np.bincount(found.visit, minlength=len(stated)) == 1
    ours = alone[found.visit] & ~np.isnan(stated[found.visit])
    for number, visits in grouped(found.source[ours], found.visit[ours]).items():
        yield "labor", number, visits, stated[visits]
