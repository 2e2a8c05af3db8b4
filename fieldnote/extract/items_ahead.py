"""Looks ahead in a row of items: whether a name, a material or a plain word comes next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from fieldnote.extract.items import Item
from fieldnote.extract.lexicon import Lexicon

THING_TAGS = frozenset({"place", "part", "part_word", "generic", "material"})
SKIPPED = frozenset({"filler", "function", "determiner", "opener", "approximate"})
BEFORE_BASE = frozenset({"plan", "to", "subject", "not_yet"})
"""Kinds of constituents after which a base form is a verb."""


class ItemsAhead:
    """Shared by what names things and what reads words, with one lexicon."""

    def __init__(self, lexicon: Lexicon, sides: Mapping[str, str]) -> None:
        self._lex = lexicon
        self._sides = sides

    def _thing_follows(self, items: Sequence[Item], j: int) -> bool:
        while j < len(items) and items[j].is_a(*SKIPPED) and not items[j].tags & THING_TAGS:
            j += 1
        return j < len(items) and bool(items[j].tags & (THING_TAGS | {"side", "at"}))

    def _next_plain(self, items: Sequence[Item], j: int) -> Item | None:
        while j < len(items) and items[j].is_a("function", "determiner") and not items[j].tags - {"word"}:
            j += 1
        return items[j] if j < len(items) else None

    def _names(self, item: Item) -> bool:
        return bool(item.tags & (THING_TAGS | {"side", "at"}))

    def _name_ahead(self, items: Sequence[Item], j: int) -> bool:
        """Whether a named thing comes next, its side and position aside."""
        while (
            j < len(items)
            and (items[j].is_a(*SKIPPED) or items[j].tags & {"side", "at"})
            and not items[j].tags & THING_TAGS
        ):
            j += 1
        return j < len(items) and bool(items[j].tags & THING_TAGS)

    def _puts_material(self, items: Sequence[Item], j: int) -> bool:
        """Whether a material is the object of the verb before ``j`` ("sprayed primer on the seam")."""
        while j < len(items) and (items[j].is_a(*SKIPPED, "new") or not items[j].senses):
            j += 1
        return j < len(items) and "material" in items[j].tags

    def _material_follows(self, items: Sequence[Item], j: int) -> bool:
        """Whether "with urethane" or the like comes next: then something was done, not found."""
        while j < len(items) and items[j].is_a(*SKIPPED, "preposition", "pronoun") and not items[j].is_a("with"):
            j += 1
        if j >= len(items) or not items[j].is_a("with"):
            return False
        j += 1
        while j < len(items) and items[j].is_a(*SKIPPED, "new"):
            j += 1
        return j < len(items) and "material" in items[j].tags
