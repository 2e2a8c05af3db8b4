"""The order of checks that finds the source in the fewest expected minutes.

One fault is assumed for the order (weights are the belief, normalised). Then:

* Independent looks: by falling p/c (Heckerman, Breese & Rommelse 1995; Kadane & Simon). With a chance to overlook
  alpha, by p(1 - alpha)/c (Blackwell; Chew 1967): a look that finds only now and then counts as one that takes
  1/(1 - alpha) times as long.
* Shared access: what must come off is a job of its own that finds nothing and comes before all that it hides. This is
  sequencing with precedence: the next block is the set, closed under "must come off first", with the greatest weight
  per minute (Smith 1956 without access; Horn 1972 for trees; Sidney 1975 in general, all three from memory).
* Tests that split the candidates: looked ahead. A test costs its minutes and leaves two smaller problems, each valued
  by the order above; it comes next where that is cheaper than going on with looks.
* Water goes on low first: a test is allowed only once every lower one on its side is done or has nothing left to find.
  This is a constraint and costs nothing.

Minutes of access count taking off and putting back, once.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations
from typing import Literal

_NOTHING = 1e-12
_MOST_CLOSURES = 6
"""Up to so many different accesses every union is tried (64 of them); beyond it unions are grown one by one."""


@dataclass(frozen=True, slots=True)
class TestChoice:
    """A test of a zone: ``reach`` is the chance that each candidate shows in it; ``lower`` are tests that come first."""

    __test__ = False

    reach: tuple[float, ...]
    minutes: float
    needs: int = 0
    lower: tuple[int, ...] = ()


@dataclass(frozen=True)
class Problem:
    """Candidates by index. ``needs``: bits of the openings that each lies behind, closed under what comes off first."""

    look_min: tuple[float, ...]
    finds: tuple[float, ...]
    """The chance that a look at it finds the fault."""
    needs: tuple[int, ...]
    open_min: tuple[float, ...] = ()
    tests: tuple[TestChoice, ...] = ()

    @cached_property
    def effective_min(self) -> tuple[float, ...]:
        """Minutes of a look over its chance to find."""
        return tuple(c / max(f, _NOTHING) for c, f in zip(self.look_min, self.finds, strict=True))

    def opening_min(self, bits: int) -> float:
        """Minutes to take off, and put back, all of ``bits``."""
        return sum(m for i, m in enumerate(self.open_min) if bits >> i & 1)


@dataclass(frozen=True, slots=True)
class Action:
    """What to do next, and the expected minutes from here if the order is kept to."""

    do: Literal["look", "test"]
    index: int
    expected_min: float


Weights = tuple[float, ...]


@dataclass(slots=True)
class Planner:
    """Chooses actions for one problem. ``depth`` tests are looked ahead; ``replan`` weighs tests after looks too."""

    problem: Problem
    depth: int = 1
    replan: bool = False
    _values: dict[tuple[Weights, int, int], float] = field(default_factory=dict)
    _sequences: dict[tuple[Weights, int], float] = field(default_factory=dict)

    def choose(self, weights: Weights, opened: int, done: frozenset[int] = frozenset()) -> Action | None:
        """The next action; nothing where nothing is left to find. ``done``: tests already made."""
        options = [option for option in self._options(weights, opened, self.depth, done)]
        return min(options, key=lambda a: a.expected_min, default=None)

    def _options(self, weights: Weights, opened: int, depth: int, done: frozenset[int]) -> Iterator[Action]:
        first = self.block(weights, opened)
        if not first:
            return
        yield Action("look", first[0], self._after_look(weights, opened, first[0], depth))
        if depth <= 0:
            return
        if self.replan:
            for other in self._other_looks(weights, opened, first[0]):
                yield Action("look", other, self._after_look(weights, opened, other, depth))
        total = sum(weights)
        for t, test in enumerate(self.problem.tests):
            if t in done or not self.allowed(t, weights, done):
                continue
            leaks, dry = split(weights, test.reach)
            if sum(leaks) < _NOTHING or sum(dry) < _NOTHING:
                continue
            bits = opened | test.needs
            cost = total * (test.minutes + self.problem.opening_min(test.needs & ~opened))
            yield Action("test", t, cost + self.value(leaks, bits, depth - 1) + self.value(dry, bits, depth - 1))

    def _other_looks(self, weights: Weights, opened: int, first: int) -> Iterator[int]:
        """With tests to come the best look need not be the first of the best block: the best of each access too."""
        seen = {self.problem.needs[first] & ~opened}
        ratio = {i: w / self.problem.effective_min[i] for i, w in enumerate(weights) if w > _NOTHING}
        for i in sorted(ratio, key=lambda i: (-ratio[i], i)):
            missing = self.problem.needs[i] & ~opened
            if missing not in seen:
                seen.add(missing)
                yield i

    def _after_look(self, weights: Weights, opened: int, index: int, depth: int) -> float:
        if not self.replan or depth <= 0:
            return self.sequence_min(weights, opened)
        problem = self.problem
        missing = problem.needs[index] & ~opened
        cost = sum(weights) * (problem.opening_min(missing) + problem.effective_min[index])
        rest = tuple(0.0 if i == index else w for i, w in enumerate(weights))
        return cost + self.value(rest, opened | missing, depth)

    def value(self, weights: Weights, opened: int, depth: int) -> float:
        """Expected minutes from here, times the sum of ``weights``."""
        if sum(weights) < _NOTHING:
            return 0.0
        if depth <= 0:
            return self.sequence_min(weights, opened)
        key = (weights, opened, depth)
        if key not in self._values:
            options = self._options(weights, opened, depth, frozenset())
            self._values[key] = min((a.expected_min for a in options), default=0.0)
        return self._values[key]

    def allowed(self, test: int, weights: Weights, done: frozenset[int]) -> bool:
        """Whether everything lower on its side was tested, or has nothing left to find, or holds all that is left."""
        for low in self.problem.tests[test].lower:
            if low in done:
                continue
            leaks, dry = split(weights, self.problem.tests[low].reach)
            if sum(leaks) > _NOTHING and sum(dry) > _NOTHING:
                return False
        return True

    # ---- looks alone -----------------------------------------------------------------------------------------

    def sequence_min(self, weights: Weights, opened: int) -> float:
        """Expected minutes by looks alone, times the sum of ``weights``."""
        key = (weights, opened)
        if key in self._sequences:
            return self._sequences[key]
        left, total, clock = list(weights), 0.0, 0.0
        bits = opened
        while block := self.block(tuple(left), bits):
            for i in block:
                missing = self.problem.needs[i] & ~bits
                clock += self.problem.opening_min(missing) + self.problem.effective_min[i]
                bits |= missing
                total += left[i] * clock
                left[i] = 0.0
        self._sequences[key] = total
        return total

    def block(self, weights: Weights, opened: int) -> list[int]:
        """The looks to make next, in order: the closed set with the greatest weight per minute."""
        problem = self.problem
        ranked = [i for i, w in enumerate(weights) if w > _NOTHING]
        if not ranked:
            return []
        ranked.sort(key=lambda i: (-weights[i] / problem.effective_min[i], i))
        missing = [problem.needs[i] & ~opened for i in ranked]
        best, best_density, best_size = [], -1.0, 0
        for union in self._unions(missing):
            found, density = self._dense(union, ranked, missing, weights)
            size = union.bit_count()
            if density > best_density * (1 + 1e-12) or (density >= best_density and size < best_size):
                best, best_density, best_size = found, density, size
        return self._inside(best, opened, weights)

    def _unions(self, missing: Sequence[int]) -> Iterator[int]:
        """Unions of the accesses that are missing, the empty one first."""
        distinct = sorted({m for m in missing if m}, key=lambda m: (m.bit_count(), m))
        seen = {0}
        yield 0
        largest = len(distinct) if len(distinct) <= _MOST_CLOSURES else 2
        for size in range(1, largest + 1):
            for group in combinations(distinct, size):
                union = 0
                for bits in group:
                    union |= bits
                if union not in seen:
                    seen.add(union)
                    yield union

    def _dense(
        self, union: int, ranked: Sequence[int], missing: Sequence[int], weights: Weights
    ) -> tuple[list[int], float]:
        """With ``union`` off, the looks that keep weight per minute greatest, and that density."""
        spent, weight, found = self.problem.opening_min(union), 0.0, []
        for i, bits in zip(ranked, missing, strict=True):
            if bits & ~union:
                continue
            minutes = self.problem.effective_min[i]
            if found and weights[i] * spent < weight * minutes:
                break
            spent += minutes
            weight += weights[i]
            found.append(i)
        return found, (weight / spent if found else -1.0)

    def _inside(self, block: list[int], opened: int, weights: Weights) -> list[int]:
        """The order within a block that needs several accesses: again by weight per minute of each access."""
        accesses = {self.problem.needs[i] & ~opened for i in block}
        if len(accesses) <= 1:
            return block
        order: list[int] = []
        left = list(block)
        while left:
            choices = []
            for access in {self.problem.needs[i] & ~opened for i in left}:
                inside = [i for i in left if not self.problem.needs[i] & ~opened & ~access]
                spent = self.problem.opening_min(access) + sum(self.problem.effective_min[i] for i in inside)
                choices.append((-sum(weights[i] for i in inside) / spent, access, inside))
            _, access, inside = min(choices)
            order += inside
            opened |= access
            left = [i for i in left if i not in inside]
        return order


def split(weights: Weights, reach: Sequence[float]) -> tuple[Weights, Weights]:
    """Weights after a leak and after a dry result (unnormalised)."""
    pairs = list(zip(weights, reach, strict=True))
    return tuple(w * r for w, r in pairs), tuple(w * (1.0 - r) for w, r in pairs)
