"""One job as patterns see it: when, which vehicle, what leaked and how far that is proved, and where it showed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime

from fieldnote.narrate.proof import SECONDS, Grade, Leak, leaked, prove
from fieldnote.narrate.wording import Wording
from fieldnote.records import Entry, Job
from fieldnote.suggest import vehicle_of

GRADES: tuple[Grade, ...] = ("suspected", "fault", "water", "cured")
"""From least to most proof."""

SourceKey = tuple[str, str | None]
"""Place and part."""


@dataclass(frozen=True, slots=True)
class Clock:
    """When recordings of a job began, and when an entry (by id) was spoken; seconds since 1970."""

    began: float
    spoken: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Visit:
    """One job. ``leaks`` are those proved to the grade that was asked for, one a place, part and side."""

    id: str
    name: str
    opened: datetime
    closed: datetime | None
    vehicle: str | None
    groups: Mapping[str, str]
    """Vehicle family, model year and build month, where recorded."""
    entries: tuple[Entry, ...]
    leaks: tuple[Leak, ...]
    proved: bool
    """Whether it holds a cured leak, and none that is not."""
    showed: tuple[str, ...]
    """Places at which a sign of water was found before the repair."""
    labor_min: float | None = None
    clock: Clock | None = None

    @property
    def day(self) -> date:
        """The day on which it was opened (UTC)."""
        return self.opened.date()

    @property
    def sources(self) -> tuple[SourceKey, ...]:
        """Places and parts at which water came in, each once."""
        return tuple(dict.fromkeys(key for leak in self.leaks if (key := key_of(leak)) is not None))


def key_of(leak: Leak) -> SourceKey | None:
    """Place and part of a leak; None where no place was named."""
    return None if leak.head.place is None else (leak.head.place, leak.head.part)


def visits(
    jobs: Iterable[Job], wording: Wording, signs: frozenset[str], grade: Grade, clocks: Mapping[str, Clock]
) -> list[Visit]:
    """The jobs, oldest first. ``signs`` are states of evidence that mean water; ``clocks`` are by job id."""
    least = GRADES.index(grade)
    found = []
    for job in jobs:
        leaks = prove(job.entries, wording).leaks
        opened = moment(job.created_at)
        found.append(
            Visit(
                job.id,
                job.name,
                opened,
                moment(job.closed_at) if job.status == "closed" and job.closed_at else None,
                vehicle_of(job).id,
                _groups(job),
                job.entries,
                tuple(leak for leak in leaks if GRADES.index(leak.grade) >= least and leak.head.place),
                bool(leaks) and all(leak.grade == "cured" for leak in leaks),
                _showed(job.entries, signs),
                _labor_min(job.entries),
                clocks.get(job.id),
            )
        )
    return sorted(found, key=lambda visit: (visit.opened, visit.id))


def moment(text: str) -> datetime:
    """A time of the store, in UTC."""
    when = datetime.fromisoformat(text)
    return when.replace(tzinfo=UTC) if when.tzinfo is None else when.astimezone(UTC)


def _groups(job: Job) -> dict[str, str]:
    year: object = job.intake.model_year or next((e.value for e in job.entries if e.what == "model-year"), None)
    month = vehicle_of(job).build_month
    known = {"family": job.intake.family, "model_year": year, "build_month": month}
    return {name: str(value) for name, value in known.items() if value}


def _showed(entries: Sequence[Entry], signs: frozenset[str]) -> tuple[str, ...]:
    """Places with a sign of water, up to the first repair: afterwards it may be water of the tests."""
    places: dict[str, None] = {}
    for entry in entries:
        if entry.kind == "repair":
            break
        if entry.kind == "evidence" and entry.present and entry.place and entry.state in signs:
            places[entry.place] = None
    return tuple(places)


def _labor_min(entries: Sequence[Entry]) -> float | None:
    """Labor stated, in minutes; several statements add up. None where there is none."""
    said = [
        float(e.value) * SECONDS[e.unit] / 60.0
        for e in entries
        if e.kind == "fact" and e.what == "labor" and isinstance(e.value, (int, float)) and e.unit in SECONDS
    ]
    return sum(said) if said else None


def find_min(visit: Visit, leak: Leak) -> float | None:
    """Minutes from the start of the first recording until a test showed the leak, or it was named where none did."""
    if visit.clock is None:
        return None
    shown = [e for e in leak.leaks if leaked(e)] or [leak.head]
    times = [visit.clock.spoken[e.id] for e in shown if e.id in visit.clock.spoken]
    return (min(times) - visit.clock.began) / 60.0 if times else None
