"""Items grouped into constituents: a thing with its side and position is one; a verb, a finding, a measure are others.

Here each word gets the one reading that fits where it stands ("seal" the thing, or what somebody did).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

from fieldnote.extract.constituent import Constituent
from fieldnote.extract.items import Item
from fieldnote.extract.items_ahead import SKIPPED
from fieldnote.extract.lexicon import Sense
from fieldnote.extract.name_grouping import NameGrouper
from fieldnote.extract.word_readings import WORD_ALONE, WordReadings


class Grouper(NameGrouper, WordReadings):
    """Groups items, with one lexicon. ``sides`` maps driver and passenger to left and right."""

    def group(self, items: Sequence[Item]) -> list[Constituent]:
        """The constituents of one utterance, left to right."""
        out: list[Constituent] = []
        i = 0
        while i < len(items):
            if self._labels(items, i):
                out.extend(Constituent("skip", x.start, x.end, x) for x in items[i : i + 2])
                i += 2
                continue
            thing = self._thing(items, i, out)
            if thing is not None:
                constituent, i = thing
                out.append(constituent)
                continue
            out.append(self._single(items, i, out))
            i += 1
        return self._join_of(out)

    def _labels(self, items: Sequence[Item], i: int) -> bool:
        """ "Line two", "step one": the number of a line of the report, not of a thing."""
        return items[i].is_a("label") and i + 1 < len(items) and items[i + 1].number is not None

    def _single(self, items: Sequence[Item], i: int, before: Sequence[Constituent]) -> Constituent:
        item = items[i]
        if not item.senses and self._puts_on(items, i, before):
            item = dataclasses.replace(item, classes=frozenset({"apply"}))
            return Constituent("handle", item.start, item.end, item, None, None)
        plain = not item.senses or (item.is_a("look") and item.tags == WORD_ALONE)
        if plain and item.text.isalpha() and item.text.endswith("ed") and self._material_follows(items, i + 1):
            action = self._action_of(items, i + 1)
            if action:
                return Constituent("act", item.start, item.end, item, None, Sense("act", (action,), "past"))
        kind, sense = self._kind(items, i, before)
        return Constituent(kind, item.start, item.end, item, None, sense)

    def _puts_on(self, items: Sequence[Item], i: int, before: Sequence[Constituent]) -> bool:
        """An unknown word in "-ed" before a material or a new part: it was put on, whatever the verb."""
        text = items[i].text
        if items[i].number is not None or items[i].quantity is not None or not (text.isalpha() and text.endswith("ed")):
            return False
        last = next((c for c in reversed(before) if c.kind != "skip"), None)
        if last is not None and last.kind not in ("and", "then", "subject", "but"):
            return False
        j = i + 1
        while j < len(items) and items[j].is_a(*SKIPPED) and not items[j].tags - {"word"}:
            j += 1
        return j < len(items) and ("material" in items[j].tags or items[j].is_a("new"))

    def _action_of(self, items: Sequence[Item], j: int) -> str:
        """ "Closed with seam sealer": the repair that the material named from ``j`` on is for."""
        material = next((s for x in items[j:] if (s := x.sense("material")) is not None), None)
        return self._lex.materials[material.value].action if material is not None else ""
