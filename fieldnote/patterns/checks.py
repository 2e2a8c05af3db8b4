"""Looks and tests of one job up to its first repair: how many found nothing, and what those cost by the leak map."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from fieldnote.narrate.proof import is_fault, leaked, ran_s, stayed_dry
from fieldnote.narrate.wording import Wording
from fieldnote.records import Entry
from fieldnote.suggest import LeakMap
from fieldnote.suggest.matching import side_fits

Key = tuple[Literal["look", "test"], str, str | None, str | None]
"""look or test, place, part, method."""


@dataclass(frozen=True, slots=True)
class CheckTally:
    """Checks of one kind in one job: ``made``, of which ``empty`` found nothing, in ``minutes`` (None: unknown)."""

    do: Literal["look", "test"]
    place: str
    part: str | None
    method: str | None
    made: int
    empty: int
    minutes: float | None


@dataclass(frozen=True, slots=True)
class _Cost:
    """Minutes of the check itself (None: unknown), and what must come off (indexes of openings)."""

    minutes: float | None
    openings: tuple[int, ...] = ()


class Costs:
    """What looks and tests cost by a leak map, each kind reckoned once."""

    def __init__(self, leak_map: LeakMap | None) -> None:
        self._map = leak_map
        self._known: dict[tuple[str, str, str | None, str | None], _Cost] = {}

    def of(self, entry: Entry) -> _Cost:
        """The cost of one look or test."""
        do = "test" if entry.kind == "test" else "look"
        key = (do, entry.place or "", None if do == "test" else entry.part, entry.side)
        if key not in self._known:
            self._known[key] = self._test(entry) if do == "test" else self._look(entry)
        said = ran_s(entry) if do == "test" else None
        cost = self._known[key]
        return cost if said is None else _Cost(said / 60.0, cost.openings)

    def _look(self, entry: Entry) -> _Cost:
        """That of the cheapest source that the look can mean: a lower bound."""
        if self._map is None:
            return _Cost(None)
        fits = [
            i
            for i in self._map.by_place.get(entry.place or "", ())
            if (s := self._map.sources[i]) is not None
            and (entry.part is None or entry.part == s.part or entry.part in s.row.also)
            and side_fits(s.side, entry.side)
        ]
        costs = [_Cost(self._map.sources[i].row.look_min, tuple(self._map.behind[i])) for i in fits]
        return min(costs, key=lambda c: (c.minutes or 0.0) + self.opening_min(c.openings), default=_Cost(None))

    def _test(self, entry: Entry) -> _Cost:
        zone = self._map.zones.get(entry.place or "") if self._map is not None else None
        if self._map is None or zone is None:
            return _Cost(None)
        wanted = self._map.zone_behind.get(zone.id, ())
        off = tuple(i for i, o in enumerate(self._map.openings) if o.row.id in wanted and side_fits(o.side, entry.side))
        # Where the side was not said, one side's openings are enough.
        once = {self._map.openings[i].row.id: i for i in reversed(off)} if entry.side is None else None
        return _Cost(zone.minutes, tuple(once.values()) if once is not None else off)

    def opening_min(self, openings: Sequence[int]) -> float:
        """Minutes of taking off and putting back these openings."""
        return sum(self._map.openings[i].minutes for i in openings) if self._map is not None else 0.0


@dataclass(slots=True)
class _Count:
    made: int = 0
    empty: int = 0
    minutes: float | None = None


def tally_checks(entries: Sequence[Entry], wording: Wording, costs: Costs) -> tuple[CheckTally, ...]:
    """The checks of a job by kind; what comes off is counted at the first check that needs it."""
    counts: dict[Key, _Count] = {}
    off: set[int] = set()
    for entry, empty in _checks(entries, wording):
        cost = costs.of(entry)
        fresh = [i for i in cost.openings if i not in off]
        off.update(fresh)
        count = counts.setdefault(_key(entry), _Count())
        count.made += 1
        count.empty += empty
        if empty and cost.minutes is not None:
            count.minutes = (count.minutes or 0.0) + cost.minutes + costs.opening_min(fresh)
    return tuple(CheckTally(*key, count.made, count.empty, count.minutes) for key, count in counts.items())


def _key(entry: Entry) -> Key:
    if entry.kind == "test":
        return "test", entry.place or "", None, entry.method
    return "look", entry.place or "", entry.part, None


def _checks(entries: Sequence[Entry], wording: Wording) -> Iterator[tuple[Entry, bool]]:
    """Looks and tests up to the first repair, with whether they found nothing; those without a result are left out."""
    for entry in entries:
        if entry.kind == "repair":
            return
        if entry.place is None or entry.state is None or entry.stage == "verify":
            continue
        if entry.kind == "check":
            yield entry, not is_fault(entry, wording)
        elif entry.kind == "test" and (stayed_dry(entry) or leaked(entry)):
            yield entry, stayed_dry(entry)
