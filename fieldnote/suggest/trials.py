"""Tests: which sources a dry one speaks against, and which a leaking one may have shown."""

from __future__ import annotations

import numpy as np

from fieldnote.records import Entry
from fieldnote.suggest import matching
from fieldnote.suggest.leak_map import Floats, LeakMap, MethodRow
from fieldnote.suggest.sheet import ALMOST_ONE, Sheet, less_share

LEAK, DRY = "leak", "dry"
"""The results of a test."""


class Trials:
    """The tests so far."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self.last: Entry | None = None

    def whole(self, entry: Entry) -> bool:
        """Whether a test without a place reaches the whole vehicle."""
        row = self.sheet.leak_map.methods.get(entry.method or "")
        return row is not None and row.whole

    def test(self, entry: Entry) -> None:
        """Read a test."""
        method = method_of(self.sheet.leak_map, entry)
        before, self.last = self.last, entry
        if method is None:
            self.sheet.skip(entry, f"the map does not know the method {entry.method!r}")
            return
        share = matching.reach(self.sheet.leak_map, entry, method)
        if not share.any():
            self.sheet.skip(
                entry,
                f"the map has no source that this test reaches from {self.sheet.leak_map.name('place', entry.place)}",
            )
        elif entry.state == DRY:
            self._dry(entry, method, share)
        elif entry.state == LEAK:
            self._leaked(entry, method, share, before)
        else:
            self.sheet.skip(entry, "its result was not said")

    def _dry(self, entry: Entry, method: MethodRow, share: Floats) -> None:
        m = self.sheet.leak_map.model
        long_min = matching.minutes(entry)
        power = matching.power(self.sheet.leak_map, method, m.unsaid_min if long_min is None else long_min) * share
        zone = self.sheet.leak_map.zones.get(entry.place or "")
        if entry.side is None and zone is not None and zone.sided:
            power *= m.unsaid_side_share
        power *= less_share(1.0 if entry.certainty == "sure" else m.unsure_prob, entry.misheard_risk)
        odds = np.log1p(-np.minimum(np.minimum(power, method.clears_prob), ALMOST_ONE))
        self.sheet.write(self.sheet.name(entry), (entry.id,), odds)

    def _leaked(self, entry: Entry, method: MethodRow, share: Floats, before: Entry | None) -> None:
        m = self.sheet.leak_map.model
        self.sheet.water_seen |= method.water
        long_min = max(matching.minutes(entry) or 0.0, m.unsaid_min)
        links = matching.power(self.sheet.leak_map, method, long_min) * share
        links = 1.0 - (1.0 - links) * (1.0 - self._carried(entry, method, before))
        trust = 1.0 if entry.certainty == "sure" else m.unsure_prob
        if method.water:
            self._leaks_again(entry)
        self.sheet.once(entry, links, method.false_alarm_prob, trust)

    def _leaks_again(self, entry: Entry) -> None:
        """A mended place that leaks again says that another source is there: faults of one seam keep company."""
        column, here = self.sheet.column, self.sheet.leak_map.by_place.get(entry.place or "", ())
        mended = [i for i in here if column[i] != i and matching.side_fits(self.sheet.side_of(i), entry.side)]
        key = ("again", entry.place, entry.side)
        if not mended or key in self.sheet.seen:
            return
        self.sheet.seen[key] = len(self.sheet.items)
        odds = np.zeros(len(self.sheet.base))
        for i in here:
            if i not in mended and matching.side_fits(self.sheet.side_of(i), entry.side):
                odds[i] = np.log(self.sheet.leak_map.model.leaks_again_odds)
        self.sheet.write(f"leaks again after the repair: {self.sheet.name(entry)}", (entry.id,), odds)

    def _carried(self, entry: Entry, method: MethodRow, before: Entry | None) -> Floats:
        """Water that shows soon after the hose has moved may come from the zone before."""
        m = self.sheet.leak_map.model
        soon = matching.leaked_after_min(entry)
        none = np.zeros(len(self.sheet.base))
        if before is None or soon is None or soon >= m.carry_min:
            return none
        if (before.place, before.side) == (entry.place, entry.side) or not method.water:
            return none
        earlier = method_of(self.sheet.leak_map, before)
        if earlier is None or not earlier.water:
            return none
        return m.carry_share * matching.reach(self.sheet.leak_map, before, earlier) * method.power_prob


def method_of(leak_map: LeakMap, test: Entry) -> MethodRow | None:
    """The method of a test; where none was said, the usual one of its zone."""
    if test.method is not None:
        return leak_map.methods.get(test.method)
    zone = leak_map.zones.get(test.place or "")
    if zone is not None:
        return leak_map.methods.get(zone.method)
    return next((m for m in leak_map.methods.values() if m.water), None)
