"""Which of many visits are looked at, and their leaks by source; and the few ways in which columns are grouped."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from fieldnote.patterns.grades import GRADES, SourceKey
from fieldnote.patterns.packing import OPEN, Bools, Columns, Ints, Rows
from fieldnote.store.search import span_of

if TYPE_CHECKING:
    from fieldnote.narrate.proof import Grade


_TABLE_A_ROW = 4
_SHORT = 1 << 16


@dataclass(frozen=True, slots=True)
class Survey:
    """Which jobs are looked at: opened ``since`` to ``until`` (RFC 3339, or the start of one: a day, a month, a year;
    both included), with water in or signs of it at ``place``, by technicians of ``role`` (in any case); leaks count
    from ``grade`` on."""

    since: str | None = None
    until: str | None = None
    place: str | None = None
    grade: Grade = "water"
    role: str | None = None


class Chosen:
    """The visits that were asked for among all, which stay at hand: a repeat visit may lie outside the dates."""

    def __init__(self, columns: Columns, asked: Survey) -> None:
        self.columns = columns
        self.asked = asked
        # Leaks of the grade asked for, of all visits.
        counted = columns.leaks["grade"] >= GRADES.index(asked.grade)
        self.leaks: Rows = columns.leaks[counted]
        self.leak_of: Ints = columns.leak_of[counted]
        self.seen: Bools = self._seen()
        """Visits looked at."""
        self.found: Bools = self.seen & self._have(self.leak_of)
        """Those of them that hold a leak."""

    def _have(self, of: Ints) -> Bools:
        """Visits that are named in ``of``."""
        have = np.zeros(len(self.columns.head), bool)
        have[of] = True
        return have

    def _seen(self) -> Bools:
        columns, asked = self.columns, self.asked
        since, until = span_of(asked.since, asked.until)
        seen: Bools = (columns.head["opened"] >= since) & (columns.head["opened"] <= until)
        if asked.place is not None:
            place = self.codes(asked.place)
            seen &= self._have(columns.sign_of[np.isin(columns.signs["place"], place)]) | self._have(
                self.leak_of[np.isin(self.leaks["place"], place)]
            )
        if asked.role is not None:
            wanted = asked.role.casefold()
            used = set(columns.head["role"].tolist()) - {0}
            seen &= np.isin(columns.head["role"], [c for c in used if self.word(c).casefold() == wanted])
        return seen

    def codes(self, word: str) -> list[int]:
        """The code of a word; none where no visit has it."""
        return [code for code, known in self.columns.words.items() if known == word]

    def word(self, code: Any) -> str:
        """The word of a code; "" where there is none."""
        return self.columns.words[int(code)]

    def part(self, code: Any) -> str | None:
        """The same, None where there is none."""
        return self.word(code) or None

    @property
    def many_seen(self) -> int:
        """Visits looked at."""
        return int(self.seen.sum())

    @property
    def many_found(self) -> int:
        """Visits that hold a leak."""
        return int(self.found.sum())

    @cached_property
    def closed(self) -> Bools:
        """Visits looked at that are closed."""
        closed: Bools = self.seen & (self.columns.head["closed"] != OPEN)
        return closed

    @cached_property
    def found_leaks(self) -> tuple[Rows, Ints]:
        """Leaks of the visits found, and the visit of each."""
        ours = self.found[self.leak_of]
        return self.leaks[ours], self.leak_of[ours]

    @cached_property
    def sources(self) -> Sources:
        """At which sources water came in, by visit."""
        leaks, of = self.found_leaks
        kinds, which = numbered(leaks["place"], leaks["part"])
        keys = [(self.word(place), self.part(part)) for place, part in kinds]
        visit, source = distinct(of, which)
        return Sources(keys, visit, source, which)

    @cached_property
    def came_in(self) -> tuple[Ints, Ints]:
        """At which places water came in: visits and codes of places, each pair once."""
        leaks, of = self.found_leaks
        visit, place = distinct(of, leaks["place"])
        return visit, place

    @cached_property
    def showed(self) -> tuple[Ints, Ints]:
        """Where it showed in the visits found: visits and codes of places."""
        ours = self.found[self.columns.sign_of]
        return self.columns.sign_of[ours], self.columns.signs["place"][ours].astype(np.int64)


@dataclass(frozen=True, slots=True)
class Sources:
    """Sources by number: ``visit`` and ``source`` are pairs, each once; ``of_leak`` gives that of each leak found."""

    keys: list[SourceKey]
    visit: Ints
    source: Ints
    of_leak: Ints


def numbered(*columns: Any) -> tuple[list[tuple[int, ...]], Ints]:
    """The distinct rows of some columns of whole numbers from 0 on, and which of them each row is."""
    key, _ = _small(columns[0])
    for column in columns[1:]:
        # Numbers are made small again at each step, so that a product of any number of columns fits.
        numbers, many = _small(column)
        key, _ = _small(key * many + numbers)
    first = np.zeros(int(key.max(initial=-1)) + 1, np.int64)
    first[key[::-1]] = np.arange(len(key))[::-1]
    return list(zip(*(column[first].tolist() for column in columns), strict=True)), key


def _small(column: Any) -> tuple[Ints, int]:
    """Whole numbers from 0 on as numbers that leave none out, in the same order; and how many there are."""
    top = int(column.max(initial=-1)) + 1
    if top > _TABLE_A_ROW * len(column) + _SHORT:
        kinds, numbers = np.unique(column, return_inverse=True)
        return numbers.astype(np.int64), len(kinds)
    # Looking numbers up in a table takes a tenth of the time that sorting them takes.
    there = np.zeros(top, bool)
    there[column] = True
    rank = np.cumsum(there) - 1
    return rank[column], int(there.sum())


def distinct(*columns: Any) -> tuple[Ints, ...]:
    """The distinct rows of some columns of whole numbers from 0 on, in their order."""
    key, _ = _small(columns[0])
    for column in columns[1:]:
        numbers, many = _small(column)
        key, _ = _small(key * many + numbers)
    first = np.zeros(int(key.max(initial=-1)) + 1, np.int64)
    first[key[::-1]] = np.arange(len(key))[::-1]
    return tuple(column[first].astype(np.int64) for column in columns)


def grouped(keys: Ints, values: Ints) -> dict[int, Ints]:
    """The values of each key, in the order given."""
    kinds, starts, ends, order = _runs(keys)
    sorted_values = values[order]
    return {kind: sorted_values[a:b] for kind, a, b in zip(kinds, starts, ends, strict=True)}


def grouped_ids(columns: Columns, keys: Ints, visits: Ints) -> dict[int, tuple[str, ...]]:
    """The ids of the visits of each key, in the order given: for many keys faster than one by one."""
    kinds, starts, ends, order = _runs(keys)
    ids = columns.ids[visits[order]].tolist()
    return {kind: tuple(ids[a:b]) for kind, a, b in zip(kinds, starts, ends, strict=True)}


def _runs(keys: Ints) -> tuple[list[int], list[int], list[int], Ints]:
    """The distinct keys, where each begins and ends once they are sorted, and the order that sorts them."""
    # Short numbers are sorted by their digits, in a third of the time.
    short = keys.astype(np.uint16) if len(keys) and keys.min() >= 0 and keys.max() < _SHORT else keys
    order = np.argsort(short, kind="stable")
    in_order = keys[order]
    begins = np.flatnonzero(np.diff(in_order, prepend=in_order[0] - 1)) if len(keys) else order
    starts = begins.tolist()
    return in_order[begins].tolist(), starts, [*starts[1:], len(keys)] if starts else [], order
