"""Repeat visits: the same vehicle back with a leak of the same zone within a set time."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from fieldnote.patterns.chosen import Chosen, distinct
from fieldnote.patterns.packing import Ints, micros
from fieldnote.patterns.statistics import share_of, shrunk
from fieldnote.records import RepeatVisits
from fieldnote.settings import PatternSettings

Pairs = list[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class Repeats:
    """All zones together first, then by place; ``left_out`` visits have days for coming back left."""

    rows: tuple[RepeatVisits, ...]
    left_out: int


def repeats(chosen: Chosen, settings: PatternSettings, now: datetime) -> Repeats:
    """How many mended visits among those looked at came back, looked up among all.

    A visit counts once its days for coming back are over, whether it came back or not: counting the early returns of
    those still waiting would make the share too high.
    """
    head = chosen.columns.head
    wait = round(timedelta(days=settings.repeat_days) / timedelta(microseconds=1))
    eligible = chosen.closed & (head["vehicle"] > 0)
    mending = np.flatnonzero(eligible[chosen.leak_of] & (chosen.leaks["mended"] > 0))
    mended, places = distinct(chosen.leak_of[mending], chosen.leaks["place"][mending])
    over = head["closed"][mended] + wait <= micros(now)
    left_out = len(np.unique(mended[~over]))
    mended, places = mended[over], places[over]
    first, later = _later_visits(chosen, np.unique(mended), wait)
    returned = _returned(chosen, mending, first, later)
    counted: dict[str | None, int] = {None: len(np.unique(mended))} if len(mended) else {}
    counted |= Counter(chosen.word(place) for place in places.tolist())
    return Repeats(_rows(counted, returned, settings), left_out)


def _later_visits(chosen: Chosen, mended: Ints, wait: int) -> tuple[Ints, Ints]:
    """Pairs of a mended visit and one of the same vehicle opened within ``wait`` of its close, the earlier first."""
    head = chosen.columns.head
    vehicle = head["vehicle"].astype(np.int64)
    # Visits stand in order of opening: vehicle and place in that order make one number that can be searched.
    order = np.argsort(vehicle, kind="stable")
    width = len(head) + 1
    keys = vehicle[order] * width + order
    begin = np.searchsorted(head["opened"], head["closed"][mended], side="left")
    end = np.searchsorted(head["opened"], head["closed"][mended] + wait, side="right")
    low = np.searchsorted(keys, vehicle[mended] * width + begin, side="left")
    high = np.searchsorted(keys, vehicle[mended] * width + end, side="left")
    many = high - low
    first = np.repeat(mended, many)
    within = np.arange(len(first)) - np.repeat(np.cumsum(many) - many, many)
    later = order[np.repeat(low, many) + within]
    other = first != later
    return first[other], later[other]


def _returned(chosen: Chosen, mending: Ints, first: Ints, later: Ints) -> dict[str | None, Pairs]:
    """For all zones (None) and each place, the mended visits with the first later one that leaks in the same zone."""
    mended_leaks: dict[int, list[int]] = {}
    for leak in mending.tolist():
        mended_leaks.setdefault(int(chosen.leak_of[leak]), []).append(leak)
    begin = np.searchsorted(chosen.leak_of, later, side="left")
    end = np.searchsorted(chosen.leak_of, later, side="right")
    seen: set[tuple[str | None, int]] = set()
    returned: dict[str | None, Pairs] = {}
    ids = chosen.columns.ids
    for visit, back, low, high in zip(first.tolist(), later.tolist(), begin.tolist(), end.tolist(), strict=True):
        same = {
            chosen.word(chosen.leaks["place"][old])
            for old in mended_leaks[visit]
            for new in range(low, high)
            if _same_zone(chosen, old, new)
        }
        for place in (*sorted(same), *((None,) if same else ())):
            if (place, visit) not in seen:
                seen.add((place, visit))
                returned.setdefault(place, []).append((ids[visit], ids[back]))
    return returned


def _same_zone(chosen: Chosen, old: int, new: int) -> bool:
    """Same place, and sides that can be the same: one not recorded can, and both holds either (see ``same_zone``)."""
    a, b = chosen.leaks[old], chosen.leaks[new]
    if a["place"] != b["place"]:
        return False
    return (
        a["side"] == b["side"]
        or not a["side"]
        or not b["side"]
        or "both" in (chosen.word(a["side"]), chosen.word(b["side"]))
    )


def _rows(
    counted: dict[str | None, int], returned: dict[str | None, Pairs], settings: PatternSettings
) -> tuple[RepeatVisits, ...]:
    if not counted:
        return ()
    average = len(returned.get(None, ())) / counted[None]
    rank = {
        place: shrunk(len(returned.get(place, ())), of, average, settings.prior_jobs) for place, of in counted.items()
    }
    return tuple(
        RepeatVisits(
            place,
            # Few returns are good news and no lack of evidence: here few visits are few.
            replace(share_of(len(returned.get(place, ())), of, settings.level, 0), few=of < settings.few),
            tuple(returned.get(place, ())),
        )
        for place, of in sorted(
            counted.items(), key=lambda item: (item[0] is not None, -rank[item[0]], -item[1], item[0] or "")
        )
    )
