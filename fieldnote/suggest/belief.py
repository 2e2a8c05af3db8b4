"""Exact belief in a two-level noisy-OR network: many possible sources, a few present findings.

Sources are independent beforehand. Finding k is absent with chance ``(1 - leak_k) * prod_i q_ik`` over the sources i
that are there, ``q_ik = 1 - link_ik`` (Pearl, Probabilistic Reasoning in Intelligent Systems, 1988, p. 184; QMR-DT,
Shwe et al. 1991). Whatever bears on single sources (absent findings, looks, dry tests) factorises over them and goes
into the odds beforehand. Sources linked to one present finding alone act on the rest as part of its leak term, and are
folded into it. The others are summed over exactly, in one of two ways:

``summed``  inclusion and exclusion over the 2^k subsets T of the present findings:
            P(all present) = sum_T (-1)^|T| prod_{k in T}(1 - leak_k) prod_i (1 - p_i + p_i prod_{k in T} q_ik).
            A few array operations, but terms of both signs cancel where the evidence is improbable.
``covered`` adds one source after another to the distribution over the set of findings explained so far, forward and
            backward. All terms are positive, so nothing cancels; it costs a pass over every link.

``posterior`` takes the sum where the estimate of its rounding error is small enough and covers otherwise. Both are
exact up to rounding. Cost grows with 2^k: callers keep k within the map's ``present_cap``.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fieldnote.suggest.leak_map import Floats

_SURE = 1.0 - 1e-13
_ROUNDING = float(np.finfo(np.float64).eps)
EXACT = 1e-9
"""Largest estimate of the relative rounding error for which the sum is trusted (it overstates by ten times or more)."""
LOOSE = 1e-4
"""The same where a figure is only shown, to two digits."""

_LIGHT = 16
"""Sources that a light network keeps."""


@dataclass(frozen=True, slots=True)
class Network:
    """``prior`` (n,): probability of each source with all that factorises; ``links`` (k, n), ``leaks`` (k,)."""

    prior: Floats
    links: Floats
    leaks: Floats


@dataclass(frozen=True, slots=True)
class Belief:
    """``prob`` (n,): probability of each source given everything; ``log_evidence``: log P(present findings)."""

    prob: Floats
    log_evidence: float
    sum_error: float = 0.0
    """The estimate of the relative rounding error that the sum has, or would have had, on this network."""


@dataclass(frozen=True, slots=True)
class _Core:
    """Belief in the sources of several findings, and for each finding two parts of the evidence.

    All three are relative to exp(``log_scale``). ``alone`` (k,): that all other findings are present while no source of
    several findings causes this one; ``caused`` (k,): that all are present and one of those does cause it.
    """

    prob: Floats
    evidence: float
    alone: Floats
    caused: Floats
    log_scale: float
    error: float = 0.0


def reweigh(prior: Floats, log_odds: Floats) -> Floats:
    """``prior`` (n,) with evidence on single sources, given as log odds factors (n,)."""
    sure = np.clip(prior, 1.0 - _SURE, _SURE)
    z = np.log(sure) - np.log1p(-sure) + log_odds
    return np.asarray(np.clip(1.0 / (1.0 + np.exp(-z)), 0.0, _SURE), dtype=np.float64)


def posterior(net: Network, allowed: float = EXACT) -> Belief:
    """The exact belief. Without present findings it is the prior."""
    if not len(net.leaks):
        return Belief(net.prior.copy(), 0.0)
    single, several = _touching(net)
    folded = _fold(net, single, several)
    core = summed(folded)
    error = core.error
    if error > allowed:
        core = covered(folded)
    prob = net.prior.copy()
    prob[several] = core.prob
    for k in range(len(net.leaks)):
        mine = single & (net.links[k] > 0)
        prob[mine] = _of_one_finding(net, mine, k, float(folded.leaks[k]), core)
    return Belief(prob, float(np.log(core.evidence)) + core.log_scale, error)


def log_evidence(net: Network, allowed: float = EXACT) -> float:
    """log P(all present findings)."""
    if not len(net.leaks):
        return 0.0
    folded = _fold_all(net)
    core = summed(folded)
    if core.error > allowed:
        core = covered(folded, backward=False)
    return float(np.log(core.evidence)) + core.log_scale


@dataclass(frozen=True)
class Groups:
    """Answers whether any of a group of sources is there, for one network and its belief."""

    net: Network
    belief: Belief

    def none_of(self, sources: Floats) -> float:
        """P(none of ``sources`` is there | everything); ``sources`` (n,) is above 0 for those meant.

        Exact to 1e-4 by the sum; where that cannot be trusted and many sources remain, in the light network.
        """
        if not len(self.net.leaks):
            return float(np.exp(np.log1p(-self.net.prior[sources > 0]).sum()))
        net, before = self.net, self.belief.log_evidence
        folded = _fold_all(_absent(net, sources))
        core = summed(folded) if self.belief.sum_error <= LOOSE else None
        if core is None or core.error > LOOSE:
            if len(folded.prior) > _LIGHT:
                net, before = self._light
                folded = _fold_all(_absent(net, sources))
            core = covered(folded, backward=False)
        after = float(np.log(core.evidence)) + core.log_scale
        absent = float(np.log1p(-net.prior[sources > 0]).sum())
        return float(min(1.0, np.exp(after + absent - before)))

    @cached_property
    def _light(self) -> tuple[Network, float]:
        light = lighten(self.net, self.belief.prob, np.zeros(len(self.net.prior)))
        return light, log_evidence(light)


def _absent(net: Network, sources: Floats) -> Network:
    return Network(np.where(sources > 0, 0.0, net.prior), net.links, net.leaks)


# ---- a lighter network ----------------------------------------------------------------------------------------


def kept_when_light(prob: Floats, always: Floats) -> NDArray[np.bool_]:
    """The sources (n,) that a light network keeps: the likeliest, and those in ``always`` while they are few."""
    keep = np.zeros(len(prob), dtype=bool)
    keep[np.argsort(-prob, kind="stable")[:_LIGHT]] = True
    if (always > 0).sum() <= _LIGHT:
        keep |= always > 0
    return keep


def lighten(net: Network, prob: Floats, always: Floats) -> Network:
    """The same network with its least likely sources taken as causing each of their findings independently.

    For figures that are only shown, where the evidence is too improbable for the sum and covering takes too long.
    """
    keep = kept_when_light(prob, always)
    spared = np.log1p(-net.prior[~keep] * net.links[:, ~keep]).sum(axis=1)
    leaks = -np.expm1(np.log1p(-np.minimum(net.leaks, _SURE)) + spared)
    # Columns stay where they are, so that callers need not renumber.
    return Network(np.where(keep, net.prior, 0.0), net.links, leaks)


# ---- sources of one finding alone -----------------------------------------------------------------------------


def _touching(net: Network) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which sources are linked to one present finding alone, and which to several."""
    count = (net.links > 0).sum(axis=0)
    live = net.prior > 0
    return live & (count == 1), live & (count > 1)


def _fold(net: Network, single: NDArray[np.bool_], several: NDArray[np.bool_]) -> Network:
    """The sources of several findings, with the others folded into the leak terms."""
    kept = np.log1p(-net.prior[single] * net.links[:, single]).sum(axis=1)
    leaks = -np.expm1(np.log1p(-np.minimum(net.leaks, _SURE)) + kept)
    return Network(net.prior[several], net.links[:, several], leaks)


def _fold_all(net: Network) -> Network:
    return _fold(net, *_touching(net))


def _of_one_finding(net: Network, mine: NDArray[np.bool_], k: int, leak: float, core: _Core) -> Floats:
    """Belief in the sources linked to finding ``k`` alone; all terms are positive."""
    p, link = net.prior[mine], net.links[k, mine]
    # The finding stays away with this chance while no source of several findings and not this one causes it.
    others = (1.0 - leak) / (1.0 - p * link)
    there = p * (core.caused[k] + core.alone[k] * (1.0 - (1.0 - link) * others))
    not_there = (1.0 - p) * (core.caused[k] + core.alone[k] * (1.0 - others))
    return np.asarray(there / (there + not_there))


# ---- inclusion and exclusion ----------------------------------------------------------------------------------


def summed(net: Network) -> _Core:
    """By inclusion and exclusion, with the estimate of the rounding error."""
    products, terms = _terms(net)
    keep = 1.0 - net.leaks
    total = _signed(keep) * np.exp(np.log(terms).sum(axis=1))
    evidence = float(total.sum())
    error = _rounding_error(total, evidence, len(net.prior))
    if not np.isfinite(error):
        return _Core(net.prior, evidence, net.leaks, net.leaks, 0.0, error)
    np.divide(products, terms, out=products)
    prob = np.clip(net.prior * (total @ products) / evidence, 0.0, 1.0)
    subsets = np.arange(len(total))
    alone = np.array([-total[subsets >> k & 1 == 1].sum() / max(keep[k], 1e-300) for k in range(len(keep))])
    caused = np.maximum(evidence - alone * net.leaks, 0.0)
    return _Core(prob, evidence, np.maximum(alone, 0.0), caused, 0.0, error)


def _terms(net: Network) -> tuple[Floats, Floats]:
    """Products of q over each subset, and each source's factor: both (2^k, n)."""
    count = len(net.leaks)
    products = np.ones((1 << count, len(net.prior)))
    for k in range(count):
        half = 1 << k
        np.multiply(products[:half], 1.0 - net.links[k], out=products[half : 2 * half])
    terms = products * net.prior
    terms += 1.0 - net.prior
    return products, terms


def _signed(keep: Floats) -> Floats:
    """(-1)^|T| prod_{k in T}(1 - leak_k) for every subset T: (2^k,)."""
    signed = np.ones(1)
    for stays in keep:
        signed = np.concatenate([signed, -stays * signed])
    return signed


def _rounding_error(total: Floats, evidence: float, sources: int) -> float:
    """An estimate of the relative error of the sum: that of a term grows as the root of its factors."""
    if evidence <= 0.0:
        return float("inf")
    roundings = 2.0 + float(sources) ** 0.5
    return float(np.abs(total).sum() * roundings * _ROUNDING / evidence)


# ---- covering -------------------------------------------------------------------------------------------------


def covered(net: Network, *, backward: bool = True) -> _Core:
    """By passing forward and backward over the sources; nothing cancels. The evidence alone needs no way back."""
    count, n = net.links.shape
    cube = _Cube(count)
    linked = [[(int(k), float(net.links[k, i])) for k in np.flatnonzero(net.links[:, i])] for i in range(n)]
    states = np.zeros(1 << count)
    states[0] = 1.0
    forward, log_scale = [states], 0.0
    for p, links in zip(net.prior.tolist(), linked, strict=True):
        states = (1.0 - p) * states + p * cube.cover(states, links)
        # Rescaled so that many improbable findings do not run out of range.
        size = float(states.max())
        states /= size
        log_scale += float(np.log(size))
        forward.append(states)
    left = _left_to_leaks(net.leaks)
    evidence = float(states @ left)
    if not backward:
        return _Core(net.prior, evidence, net.leaks, net.leaks, log_scale)
    alone, caused = _parts(states, net.leaks, left)
    prob = np.empty(n)
    for i in range(n - 1, -1, -1):
        p = float(net.prior[i])
        with_it = cube.uncover(left, linked[i])
        there, not_there = p * float(forward[i] @ with_it), (1.0 - p) * float(forward[i] @ left)
        prob[i] = there / (there + not_there)
        left = (1.0 - p) * left + p * with_it
        left /= left.max()
    return _Core(prob, evidence, alone, caused, log_scale)


class _Cube:
    """Work space over all sets of ``count`` findings, with views of it by finding (absent, present)."""

    def __init__(self, count: int) -> None:
        self._states = np.empty(1 << count)
        pairs = [self._states.reshape(-1, 2, 1 << k) for k in range(count)]
        self._views = [(p[:, 0], p[:, 1], np.empty_like(p[:, 0])) for p in pairs]

    def cover(self, states: Floats, links: list[tuple[int, float]]) -> Floats:
        """Move the share of each link from sets without its finding to those with it; valid until the next call."""
        np.copyto(self._states, states)
        for k, share in links:
            absent, present, moved = self._views[k]
            np.multiply(absent, share, out=moved)
            present += moved
            absent -= moved
        return self._states

    def uncover(self, states: Floats, links: list[tuple[int, float]]) -> Floats:
        """The adjoint of ``cover``."""
        np.copyto(self._states, states)
        for k, share in links:
            absent, present, moved = self._views[k]
            np.multiply(present, share, out=moved)
            absent *= 1.0 - share
            absent += moved
        return self._states


def _left_to_leaks(leaks: Floats) -> Floats:
    """The chance that the leak terms cause all findings outside each set: (2^k,)."""
    left = np.ones(1)
    for leak in leaks:
        left = np.concatenate([left * leak, left])
    return left


def _parts(states: Floats, leaks: Floats, left: Floats) -> tuple[Floats, Floats]:
    """``alone`` and ``caused`` of ``_Core``, by finding."""
    subsets = np.arange(len(states))
    alone, caused = np.zeros(len(leaks)), np.zeros(len(leaks))
    for k in range(len(leaks)):
        inside = subsets >> k & 1 == 1
        caused[k] = states[inside] @ left[inside]
        # Without k itself: what is left to the leaks once k is taken for explained.
        alone[k] = states[~inside] @ left[subsets[~inside] | 1 << k]
    return alone, caused
