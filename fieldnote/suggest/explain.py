"""Which entries raise or lower a source: shares of the change in log-odds.

The shares of one source add up to the change from before to after. Each is the mean of what the entries add in the
order spoken and in the reverse order: for two of them that is the Shapley value, and for more it keeps two that say
the same from hiding each other, which leaving out one at a time would not.

All steps of an order are networks with the same links, so that one pass over them gives the shares: a finding that has
not been said yet has a leak term of 1, which says nothing. Where the evidence is too improbable for the fast sum,
shares are those of a lighter network, in the order spoken alone: its least likely sources act on each finding
independently, as part of its leak term.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fieldnote.suggest.belief import Belief, reweigh
from fieldnote.suggest.covering import Cover
from fieldnote.suggest.leak_map import Floats
from fieldnote.suggest.reading import Reading
from fieldnote.suggest.summing import Sum

LOOSE = 1e-4
"""Rounding error up to which the sum is trusted for figures that are only shown, to two digits."""
_LIGHT = 16
"""Sources that the lighter network keeps beside those asked for."""
_TINY = 1e-15


def shares(reading: Reading, columns: Sequence[int], belief: Belief) -> Floats:
    """Shares (items, columns) of the change in log-odds of each column, one row an item."""
    light = belief.sum_error > LOOSE
    if light:
        wanted = np.zeros(len(reading.prior), dtype=bool)
        wanted[list(columns)] = True
        keep = _kept(belief.prob, wanted)
        reading, columns = _lighter(reading, keep), [int(keep[:c].sum()) for c in columns]
    many = len(reading.items)
    spoken = np.tril(np.ones((many + 1, many), dtype=bool), -1)
    orders = [spoken] if light else [spoken, ~spoken]
    said = np.concatenate(orders)
    odds = _log_odds(reading, said, columns).reshape(len(orders), many + 1, len(columns))
    out = np.diff(odds[0], axis=0)
    if not light:
        out = (out - np.diff(odds[1], axis=0)) / 2.0
    return np.asarray(out)


def _log_odds(reading: Reading, said: NDArray[np.bool_], columns: Sequence[int]) -> Floats:
    """Log-odds (steps, columns) where at each step the items that ``said`` (steps, items) names are known."""
    items, n = reading.items, len(reading.prior)
    weights = np.array([np.zeros(n) if i.log_odds is None else i.log_odds for i in items]).reshape(len(items), n)
    prior = reweigh(reading.prior, said @ weights)
    present = [k for k, i in enumerate(items) if i.links is not None]
    prob = prior[:, list(columns)]
    if present:
        links = np.array([items[k].links for k in present])
        # A finding not said yet is there in any case.
        leaks = np.where(said[:, present], [items[k].leak_prob for k in present], 1.0)
        prob = _prob(prior, links, leaks, columns)
    p = np.clip(prob, _TINY, 1.0 - _TINY)
    return np.asarray(np.log(p) - np.log1p(-p))


def _prob(prior: Floats, links: Floats, leaks: Floats, columns: Sequence[int]) -> Floats:
    """Belief (steps, columns) with ``prior`` (steps, n) and ``leaks`` (steps, k)."""
    sums = Sum(links)
    terms = sums.terms(prior, leaks)
    _, error = sums.evidence(terms)
    prob = sums.prob(prior, terms, columns)
    for step in np.flatnonzero(error > LOOSE):
        said = leaks[step] < 1.0
        prob[step] = Cover(prior[step], links[said], leaks[step, said]).prob()[list(columns)]
    return prob


# ---- a lighter network ----------------------------------------------------------------------------------------


def _kept(prob: Floats, wanted: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The sources (n,) that a lighter network keeps: the likeliest, and those ``wanted`` while they are few."""
    keep = np.zeros(len(prob), dtype=bool)
    keep[np.argsort(-prob, kind="stable")[:_LIGHT]] = True
    return keep | wanted if wanted.sum() <= _LIGHT else keep


def _lighter(reading: Reading, keep: NDArray[np.bool_]) -> Reading:
    """The reading with the columns kept; the others act on each finding as part of its leak term."""
    items = []
    for item in reading.items:
        if item.links is None:
            items.append(replace(item, log_odds=None if item.log_odds is None else item.log_odds[keep]))
            continue
        spared = np.prod(1.0 - reading.prior[~keep] * item.links[~keep])
        items.append(replace(item, links=item.links[keep], leak_prob=1.0 - (1.0 - item.leak_prob) * float(spared)))
    return replace(reading, prior=reading.prior[keep], items=tuple(items))
