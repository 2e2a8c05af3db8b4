"""What intake says of the job (which liquid, when, how parked, what was worked on before) as odds of the sources."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np

from fieldnote.records import Conditions, Unused
from fieldnote.suggest.leak_map import ConditionWeight, LeakMap
from fieldnote.suggest.reading import Reading
from fieldnote.suggest.sheet import Item


def weigh_conditions(leak_map: LeakMap, reading: Reading, conditions: Conditions) -> tuple[Reading, tuple[Unused, ...]]:
    """The reading with the conditions of the job weighed in: odds by liquid, and of single sources."""
    items, unknown = [], []
    for f in fields(Conditions):
        value = getattr(conditions, f.name)
        for id in value if isinstance(value, tuple) else ():
            item = _condition(leak_map, reading, id)
            if item is None:
                unknown.append(Unused(f"condition {id}", "no source of the map depends on it"))
            else:
                items.append(item)
    return replace(reading, items=(*items, *reading.items)), tuple(unknown)


def _condition(leak_map: LeakMap, reading: Reading, id: str) -> Item | None:
    row = leak_map.conditions.get(id, ConditionWeight(id))
    factor = np.array(
        [
            row.odds.get(s.row.liquid, 1.0) * row.side_odds.get(s.side or "", 1.0) * s.row.conditions.get(id, 1.0)
            for s in leak_map.sources
        ]
    )
    if (factor == 1.0).all():
        return None
    odds = np.zeros(len(reading.prior))
    odds[: len(factor)] = np.log(factor)
    return Item(f"condition of the job: {leak_map.name('condition', id)}", (), odds)
