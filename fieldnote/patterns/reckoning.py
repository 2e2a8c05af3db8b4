"""All figures out of visits at hand, each with what its shares are shares of."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

from fieldnote.patterns.chosen import Chosen, Survey
from fieldnote.patterns.empty_checks import empty_checks
from fieldnote.patterns.packing import Columns
from fieldnote.patterns.repeats import repeats
from fieldnote.patterns.sources import groups, paths, sources
from fieldnote.patterns.times import times
from fieldnote.patterns.weeks import week_charts
from fieldnote.records import Patterns
from fieldnote.settings import PatternSettings

_EVERY = (
    "Jobs seen here, not vehicles built: nobody counted the vehicles that never leaked or went elsewhere. "
    "Places looked at first are found more often."
)


def reckon(
    columns: Columns,
    pack: str,
    settings: PatternSettings,
    asked: Survey | None = None,
    *,
    has_map: bool,
    now: datetime | None = None,
) -> Patterns:
    """What recurs across visits at hand, without the names of their jobs; see ``survey``.

    ``has_map``: whether what checks cost is a leak map's.
    """
    asked = asked or Survey()
    chosen = Chosen(columns, asked)
    by_source = sources(chosen, settings)
    repeat = repeats(chosen, settings, now or datetime.now(UTC))
    return Patterns(
        pack, asked.grade, asked.since, asked.until, asked.place, settings.level, settings.repeat_days,
        settings.few, chosen.many_seen, chosen.many_found,
        sources=by_source,
        paths=paths(chosen),
        groups=groups(chosen, by_source, settings),
        times=times(chosen, settings),
        repeats=repeat.rows,
        weeks=week_charts(chosen, settings),
        empty_checks=empty_checks(chosen, settings),
        denominators=_denominators(chosen, settings, repeat.left_out, has_map=has_map),
        role=asked.role,
    )  # fmt: skip


def _jobs(many: int) -> str:
    return f"{many} job{'' if many == 1 else 's'}"


def _denominators(chosen: Chosen, settings: PatternSettings, waiting: int, *, has_map: bool) -> dict[str, str]:
    proof = {
        "suspected": "with a leak named, proved or not",
        "fault": "with a leak whose fault was seen, or more",
        "water": "in which water was seen to come in",
        "cured": "with a leak that was proved cured",
    }[chosen.asked.grade]
    base = f"Of {_jobs(chosen.many_found)} {proof} (looked at: {chosen.many_seen})"
    head = chosen.columns.head[chosen.found]
    signs = len(np.unique(chosen.showed[0]))
    labor = int((~np.isnan(head["labor_min"])).sum())
    clock = int((head["clocked"] > 0).sum())
    unsaid = {name: int((head[name] == 0).sum()) for name in ("family", "model_year", "build_month")}
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
            f"Of all looked at: {_jobs(chosen.many_seen)}. {named}; what comes off is counted once a job. A check that "
            "found nothing also ruled a place out: that is no waste by itself."
        ),
    }
