"""The order of checks against published rules, own vectors by hand, and the optimum by dynamic programming."""

from __future__ import annotations

import itertools
import random
from functools import cache

import pytest

from fieldnote.suggest.order import LookChoice, Planner, Problem, TestChoice, together

MAPS = 200
WITHIN = 0.02


def order_of(problem: Problem) -> list[int]:
    """The looks in order, each found to be good."""
    planner, remaining, order = Planner(problem), (1 << len(problem.looks)) - 1, []
    opened = 0
    while action := planner.choose(remaining, opened):
        assert action.do == "look"
        order.append(action.index)
        opened |= problem.looks[action.index].needs
        remaining &= ~(1 << action.index)
    return order


def looks(*minutes: float) -> tuple[LookChoice, ...]:
    return tuple(LookChoice(m) for m in minutes)


def expected(problem: Problem) -> float:
    return Planner(problem).expected_min((1 << len(problem.looks)) - 1, 0)


# ---- published rules ------------------------------------------------------------------------------------------


def test_independent_checks_go_by_probability_over_cost() -> None:
    """SOURCES section 5, own vector (all 24 orders tried): order 2-3-1-4 costs 29.2, the best."""
    p, c = (0.45, 0.30, 0.15, 0.10), (30.0, 8.0, 5.0, 12.0)
    problem = Problem(p, looks(*c))
    assert [i + 1 for i in order_of(problem)] == [2, 3, 1, 4]
    assert expected(problem) == pytest.approx(29.2)
    costs = {
        o: sum(c[i] * (1 - sum(p[j] for j in o[:n])) for n, i in enumerate(o)) for o in itertools.permutations(range(4))
    }
    assert min(costs.values()) == pytest.approx(29.2)
    assert max(costs.values()) == pytest.approx(43.65)


@pytest.mark.parametrize(
    ("p", "c1", "c2", "first"), [(0.5, 1.0, 2.0, 0), (0.5, 2.0, 1.0, 1), (0.3, 3.0, 7.5, 0), (0.3, 3.0, 6.0, 1)]
)
def test_two_cause_machine(p: float, c1: float, c2: float, first: int) -> None:
    """Textbook problem (from memory: Ross, A First Course in Probability): check 1 first when p/C1 >= (1-p)/C2."""
    assert (p / c1 >= (1 - p) / c2) == (first == 0)
    assert order_of(Problem((p, 1 - p), looks(c1, c2)))[0] == first


def test_smiths_rule() -> None:
    """Smallest sum of weight times finish time (from memory: Kleinberg & Tardos ch. 4): 18, and 46 the other way."""
    problem = Problem((10.0, 2.0), looks(1.0, 3.0))
    assert order_of(problem) == [0, 1]
    assert expected(problem) == pytest.approx(18.0)
    assert expected(Problem((10 / 12, 2 / 12), looks(1.0, 3.0))) == pytest.approx(1.5)
    assert 2 * 3.0 + 10 * 4.0 == 46.0


def test_overlooked_faults_are_looked_for_again() -> None:
    """SOURCES section 5: p=(.6,.4), overlook (.5,.1), costs 1 give 2,1,1,1,1,2 (Blackwell; Chew 1967)."""
    weights, overlook, checks = [0.6, 0.4], (0.5, 0.1), []
    for _ in range(6):
        action = Planner(Problem(tuple(weights), looks(*(1 / (1 - a) for a in overlook)))).choose(0b11, 0)
        assert action is not None
        checks.append(action.index + 1)
        weights[action.index] *= overlook[action.index]
    assert checks == [2, 1, 1, 1, 1, 2]


def test_several_looks_at_one_spot_count_as_one() -> None:
    """Looks of 2 and 4 minutes with weights 1 and 3: the heavier ratio goes first; found after (3*4 + 1*6)/4."""
    assert together((2.0, 4.0), (1.0, 3.0)) == (6.0, pytest.approx(4.5))


# ---- access and tests -----------------------------------------------------------------------------------------


def test_putting_back_counts_once_and_what_is_open_is_cheap() -> None:
    """Two looks behind one cover (5 off, 5 on) beat a likelier one alone: 0.6/(10+1+1) > 0.4/9."""
    problem = Problem((0.3, 0.3, 0.4), (LookChoice(1.0, 1), LookChoice(1.0, 1), LookChoice(9.0)), (10.0,))
    assert order_of(problem) == [0, 1, 2]
    planner = Planner(problem)
    off = planner.choose(0b111, 1)
    assert off is not None and off.index == 0
    assert expected(problem) == pytest.approx(0.3 * 11 + 0.3 * 12 + 0.4 * 21)


def test_a_test_that_splits_comes_before_any_look() -> None:
    """Eight equal candidates at 10 minutes each; a 3-minute test that splits them in half comes first."""
    problem = Problem((1 / 8,) * 8, looks(*(10.0,) * 8), (), (TestChoice(0b1111, 3.0),))
    action = Planner(problem).choose(0xFF, 0)
    assert action is not None and action.do == "test"
    # By hand: 3 minutes, then the mean of 10, 20, 30, 40 on either side.
    assert expected(problem) == pytest.approx(28.0)


def test_water_goes_on_low_first() -> None:
    """The higher zone's test would be better, but the lower one on its side still has something to tell."""
    free = Problem((0.1, 0.7, 0.2), looks(20.0, 20.0, 20.0), (), (TestChoice(0b001, 5.0), TestChoice(0b010, 5.0)))
    bound = Problem(free.weights, free.looks, (), (free.tests[0], TestChoice(0b010, 5.0, lower=(0,))))
    planner = Planner(bound)
    assert planner.allowed(1, 0b111) is False
    assert planner.allowed(1, 0b110) is True
    action = planner.choose(0b111, 0)
    assert action is not None and (action.do, action.index) != ("test", 1)


# ---- the optimum ----------------------------------------------------------------------------------------------


def random_map(rng: random.Random, *, shared: bool, tests: bool) -> Problem:
    """Up to 9 sources, up to 4 accesses that may need each other, up to 4 zone tests with low before high."""
    n = rng.randint(2, 9)
    raw = [rng.expovariate(1) + 0.02 for _ in range(n)]
    accesses: list[int] = []
    for g in range(rng.randint(1, 4) if shared else 0):
        bits = 1 << g
        for earlier in range(g):
            if rng.random() < 0.35:
                bits |= accesses[earlier]
        accesses.append(bits)
    needs = []
    for _ in range(n):
        bits = rng.choice(accesses) if accesses and rng.random() < 0.7 else 0
        needs.append(bits | rng.choice(accesses) if bits and rng.random() < 0.15 else bits)
    many = rng.randint(1, 4) if tests else 0
    level, side = sorted(rng.randint(0, 3) for _ in range(many)), [rng.randint(0, 1) for _ in range(many)]
    choices = tuple(
        TestChoice(
            zone=sum(1 << i for i in range(n) if rng.random() < 0.4),
            minutes=rng.uniform(2, 10),
            needs=rng.choice(accesses) if accesses and rng.random() < 0.2 else 0,
            lower=tuple(b for b in range(many) if level[b] < level[a] and side[a] == side[b]),
        )
        for a in range(many)
    )
    return Problem(
        weights=tuple(w / sum(raw) for w in raw),
        looks=tuple(LookChoice(rng.uniform(1, 15), bits) for bits in needs),
        open_min=tuple(rng.uniform(2, 30) for _ in accesses),
        tests=choices,
    )


def optimum(problem: Problem) -> float:
    """The least expected minutes by plain dynamic programming over every action; shares no code with the planner."""
    n, tests = len(problem.weights), problem.tests

    def opening(bits: int) -> float:
        return sum(m for g, m in enumerate(problem.open_min) if bits >> g & 1)

    @cache
    def least(left: frozenset[int], off: int) -> float:
        if not left:
            return 0.0
        mass = sum(problem.weights[i] for i in left)
        options = []
        for i in left:
            new = problem.looks[i].needs & ~off
            options.append(mass * (problem.looks[i].minutes + opening(new)) + least(left - {i}, off | new))
        for test in tests:
            wet = frozenset(i for i in left if test.zone >> i & 1)
            blocked = any(0 < len([i for i in left if tests[low].zone >> i & 1]) < len(left) for low in test.lower)
            if wet and wet != left and not blocked:
                new = test.needs & ~off
                spent = mass * (test.minutes + opening(new))
                options.append(spent + least(wet, off | new) + least(left - wet, off | new))
        return min(options)

    return least(frozenset(range(n)), 0)


def walked(problem: Problem) -> float:
    """Expected minutes of really following the planner's choices, over every possible place of the fault."""
    planner, total = Planner(problem), 0.0
    for fault, weight in enumerate(problem.weights):
        left, off, spent = (1 << len(problem.weights)) - 1, 0, 0.0
        while True:
            action = planner.choose(left, off)
            assert action is not None
            choice = problem.looks[action.index] if action.do == "look" else problem.tests[action.index]
            new = choice.needs & ~off
            spent += choice.minutes + sum(m for g, m in enumerate(problem.open_min) if new >> g & 1)
            off |= new
            if isinstance(choice, TestChoice):
                left &= choice.zone if choice.zone >> fault & 1 else ~choice.zone
            elif action.index == fault:
                break
            else:
                left &= ~(1 << action.index)
        total += weight * spent
    return total


def test_random_maps_are_within_two_percent_of_the_optimum() -> None:
    """200 random maps of up to 9 sources with shared access and tests: every one within 2 % of the optimum."""
    rng = random.Random(4)
    worse = []
    for _ in range(MAPS):
        problem = random_map(rng, shared=True, tests=True)
        worse.append(walked(problem) / optimum(problem) - 1)
    assert max(worse) <= WITHIN
    assert min(worse) > -1e-9


def test_random_maps_with_independent_costs_reach_the_optimum() -> None:
    """200 random maps without shared access or tests: equal to the optimum, and in the order of p/c."""
    rng = random.Random(5)
    for _ in range(MAPS):
        problem = random_map(rng, shared=False, tests=False)
        assert walked(problem) == pytest.approx(optimum(problem), rel=1e-12)
        ratio = [w / x.minutes for w, x in zip(problem.weights, problem.looks, strict=True)]
        assert order_of(problem) == sorted(range(len(ratio)), key=lambda i: -ratio[i])


@pytest.mark.soak
def test_many_random_maps() -> None:
    """3000 more maps: how far the look-ahead falls short of the optimum at worst."""
    rng = random.Random(6)
    worse = []
    for _ in range(3000):
        problem = random_map(rng, shared=True, tests=True)
        worse.append(walked(problem) / optimum(problem) - 1)
    assert sum(w > WITHIN for w in worse) <= 3
