"""Where water came in, by share; where it showed against where it came in; and the same by groups of vehicles."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

from fieldnote.patterns.statistics import share_of, shrunk, wilson
from fieldnote.patterns.visits import SourceKey, Visit, key_of
from fieldnote.records import GroupShare, Share, SourceShare, WaterPath
from fieldnote.settings import PatternSettings

By = Literal["family", "model_year", "build_month"]
GROUPS: tuple[By, ...] = ("family", "model_year", "build_month")


def jobs_by_source(found: Sequence[Visit]) -> dict[SourceKey, list[Visit]]:
    """The jobs in which water came in at each place and part."""
    by_source: dict[SourceKey, list[Visit]] = {}
    for visit in found:
        for key in visit.sources:
            by_source.setdefault(key, []).append(visit)
    return by_source


def sources(found: Sequence[Visit], settings: PatternSettings) -> tuple[SourceShare, ...]:
    """Every place and part at which water came in, ranked by its share drawn towards that of an average source."""
    by_source = jobs_by_source(found)
    pairs = sum(len(visits) for visits in by_source.values())
    average = pairs / (len(found) * len(by_source)) if by_source else 0.0
    rows = [
        SourceShare(
            place,
            part,
            share_of(len(visits), len(found), settings.level, settings.few),
            shrunk(len(visits), len(found), average, settings.prior_jobs),
            _sides(visits, (place, part)),
            tuple(visit.id for visit in visits),
        )
        for (place, part), visits in by_source.items()
    ]
    return tuple(sorted(rows, key=lambda row: (-row.shrunk, row.place, row.part or "")))


def _sides(visits: Sequence[Visit], key: SourceKey) -> dict[str, int]:
    sides: dict[str, int] = {}
    for visit in visits:
        for side in {leak.head.side or "" for leak in visit.leaks if key_of(leak) == key}:
            sides[side] = sides.get(side, 0) + 1
    return dict(sorted(sides.items()))


def paths(found: Sequence[Visit]) -> tuple[WaterPath, ...]:
    """Pairs of a place where water showed and one where it came in, the most frequent first."""
    jobs: dict[tuple[str | None, str], list[str]] = {}
    for visit in found:
        for showed in visit.showed or (None,):
            for came_in in dict.fromkeys(place for place, _ in visit.sources):
                jobs.setdefault((showed, came_in), []).append(visit.id)
    rows = [WaterPath(showed, came_in, tuple(ids)) for (showed, came_in), ids in jobs.items()]
    return tuple(sorted(rows, key=lambda row: (-len(row.jobs), row.showed or "~", row.came_in)))


def matrix(pairs: Sequence[WaterPath], most: int) -> tuple[list[str], list[str], list[list[int]]]:
    """The places where it showed most (rows) and where it came in most (columns), and jobs by both (rows × columns)."""
    showed: dict[str, int] = {}
    came_in: dict[str, int] = {}
    cells: dict[tuple[str, str], int] = {}
    for path in pairs:
        if path.showed is None:
            continue
        count = len(path.jobs)
        cells[path.showed, path.came_in] = count
        showed[path.showed] = showed.get(path.showed, 0) + count
        came_in[path.came_in] = came_in.get(path.came_in, 0) + count
    rows = sorted(showed, key=lambda place: (-showed[place], place))[:most]
    columns = sorted(came_in, key=lambda place: (-came_in[place], place))[:most]
    return rows, columns, [[cells.get((row, column), 0) for column in columns] for row in rows]


def groups(found: Sequence[Visit], overall: Sequence[SourceShare], settings: PatternSettings) -> tuple[GroupShare, ...]:
    """Sources within each group of vehicles, drawn towards their share of all jobs.

    A row is marked only where the interval, at a level widened for all rows of its kind (Bonferroni), leaves out the
    share of all jobs, and it does not rest on few.
    """
    everywhere = {(row.place, row.part): row.share.share for row in overall}
    rows: list[GroupShare] = []
    for by in GROUPS:
        members: dict[str, list[Visit]] = {}
        for visit in found:
            if by in visit.groups:
                members.setdefault(visit.groups[by], []).append(visit)
        counted = {group: jobs_by_source(visits) for group, visits in members.items()}
        compared = max(1, sum(len(by_source) for by_source in counted.values()))
        for group in sorted(members):
            rows += _of_group(by, group, len(members[group]), counted[group], everywhere, compared, settings)
    return tuple(rows)


def _of_group(
    by: By,
    group: str,
    size: int,
    by_source: Mapping[SourceKey, Sequence[Visit]],
    everywhere: Mapping[SourceKey, float],
    compared: int,
    settings: PatternSettings,
) -> list[GroupShare]:
    rows = [
        GroupShare(
            by, group, place, part,
            share := share_of(len(visits), size, settings.level, settings.few),
            shrunk(len(visits), size, everywhere[place, part], settings.prior_jobs),
            everywhere[place, part],
            _apart(share, everywhere[place, part], 1 - (1 - settings.level) / compared),
            tuple(visit.id for visit in visits),
        )
        for (place, part), visits in by_source.items()
    ]  # fmt: skip
    return sorted(rows, key=lambda row: (-row.shrunk, row.place, row.part or ""))


def _apart(share: Share, everywhere: float, level: float) -> Literal["above", "below", ""]:
    low, high = wilson(share.count, share.of, level)
    if share.few:
        return ""
    return "above" if low > everywhere else "below" if high < everywhere else ""
