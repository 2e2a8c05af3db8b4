"""What the store keeps of each job for looking at many of them: visits, packed (see ``store.summary_rows``)."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Sequence
from functools import cached_property
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from fieldnote.narrate.wording import load_wording
from fieldnote.patterns import packing
from fieldnote.store.database import Database
from fieldnote.store.identity import digest_of
from fieldnote.store.summary_rows import CodesOf, Summary
from fieldnote.vocabulary import Pack
from fieldnote.vocabulary.pack import Method, Place, State

if TYPE_CHECKING:
    from fieldnote.patterns.visits import Rules
    from fieldnote.suggest import LeakMap

MAP_FILE = "leak_map.toml"
"""As ``suggest`` calls it: reading what was kept loads nothing of that room."""
_DECIDING = (
    "fieldnote.patterns.checks", "fieldnote.patterns.packing", "fieldnote.patterns.rows", "fieldnote.patterns.visits",
    "fieldnote.narrate.proof", "fieldnote.narrate.trials",
)  # fmt: skip
"""Modules that decide what a summary holds."""


class VisitSummaries:
    """Makes the summaries of the jobs of one vocabulary. The leak map is asked for when the first one is made."""

    def __init__(self, pack: Pack, leak_map: Callable[[], LeakMap | None]) -> None:
        self._pack = pack
        self._leak_map = leak_map

    @property
    def pack(self) -> str:
        """The vocabulary's id."""
        return self._pack.id

    @cached_property
    def made_with(self) -> str:
        """Hash of all that a summary hangs on beside its job: what the vocabulary says of states, methods and places,
        the leak map, and the code that makes it. A new phrase for a place changes none of these."""
        wording = load_wording(self._pack)
        states = [
            (s.id, s.kinds, s.denies, s.sound, wording.state(s.id).faultless, wording.state(s.id).idle)
            for s in self._pack.rows(State)
        ]
        methods = [(m.id, wording.method(m.id).shows) for m in self._pack.rows(Method)]
        places = [(p.id, wording.paired(p.id)) for p in self._pack.rows(Place)]
        maps = [_hash(f / MAP_FILE) for f in self._pack.folders if (f / MAP_FILE).is_file()]
        return digest_of([states, methods, places, maps, _code_hash()])

    @cached_property
    def _rules(self) -> Rules:
        from fieldnote.patterns.recurrence import rules_of

        return rules_of(self._pack, self._leak_map())

    def summarize(self, db: Database, job_ids: Sequence[str], codes_of: CodesOf) -> Iterable[Summary]:
        """The summaries of these jobs."""
        from fieldnote.patterns import rows, visits

        clocks = rows.read_clocks(db, job_ids)
        seen = visits.visits(rows.read_jobs(db, job_ids), self._rules, clocks)
        codes = codes_of(word for visit in seen for word in packing.words_of(visit))
        return [packing.pack(visit, codes) for visit in seen]


def _code_hash() -> str:
    """Of the modules that decide: a version that decides otherwise makes all summaries anew."""
    specs = [find_spec(name) for name in _DECIDING]
    return digest_of([_hash(Path(spec.origin)) for spec in specs if spec is not None and spec.origin])


def _hash(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
