"""How entries, sources and openings are named in reasons and steps: plain words out of the pack's own names."""

from __future__ import annotations

from fieldnote.records import Entry, Side
from fieldnote.suggest.leak_map import LeakMap
from fieldnote.suggest.matching import minutes


def spot(leak_map: LeakMap, place: str | None, part: str | None = None, side: Side | None = None) -> str:
    """ "left rear pillar, trim panel"."""
    where = leak_map.name("place", place) if place else "no place said"
    words = f"{side} {where}" if side in ("left", "right") else where
    if side in ("both", "center"):
        words = f"{where} ({side})"
    return f"{words}, {leak_map.name('part', part)}" if part else words


def said(leak_map: LeakMap, entry: Entry) -> str:
    """One entry as a reason names it: "left rear pillar: droplets"."""
    where = spot(leak_map, entry.place, entry.part, entry.side)
    if entry.kind == "test":
        long_min = minutes(entry)
        lasted = f" for {duration(long_min)}" if long_min is not None else ""
        masked = f", {' and '.join(spot(leak_map, p) for p in entry.masked)} masked" if entry.masked else ""
        method = leak_map.name("method", entry.method) if entry.method else "test"
        return f"{method} at {where}{lasted}{masked}: {leak_map.name('state', entry.state)}"
    state = leak_map.name("state", entry.state) if entry.state else entry.kind
    denied = "" if entry.present else "no "
    doubt = " (unsure)" if entry.certainty == "unsure" else ""
    return f"{where}: {denied}{state}{doubt}"


def short(name: str) -> str:
    """A source's name without what follows a colon: "windshield adhesive at the top centre"."""
    return name.split(":")[0]


def sided(name: str, side: Side | None) -> str:
    """The same with its side: "skip in the trough sealer, left"."""
    return f"{short(name)}, {side}" if side in ("left", "right") else short(name)


def duration(long_min: float) -> str:
    """ "40 s" or "3 min"."""
    return f"{long_min * 60:.0f} s" if long_min < 1 else f"{long_min:g} min"
