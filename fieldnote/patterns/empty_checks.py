"""Looks and tests that found nothing, all jobs together, and what they cost by the leak map."""

from __future__ import annotations

import numpy as np

from fieldnote.patterns.chosen import Chosen, grouped_ids, numbered
from fieldnote.patterns.statistics import share_of
from fieldnote.records import EmptyCheck
from fieldnote.settings import PatternSettings


def empty_checks(chosen: Chosen, settings: PatternSettings) -> tuple[EmptyCheck, ...]:
    """Kinds of check with at least one that found nothing, those that cost most minutes in all first."""
    ours = chosen.seen[chosen.columns.check_of]
    checks, of = chosen.columns.checks[ours], chosen.columns.check_of[ours]
    kinds, which = numbered(checks["test"], checks["place"], checks["part"], checks["method"])
    made = np.bincount(which, checks["made"], len(kinds)).astype(np.int64)
    empty = np.bincount(which, checks["empty"], len(kinds)).astype(np.int64)
    known = ~np.isnan(checks["minutes"])
    minutes = np.bincount(which[known], checks["minutes"][known], len(kinds))
    reckoned = np.bincount(which[known], minlength=len(kinds)) > 0
    found_nothing = checks["empty"] > 0
    jobs = grouped_ids(chosen.columns, which[found_nothing], of[found_nothing])
    rows = [
        EmptyCheck(
            "test" if test else "look", chosen.word(place), chosen.part(part), chosen.part(method),
            share_of(int(empty[kind]), int(made[kind]), settings.level, settings.few),
            float(minutes[kind]) if reckoned[kind] else None,
            jobs[kind],
        )
        for kind, (test, place, part, method) in enumerate(kinds)
        if empty[kind]
    ]  # fmt: skip
    return tuple(sorted(rows, key=lambda r: (-(r.minutes or 0.0), -r.share.count, r.place, r.part or "", r.do)))
