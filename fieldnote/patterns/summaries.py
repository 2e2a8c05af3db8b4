"""What the store keeps of each job for looking at many of them: visits, packed (see ``store.summary_rows``)."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Sequence
from functools import cached_property
from pathlib import Path

from sqlite_utils import Database

from fieldnote.narrate.wording import load_wording
from fieldnote.patterns import checks, packing, rows, visits
from fieldnote.patterns.recurrence import rules_of
from fieldnote.patterns.visits import Rules
from fieldnote.store.identity import digest_of
from fieldnote.store.summary_rows import CodesOf, Summary
from fieldnote.suggest import LeakMap
from fieldnote.suggest.load import FILE as MAP_FILE
from fieldnote.vocabulary import Pack
from fieldnote.vocabulary.pack import Method, Place, State


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
        return rules_of(self._pack, self._leak_map())

    def summarize(self, db: Database, job_ids: Sequence[str], codes_of: CodesOf) -> Iterable[Summary]:
        """The summaries of these jobs."""
        clocks = rows.read_clocks(db, job_ids)
        seen = visits.visits(rows.read_jobs(db, job_ids), self._rules, clocks)
        codes = codes_of(word for visit in seen for word in packing.words_of(visit))
        return [packing.pack(visit, codes) for visit in seen]


def _code_hash() -> str:
    """Of the modules that decide what a summary holds: a version that decides otherwise makes all of them anew."""
    from fieldnote.narrate import proof, trials

    files = [module.__file__ for module in (checks, packing, proof, rows, trials, visits)]
    return digest_of([_hash(Path(file)) for file in files if file])


def _hash(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
