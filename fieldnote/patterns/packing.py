"""Visits as plain numbers: packed for the store, and many of them as columns that are reckoned with at once.

A visit becomes one row of ``HEAD`` and rows of ``LEAK``, ``SIGN`` and ``CHECK``, words replaced by codes (0: none).
Joined end to end, the rows of all visits are columns: reading a hundred thousand visits is reading four long byte
strings. Little-endian on every machine.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from fieldnote.patterns.grades import GRADES
from fieldnote.store.summary_rows import Summary

if TYPE_CHECKING:
    from fieldnote.patterns.visits import Visit

Ints = npt.NDArray[np.int64]
Rows = npt.NDArray[np.void]
Bools = npt.NDArray[np.bool_]

HEAD = np.dtype(
    [
        ("opened", "<i8"), ("closed", "<i8"), ("labor_min", "<f8"), ("vehicle", "<i4"), ("family", "<i4"),
        ("model_year", "<i4"), ("build_month", "<i4"), ("role", "<i4"), ("proved", "<i2"), ("clocked", "<i2"),
    ]
)  # fmt: skip
"""Times in microseconds since 1970 (``OPEN``: not closed); ``labor_min`` nan where nobody stated it."""
LEAK = np.dtype(
    [("place", "<i4"), ("part", "<i4"), ("side", "<i4"), ("grade", "<i2"), ("mended", "<i2"), ("find_min", "<f8")]
)
"""``grade`` counts from 0 through ``GRADES``; ``find_min`` nan where no clock tells."""
SIGN = np.dtype([("place", "<i4")])
CHECK = np.dtype(
    [
        ("test", "<i4"), ("place", "<i4"), ("part", "<i4"), ("method", "<i4"), ("made", "<i4"), ("empty", "<i4"),
        ("minutes", "<f8"),
    ]
)  # fmt: skip
"""``test`` 1, a look 0; ``minutes`` of the empty ones, nan where unknown."""
OPEN = -(1 << 62)

Packed = tuple[str, bytes, bytes, bytes, bytes]
"""Id, head, leaks, signs, checks."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)
_NAN = float("nan")


@dataclass(frozen=True, slots=True)
class Columns:
    """Many visits, oldest first. ``leak_of``, ``sign_of`` and ``check_of`` give the visit (row of ``head``) of each
    row of ``leaks``, ``signs`` and ``checks``; ``words`` gives the word of a code."""

    ids: npt.NDArray[np.object_]
    head: Rows
    leaks: Rows
    leak_of: Ints
    signs: Rows
    sign_of: Ints
    checks: Rows
    check_of: Ints
    words: Mapping[int, str]

    def ids_at(self, spots: Ints) -> tuple[str, ...]:
        """The ids of some visits."""
        return tuple(self.ids[spots].tolist())


def words_of(visit: Visit) -> Iterable[str]:
    """Every word of a visit that is kept as a code."""
    yield from (visit.vehicle or "", visit.family or "", visit.model_year or "", visit.build_month or "")
    yield visit.role or ""
    for leak in visit.leaks:
        yield from (leak.place, leak.part or "", leak.side or "")
    yield from visit.showed
    for check in visit.checks:
        yield from (check.place, check.part or "", check.method or "")


def pack(visit: Visit, codes: Mapping[str, int]) -> Summary:
    """One visit as the store keeps it."""

    def code(word: str | None) -> int:
        return codes[word or ""]

    head = (
        micros(visit.opened),
        micros(visit.closed) if visit.closed else OPEN,
        _NAN if visit.labor_min is None else visit.labor_min,
        *(code(w) for w in (visit.vehicle, visit.family, visit.model_year, visit.build_month, visit.role)),
        visit.proved,
        visit.clocked,
    )
    leaks = [
        (code(k.place), code(k.part), code(k.side), GRADES.index(k.grade), k.mended,
         _NAN if k.find_min is None else k.find_min)
        for k in visit.leaks
    ]  # fmt: skip
    checks = [
        (c.do == "test", code(c.place), code(c.part), code(c.method), c.made, c.empty,
         _NAN if c.minutes is None else c.minutes)
        for c in visit.checks
    ]  # fmt: skip
    signs = [(code(place),) for place in visit.showed]
    return Summary(
        visit.id, _bytes([head], HEAD), _bytes(leaks, LEAK), _bytes(signs, SIGN), _bytes(checks, CHECK)
    )  # fmt: skip


def _bytes(rows: Sequence[tuple[Any, ...]], kind: np.dtype[np.void]) -> bytes:
    return np.array(rows, kind).tobytes() if rows else b""


def micros(when: datetime) -> int:
    """Microseconds since 1970."""
    return int((when - _EPOCH) / _MICROSECOND)


def columns_of(visits: Sequence[Visit]) -> Columns:
    """Visits at hand as columns."""
    words = dict.fromkeys(word for visit in visits for word in words_of(visit) if word)
    codes = {"": 0, **{word: number for number, word in enumerate(words, 1)}}
    packed = [pack(visit, codes) for visit in visits]
    rows = [
        (visit.id, made.head, made.leaks, made.signs, made.checks) for visit, made in zip(visits, packed, strict=True)
    ]
    return unpack(rows, {code: word for word, code in codes.items()})


def unpack(rows: Sequence[Packed], words: Mapping[int, str]) -> Columns:
    """Rows as the store keeps them (id, head, leaks, signs, checks) as columns, oldest visit first."""
    parts: list[Sequence[Any]] = list(zip(*rows, strict=True)) if rows else [(), (), (), (), ()]
    opened = np.frombuffer(b"".join(parts[1]), HEAD)["opened"]
    ids = np.array(parts[0], object)
    order = np.argsort(opened, kind="stable")
    if (np.diff(opened[order]) == 0).any():  # of two opened at one moment the smaller id comes first
        order = np.lexsort((np.array(parts[0], str), opened))
    if (np.diff(order) != 1).any():
        spots = order.tolist()
        parts = [[part[spot] for spot in spots] for part in parts]
        ids = ids[order]
    _, heads, leaks, signs, checks = parts
    return Columns(
        ids, np.frombuffer(b"".join(heads), HEAD), *_joined(leaks, LEAK), *_joined(signs, SIGN),
        *_joined(checks, CHECK), words,
    )  # fmt: skip


def _joined(parts: Sequence[bytes], kind: np.dtype[np.void]) -> tuple[Rows, Ints]:
    """All rows end to end, and the part that each is of."""
    counts = np.fromiter(map(len, parts), np.int64, len(parts)) // kind.itemsize
    return np.frombuffer(b"".join(parts), kind), np.repeat(np.arange(len(parts)), counts)
