"""The order of checks that finds the source in the fewest expected minutes.

One fault is assumed for the order: weights are the belief, normalised. A look finds the fault where it is there, or
takes 1/(1 - alpha) times as long where it overlooks it with chance alpha. Then:

* Independent looks go by falling p/c (Heckerman, Breese & Rommelse 1995; Kadane & Simon), and with a chance to
  overlook by p(1 - alpha)/c (Blackwell; Chew 1967), the belief being updated after every look.
* Where access is shared, or a test can split the candidates, p/c is only a heuristic (Jensen, Ottosen); here the
  choice is looked ahead to the end, over sets of remaining candidates and of what is off (dynamic programming). What
  must come off is paid for once, taking off and putting back; a test costs its minutes and leaves two smaller problems.
  Of the looks behind one access only the best two by p/c are weighed at each point, and
  of the accesses those that give at least a third of the best weight per minute.
* Water goes on low first: a test is allowed only once every lower one on its side has nothing left to tell. This is a
  constraint and costs nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

Bits = int
"""A set of indexes as an integer."""


@dataclass(frozen=True, slots=True)
class LookChoice:
    """One look, or several at one spot made together. ``needs``: openings, with those that come off before them.

    ``minutes`` is spent where nothing is found, ``found_min`` (expected) where the fault is there; both already
    allow for overlooking.
    """

    minutes: float
    needs: Bits = 0
    found_min: float | None = None


@dataclass(frozen=True, slots=True)
class TestChoice:
    """A test of the candidates in ``zone``. ``lower`` are the tests (by index) that come before it on its side."""

    __test__ = False

    zone: Bits
    minutes: float
    needs: Bits = 0
    lower: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Problem:
    """Candidates by index: ``weights`` (any scale), ``looks``; ``tests``; minutes of each opening, off and on."""

    weights: tuple[float, ...]
    looks: tuple[LookChoice, ...]
    open_min: tuple[float, ...] = ()
    tests: tuple[TestChoice, ...] = ()


@dataclass(frozen=True, slots=True)
class Action:
    """What to do next. ``expected_min``: minutes from here times the weight that remains."""

    expected_min: float
    do: Literal["look", "test"]
    index: int


@dataclass(frozen=True, slots=True)
class _Subset:
    """What holds of some candidates whatever is off: their ``weight`` together, the openings that make a difference to
    them (``useful``), their looks by falling p/c, and the tests that tell anything, with the part that they wet."""

    weight: float
    useful: Bits
    looks: tuple[int, ...]
    tests: tuple[tuple[int, Bits], ...]


@dataclass(slots=True)
class Planner:
    """Chooses actions for one problem; what it has worked out serves all later choices in it."""

    problem: Problem
    looks_per_access: int = 2
    densest_within: float = 3.0
    """Accesses that give less than this part of the greatest weight per minute are not opened next."""
    _ranked: tuple[int, ...] = field(init=False)
    _minutes: list[float] = field(init=False)
    _needs: list[Bits] = field(init=False)
    _sooner: list[float] = field(init=False)
    """For each look, the weight times minutes that are spared where the fault is found before its end."""
    _subsets: dict[Bits, _Subset] = field(default_factory=dict)
    _best: dict[tuple[Bits, Bits], tuple[float, int, int]] = field(default_factory=dict)
    _opening: dict[Bits, float] = field(default_factory=lambda: {0: 0.0})

    def __post_init__(self) -> None:
        looks, weights = self.problem.looks, self.problem.weights
        self._minutes, self._needs = [look.minutes for look in looks], [look.needs for look in looks]
        self._ranked = tuple(sorted(range(len(looks)), key=lambda i: (-weights[i] / looks[i].minutes, i)))
        self._sooner = [
            0.0 if look.found_min is None else weight * (look.minutes - look.found_min)
            for look, weight in zip(looks, weights, strict=True)
        ]

    @property
    def everything(self) -> Bits:
        """All candidates that have any weight."""
        return sum(1 << i for i, w in enumerate(self.problem.weights) if w > 0)

    def choose(self, remaining: Bits, opened: Bits) -> Action | None:
        """The next action; nothing where no candidate remains."""
        if not remaining:
            return None
        cost, do, index = self._choice(remaining, opened)
        return Action(cost, "test" if do else "look", index)

    def expected_min(self, remaining: Bits, opened: Bits) -> float:
        """Expected minutes from here until the source is found, times the weight of ``remaining``."""
        return self._choice(remaining, opened)[0] if remaining else 0.0

    def allowed(self, test: int, remaining: Bits) -> bool:
        """Whether every lower test on its side has nothing left to tell about ``remaining``."""
        for low in self.problem.tests[test].lower:
            inside = remaining & self.problem.tests[low].zone
            if inside and inside != remaining:
                return False
        return True

    def _choice(self, remaining: Bits, opened: Bits) -> tuple[float, int, int]:
        """The least cost, whether by a look (0) or a test (1), and which."""
        subset = self._subsets.get(remaining)
        if subset is None:
            subset = self._subsets[remaining] = self._subset(remaining)
        opened &= subset.useful
        known = self._best.get((remaining, opened))
        if known is not None:
            return known
        weight, best = subset.weight, (math.inf, 0, 0)
        for i, minutes in self._worthy(subset, opened):
            cost = weight * minutes - self._sooner[i]
            # What costs more before all is counted is passed over.
            if cost <= best[0]:
                rest = remaining ^ (1 << i)
                if rest:
                    cost += self._choice(rest, opened | self._needs[i])[0]
                best = min(best, (cost, 0, i))
        for t, inside in subset.tests:
            test = self.problem.tests[t]
            cost = weight * (test.minutes + self._opening_min(test.needs & ~opened))
            if cost <= best[0]:
                off = opened | test.needs
                cost += self._choice(inside, off)[0]
                if cost <= best[0]:
                    best = min(best, (cost + self._choice(remaining ^ inside, off)[0], 1, t))
        self._best[remaining, opened] = best
        return best

    def _subset(self, remaining: Bits) -> _Subset:
        looks = tuple(i for i in self._ranked if remaining >> i & 1)
        tests, useful = [], 0
        for i in looks:
            useful |= self._needs[i]
        for t, test in enumerate(self.problem.tests):
            inside = remaining & test.zone
            useful |= test.needs
            if inside and inside != remaining and self.allowed(t, remaining):
                tests.append((t, inside))
        weights = self.problem.weights
        weight = 0.0
        for i in range(len(weights) - 1, -1, -1):
            if remaining >> i & 1:
                weight += weights[i]
        return _Subset(weight, useful, looks, tuple(tests))

    def _opening_min(self, bits: Bits) -> float:
        """Minutes to take off, and put back, all of ``bits``."""
        known = self._opening.get(bits)
        if known is None:
            known = sum(m for i, m in enumerate(self.problem.open_min) if bits >> i & 1)
            self._opening[bits] = known
        return known

    def _worthy(self, subset: _Subset, opened: Bits) -> list[tuple[int, float]]:
        """The looks to weigh, with their minutes: the best few behind each access, if not far from the densest."""
        minutes, needs, most = self._minutes, self._needs, self.looks_per_access
        groups: dict[Bits, list[int]] = {}
        for i in subset.looks:
            groups.setdefault(needs[i] & ~opened, []).append(i)
        if len(groups) == 1:
            ((missing, group),) = groups.items()
            spent = self._opening_min(missing)
            return [(i, minutes[i] + spent) for i in group[:most]]
        weights = self.problem.weights
        found, densest = [], 0.0
        for missing, group in groups.items():
            opening = spent = self._opening_min(missing)
            weight = best = 0.0
            for i in group:
                spent += minutes[i]
                weight += weights[i]
                if weight < best * spent:
                    break
                best = weight / spent
            densest = max(densest, best)
            found.append((best, opening, group))
        least = densest / self.densest_within
        return [(i, minutes[i] + opening) for best, opening, group in found if best >= least for i in group[:most]]


def together(minutes: Sequence[float], weights: Sequence[float]) -> tuple[float, float]:
    """Looks made one after another by falling p/c, as one: minutes in all, and expected minutes where it is found."""
    clock, found = 0.0, 0.0
    for m, w in sorted(zip(minutes, weights, strict=True), key=lambda pair: -pair[1] / pair[0]):
        clock += m
        found += w * clock
    total = sum(weights)
    return clock, (found / total if total > 0 else clock)
