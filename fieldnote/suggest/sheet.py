"""What entries say, item by item, as it is written down while they are read.

Each entry becomes an ``Item``. Dry surfaces, looks found good and dry tests factorise over the sources (log odds);
water that shows, faults found, leaking tests and statements are present findings of the noisy-OR network, except
where one source alone can explain them. A hedge raises a finding's leak term: with trust h in what was said, and a
share b of places that show such a sign at all, it is said in error with chance ``f = (1 - h) / h * b / (1 - b)``, and
the likelihood is ``1 - (1 - f) (1 - leak) prod q``, again a noisy-OR.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from fieldnote.records import Entry, Side, Unused
from fieldnote.suggest import wording
from fieldnote.suggest.leak_map import Floats, LeakMap

ALMOST_ONE = 1.0 - 1e-9
_LEAST_LEAK = 1e-9
"""Nothing said is taken for impossible, whatever the map holds."""


@dataclass(frozen=True, slots=True)
class Item:
    """What one or more entries say. Either ``log_odds`` (n,), or ``links`` (n,) with ``leak``."""

    text: str
    entries: tuple[str, ...]
    log_odds: Floats | None = None
    links: Floats | None = None
    leak_prob: float = 0.0


@dataclass
class Sheet:
    """The items so far, over ``width`` columns; ``column`` (sources,) is where each source stands now.

    ``stage`` counts repairs: what is said after one is another finding than what was said before.
    """

    leak_map: LeakMap
    base: Floats
    column: list[int] = field(default_factory=list)
    prior: list[float] = field(default_factory=list)
    width: int = 0
    stage: int = 0
    items: list[Item] = field(default_factory=list)
    unused: list[Unused] = field(default_factory=list)
    seen: dict[tuple[object, ...], int] = field(default_factory=dict)
    water_seen: bool = False

    def __post_init__(self) -> None:
        self.column, self.prior = list(range(len(self.base))), list(self.base)
        self.width = len(self.base)

    def spread(self, share: Floats) -> Floats:
        """(sources,) to the columns that stand for them now (n,)."""
        out = np.zeros(self.width)
        out[self.column] = share
        return out

    def skip(self, entry: Entry, why: str) -> None:
        """Say that an entry was not used, and why."""
        self.unused.append(Unused(entry.id, why))

    def name(self, entry: Entry) -> str:
        """An entry as a reason names it."""
        return wording.said(self.leak_map, entry)

    def side_of(self, source: int) -> Side | None:
        """The side that a source is on."""
        return self.leak_map.sources[source].side

    def write(self, text: str, ids: tuple[str, ...], log_odds: Floats) -> None:
        """Add what bears on single sources: ``log_odds`` (sources,)."""
        self.items.append(Item(text, ids, self.spread(log_odds)))

    def present(self, text: str, ids: tuple[str, ...], links: Floats, leak: float, trust: float) -> None:
        """Add a present finding; one that a single source alone explains becomes its odds."""
        base = self.leak_map.model.finding_base_prob
        in_error = min(1.0, (1.0 - trust) / trust * base / (1.0 - base))
        hedged = 1.0 - (1.0 - in_error) * (1.0 - leak)
        linked = np.flatnonzero(links)
        if len(linked) == 1:
            odds = np.zeros(self.width)
            i = linked[0]
            odds[i] = np.log1p(-(1.0 - hedged) * (1.0 - links[i])) - np.log(max(hedged, 1e-12))
            self.items.append(Item(text, ids, odds))
        else:
            self.items.append(Item(text, ids, None, links, max(hedged, _LEAST_LEAK)))

    def once(self, entry: Entry, links: Floats, leak: float, trust: float) -> None:
        """A present finding; said again it counts once."""
        key = (entry.kind, entry.place, entry.part, entry.side, entry.state, entry.method, entry.masked, self.stage)
        if key in self.seen:
            old = self.items[self.seen[key]]
            self.items[self.seen[key]] = replace(old, entries=(*old.entries, entry.id))
            return
        self.seen[key] = len(self.items)
        self.present(self.name(entry), (entry.id,), self.spread(links), leak, less(trust, entry.misheard_risk))


def less(trust: float, misheard_risk: float | None) -> float:
    """Trust drawn towards 0.5 by the chance that the words were misheard."""
    return 0.5 + (trust - 0.5) * (1.0 - (misheard_risk or 0.0))


def less_share(share: float, misheard_risk: float | None) -> float:
    """A share drawn towards 0 by the same chance."""
    return share * (1.0 - (misheard_risk or 0.0))
