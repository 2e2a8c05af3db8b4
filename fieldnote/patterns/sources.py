"""Where water came in, by share; where it showed against where it came in; and the same by groups of vehicles."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from fieldnote.patterns.chosen import Chosen, distinct, grouped, grouped_ids
from fieldnote.patterns.statistics import Floats, share_of, shrunk, shrunk_many, wilson_many
from fieldnote.records import GroupShare, Share, SourceShare, WaterPath
from fieldnote.settings import PatternSettings

By = Literal["family", "model_year", "build_month"]
_APART: tuple[Literal["", "above", "below"], ...] = ("", "above", "below")
GROUPS: tuple[By, ...] = ("family", "model_year", "build_month")


def sources(chosen: Chosen, settings: PatternSettings) -> tuple[SourceShare, ...]:
    """Every place and part at which water came in, ranked by its share drawn towards that of an average source."""
    found, of = chosen.sources, chosen.many_found
    average = len(found.visit) / (of * len(found.keys)) if found.keys else 0.0
    jobs, sides = grouped_ids(chosen.columns, found.source, found.visit), _sides(chosen)
    rows = [
        SourceShare(
            place,
            part,
            share_of(len(jobs[number]), of, settings.level, settings.few),
            shrunk(len(jobs[number]), of, average, settings.prior_jobs),
            sides[number],
            jobs[number],
        )
        for number, (place, part) in enumerate(found.keys)
    ]
    return tuple(sorted(rows, key=lambda row: (-row.shrunk, row.place, row.part or "")))


def _sides(chosen: Chosen) -> list[dict[str, int]]:
    """For each source, jobs by side."""
    leaks, of = chosen.found_leaks
    _, source, side = distinct(of, chosen.sources.of_leak, leaks["side"])
    sides: list[dict[str, int]] = [{} for _ in chosen.sources.keys]
    for number, codes in grouped(source, side).items():
        kinds, counts = np.unique(codes, return_counts=True)
        told = {chosen.word(kind): count for kind, count in zip(kinds, counts.tolist(), strict=True)}
        sides[number] = dict(sorted(told.items()))
    return sides


def paths(chosen: Chosen) -> tuple[WaterPath, ...]:
    """Pairs of a place where water showed and one where it came in, the most frequent first."""
    visit, came_in = chosen.came_in
    sign_of, sign = chosen.showed
    many = np.bincount(sign_of, minlength=len(chosen.columns.head))
    begin = np.concatenate(([0], np.cumsum(many)[:-1])) if len(many) else many
    # Each place at which it came in, beside each at which it showed; beside none (0) where nothing was noted.
    beside = np.maximum(many[visit], 1)
    visits, came = np.repeat(visit, beside), np.repeat(came_in, beside)
    within = np.arange(len(visits)) - np.repeat(np.cumsum(beside) - beside, beside)
    noted = many[visits] > 0
    showed = np.zeros(len(visits), np.int64)
    showed[noted] = sign[begin[visits[noted]] + within[noted]]
    width = int(max(showed.max(initial=0), came.max(initial=0))) + 1
    rows = [
        WaterPath(chosen.part(pair // width), chosen.word(pair % width), jobs)
        for pair, jobs in grouped_ids(chosen.columns, showed * width + came, visits).items()
    ]
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


def groups(chosen: Chosen, overall: Sequence[SourceShare], settings: PatternSettings) -> tuple[GroupShare, ...]:
    """Sources within each group of vehicles, drawn towards their share of all jobs.

    A row is marked only where the interval, at a level widened for all rows of its kind (Bonferroni), leaves out the
    share of all jobs, and it does not rest on few.
    """
    everywhere = {(row.place, row.part): row.share.share for row in overall}
    shares = np.array([everywhere[key] for key in chosen.sources.keys])
    rows: list[GroupShare] = []
    for by in GROUPS:
        rows += _by(by, chosen, shares, settings)
    return tuple(rows)


def _by(by: By, chosen: Chosen, shares: Floats, settings: PatternSettings) -> list[GroupShare]:
    """The rows of one kind of group; ``shares`` are those of all jobs, by source."""
    codes, found = chosen.columns.head[by].astype(np.int64), chosen.sources
    known = codes[found.visit] > 0
    width = max(1, len(found.keys))
    by_pair = grouped_ids(chosen.columns, codes[found.visit][known] * width + found.source[known], found.visit[known])
    group, source = np.divmod(np.array(list(by_pair), np.int64), width)
    counts = np.array([len(jobs) for jobs in by_pair.values()], np.int64)
    of = np.bincount(codes[chosen.found])[group] if len(group) else counts
    lows, highs = wilson_many(counts, of, settings.level)
    everywhere = shares[source] if len(source) else np.zeros(0)
    low, high = wilson_many(counts, of, 1 - (1 - settings.level) / max(1, len(counts)))
    apart = np.where(counts < settings.few, 0, np.where(low > everywhere, 1, np.where(high < everywhere, 2, 0)))
    drawn = shrunk_many(counts, of, everywhere, settings.prior_jobs)
    shown = [
        Share(*row)
        for row in zip(
            counts.tolist(), of.tolist(), lows.tolist(), highs.tolist(), (counts < settings.few).tolist(), strict=True
        )
    ]
    rows = [
        GroupShare(by, chosen.word(g), found.keys[s][0], found.keys[s][1], share, to, overall, _APART[side], jobs)
        for g, s, share, to, overall, side, jobs in zip(
            group.tolist(), source.tolist(), shown, drawn.tolist(), everywhere.tolist(), apart.tolist(),
            by_pair.values(), strict=True,
        )
    ]  # fmt: skip
    return sorted(rows, key=lambda row: (row.group, -row.shrunk, row.place, row.part or ""))
