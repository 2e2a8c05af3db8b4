"""What a repair mends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fieldnote.records import Entry, Side
from fieldnote.suggest import matching
from fieldnote.suggest.leak_map import Floats, LeakMap
from fieldnote.suggest.trials import LEAK


def mended_by(leak_map: LeakMap, repair: Entry, earlier: Sequence[Entry]) -> Floats:
    """What a repair mends, (sources,) of 0 and 1: of what it names, that of which a fault was found or stated."""
    side = repair.side or _side_said(repair, earlier)
    named = matching.at_source(leak_map, repair, None if side == "both" else side) > 0
    proved = any(e.place == repair.place and (e.kind == "source" or e.state == LEAK) for e in earlier)
    if proved and not named.any() and repair.part is not None:
        # The zone leaked, and what was mended there is a part that the map does not name.
        named = matching.at_source(leak_map, replace(repair, part=None), None if side == "both" else side) > 0
    faulty = np.zeros(len(named), dtype=bool)
    for entry in earlier:
        stated = entry.kind == "source" or (entry.kind == "check" and entry.state != "ok" and entry.present)
        if stated and entry.place == repair.place:
            shared = entry.side or side
            faulty |= matching.at_source(leak_map, entry, None if shared == "both" else shared) > 0
    chosen = named & faulty if (named & faulty).any() else named
    return chosen.astype(np.float64)


def _side_said(repair: Entry, earlier: Sequence[Entry]) -> Side | None:
    """The side last said of the repaired place by a fault, a statement or a leaking test."""
    for entry in reversed(earlier):
        if entry.place == repair.place and entry.side and entry.kind in ("check", "source", "test"):
            return entry.side
    return None
