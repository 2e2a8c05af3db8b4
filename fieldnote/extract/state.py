"""What is remembered from one utterance to the next; bounded, so that a long job costs no more a word."""

from __future__ import annotations

from dataclasses import dataclass

from fieldnote.extract.vin import VinReading
from fieldnote.records import Entry, Leftover

RECENT = 60
"""How many entries back a thing named again is looked for."""
UNDO = 12
"""How many utterances can be taken back one after the other."""


@dataclass(frozen=True, slots=True)
class Focus:
    """What is being spoken of: it holds until something else is named."""

    place: str | None = None
    part: str | None = None
    side: str | None = None


@dataclass(frozen=True, slots=True)
class State:
    """Everything that the next utterance may lean on."""

    focus: Focus = Focus()
    work: Focus = Focus()
    """Place and side of the last test, repair or stated cause."""
    places: tuple[str, ...] = ()
    """Places named lately, the last one first."""
    recent: tuple[Entry, ...] = ()
    said: tuple[tuple[str, ...], ...] = ()
    """Ids of the entries that the last utterances gave, the last one first."""
    repaired: frozenset[str] = frozenset()
    open_test: str | None = None
    """Id of a test that has no result yet."""
    steering: str | None = None
    asks_steering: bool = False
    """A job is open whose steering side is unknown and has been leaned on: ask for it."""
    in_job: bool = False
    vin: VinReading | None = None
    """A VIN of which only the first characters were spelled yet."""
    masked: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Changes:
    """What one utterance did: entries ``added`` and ``changed`` (the new versions), ids ``withdrawn``.

    ``command``: the id of a spoken command, if the utterance was one. ``questions``: what must be asked of the speaker.
    """

    added: tuple[Entry, ...] = ()
    changed: tuple[Entry, ...] = ()
    withdrawn: tuple[str, ...] = ()
    leftovers: tuple[Leftover, ...] = ()
    command: str | None = None
    questions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Extraction:
    """All entries of a job in the order said, and the words that no rule took."""

    entries: tuple[Entry, ...]
    leftovers: tuple[Leftover, ...] = ()
    questions: tuple[str, ...] = ()
