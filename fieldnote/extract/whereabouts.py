"""Place, part and side of a thing, by what it names itself and what is carried on from before.

A side, place or part holds until another is named; a new place drops the old part and, outside its assembly, the side.
"""

from __future__ import annotations

from dataclasses import replace

from fieldnote.extract.draft import Draft
from fieldnote.extract.lexicon import Lexicon
from fieldnote.extract.noun_phrases import Thing
from fieldnote.extract.state import Focus

_OTHER = {"left": "right", "right": "left"}


class Whereabouts:
    """Finds where a thing is, with one lexicon."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._lex = lexicon

    def where(
        self, draft: Draft, thing: Thing | None, *, part: str | None, base: Focus | None = None
    ) -> tuple[str | None, str | None, str | None]:
        """Place, part and side of a thing, with ``part`` (a carried one) where it names neither place nor part."""
        base = base or draft.focus
        if thing is None:
            return base.place, part, base.side
        place, own_part = thing.place, thing.part or self._part_meant(draft, thing)
        if place is None and thing.generic >= 0:
            place, generic_part = self._generic(draft, thing, base)
            own_part = own_part or generic_part
            if place is None:
                place = base.place
                same = True
            else:
                same = place is not None and self._holds(base.place, place)
        elif place is None:
            place = base.place
            if own_part is not None and self._lex.parts[own_part].usual_place:
                place = self._lex.parts[own_part].usual_place
            elif own_part is not None and place not in (self._lex.parts[own_part].at_home or (place,)):
                place = self._home(draft, own_part) or place
            same = place == base.place or self._holds(base.place, place)
        else:
            same = self._holds(base.place, place)
        side = self._side(thing, draft)
        if side is None and (same or draft.stay) and not (thing.named and base.side == "both"):
            side = base.side
        if own_part is None and thing.place is None and (thing.generic < 0 or place is None):
            own_part = part
        return place, own_part, side

    def _home(self, draft: Draft, part: str) -> str | None:
        """The place named last of those where such a part can be."""
        home = self._lex.parts[part].at_home
        return next((p for p in draft.places if p in home), None)

    def _part_meant(self, draft: Draft, thing: Thing) -> str | None:
        """The part that "the panel" stands for: the one named last among those it may be."""
        if thing.part_word < 0:
            return None
        row = self._lex.generics[thing.part_word]
        here = thing.place or draft.focus.place
        if thing.place is None and thing.generic >= 0:
            told = self._generic(draft, thing, draft.focus)[0]
            here = told or (here if self._lex.generics[thing.generic].part else None)  # "the trim of the pillar"
        for part in row.parts:
            if here is not None and self._lex.parts[part].usual_place == here:
                return part
        if here is not None and here in row.places:
            return row.parts[0]
        if thing.named and row.places:
            return row.part or None
        if draft.focus.part in row.parts:
            return draft.focus.part
        if here is not None and row.places and thing.part_word >= 0 and row.part in row.parts:
            return row.part
        for entry in reversed(draft.recent):
            if entry.part in row.parts:
                return entry.part
        return row.part or None

    def settled(self, draft: Draft, thing: Thing | None) -> Thing | None:
        """The thing with its part told, where a general word stands for one."""
        if thing is None or thing.part_word < 0 or thing.part is not None:
            return thing
        return replace(thing, part=self._part_meant(draft, thing), part_word=-1)

    def _side(self, thing: Thing, draft: Draft) -> str | None:
        if thing.other_side and draft.focus.side:
            return _OTHER.get(draft.focus.side, draft.focus.side)
        if thing.both and thing.side in (None, "both"):
            several = thing.part is not None and self._lex.parts[thing.part].several
            if several and not thing.named and draft.focus.side in _OTHER:
                return draft.focus.side  # "torqued both nuts" of the left lamp
            return "both"
        return thing.side

    def _generic(self, draft: Draft, thing: Thing, base: Focus) -> tuple[str | None, str | None]:
        """The place that "the door" stands for here; or the part that the word is where no place fits."""
        row = self._lex.generics[thing.generic]
        paired = thing.side in ("left", "right", "both") and any(self._lex.places[p].paired for p in row.places)
        fits = [p for p in row.places if self._lex.places[p].paired or not paired]
        for named in [base.place, *draft.places]:
            if named in fits or (named in row.places and thing.at):
                return named, None
        here = self._lex.places[base.place].assembly if base.place else ""
        for candidate in fits:
            if here and self._lex.places[candidate].assembly == here and not row.part:
                return candidate, None
        if row.part:
            assemblies = {self._lex.places[p].assembly for p in row.places}
            near = self._lex.places[base.place].near if base.place and len(row.places) == 1 else ()
            if row.places and (not base.place or here in assemblies or not set(near).isdisjoint(row.places)):
                return fits[0], None
            return None, row.part
        return (row.otherwise or None), None

    def _holds(self, old: str | None, new: str | None) -> bool:
        """Whether a side said of ``old`` holds for ``new``: within one assembly."""
        if old is None or new is None:
            return old == new
        if old == new:
            return True
        a, b = self._lex.places[old], self._lex.places[new]
        return a.assembly == b.assembly or a.assembly in b.also_in or b.assembly in a.also_in
