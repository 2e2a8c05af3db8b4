"""Tests that can be made: water on one zone and side for long enough, and what was tested already."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from fieldnote.records import Entry, Side
from fieldnote.suggest import matching
from fieldnote.suggest.leak_map import Floats, LeakMap, MethodRow, Source, Zone
from fieldnote.suggest.trials import DRY, LEAK


@dataclass(frozen=True, slots=True)
class ZoneTest:
    """Water on one zone and side for long enough."""

    zone: Zone
    side: Side | None
    method: MethodRow

    @property
    def key(self) -> tuple[str, Side | None]:
        """What is tested."""
        return self.zone.id, self.side

    def shows(self, leak_map: LeakMap) -> Floats:
        """The chance (sources,) that each source shows in it."""
        entry = Entry(kind="test", place=self.zone.id, side=self.side, method=self.method.id)
        power = matching.power(leak_map, self.method, self.zone.minutes)
        return matching.reach(leak_map, entry, self.method) * power

    def made(self, entries: Sequence[Entry], state: str) -> bool:
        """Whether it was made with this result: a dry one only counts with enough minutes."""
        return any(
            e.kind == "test"
            and e.state == state
            and e.place == self.zone.id
            and not e.masked
            and matching.side_fits(self.side, e.side)
            and (state == LEAK or (matching.minutes(e) or 0.0) >= self.zone.minutes)
            for e in entries
        )


def zone_test(leak_map: LeakMap, source: Source, method: str | None = None) -> ZoneTest | None:
    """The test of a source's own zone and side; none where water cannot be put there, or not find it."""
    zone = leak_map.zones.get(source.place)
    if zone is None:
        return None
    row = leak_map.methods[method or zone.method]
    if source.row.liquid not in row.finds:
        return None
    return ZoneTest(zone, source.side if zone.sided else None, row)


def zone_tests(leak_map: LeakMap, sources: Sequence[int]) -> tuple[ZoneTest, ...]:
    """The tests of all zones that hold one of ``sources``, from the lowest up."""
    found: dict[tuple[str, Side | None], ZoneTest] = {}
    for i in sources:
        test = zone_test(leak_map, leak_map.sources[i])
        if test is not None:
            found.setdefault(test.key, test)
    return tuple(sorted(found.values(), key=lambda t: (t.zone.level, t.zone.id, t.side or "")))


def tells(leak_map: LeakMap, test: ZoneTest, open_prob: Floats, entries: Sequence[Entry]) -> bool:
    """Whether a zone holds something worth testing for, and was not tested: then it goes before those above it."""
    if test.made(entries, DRY) or test.made(entries, LEAK):
        return False
    own = [open_prob[i] for i in _own(leak_map, test)]
    return max(own, default=0.0) >= leak_map.model.worth_testing_prob


def _own(leak_map: LeakMap, test: ZoneTest) -> Iterator[int]:
    for i in leak_map.by_place.get(test.zone.id, ()):
        if matching.side_fits(leak_map.sources[i].side, test.side):
            yield int(i)
