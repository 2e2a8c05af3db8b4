"""What cured jobs teach about base rates: counts over the map's own estimates as pseudo-counts.

The map's prior weights are the mean of a Dirichlet distribution of ``strength`` pseudo-jobs; each cured job adds one
count to the source that was cured (shared where a job cured several). The mean after that is
``(a_i + x_i) / (n + sum a)`` (Dirichlet-multinomial; Gelman et al., Bayesian Data Analysis). A family starts from all
jobs, and a vehicle from its family, each with its own strength: so one odd job cannot swing anything.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from fieldnote.records import Intake, Job, Rates
from fieldnote.suggest.closing import standings
from fieldnote.suggest.leak_map import Floats, LeakMap


@dataclass(frozen=True, slots=True)
class Vehicle:
    """Whose rates are wanted: its family (with its build month where known) and its own id (VIN or unit number)."""

    family: str | None = None
    build_month: str | None = None
    id: str | None = None


@dataclass(frozen=True, slots=True)
class Change:
    """How far learning has moved one source's base rate."""

    source: str
    name: str
    before: float
    after: float
    jobs: float


def vehicle_of(job: Job) -> Vehicle:
    """The vehicle of a job, from its intake or the facts dictated."""
    intake: Intake = job.intake
    facts = {e.what: e.value for e in job.entries if e.kind == "fact"}
    id = intake.vin or facts.get("vin") or intake.vehicle or facts.get("unit-number") or facts.get("plate")
    month = intake.build_month or facts.get("build-date")
    return Vehicle(intake.family, str(month) if month else None, str(id) if id else None)


def learn(leak_map: LeakMap, jobs: Iterable[Job]) -> Rates:
    """What closed jobs teach. Only cured jobs count; a comeback within the set days withdraws the earlier one."""
    closed = sorted((j for j in jobs if j.status == "closed"), key=lambda j: (j.closed_at or j.created_at, j.id))
    visits = _visits(jobs if isinstance(jobs, Sequence) else closed)
    cured = {job.id: sources for job in closed if (sources := cured_sources(leak_map, job))}
    withdrawn = {j.id for j in closed if j.id in cured and _came_back(leak_map, j, visits)}
    return _count(leak_map, [j for j in closed if j.id in cured and j.id not in withdrawn], cured, sorted(withdrawn))


def cured_sources(leak_map: LeakMap, job: Job) -> tuple[str, ...]:
    """The sources that a job cured: none where any repair of it still wants its retest."""
    stand = standings(leak_map, job.entries)
    if not stand or not all(s.closed for s in stand):
        return ()
    return tuple(leak_map.sources[s.source].id for s in stand)


def _visits(jobs: Iterable[Job]) -> dict[str, list[tuple[datetime, str]]]:
    """By vehicle the days on which its jobs were opened, with their ids: so that a comeback is looked up and not
    searched for among all jobs."""
    visits: dict[str, list[tuple[datetime, str]]] = {}
    for job in jobs:
        vehicle, opened = vehicle_of(job).id, _day(job.created_at)
        if vehicle is not None and opened is not None:
            visits.setdefault(vehicle, []).append((opened, job.id))
    return visits


def _came_back(leak_map: LeakMap, job: Job, visits: Mapping[str, Sequence[tuple[datetime, str]]]) -> bool:
    mine, closed = vehicle_of(job).id, _day(job.closed_at or job.created_at)
    if mine is None or closed is None:
        return False
    longest_s = leak_map.learning.comeback_days * 86400
    return any(
        other != job.id and 0 <= (opened - closed).total_seconds() <= longest_s
        for opened, other in visits.get(mine, ())
    )


def _day(text: str | None) -> datetime | None:
    if not text:
        return None
    day = datetime.fromisoformat(text)
    return day.replace(tzinfo=None) if day.tzinfo is None else day.astimezone().replace(tzinfo=None)


def _count(
    leak_map: LeakMap, jobs: Sequence[Job], cured: Mapping[str, tuple[str, ...]], withdrawn: Sequence[str]
) -> Rates:
    counts: dict[str, float] = {}
    families: dict[str, dict[str, float]] = {}
    vehicles: dict[str, dict[str, float]] = {}
    for job in jobs:
        vehicle = vehicle_of(job)
        tables = [counts, *(families.setdefault(k, {}) for k in _family_keys(vehicle))]
        if vehicle.id:
            tables.append(vehicles.setdefault(vehicle.id, {}))
        for source in cured[job.id]:
            for table in tables:
                table[source] = table.get(source, 0.0) + 1.0 / len(cured[job.id])
    names = tuple(sorted(job.id for job in jobs))
    seed = "\n".join([leak_map.hash, *names])
    id = f"rates-{hashlib.sha256(seed.encode()).hexdigest()[:12]}"
    return Rates(id, leak_map.hash, names, counts, families, vehicles, tuple(withdrawn))


def _family_keys(vehicle: Vehicle) -> tuple[str, ...]:
    if not vehicle.family:
        return ()
    month = (f"{vehicle.family} {vehicle.build_month}",) if vehicle.build_month else ()
    return (vehicle.family, *month)


def learned_prior(leak_map: LeakMap, rates: Rates | None, vehicle: Vehicle | None = None) -> Floats:
    """Prior probabilities (sources,) with what was learned; the map's own where there are none."""
    if rates is None or rates.map_hash != leak_map.hash:
        return leak_map.prior
    total = float(leak_map.prior.sum())
    share = _mean(leak_map, leak_map.prior / total, leak_map.learning.strength, rates.counts)
    for key in _family_keys(vehicle) if vehicle else ():
        share = _mean(leak_map, share, leak_map.learning.family_strength, rates.by_family.get(key, {}))
    if vehicle is not None and vehicle.id:
        share = _mean(leak_map, share, leak_map.learning.vehicle_strength, rates.by_vehicle.get(vehicle.id, {}))
    return np.asarray(np.minimum(share * total, 0.95))


def _mean(leak_map: LeakMap, share: Floats, strength: float, counts: Mapping[str, float]) -> Floats:
    """The Dirichlet mean with ``share`` (sources,) times ``strength`` as pseudo-counts."""
    x = np.array([counts.get(s.id, 0.0) for s in leak_map.sources])
    return np.asarray((strength * share + x) / (strength + x.sum()))


def changes(leak_map: LeakMap, rates: Rates, vehicle: Vehicle | None = None) -> tuple[Change, ...]:
    """How far every source that jobs have named has moved, the largest change first."""
    after = learned_prior(leak_map, rates, vehicle)
    found = [
        Change(s.id, s.row.name, float(leak_map.prior[i]), float(after[i]), rates.counts[s.id])
        for i, s in enumerate(leak_map.sources)
        if s.id in rates.counts
    ]
    return tuple(sorted(found, key=lambda c: (-abs(c.after - c.before), c.source)))


def rates_note(leak_map: LeakMap, rates: Rates | None) -> Iterable[str]:
    """One line on what was learned, where anything was."""
    if rates is None or not rates.jobs:
        return
    if rates.map_hash != leak_map.hash:
        yield "What closed jobs taught was learned on another leak map and is not used."
        return
    many = len(rates.jobs)
    moved = changes(leak_map, rates)[:3]
    told = "; ".join(f"{c.name} {100 * c.before:.1f} → {100 * c.after:.1f}%" for c in moved)
    yield f"Base rates learned from {many} cured job{'s' if many > 1 else ''} ({rates.id}): {told}."
