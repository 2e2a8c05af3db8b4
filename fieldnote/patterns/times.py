"""Minutes by source: to find it by the clock of the recordings, and labor as stated. Only what was recorded counts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from fieldnote.patterns.statistics import quartiles
from fieldnote.patterns.visits import SourceKey, Visit, find_min, key_of
from fieldnote.records import FindingTime
from fieldnote.settings import PatternSettings

Measure = Literal["clock", "labor"]


def times(found: Sequence[Visit], settings: PatternSettings) -> tuple[FindingTime, ...]:
    """Quartiles by source and measure, those with most jobs first; sources without any minutes are left out."""
    known: dict[tuple[Measure, SourceKey], dict[str, float]] = {}
    for visit in found:
        for leak in visit.leaks:
            key = key_of(leak)
            to_find = find_min(visit, leak)
            if key is not None and to_find is not None and 0.0 <= to_find <= settings.longest_find_min:
                # Of two leaks at one place and part, the one found first.
                by_job = known.setdefault(("clock", key), {})
                by_job[visit.id] = min(to_find, by_job.get(visit.id, to_find))
        # Labor is that of the whole job: with several leaks nobody said how much went to which.
        if visit.labor_min is not None and len(visit.sources) == 1:
            known.setdefault(("labor", visit.sources[0]), {})[visit.id] = visit.labor_min
    rows = []
    for (measure, (place, part)), by_job in known.items():
        low, median, high = quartiles(list(by_job.values()))
        few = len(by_job) < settings.few
        rows.append(FindingTime(place, part, measure, len(by_job), low, median, high, few, tuple(by_job)))
    return tuple(sorted(rows, key=lambda row: (row.measure, -row.count, row.place, row.part or "")))
