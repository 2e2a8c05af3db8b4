"""Reads entries as evidence on the map's sources: single-source odds, and present findings that several may explain.

Each entry becomes an ``Item``. Dry surfaces, looks found good and dry tests factorise over the sources (log odds);
water that shows, faults found, leaking tests and statements are present findings of the noisy-OR network, except
where one source alone can explain them. A hedge raises a finding's leak term: with trust h in what was said, and a
share b of places that show such a sign at all, it is said in error with chance ``f = (1 - h) / h * b / (1 - b)``, and
the likelihood is ``1 - (1 - f) (1 - leak) prod q``, again a noisy-OR.

A source that was repaired counts as another one from then on, with the chance that the repair fails: what showed
before is explained by the first, a leaking retest by the second or by another source altogether.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from fieldnote.records import Entry, Side, Unused
from fieldnote.suggest import matching, wording
from fieldnote.suggest.belief import Network, reweigh
from fieldnote.suggest.leak_map import Floats, LeakMap, MethodRow

LEAK, DRY = "leak", "dry"
_OPENED, _CLOSED = ("removed", "loosened", "lifted"), "refitted"
_ALMOST_ONE = 1.0 - 1e-9
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


@dataclass
class _Finding:
    """Signs at one cell (place, surface, side) in one stage of the job, gathered before they count."""

    entry: Entry
    ids: list[str]
    links: Floats
    trust: float
    absent: bool


@dataclass
class _Reader:
    leak_map: LeakMap
    base: Floats
    items: list[Item] = field(default_factory=list)
    unused: list[Unused] = field(default_factory=list)
    findings: dict[tuple[object, ...], _Finding] = field(default_factory=dict)
    seen: dict[tuple[object, ...], int] = field(default_factory=dict)
    looked: dict[tuple[str, ...], Floats] = field(default_factory=dict)
    off: set[int] = field(default_factory=set)
    fixes: dict[str, Floats] = field(default_factory=dict)
    """By repair entry: what is repaired by it, (sources,) of 0 and 1."""
    column: list[int] = field(default_factory=list)
    prior: list[float] = field(default_factory=list)
    width: int = 0
    stage: int = 0
    last_test: Entry | None = None
    complaints: list[str] = field(default_factory=list)
    water_seen: bool = False

    # ---- columns ---------------------------------------------------------------------------------------------

    def plan_columns(self, entries: Sequence[Entry]) -> None:
        """Find what every repair mends, so that the width of all arrays is known."""
        self.column, self.prior = list(range(len(self.base))), list(self.base)
        self.width = len(self.base)
        for n, entry in enumerate(entries):
            if entry.kind == "repair" and entry.state not in self.leak_map.model.no_cure:
                mended = mended_by(self.leak_map, entry, entries[:n])
                self.fixes[entry.id] = mended
                self.width += int(mended.sum())

    def spread(self, share: Floats) -> Floats:
        """(sources,) to the columns that stand for them now (n,)."""
        out = np.zeros(self.width)
        out[self.column] = share
        return out

    # ---- entries ---------------------------------------------------------------------------------------------

    def take(self, entry: Entry) -> None:
        if entry.kind == "fact":
            self.fact(entry)
        elif entry.kind == "plan":
            self.skip(entry, "still to be done; it says nothing of where the water comes in")
        elif entry.place is None and not (entry.kind == "test" and self.whole(entry)):
            self.skip(entry, "no place was said")
        elif entry.kind == "evidence":
            self.evidence(entry)
        elif entry.kind == "check":
            self.check(entry)
        elif entry.kind == "test":
            self.test(entry)
        elif entry.kind == "source":
            self.statement(entry)
        elif entry.kind == "access":
            self.access(entry)
        else:
            self.repair(entry)

    def skip(self, entry: Entry, why: str) -> None:
        self.unused.append(Unused(entry.id, why))

    def name(self, entry: Entry) -> str:
        return wording.said(self.leak_map, entry)

    def fact(self, entry: Entry) -> None:
        if entry.what == "complaint":
            self.complaints.append(entry.id)
        else:
            self.skip(entry, "a fact about the job, not about where it leaks")

    def complaint(self) -> Item:
        """That there is a job at all: someone saw water, said or not. It counts while no entry says where."""
        m = self.leak_map.model
        links = np.zeros(self.width)
        links[: len(self.base)] = m.complaint_prob
        text = "the customer complains of a leak" if self.complaints else "the job itself: somebody saw a leak"
        return Item(text, tuple(self.complaints), None, links, m.complaint_leak_prob)

    # ---- signs -----------------------------------------------------------------------------------------------

    def evidence(self, entry: Entry) -> None:
        sign = self.leak_map.signs.get(entry.state or "")
        if sign is None:
            self.skip(entry, f"the map does not know what {entry.state or 'a missing state'!r} says")
        elif entry.place not in self.leak_map.links:
            self.skip(entry, f"no source of the map shows at {self.leak_map.name('place', entry.place)}")
        else:
            sides: tuple[Side | None, ...] = ("left", "right") if entry.side == "both" else (entry.side,)
            for side in sides:
                self.sign(entry, side, sign.trust_prob, absent=entry.present == sign.says_absent)

    def sign(self, entry: Entry, side: Side | None, trust: float, *, absent: bool) -> None:
        """Gather one sign: a cell counts once, as present where any sign of it was seen."""
        place, state, m = str(entry.place), str(entry.state), self.leak_map.model
        cell = (
            place,
            matching.surface(self.leak_map, place, entry.part),
            matching.told_sign(self.leak_map, place, state),
            side,
            self.stage,
        )
        links = self.spread(matching.shows_at(self.leak_map, place, entry.part, side, state))
        hedge = m.sure_prob if entry.certainty == "sure" else m.unsure_prob
        trust = _less(min(trust, hedge), entry.misheard_risk)
        new = _Finding(entry, [entry.id], links, trust, absent)
        old = self.findings.get(cell)
        if old is None or (old.absent and not absent):
            self.findings[cell] = new
        elif old.absent == absent:
            ids = [*old.ids, *(i for i in new.ids if i not in old.ids)]
            best = replace(new, ids=ids) if new.trust > old.trust else replace(old, ids=ids)
            self.findings[cell] = replace(best, links=np.maximum(old.links, new.links))
        else:
            self.skip(entry, "water was seen at the same place before; the dry surface does not undo it")

    def close_findings(self) -> None:
        """Turn the gathered cells of this stage into items."""
        m = self.leak_map.model
        sided = {cell[:3] for cell, f in self.findings.items() if cell[3] is not None and not f.absent}
        for cell, f in self.findings.items():
            if not f.links.any():
                for id in f.ids:
                    self.unused.append(Unused(id, "no source of the map shows there in this way"))
            elif f.absent:
                seen = m.absent_sure_prob if f.entry.certainty == "sure" else m.absent_unsure_prob
                odds = np.log1p(-np.minimum(_less_share(seen, f.entry.misheard_risk) * f.links, _ALMOST_ONE))
                self.items.append(Item(self.name(f.entry), tuple(f.ids), odds))
            elif cell[3] is None and cell[:3] in sided:
                for id in f.ids:
                    self.unused.append(Unused(id, "the same sign was said with its side, which tells more"))
            else:
                self.water_seen = True
                self.present(self.name(f.entry), tuple(f.ids), f.links, m.finding_leak_prob, f.trust)
        self.findings.clear()

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

    # ---- looks and statements --------------------------------------------------------------------------------

    def check(self, entry: Entry) -> None:
        share = self.both_sides(entry)
        if not share.any() and entry.state != "ok" and entry.present:
            share = self.beside(entry)
        if not share.any():
            self.skip(entry, f"the map has no source at {wording.spot(self.leak_map, entry.place, entry.part)}")
        elif entry.state == "ok" or not entry.present:
            self.found_good(entry, share)
        else:
            self.found_fault(entry, share)

    def both_sides(self, entry: Entry) -> Floats:
        return matching.at_source(self.leak_map, entry, None if entry.side == "both" else entry.side)

    def beside(self, entry: Entry) -> Floats:
        """A fault of a part that the map does not name there still speaks for the place."""
        share = matching.at_source(
            self.leak_map, replace(entry, part=None), None if entry.side == "both" else entry.side
        )
        return share * self.leak_map.model.other_part_share

    def found_good(self, entry: Entry, share: Floats) -> None:
        """A look that found nothing: what it could have seen counts against the source, once for each way of looking.

        A denied fault ("no pinholes") speaks of its share of the ways to fail only.
        """
        m, rows = self.leak_map.model, [s.row for s in self.leak_map.sources]
        power = np.array([r.look_power_prob for r in rows]) * share
        if entry.state != "ok":
            power *= [1.0 / len(r.states) if entry.state in r.states else 0.0 for r in rows]
        if not power.any():
            self.skip(entry, "the map's sources there do not fail in this way")
            return
        power *= _less_share(1.0 if entry.certainty == "sure" else m.unsure_prob, entry.misheard_risk)
        false = np.array([r.look_false_prob for r in rows]) * (power > 0)
        odds = np.log1p(-np.minimum(power, _ALMOST_ONE)) - np.log1p(-np.minimum(false * power, _ALMOST_ONE))
        way = (*sorted(entry.at), str(self.stage))
        before = self.looked.get(way, np.zeros(len(odds)))
        more = np.minimum(odds - before, 0.0)
        self.looked[way] = np.minimum(odds, before)
        self.items.append(Item(self.name(entry), (entry.id,), self.spread(more)))

    def found_fault(self, entry: Entry, share: Floats) -> None:
        """A fault was seen: any source of that place and part that it fits may be the reason."""
        m, rows = self.leak_map.model, [s.row for s in self.leak_map.sources]
        kind = np.array([1.0 if entry.state in r.states else m.other_fault_share for r in rows])
        links = np.array([r.look_power_prob for r in rows]) * share * kind
        false = max(float(r.look_false_prob) for r, much in zip(rows, share, strict=True) if much)
        # What is stated outright needs no further doubt: the false chance of the look is in the leak term.
        self.once(entry, links, false, 1.0 if entry.certainty == "sure" else m.unsure_prob)

    def statement(self, entry: Entry) -> None:
        m = self.leak_map.model
        share = self.both_sides(entry)
        if not share.any():
            share = self.beside(entry)
        if not share.any():
            where = wording.spot(self.leak_map, entry.place, entry.part)
            self.skip(entry, f"the map has no source at {where}; it stays as you said it")
            return
        trust = 1.0 if entry.certainty == "sure" else m.unsure_prob
        self.once(entry, m.said_source_prob * share / share.max(), m.said_leak_prob, trust)

    def once(self, entry: Entry, links: Floats, leak: float, trust: float) -> None:
        """A present finding; said again it counts once."""
        key = (entry.kind, entry.place, entry.part, entry.side, entry.state, entry.method, entry.masked, self.stage)
        if key in self.seen:
            old = self.items[self.seen[key]]
            self.items[self.seen[key]] = replace(old, entries=(*old.entries, entry.id))
            return
        self.seen[key] = len(self.items)
        self.present(self.name(entry), (entry.id,), self.spread(links), leak, _less(trust, entry.misheard_risk))

    # ---- tests -----------------------------------------------------------------------------------------------

    def whole(self, entry: Entry) -> bool:
        row = self.leak_map.methods.get(entry.method or "")
        return row is not None and row.whole

    def test(self, entry: Entry) -> None:
        method = method_of(self.leak_map, entry)
        before, self.last_test = self.last_test, entry
        if method is None:
            self.skip(entry, f"the map does not know the method {entry.method!r}")
            return
        share = matching.reach(self.leak_map, entry, method)
        if not share.any():
            self.skip(
                entry, f"the map has no source that this test reaches from {self.leak_map.name('place', entry.place)}"
            )
        elif entry.state == DRY:
            self.dry(entry, method, share)
        elif entry.state == LEAK:
            self.leaked(entry, method, share, before)
        else:
            self.skip(entry, "its result was not said")

    def dry(self, entry: Entry, method: MethodRow, share: Floats) -> None:
        m = self.leak_map.model
        long_min = matching.minutes(entry)
        power = matching.power(self.leak_map, method, m.unsaid_min if long_min is None else long_min) * share
        zone = self.leak_map.zones.get(entry.place or "")
        if entry.side is None and zone is not None and zone.sided:
            power *= m.unsaid_side_share
        power *= _less_share(1.0 if entry.certainty == "sure" else m.unsure_prob, entry.misheard_risk)
        odds = np.log1p(-np.minimum(np.minimum(power, method.clears_prob), _ALMOST_ONE))
        self.items.append(Item(self.name(entry), (entry.id,), self.spread(odds)))

    def leaked(self, entry: Entry, method: MethodRow, share: Floats, before: Entry | None) -> None:
        m = self.leak_map.model
        self.water_seen |= method.water
        long_min = max(matching.minutes(entry) or 0.0, m.unsaid_min)
        links = matching.power(self.leak_map, method, long_min) * share
        links = 1.0 - (1.0 - links) * (1.0 - self.carried(entry, method, before))
        trust = 1.0 if entry.certainty == "sure" else m.unsure_prob
        if method.water:
            self.leaks_again(entry)
        self.once(entry, links, method.false_alarm_prob, trust)

    def leaks_again(self, entry: Entry) -> None:
        """A mended place that leaks again says that another source is there: faults of one seam keep company."""
        here = self.leak_map.by_place.get(entry.place or "", ())
        mended = [i for i in here if self.column[i] != i and matching.side_fits(self.side_of(i), entry.side)]
        key = ("again", entry.place, entry.side)
        if not mended or key in self.seen:
            return
        self.seen[key] = len(self.items)
        odds = np.zeros(len(self.base))
        for i in here:
            if i not in mended and matching.side_fits(self.side_of(i), entry.side):
                odds[i] = np.log(self.leak_map.model.leaks_again_odds)
        self.items.append(Item(f"leaks again after the repair: {self.name(entry)}", (entry.id,), self.spread(odds)))

    def side_of(self, source: int) -> Side | None:
        return self.leak_map.sources[source].side

    def carried(self, entry: Entry, method: MethodRow, before: Entry | None) -> Floats:
        """Water that shows soon after the hose has moved may come from the zone before."""
        m = self.leak_map.model
        soon = matching.quantity_min(entry, "time-to-leak")
        none = np.zeros(len(self.base))
        if before is None or soon is None or soon >= m.carry_min:
            return none
        if (before.place, before.side) == (entry.place, entry.side) or not method.water:
            return none
        earlier = method_of(self.leak_map, before)
        if earlier is None or not earlier.water:
            return none
        return m.carry_share * matching.reach(self.leak_map, before, earlier) * method.power_prob

    # ---- work done -------------------------------------------------------------------------------------------

    def access(self, entry: Entry) -> None:
        found = matching.openings_of(self.leak_map, entry)
        if not found:
            self.skip(entry, "nothing that the map knows lies behind it")
        elif entry.state == _CLOSED:
            self.off -= set(found)
        elif entry.state in _OPENED:
            self.off |= set(found)

    def repair(self, entry: Entry) -> None:
        mended = self.fixes.get(entry.id)
        if mended is None:
            return
        if not mended.any():
            self.skip(entry, f"the map has no source at {wording.spot(self.leak_map, entry.place, entry.part)}")
            return
        self.close_findings()
        self.stage += 1
        shares = self.base * mended
        for i in np.flatnonzero(mended):
            self.column[i] = len(self.prior)
            self.prior.append((1.0 - self.leak_map.model.repair_holds_prob) * float(shares[i] / shares.sum()))

    def finish(self) -> Reading:
        self.close_findings()
        if not self.water_seen:
            self.items.insert(0, self.complaint())
        else:
            for id in self.complaints:
                self.unused.append(Unused(id, "the water that was seen says more than that there is a complaint"))
        kept = self.within_cap()
        return Reading(
            prior=np.array(self.prior),
            column=tuple(self.column),
            items=tuple(kept),
            unused=tuple(self.unused),
            off=frozenset(self.off),
            repaired=frozenset(i for i, c in enumerate(self.column) if c != i),
        )

    def within_cap(self) -> list[Item]:
        """Leave out the weakest present findings beyond the cap, and say so."""
        cap = self.leak_map.model.present_cap
        present = [i for i in self.items if i.links is not None]
        if len(present) <= cap:
            return self.items
        weakest = sorted(present, key=_strength)[: len(present) - cap]
        for item in weakest:
            for id in item.entries:
                why = f"more than {cap} present findings; this is one of the {len(weakest)} that tell least"
                self.unused.append(Unused(id, why))
        return [i for i in self.items if not any(i is w for w in weakest)]


def _strength(item: Item) -> float:
    """The largest log-likelihood ratio that a present finding gives any source."""
    assert item.links is not None
    return float(np.log1p(-(1.0 - item.leak_prob) * (1.0 - item.links.max())) - np.log(max(item.leak_prob, 1e-12)))


def _less(trust: float, misheard_risk: float | None) -> float:
    """Trust drawn towards 0.5 by the chance that the words were misheard."""
    return 0.5 + (trust - 0.5) * (1.0 - (misheard_risk or 0.0))


def _less_share(share: float, misheard_risk: float | None) -> float:
    return share * (1.0 - (misheard_risk or 0.0))


def method_of(leak_map: LeakMap, test: Entry) -> MethodRow | None:
    """The method of a test; where none was said, the usual one of its zone."""
    if test.method is not None:
        return leak_map.methods.get(test.method)
    zone = leak_map.zones.get(test.place or "")
    if zone is not None:
        return leak_map.methods.get(zone.method)
    return next((m for m in leak_map.methods.values() if m.water), None)


def mended_by(leak_map: LeakMap, repair: Entry, earlier: Sequence[Entry]) -> Floats:
    """What a repair mends, (sources,) of 0 and 1: of what it names, that of which a fault was found or stated."""
    side = repair.side or _side_said(repair, earlier)
    named = matching.at_source(leak_map, repair, None if side == "both" else side) > 0
    proved = any(e.place == repair.place and (e.kind == "source" or e.state == LEAK) for e in earlier)
    if proved and not named.any() and repair.part is not None:
        # The zone leaked, and what was mended there is a part that the map does not name.
        named = matching.at_source(leak_map, replace(repair, part=None), None if side == "both" else side) > 0
    faulty = np.zeros(len(named), dtype=bool)
    for entry in earlier:
        stated = entry.kind == "source" or (entry.kind == "check" and entry.state != "ok" and entry.present)
        if stated and entry.place == repair.place:
            shared = entry.side or side
            faulty |= matching.at_source(leak_map, entry, None if shared == "both" else shared) > 0
    chosen = named & faulty if (named & faulty).any() else named
    return chosen.astype(np.float64)


def _side_said(repair: Entry, earlier: Sequence[Entry]) -> Side | None:
    """The side last said of the repaired place by a fault, a statement or a leaking test."""
    for entry in reversed(earlier):
        if entry.place == repair.place and entry.side and entry.kind in ("check", "source", "test"):
            return entry.side
    return None
