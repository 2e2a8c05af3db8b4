"""Which sources and openings an entry speaks of, and what share of it bears on each."""

from __future__ import annotations

import numpy as np

from fieldnote.records import Entry, Side
from fieldnote.suggest.leak_map import RELATIONS, SIDE_CODE, Floats, LeakMap, MethodRow, Source

_MINUTES = {"s": 1.0 / 60.0, "min": 1.0, "h": 60.0}


def side_fits(source: Side | None, said: Side | None) -> bool:
    """Whether something on ``source`` side is meant where ``said`` was said; no side on either means any."""
    return said in (None, "both") or source is None or source == said


def at_source(leak_map: LeakMap, entry: Entry, side: Side | None) -> Floats:
    """The share (n,) of a look, repair or statement that bears on each source: 0 where it does not."""
    share = np.zeros(len(leak_map.sources))
    m = leak_map.model
    for i in leak_map.by_place.get(entry.place or "", ()):
        source = leak_map.sources[i]
        part = _part_share(source, entry.part, m.place_only_share)
        share[i] = part * _spot_share(source, entry, m.other_spot_share) * side_fits(source.side, side)
    if not share.any() and side is not None:
        # The side was said, but the map does not tell the sides of this part apart.
        return at_source(leak_map, entry, None)
    return share


def _part_share(source: Source, part: str | None, unsaid: float) -> float:
    if part is None:
        return unsaid if source.part else 1.0
    return 1.0 if part == source.part or part in source.row.also else 0.0


def _spot_share(source: Source, entry: Entry, other: float) -> float:
    apart = entry.at and source.row.at and not set(entry.at) & set(source.row.at)
    return other if apart else 1.0


# ---- where water was put --------------------------------------------------------------------------------------


def reach(leak_map: LeakMap, test: Entry, method: MethodRow) -> Floats:
    """The share (n,) of a test's water (or air, smoke, sound) that gets to each source, run-off included."""
    share = np.zeros(len(leak_map.sources))
    if test.place is None:
        share[:] = 1.0
    else:
        _wet(leak_map, share, test, test.place, 1.0)
        for run in leak_map.runs_to.get(test.place, ()):
            _wet(leak_map, share, test, run.place, run.share_prob)
    share[~leak_map.found_by[method.id]] = 0.0
    for place in test.masked:
        share[leak_map.by_place.get(place, [])] = 0.0
    return share


def _wet(leak_map: LeakMap, share: Floats, test: Entry, place: str, much: float) -> None:
    m, here = leak_map.model, leak_map.by_place.get(place)
    if here is None:
        return
    got = much * _wet_sides(test.side, m.other_spot_share)[leak_map.side_codes[here]]
    if place == test.place and (test.part is not None or test.at):
        for n, i in enumerate(here):
            # Water put on one part hits its neighbours too, but less.
            if test.part is not None and not _part_share(leak_map.sources[i], test.part, 1.0):
                got[n] *= m.other_part_share
            got[n] *= _spot_share(leak_map.sources[i], test, m.other_spot_share)
    share[here] = np.maximum(share[here], got)


def _wet_sides(said: Side | None, beside: float) -> Floats:
    """The share (4,) of water on the side said that gets to a source, by the code of its side."""
    if said in (None, "both"):
        return np.ones(4)
    share = np.full(4, beside) if said == "center" else np.zeros(4)
    share[SIDE_CODE["center"]] = beside
    share[[SIDE_CODE[None], SIDE_CODE[said]]] = 1.0
    return share


def minutes(entry: Entry) -> float | None:
    """How long the water ran: by the clock, else as said, else up to the leak; nothing where none of it is known."""
    if entry.clocked_s is not None:
        return entry.clocked_s / 60.0
    said = [quantity_min(entry, what) for what in ("duration", "time-to-leak")]
    known = [s for s in said if s is not None]
    return max(known) if known else None


def leaked_after_min(entry: Entry) -> float | None:
    """After how many minutes a test leaked, as said or by the clock: the longest named."""
    said = quantity_min(entry, "time-to-leak")
    clocked = None if entry.clocked_leak_s is None else entry.clocked_leak_s / 60.0
    known = [s for s in (said, clocked) if s is not None]
    return max(known) if known else None


def quantity_min(entry: Entry, what: str) -> float | None:
    """A quantity of time of the entry, in minutes."""
    for quantity in entry.quantities:
        if quantity.what == what and quantity.unit in _MINUTES:
            return quantity.value * _MINUTES[quantity.unit]
    return None


def power(leak_map: LeakMap, method: MethodRow, long_min: float) -> Floats:
    """The chance (n,) that a source which is fully reached shows within ``long_min`` minutes."""
    half_min = method.half_min * leak_map.slowness
    return np.asarray(method.power_prob * -np.expm1(-np.log(2.0) * long_min / half_min))


# ---- where it shows -------------------------------------------------------------------------------------------

_SAID_SIDES = 4


def _side_table(crossing: float) -> Floats:
    """Share of a ``shows`` probability by relation, side of the source and side said: (4, 4, 4)."""
    table = np.full((len(RELATIONS), 4, _SAID_SIDES), 0.5)
    table[:, :, SIDE_CODE[None]] = 1.0
    table[RELATIONS.index("both")] = 1.0
    left, right, center = SIDE_CODE["left"], SIDE_CODE["right"], SIDE_CODE["center"]
    for mine, other in ((left, right), (right, left)):
        table[RELATIONS.index("same"), mine, mine] = 1.0
        table[RELATIONS.index("same"), mine, other] = crossing
        table[RELATIONS.index("opposite"), mine, other] = 1.0
        table[RELATIONS.index("opposite"), mine, mine] = crossing
    table[RELATIONS.index("same"), center, center] = 1.0
    return table


def shows_at(leak_map: LeakMap, place: str, part: str | None, side: Side | None, sign: str) -> Floats:
    """The chance (n,) that each source alone shows ``sign`` at a place, part and side (never ``both``)."""
    links = leak_map.links[place]
    table = _side_table(leak_map.model.crossing_prob)
    prob = links.prob * table[links.relation, links.source_side, SIDE_CODE[side]]
    m = leak_map.model
    # Water seen on one of two surfaces that the map tells apart says little of a source that shows on the other.
    other = m.told_apart_share if part in links.parts else m.other_part_share
    row = leak_map.signs.get(sign)
    unnamed = 1.0 if row is None else row.unnamed_share
    fits = np.array([_fits(p, s, part, sign, other, unnamed) for p, s in zip(links.parts, links.signs, strict=True)])
    absent = np.ones(len(leak_map.sources))
    np.multiply.at(absent, links.source, 1.0 - prob * fits)
    return 1.0 - absent


def _fits(row_part: str, row_signs: frozenset[str], part: str | None, sign: str, other: float, unnamed: float) -> float:
    if row_signs and sign not in row_signs:
        return 0.0
    named = 1.0 if row_signs else unnamed
    return named if not row_part or part is None or row_part == part else other * named


def surface(leak_map: LeakMap, place: str, part: str | None) -> str | None:
    """The part by which findings at ``place`` are kept apart: only one that the map tells apart there."""
    return part if part in leak_map.links[place].parts else None


def told_sign(leak_map: LeakMap, place: str, sign: str) -> str | None:
    """The sign by which findings at ``place`` are kept apart: only one that some source shows there alone."""
    return sign if any(sign in signs for signs in leak_map.links[place].signs) else None


# ---- what is off ----------------------------------------------------------------------------------------------


def openings_of(leak_map: LeakMap, entry: Entry) -> tuple[int, ...]:
    """Indexes of the openings that an access entry speaks of."""
    return tuple(
        i
        for i, opening in enumerate(leak_map.openings)
        if opening.row.place == entry.place
        and (not entry.part or not opening.row.part or opening.row.part == entry.part)
        and side_fits(opening.side, entry.side)
    )
