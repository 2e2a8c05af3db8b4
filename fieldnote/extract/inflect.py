"""Forms of English words: plurals of nouns, and the tenses of verbs, by rule and by the pack's irregular table."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from fieldnote.vocabulary.pack import Irregular

Form = Literal["base", "third", "past", "participle", "ing"]
_PARTICLES = frozenset(
    {
        "up", "down", "off", "out", "in", "on", "back", "away", "over", "through", "apart", "clear", "free",
        "straight", "home", "dry", "loose", "shut", "closed", "together", "tight", "open", "clean", "at", "to",
        "round", "around",
    }
)  # fmt: skip
_VOWELS = "aeiou"


def plural(word: str) -> str:
    """The regular plural: clip, clips; latch, latches; body, bodies."""
    if word.endswith(("s", "x", "z", "ch", "sh")):
        return word + "es"
    if word.endswith("y") and word[-2:-1] not in _VOWELS:
        return word[:-1] + "ies"
    return word + "s"


def plural_phrase(words: tuple[str, ...]) -> tuple[str, ...]:
    """The plural of a noun phrase: its last word, or the word before "of" ("beads of urethane")."""
    if "of" in words[1:]:
        at = words.index("of", 1) - 1
        return (*words[:at], plural(words[at]), *words[at + 1 :])
    return (*words[:-1], plural(words[-1]))


@dataclass(frozen=True, slots=True)
class Inflector:
    """Tenses of verbs; ``irregular`` by base form."""

    irregular: Mapping[str, Irregular]

    def forms(self, phrase: tuple[str, ...]) -> Iterator[tuple[Form, tuple[str, ...]]]:
        """Every form of a verb phrase; its first word carries the tense ("peeled back")."""
        verb, rest = phrase[0], phrase[1:]
        row = self.irregular.get(verb)
        past = (row.past if row else "") or _with_d(verb)
        yield "base", phrase
        yield "third", (plural(verb) if verb not in ("have", "be") else "has", *rest)
        yield "past", (past, *rest)
        participle = (row.participle if row else "") or past
        if participle != past:
            yield "participle", (participle, *rest)
        yield "ing", ((row.ing if row else "") or _with_ing(verb), *rest)
        if len(phrase) == 2 and phrase[1] not in _PARTICLES:
            # "Water test" is said as "water tested".
            for form, words in self.forms(phrase[1:]):
                if form != "base":
                    yield form, (phrase[0], *words)


def _with_d(verb: str) -> str:
    if verb.endswith("e"):
        return verb + "d"
    if verb.endswith("y") and verb[-2:-1] not in _VOWELS:
        return verb[:-1] + "ied"
    return _doubled(verb) + "ed"


def _with_ing(verb: str) -> str:
    if verb.endswith("e") and not verb.endswith(("ee", "oe", "ye")):
        return verb[:-1] + "ing"
    return _doubled(verb) + "ing"


def _doubled(verb: str) -> str:
    """Doubles the last consonant of a verb of one vowel: drip, dripp(ed)."""
    vowels = sum(c in _VOWELS for c in verb)
    short = len(verb) >= 3 and vowels == 1 and verb[-1] not in "aeiouwxyh" and verb[-2] in _VOWELS
    return verb + verb[-1] if short else verb
