"""One job as patterns see it: when, which vehicle, what leaked and how far that is proved, where it showed, what was
checked. Nothing more of a job is needed to look at many of them, so this is what the store keeps a summary of."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime

from fieldnote.narrate.proof import SECONDS, Grade, Leak, leaked, prove
from fieldnote.narrate.wording import Wording
from fieldnote.patterns.checks import CheckTally, Costs, tally_checks
from fieldnote.records import Entry, Job, Side
from fieldnote.suggest import vehicle_of


@dataclass(frozen=True, slots=True)
class Clock:
    """When recordings of a job began, and when an entry (by id) was spoken; seconds since 1970."""

    began: float
    spoken: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class LeakLine:
    """One leak of a job. ``find_min``: minutes from the first recording until it was found, where the clock tells."""

    place: str
    part: str | None
    side: Side | None
    grade: Grade
    mended: bool
    find_min: float | None = None


@dataclass(frozen=True, slots=True)
class Visit:
    """One job. ``leaks`` are those of which a place was named, whatever their grade."""

    id: str
    name: str
    opened: datetime
    closed: datetime | None
    vehicle: str | None
    family: str | None
    model_year: str | None
    build_month: str | None
    role: str | None
    leaks: tuple[LeakLine, ...]
    proved: bool
    """Whether it holds a cured leak, and none that is not."""
    showed: tuple[str, ...]
    """Places at which a sign of water was found before the repair."""
    checks: tuple[CheckTally, ...]
    labor_min: float | None = None
    clocked: bool = False
    """Whether its recordings say when they began."""


@dataclass(frozen=True, slots=True)
class Rules:
    """By what jobs are made into visits: the wording, states of evidence that mean water, and what checks cost."""

    wording: Wording
    signs: frozenset[str]
    costs: Costs


def visits(jobs: Iterable[Job], rules: Rules, clocks: Mapping[str, Clock]) -> list[Visit]:
    """The jobs as visits, in the order given; ``clocks`` are by job id."""
    return [visit_of(job, rules, clocks.get(job.id)) for job in jobs]


def visit_of(job: Job, rules: Rules, clock: Clock | None = None) -> Visit:
    """One job as a visit."""
    leaks = prove(job.entries, rules.wording).leaks
    vehicle = vehicle_of(job)
    year: object = job.intake.model_year or next((e.value for e in job.entries if e.what == "model-year"), None)
    return Visit(
        job.id,
        job.name,
        moment(job.created_at),
        moment(job.closed_at) if job.status == "closed" and job.closed_at else None,
        vehicle.id,
        job.intake.family,
        str(year) if year else None,
        vehicle.build_month,
        job.intake.role,
        tuple(_line(leak, clock) for leak in leaks if leak.head.place),
        bool(leaks) and all(leak.grade == "cured" for leak in leaks),
        _showed(job.entries, rules.signs),
        tally_checks(job.entries, rules.wording, rules.costs),
        _labor_min(job.entries),
        clock is not None,
    )


def _line(leak: Leak, clock: Clock | None) -> LeakLine:
    head = leak.head
    assert head.place is not None
    return LeakLine(head.place, head.part, head.side, leak.grade, bool(leak.repairs), _find_min(leak, clock))


def moment(text: str) -> datetime:
    """A time of the store, in UTC."""
    when = datetime.fromisoformat(text)
    return when.replace(tzinfo=UTC) if when.tzinfo is None else when.astimezone(UTC)


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


def _find_min(leak: Leak, clock: Clock | None) -> float | None:
    """Minutes from the start of the first recording until a test showed the leak, or it was named where none did."""
    if clock is None:
        return None
    shown = [e for e in leak.leaks if leaked(e)] or [leak.head]
    times = [clock.spoken[e.id] for e in shown if e.id in clock.spoken]
    return (min(times) - clock.began) / 60.0 if times else None
