"""Which entries raise or lower a source: shares of the change in log-odds.

The shares of one source add up to the change from before to after. Each is the mean of what the entries add in the
order spoken and in the reverse order: for two of them that is the Shapley value, and for more it keeps two that say
the same from hiding each other, which leaving out one at a time would not.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fieldnote.suggest.belief import LOOSE, Network, posterior
from fieldnote.suggest.leak_map import Floats
from fieldnote.suggest.reading import Item, Reading

_TINY = 1e-15


def shares(reading: Reading, columns: Sequence[int]) -> Floats:
    """Shares (items, columns) of the change in log-odds of each column, one row an item."""
    items = reading.items
    out = np.zeros((len(items), len(columns)))
    for order in (range(len(items)), range(len(items) - 1, -1, -1)):
        chosen: list[Item] = []
        before = _log_odds(reading.network(chosen), columns)
        for n in order:
            chosen.append(items[n])
            after = _log_odds(reading.network(chosen), columns)
            out[n] += (after - before) / 2.0
            before = after
    return out


def _log_odds(net: Network, columns: Sequence[int]) -> Floats:
    # Shares are shown to two digits: a loose bound keeps the fast sum.
    p = posterior(net, LOOSE).prob[list(columns)]
    p = np.clip(p, _TINY, 1.0 - _TINY)
    return np.asarray(np.log(p) - np.log1p(-p))
