"""Looks that found a part good or at fault, and statements that something is the leak."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fieldnote.records import Entry
from fieldnote.suggest import matching, wording
from fieldnote.suggest.leak_map import Floats
from fieldnote.suggest.sheet import ALMOST_ONE, Sheet, less_share


class Looks:
    """The looks so far. What a way of looking has counted against a source counts once."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self.looked: dict[tuple[str, ...], Floats] = {}

    def check(self, entry: Entry) -> None:
        """Read a look."""
        share = self._at_source(entry)
        if not share.any() and entry.state != "ok" and entry.present:
            share = self._beside(entry)
        if not share.any():
            self.sheet.skip(
                entry, f"the map has no source at {wording.spot(self.sheet.leak_map, entry.place, entry.part)}"
            )
        elif entry.state == "ok" or not entry.present:
            self._found_good(entry, share)
        else:
            self._found_fault(entry, share)

    def _at_source(self, entry: Entry) -> Floats:
        return matching.at_source(self.sheet.leak_map, entry, None if entry.side == "both" else entry.side)

    def _beside(self, entry: Entry) -> Floats:
        """A fault of a part that the map does not name there still speaks for the place."""
        share = matching.at_source(
            self.sheet.leak_map, replace(entry, part=None), None if entry.side == "both" else entry.side
        )
        return share * self.sheet.leak_map.model.other_part_share

    def _found_good(self, entry: Entry, share: Floats) -> None:
        """A look that found nothing: what it could have seen counts against the source, once for each way of looking.

        A denied fault ("no pinholes") speaks of its share of the ways to fail only.
        """
        m, rows = self.sheet.leak_map.model, [s.row for s in self.sheet.leak_map.sources]
        power = np.array([r.look_power_prob for r in rows]) * share
        if entry.state != "ok":
            power *= [1.0 / len(r.states) if entry.state in r.states else 0.0 for r in rows]
        if not power.any():
            self.sheet.skip(entry, "the map's sources there do not fail in this way")
            return
        power *= less_share(1.0 if entry.certainty == "sure" else m.unsure_prob, entry.misheard_risk)
        false = np.array([r.look_false_prob for r in rows]) * (power > 0)
        odds = np.log1p(-np.minimum(power, ALMOST_ONE)) - np.log1p(-np.minimum(false * power, ALMOST_ONE))
        way = (*sorted(entry.at), str(self.sheet.stage))
        before = self.looked.get(way, np.zeros(len(odds)))
        more = np.minimum(odds - before, 0.0)
        self.looked[way] = np.minimum(odds, before)
        self.sheet.write(self.sheet.name(entry), (entry.id,), more)

    def _found_fault(self, entry: Entry, share: Floats) -> None:
        """A fault was seen: any source of that place and part that it fits may be the reason."""
        m, rows = self.sheet.leak_map.model, [s.row for s in self.sheet.leak_map.sources]
        kind = np.array([1.0 if entry.state in r.states else m.other_fault_share for r in rows])
        links = np.array([r.look_power_prob for r in rows]) * share * kind
        false = max(float(r.look_false_prob) for r, much in zip(rows, share, strict=True) if much)
        # What is stated outright needs no further doubt: the false chance of the look is in the leak term.
        self.sheet.once(entry, links, false, 1.0 if entry.certainty == "sure" else m.unsure_prob)

    def statement(self, entry: Entry) -> None:
        """Read that something was said to be the leak."""
        m = self.sheet.leak_map.model
        share = self._at_source(entry)
        if not share.any():
            share = self._beside(entry)
        if not share.any():
            where = wording.spot(self.sheet.leak_map, entry.place, entry.part)
            self.sheet.skip(entry, f"the map has no source at {where}; it stays as you said it")
            return
        trust = 1.0 if entry.certainty == "sure" else m.unsure_prob
        self.sheet.once(entry, m.said_source_prob * share / share.max(), m.said_leak_prob, trust)
