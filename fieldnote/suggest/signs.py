"""Signs of water, and dry surfaces: gathered by cell (place, surface, side) and stage, since a cell counts once."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fieldnote.records import Entry, Side, Unused
from fieldnote.suggest import matching
from fieldnote.suggest.leak_map import Floats
from fieldnote.suggest.sheet import ALMOST_ONE, Item, Sheet, less, less_share


@dataclass
class _Finding:
    """Signs at one cell (place, surface, side) in one stage of the job, gathered before they count."""

    entry: Entry
    ids: list[str]
    links: Floats
    trust: float
    absent: bool


class Signs:
    """The signs of the stage that is being read."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self.findings: dict[tuple[object, ...], _Finding] = {}

    def evidence(self, entry: Entry) -> None:
        """Read a sign, on both sides where both were named."""
        sign = self.sheet.leak_map.signs.get(entry.state or "")
        if sign is None:
            self.sheet.skip(entry, f"the map does not know what {entry.state or 'a missing state'!r} says")
        elif entry.place not in self.sheet.leak_map.links:
            self.sheet.skip(entry, f"no source of the map shows at {self.sheet.leak_map.name('place', entry.place)}")
        else:
            sides: tuple[Side | None, ...] = ("left", "right") if entry.side == "both" else (entry.side,)
            for side in sides:
                self._sign(entry, side, sign.trust_prob, absent=entry.present == sign.says_absent)

    def _sign(self, entry: Entry, side: Side | None, trust: float, *, absent: bool) -> None:
        """Gather one sign: a cell counts once, as present where any sign of it was seen."""
        place, state, m = str(entry.place), str(entry.state), self.sheet.leak_map.model
        cell = (
            place,
            matching.surface(self.sheet.leak_map, place, entry.part),
            matching.told_sign(self.sheet.leak_map, place, state),
            side,
            self.sheet.stage,
        )
        links = self.sheet.spread(matching.shows_at(self.sheet.leak_map, place, entry.part, side, state))
        hedge = m.sure_prob if entry.certainty == "sure" else m.unsure_prob
        trust = less(min(trust, hedge), entry.misheard_risk)
        new = _Finding(replace(entry, side=side), [entry.id], links, trust, absent)
        old = self.findings.get(cell)
        if old is None or (old.absent and not absent):
            self.findings[cell] = new
        elif old.absent == absent:
            ids = [*old.ids, *(i for i in new.ids if i not in old.ids)]
            best = replace(new, ids=ids) if new.trust > old.trust else replace(old, ids=ids)
            self.findings[cell] = replace(best, links=np.maximum(old.links, new.links))
        else:
            self.sheet.skip(entry, "water was seen at the same place before; the dry surface does not undo it")

    def close(self) -> None:
        """Turn the gathered cells of this stage into items."""
        m = self.sheet.leak_map.model
        sided = {cell[:3] for cell, f in self.findings.items() if cell[3] is not None and not f.absent}
        for cell, f in self.findings.items():
            if not f.links.any():
                for id in f.ids:
                    self.sheet.unused.append(Unused(id, "no source of the map shows there in this way"))
            elif f.absent:
                seen = m.absent_sure_prob if f.entry.certainty == "sure" else m.absent_unsure_prob
                odds = np.log1p(-np.minimum(less_share(seen, f.entry.misheard_risk) * f.links, ALMOST_ONE))
                self.sheet.items.append(Item(self.sheet.name(f.entry), tuple(f.ids), odds))
            elif cell[3] is None and cell[:3] in sided:
                for id in f.ids:
                    self.sheet.unused.append(Unused(id, "the same sign was said with its side, which tells more"))
            else:
                self.sheet.water_seen = True
                self.sheet.present(self.sheet.name(f.entry), tuple(f.ids), f.links, m.finding_leak_prob, f.trust)
        self.findings.clear()
