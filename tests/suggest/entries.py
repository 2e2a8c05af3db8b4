"""Short ways to write entries in tests, and belief in all sources of the shipped map."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

from fieldnote.records import Entry, Quantity
from fieldnote.suggest import LeakMap, load_map
from fieldnote.suggest.belief import posterior
from fieldnote.suggest.reading import read
from fieldnote.vocabulary import Pack, load_pack


@cache
def pack() -> Pack:
    return load_pack("body-leaks")


@cache
def shipped() -> LeakMap:
    return load_map(pack())


def sign(place: str, state: str = "water", **more: Any) -> Entry:
    return Entry(kind="evidence", place=place, state=state, **more)


def check(place: str, part: str | None, state: str = "ok", **more: Any) -> Entry:
    return Entry(kind="check", place=place, part=part, state=state, **more)


def fix(place: str, part: str | None, state: str = "reseal", **more: Any) -> Entry:
    return Entry(kind="repair", place=place, part=part, state=state, **more)


def test(
    place: str | None, state: str, minutes: float | None = None, leaked_s: float | None = None, **more: Any
) -> Entry:
    """A test; ``minutes`` it ran, ``leaked_s`` seconds until it leaked."""
    said = () if minutes is None else (Quantity("duration", minutes, "min"),)
    said += () if leaked_s is None else (Quantity("time-to-leak", leaked_s, "s"),)
    more.setdefault("method", "hose")
    return Entry(kind="test", place=place, state=state, quantities=said, **more)


test.__test__ = False  # type: ignore[attr-defined]


def believe(*entries: Entry, leak_map: LeakMap | None = None) -> Mapping[str, float]:
    """Belief in each source as it stands now, by id."""
    known = leak_map or shipped()
    named = [e if e.id else Entry(**{**_fields(e), "id": f"e{n}"}) for n, e in enumerate(entries, 1)]
    reading = read(known, named)
    prob = posterior(reading.network()).prob
    return {s.id: float(prob[reading.column[i]]) for i, s in enumerate(known.sources)}


def by_row(belief: Mapping[str, float]) -> dict[str, float]:
    """The best side of each row."""
    rows: dict[str, float] = {}
    for id, prob in belief.items():
        row = id.split("@")[0]
        rows[row] = max(rows.get(row, 0.0), prob)
    return rows


def _fields(entry: Entry) -> dict[str, Any]:
    return {name: getattr(entry, name) for name in Entry.__dataclass_fields__}
