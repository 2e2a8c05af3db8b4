"""A pack compiled for matching: one trie over all phrases, each leading to what it may mean."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from fieldnote.extract.inflect import Inflector, plural_phrase
from fieldnote.extract.number_words import ONES, ORDINALS, REPEATS, SCALES, SMALL, TEENS, TENS
from fieldnote.extract.spelled import spelling_table
from fieldnote.extract.tokens import fold
from fieldnote.extract.units import UnitTable, compile_units
from fieldnote.vocabulary.pack import (
    Command,
    Compound,
    FactKind,
    Generic,
    Irregular,
    Material,
    Method,
    Pack,
    Part,
    Place,
    QuantityKind,
    Reading,
    State,
    Unit,
)
from fieldnote.vocabulary.word_classes import FIRST_CLASSES, PRIOR_CLASSES, VERB_CLASSES

WORK = frozenset({"access", "repair"})
"""Kinds of state that people do; all others are found."""
NUMBER_WORDS = frozenset(
    (*ONES, *TEENS, *TENS, *SMALL, *ORDINALS, *REPEATS, *SCALES, "half", "quarter", "couple", "dozen")
)
TERM_TAGS = frozenset({"place", "part", "state", "act", "method", "material", "generic", "part_word"})


@dataclass(frozen=True, slots=True)
class Sense:
    """One meaning of a phrase.

    ``tag``: place, part, generic, part_word, state, act, method, material, side, at, verb (of a word class), word (of a
    word class), command. ``value``: an id, or for ``state`` a ``Finding``. ``form``: noun, adj, base, third, past,
    participle or ing.
    """

    tag: str
    value: Any
    form: str = ""
    place: str = ""
    """A place that the phrase names beside its part ("sunroof drain")."""
    generic: int = -1
    """Index of the generic word that the phrase holds ("door card"), or -1."""


@dataclass(frozen=True, slots=True)
class Finding:
    """What a state word may stand for: an id by kind, and readings that hang on the part it is said of."""

    by_kind: tuple[tuple[str, str], ...] = ()
    readings: tuple[int, ...] = ()

    def get(self, kind: str) -> str | None:
        """The id for one kind."""
        for k, id in self.by_kind:
            if k == kind:
                return id
        return None


class Node:
    """A step of the trie."""

    __slots__ = ("next", "senses", "tags")

    def __init__(self) -> None:
        self.next: dict[str, Node] = {}
        self.senses: tuple[Sense, ...] = ()
        self.tags: frozenset[str] = frozenset()
        """Tags of all its senses."""


@dataclass(slots=True)
class Lexicon:
    """The compiled pack. Made once by ``compile_lexicon`` and only read after that."""

    pack: Pack
    root: Node = field(default_factory=Node)
    words: set[str] = field(default_factory=set)
    """Every word of every phrase: a word that is known is never taken for another."""
    listed: set[str] = field(default_factory=set)
    """Words of terms as the pack writes them: two written words may be one of these."""
    trade_words: set[str] = field(default_factory=set)
    """Words of terms (not of the grammar): what a fuzzy match may aim at."""
    split_verbs: dict[str, dict[str, tuple[Sense, ...]]] = field(default_factory=dict)
    """By verb form and particle: verbs whose object may stand between ("pulled … back", "bolted … back on")."""
    generics: tuple[Generic, ...] = ()
    readings: tuple[Reading, ...] = ()
    places: dict[str, Place] = field(default_factory=dict)
    parts: dict[str, Part] = field(default_factory=dict)
    states: dict[str, State] = field(default_factory=dict)
    materials: dict[str, Material] = field(default_factory=dict)
    units: UnitTable | None = None
    showing: frozenset[str] = frozenset()
    """Methods whose medium is seen where it comes out."""
    measures: dict[str, str] = field(default_factory=dict)
    facts: dict[str, FactKind] = field(default_factory=dict)
    told_after: dict[str, tuple[tuple[tuple[str, ...], str], ...]] = field(default_factory=dict)
    """Words behind a measure that tell which property is meant, by their first word, the longest first; its id."""
    test_states: tuple[str, str] = ("", "")
    """The result of a test that leaked, and of one that did not."""
    number_words: frozenset[str] = frozenset()
    """Words without one of which there is no number and no measure."""
    particles: dict[str, tuple[Sense, ...]] = field(default_factory=dict)
    """What most verbs with a particle mean: an unknown verb with it is taken so ("yanked … off")."""
    first: Node = field(default_factory=Node)
    """Phrases that are matched before all others."""
    small_words: frozenset[str] = frozenset()
    """Determiners and prepositions of one word."""
    position_words: frozenset[str] = frozenset()
    before_base: frozenset[str] = frozenset()
    """Words after which a base form is a verb."""
    short: Node = field(default_factory=Node)
    respelled: dict[str, str] = field(default_factory=dict)
    apart: frozenset[frozenset[str]] = frozenset()

    def add(self, phrase: tuple[str, ...], sense: Sense, *, first: bool = False) -> None:
        """Let ``phrase`` mean ``sense`` too."""
        if not phrase:
            return
        node = self.first if first else self.root
        for word in phrase:
            self.words.add(word)
            node = node.next.setdefault(word, Node())
        if sense.tag in TERM_TAGS:
            self.trade_words.update(w for w in phrase)
        if sense not in node.senses:
            node.senses = (*node.senses, sense)
            if sense.tag not in node.tags:
                node.tags = node.tags | {sense.tag}

    def find(self, phrase: Iterable[str]) -> tuple[Sense, ...]:
        """The senses of exactly this phrase."""
        node: Node | None = self.root
        for word in phrase:
            node = node.next.get(word) if node else None
        return node.senses if node else ()


def compile_lexicon(pack: Pack) -> Lexicon:
    """Everything that can be matched, from one pack."""
    lex = Lexicon(pack)
    inflector = Inflector({row.base: row for row in _rows(pack, Irregular)})
    for row in pack.lists["spelling"]:
        for other in row.also:
            lex.respelled[other] = row.word
    for row in pack.lists["short_form"]:
        for phrase in row.say:
            node = lex.short
            for word in fold(phrase):
                node = node.next.setdefault(word, Node())
            node.senses = (Sense("short", fold(row.means)),)
    lex.apart = frozenset(
        frozenset((a, b)) for row in pack.lists["apart"] for a in row.words for b in row.words if a != b
    )
    lex.generics = tuple(pack.lists["generic"])
    lex.readings = tuple(pack.lists["reading"])
    lex.places = {p.id: p for p in pack.rows(Place)}
    lex.parts = {p.id: p for p in pack.rows(Part)}
    lex.states = {s.id: s for s in pack.rows(State)}
    lex.materials = {m.id: m for m in pack.rows(Material)}
    lex.facts = {f.id: f for f in pack.rows(FactKind)}
    lex.small_words = frozenset(
        p for c in ("determiner", "preposition", "to_place", "function") for p in pack.words[c] if " " not in p
    )
    _add_places(lex)
    _add_parts(lex)
    _add_states(lex, inflector)
    _add_methods(lex, inflector)
    _add_words(lex, inflector)
    _add_units(lex)
    return lex


def _rows(pack: Pack, record: type[Any]) -> tuple[Any, ...]:
    from fieldnote.vocabulary.pack import LISTS

    return pack.lists[next(k for k, r in LISTS.items() if r is record)]


def spellings(lex: Lexicon, phrase: str) -> Iterator[tuple[str, ...]]:
    """A phrase as folded words, and with each two neighbours written as one ("weather strip", "weatherstrip")."""
    words = tuple(lex.respelled.get(w, w) for w in fold(phrase))
    lex.listed.update(words)
    yield words
    written_out = tuple(part for w in words for part in _written_out(lex, w))
    if written_out != words:  # an utterance is read with its short forms written out
        yield written_out
    for i in range(len(words) - 1):
        joined = words[i] + words[i + 1]
        if len(words[i]) > 2 and len(words[i + 1]) > 2 and joined.isalpha() and words[i] not in lex.small_words:
            yield (*words[:i], joined, *words[i + 2 :])


def _written_out(lex: Lexicon, word: str) -> tuple[str, ...]:
    """What one word is a short form of ("its": "it", "'s"), or the word itself."""
    node = lex.short.next.get(word)
    return tuple(node.senses[0].value) if node and node.senses else (word,)


def _nouns(lex: Lexicon, phrase: str) -> Iterator[tuple[str, ...]]:
    for words in spellings(lex, phrase):
        yield words
        yield plural_phrase(words)


def _add_places(lex: Lexicon) -> None:
    for index, row in enumerate(lex.generics):
        tag = "part_word" if row.parts else "generic"
        for phrase in row.say:
            for words in _nouns(lex, phrase):
                lex.add(words, Sense(tag, index, "noun"))
    lex.position_words = frozenset(
        p for words in (*lex.pack.at.values(), *lex.pack.sides.values()) for p in words if " " not in p
    )
    part_phrases = {w for p in lex.parts.values() for say in p.say for w in _nouns(lex, say)}
    own: dict[str, set[tuple[str, ...]]] = {
        p.id: {w for say in p.say for w in spellings(lex, say)} for p in lex.places.values()
    }
    for place in lex.places.values():
        for phrase in place.say:
            for words in _nouns(lex, phrase):
                if not _is_place_and_part(words, own[place.id], part_phrases):
                    lex.add(words, Sense("place", place.id, "noun"))


def _is_place_and_part(words: tuple[str, ...], own: set[tuple[str, ...]], part_phrases: set[tuple[str, ...]]) -> bool:
    """Whether a place's phrase is only its shorter name with a part behind it: the two say more apart."""
    return any(words[:k] in own and words[k:] in part_phrases for k in range(1, len(words)))


def _add_parts(lex: Lexicon) -> None:
    whole: set[tuple[str, ...]] = set()
    for row in _rows(lex.pack, Compound):
        for phrase in row.say:
            for words in _nouns(lex, phrase):
                whole.add(words)
                lex.add(words, Sense("part", row.part, "noun", place=row.place))
    for part in lex.parts.values():
        own = {w for say in part.say for w in _nouns(lex, say)}
        for phrase in part.say:
            for words in _nouns(lex, phrase):
                if words in whole or (words[0] in lex.position_words and words[1:] in own):
                    continue
                place, generic = _leading_place(lex, words)
                lex.add(words, Sense("part", part.id, "noun", place=place, generic=generic))
    for material in lex.materials.values():
        for phrase in material.say:
            for words in _nouns(lex, phrase):
                lex.add(words, Sense("material", material.id, "noun"))
    for part in lex.parts.values():
        for phrase in part.say:
            for words in _nouns(lex, phrase) if " of " in phrase else ():
                made_of = next((s for s in lex.find(words[words.index("of") + 1 :]) if s.tag == "material"), None)
                if made_of is not None:  # "a bead of seam sealer"
                    lex.add(words, Sense("material", made_of.value, "noun"))


def _leading_place(lex: Lexicon, words: tuple[str, ...]) -> tuple[str, int]:
    """The place, or the generic word, that a part's phrase begins with ("sunroof drain", "door card")."""
    for k in range(len(words) - 1, 0, -1):
        for sense in lex.find(words[:k]):
            if sense.tag == "place":
                return str(sense.value), -1
            if sense.tag == "generic":
                return "", int(sense.value)
    return "", -1


def _add_states(lex: Lexicon, inflector: Inflector) -> None:
    found: dict[tuple[tuple[str, ...], str], dict[str, str]] = {}
    readings: dict[tuple[tuple[str, ...], str], list[int]] = {}
    acts: dict[tuple[tuple[str, ...], str], list[str]] = {}
    for state in lex.states.values():
        finds = [k for k in state.kinds if k not in WORK]
        does = [k for k in state.kinds if k in WORK]
        for form, phrases in (("adj", state.say), ("noun", state.nouns)):
            for phrase in phrases:
                for words in _nouns(lex, phrase) if form == "noun" else spellings(lex, phrase):
                    if does and (_names_object(words) or _holds_part(lex, words)):
                        continue  # "cleared the drain": the object has words of its own
                    if finds:
                        found.setdefault((words, form), {}).update(
                            {k: state.id for k in finds if k not in found.get((words, form), {})}
                        )
                    else:
                        acts.setdefault((words, "said"), []).append(state.id)
        for phrase in state.verbs:
            for verb in spellings(lex, phrase):
                for form, words in inflector.forms(verb):
                    if does:
                        acts.setdefault((words, form), []).append(state.id)
                        if len(words) >= 2:
                            particles = lex.split_verbs.setdefault(words[0], {})
                            rest = " ".join(words[1:])
                            particles[rest] = (*particles.get(rest, ()), Sense("act", (state.id,), form))
                    else:
                        found.setdefault((words, "verb"), {}).update(
                            {k: state.id for k in finds if k not in found.get((words, "verb"), {})}
                        )
    for index, row in enumerate(lex.readings):
        kinds = row.kinds or tuple(k for k in lex.states[row.state].kinds if k not in WORK)
        for phrase in row.say:
            for words in _nouns(lex, phrase):
                if row.parts or row.places:
                    readings.setdefault((words, "adj"), []).append(index)
                else:
                    known = found.setdefault((words, "adj"), {})
                    known.update({k: row.state for k in kinds if k not in known})
    for key in dict.fromkeys([*found, *readings]):
        lex.add(
            key[0], Sense("state", Finding(tuple(found.get(key, {}).items()), tuple(readings.get(key, ()))), key[1])
        )
    for (words, form), ids in acts.items():
        lex.add(words, Sense("act", tuple(dict.fromkeys(ids)), form))
    _usual_particles(lex)
    tests = [s for s in lex.states.values() if "test" in s.kinds]
    dry = next((s.id for s in tests if s.denies), "")
    lex.test_states = (next((s.id for s in tests if s.id != dry), ""), dry)


_CLEAR_MAJORITY = 0.6
_ENOUGH_VERBS = 4


def _usual_particles(lex: Lexicon) -> None:
    """For each particle the access that most of the pack's verbs of access with it mean, where most agree."""
    counts: dict[str, Counter[str]] = {}
    for particles in lex.split_verbs.values():
        for particle, senses in particles.items():
            for sense in senses:
                access = [id for id in sense.value if "access" in lex.states[id].kinds]
                if sense.form == "past":
                    counts.setdefault(particle, Counter()).update(access)
    for particle, ids in counts.items():
        (best, many), total = (ids.most_common(1) or [("", 0)])[0], sum(ids.values())
        if particle in lex.small_words:
            continue  # "in" and "on" mostly lead in a place
        if total and many >= _ENOUGH_VERBS and many / total >= _CLEAR_MAJORITY:
            lex.particles[particle] = (Sense("act", (best,), "past"),)


_OBJECT_WORDS = frozenset({"the", "it", "them"})


def _holds_part(lex: Lexicon, words: tuple[str, ...]) -> bool:
    """Whether a phrase of work ends in "the" and a part ("blew out the drain"): verb and part are matched apart."""
    if "the" not in words[1:-1]:
        return False
    after = words.index("the") + 1
    return any(s.tag in ("part", "place") for s in lex.find(words[after:]))


def _names_object(words: tuple[str, ...]) -> bool:
    """Whether a phrase of work holds its object ("pushed it back in"): verb and particle are matched apart."""
    return words[0].endswith("ed") and not _OBJECT_WORDS.isdisjoint(words[1:])


def _add_methods(lex: Lexicon, inflector: Inflector) -> None:
    lex.showing = frozenset(m.id for m in lex.pack.rows(Method) if m.shows)
    for method in lex.pack.rows(Method):
        for phrase in method.say:
            for words in _nouns(lex, phrase):
                lex.add(words, Sense("method", method.id, "noun"))
        for phrase in method.verbs:
            for form, words in inflector.forms(fold(phrase)):
                lex.add(words, Sense("method", method.id, form))


def _add_words(lex: Lexicon, inflector: Inflector) -> None:
    for word_class, phrases in lex.pack.words.items():
        if word_class in FIRST_CLASSES:
            continue
        if word_class == "plain":
            lex.words.update(w for p in phrases for w in fold(p))  # known, so never taken for others
            continue
        for phrase in phrases:
            if word_class in VERB_CLASSES:
                for form, words in inflector.forms(fold(phrase)):
                    lex.add(words, Sense("word", word_class, form))
            else:
                lex.add(fold(phrase), Sense("word", word_class), first=word_class in PRIOR_CLASSES)
    lex.before_base = frozenset(
        words[-1]
        for c in ("plan", "to", "subject", "not_yet")
        for p in lex.pack.words[c]
        for words in [fold(p)]
        if words
    )
    for side, phrases in lex.pack.sides.items():
        for phrase in phrases:
            lex.add(fold(phrase), Sense("side", side))
    for at, phrases in lex.pack.at.items():
        for phrase in phrases:
            lex.add(fold(phrase), Sense("at", at))
    for command in lex.pack.rows(Command):
        for phrase in command.inside:
            lex.add(fold(phrase), Sense("command", command.id))


def _add_units(lex: Lexicon) -> None:
    phrases: dict[str, str] = {}
    for unit in lex.pack.rows(Unit):
        lex.measures[unit.symbol] = unit.measures
        for phrase in unit.say:
            for words in (phrase, " ".join(plural_phrase(tuple(phrase.split())))):
                phrases.setdefault(words, unit.symbol)
        lex.words.update(w for phrase in phrases for w in phrase.split())
    lex.units = compile_units(phrases)
    told = sorted(
        ((fold(p), row.id) for row in lex.pack.rows(QuantityKind) for p in row.after), key=lambda t: -len(t[0])
    )
    for words_after, id in told:
        lex.told_after[words_after[0]] = (*lex.told_after.get(words_after[0], ()), (words_after, id))
    for row in (*lex.pack.terms("fact"), *lex.pack.terms("command")):
        for phrase in (*row.say, *getattr(row, "choices", ())):
            lex.words.update(fold(phrase))
    lex.words.update(NUMBER_WORDS)
    # "In" is a unit only behind a numeral, which is told by itself.
    lex.number_words = (
        NUMBER_WORDS | (set(lex.units.by_first) - {"in"}) | {"point", "decimal", "between", "minus", "negative"}
    )
    lex.words.update(spelling_table().words)
