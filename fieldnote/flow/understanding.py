"""Words to entries, kept: the extraction of a whole job, with people's changes replayed over it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from fieldnote.recognize.doubt import marked
from fieldnote.records import Entry, Intake, Job, Leftover, Utterance
from fieldnote.store import Making, Store


class Understood(Protocol):
    """What came out of the words of a job."""

    @property
    def entries(self) -> tuple[Entry, ...]:
        """The entries, with ids and origins."""

    @property
    def leftovers(self) -> tuple[Leftover, ...]:
        """Words that no rule took."""

    @property
    def questions(self) -> tuple[str, ...]:
        """What must be asked of the person, such as ``steering``."""


class Understands(Protocol):
    """An extractor, as ``extract`` has it."""

    @property
    def pack(self) -> Any:
        """The vocabulary, with ``id`` and ``hash``."""

    def run(self, utterances: Sequence[Utterance], intake: Intake) -> Understood:
        """The entries of a whole job."""


@dataclass(frozen=True, slots=True)
class Understanding:
    """The entries in force of a job, and what must be asked of the person."""

    entries: tuple[Entry, ...]
    questions: tuple[str, ...] = ()


def making_of(extractor: Understands) -> Making:
    """With what this extractor makes entries: the pack, and the version of its rules."""
    from fieldnote.extract import VERSION

    return Making(extractor.pack.id, extractor.pack.hash, getattr(extractor, "version", VERSION))


def re_extract(store: Store, job: str | Job, extractor: Understands) -> tuple[Entry, ...]:
    """Make the entries of a job anew and give those in force: people's changes are replayed over them.

    Raises:
        NotFound: no such job.
        StoreFault: the data folder cannot be used.

    """
    return understand(store, job, extractor).entries


def understand(store: Store, job: str | Job, extractor: Understands, *, only_if_stale: bool = False) -> Understanding:
    """``re_extract``, with the questions that came up.

    With ``only_if_stale`` this is done only where words, vocabulary or extractor are others than the last time.

    Raises:
        NotFound: no such job.
        StoreFault: the data folder cannot be used.

    """
    found = store.job(job if isinstance(job, str) else job.id)
    making = making_of(extractor)
    if only_if_stale and not store.is_stale(found.id, making):
        return Understanding(found.entries)
    understood = extractor.run(found.utterances, found.intake)
    marked_entries = marked(understood.entries, found.utterances)
    entries = store.put_extraction(found, marked_entries, understood.leftovers, making)
    return Understanding(entries, tuple(understood.questions))
