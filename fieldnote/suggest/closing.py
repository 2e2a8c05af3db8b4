"""Which sources are closed: repaired, and dry in a retest that would have shown them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fieldnote.records import Entry
from fieldnote.suggest import matching
from fieldnote.suggest.leak_map import LeakMap
from fieldnote.suggest.repairs import mended_by
from fieldnote.suggest.trials import DRY, LEAK, method_of


@dataclass(frozen=True, slots=True)
class Standing:
    """How a repaired source stands. ``entries``: the leaking test, the repair, the retest that count, as far as made.

    ``missing`` says what is still wanted before it counts as closed; empty where it is closed.
    """

    source: int
    closed: bool
    entries: tuple[str, ...]
    place: str
    missing: str = ""
    leaked_min: float | None = None
    """How long the water ran when it leaked: the least that a retest must take."""
    method: str | None = None


def standings(leak_map: LeakMap, entries: Sequence[Entry]) -> tuple[Standing, ...]:
    """The standing of every repaired source, by the rule of a cure.

    Closed is what leaked in a test with water, was repaired, and was dry afterwards in a test of the same zone with
    the same method for at least as long as it had leaked, with no leak of that zone after it. A retest that names no
    method repeats the test before.
    """
    found: dict[int, Standing] = {}
    for n, entry in enumerate(entries):
        if entry.kind != "repair" or entry.state in leak_map.model.no_cure:
            continue
        for i in np.flatnonzero(mended_by(leak_map, entry, entries[:n])):
            found[int(i)] = _standing(leak_map, entries, n, int(i))
    return tuple(found[i] for i in sorted(found))


def _standing(leak_map: LeakMap, entries: Sequence[Entry], n: int, source: int) -> Standing:
    repair, place = entries[n], leak_map.sources[source].place
    leak = _leak_before(leak_map, entries[:n], source)
    if leak is None:
        why = "it was never seen to leak in a test with water"
        return Standing(source, False, (repair.id,), place, why)
    leaked = _longest_min(leak_map, entries[:n], leak)
    wanting = Standing(source, False, (leak.id, repair.id), leak.place or place, "", leaked, leak.method)
    later = [e for e in entries[n + 1 :] if _tests(leak_map, e, (LEAK, DRY)) and _same_zone(e, leak)]
    if not later:
        return _wanting(wanting, "no retest yet")
    last = later[-1]
    if last.state == LEAK:
        return _wanting(wanting, "the retest leaked", last)
    if leak.method is not None and last.method not in (None, leak.method):
        return _wanting(wanting, "the retest used another method", last)
    lasted, enough = matching.minutes(last), _enough(leak_map, wanting)
    if lasted is None:
        return _wanting(wanting, "the duration of the retest was not said", last)
    if lasted < enough:
        return _wanting(wanting, f"the retest took {lasted:g} min, it leaked within {enough:g} min", last)
    return replace(wanting, closed=True, entries=(*wanting.entries, last.id))


def _leak_before(leak_map: LeakMap, earlier: Sequence[Entry], source: int) -> Entry | None:
    """The last leaking test that reached the source; one of its own place where there is one."""
    found = None
    for entry in reversed(earlier):
        method = method_of(leak_map, entry) if _tests(leak_map, entry, (LEAK,)) else None
        if method is None or not matching.reach(leak_map, entry, method)[source]:
            continue
        if entry.place == leak_map.sources[source].place:
            return entry
        found = found or entry
    return found


def _longest_min(leak_map: LeakMap, earlier: Sequence[Entry], leak: Entry) -> float | None:
    """The longest time in which that zone leaked; where only a test's duration is known, it is at most that."""
    alike = [e for e in earlier if _tests(leak_map, e, (LEAK,)) and _same_zone(e, leak)]
    times = [matching.leaked_after_min(e) or matching.minutes(e) for e in alike]
    return max((t for t in times if t is not None), default=None)


def _tests(leak_map: LeakMap, entry: Entry, states: tuple[str, ...]) -> bool:
    """Whether ``entry`` is a bare test with water that gave one of ``states``."""
    if entry.kind != "test" or entry.state not in states or entry.place in entry.masked:
        return False
    method = method_of(leak_map, entry)
    return method is not None and method.water


def _same_zone(retest: Entry, leak: Entry) -> bool:
    return retest.place == leak.place and matching.side_fits(leak.side, retest.side)


def _wanting(standing: Standing, missing: str, retest: Entry | None = None) -> Standing:
    ids = standing.entries if retest is None else (*standing.entries, retest.id)
    return replace(standing, missing=missing, entries=ids)


def _enough(leak_map: LeakMap, standing: Standing) -> float:
    if standing.leaked_min is not None:
        return standing.leaked_min
    zone = leak_map.zones.get(standing.place)
    return zone.minutes if zone is not None else leak_map.model.unsaid_min
