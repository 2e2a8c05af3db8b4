"""What one closed job teaches, and the tally of many: the same whether reckoned in one go or job by job.

Counts are whole numbers of ``UNITS`` a job, so that adding and taking away in any order gives the very same tally.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from fieldnote.records import Rates

UNITS = 720_720
"""One job, shared without a rest by up to 16 sources that it cured together."""

Scope = tuple[str, str]
"""Whose counts: ``("all", "")``, ``("family", name)`` or ``("vehicle", id)``."""
ALL: Scope = ("all", "")


@dataclass(frozen=True, slots=True)
class Lesson:
    """What matters of one job to learning. Times in seconds since 1970; ``sources`` are those that it cured.

    ``families``: the vehicle's family, then with its build month; both as far as known.
    """

    job_id: str
    opened_s: float | None
    closed_s: float | None = None
    vehicle: str | None = None
    families: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()

    @property
    def mark(self) -> int:
        """A number that tells this lesson from any other."""
        told = json.dumps([self.job_id, self.vehicle, self.families, self.sources])
        return int.from_bytes(hashlib.sha256(told.encode()).digest()[:16])

    @property
    def scopes(self) -> tuple[Scope, ...]:
        """Whose counts it moves."""
        vehicle: tuple[Scope, ...] = (("vehicle", self.vehicle),) if self.vehicle else ()
        return (ALL, *(("family", name) for name in self.families), *vehicle)


@dataclass(slots=True)
class Tally:
    """Lessons added up. ``mark`` tells which: the marks of all, each once, whatever their order."""

    taught: int = 0
    withdrawn: int = 0
    mark: int = 0
    units: dict[tuple[Scope, str], int] = field(default_factory=dict)

    def add(self, lesson: Lesson, *, withdrawn: bool, sign: int = 1) -> None:
        """Add a lesson, or with ``sign`` -1 take it away; one that was withdrawn is counted and teaches nothing."""
        if not lesson.sources:
            return
        if withdrawn:
            self.withdrawn += sign
            return
        self.taught += sign
        self.mark ^= lesson.mark
        for scope in lesson.scopes:
            for source in lesson.sources:
                key = scope, source
                self.units[key] = self.units.get(key, 0) + sign * (UNITS // len(lesson.sources))

    def rates(self, map_hash: str) -> Rates:
        """The tally as rates, named by the map's hash and the lessons in it."""
        counts: dict[Scope, dict[str, float]] = {}
        for (scope, source), units in sorted(self.units.items()):
            if units:
                counts.setdefault(scope, {})[source] = units / UNITS
        seed = f"{map_hash} {self.taught} {self.mark:032x}"
        return Rates(
            id=f"rates-{hashlib.sha256(seed.encode()).hexdigest()[:12]}",
            map_hash=map_hash,
            taught=self.taught,
            taken_back=self.withdrawn,
            counts=counts.get(ALL, {}),
            by_family={key: found for (kind, key), found in counts.items() if kind == "family"},
            by_vehicle={key: found for (kind, key), found in counts.items() if kind == "vehicle"},
        )


def withdrawn_of(lessons: Sequence[Lesson], comeback_s: float) -> Mapping[str, bool]:
    """By job, whether its lesson is withdrawn: its vehicle came back (a job of it was opened) within the set time."""
    visits: dict[str, list[tuple[float, str]]] = {}
    for lesson in lessons:
        if lesson.vehicle is not None and lesson.opened_s is not None:
            visits.setdefault(lesson.vehicle, []).append((lesson.opened_s, lesson.job_id))
    return {lesson.job_id: _came_back(lesson, visits.get(lesson.vehicle or "", ()), comeback_s) for lesson in lessons}


def _came_back(lesson: Lesson, visits: Iterable[tuple[float, str]], comeback_s: float) -> bool:
    closed = lesson.closed_s
    if closed is None or not lesson.sources:
        return False
    return any(job != lesson.job_id and 0.0 <= opened - closed <= comeback_s for opened, job in visits)
