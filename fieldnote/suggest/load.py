"""Reads ``leak_map.toml`` of a pack strictly and spreads it out by side into arrays."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, cast

import numpy as np

from fieldnote.errors import PackFault
from fieldnote.records import Side
from fieldnote.suggest.leak_map import (
    RELATIONS,
    SIDE_CODE,
    SOURCE_SIDES,
    Access,
    AftercareRow,
    ConditionWeight,
    ExtraTerm,
    LeakMap,
    Learning,
    Links,
    Liquid,
    MethodRow,
    Model,
    Opening,
    Shows,
    Sign,
    Source,
    SourceRow,
    Wets,
    Zone,
)
from fieldnote.suggest.rows import Reader, Spot, open_reader
from fieldnote.vocabulary.pack import Pack

FILE = "leak_map.toml"
TABLES = (
    "map",
    "model",
    "learning",
    "extra",
    "liquid",
    "sign",
    "method",
    "zone",
    "wets",
    "access",
    "condition",
    "source",
    "aftercare",
)
_KINDS = ("place", "part", "state", "method", "material", "condition")


def load_map(pack: Pack, path: Path | None = None) -> LeakMap:
    """The leak map of ``pack`` (or the one at ``path``, checked against the pack's ids).

    Raises:
        NotFound: the pack has no leak map.
        PackFault: the map cannot be used; ``faults`` lists everything that is wrong, with its line.

    """
    file = path if path is not None else _find(pack)
    known = {kind: {term.id for term in pack.terms(kind)} for kind in _KINDS}
    reader = open_reader(file, known)
    reader.check_tables(TABLES)
    for _, extra in reader.rows("extra", ExtraTerm):
        known[extra.kind].add(extra.id)
    known["liquid"] = {row.id for _, row in reader.rows("liquid", Liquid)}
    known["access"] = {str(row.get("id", "")) for row in reader.data.get("access", []) if isinstance(row, dict)}
    leak_map = _build(reader, pack, file)
    if reader.faults or leak_map is None:
        many = len(reader.faults)
        raise PackFault(
            f"the leak map has {many} fault{'s' if many != 1 else ''}, the first: {reader.faults[0]}",
            where=str(file),
            do="Mend the lines named.",
            faults=tuple(sorted(reader.faults, key=lambda f: f.line)),
        )
    return leak_map


def _find(pack: Pack) -> Path:
    """The last folder of the pack that has a map: an overlay may bring its own."""
    for folder in reversed(pack.folders):
        if (folder / FILE).is_file():
            return folder / FILE
    return pack.folders[0] / FILE


def _build(reader: Reader, pack: Pack, file: Path) -> LeakMap | None:
    model, learning = reader.single("model", Model), reader.single("learning", Learning)
    signs, methods = reader.rows("sign", Sign), reader.rows("method", MethodRow)
    zones, wets, access = reader.rows("zone", Zone), reader.rows("wets", Wets), reader.rows("access", Access)
    conditions, sources = reader.rows("condition", ConditionWeight), reader.rows("source", SourceRow)
    aftercare = reader.rows("aftercare", AftercareRow)
    _check_circles(reader, access)
    _check_conditions(reader, conditions, sources)
    if not sources and not reader.faults:
        reader.fault(0, "source", "missing", "at least one [[source]]")
    if reader.faults or model is None or learning is None:
        return None
    spread = [_Spread.of(row, reader) for _, row in sources]
    flat = tuple(source for s in spread for source in s)
    openings = _openings([row for _, row in access])
    return LeakMap(
        pack_id=pack.id,
        file=str(file),
        hash=hashlib.sha256(reader.text.encode()).hexdigest(),
        model=model,
        learning=learning,
        rows={row.id: row for _, row in sources},
        sources=flat,
        prior=np.array([s.row.prior_prob for s in flat]),
        by_place=_by_place(flat),
        links=_links(flat, model.own_place_prob),
        signs={row.id: row for _, row in signs},
        methods={row.id: row for _, row in methods},
        zones={row.id: row for _, row in zones},
        runs_to={row.place: row.runs_to for _, row in wets},
        openings=openings,
        behind=tuple(openings_needed(openings, s.row.access, s.side) for s in flat),
        zone_behind={row.id: row.access for _, row in zones},
        conditions={row.id: row for _, row in conditions},
        aftercare=tuple(row for _, row in aftercare),
        names=_names(pack, reader),
    )


class _Spread:
    """Sources by side."""

    @staticmethod
    def of(row: SourceRow, reader: Reader) -> tuple[Source, ...]:
        if not row.sides:
            return (Source(row.id, row, None),)
        return tuple(Source(f"{row.id}@{side}", row, cast(Side, side)) for side in row.sides)


def _names(pack: Pack, reader: Reader) -> Mapping[tuple[str, str], str]:
    names = {(kind, term.id): term.name for kind in _KINDS for term in pack.terms(kind)}
    for extra in reader.data.get("extra", []):
        names[(extra["kind"], extra["id"])] = extra.get("name") or extra["id"].replace("-", " ")
    names |= {("liquid", row["id"]): row["name"] for row in reader.data.get("liquid", [])}
    return names


def _by_place(sources: Sequence[Source]) -> Mapping[str, Any]:
    found: dict[str, list[int]] = {}
    for i, source in enumerate(sources):
        found.setdefault(source.place, []).append(i)
    return {place: np.array(indexes, dtype=np.intp) for place, indexes in found.items()}


def _links(sources: Sequence[Source], own_place_prob: float) -> Mapping[str, Links]:
    columns: dict[str, list[tuple[int, float, int, int, str, frozenset[str]]]] = {}
    for i, source in enumerate(sources):
        own = () if any(s.place == source.place for s in source.row.shows) else (Shows(source.place, own_place_prob),)
        for shows in (*source.row.shows, *own):
            columns.setdefault(shows.place, []).append(
                (
                    i,
                    shows.prob,
                    RELATIONS.index(shows.side),
                    SIDE_CODE[source.side],
                    shows.part,
                    frozenset(shows.signs),
                )
            )
    return {
        place: Links(
            source=np.array([r[0] for r in rows], dtype=np.intp),
            prob=np.array([r[1] for r in rows]),
            relation=np.array([r[2] for r in rows], dtype=np.intp),
            source_side=np.array([r[3] for r in rows], dtype=np.intp),
            parts=tuple(r[4] for r in rows),
            signs=tuple(r[5] for r in rows),
        )
        for place, rows in columns.items()
    }


# ---- what must come off ---------------------------------------------------------------------------------------


def _openings(rows: Sequence[Access]) -> tuple[Opening, ...]:
    """Every access row on each of its sides, ordered so that what comes off first stands first."""
    by_id, ordered = {row.id: row for row in rows}, []

    def visit(row: Access) -> None:
        for before in row.after:
            visit(by_id[before])
        if row not in ordered:
            ordered.append(row)

    for row in rows:
        visit(row)
    out: list[Opening] = []
    for row in ordered:
        sides: tuple[Side | None, ...] = ("left", "right") if row.paired else (None,)
        for side in sides:
            needed = openings_needed(tuple(out), row.after, side)
            out.append(Opening(f"{row.id}@{side}" if side else row.id, row, side, needed))
    return tuple(out)


def openings_needed(openings: tuple[Opening, ...], access: Sequence[str], side: Side | None) -> tuple[int, ...]:
    """Indexes of all that must be off to reach something on ``side``; without a side both of a pair are needed."""
    needed: set[int] = set()
    for i, opening in enumerate(openings):
        if opening.row.id in access and (opening.side is None or side not in ("left", "right") or opening.side == side):
            needed |= {i, *opening.after}
    return tuple(sorted(needed))


def _check_circles(reader: Reader, rows: Sequence[tuple[Spot, Access]]) -> None:
    """``after`` must not come back to where it began."""
    after = {row.id: row.after for _, row in rows}
    for spot, row in rows:
        seen, path = set(), [row.id]
        todo = [(row.id, [row.id])]
        while todo:
            id, path = todo.pop()
            for before in after.get(id, ()):
                if before == row.id:
                    circle = " after ".join([*path, row.id])
                    reader.fault(reader.line(spot, "after"), "after", f"a circle: {circle}", "an order without circles")
                    return
                if before not in seen:
                    seen.add(before)
                    todo.append((before, [*path, before]))


def _check_conditions(
    reader: Reader, conditions: Sequence[tuple[Spot, ConditionWeight]], sources: Sequence[tuple[Spot, SourceRow]]
) -> None:
    """Odds factors must name liquids of the map, and conditions that the pack has."""
    liquids = reader.known["liquid"]
    for spot, row in conditions:
        for liquid in row.odds:
            if liquid not in liquids:
                reader.fault(reader.line(spot, "odds"), f"odds.{liquid}", repr(liquid), "the id of a liquid", liquids)
        for side in row.side_odds:
            if side not in SOURCE_SIDES:
                reader.fault(
                    reader.line(spot, "side_odds"), f"side_odds.{side}", repr(side), f"one of {', '.join(SOURCE_SIDES)}"
                )
    for spot, source in sources:
        for id in source.conditions:
            if id not in reader.known["condition"]:
                reader.fault(
                    reader.line(spot, "conditions"),
                    f"conditions.{id}",
                    repr(id),
                    "the id of a condition",
                    reader.known["condition"],
                )
