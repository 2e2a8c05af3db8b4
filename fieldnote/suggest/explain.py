"""Which entries raise or lower a source: shares of the change in log-odds.

The shares of one source add up to the change from before to after. Each is the mean of what the entries add in the
order spoken and in the reverse order: for two of them that is the Shapley value, and for more it keeps two that say
the same from hiding each other, which leaving out one at a time would not.

Where the evidence is too improbable for the fast sum, shares are those of the light network (``belief.lighten``), in
the order spoken alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fieldnote.suggest.belief import LOOSE, Belief, kept_when_light, posterior
from fieldnote.suggest.leak_map import Floats
from fieldnote.suggest.reading import Item, Reading

_TINY = 1e-15


def shares(reading: Reading, columns: Sequence[int], belief: Belief) -> Floats:
    """Shares (items, columns) of the change in log-odds of each column, one row an item."""
    light = belief.sum_error > LOOSE
    if light:
        wanted = np.zeros(len(reading.prior))
        wanted[list(columns)] = 1.0
        keep = kept_when_light(belief.prob, wanted)
        reading, columns = _light(reading, keep), [int(keep[:c].sum()) for c in columns]
    items = reading.items
    out = np.zeros((len(items), len(columns)))
    orders = [range(len(items)), range(len(items) - 1, -1, -1)][: 1 if light else 2]
    for order in orders:
        chosen: list[Item] = []
        before = _log_odds(reading, chosen, columns)
        for n in order:
            chosen.append(items[n])
            after = _log_odds(reading, chosen, columns)
            out[n] += (after - before) / len(orders)
            before = after
    return out


def _log_odds(reading: Reading, chosen: Sequence[Item], columns: Sequence[int]) -> Floats:
    p = posterior(reading.network(chosen), LOOSE).prob[list(columns)]
    p = np.clip(p, _TINY, 1.0 - _TINY)
    return np.asarray(np.log(p) - np.log1p(-p))


def _light(reading: Reading, keep: NDArray[np.bool_]) -> Reading:
    """The reading with the columns kept; the others act on each finding as part of its leak term."""
    items = []
    for item in reading.items:
        if item.links is None:
            items.append(replace(item, log_odds=None if item.log_odds is None else item.log_odds[keep]))
            continue
        spared = np.prod(1.0 - reading.prior[~keep] * item.links[~keep])
        items.append(replace(item, links=item.links[keep], leak_prob=1.0 - (1.0 - item.leak_prob) * float(spared)))
    return replace(reading, prior=reading.prior[keep], items=tuple(items))
