"""What cured jobs teach about base rates: counts over the map's own estimates as pseudo-counts.

The map's prior weights are the mean of a Dirichlet distribution of ``strength`` pseudo-jobs; each cured job adds one
count to the source that was cured (shared where a job cured several). The mean after that is
``(a_i + x_i) / (n + sum a)`` (Dirichlet-multinomial; Gelman et al., Bayesian Data Analysis). A family starts from all
jobs, and a vehicle from its family, each with its own strength: so one odd job cannot swing anything.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np

from fieldnote.lessons import Lesson, Tally, withdrawn_of
from fieldnote.records import Intake, Job, Rates
from fieldnote.suggest.closing import standings
from fieldnote.suggest.leak_map import Floats, LeakMap

_RULES = "1"
"""Goes up when the same job would teach something else by this code."""
_DAY_S = 86_400.0


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


def families_of(vehicle: Vehicle) -> tuple[str, ...]:
    """The names under which a vehicle's family is counted: the family, then with its build month."""
    if not vehicle.family:
        return ()
    month = (f"{vehicle.family} {vehicle.build_month}",) if vehicle.build_month else ()
    return (vehicle.family, *month)


@dataclass(frozen=True, slots=True)
class Teacher:
    """Makes lessons of the jobs of one vocabulary (``pack``) by one leak map."""

    leak_map: LeakMap
    pack: str

    @property
    def map_hash(self) -> str:
        """Of the map whose sources the lessons name."""
        return self.leak_map.hash

    @property
    def made_with(self) -> str:
        """Changes whenever the same job would give another lesson."""
        return f"{self.leak_map.hash}-{_RULES}"

    @property
    def comeback_s(self) -> float:
        """A vehicle that is back within so many seconds withdraws what its earlier job taught."""
        return self.leak_map.learning.comeback_days * _DAY_S

    def lesson(self, job: Job) -> Lesson:
        """What a job teaches. An open one cures nothing yet, but says that its vehicle is here."""
        vehicle = vehicle_of(job)
        opened_s = _seconds(job.created_at)
        if job.status != "closed":
            return Lesson(job.id, opened_s, None, vehicle.id, families_of(vehicle))
        closed_s = _seconds(job.closed_at) or opened_s
        return Lesson(job.id, opened_s, closed_s, vehicle.id, families_of(vehicle), cured_sources(self.leak_map, job))


def learn(leak_map: LeakMap, jobs: Iterable[Job]) -> Rates:
    """What closed jobs teach. Only cured jobs count; a comeback within the set days withdraws the earlier one."""
    teacher = Teacher(leak_map, leak_map.pack_id)
    lessons = sorted((teacher.lesson(job) for job in jobs), key=lambda lesson: lesson.job_id)
    withdrawn, tally = withdrawn_of(lessons, teacher.comeback_s), Tally()
    for lesson in lessons:
        tally.add(lesson, withdrawn=withdrawn[lesson.job_id])
    named = [lesson.job_id for lesson in lessons if lesson.sources]
    return replace(
        tally.rates(leak_map.hash),
        jobs=tuple(id for id in named if not withdrawn[id]),
        withdrawn=tuple(id for id in named if withdrawn[id]),
    )


def cured_sources(leak_map: LeakMap, job: Job) -> tuple[str, ...]:
    """The sources that a job cured: none where any repair of it still wants its retest."""
    stand = standings(leak_map, job.entries)
    if not stand or not all(s.closed for s in stand):
        return ()
    return tuple(leak_map.sources[s.source].id for s in stand)


def _seconds(text: str | None) -> float | None:
    """Seconds since 1970 of a time as the store writes it; one that names no zone is in UTC."""
    if not text:
        return None
    moment = datetime.fromisoformat(text)
    return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()


def learned_prior(leak_map: LeakMap, rates: Rates | None, vehicle: Vehicle | None = None) -> Floats:
    """Prior probabilities (sources,) with what was learned; the map's own where there are none."""
    if rates is None or rates.map_hash != leak_map.hash:
        return leak_map.prior
    total = float(leak_map.prior.sum())
    share = _mean(leak_map, leak_map.prior / total, leak_map.learning.strength, rates.counts)
    for key in families_of(vehicle) if vehicle else ():
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
    if rates is None:
        return
    if rates.unread:
        many = "job is" if rates.unread == 1 else "jobs are"
        yield f"At least {rates.unread} new or changed {many} not learned from yet: see `fieldnote next --changes`."
    if not rates.taught:
        return
    if rates.map_hash != leak_map.hash:
        yield "What closed jobs taught was learned on another leak map and is not used."
        return
    many = f"{rates.taught} cured job{'s' if rates.taught > 1 else ''}"
    moved = changes(leak_map, rates)[:3]
    told = "; ".join(f"{c.name} {100 * c.before:.1f} → {100 * c.after:.1f}%" for c in moved)
    yield f"Base rates learned from {many} ({rates.id}): {told}."
