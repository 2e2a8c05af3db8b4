"""From belief to the plan: retests that are due, faults that want proof, then the search in the best order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from fieldnote.records import Entry, Side, Step
from fieldnote.suggest import matching, wording
from fieldnote.suggest.cautions import Cautions
from fieldnote.suggest.closing import Standing
from fieldnote.suggest.leak_map import Floats, LeakMap
from fieldnote.suggest.order import LookChoice, Planner, Problem, TestChoice, together
from fieldnote.suggest.steps import CURED, UNPROVED, StepBook, after_a_find, percent
from fieldnote.suggest.trials import DRY, LEAK
from fieldnote.suggest.zones import ZoneTest, tells, zone_test, zone_tests

MOST_STEPS = 8
MOST_CANDIDATES = 24
"""Candidates beyond these hold too little belief to move the order."""
MOST_SPOTS = 7
"""Looks that are weighed against each other at once; those at one spot behind the same access count as one."""
_HALF = 0.5
_BOTH = 2
_LOW = 0.15
"""A test less likely to leak than this is there for its place in the order, where others lie above it."""
_COVERED_PROB = 0.7
"""From this chance to show on, the order takes a test to cover a spot; the belief uses the chance itself."""


@dataclass(frozen=True, slots=True)
class Spot:
    """Candidates that are looked at together: same place and side, behind the same access."""

    sources: tuple[int, ...]
    weight: float
    look: LookChoice


def make_plan(
    leak_map: LeakMap,
    entries: Sequence[Entry],
    open_prob: Floats,
    standings: Sequence[Standing],
    off: frozenset[int],
    another_prob: float,
    cautions: Cautions,
) -> tuple[Step, ...]:
    """The steps in order, each on the footing that the ones before found nothing.

    ``open_prob`` (sources,) is the chance that each still lets water in, ``another_prob`` that any does. Where all
    that was proved is closed and another is unlikely, the test of the whole vehicle ends the job.
    """
    book = StepBook(leak_map, cautions, sum(1 << i for i in off))
    maker = _Maker(leak_map, entries, open_prob, standings, book)
    maker.retests()
    if standings and all(s.closed for s in standings) and another_prob < _HALF:
        maker.final_test()
        return tuple(book.steps)
    likely = [int(i) for i in np.argsort(-open_prob, kind="stable") if open_prob[i] > 0]
    mended = {s.source for s in standings}
    chosen = [i for i in likely if i not in mended][:MOST_CANDIDATES]
    maker.proofs(chosen)
    maker.search(chosen)
    return tuple(book.steps)


@dataclass
class _Maker:
    leak_map: LeakMap
    entries: Sequence[Entry]
    open_prob: Floats
    standings: Sequence[Standing]
    book: StepBook
    shown: dict[tuple[str, Side | None], Floats] = field(default_factory=dict)
    tells: dict[tuple[str, Side | None], bool] = field(default_factory=dict)

    # ---- what is due -----------------------------------------------------------------------------------------

    def retests(self) -> None:
        """What was repaired and is not closed asks for its retest first."""
        for standing in self.standings:
            if self.wide_repair(standing):
                continue
            source = self.leak_map.sources[standing.source]
            test = zone_test(self.leak_map, source, standing.method)
            zone = self.leak_map.zones.get(standing.place)
            if test is not None and zone is not None:
                test = ZoneTest(zone, source.side if zone.sided else None, test.method)
            if standing.closed or test is None or self.book.planned(test):
                continue
            proved = standing.leaked_min is not None or len(standing.entries) > 1
            result = CURED if proved else UNPROVED
            because = f"{source.row.name}: repaired; {standing.missing}"
            self.book.retest(test, standing.leaked_min or 0.0, because, result)

    def wide_repair(self, standing: Standing) -> bool:
        """Add one retest where a repair named a whole place, both its sides, and no leak there was ever proved."""
        alike = [s for s in self.standings if s.entries == standing.entries and s.place == standing.place]
        sides = {self.leak_map.sources[s.source].side for s in alike} - {None}
        zone = self.leak_map.zones.get(standing.place)
        if standing.leaked_min is not None or len(sides) < _BOTH or zone is None or not zone.sided:
            return False
        test = ZoneTest(zone, None, self.leak_map.methods[standing.method or zone.method])
        if not standing.closed and not self.book.planned(test):
            because = f"{self.leak_map.name('place', zone.id)}: repaired; {standing.missing}"
            self.book.retest(test, zone.minutes * len(sides), f"{because}; one side at a time", UNPROVED)
        return True

    def final_test(self) -> None:
        method = next((m for m in self.leak_map.methods.values() if m.whole and m.water), None)
        last = max((n for n, e in enumerate(self.entries) if e.kind == "repair"), default=-1)
        made = any(
            e.kind == "test" and e.state == DRY and method is not None and e.method == method.id
            for e in self.entries[last + 1 :]
        )
        if method is not None and not made:
            self.book.whole(method, "all that was proved is closed; a second leak may hide behind the first")

    def proofs(self, chosen: Sequence[int]) -> None:
        """A fault that was seen is proved by water through it, before anything else is searched for."""
        for i in chosen:
            test = zone_test(self.leak_map, self.leak_map.sources[i])
            name = self.leak_map.sources[i].row.name
            if test is None or not self.fault_seen(i) or self.book.planned(test):
                continue
            if self.open_prob[i] < self.leak_map.model.worth_testing_prob:
                continue
            if test.made(self.entries, LEAK):
                self.book.retest(test, 0.0, f"{name}: found, and its zone leaked; repair it, then repeat the test")
                continue
            for low in zone_tests(self.leak_map, chosen):
                if self.goes_before(low, test) and not self.book.planned(low):
                    chance = float(self.open_prob @ self.shows(low))
                    self.book.test(
                        low,
                        min(chance, 1.0),
                        "low before high: it lies below the next zone",
                        "Leaks: search here first. Dry: go on above.",
                    )
            self.book.test(
                test,
                float(self.open_prob[i]),
                f"{name}: the fault was found; water through it proves it",
                "Leaks: repair it and repeat this test. Dry: it is a fault, but not this leak.",
            )

    def fault_seen(self, source: int) -> bool:
        """Whether a fault of it was found, or it was stated as the leak, on its own side."""
        mine = self.leak_map.sources[source]
        for entry in self.entries:
            stated = entry.kind == "source" or (entry.kind == "check" and entry.present and entry.state != "ok")
            if not stated or entry.place != mine.place or (entry.side is None and mine.side in ("left", "right")):
                continue
            side = None if entry.side == "both" else entry.side
            known = not mine.row.states or entry.state is None or entry.state in mine.row.states
            if known and matching.at_source(self.leak_map, entry, side)[source] >= 1.0:
                return True
        return False

    # ---- the search ------------------------------------------------------------------------------------------

    def search(self, chosen: Sequence[int]) -> None:
        """Rounds of the best order; what a round has looked at keeps the weight that its looks may have missed."""
        weights = self.open_prob.copy()
        for i in {*(s.source for s in self.standings), *(i for i in chosen if self.fault_seen(i))}:
            weights[i] = 0.0
        looked: set[int] = set()
        while len(self.book.steps) < MOST_STEPS:
            left = [i for i in chosen if i not in looked and weights[i] > 0]
            if not left:
                return
            weights = self.round(left, weights, looked)

    def round(self, left: Sequence[int], weights: Floats, looked: set[int]) -> Floats:
        """One problem of order, walked along the path on which nothing is found."""
        spots = self.spots(left, weights)
        tests = [t for t in zone_tests(self.leak_map, left) if self.wanted(t)]
        planner = Planner(self.problem(spots, tests))
        remaining = planner.everything
        while remaining and len(self.book.steps) < MOST_STEPS:
            action = planner.choose(remaining, self.book.opened)
            assert action is not None
            if action.do == "look":
                for i in spots[action.index].sources:
                    if len(self.book.steps) < MOST_STEPS:
                        weights = self.look(i, weights)
                        looked.add(i)
                remaining &= ~(1 << action.index)
            else:
                test = tests[action.index]
                weights = self.try_zone(test, weights, tests)
                remaining &= ~planner.problem.tests[action.index].zone
                if any(self.too_low(t) for t in tests if not self.book.planned(t)):
                    # What lies below is not tested any more: the rest is weighed anew without those tests.
                    return weights
        return weights

    def wanted(self, test: ZoneTest) -> bool:
        """Whether a test would tell anything new."""
        made = test.made(self.entries, LEAK) or test.made(self.entries, DRY)
        return not made and not self.book.planned(test) and not self.too_low(test)

    def too_low(self, test: ZoneTest) -> bool:
        """Whether the plan has put water on higher on its side already: low goes before high, without exception."""
        return any(
            s.do == "test"
            and s.stage == "find"
            and matching.side_fits(s.side, test.side)
            and self.leak_map.zones[s.place or ""].level > test.zone.level
            for s in self.book.steps
        )

    def spots(self, left: Sequence[int], weights: Floats) -> list[Spot]:
        """Candidates by spot, the likeliest spots first; singles as long as there is room for them."""
        room = len(left) <= MOST_SPOTS
        groups: dict[object, list[int]] = {}
        for i in left:
            source = self.leak_map.sources[i]
            groups.setdefault(i if room else (source.place, source.side, self.leak_map.behind[i]), []).append(i)
        found = [self.spot(group, weights) for group in groups.values()]
        return sorted(found, key=lambda s: (-s.weight, s.sources))[:MOST_SPOTS]

    def spot(self, group: Sequence[int], weights: Floats) -> Spot:
        rows = [self.leak_map.sources[i].row for i in group]
        minutes = [r.look_min / r.look_power_prob for r in rows]
        own = [float(weights[i]) for i in group]
        in_all, found = together(minutes, own)
        needs = sum(1 << o for o in self.leak_map.behind[group[0]])
        order = sorted(range(len(group)), key=lambda n: (-own[n] / minutes[n], n))
        return Spot(tuple(group[n] for n in order), sum(own), LookChoice(in_all, needs, found))

    def problem(self, spots: Sequence[Spot], tests: Sequence[ZoneTest]) -> Problem:
        shows = np.array([self.shows(t) for t in tests]).reshape(len(tests), len(self.leak_map.sources))
        covered = [shows[:, list(s.sources)].mean(axis=1) >= _COVERED_PROB for s in spots]
        choices = []
        for n, test in enumerate(tests):
            lower = tuple(m for m, low in enumerate(tests) if m != n and self.goes_before(low, test))
            zone = sum(1 << k for k, within in enumerate(covered) if within[n])
            choices.append(TestChoice(zone, test.zone.minutes, self.book.needs(test), lower))
        return Problem(
            weights=tuple(s.weight for s in spots),
            looks=tuple(s.look for s in spots),
            open_min=tuple(o.minutes for o in self.leak_map.openings),
            tests=tuple(choices),
        )

    def shows(self, test: ZoneTest) -> Floats:
        """The chance (sources,) that each shows in a test."""
        known = self.shown.get(test.key)
        if known is None:
            known = self.shown[test.key] = test.shows(self.leak_map)
        return known

    def goes_before(self, low: ZoneTest, high: ZoneTest) -> bool:
        """Low before high within a side, as far as the lower zone has something to tell."""
        if low.zone.level >= high.zone.level or not matching.side_fits(low.side, high.side):
            return False
        known = self.tells.get(low.key)
        if known is None:
            known = self.tells[low.key] = tells(self.leak_map, low, self.open_prob, self.entries)
        return known

    def look(self, source: int, weights: Floats) -> Floats:
        self.book.look(source, float(weights[source] / weights.sum()), after_a_find(self.leak_map, source))
        after = weights.copy()
        after[source] *= 1.0 - self.leak_map.sources[source].row.look_power_prob
        return after

    def try_zone(self, test: ZoneTest, weights: Floats, tests: Sequence[ZoneTest]) -> Floats:
        shows = self.shows(test)
        leaks, dry, total = weights * shows, weights * (1.0 - shows), weights.sum()
        chance = float(leaks.sum() / total)
        why = "either result narrows the search"
        if chance < _LOW and any(self.goes_before(test, t) for t in tests):
            why = "water goes on low first, so that none runs over it later"
        then = f"Leaks: {self.leader(leaks)} comes to the front. Dry: {self.leader(dry)} leads."
        self.book.test(test, chance, f"{percent(chance)} that it leaks; {why}", then)
        return np.asarray(dry)

    def leader(self, weights: Floats) -> str:
        """The likeliest source by these weights, with its side and share."""
        i = int(np.argmax(weights))
        source = self.leak_map.sources[i]
        share = percent(float(weights[i] / weights.sum()))
        return f"{wording.sided(source.row.name, source.side)} ({share})"
