"""Repeat visits: the same vehicle back with a leak of the same zone within a set time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from fieldnote.narrate.proof import Leak, same_zone
from fieldnote.patterns.statistics import share_of, shrunk
from fieldnote.patterns.visits import Visit
from fieldnote.records import RepeatVisits
from fieldnote.settings import PatternSettings


@dataclass(frozen=True, slots=True)
class Repeats:
    """All zones together first, then by place; ``left_out`` visits have days for coming back left."""

    rows: tuple[RepeatVisits, ...]
    left_out: int


def repeats(seen: Sequence[Visit], every: Sequence[Visit], settings: PatternSettings, now: datetime) -> Repeats:
    """How many mended visits among ``seen`` came back, looked up among ``every``.

    A visit counts once its days for coming back are over, whether it came back or not: counting the early returns of
    those still waiting would make the share too high.
    """
    wait = timedelta(days=settings.repeat_days)
    by_vehicle: dict[str, list[Visit]] = {}
    for visit in every:
        if visit.vehicle is not None:
            by_vehicle.setdefault(visit.vehicle, []).append(visit)
    counted: dict[str | None, int] = {}
    returned: dict[str | None, list[tuple[str, str]]] = {}
    left_out = 0
    for visit in seen:
        mended = [leak for leak in visit.leaks if leak.repairs]
        if visit.vehicle is None or visit.closed is None or not mended:
            continue
        if visit.closed + wait > now:
            left_out += 1
            continue
        later = [v for v in by_vehicle[visit.vehicle] if v.id != visit.id and _within(visit.closed, v.opened, wait)]
        back = _first_back(mended, later)
        counted[None] = counted.get(None, 0) + 1
        if back is not None:
            returned.setdefault(None, []).append((visit.id, back.id))
        for place in dict.fromkeys(leak.head.place for leak in mended):
            counted[place] = counted.get(place, 0) + 1
            back = _first_back([leak for leak in mended if leak.head.place == place], later)
            if back is not None:
                returned.setdefault(place, []).append((visit.id, back.id))
    return Repeats(_rows(counted, returned, settings), left_out)


def _within(closed: datetime, opened: datetime, wait: timedelta) -> bool:
    return closed <= opened <= closed + wait


def _first_back(mended: Sequence[Leak], later: Sequence[Visit]) -> Visit | None:
    """The first later visit with a leak of a zone that was mended."""
    for visit in later:
        if any(same_zone(old.head, new.head) for old in mended for new in visit.leaks):
            return visit
    return None


def _rows(
    counted: dict[str | None, int], returned: dict[str | None, list[tuple[str, str]]], settings: PatternSettings
) -> tuple[RepeatVisits, ...]:
    if not counted:
        return ()
    average = len(returned.get(None, ())) / counted[None]
    rank = {
        place: shrunk(len(returned.get(place, ())), of, average, settings.prior_jobs) for place, of in counted.items()
    }
    return tuple(
        RepeatVisits(
            place,
            # Few returns are good news and no lack of evidence: here few visits are few.
            replace(share_of(len(returned.get(place, ())), of, settings.level, 0), few=of < settings.few),
            tuple(returned.get(place, ())),
        )
        for place, of in sorted(
            counted.items(), key=lambda item: (item[0] is not None, -rank[item[0]], -item[1], item[0] or "")
        )
    )
