"""The room's way in: entries and conditions in, candidates with reasons and the order of work out."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fieldnote.records import Advice, Conditions, Entry, Rates, Reason, Side, Suggestion
from fieldnote.suggest import wording
from fieldnote.suggest.aftercare import aftercare
from fieldnote.suggest.belief import Belief, posterior
from fieldnote.suggest.cautions import Cautions
from fieldnote.suggest.closing import Standing, standings
from fieldnote.suggest.conditions import weigh_conditions
from fieldnote.suggest.explain import shares
from fieldnote.suggest.leak_map import Floats, LeakMap
from fieldnote.suggest.learning import Vehicle, learned_prior, rates_note
from fieldnote.suggest.plan import make_plan
from fieldnote.suggest.reading import Reading, read
from fieldnote.suggest.steps import StepBook
from fieldnote.suggest.trials import DRY, LEAK

MOST_SUGGESTIONS = 12
FEWEST_SUGGESTIONS = 3
FEWEST_DRY = 2
_SAME = 1e-9
_DIGITS = 12
_SHOWN_SHARE = 0.05
_NAMED = 3
"""Sources that a note names, of many with the same standing."""


@dataclass(frozen=True, slots=True)
class _Candidate:
    """One line of the list: a source, or both sides of it where nothing tells them apart."""

    members: tuple[int, ...]
    side: Side | None
    probability: float


def advise(
    leak_map: LeakMap,
    entries: Sequence[Entry],
    conditions: Conditions | None = None,
    rates: Rates | None = None,
    *,
    cautions: Cautions | None = None,
    vehicle: Vehicle | None = None,
) -> Advice:
    """Candidates by probability, with reasons; the plan; what follows a proved leak; what could not be used.

    ``rates`` are what cured jobs taught (none: the map's own base rates), ``vehicle`` picks those of its family and
    of itself. Entries without an id are called ``entry 1``, ``entry 2`` and so on, in the order given.
    """
    named = [e if e.id else replace(e, id=f"entry {n}") for n, e in enumerate(entries, 1)]
    prior = learned_prior(leak_map, rates, vehicle)
    reading = read(leak_map, named, prior)
    weighed, unknown = weigh_conditions(leak_map, reading, conditions or Conditions())
    net = weighed.network()
    belief = posterior(net)
    stand = standings(leak_map, named)
    closed = {s.source for s in stand if s.closed}
    # Rounded, so that what nothing tells apart is ordered by id and not by the last bit.
    open_prob = np.round(belief.prob[list(weighed.column)], _DIGITS)
    open_prob[list(closed)] = 0.0
    listed = _candidates(leak_map, weighed, belief, open_prob, closed)
    rates_id = rates.id if rates is not None else f"map-{leak_map.hash[:12]}"
    another = _another(weighed, belief, closed)
    plan = make_plan(leak_map, named, open_prob, stand, weighed.off, another, cautions or Cautions())
    return Advice(
        suggestions=_suggestions(leak_map, weighed, belief, listed, prior, rates_id, cautions or Cautions()),
        plan=plan,
        unused=(*weighed.unused, *unknown),
        aftercare=aftercare(leak_map, named),
        rates=rates_id,
        cautions=(cautions or Cautions()).always,
        notes=tuple(_notes(leak_map, weighed, belief, named, stand, rates, another)),
    )


# ---- candidates -----------------------------------------------------------------------------------------------


def _candidates(
    leak_map: LeakMap, reading: Reading, belief: Belief, open_prob: Floats, closed: set[int]
) -> list[_Candidate]:
    """Sources by falling probability; ties break by id. Sides that nothing tells apart are one line."""
    lines: dict[tuple[str, float | None], list[int]] = {}
    chances = open_prob.tolist()
    for i, source in enumerate(leak_map.sources):
        if i in closed:
            continue
        twin = None if source.side in (None, "center") else round(chances[i] / _SAME)
        lines.setdefault((source.row.id if twin is not None else source.id, twin), []).append(i)
    ranked = sorted(lines.values(), key=lambda g: (-_rough(chances, g), leak_map.sources[g[0]].id))
    ranked = ranked[: MOST_SUGGESTIONS + FEWEST_SUGGESTIONS]
    none_of = iter(belief.none_of([_mask(reading, group) for group in ranked if len(group) > 1]).tolist())
    out = []
    for group in ranked:
        alone = len(group) == 1
        side, prob = (
            (leak_map.sources[group[0]].side, chances[group[0]])
            if alone
            else (None, round(1.0 - next(none_of), _DIGITS))
        )
        out.append(_Candidate(tuple(group), side, prob))
    out.sort(key=lambda c: (-c.probability, leak_map.sources[c.members[0]].id))
    least = leak_map.model.least_prob
    return [c for n, c in enumerate(out[:MOST_SUGGESTIONS]) if c.probability >= least or n < FEWEST_SUGGESTIONS]


def _mask(reading: Reading, sources: Iterable[int]) -> Floats:
    """Above 0 in the columns (n,) of these sources."""
    meant = np.zeros(len(reading.prior))
    meant[[reading.column[i] for i in sources]] = 1.0
    return meant


def _rough(chances: Sequence[float], group: Sequence[int]) -> float:
    return 1.0 - math.prod(1.0 - chances[i] for i in group)


def _suggestions(
    leak_map: LeakMap,
    reading: Reading,
    belief: Belief,
    listed: Sequence[_Candidate],
    prior: Floats,
    rates: str,
    cautions: Cautions,
) -> tuple[Suggestion, ...]:
    if not listed:
        return ()
    columns = [reading.column[c.members[0]] for c in listed]
    table = shares(reading, columns, belief)
    out = []
    for rank, (candidate, column) in enumerate(zip(listed, table.T, strict=True), 1):
        source = leak_map.sources[candidate.members[0]]
        look = StepBook(leak_map, cautions, sum(1 << i for i in reading.off)).look_alone(candidate.members[0])
        out.append(
            Suggestion(
                rank=rank,
                source=source.id if len(candidate.members) == 1 else source.row.id,
                place=source.place,
                part=source.part,
                side=candidate.side,
                probability=round(candidate.probability, 6),
                because=_reasons(leak_map, reading, column, candidate.members[0], float(prior[candidate.members[0]])),
                rates=rates,
                name=source.row.name,
                at=source.row.at,
                confidence=source.row.confidence,
                minutes=look.minutes,
                opens=look.opens,
                cautions=look.cautions,
                would_change=look.would_change,
            )
        )
    return tuple(out)


def _reasons(leak_map: LeakMap, reading: Reading, column: Floats, index: int, prior: float) -> tuple[Reason, ...]:
    """The entries that move a source, the strongest first, and where it started from."""
    source = leak_map.sources[index]
    strongest = sorted(range(len(column)), key=lambda n: (-abs(column[n]), n))
    reasons = [
        Reason(reading.items[n].text, round(float(column[n]), 3), reading.items[n].entries)
        for n in strongest
        if abs(column[n]) >= _SHOWN_SHARE
    ]
    if index in reading.repaired:
        fails = 1.0 - leak_map.model.repair_holds_prob
        return (*reasons, Reason(f"it was repaired: {100 * fails:.0f}% of repairs fail (estimate)"))
    start = f"before any entry: {100 * prior:.1f}% (estimate, confidence {source.row.confidence})"
    return (*reasons, Reason(start))


# ---- notes ----------------------------------------------------------------------------------------------------


def _another(reading: Reading, belief: Belief, closed: set[int]) -> float:
    """The chance that any source which is not closed still lets water in."""
    meant = _mask(reading, (i for i in range(len(reading.column)) if i not in closed))
    return 1.0 - float(belief.none_of([meant])[0])


def _notes(
    leak_map: LeakMap,
    reading: Reading,
    belief: Belief,
    entries: Sequence[Entry],
    stand: Sequence[Standing],
    rates: Rates | None,
    another: float,
) -> Iterable[str]:
    yield from rates_note(leak_map, rates)
    yield from _standing_notes(leak_map, stand)
    closed = {s.source for s in stand if s.closed}
    if closed:
        yield f"Chance of another leak beside what is closed: {100 * another:.0f}%."
    else:
        yield from _liquid_note(leak_map, reading, belief)
    tests = [e for e in entries if e.kind == "test" and e.state in (LEAK, DRY)]
    if len(tests) >= FEWEST_DRY and not stand and all(e.state == DRY for e in tests):
        yield (
            f"Not reproduced so far: {len(tests)} tests, all dry. "
            f"Chance that it is nothing that the map knows: {100 * (1 - another):.0f}%."
        )


def _standing_notes(leak_map: LeakMap, stand: Sequence[Standing]) -> Iterable[str]:
    """One line for what shares place, side and standing."""
    lines: dict[tuple[str, bool, str], list[str]] = {}
    for s in stand:
        source = leak_map.sources[s.source]
        where = wording.spot(leak_map, source.place)
        names = lines.setdefault((where, s.closed, s.missing), [])
        names.append(wording.sided(source.row.name, source.side))
    for (where, done, missing), names in lines.items():
        more = f"; {len(names) - _NAMED} more" if len(names) > _NAMED + 1 else ""
        told = "; ".join(names[:_NAMED] if more else names) + more
        if done:
            yield f"Closed, repaired and dry in the retest: {where} ({told})."
        else:
            yield f"Repaired, not closed, {missing}: {where} ({told})."


def _liquid_note(leak_map: LeakMap, reading: Reading, belief: Belief) -> Iterable[str]:
    """Is it rain at all? The chance of each kind of water; more than one may be true."""
    liquids: dict[str, list[int]] = {}
    for i, source in enumerate(leak_map.sources):
        liquids.setdefault(source.row.liquid, []).append(i)
    none_of = belief.none_of([_mask(reading, sources) for sources in liquids.values()])
    chances = [(1.0 - float(none), liquid) for none, liquid in zip(none_of, liquids, strict=True)]
    told = [f"{leak_map.name('liquid', q)} {100 * p:.0f}%" for p, q in sorted(chances, reverse=True) if p >= 0.01]
    yield f"Which water: {', '.join(told)}."
