"""Exact belief in a two-level noisy-OR network: many possible sources, a few present findings.

Sources are independent beforehand. Finding k is absent with chance ``(1 - leak_k) * prod_i q_ik`` over the sources i
that are there, ``q_ik = 1 - link_ik`` (Pearl, Probabilistic Reasoning in Intelligent Systems, 1988, p. 184; QMR-DT,
Shwe et al. 1991). Whatever bears on single sources (absent findings, looks, dry tests) factorises over them and goes
into the odds beforehand. The rest is summed over exactly, in one of two ways:

``Sum``    inclusion and exclusion over the 2^k subsets of the present findings: fewest operations, but terms of both
           signs cancel where the findings are improbable together.
``Cover``  the distribution over the set of findings explained so far, forward and backward: nothing cancels.

The sum is taken where the estimate of its rounding error is small enough. Both are exact up to rounding. Cost grows
with 2^k: callers keep k within the map's ``present_cap``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fieldnote.suggest.covering import Cover
from fieldnote.suggest.leak_map import Floats
from fieldnote.suggest.summing import Sum

SURE = 1.0 - 1e-13
"""Odds stay within those of this probability and of what it leaves."""
EXACT = 1e-9
"""Largest estimate of the relative rounding error for which the sum is trusted (it overstates by ten times or more)."""
SHOWN = 1e-6
"""The same for the chance of a group, which is shown to six digits."""


@dataclass(frozen=True, slots=True)
class Network:
    """``prior`` (n,): probability of each source with all that factorises; ``links`` (k, n), ``leaks`` (k,)."""

    prior: Floats
    links: Floats
    leaks: Floats


def reweigh(prior: Floats, log_odds: Floats) -> Floats:
    """``prior`` (n,) with evidence on single sources, given as log odds factors (n,)."""
    sure = np.clip(prior, 1.0 - SURE, SURE)
    z = np.log(sure) - np.log1p(-sure) + log_odds
    return np.asarray(np.clip(1.0 / (1.0 + np.exp(-z)), 0.0, SURE), dtype=np.float64)


class Belief:
    """Belief in one network; what was worked out for one answer serves the next."""

    def __init__(self, net: Network, allowed: float = EXACT) -> None:
        self._net, self._allowed = net, allowed

    @cached_property
    def prob(self) -> Floats:
        """The probability (n,) of each source given everything; without present findings it is the prior."""
        net = self._net
        if not len(net.leaks):
            return net.prior.copy()
        return self._sum.prob(net.prior[None], self._terms)[0] if self._summed else self._cover.prob()

    @cached_property
    def log_evidence(self) -> float:
        """log P(all present findings)."""
        if not len(self._net.leaks):
            return 0.0
        return float(np.log(self._terms.sum())) if self._summed else self._cover.log_evidence()

    @cached_property
    def sum_error(self) -> float:
        """The estimate of the relative rounding error that the sum has, or would have."""
        return float(self._sum.evidence(self._terms)[1][0]) if len(self._net.leaks) else 0.0

    def none_of(self, groups: Sequence[Floats]) -> Floats:
        """P(none of a group is there | everything), a group each; a group (n,) is above 0 for the sources meant."""
        net = self._net
        absent = np.array([np.log1p(-net.prior[group > 0]).sum() for group in groups])
        if not len(net.leaks):
            return np.asarray(np.exp(absent))
        if not len(groups):
            return absent
        evidence, error = self._sum.evidence(self._sum.terms_without(net.prior, net.leaks, groups))
        trusted = error <= (SHOWN if self.sum_error <= SHOWN else self._allowed)
        after = np.log(np.where(trusted, evidence, 1.0))
        if not trusted.all():
            left = np.flatnonzero(~trusted)
            after[left] = self._cover.log_evidence_without([groups[n] for n in left.tolist()])
        return np.asarray(np.minimum(np.exp(after + absent - self.log_evidence), 1.0))

    @property
    def _summed(self) -> bool:
        return self.sum_error <= self._allowed

    @cached_property
    def _sum(self) -> Sum:
        return Sum(self._net.links)

    @cached_property
    def _terms(self) -> Floats:
        return self._sum.terms(self._net.prior[None], self._net.leaks[None])

    @cached_property
    def _cover(self) -> Cover:
        return Cover(self._net.prior, self._net.links, self._net.leaks)


def posterior(net: Network, allowed: float = EXACT) -> Belief:
    """The exact belief in a network; ``allowed`` is the largest rounding error estimated for which a sum is trusted."""
    return Belief(net, allowed)
