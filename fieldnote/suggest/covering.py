"""Exact sums over the set of findings explained so far: all terms are positive, so that nothing cancels.

One source after another is added to the distribution over which findings have been caused, forward; the chance that
the leak terms cause what remains goes backward. The sources of a bundle are put together in a small distribution of
their own, bundles side by side, and only that goes over all sets of findings, as one matrix; what the rest of the
network leaves to a bundle then tells its sources apart. A source of more findings than a bundle has goes over all sets
by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
from numpy.typing import NDArray

from fieldnote.suggest.bundles import WIDTH, Bundle, bundles
from fieldnote.suggest.leak_map import Floats, Ints


@dataclass(frozen=True, slots=True)
class _Scaled:
    """``states`` (2^k,) times exp(``log_scale``)."""

    states: Floats
    log_scale: float = 0.0


class Cover:
    """The sums over one network: ``prior`` (n,), ``links`` (k, n), ``leaks`` (k,)."""

    def __init__(self, prior: Floats, links: Floats, leaks: Floats) -> None:
        self._prior, self._leaks = prior, leaks
        # About as many bundles as sources in each: a turn and a bundle cost about the same.
        found = bundles(links, max(4, round(float(len(prior)) ** 0.5)))
        self._bundles = [b for b in found if len(b.axes) <= WIDTH]
        cubes = _Cubes(1, len(leaks))
        wide = [int(i) for b in found if len(b.axes) > WIDTH for i in b.members]
        self._alone = [_Alone(i, float(prior[i]), links[:, i, None, None], cubes) for i in wide]
        widest = max((len(b.axes) for b in self._bundles), default=0)
        most = max((len(b.members) for b in self._bundles), default=0)
        # Sources by turn and bundle, so that the bundles are reckoned side by side; a turn without a source is -1.
        self._turns = np.full((most, len(self._bundles)), -1, dtype=np.intp)
        self._turn_links = np.zeros((most, widest, len(self._bundles), 1))
        for b, bundle in enumerate(self._bundles):
            many = len(bundle.members)
            self._turns[:many, b] = bundle.members
            self._turn_links[:many, : len(bundle.axes), b, 0] = links[list(bundle.axes)][:, bundle.members].T

    # ---- what is asked ---------------------------------------------------------------------------------------

    def log_evidence(self) -> float:
        """log P(all findings are present)."""
        return _meet(self._before[-1], self._after[-1])

    def prob(self) -> Floats:
        """The probability (n,) of each source, all findings being present."""
        prob = self._prior.copy()
        own = len(self._bundles)
        for n, alone in enumerate(self._alone, own):
            prob[alone.source] = alone.prob(self._before[n].states, self._after[n].states)
        cubes = _Cubes(own, self._turn_links.shape[1])
        left = np.zeros((own, cubes.sets))
        for b, weights in enumerate(self._left):
            left[b, : len(weights)] = weights / weights.max()
        for turn, links, before in zip(self._turns[::-1], self._turn_links[::-1], self._within[-2::-1], strict=True):
            p = np.where(turn >= 0, self._prior[turn], 0.0)
            with_it = cubes.uncover(left, links)
            there = p * (before * with_it).sum(axis=1)
            not_there = (1.0 - p) * (before * left).sum(axis=1)
            real = turn >= 0
            prob[turn[real]] = (there / (there + not_there))[real]
            left = (1.0 - p)[:, None] * left + p[:, None] * with_it
        return prob

    def log_evidence_without(self, groups: Sequence[Floats]) -> Floats:
        """The same (groups,), each time with some sources not there: a group (n,) is above 0 for those."""
        out = np.array(groups) > 0
        parts = [(out[:, b.members], b.index.shape[1]) for b in self._bundles]
        touched, empty = np.zeros((2, len(parts), len(out)), dtype=bool)
        for b, (mine, _) in enumerate(parts):
            touched[b], empty[b] = mine.any(axis=1), mine.all(axis=1)
        which, group = np.nonzero(touched & ~empty)
        changed: list[dict[int, _Step]] = [{} for _ in groups]
        for b, g, own in zip(which.tolist(), group.tolist(), self._put_together(which, out[group])[-1], strict=True):
            changed[g][b] = _Bundled(self._bundles[b], own[: parts[b][1]])
        nobody = _Nobody()
        for b, g in np.argwhere(empty).tolist():
            changed[g][b] = nobody
        for n, alone in enumerate(self._alone, len(self._bundles)):
            for g in np.flatnonzero(out[:, alone.source]).tolist():
                changed[g][n] = nobody
        return np.array([self._log_evidence_with(steps) for steps in changed])

    def _log_evidence_with(self, changed: dict[int, _Step]) -> float:
        """The evidence where other steps stand in for some (by index)."""
        if not changed:
            return self.log_evidence()
        now = self._before[min(changed)]
        for n in range(min(changed), max(changed) + 1):
            step = changed.get(n, self._steps[n])
            if not isinstance(step, _Nobody):
                now = _rescaled(step.forward(now.states), now.log_scale)
        return _meet(now, self._after[max(changed)])

    # ---- how it is reckoned ----------------------------------------------------------------------------------

    def _put_together(self, which: Ints, out: NDArray[np.bool_] | None = None) -> list[Floats]:
        """Distributions (bundles, 2^m) over what bundles cause, before every turn and after the last.

        ``which`` are the bundles' indexes, and ``out`` (bundles, n) names sources that are not there.
        """
        turns, all_links = self._turns[:, which], self._turn_links[:, :, which]
        cubes = _Cubes(len(which), all_links.shape[1])
        states = np.zeros((len(which), cubes.sets))
        states[:, 0] = 1.0
        every, rows = [states], np.arange(len(which))
        for turn, links in zip(turns, all_links, strict=True):
            there = turn >= 0 if out is None else (turn >= 0) & ~out[rows, turn]
            p = np.where(there, self._prior[turn], 0.0)[:, None]
            states = (1.0 - p) * states + p * cubes.cover(states, links)
            every.append(states)
        return every

    @cached_property
    def _within(self) -> list[Floats]:
        return self._put_together(np.arange(len(self._bundles)))

    @cached_property
    def _steps(self) -> list[_Step]:
        """The bundles, then the sources that stand alone, over all sets."""
        pairs = zip(self._bundles, self._within[-1], strict=True)
        return [*(_Bundled(b, weights[: b.index.shape[1]]) for b, weights in pairs), *self._alone]

    @cached_property
    def _before(self) -> list[_Scaled]:
        """What is explained before each step, and after the last."""
        nothing = np.zeros(1 << len(self._leaks))
        nothing[0] = 1.0
        out = [_Scaled(nothing)]
        for step in self._steps:
            out.append(_rescaled(step.forward(out[-1].states), out[-1].log_scale))
        return out

    @cached_property
    def _after(self) -> list[_Scaled]:
        """What remains after each step; the last is what the leak terms cause."""
        left = np.ones(1)
        for leak in self._leaks:
            left = np.concatenate([left * leak, left])
        out = [_Scaled(left)]
        for step in self._steps[:0:-1]:
            out.append(_rescaled(step.backward(out[-1].states), out[-1].log_scale))
        return out[::-1]

    @cached_property
    def _left(self) -> list[Floats]:
        """For each bundle the weight (2^m,) of all else, by the set of its findings that it causes."""
        return [
            (before.states[b.index].T @ after.states[b.index]).ravel()[_met(len(b.axes))].sum(axis=1)
            for b, before, after in zip(self._bundles, self._before, self._after, strict=False)
        ]


def _rescaled(states: Floats, log_scale: float) -> _Scaled:
    """The largest brought to 1, so that many improbable findings do not run out of range."""
    size = float(states.max())
    return _Scaled(states / size, log_scale + float(np.log(size)))


def _meet(before: _Scaled, after: _Scaled) -> float:
    return float(np.log(before.states @ after.states)) + before.log_scale + after.log_scale


# ---- one step over all sets -----------------------------------------------------------------------------------


class _Nobody:
    """Sources that are not there."""

    def forward(self, states: Floats) -> Floats:
        return states

    def backward(self, states: Floats) -> Floats:
        return states


class _Bundled:
    """A bundle that causes sets of its findings with ``weights`` (2^m,)."""

    def __init__(self, bundle: Bundle, weights: Floats) -> None:
        many = len(weights)
        self._index = bundle.index
        # (after, before): what is caused is added to what was there.
        flat = np.bincount(_unions(many.bit_length() - 1), np.repeat(weights, many), many * many)
        self._matrix = flat.reshape(many, many)

    def forward(self, states: Floats) -> Floats:
        return self._put(states[self._index] @ self._matrix.T)

    def backward(self, states: Floats) -> Floats:
        return self._put(states[self._index] @ self._matrix)

    def _put(self, values: Floats) -> Floats:
        states = np.empty(values.size)
        states[self._index] = values
        return states


@dataclass(frozen=True, slots=True)
class _Alone:
    """A source of more findings than a bundle has."""

    source: int
    p: float
    links: Floats
    cubes: _Cubes

    def forward(self, states: Floats) -> Floats:
        return np.asarray((1.0 - self.p) * states + self.p * self.cubes.cover(states[None], self.links)[0])

    def backward(self, states: Floats) -> Floats:
        return np.asarray((1.0 - self.p) * states + self.p * self.cubes.uncover(states[None], self.links)[0])

    def prob(self, before: Floats, after: Floats) -> float:
        there = self.p * float(before @ self.cubes.uncover(after[None], self.links)[0])
        return there / (there + (1.0 - self.p) * float(before @ after))


_Step = _Nobody | _Bundled | _Alone


@cache
def _unions(axes: int) -> Ints:
    """Where a cause a meets what was there b: index of (a or b, b) in a flat matrix, for all pairs (a, b)."""
    sets = np.arange(1 << axes, dtype=np.intp)
    return np.asarray(((sets[:, None] | sets[None, :]) << axes) + sets[None, :]).ravel()


@cache
def _met(axes: int) -> Ints:
    """For all pairs (a, b) the index of (b, a or b) in a flat matrix."""
    sets = np.arange(1 << axes, dtype=np.intp)
    return np.asarray((sets[None, :] << axes) + (sets[:, None] | sets[None, :]))


class _Cubes:
    """Cubes (many, 2^axes) over sets of findings, and moves along all their axes at once."""

    def __init__(self, many: int, axes: int) -> None:
        self.sets = 1 << axes
        self._states = np.empty((many, self.sets))
        pairs = [self._states.reshape(many, 1 << axes - a - 1, 2, 1 << a) for a in range(axes)]
        self._views = [(p[:, :, 0], p[:, :, 1], np.empty_like(p[:, :, 0])) for p in pairs]

    def cover(self, states: Floats, links: Floats) -> Floats:
        """Move the shares ``links`` (axes, many, 1) from sets without a finding to those with it.

        The result is valid until the next call.
        """
        np.copyto(self._states, states)
        for (absent, present, moved), share in zip(self._views, links, strict=True):
            np.multiply(absent, share[:, :, None], out=moved)
            present += moved
            absent -= moved
        return self._states

    def uncover(self, states: Floats, links: Floats) -> Floats:
        """The adjoint of ``cover``."""
        np.copyto(self._states, states)
        for (absent, present, moved), share in zip(self._views, links, strict=True):
            np.multiply(present, share[:, :, None], out=moved)
            absent *= 1.0 - share[:, :, None]
            absent += moved
        return self._states
