"""Items grouped into constituents: a thing with its side and position is one; a verb, a finding, a measure are others.

Here each word gets the one reading that fits where it stands ("seal" the thing, or what somebody did).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fieldnote.extract.items import Item
from fieldnote.extract.lexicon import Lexicon, Sense
from fieldnote.extract.noun_phrases import Span, Thing, changed, within

THING_TAGS = frozenset({"place", "part", "part_word", "generic", "material"})
SKIPPED = frozenset({"filler", "function", "determiner", "opener", "approximate"})


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


# The order in which a grammar word's classes are tried; the first that fits where it stands is its kind.
_WORD_KINDS = (
    "not_yet", "no_source", "is_source", "source_at", "maybe_source", "amiss", "only", "when", "plan_noun", "later",
    "plan",
    "hedge", "neither", "negator", "there_is", "new", "others", "both_of", "other_side", "same", "stay", "pronoun",
    "but", "and", "or", "then", "with", "inside", "water",
    "again", "of", "away", "off", "to_place", "preposition", "link", "to", "subject", "item", "along", "from_there",
    "lasting", "took", "labor", "mend", "determiner", "particle",
)  # fmt: skip
_WORD_ALONE = frozenset({"word"})
_CLASSES_IN_CONTEXT = frozenset(
    {
        "anew",
        "plan_noun",
        "plan",
        "source_first",
        "water",
        "retest_verb",
        "test_verb",
        "retest",
        "test",
        "mask",
        "find",
        "look",
    }
    | {"put_in", "apply", "negator", "hedge", "neither"}
)
"""Classes of words whose kind hangs on what stands around them."""
_STOPS = ("negator", "link", "plan", "hedge", "pronoun", "and", "or", "but", "then", "of", "preposition", "determiner")
"""Words between two names that keep them apart, though they carry nothing themselves."""
_BEFORE_BASE = frozenset({"plan", "to", "subject", "not_yet"})


class Grouper:
    """Groups items, with one lexicon. ``sides`` maps driver and passenger to left and right."""

    def __init__(self, lexicon: Lexicon, sides: Mapping[str, str]) -> None:
        self._lex = lexicon
        self._sides = sides

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

    # -- things -------------------------------------------------------------------------------------------------

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

    def _thing_follows(self, items: Sequence[Item], j: int) -> bool:
        while j < len(items) and items[j].is_a(*SKIPPED) and not items[j].tags & THING_TAGS:
            j += 1
        return j < len(items) and bool(items[j].tags & (THING_TAGS | {"side", "at"}))

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
        if last is None or not (last.kind in _BEFORE_BASE or last.is_a("plan", "to")):
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

    # -- everything else ----------------------------------------------------------------------------------------

    def _single(self, items: Sequence[Item], i: int, before: Sequence[Constituent]) -> Constituent:
        item = items[i]
        if not item.senses and self._puts_on(items, i, before):
            item = dataclasses.replace(item, classes=frozenset({"apply"}))
            return Constituent("handle", item.start, item.end, item, None, None)
        plain = not item.senses or (item.is_a("look") and item.tags == _WORD_ALONE)
        if plain and item.text.isalpha() and item.text.endswith("ed") and self._material_follows(items, i + 1):
            action = self._action_of(items, i + 1)
            if action:
                return Constituent("act", item.start, item.end, item, None, Sense("act", (action,), "past"))
        kind, sense = self._kind(items, i, before)
        return Constituent(kind, item.start, item.end, item, None, sense)

    def _action_of(self, items: Sequence[Item], j: int) -> str:
        """ "Closed with seam sealer": the repair that the material named from ``j`` on is for."""
        material = next((s for x in items[j:] if (s := x.sense("material")) is not None), None)
        return self._lex.materials[material.value].action if material is not None else ""

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

    def _kind(self, items: Sequence[Item], i: int, before: Sequence[Constituent]) -> tuple[str, Sense | None]:
        item = items[i]
        if item.quantity is not None:
            return "quantity", None
        if item.number is not None:
            return "number", None
        if not item.senses:
            return "unknown", None
        if item.tags == _WORD_ALONE and item.classes.isdisjoint(_CLASSES_IN_CONTEXT):
            return self._word_kind(items, i), None
        last = next((c for c in reversed(before) if c.kind != "skip"), None)
        if "command" in item.tags:
            effect = getattr(self._lex.pack.term("command", item.sense("command").value), "effect", "none")  # type: ignore[union-attr]
            if effect == "take-back":
                return "take_back", item.sense("command")
            if effect == "repeat":
                return "same", item.sense("command")
            if effect == "correct" and not item.tags - {"command", "word"} - {"command"}:
                return "mend", item.sense("command")
        laid = last is not None and last.kind in ("handle", "act", "with")
        if item.is_a("anew") and not laid and self._puts_material(items, i + 1):
            return "new", item.sense("word")
        if item.is_a("plan_noun", "plan") and not item.tags - {"word"}:
            return ("plan_noun" if item.is_a("plan_noun") else "plan"), None
        if item.is_a("source_first") and last is None:
            return "source_at", None
        if item.is_a("water") and last is not None and self._just_handled(before):
            return "water", None
        act = self._act_here(items, i, last)
        if act is not None and not (act.form == "said" and self._is_of_part(item, before)):
            return "act", act
        method = item.sense("method")
        told = "state" in item.tags and last is not None and last.kind in ("link", "thing")
        if told and not self._name_ahead(items, i + 1):
            method = None  # "carpet's drenched"
        if method is not None:
            return ("method_verb" if self._method_verb(item, items, i, last) else "method"), method
        nxt = items[i + 1] if i + 1 < len(items) else None
        if (
            item.is_a("test_verb")
            and nxt is not None
            and nxt.text in ("it", "them")
            and item.sense("word", "past", "base")
        ):
            return "test", item.sense("word", "past") or item.sense("word")  # "wet it from the back to the front"
        for word_class in ("retest_verb", "test_verb"):
            denied = last is not None and last.kind == "negator" and "state" in item.tags
            denied = denied or (item.is_a("apply") and self._puts_material(items, i + 1))
            if item.is_a(word_class) and not denied and self._verb_here(item, items, i, last):
                return ("retest" if word_class == "retest_verb" else "test"), item.sense("word")
        if item.is_a("retest"):
            return "retest", None
        if item.is_a("test"):
            return "test", None
        for word_class in ("mask", "find", "look", "put_in", "apply"):
            if word_class == "look" and "state" in item.tags and last is not None and last.kind in ("thing", "link"):
                continue  # "the seam has opened up"
            if item.is_a(word_class) and self._verb_here(item, items, i, last):
                if word_class in ("put_in", "apply"):
                    return "handle", item.sense("word")
                return word_class, item.sense("word")
        if item.is_a("negator") and "state" in item.tags and self._denies(item, items, i):
            return "negator", None
        if item.is_a("negator", "hedge", "plan", "neither") and "state" not in item.tags:
            return next(k for k in _WORD_KINDS if k in item.classes), None
        leads = i > 0 and items[i - 1].is_a("determiner") and item.text.rpartition(" ")[2] in self._lex.small_words
        leads = leads and i + 1 < len(items) and items[i + 1].is_a("determiner")
        if "state" in item.tags and leads and item.sense("state", "noun", "verb") is None:
            return "skip", None  # "a spot on the left"
        if "state" in item.tags and not self._idle_state(item, items, i, last):
            return "state", item.sense("state")
        return self._word_kind(items, i), None

    def _word_kind(self, items: Sequence[Item], i: int) -> str:
        """The kind of a word of the grammar: the first of its classes in the order in which they are tried."""
        item = items[i]
        nxt = items[i + 1] if i + 1 < len(items) else None
        if nxt is not None and item.is_a("determiner") and item.is_a("pronoun"):
            fault = nxt.sense("state", "noun") is not None and nxt.sense("state", "verb") is None
            if nxt.tags & THING_TAGS or (fault and item.text == "that" and i > 0 and items[i - 1].is_a("preposition")):
                return "determiner"  # "on that door", "in that hole"
        return next((kind for kind in _WORD_KINDS if kind in item.classes), "skip")

    def _denies(self, item: Item, items: Sequence[Item], i: int) -> bool:
        """ "Nothing wet": a result that denies the finding right behind it; before the same result it stays one."""
        following = items[i + 1].finding if i + 1 < len(items) else None
        result = item.finding.get("test") if item.finding else None
        return (
            following is not None
            and following.get("test") != result
            and bool(following.get("check") or following.get("evidence"))
        )

    def _just_handled(self, before: Sequence[Constituent]) -> bool:
        """Whether a verb of putting on stands right before, small words aside."""
        for c in reversed(before):
            if c.kind in ("skip", "determiner"):
                continue
            return c.kind == "handle"
        return False

    def _idle_state(self, item: Item, items: Sequence[Item], i: int, last: Constituent | None) -> bool:
        """A word such as "good", "light" or "off" that only fills here and says nothing of a state."""
        if not item.is_a("filler", "off", "opener", "preposition", "to_place", "function", "link"):
            return False
        following = self._next_plain(items, i + 1)
        if item.is_a("off", "preposition", "to_place"):
            # "The lamp off", "rear bumper is off": a state behind its thing, not before one.
            return not (
                last is not None
                and last.kind in ("thing", "link")
                and (following is None or not self._names(following))
            )
        if item.is_a("opener"):
            if last is None:
                return following is not None and not following.is_a("negator")
            return last.kind not in ("thing", "link", "pronoun", "state", "hedge", "both_of", "and", "or")
        if item.is_a("filler"):
            # "Good two inches", "a bad tear", "fine pinholes": an adjective before what it colours.
            if following is None or following.is_a("negator"):
                return False
            return (
                following.quantity is not None
                or "state" in following.tags
                or (
                    bool(following.tags & THING_TAGS)
                    and (last is None or last.kind not in ("link", "thing", "hedge"))
                    and bool(items[i - 1].is_a("determiner") if i else False)
                )
            )
        return last is None

    def _next_plain(self, items: Sequence[Item], j: int) -> Item | None:
        while j < len(items) and items[j].is_a("function", "determiner") and not items[j].tags - {"word"}:
            j += 1
        return items[j] if j < len(items) else None

    def _names(self, item: Item) -> bool:
        return bool(item.tags & (THING_TAGS | {"side", "at"}))

    def _is_of_part(self, item: Item, before: Sequence[Constituent]) -> bool:
        """ "The drain tube is off": a word of work that is a finding of the part that it is said of."""
        thing = next((c.thing for c in reversed(before) if c.thing is not None), None)
        finding = item.finding
        if thing is None or thing.part is None or finding is None:
            return False
        return any(thing.part in self._lex.readings[r].parts for r in finding.readings)

    def _act_here(self, items: Sequence[Item], i: int, last: Constituent | None) -> Sense | None:
        """The verb of access or repair that the item is here, if it is one."""
        item = items[i]
        if "act" not in item.tags:
            return None
        done = item.sense("act", "past", "participle", "said", "ing", "third")
        base = item.sense("act", "base")
        following = self._next_plain(items, i + 1)
        named = i > 0 and items[i - 1].is_a("determiner") and not items[i - 1].is_a("pronoun")
        if named and (done is None or done.form == "third") and not self._name_ahead(items, i + 1):
            return None  # "the seats back"
        object_follows = following is not None and (
            self._name_ahead(items, i + 1) or following.is_a("pronoun", "determiner")
        )
        if i + 1 < len(items) and items[i + 1].is_a("determiner", "pronoun") and not items[i + 1].is_a("and"):
            object_follows = True
        elif done is None and i + 1 < len(items) and items[i + 1].is_a("and"):
            object_follows = False  # "the rear seat and the carpet"
        if done is not None:
            rival = "state" in item.tags or item.is_a("off", "preposition", "filler", "function")
            if not rival:
                return done
            if "state" in item.tags and i and items[i - 1].is_a("determiner") and self._name_ahead(items, i + 1):
                return None  # "the lifted sealer"
            if item.is_a("off", "preposition", "to_place", "function") and done.form == "said":
                behind = last is not None and last.kind in ("thing", "link", "pronoun")
                nxt = items[i + 1] if i + 1 < len(items) else None
                led = nxt is not None and (
                    nxt.is_a("determiner", "of") or bool(nxt.tags & {"side", "place", "generic", "at"})
                )
                return done if behind and not led else None
            if "state" in item.tags and done.form == "third" and last is not None:
                return None
            if last is not None and last.kind == "or" and not object_follows:
                return None
            if last is not None and last.kind in ("link", "negator", "hedge", "neither"):
                return None if not self._material_follows(items, i + 1) else done
            if last is not None and last.kind in ("thing", "state") and not object_follows:
                return done if self._material_follows(items, i + 1) else None
            return done
        if base is None:
            return None
        if last is not None and (last.kind in _BEFORE_BASE or last.is_a("plan", "to") or self._planned(items, i)):
            return base
        if "state" in item.tags or item.tags & THING_TAGS:
            first = last is None or last.kind in ("and", "then")
            return (
                base
                if first and object_follows and not item.tags & THING_TAGS and not item.sense("state", "adj")
                else None
            )
        return base if last is None or last.kind in ("and", "then", "subject", "hedge") or object_follows else None

    def _planned(self, items: Sequence[Item], i: int) -> bool:
        """ "Should maybe clean": whether only a doubt stands between a word of planning and the verb."""
        k = i - 1
        while k >= 0 and items[k].is_a("hedge", "filler", "function") and not items[k].is_a("plan"):
            k -= 1
        return k >= 0 and k < i - 1 and items[k].is_a("plan")

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

    def _method_verb(self, item: Item, items: Sequence[Item], i: int, last: Constituent | None) -> bool:
        if item.sense("method", "past", "participle", "ing", "third") is not None:
            return item.sense("method", "noun") is None or last is None or last.kind not in ("with", "determiner")
        if item.sense("method", "base") is None:
            return False
        return last is not None and (last.kind in _BEFORE_BASE or last.is_a("plan", "to"))

    def _verb_here(self, item: Item, items: Sequence[Item], i: int, last: Constituent | None) -> bool:
        """A base form is a verb only where one may stand; other forms always."""
        verbs = [s for s in item.senses if s.tag == "word" and s.form]
        if any(s.form in ("past", "participle", "ing", "third") for s in verbs) and not any(
            s.form == "base" for s in verbs
        ):
            return not (item.is_a("link") and last is not None and last.kind in ("thing", "pronoun"))
        if not verbs:
            return False
        if last is not None and (last.kind in _BEFORE_BASE or last.is_a("plan", "to", "negator")):
            return True
        following = self._next_plain(items, i + 1)
        opens = last is None or last.kind in ("and", "then")
        behind = last is not None and last.kind in ("thing", "particle", "pronoun", "quantity", "state")
        if not opens and behind and any(s.form == "past" for s in verbs):
            # "Replaced the gasket, put sealant on the screw": past and base form are one, and the object follows.
            opens = i + 1 < len(items) and not items[i + 1].is_a("preposition", "off", "to_place")
        return (
            opens
            and not (item.tags & {"state", "at", "side"})
            and following is not None
            and (self._names(following) or "method" in following.tags or following.is_a("water", "new"))
        )

    # -- "of" ---------------------------------------------------------------------------------------------------

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
