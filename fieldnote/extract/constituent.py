"""One piece of a clause: a thing with its side and position, a verb, a finding, a measure, a small word."""

from __future__ import annotations

from dataclasses import dataclass

from fieldnote.extract.items import Item
from fieldnote.extract.lexicon import Sense
from fieldnote.extract.noun_phrases import Thing


@dataclass(slots=True, unsafe_hash=True)
class Constituent:
    """One piece of a clause. ``kind`` names its role; ``thing``, ``sense`` or the item hold what it says."""

    kind: str
    start: int
    end: int
    item: Item
    thing: Thing | None = None
    sense: Sense | None = None

    def is_a(self, *classes: str) -> bool:
        """Whether its words belong to one of these word classes."""
        own = self.item.classes
        return bool(own) and not own.isdisjoint(classes)
