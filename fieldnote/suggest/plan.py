"""From belief to steps: which looks and tests come next, with minutes, what must come off, and cautions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from fieldnote.records import Entry, Side, Step
from fieldnote.suggest import matching, wording
from fieldnote.suggest.cautions import Cautions
from fieldnote.suggest.closing import Standing
from fieldnote.suggest.leak_map import Floats, LeakMap, MethodRow, Zone
from fieldnote.suggest.load import openings_needed
from fieldnote.suggest.order import Action, Planner, Problem, TestChoice, Weights, split
from fieldnote.suggest.reading import LEAK, Reading

MOST_STEPS = 8
MOST_CANDIDATES = 12
"""Candidates beyond these hold too little belief to move the order."""


@dataclass(frozen=True, slots=True)
class ZoneTest:
    """Water on one zone and side for long enough."""

    zone: Zone
    side: Side | None
    method: MethodRow

    @property
    def entry(self) -> Entry:
        """The test as an entry, to reckon what it reaches."""
        return Entry(kind="test", place=self.zone.id, side=self.side, method=self.method.id)


@dataclass
class PlanMaker:
    """Turns the belief of one job into steps. ``open_prob`` (sources,) is the chance that each still lets water in."""

    leak_map: LeakMap
    reading: Reading
    open_prob: Floats
    standings: Sequence[Standing]
    entries: Sequence[Entry]
    cautions: Cautions
    opened: int = 0
    steps: list[Step] = field(default_factory=list)

    def make(self) -> tuple[Step, ...]:
        """The steps in order, each on the footing that the ones before found nothing."""
        self.opened = sum(1 << i for i in self.reading.off)
        for standing in self.standings:
            self.retest(standing)
        closed = {s.source for s in self.standings}
        likely = np.argsort(-self.open_prob, kind="stable")
        chosen = [int(i) for i in likely if int(i) not in closed and self.open_prob[i] > 0][:MOST_CANDIDATES]
        if not chosen:
            return tuple(self.steps)
        seen = [i for i in chosen if self.fault_seen(i)]
        tests = list(self.zone_tests(chosen))
        problem = self.problem(chosen, tests)
        self.prove(seen, chosen, tests)
        self.search(problem, chosen, tests, frozenset(chosen.index(i) for i in seen))
        return tuple(self.steps)

    # ---- what is known already -------------------------------------------------------------------------------

    def fault_seen(self, source: int) -> bool:
        """Whether a fault of it was found, or it was stated as the leak, on its own side."""
        mine = self.leak_map.sources[source]
        for entry in self.entries:
            stated = entry.kind == "source" or (entry.kind == "check" and entry.present and entry.state != "ok")
            if stated and entry.place == mine.place and (entry.side is not None or mine.side is None):
                side = None if entry.side == "both" else entry.side
                fits = not mine.row.states or entry.state is None or entry.state in mine.row.states
                if fits and matching.at_source(self.leak_map, entry, side)[source] >= 1.0:
                    return True
        return False

    def leaked(self, test: ZoneTest) -> bool:
        """Whether the zone was seen to leak on that side."""
        return any(
            e.kind == "test" and e.state == LEAK and e.place == test.zone.id and matching.side_fits(test.side, e.side)
            for e in self.entries
        )

    def dry_long_enough(self, test: ZoneTest) -> bool:
        """Whether the zone was dry on that side for enough minutes."""
        return any(
            e.kind == "test"
            and e.state == "dry"
            and e.place == test.zone.id
            and matching.side_fits(test.side, e.side)
            and (matching.minutes(e) or 0.0) >= test.zone.minutes
            for e in self.entries
        )

    # ---- the problem of order --------------------------------------------------------------------------------

    def zone_tests(self, chosen: Sequence[int]) -> Iterator[ZoneTest]:
        """A test of every zone that holds a candidate, by side where the zone has sides."""
        found: dict[tuple[str, Side | None], ZoneTest] = {}
        for i in chosen:
            source = self.leak_map.sources[i]
            zone = self.leak_map.zones.get(source.place)
            if zone is None:
                continue
            method = self.leak_map.methods[zone.method]
            if source.row.liquid not in method.finds:
                continue
            side = source.side if zone.sided else None
            found.setdefault((zone.id, side), ZoneTest(zone, side, method))
        yield from sorted(found.values(), key=lambda t: (t.zone.level, t.zone.id, t.side or ""))

    def problem(self, chosen: Sequence[int], tests: Sequence[ZoneTest]) -> Problem:
        """The candidates and tests as a problem of order."""
        rows = [self.leak_map.sources[i].row for i in chosen]
        return Problem(
            look_min=tuple(r.look_min for r in rows),
            finds=tuple(r.look_power_prob for r in rows),
            needs=tuple(sum(1 << o for o in self.leak_map.behind[i]) for i in chosen),
            open_min=tuple(o.minutes for o in self.leak_map.openings),
            tests=tuple(self.choice(test, chosen, tests) for test in tests),
        )

    def choice(self, test: ZoneTest, chosen: Sequence[int], tests: Sequence[ZoneTest]) -> TestChoice:
        power = matching.power(self.leak_map, test.method, test.zone.minutes)
        reach = (matching.reach(self.leak_map, test.entry, test.method) * power)[list(chosen)]
        needs = openings_needed(self.leak_map.openings, test.zone.access, test.side)
        return TestChoice(
            reach=tuple(float(r) for r in reach),
            minutes=test.zone.minutes,
            needs=sum(1 << o for o in needs),
            lower=tuple(n for n, other in enumerate(tests) if self.goes_before(other, test, chosen)),
        )

    def goes_before(self, low: ZoneTest, high: ZoneTest, chosen: Sequence[int]) -> bool:
        """Low before high within a side, as far as the lower zone holds something worth testing for."""
        if low.zone.level >= high.zone.level or not matching.side_fits(low.side, high.side):
            return False
        if self.dry_long_enough(low) or self.leaked(low):
            return False
        own = [self.open_prob[i] for i in chosen if self.leak_map.sources[i].place == low.zone.id]
        return max(own, default=0.0) >= self.leak_map.model.worth_testing_prob

    # ---- steps -----------------------------------------------------------------------------------------------

    def retest(self, standing: Standing) -> None:
        """A repaired source that is not closed asks for its retest first."""
        zone = self.leak_map.zones.get(standing.place)
        if standing.closed or zone is None:
            return
        method = self.leak_map.methods[standing.method or zone.method]
        source = self.leak_map.sources[standing.source]
        test = ZoneTest(zone, source.side if zone.sided else None, method)
        long_min = max(standing.leaked_min or 0.0, zone.minutes)
        step = replace(
            self.test_step(test, 1.0 - self.leak_map.model.repair_holds_prob),
            stage="verify",
            because=f"{source.row.name} was repaired; {standing.missing}",
            would_change="Dry: it counts as cured. Leaks: the repair failed, or there is another leak.",
        )
        extra = long_min - zone.minutes
        if not any(s.stage == "verify" and (s.place, s.side) == (step.place, step.side) for s in self.steps):
            self.add(replace(step, minutes=step.minutes + extra))

    def prove(self, seen: Sequence[int], chosen: Sequence[int], tests: Sequence[ZoneTest]) -> None:
        """A fault that was seen is proved by water through it, before anything else is searched for."""
        for i in seen:
            source = self.leak_map.sources[i]
            for n, test in enumerate(tests):
                own = test.zone.id == source.place and matching.side_fits(test.side, source.side)
                planned = any((s.do, s.place, s.side) == ("test", test.zone.id, test.side) for s in self.steps)
                if not own or planned or self.open_prob[i] < self.leak_map.model.worth_testing_prob:
                    continue
                if self.leaked(test):
                    step = replace(
                        self.test_step(test, 1.0 - self.leak_map.model.repair_holds_prob),
                        stage="verify",
                        because=f"after the repair: {source.row.name} was found and the zone leaked",
                        would_change="Dry: it counts as cured. Leaks: the repair failed, or there is another leak.",
                    )
                    self.add(step)
                    continue
                for low in self.choice(tests[n], chosen, tests).lower:
                    if not any((s.do, s.place, s.side) == ("test", tests[low].zone.id, tests[low].side) for s in self.steps):
                        self.add(
                            replace(self.test_step(tests[low], 0.0), because="low before high: it lies below the next zone")
                        )
                self.add(
                    replace(
                        self.test_step(test, float(self.open_prob[i])),
                        because=f"{source.row.name}: the fault was found; water through it proves it",
                        would_change="Leaks: repair it and repeat this test. Dry: it is a fault, but not this leak.",
                    )
                )

    def search(
        self, problem: Problem, chosen: Sequence[int], tests: Sequence[ZoneTest], seen: frozenset[int]
    ) -> None:
        planner = Planner(problem)
        weights = self.normal([0.0 if n in seen else float(self.open_prob[i]) for n, i in enumerate(chosen)])
        done = {
            n
            for n, t in enumerate(tests)
            if any((s.do, s.place, s.side) == ("test", t.zone.id, t.side) for s in self.steps) or self.leaked(t)
        }
        looked: set[int] = set()
        while len(self.steps) < MOST_STEPS:
            left = tuple(0.0 if n in looked else w for n, w in enumerate(weights))
            action = planner.choose(left, self.opened, frozenset(done))
            if action is None:
                return
            if action.do == "look":
                self.look(chosen[action.index], weights, action, planner, frozenset(done), looked)
                looked.add(action.index)
                finds = problem.finds[action.index]
                weights = tuple(w * (1.0 - finds) if n == action.index else w for n, w in enumerate(weights))
            else:
                self.try_zone(tests[action.index], action, planner, weights, chosen, looked)
                done.add(action.index)
                weights = split(weights, problem.tests[action.index].reach)[1]
            weights = self.normal(weights)

    @staticmethod
    def normal(weights: Sequence[float]) -> Weights:
        total = sum(weights)
        return tuple(w / total for w in weights) if total > 0 else tuple(weights)

    def look(
        self,
        source: int,
        weights: Weights,
        action: Action,
        planner: Planner,
        done: frozenset[int],
        looked: set[int],
    ) -> None:
        row, side = self.leak_map.sources[source].row, self.leak_map.sources[source].side
        opens, spent = self.open_up(planner.problem.needs[action.index])
        chance = weights[action.index] * planner.problem.finds[action.index]
        zone = self.leak_map.zones.get(row.place)
        then = "prove it with water on its zone" if zone is not None else "repair it and see whether it stays dry"
        self.add(
            Step(
                step=0,
                do="look",
                place=row.place,
                part=row.part or None,
                side=side,
                method=None,
                minutes=round(row.look_min + spent, 1),
                opens=opens,
                cautions=self.cautions_for(row.place, row.part, {"look"}, opens, planner.problem.needs[action.index]),
                because=f"{row.name}: {self.percent(weights[action.index])} of what is left to find",
                would_change=f"Fault found: {then}. Nothing found: it still keeps "
                f"{self.percent(1.0 - row.look_power_prob)} of its weight, since a look may miss it.",
                name=row.name,
                probability=round(chance, 4),
            )
        )

    def try_zone(
        self,
        test: ZoneTest,
        action: Action,
        planner: Planner,
        weights: Weights,
        chosen: Sequence[int],
        looked: set[int],
    ) -> None:
        leaks, dry = split(weights, planner.problem.tests[action.index].reach)
        total = sum(weights) or 1.0
        best = max(range(len(chosen)), key=lambda n: leaks[n])
        left = max(range(len(chosen)), key=lambda n: dry[n])
        first, other = (self.leak_map.sources[chosen[n]] for n in (best, left))
        step = self.test_step(test, sum(leaks) / total)
        self.add(
            replace(
                step,
                because=f"{self.percent(sum(leaks) / total)} that it leaks here; either result narrows the search",
                would_change=f"Leaks: {first.row.name} comes to the front ({self.percent(leaks[best] / max(sum(leaks), 1e-12))}). "
                f"Dry: {other.row.name} leads ({self.percent(dry[left] / max(sum(dry), 1e-12))}).",
            )
        )

    def test_step(self, test: ZoneTest, chance: float) -> Step:
        needs = openings_needed(self.leak_map.openings, test.zone.access, test.side)
        bits = sum(1 << n for n in needs)
        opens, spent = self.open_up(bits)
        return Step(
            step=0,
            do="test",
            place=test.zone.id,
            part=None,
            side=test.side,
            method=test.method.id,
            minutes=round(test.zone.minutes + spent, 1),
            opens=opens,
            cautions=self.cautions_for(test.zone.id, "", {"test", test.method.id}, opens, bits),
            name=wording.spot(self.leak_map, test.zone.id, None, test.side),
            probability=round(chance, 4),
        )

    def open_up(self, bits: int) -> tuple[tuple[str, ...], float]:
        """What of ``bits`` is still on, by name, and the minutes to take it off and put it back."""
        new = [o for i, o in enumerate(self.leak_map.openings) if bits >> i & 1 and not self.opened >> i & 1]
        self.opened |= bits
        return tuple(self.opening_name(o.row.name, o.side) for o in new), sum(o.minutes for o in new)

    @staticmethod
    def opening_name(name: str, side: Side | None) -> str:
        return f"{side} {name}" if side else name

    def cautions_for(
        self, place: str, part: str, actions: set[str], opens: tuple[str, ...], bits: int
    ) -> tuple[str, ...]:
        """Cautions of the step itself, and of what comes off for it."""
        texts = dict.fromkeys(self.cautions.of({place}, {part} - {""}, actions))
        if opens:
            for i, opening in enumerate(self.leak_map.openings):
                if bits >> i & 1:
                    row = opening.row
                    texts.update(
                        dict.fromkeys(self.cautions.of({row.place}, {row.part} - {""}, {"access", "removed"}))
                    )
        return tuple(texts)

    def add(self, step: Step) -> None:
        self.steps.append(replace(step, step=len(self.steps) + 1))

    @staticmethod
    def percent(share: float) -> str:
        return f"{100 * share:.0f} %" if share >= 0.01 else "under 1 %"
