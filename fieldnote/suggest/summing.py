"""Inclusion and exclusion over the subsets T of the present findings, for several networks with the same links.

P(all present) = sum_T (-1)^|T| prod_{k in T}(1 - leak_k) prod_i (1 - p_i + p_i prod_{k in T} q_ik), q_ik = 1 - link_ik.

A source's factor depends on T only within its own findings: factors are multiplied up bundle by bundle, over few sets,
before they are spread over all of them. Terms of both signs cancel where the findings are improbable together; the
estimate of the rounding error that goes with each sum tells whether it can be trusted.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fieldnote.suggest.bundles import Bundle, bundles
from fieldnote.suggest.leak_map import Floats

_ROUNDING = float(np.finfo(np.float64).eps)


class Sum:
    """The sums for ``links`` (k, n). Arguments are those of q networks: ``prior`` (q, n), ``leaks`` (q, k)."""

    def __init__(self, links: Floats) -> None:
        self.bundles = bundles(links)
        self._linked = sum(len(b.members) for b in self.bundles)
        self._stay = [_stay_away(b, links) for b in self.bundles]

    def terms(self, prior: Floats, leaks: Floats) -> Floats:
        """The signed terms (q, 2^k) of each sum."""
        total = _signed(1.0 - leaks)
        for b, bundle in enumerate(self.bundles):
            total *= self._factors(b, prior).prod(axis=1)[:, bundle.inside]
        return total

    def terms_without(self, prior: Floats, leaks: Floats, groups: Sequence[Floats]) -> Floats:
        """The terms (groups, 2^k) of one network (``prior`` (n,), ``leaks`` (k,)), each time without some sources.

        A group (n,) is above 0 for the sources left out.
        """
        total = _signed(np.tile(1.0 - leaks, (len(groups), 1)))
        left_out = np.array(groups).reshape(len(groups), -1) > 0
        for b, bundle in enumerate(self.bundles):
            factors = self._factors(b, prior[None])[0]
            out = left_out[:, bundle.members]
            products = np.tile(factors.prod(axis=0), (len(groups), 1))
            for row in np.flatnonzero(out.any(axis=1)):
                products[row] = factors[~out[row]].prod(axis=0)
            total *= products[:, bundle.inside]
        return total

    def evidence(self, terms: Floats) -> tuple[Floats, Floats]:
        """P(all present) (q,), and the estimate (q,) of its relative rounding error.

        That of a term grows as the root of its factors; the estimate overstates by ten times or more.
        """
        found = terms.sum(axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            error = np.abs(terms).sum(axis=1) * (2.0 + float(self._linked) ** 0.5) * _ROUNDING / found
        return found, np.where(found > 0.0, error, np.inf)

    def prob(self, prior: Floats, terms: Floats, columns: Sequence[int] | None = None) -> Floats:
        """The probability (q, columns) of each source, all findings being present; of all n where none are named."""
        chosen = np.arange(prior.shape[1]) if columns is None else np.asarray(columns)
        at = {int(i): c for c, i in enumerate(chosen)}
        out, evidence = prior[:, chosen], terms.sum(axis=1)[:, None]
        for b, bundle in enumerate(self.bundles):
            rows = [r for r, i in enumerate(bundle.members.tolist()) if i in at]
            if not rows:
                continue
            p, stay = prior[:, bundle.members[rows]], self._stay[b][rows]
            weight = terms[:, bundle.index].sum(axis=1)
            there = (stay / (p[:, :, None] * stay + (1.0 - p[:, :, None])) * weight[:, None, :]).sum(axis=2)
            out[:, [at[i] for i in bundle.members[rows].tolist()]] = np.clip(p * there / evidence, 0.0, 1.0)
        return out

    def _factors(self, b: int, prior: Floats) -> Floats:
        """Factors (q, sources, 2^m) of a bundle's sources, by set of its own findings."""
        p = prior[:, self.bundles[b].members, None]
        return np.asarray(p * self._stay[b] + (1.0 - p))


def _stay_away(bundle: Bundle, links: Floats) -> Floats:
    """The chance (sources, 2^m) that a source, being there, causes none of a set of the bundle's findings."""
    out = np.ones((len(bundle.members), 1))
    for k in bundle.axes:
        out = np.concatenate([out, out * (1.0 - links[k, bundle.members])[:, None]], axis=1)
    return out


def _signed(keep: Floats) -> Floats:
    """(-1)^|T| prod_{k in T}(1 - leak_k) for every subset T: (q, 2^k)."""
    signed = np.ones((len(keep), 1))
    for stays in keep.T:
        signed = np.concatenate([signed, -stays[:, None] * signed], axis=1)
    return signed
