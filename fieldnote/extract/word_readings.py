"""The one reading that a word has where it stands: a verb or a finding, a test or a name of one, a small word."""

from __future__ import annotations

from collections.abc import Sequence

from fieldnote.extract.constituent import Constituent
from fieldnote.extract.items import Item
from fieldnote.extract.items_ahead import BEFORE_BASE, THING_TAGS, ItemsAhead
from fieldnote.extract.lexicon import Sense

# The order in which a grammar word's classes are tried; the first that fits where it stands is its kind.
_WORD_KINDS = (
    "not_yet", "earlier", "no_source", "is_source", "source_at", "maybe_source", "amiss", "only", "when", "plan_noun",
    "later", "plan",
    "hedge", "neither", "negator", "there_is", "new", "others", "both_of", "other_side", "same", "stay", "pronoun",
    "but", "and", "or", "then", "with", "inside", "water",
    "again", "of", "away", "off", "to_place", "preposition", "link", "to", "subject", "item", "along", "from_there",
    "lasting", "took", "labor", "mend", "determiner", "particle",
)  # fmt: skip
WORD_ALONE = frozenset({"word"})
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


class WordReadings(ItemsAhead):
    """Gives words their kind."""

    def _kind(self, items: Sequence[Item], i: int, before: Sequence[Constituent]) -> tuple[str, Sense | None]:
        item = items[i]
        if item.quantity is not None:
            return "quantity", None
        if item.number is not None:
            return "number", None
        if not item.senses:
            return "unknown", None
        if item.tags == WORD_ALONE and item.classes.isdisjoint(_CLASSES_IN_CONTEXT):
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
            if following is not None and ("method" in following.tags or following.is_a("there_is")):
                return True  # "try the right, okay, hose on the lamp"
            return last.kind not in (
                "thing", "link", "pronoun", "state", "hedge", "both_of", "and", "or", "retest", "test",
            )  # fmt: skip
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
            led_in = i > 0 and (items[i - 1].is_a("determiner") or items[i - 1].number is not None)
            if "state" in item.tags and led_in and self._name_ahead(items, i + 1):
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
        if last is not None and (last.kind in BEFORE_BASE or last.is_a("plan", "to") or self._planned(items, i)):
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

    def _method_verb(self, item: Item, items: Sequence[Item], i: int, last: Constituent | None) -> bool:
        if item.sense("method", "past", "participle", "ing", "third") is not None:
            return item.sense("method", "noun") is None or last is None or last.kind not in ("with", "determiner")
        if item.sense("method", "base") is None:
            return False
        return last is not None and (last.kind in BEFORE_BASE or last.is_a("plan", "to"))

    def _verb_here(self, item: Item, items: Sequence[Item], i: int, last: Constituent | None) -> bool:
        """A base form is a verb only where one may stand; other forms always."""
        verbs = [s for s in item.senses if s.tag == "word" and s.form]
        if any(s.form in ("past", "participle", "ing", "third") for s in verbs) and not any(
            s.form == "base" for s in verbs
        ):
            return not (item.is_a("link") and last is not None and last.kind in ("thing", "pronoun"))
        if not verbs:
            return False
        if last is not None and (last.kind in BEFORE_BASE or last.is_a("plan", "to", "negator")):
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
