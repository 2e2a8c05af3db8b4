"""The room's way in for jobs at hand: jobs in, ``Patterns`` out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime

from fieldnote.narrate.wording import load_wording
from fieldnote.patterns.checks import Costs
from fieldnote.patterns.chosen import Survey
from fieldnote.patterns.packing import columns_of
from fieldnote.patterns.reckoning import reckon
from fieldnote.patterns.visits import Clock, Rules, visits
from fieldnote.records import Job, Patterns
from fieldnote.settings import PatternSettings
from fieldnote.suggest import LeakMap
from fieldnote.vocabulary import Pack
from fieldnote.vocabulary.pack import State


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
    seen = visits(jobs, rules_of(pack, leak_map), clocks or {})
    found = reckon(columns_of(seen), pack.id, settings, asked, has_map=leak_map is not None, now=now)
    return replace(found, names={visit.id: visit.name for visit in seen})


def rules_of(pack: Pack, leak_map: LeakMap | None) -> Rules:
    """By what jobs of a vocabulary are made into visits."""
    signs = frozenset(s.id for s in pack.rows(State) if "evidence" in s.kinds and not s.denies and not s.sound)
    return Rules(load_wording(pack), signs, Costs(leak_map))
