"""Reads entries as evidence on the map's sources, in the order spoken.

What each kind of entry says is settled in modules of their own (``signs``, ``looks``, ``trials``), and written down on
one sheet. A source that was repaired counts as another one from then on, with the chance that the repair fails: what
showed before is explained by the first, a leaking retest by the second or by another source altogether.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fieldnote.records import Entry, Unused
from fieldnote.suggest import matching, wording
from fieldnote.suggest.belief import Network, reweigh
from fieldnote.suggest.leak_map import Floats, LeakMap
from fieldnote.suggest.looks import Looks
from fieldnote.suggest.repairs import mended_by
from fieldnote.suggest.sheet import Item, Sheet
from fieldnote.suggest.signs import Signs
from fieldnote.suggest.trials import Trials

_OPENED, _CLOSED = ("removed", "loosened", "lifted"), "refitted"


@dataclass(frozen=True, slots=True)
class Reading:
    """Everything read. ``column`` (sources,) is where each source stands now; n columns in all."""

    prior: Floats
    column: tuple[int, ...]
    items: tuple[Item, ...]
    unused: tuple[Unused, ...]
    off: frozenset[int]
    """Openings that are off now."""
    repaired: frozenset[int]
    """Sources that were repaired."""

    def network(self, items: Sequence[Item] | None = None) -> Network:
        """The network of some of the items; of all where none are given."""
        chosen = self.items if items is None else items
        odds = sum((i.log_odds for i in chosen if i.log_odds is not None), np.zeros(len(self.prior)))
        present = [i for i in chosen if i.links is not None]
        links = np.array([i.links for i in present]).reshape(len(present), len(self.prior))
        return Network(reweigh(self.prior, odds), links, np.array([i.leak_prob for i in present]))


def read(leak_map: LeakMap, entries: Sequence[Entry], prior: Floats | None = None) -> Reading:
    """Read entries in the order spoken. ``prior`` (sources,) replaces the map's own base rates."""
    reader = _Reader(leak_map, leak_map.prior if prior is None else prior)
    reader.plan_columns(entries)
    for entry in entries:
        reader.take(entry)
    return reader.finish()


class _Reader:
    """One reading of a job."""

    def __init__(self, leak_map: LeakMap, base: Floats) -> None:
        self.sheet = Sheet(leak_map, base)
        self.signs, self.looks, self.trials = Signs(self.sheet), Looks(self.sheet), Trials(self.sheet)
        self.off: set[int] = set()
        self.complaints: list[str] = []
        self.fixes: dict[str, Floats] = {}
        """By repair entry: what is repaired by it, (sources,) of 0 and 1."""

    def plan_columns(self, entries: Sequence[Entry]) -> None:
        """Find what every repair mends, so that the width of all arrays is known."""
        for n, entry in enumerate(entries):
            if entry.kind == "repair" and entry.state not in self.sheet.leak_map.model.no_cure:
                mended = mended_by(self.sheet.leak_map, entry, entries[:n])
                self.fixes[entry.id] = mended
                self.sheet.width += int(mended.sum())

    def take(self, entry: Entry) -> None:
        if entry.kind == "fact":
            self.fact(entry)
        elif entry.kind == "plan":
            self.sheet.skip(entry, "still to be done; it says nothing of where the water comes in")
        elif entry.place is None and not (entry.kind == "test" and self.trials.whole(entry)):
            self.sheet.skip(entry, "no place was said")
        elif entry.kind == "evidence":
            self.signs.evidence(entry)
        elif entry.kind == "check":
            self.looks.check(entry)
        elif entry.kind == "test":
            self.trials.test(entry)
        elif entry.kind == "source":
            self.looks.statement(entry)
        elif entry.kind == "access":
            self.access(entry)
        else:
            self.repair(entry)

    def fact(self, entry: Entry) -> None:
        if entry.what == "complaint":
            self.complaints.append(entry.id)
        else:
            self.sheet.skip(entry, "a fact about the job, not about where it leaks")

    def complaint(self) -> Item:
        """That there is a job at all: someone saw water, said or not. It counts while no entry says where."""
        m = self.sheet.leak_map.model
        links = np.zeros(self.sheet.width)
        links[: len(self.sheet.base)] = m.complaint_prob
        text = "the customer complains of a leak" if self.complaints else "the job itself: somebody saw a leak"
        return Item(text, tuple(self.complaints), None, links, m.complaint_leak_prob)

    # ---- work done -------------------------------------------------------------------------------------------

    def access(self, entry: Entry) -> None:
        found = matching.openings_of(self.sheet.leak_map, entry)
        if not found:
            self.sheet.skip(entry, "nothing that the map knows lies behind it")
        elif entry.state == _CLOSED:
            self.off -= set(found)
        elif entry.state in _OPENED:
            self.off |= set(found)

    def repair(self, entry: Entry) -> None:
        mended = self.fixes.get(entry.id)
        if mended is None:
            return
        if not mended.any():
            self.sheet.skip(
                entry, f"the map has no source at {wording.spot(self.sheet.leak_map, entry.place, entry.part)}"
            )
            return
        self.signs.close()
        self.sheet.stage += 1
        shares = self.sheet.base * mended
        for i in np.flatnonzero(mended):
            self.sheet.column[i] = len(self.sheet.prior)
            self.sheet.prior.append(
                (1.0 - self.sheet.leak_map.model.repair_holds_prob) * float(shares[i] / shares.sum())
            )

    def finish(self) -> Reading:
        self.signs.close()
        if not self.sheet.water_seen:
            self.sheet.items.insert(0, self.complaint())
        else:
            for id in self.complaints:
                self.sheet.unused.append(Unused(id, "the water that was seen says more than that there is a complaint"))
        kept = self.within_cap()
        return Reading(
            prior=np.array(self.sheet.prior),
            column=tuple(self.sheet.column),
            items=tuple(kept),
            unused=tuple(self.sheet.unused),
            off=frozenset(self.off),
            repaired=frozenset(i for i, c in enumerate(self.sheet.column) if c != i),
        )

    def within_cap(self) -> list[Item]:
        """Leave out the weakest present findings beyond the cap, and say so."""
        cap = self.sheet.leak_map.model.present_cap
        present = [i for i in self.sheet.items if i.links is not None]
        if len(present) <= cap:
            return self.sheet.items
        weakest = sorted(present, key=_strength)[: len(present) - cap]
        for item in weakest:
            for id in item.entries:
                why = f"more than {cap} present findings; this is one of the {len(weakest)} that tell least"
                self.sheet.unused.append(Unused(id, why))
        return [i for i in self.sheet.items if not any(i is w for w in weakest)]


def _strength(item: Item) -> float:
    """The largest log-likelihood ratio that a present finding gives any source."""
    assert item.links is not None
    return float(np.log1p(-(1.0 - item.leak_prob) * (1.0 - item.links.max())) - np.log(max(item.leak_prob, 1e-12)))
