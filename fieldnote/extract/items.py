"""The words of an utterance as a row of items, each a word of the grammar, a thing's name, a number or a measure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from fieldnote.extract.lexicon import Finding, Lexicon, Sense
from fieldnote.extract.mentions import Mention, MentionFinder, Word
from fieldnote.extract.numbers import NumberMention, find_numbers
from fieldnote.extract.tokens import Token
from fieldnote.extract.units import QuantityMention, find_quantities


@dataclass(slots=True, unsafe_hash=True)
class Item:
    """Words ``start:end`` and what they may be. ``classes``: the grammar's word classes that they belong to."""

    start: int
    end: int
    text: str
    senses: tuple[Sense, ...] = ()
    classes: frozenset[str] = frozenset()
    tags: frozenset[str] = frozenset()
    quantity: QuantityMention | None = None
    number: NumberMention | None = None
    sure: float = 1.0
    how: str = "exact"

    def sense(self, tag: str, *forms: str) -> Sense | None:
        """The first sense with this tag (in one of these forms)."""
        for sense in self.senses:
            if sense.tag == tag and (not forms or sense.form in forms):
                return sense
        return None

    @property
    def finding(self) -> Finding | None:
        """What the item says of a state, its several forms put together."""
        found = [s.value for s in self.senses if s.tag == "state"]
        if not found:
            return None
        if len(found) == 1:
            return found[0]  # type: ignore[no-any-return]
        kinds: dict[str, str] = {}
        readings: list[int] = []
        for finding in found:
            for kind, id in finding.by_kind:
                kinds.setdefault(kind, id)
            readings.extend(finding.readings)
        return Finding(tuple(kinds.items()), tuple(dict.fromkeys(readings)))

    def is_a(self, *classes: str) -> bool:
        """Whether it belongs to one of these word classes."""
        own = self.classes
        return bool(own) and not own.isdisjoint(classes)


@dataclass(frozen=True, slots=True)
class Line:
    """One utterance made ready for reading."""

    tokens: tuple[Token, ...]
    words: tuple[Word, ...]
    items: tuple[Item, ...]
    texts: tuple[str, ...] = ()
    numbers: tuple[NumberMention, ...] = ()
    """All numbers, also those that are part of a measure."""


class ItemMaker:
    """Cuts token rows into items, with one lexicon."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._lex = lexicon
        self._finder = MentionFinder(lexicon)
        self._sorted: dict[int, tuple[tuple[Sense, ...], frozenset[str], frozenset[str]]] = {}

    def line(self, tokens: Sequence[Token]) -> Line:
        """The items of one utterance, left to right; words that match nothing are items without senses."""
        words = self._finder.words(tokens)
        texts = [w.text for w in words]
        assert self._lex.units is not None  # compiled with the lexicon
        counted = not self._lex.number_words.isdisjoint(texts) or any(not t[0].isalpha() for t in texts)
        quantities = find_quantities(self._written_out(texts), self._lex.units) if counted else ()
        numbers = find_numbers(texts) if counted else ()
        quantities = tuple(_with_digit_before(q, numbers) for q in quantities)
        free = [False] * len(words)
        mentions = self._finder.find(words, free)
        items = self._split_sides(self._split_verbs(self._merge(words, texts, mentions, quantities, numbers)), texts)
        return Line(tuple(tokens), tuple(words), tuple(items), tuple(texts), numbers)

    def _merge(
        self,
        words: Sequence[Word],
        texts: Sequence[str],
        mentions: Sequence[Mention],
        quantities: Sequence[QuantityMention],
        numbers: Sequence[NumberMention],
    ) -> list[Item]:
        """Lay quantities over mentions over bare numbers; what is longer wins where two overlap."""
        held: list[tuple[int, int]] = []
        items: list[Item] = []
        for q in quantities:
            if not _covered_by_longer(q.start, q.end, mentions):
                items.append(Item(q.start, q.end, " ".join(texts[q.start : q.end]), quantity=q))
                held.append((q.start, q.end))
        for m in mentions:
            if held and any(s < m.end and m.start < e for s, e in held):
                self._rescue(m, words, texts, held, items)
                continue
            items.append(self._item(m, texts))
        taken = [False] * len(words)
        for item in items:
            taken[item.start : item.end] = [True] * (item.end - item.start)
        for n in numbers:
            overlap = [i for i in items if i.start < n.end and n.start < i.end]
            if all(not i.quantity and _yields(i, n) for i in overlap):
                items = [i for i in items if i not in overlap]
                items.append(Item(n.start, n.end, " ".join(texts[n.start : n.end]), number=n))
                taken[n.start : n.end] = [True] * (n.end - n.start)
        items.extend(Item(i, i + 1, texts[i]) for i in range(len(words)) if not taken[i])
        items.sort(key=lambda item: (item.start, item.end))
        return items

    def _written_out(self, texts: list[str]) -> list[str]:
        """ "3 in" at the end, or before "long", is three inches."""
        if "in" not in texts:
            return texts
        out = list(texts)
        for i in range(1, len(out)):
            ends = i + 1 == len(out) or any(s.value == "along" for s in self._lex.find([out[i + 1]]))
            if (
                out[i] == "in"
                and ends
                and (out[i - 1][0].isdigit() or (out[i - 1] in self._lex.number_words and out[i - 1] != "one"))
            ):
                out[i] = "inches"
        return out

    def _split_sides(self, items: list[Item], texts: Sequence[str]) -> list[Item]:
        """ "The lower left of the windshield": a side and whose it is, where "left of" alone would be "beside"."""
        out: list[Item] = []
        for n, item in enumerate(items):
            first, _, rest = item.text.partition(" ")
            nxt = items[n + 1] if n + 1 < len(items) else None
            if "side" in item.tags and rest == "one" and nxt is not None and nxt.tags & {"part", "part_word"}:
                # "On the right, one bolt is loose".
                side_alone = Mention(item.start, item.start + 1, self._lex.find((first,)))
                out += [
                    self._item(side_alone, texts),
                    Item(item.start + 1, item.end, rest, number=NumberMention(item.start + 1, item.end, 1, "cardinal")),
                ]
                continue
            ends = bool(out) and "at" in out[-1].tags and item.end - item.start == 2 and item.is_a("away", "from_there")
            side = [s for s in self._lex.find((first,)) if s.tag == "side"] if ends else []
            if not side or not rest:
                out.append(item)
                continue
            for k, text in enumerate((first, rest)):
                part = Mention(item.start + k, item.start + k + 1, self._lex.find((text,)))
                out.append(self._item(part, texts))
        return out

    def _split_verbs(self, items: list[Item]) -> list[Item]:
        """Verbs whose particle stands behind the object ("whipped the cowl off"): the verb gets their meaning."""
        out = list(items)
        for i, item in enumerate(out):
            if item.end - item.start > 1 or item.quantity is not None or item.number is not None:
                continue
            particles = self._lex.split_verbs.get(item.text)
            if particles is None and not item.senses and self._may_be_past(out, i):
                particles = self._lex.particles
            if particles is None or (item.is_a("link") and all(s.form in ("", "base", "third") for s in item.senses)):
                continue
            found = self._particle(out, i, particles)
            if found is None:
                continue
            j, last, senses = found
            if (
                item.tags & {"part", "part_word", "place"}
                and all(s.form in ("base", "third") for s in senses)
                and not (i and out[i - 1].is_a("plan", "to", "subject"))
            ):
                continue
            others = tuple(s for s in item.senses if s.tag not in ("act", "word", "state"))
            out[i] = replace(item, senses=(*senses, *others), classes=frozenset(), tags=frozenset({"act"}))
            follows = out[last + 1] if last + 1 < len(out) else None
            whole = " ".join(i.text for i in out[j : last + 1])
            if whole in particles and (
                follows is None or not (follows.tags & {"place", "generic", "side"} or follows.is_a("determiner"))
            ):
                for k in range(j, last + 1):
                    out[k] = replace(
                        out[k],
                        senses=(Sense("word", "particle"),),
                        classes=frozenset({"particle"}),
                        tags=frozenset({"word"}),
                    )
        return out

    def _may_be_past(self, items: Sequence[Item], i: int) -> bool:
        """An unknown word in "-ed" that begins a statement: something that was done."""
        text = items[i].text
        before = items[i - 1] if i else None
        return (
            text.isalpha()
            and len(text) > _SHORTEST_VERB
            and text.endswith("ed")
            and (before is None or before.is_a("and", "then", "subject", "filler", "opener", "but"))
        )

    def _particle(
        self, items: Sequence[Item], i: int, particles: Mapping[str, tuple[Sense, ...]]
    ) -> tuple[int, int, tuple[Sense, ...]] | None:
        """First and last item of the particle that belongs to the verb at ``i``, a thing or a pronoun between them."""
        seen = False
        for j in range(i + 1, min(i + _PARTICLE_REACH, len(items))):
            item = items[j]
            if item.quantity is not None:
                return None
            for last in range(min(j + _PARTICLE_LONGEST, len(items)) - 1 if seen else j - 1, j - 1, -1):
                text = " ".join(k.text for k in items[j : last + 1])
                if text in particles:
                    return j, last, particles[text]
            first = item.text.split(" ", 1)[0]
            if seen and first in particles and item.tags == {"word"}:
                return j, j, particles[first]
            if (
                item.tags & {"place", "part", "generic", "part_word"}
                or item.is_a("pronoun")
                or "noun" in {s.form for s in item.senses if s.tag == "state"}
                or (not item.senses and j > i + 1)
            ):
                seen = True
            elif item.tags & {"act", "method"} or item.is_a("and", "but", "then", "or"):
                return None
        return None

    def _item(self, mention: Mention, texts: Sequence[str]) -> Item:
        senses = mention.senses
        known = self._sorted.get(id(senses))
        if known is None or known[0] is not senses:
            # Kept with the senses themselves, so that their identity stays theirs.
            classes = frozenset(s.value for s in senses if s.tag == "word")
            known = (senses, classes, frozenset(s.tag for s in senses))
            if len(self._sorted) < _MOST_SORTED:
                self._sorted[id(senses)] = known
        text = " ".join(texts[mention.start : mention.end])
        return Item(
            mention.start, mention.end, text, senses, known[1], known[2], sure=mention.sure, how=mention.how
        )  # fmt: skip

    def _rescue(
        self,
        mention: Mention,
        words: Sequence[Word],
        texts: Sequence[str],
        held: Sequence[tuple[int, int]],
        items: list[Item],
    ) -> None:
        """The words of a mention that a quantity did not take, matched again."""
        taken = [not mention.start <= i < mention.end for i in range(len(words))]
        for start, end in held:
            for i in range(max(start, mention.start), min(end, mention.end)):
                taken[i] = True
        if not all(taken):
            items.extend(self._item(m, texts) for m in self._finder.find(words, taken))


_PARTICLE_REACH = 8
"""How many items may stand between a verb and its particle."""
_PARTICLE_LONGEST = 3
"""Items of the longest particle ("back down", "back into place")."""
_SHORTEST_VERB = 4
_MOST_SORTED = 20_000
_WEAK = frozenset(
    {"function", "filler", "determiner", "pronoun", "took", "lasting", "to", "approximate", "opener", "mend"}
)


def _with_digit_before(quantity: QuantityMention, numbers: Sequence[NumberMention]) -> QuantityMention:
    """ "One zero minutes": ten, said digit by digit; nobody measures nothing after a bare digit."""
    before = next((n for n in numbers if n.end >= quantity.start > n.start), None)
    if quantity.value != 0 or before is None or before.value not in range(1, 10):
        return quantity
    return replace(quantity, start=before.start, value=before.value * 10)


def _yields(item: Item, number: NumberMention) -> bool:
    """Whether a word of the grammar is part of a number: a weak one, or any one where the number is longer."""
    inside = number.start <= item.start and item.end <= number.end and item.tags <= {"word"}
    return inside and (item.classes <= _WEAK or item.end - item.start < number.end - number.start)


def _covered_by_longer(start: int, end: int, mentions: Sequence[Mention]) -> bool:
    """Whether one term's phrase covers the quantity and more ("quarter inch" no; "one way vent" yes)."""
    return any(
        m.start <= start and m.end >= end and m.end - m.start > end - start and any(s.tag != "word" for s in m.senses)
        for m in mentions
    )
