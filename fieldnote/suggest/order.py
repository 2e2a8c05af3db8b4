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
from collections.abc import Iterator, Sequence
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
    _values: dict[tuple[Bits, Bits], float] = field(default_factory=dict)
    _masses: dict[Bits, float] = field(default_factory=lambda: {0: 0.0})
    _opening: dict[Bits, float] = field(default_factory=lambda: {0: 0.0})

    def __post_init__(self) -> None:
        looks, weights = self.problem.looks, self.problem.weights
        self._minutes, self._needs = [look.minutes for look in looks], [look.needs for look in looks]
        self._ranked = tuple(sorted(range(len(looks)), key=lambda i: (-weights[i] / looks[i].minutes, i)))

    @property
    def everything(self) -> Bits:
        """All candidates that have any weight."""
        return sum(1 << i for i, w in enumerate(self.problem.weights) if w > 0)

    def choose(self, remaining: Bits, opened: Bits) -> Action | None:
        """The next action; nothing where no candidate remains."""
        options = [*self._looks(remaining, opened), *self._tests(remaining, opened)]
        if not options:
            return None
        cost, do, index = min(options)
        return Action(cost, "test" if do else "look", index)

    def expected_min(self, remaining: Bits, opened: Bits) -> float:
        """Expected minutes from here until the source is found, times the weight of ``remaining``."""
        if not remaining:
            return 0.0
        key = (remaining, opened)
        known = self._values.get(key)
        if known is None:
            known = min(option[0] for option in self._looks(remaining, opened))
            for cost, _, _ in self._tests(remaining, opened, known):
                known = min(known, cost)
            self._values[key] = known
        return known

    def opening_min(self, bits: Bits) -> float:
        """Minutes to take off, and put back, all of ``bits``."""
        known = self._opening.get(bits)
        if known is None:
            known = sum(m for i, m in enumerate(self.problem.open_min) if bits >> i & 1)
            self._opening[bits] = known
        return known

    def mass(self, bits: Bits) -> float:
        """The weight of a set of candidates."""
        known = self._masses.get(bits)
        if known is None:
            lowest = bits & -bits
            known = self.mass(bits ^ lowest) + self.problem.weights[lowest.bit_length() - 1]
            self._masses[bits] = known
        return known

    def allowed(self, test: int, remaining: Bits) -> bool:
        """Whether every lower test on its side has nothing left to tell about ``remaining``."""
        for low in self.problem.tests[test].lower:
            inside = remaining & self.problem.tests[low].zone
            if inside and inside != remaining:
                return False
        return True

    def _looks(self, remaining: Bits, opened: Bits) -> Iterator[tuple[float, int, int]]:
        """Cost, 0 and index of each look worth weighing."""
        mass = self.mass(remaining)
        for i in self._worthy(remaining, opened):
            look = self.problem.looks[i]
            missing = look.needs & ~opened
            cost = mass * (look.minutes + self.opening_min(missing))
            if look.found_min is not None:
                cost -= self.problem.weights[i] * (look.minutes - look.found_min)
            yield cost + self.expected_min(remaining ^ (1 << i), opened | missing), 0, i

    def _tests(self, remaining: Bits, opened: Bits, best: float = math.inf) -> Iterator[tuple[float, int, int]]:
        """Cost, 1 and index of each test that is allowed, splits the candidates and may beat ``best``."""
        mass = self.mass(remaining)
        for t, test in enumerate(self.problem.tests):
            inside = remaining & test.zone
            if not inside or inside == remaining or not self.allowed(t, remaining):
                continue
            missing = test.needs & ~opened
            off = opened | missing
            cost = mass * (test.minutes + self.opening_min(missing))
            if cost < best:
                cost += self.expected_min(inside, off)
            if cost < best:
                yield cost + self.expected_min(remaining ^ inside, off), 1, t

    def _worthy(self, remaining: Bits, opened: Bits) -> list[int]:
        """The looks to weigh: the best few behind each access, if that is not far from the densest."""
        minutes, weights = self._minutes, self.problem.weights
        groups: dict[Bits, list[int]] = {}
        for i in self._ranked:
            if remaining >> i & 1:
                groups.setdefault(self._needs[i] & ~opened, []).append(i)
        if len(groups) == 1:
            return next(iter(groups.values()))[: self.looks_per_access]
        density = {}
        for missing, group in groups.items():
            spent, weight, best = self.opening_min(missing), 0.0, 0.0
            for i in group:
                spent += minutes[i]
                weight += weights[i]
                if weight < best * spent:
                    break
                best = weight / spent
            density[missing] = best
        least = max(density.values()) / self.densest_within if density else 0.0
        return [i for m, group in groups.items() if density[m] >= least for i in group[: self.looks_per_access]]


def together(minutes: Sequence[float], weights: Sequence[float]) -> tuple[float, float]:
    """Looks made one after another by falling p/c, as one: minutes in all, and expected minutes where it is found."""
    clock, found = 0.0, 0.0
    for m, w in sorted(zip(minutes, weights, strict=True), key=lambda pair: -pair[1] / pair[0]):
        clock += m
        found += w * clock
    total = sum(weights)
    return clock, (found / total if total > 0 else clock)
