"""Repeat visits: the same vehicle back with a leak of the same zone within a set time."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from fieldnote.patterns.chosen import Chosen, distinct, grouped
from fieldnote.patterns.packing import Bools, Ints, micros
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
    codes, counts = np.unique(places, return_counts=True)
    counted |= {chosen.word(code): count for code, count in zip(codes, counts.tolist(), strict=True)}
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
    """For all zones (None) and each place, the mended visits with the first later one that leaks in the same zone.

    ``mending``: the mended leaks; ``first`` and ``later``: pairs of visits, the earlier return of a visit first.
    """
    pair, old, new = _leaks_of_pairs(chosen, mending, first, later)
    same = _same_zone(chosen, old, new)
    pair, place = pair[same], chosen.leaks["place"][old[same]].astype(np.int64)
    anywhere = np.zeros(len(pair), np.int64)
    returned: dict[str | None, Pairs] = {}
    for zones in (anywhere, place):
        # Of each visit and zone the earliest pair counts.
        _, at = np.unique(first[pair] * (int(zones.max(initial=0)) + 1) + zones, return_index=True)
        for zone, pairs in grouped(zones[at], pair[at]).items():
            ids = (chosen.columns.ids_at(visits[np.sort(pairs)]) for visits in (first, later))
            returned[chosen.part(zone)] = list(zip(*ids, strict=True))
    return returned


def _leaks_of_pairs(chosen: Chosen, mending: Ints, first: Ints, later: Ints) -> tuple[Ints, Ints, Ints]:
    """Every mended leak of the first visit of a pair beside every leak of the later one: pair, old leak, new leak."""
    mended_of = chosen.leak_of[mending]
    old_low, old_high = np.searchsorted(mended_of, first, "left"), np.searchsorted(mended_of, first, "right")
    new_low, new_high = (
        np.searchsorted(chosen.leak_of, later, "left"),
        np.searchsorted(chosen.leak_of, later, "right"),
    )
    olds, news = old_high - old_low, new_high - new_low
    many = olds * news
    pair = np.repeat(np.arange(len(first)), many)
    within = np.arange(len(pair)) - np.repeat(np.cumsum(many) - many, many)
    old = mending[old_low[pair] + within // np.maximum(news[pair], 1)]
    return pair, old, new_low[pair] + within % np.maximum(news[pair], 1)


def _same_zone(chosen: Chosen, old: Ints, new: Ints) -> Bools:
    """Same place, and sides that can be the same: one not recorded can, and both holds either (``proof.same_zone``)."""
    a, b = chosen.leaks[old], chosen.leaks[new]
    either = [0, *chosen.codes("both")]
    sides = (a["side"] == b["side"]) | np.isin(a["side"], either) | np.isin(b["side"], either)
    same: Bools = (a["place"] == b["place"]) & sides
    return same


def _rows(
    counted: dict[str | None, int], returned: dict[str | None, Pairs], settings: PatternSettings
) -> tuple[RepeatVisits, ...]:
    if not counted:
        return ()
    average = len(returned.get(None, ())) / counted[None]
    rank = {
        place: shrunk(len(returned.get(place, ())), of, average, settings.prior_jobs) for place, of in counted.items()
    }

    def order(place: str | None) -> tuple[object, ...]:
        # Of places to which nobody came back those with few visits tell least.
        empty = place not in returned and counted[place] < settings.few
        return place is not None, empty, -rank[place], -counted[place], place or ""

    return tuple(
        RepeatVisits(
            place,
            # Few returns are good news and no lack of evidence: here few visits are few.
            replace(share_of(len(returned.get(place, ())), of, settings.level, 0), few=of < settings.few),
            tuple(returned.get(place, ())),
        )
        for place in sorted(counted, key=order)
        for of in (counted[place],)
    )
