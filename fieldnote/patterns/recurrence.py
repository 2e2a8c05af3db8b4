"""The room's one way in: kept jobs in, ``Patterns`` out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from fieldnote.narrate.proof import Grade
from fieldnote.narrate.wording import load_wording
from fieldnote.patterns.empty_checks import empty_checks
from fieldnote.patterns.repeats import repeats
from fieldnote.patterns.sources import groups, paths, sources
from fieldnote.patterns.times import times
from fieldnote.patterns.visits import Clock, Visit, visits
from fieldnote.patterns.weeks import week_charts
from fieldnote.records import Job, Patterns
from fieldnote.settings import PatternSettings
from fieldnote.suggest import LeakMap
from fieldnote.vocabulary import Pack
from fieldnote.vocabulary.pack import State

_EVERY = (
    "Jobs seen here, not vehicles built: nobody counted the vehicles that never leaked or went elsewhere. "
    "Places looked at first are found more often."
)


@dataclass(frozen=True, slots=True)
class Survey:
    """Which jobs are looked at: opened ``since`` to ``until`` (the start of an RFC 3339 time each, both included),
    with water in or signs of it at ``place``; leaks count from ``grade`` on."""

    since: str | None = None
    until: str | None = None
    place: str | None = None
    grade: Grade = "water"


def survey(
    jobs: Iterable[Job],
    pack: Pack,
    settings: PatternSettings,
    asked: Survey | None = None,
    *,
    leak_map: LeakMap | None = None,
    clocks: Mapping[str, Clock] | None = None,
    now: datetime | None = None,
) -> Patterns:
    """What recurs across ``jobs``, all of ``pack``.

    Args:
        jobs: every kept job of the pack, whether asked for or not: a repeat visit may lie outside the dates.
        pack: their vocabulary.
        settings: level of the intervals, what counts as few, and the like.
        asked: which of the jobs are looked at; all of them where None.
        leak_map: what checks cost; without it their minutes are unknown.
        clocks: by job id, when entries were spoken.
        now: the time of asking: a visit whose days for coming back are not over cannot be counted yet.

    """
    asked = asked or Survey()
    every = visits(jobs, load_wording(pack), _signs(pack), asked.grade, clocks or {})
    seen = [visit for visit in every if _wanted(visit, asked)]
    found = [visit for visit in seen if visit.leaks]
    by_source = sources(found, settings)
    repeat = repeats(seen, every, settings, now or datetime.now(UTC))
    timed = times(found, settings)
    return Patterns(
        pack.id, asked.grade, asked.since, asked.until, asked.place, settings.level, settings.repeat_days,
        settings.few, len(seen), len(found),
        sources=by_source,
        paths=paths(found),
        groups=groups(found, by_source, settings),
        times=timed,
        repeats=repeat.rows,
        weeks=week_charts(seen, settings),
        empty_checks=empty_checks(seen, pack, leak_map, settings),
        denominators=_denominators(seen, found, asked, settings, repeat.left_out, leak_map is not None),
        names={visit.id: visit.name for visit in every},
    )  # fmt: skip


def _signs(pack: Pack) -> frozenset[str]:
    return frozenset(s.id for s in pack.rows(State) if "evidence" in s.kinds and not s.denies and not s.sound)


def _wanted(visit: Visit, asked: Survey) -> bool:
    day = visit.opened.isoformat()
    if asked.since is not None and day < asked.since:
        return False
    if asked.until is not None and day[: len(asked.until)] > asked.until:
        return False
    return asked.place is None or asked.place in visit.showed or any(asked.place == key[0] for key in visit.sources)


def _jobs(many: int) -> str:
    return f"{many} job{'' if many == 1 else 's'}"


def _denominators(
    seen: Sequence[Visit],
    found: Sequence[Visit],
    asked: Survey,
    settings: PatternSettings,
    waiting: int,
    has_map: bool,
) -> dict[str, str]:
    proof = {
        "suspected": "with a leak named, proved or not",
        "fault": "with a leak whose fault was seen, or more",
        "water": "in which water was seen to come in",
        "cured": "with a leak that was proved cured",
    }[asked.grade]
    base = f"Of {_jobs(len(found))} {proof} (looked at: {len(seen)})"
    signs = sum(bool(visit.showed) for visit in found)
    labor = sum(visit.labor_min is not None for visit in found)
    clock = sum(visit.clock is not None for visit in found)
    unsaid = {
        name: sum(name not in visit.groups for visit in found) for name in ("family", "model_year", "build_month")
    }
    named = "The leak map's estimates" if has_map else "This vocabulary has no leak map: minutes are those said"
    return {
        "every": _EVERY,
        "sources": f"{base}; a job with several leaks counts at each of them, so shares may add up to more than all.",
        "paths": f"{base}; {signs} of them note where it showed, up to the first repair. One job may show at several.",
        "groups": (
            f"{base}; not recorded: family of {unsaid['family']}, model year of {unsaid['model_year']}, build month "
            f"of {unsaid['build_month']}. Shares are of the jobs of the group. How many of them were built is unknown."
        ),
        "times": (
            f"{base}; {clock} have recordings that say when they began, {labor} state their labor (of the whole job, "
            f"repair included). Searches over {settings.longest_find_min:g} min by the clock are left out."
        ),
        "repeats": (
            f"Of visits of a known vehicle with a leak mended and the job closed, those whose {settings.repeat_days} "
            f"days for coming back are over; {waiting} are still waiting. A vehicle that went elsewhere is not seen."
        ),
        "weeks": f"{base}, by the week (UTC) in which they were opened; without a proved cure: of jobs closed.",
        "empty-checks": (
            f"Of all looked at: {_jobs(len(seen))}. {named}; what comes off is counted once a job. A check that found "
            "nothing also ruled a place out: that is no waste by itself."
        ),
    }
