"""The field guide from the map in force and what closed jobs taught."""

from __future__ import annotations

from collections.abc import Sequence

from fieldnote.flow.advising import learned_rates
from fieldnote.flow.rooms import Rooms
from fieldnote.narrate.field_guide import Leaf, field_guide
from fieldnote.suggest.learning import learned_prior


def guide(rooms: Rooms, places: Sequence[str] = (), *, learning: bool = True) -> tuple[tuple[Leaf, ...], str]:
    """The leaves of these places (none: all), and a sentence on what the rates come from.

    Raises:
        NotFound: the map shows no water at a place.
        StoreFault: the data folder cannot be used.

    """
    leak_map = rooms.leak_map
    rates = learned_rates(rooms.store, leak_map, rooms.pack.id) if learning else None
    prior = [float(p) for p in learned_prior(leak_map, rates)]
    leaves = field_guide(leak_map, rooms.pack, rooms.cautions, places=places, prior=prior)
    jobs = rates.taught if rates is not None else 0
    taught = f"{jobs} closed job{'s' if jobs != 1 else ''} moved the shares." if jobs else ""
    return leaves, taught


__all__ = ["guide"]
