"""Names in a row of items: a place, a part, a side, a position and a number that belong together are one thing."""

from __future__ import annotations

from collections.abc import Sequence

from fieldnote.extract.constituent import Constituent
from fieldnote.extract.items import Item
from fieldnote.extract.items_ahead import BEFORE_BASE, SKIPPED, THING_TAGS, ItemsAhead
from fieldnote.extract.lexicon import Sense
from fieldnote.extract.noun_phrases import Span, Thing, changed, within

_STOPS = ("negator", "link", "plan", "hedge", "pronoun", "and", "or", "but", "then", "of", "preposition", "determiner")
"""Words between two names that keep them apart, though they carry nothing themselves."""


class NameGrouper(ItemsAhead):
    """Puts names together."""

    def _thing(self, items: Sequence[Item], i: int, before: Sequence[Constituent]) -> tuple[Constituent, int] | None:
        """The longest run of items from ``i`` that names one thing."""
        if not self._opens(items, i, before):
            return None
        thing = Thing(start=items[i].start, end=items[i].end)
        j, last = i, i
        cut: tuple[Thing, int] | None = None
        named: tuple[Thing, int] | None = None
        while j < len(items):
            item = items[j]
            if self._is_piece(items, j, before if j == i else None, thing if j > i else None):
                grown = None if self._side_done(thing, items, j, before) else self._grow(thing, item, items, j)
                if grown is None:
                    break
                if not thing.bare and item.tags & THING_TAGS and not items[last].end > item.start:
                    sided = named is not None and named[1] < j and bool(items[named[1]].tags & {"side", "at"})
                    first, at = named if named is not None and sided else (thing, j)
                    cut = (changed(first, start=items[i].start, end=items[at - 1].end), at)
                thing, last = grown, j
                j += 1
                if item.tags & THING_TAGS:
                    named = (thing, j)
                continue
            if thing.side and thing.bare and self._colours(items, j):
                j += 1  # "nearside emergency door"
                continue
            numbered = self._numbered(items, j, thing)
            if numbered is not None:
                thing, last = numbered
                j = last + 1
                continue
            if (
                item.is_a("filler", "function", "new")
                and not item.is_a(*_STOPS)
                and "act" not in item.tags
                and not ("state" in item.tags and not thing.bare)
                and self._goes_on(items, j + 1, thing)
            ):
                if item.is_a("new"):
                    break
                j += 1
                continue
            break
        halves = None
        if cut is not None and before is not None:
            second = self._thing(items, cut[1], [])
            if second is not None and second[0].thing is not None:
                halves = (cut[0], second[0].thing)
        thing = changed(thing, start=items[i].start, end=items[last].end, halves=halves)
        return Constituent("thing", thing.start, thing.end, items[i], thing), last + 1

    def _colours(self, items: Sequence[Item], j: int) -> bool:
        """Whether the unknown word at ``j`` stands between a side and the name that it colours."""
        if items[j].number is not None or items[j].quantity is not None:
            return False
        if items[j].senses or not items[j].text.isalpha() or j + 1 >= len(items) or j == 0:
            return False
        return bool(items[j + 1].tags & THING_TAGS) and items[j - 1].end == items[j].start

    def _side_done(self, thing: Thing, items: Sequence[Item], j: int, before: Sequence[Constituent]) -> bool:
        """ "Rear door on the right hand side, trim panel …": the side belongs to the door, and a new name begins."""
        behind = (
            len(before) > 1
            and before[-1].kind in ("preposition", "determiner")
            and any(c.kind == "thing" and c.thing is not None and c.thing.named for c in before[-3:])
        )
        return bool(
            behind and thing.bare and thing.side and items[j - 1].text.endswith("side") and "part" in items[j].tags
        )

    def _goes_on(self, items: Sequence[Item], j: int, thing: Thing) -> bool:
        return j < len(items) and self._is_piece(items, j, None, thing) and not items[j].is_a("determiner")

    def _opens(self, items: Sequence[Item], i: int, before: Sequence[Constituent]) -> bool:
        item = items[i]
        if item.number is not None:
            return False
        return self._is_piece(items, i, before, None)

    def _is_piece(
        self, items: Sequence[Item], j: int, before: Sequence[Constituent] | None, thing: Thing | None
    ) -> bool:
        """Whether item ``j`` names a thing, a side or a position here, rather than what it may be otherwise."""
        item = items[j]
        if item.tags & THING_TAGS:
            if before is not None and self._is_verb_here(items, j, before):
                return False
            linked = bool(before) and before is not None and before[-1].kind == "link"
            return not ("state" in item.tags and linked and not self._thing_follows(items, j + 1))
        if "side" in item.tags:
            if j and items[j - 1].number is not None and item.is_a("customer"):
                return False  # "a sixteen passenger bus"
            if self._verb_not_side(items, j):
                return False
            return not (item.is_a("both_of", "opener") and not self._side_here(items, j, thing))
        said = "state" in item.tags and before is not None and bool(before) and before[-1].kind == "link"
        if said and not (j + 1 < len(items) and items[j + 1].tags & THING_TAGS):
            return False  # "the urethane is low"
        if "at" in item.tags:
            return self._position_here(items, j, before, thing)
        return False

    def _verb_not_side(self, items: Sequence[Item], j: int) -> bool:
        """ "Left the bead thin": a side that is followed by "the" and led in by nothing is none."""
        following = items[j + 1] if j + 1 < len(items) else None
        led = j > 0 and items[j - 1].is_a("determiner", "preposition", "of", "link", "and", "mend", "negator", "then")
        bare = items[j].end - items[j].start == 1
        goes_on = j > 0 and items[j - 1].is_a("and", "then", "subject")
        if (
            bare
            and (not led or goes_on)
            and following is not None
            and following.is_a("pronoun")
            and following.text in ("it", "them")
        ):
            return not (j + 2 < len(items) and items[j + 2].is_a("link"))  # "on the left and right it is dry"
        return bool(
            bare
            and j > 0
            and not led
            and following is not None
            and following.is_a("determiner")
            and not (items[j - 1].tags & (THING_TAGS | {"at", "side"}))
        )

    def _side_here(self, items: Sequence[Item], j: int, thing: Thing | None) -> bool:
        if items[j].text in ("both", "either"):
            return thing is not None or self._thing_follows(items, j + 1)
        return j > 0 or self._thing_follows(items, j + 1) or len(items) == 1

    def _position_here(
        self, items: Sequence[Item], j: int, before: Sequence[Constituent] | None, thing: Thing | None
    ) -> bool:
        """A position word counts beside a thing, a preposition or a finding, not as a loose adverb ("put it back")."""
        item = items[j]
        if self._of_unknown(items, j):
            return False
        worked = before is not None and bool(before) and before[-1].kind == "act" and before[-1].end == item.start
        if item.is_a("adverb") and (worked or (thing is not None and thing.part is not None)):
            return self._thing_follows(items, j + 1)
        if not item.is_a(*SKIPPED) and not (item.tags - {"at", "word"}):
            return True
        if thing is not None:
            return True
        if before and before[-1].is_a("preposition", "determiner", "of"):
            return True
        if j and items[j - 1].is_a("determiner", "preposition"):
            return True
        return self._thing_follows(items, j + 1)

    def _of_unknown(self, items: Sequence[Item], j: int) -> bool:
        """ "Onto the rear seat": where the position belongs to a word that names nothing here."""
        led = j > 0 and items[j - 1].is_a("determiner", "preposition", "of", "to_place")
        following = items[j + 1] if led and j + 1 < len(items) else None
        if following is None or following.number is not None or following.quantity is not None:
            return False
        plain = following.text.isalpha() and (not following.senses or {s.form for s in following.senses} == {"base"})
        return plain and not following.is_a("at", *SKIPPED)

    def _is_verb_here(self, items: Sequence[Item], j: int, before: Sequence[Constituent]) -> bool:
        """ "Seal", "weld", "tape" and their like are verbs after "to", "will" or "I" and before a thing."""
        item = items[j]
        verb = item.sense("act", "past", "participle", "ing", "said")
        if verb is not None:
            return True
        last = next((c for c in reversed(before) if c.kind != "skip"), None)
        if item.sense("act", "third") is not None:
            return last is not None and last.kind in ("pronoun", "subject")
        if item.sense("act", "base") is None:
            return False
        if last is None or not (last.kind in BEFORE_BASE or last.is_a("plan", "to")):
            return False
        return self._thing_follows(items, j + 1) or (j + 1 < len(items) and items[j + 1].is_a("pronoun", "determiner"))

    def _grow(self, thing: Thing, item: Item, items: Sequence[Item], j: int) -> Thing | None:
        """``thing`` with one more word of its name; None where the word begins another thing."""
        part, place, generic = item.sense("part"), item.sense("place"), item.sense("generic")
        sure = min(thing.sure, item.sure)
        if part is not None and not self._generic_first(thing, generic, part):
            span = Span(item.start, item.end, "part")
            shared = bool(thing.spans) and thing.spans[-1].end > item.start
            names_place = None if shared else part.place or None
            if (
                names_place
                and thing.place
                and thing.place != names_place
                and not self._nested(thing.place, names_place)
            ):
                return None
            material = item.sense("material")
            return changed(
                thing,
                part_word=-1,
                part=part.value,
                place=thing.place or names_place,
                generic=part.generic if not thing.named and part.generic >= 0 else thing.generic,
                material=material.value if material else None,
                spans=(*thing.spans, span),
                sure=sure,
            )
        if place is not None or generic is not None:
            if thing.place is not None and place is not None and thing.side and self._side_ended(items, j):
                return None
            if thing.part is not None and thing.named:
                return None
            span = Span(item.start, item.end, "place")
            if place is not None:
                return changed(thing, place=place.value, generic=-1, spans=(*thing.spans, span), sure=sure)
            assert generic is not None
            if thing.place is not None:
                return thing  # "the left front door door": the word adds nothing
            return changed(thing, generic=generic.value, spans=(*thing.spans, span), sure=sure)
        word = item.sense("part_word")
        if word is not None:
            return changed(
                thing,
                part=None,
                part_word=word.value,
                spans=(*thing.spans, Span(item.start, item.end, "part")),
                sure=sure,
            )
        side = item.sense("side")
        another = item.text.endswith((" one", " ones"))
        if side is not None:
            if another and not thing.bare:
                return None  # "the vents of the quarter panel, left one's torn"
            if thing.side is not None or (thing.named and self._place_next(items, j + 1)):
                return None
            value = self._sides.get(side.value, side.value)
            return changed(
                thing,
                side=value,
                both=thing.both or item.text == "both",
                spans=(*thing.spans, Span(item.start, item.end, "side")),
                sure=sure,
            )
        at = item.sense("at")
        if at is not None:
            if another and (thing.at or not thing.bare):
                return None  # "loose at the bottom, upper one tight"
            if thing.bare and thing.side is not None and self._side_next(items, j + 1):
                return None
            if thing.named and thing.part is None and self._place_next(items, j + 1):
                return None
            return changed(
                thing,
                at=tuple(dict.fromkeys((*thing.at, at.value))),
                spans=(*thing.spans, Span(item.start, item.end, "at")),
                sure=sure,
            )
        material = item.sense("material")
        if material is not None:
            if thing.material is not None or thing.part is not None:
                return None
            span = Span(item.start, item.end, "material")
            return changed(thing, material=material.value, spans=(*thing.spans, span), sure=sure)
        return None

    def _generic_first(self, thing: Thing, generic: Sense | None, part: Sense) -> bool:
        """A word that is both a part and a generic place is a part where a place is known already."""
        return generic is not None and not thing.named

    def _nested(self, outer: str, inner: str) -> bool:
        places = self._lex.places
        return places[outer].assembly == places[inner].assembly

    def _side_ended(self, items: Sequence[Item], j: int) -> bool:
        return j > 0 and "side" in items[j - 1].tags

    def _place_next(self, items: Sequence[Item], j: int) -> bool:
        while j < len(items) and ("side" in items[j].tags or "at" in items[j].tags):
            j += 1
        return j < len(items) and bool(items[j].tags & {"place", "generic"})

    def _side_next(self, items: Sequence[Item], j: int) -> bool:
        return j < len(items) and "side" in items[j].tags

    def _numbered(self, items: Sequence[Item], j: int, thing: Thing) -> tuple[Thing, int] | None:
        """ "Bolt three", "screw number two": the number of one of many."""
        if (thing.part is None and thing.part_word < 0) or thing.item is not None:
            return None
        k = j
        if items[k].is_a("item") and k + 1 < len(items):
            k += 1
        number = items[k].number
        if k == j and number is not None and items[j - 1].text.endswith("s") and not items[j - 1].text.endswith("ss"):
            return None  # "plugs, two missing": how many, not which
        if k == j and number is not None and thing.spans[-1].role != "part":
            return None  # "the drains, front two are clear"
        if number is None or not isinstance(number.value, int) or not 0 < number.value <= 99:
            return None
        if number.kind not in ("cardinal", "digits") and k == j:
            return None
        if k == j and k + 2 == len(items) and (not items[k + 1].senses or items[k + 1].is_a("apply")):
            return None  # "adjusted the striker one turn": how much of something, not which
        if (
            k + 1 < len(items)
            and k == j
            and items[k + 1].tags & (THING_TAGS | {"state"})
            and items[k + 1].text.endswith("s")
        ):
            return None
        span = Span(items[j].start, items[k].end, "item")
        return changed(thing, item=number.value, spans=(*thing.spans, span)), k

    def _join_of(self, row: list[Constituent]) -> list[Constituent]:
        """ "The bottom of the trough", "both sides of the cowl", "one of the bungs": one thing."""
        out: list[Constituent] = []
        i = 0
        while i < len(row):
            c = row[i]
            if c.kind in ("thing", "number") and c.item.quantity is None:
                joined = self._of_thing(row, i)
                if joined is not None:
                    out.append(joined[0])
                    i = joined[1]
                    continue
            out.append(c)
            i += 1
        return out

    def _told_by(self, thing: Thing, owner: str) -> Thing:
        """A general word with its owner named: "the hinge of the tailgate"."""
        row, places = self._lex.generics[thing.generic], self._lex.places
        for place in row.places:
            if places[place].assembly == places[owner].assembly:
                return changed(thing, place=place, generic=-1)
        if row.part:
            return changed(thing, place=owner, part=thing.part or row.part, generic=-1)
        return thing

    def _of_thing(self, row: Sequence[Constituent], i: int) -> tuple[Constituent, int] | None:
        j = i + 1
        while j < len(row) and row[j].kind == "skip" and not row[j].is_a("of"):
            j += 1
        if j >= len(row) or not row[j].is_a("of") or row[j].is_a("to_place"):
            return None
        k = j + 1
        while k < len(row) and row[k].kind in ("skip", "determiner"):
            k += 1
        if k >= len(row) or row[k].kind != "thing":
            return None
        owner = row[k].thing
        assert owner is not None
        further = self._of_thing(row, k)
        end = k + 1
        if further is not None:
            owner, end = further[0].thing, further[1]
            assert owner is not None
        c = row[i]
        if c.kind == "number":
            number = c.item.number
            count = int(number.value) if number and isinstance(number.value, int) and number.kind != "ordinal" else None
            thing = changed(owner, count=count if count and count > 1 else None, start=c.start)
        else:
            assert c.thing is not None
            inner = c.thing
            if inner.place is None and inner.generic >= 0 and owner.place is not None:
                inner = self._told_by(inner, owner.place)
            if inner.named and inner.part is None and owner.named:
                # "The roof of the rear door": a finer place; keep the first, and the side of the second.
                owner = changed(owner, place=None, generic=-1, part=None)
                inner = changed(inner, side=inner.side or owner.side)
            thing = within(inner, owner)
            if inner.bare:
                thing = changed(thing, both=inner.both or owner.both)
        return Constituent("thing", c.start, thing.end, c.item, thing), end
