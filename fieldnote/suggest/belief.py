"""Exact belief in a two-level noisy-OR network: many possible sources, a few present findings.

Sources are independent beforehand. Finding k is absent with chance ``(1 - leak_k) * prod_i q_ik`` over the sources i
that are there, ``q_ik = 1 - link_ik`` (Pearl, Probabilistic Reasoning in Intelligent Systems, 1988, p. 184; QMR-DT,
Shwe et al. 1991). Whatever bears on single sources (absent findings, looks, dry tests) factorises over them and goes
into the odds beforehand; present findings do not, and are summed over exactly, in two ways:

``summed``  inclusion and exclusion over the 2^k subsets T of the present findings:
            P(all present) = sum_T (-1)^|T| prod_{k in T}(1 - leak_k) prod_i (1 - p_i + p_i prod_{k in T} q_ik).
            One array operation, but terms of both signs cancel where the evidence is improbable.
``covered`` adds one source after another to the distribution over the set of findings explained so far, forward and
            backward. All terms are positive, so nothing cancels; it costs a pass over every link.

``posterior`` takes the sum where the estimate of its rounding error is small enough and covers otherwise. Both are exact up
to rounding. Cost grows with 2^k: callers keep k within the map's ``present_cap``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldnote.suggest.leak_map import Floats

_SURE = 1.0 - 1e-13
_ROUNDING = float(np.finfo(np.float64).eps)
_ERROR_ALLOWED = 1e-10
"""Largest estimate of the relative rounding error of the sum for which it is trusted."""
_LOOSE = 1e-4


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


def reweigh(prior: Floats, log_odds: Floats) -> Floats:
    """``prior`` (n,) with evidence on single sources, given as log odds factors (n,)."""
    sure = np.clip(prior, 1.0 - _SURE, _SURE)
    z = np.log(sure) - np.log1p(-sure) + log_odds
    return np.asarray(np.clip(1.0 / (1.0 + np.exp(-z)), 0.0, _SURE), dtype=np.float64)


def posterior(net: Network) -> Belief:
    """The exact belief. Without present findings it is the prior."""
    if not len(net.leaks):
        return Belief(net.prior.copy(), 0.0)
    belief = summed(net)
    return belief if belief is not None else covered(net)


def log_evidence(net: Network) -> float:
    """log P(all present findings)."""
    if not len(net.leaks):
        return 0.0
    products, terms = _terms(net)
    total = _signed(net.leaks) * np.exp(np.log(terms).sum(axis=1))
    if _trusted(total, len(net.prior), _ERROR_ALLOWED):
        return float(np.log(total.sum()))
    return covered(net).log_evidence


def none_of(net: Network, sources: Floats, evidence: float | None = None) -> float:
    """P(none of ``sources`` is there | everything); ``sources`` (n,) is 1 for those meant, 0 otherwise."""
    without = Network(np.where(sources > 0, 0.0, net.prior), net.links, net.leaks)
    before = log_evidence(net) if evidence is None else evidence
    absent = float(np.log1p(-net.prior[sources > 0]).sum())
    return float(min(1.0, np.exp(log_evidence(without) + absent - before)))


# ---- inclusion and exclusion ----------------------------------------------------------------------------------


def summed(net: Network, *, loose: bool = False) -> Belief | None:
    """Belief by inclusion and exclusion, or nothing where rounding could matter (``loose``: beyond 1e-4)."""
    products, terms = _terms(net)
    total = _signed(net.leaks) * np.exp(np.log(terms).sum(axis=1))
    if not _trusted(total, len(net.prior), _LOOSE if loose else _ERROR_ALLOWED):
        return None
    evidence = float(total.sum())
    np.divide(products, terms, out=products)
    prob = net.prior * (total @ products) / evidence
    return Belief(np.clip(prob, 0.0, 1.0), float(np.log(evidence)))


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


def _signed(leaks: Floats) -> Floats:
    """(-1)^|T| prod_{k in T}(1 - leak_k) for every subset T: (2^k,)."""
    signed = np.ones(1)
    for leak in leaks:
        signed = np.concatenate([signed, -(1.0 - leak) * signed])
    return signed


def _trusted(total: Floats, sources: int, allowed: float) -> bool:
    """Whether the rounding error of the sum is negligible: it grows as the root of the roundings of a term."""
    evidence = float(total.sum())
    if evidence <= 0.0:
        return False
    roundings = float(sources) ** 0.5
    return float(np.abs(total).sum()) * roundings * _ROUNDING < allowed * evidence


# ---- covering -------------------------------------------------------------------------------------------------


def covered(net: Network) -> Belief:
    """Belief by passing forward and backward over the sources; nothing cancels."""
    count = len(net.leaks)
    touching = np.flatnonzero((net.links > 0).any(axis=0) & (net.prior > 0))
    linked = [[(k, float(net.links[k, i])) for k in range(count) if net.links[k, i] > 0] for i in touching]
    states = _cover(_start(count), [(k, float(leak)) for k, leak in enumerate(net.leaks) if leak > 0])
    forward, scale = [states], [0.0]
    for i, links in zip(touching, linked, strict=True):
        p = net.prior[i]
        states = (1.0 - p) * states + p * _cover(states, links)
        size = float(states[-1]) or float(states.max())
        # Rescaled so that many improbable findings do not run out of range.
        states = states / size
        forward.append(states)
        scale.append(float(np.log(size)))
    backward = np.zeros(1 << count)
    backward[-1] = 1.0
    prob = net.prior.copy()
    for n in range(len(touching) - 1, -1, -1):
        i = touching[n]
        p = net.prior[i]
        with_it = _uncover(backward, linked[n])
        there, not_there = p * float(forward[n] @ with_it), (1.0 - p) * float(forward[n] @ backward)
        prob[i] = there / (there + not_there)
        backward = (1.0 - p) * backward + p * with_it
        backward /= backward.max()
    return Belief(prob, float(np.log(states[-1])) + sum(scale))


def _start(count: int) -> Floats:
    states = np.zeros(1 << count)
    states[0] = 1.0
    return states


def _cover(states: Floats, links: list[tuple[int, float]]) -> Floats:
    """Move the share ``p`` of every set without finding k to the set with it."""
    out = states.copy()
    for k, p in links:
        pairs = out.reshape(-1, 2, 1 << k)
        moved = pairs[:, 0] * p
        pairs[:, 1] += moved
        pairs[:, 0] -= moved
    return out


def _uncover(states: Floats, links: list[tuple[int, float]]) -> Floats:
    """The adjoint of ``_cover``."""
    out = states.copy()
    for k, p in links:
        pairs = out.reshape(-1, 2, 1 << k)
        pairs[:, 0] = (1.0 - p) * pairs[:, 0] + p * pairs[:, 1]
    return out
