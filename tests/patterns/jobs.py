"""Small jobs made by hand, of which every count is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache

from fieldnote.patterns import Survey, survey
from fieldnote.patterns.visits import Clock
from fieldnote.records import Entry, Intake, Job, Patterns, Quantity, Side
from fieldnote.settings import PatternSettings
from fieldnote.suggest import LeakMap, load_map
from fieldnote.vocabulary import Pack, load_pack

SETTINGS = PatternSettings(level=0.95, few=5, charts=6, prior_jobs=10.0, repeat_days=90, longest_find_min=480.0)
START = datetime(2026, 1, 5, 8, 0, tzinfo=UTC)
NOW = datetime(2026, 11, 25, tzinfo=UTC)


@cache
def pack() -> Pack:
    return load_pack("body-leaks")


@cache
def leak_map() -> LeakMap:
    return load_map(pack())


def minutes(what: str, value: float) -> tuple[Quantity, ...]:
    return (Quantity(what, value, "min"),)


def leak(place: str, part: str | None = None, side: Side | None = None, *, mended: bool = True) -> list[Entry]:
    """A test that leaked and the source; where mended, the repair and a retest that proves the cure."""
    found = [
        Entry("test", place, None, side, "leak", method="hose", quantities=minutes("time-to-leak", 1.0)),
        Entry("source", place, part, side),
    ]
    cure = [
        Entry("repair", place, part, side, "reseal"),
        Entry("test", place, None, side, "dry", stage="verify", method="hose", quantities=minutes("duration", 5.0)),
    ]
    return found + (cure if mended else [])


def showed(place: str, state: str = "water") -> Entry:
    return Entry("evidence", place, state=state)


def job(
    number: int,
    entries: Sequence[Entry],
    *,
    day: float = 0.0,
    vin: str | None = None,
    family: str | None = None,
    year: int | None = None,
    role: str | None = None,
    closed_after: float | None = 1.0,
) -> Job:
    """Job ``number``, opened ``day`` days after START and closed so many days later."""
    opened = START + timedelta(days=day)
    closed = opened + timedelta(days=closed_after) if closed_after is not None else None
    return Job(
        f"j{number:03d}",
        f"unit {number}",
        opened.isoformat(),
        "closed" if closed else "open",
        closed.isoformat() if closed else None,
        intake=Intake(vin=vin, family=family, model_year=year, technician="Pat Example", role=role),
        entries=tuple(replace(entry, id=f"e{number}-{n}") for n, entry in enumerate(entries)),
    )


def look(
    jobs: Sequence[Job],
    asked: Survey | None = None,
    *,
    clocks: dict[str, Clock] | None = None,
    with_map: bool = True,
    **changed: float,
) -> Patterns:
    settings = replace(SETTINGS, **changed)  # type: ignore[arg-type]
    used = leak_map() if with_map else None
    return survey(jobs, pack(), settings, asked, leak_map=used, clocks=clocks, now=NOW)
