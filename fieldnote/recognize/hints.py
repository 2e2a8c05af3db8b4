"""What the pack tells an engine beforehand: a few words for Whisper's prompt, a grammar for Vosk.

Hints are prompt text and no boost: a long list costs time and leaks into silence, so it stays short and follows the
place that was named last. Vosk's grammar is the whole pack, since it can hear nothing else.
"""

from __future__ import annotations

import re

from fieldnote.vocabulary.pack import Command, Pack, Part, Place, Term

MOST_HINTS = 12
_GRAMMAR_KINDS = ("place", "part", "state", "method", "material", "unit", "quantity", "fact", "command")
# fmt: off
_NUMBERS = (
    "zero", "oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
    "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen", "twenty", "thirty", "forty",
    "fifty", "sixty", "seventy", "eighty", "ninety", "hundred", "thousand", "point", "half", "quarter", "double",
    "triple",
)
# The spelling alphabet of ICAO Annex 10 Volume II, with the usual other spellings.
_SPELLING = (
    "alfa", "alpha", "bravo", "charlie", "delta", "echo", "foxtrot", "golf", "hotel", "india", "juliett", "juliet",
    "kilo", "lima", "mike", "november", "oscar", "papa", "quebec", "romeo", "sierra", "tango", "uniform", "victor",
    "whiskey", "x-ray", "yankee", "zulu",
)
# fmt: on
_SPOKEN = re.compile(r"[^a-z' ]+")


def hints_for(pack: Pack, place: str | None = None, most: int = MOST_HINTS) -> tuple[str, ...]:
    """Up to ``most`` words to expect: the place named last, its neighbours, what belongs there, then common parts."""
    wanted: list[str] = []
    if place is not None and pack.entry("place", place):
        here = next(row for row in pack.rows(Place) if row.id == place)
        near = [row for row in pack.rows(Place) if row.id in here.near]
        belongs = [row for row in pack.rows(Part) if row.usual_place == place]
        wanted += [row.name for row in (here, *belongs, *near)]
    wanted += [row.name for row in pack.rows(Part)]
    return tuple(dict.fromkeys(name for name in wanted if name))[:most]


def grammar_phrases(pack: Pack) -> tuple[str, ...]:
    """Every phrase that the pack's words can be spoken as: lower case, no punctuation, sorted."""
    phrases: set[str] = {*_NUMBERS, *_SPELLING, *"abcdefghijklmnopqrstuvwxyz"}
    for kind in _GRAMMAR_KINDS:
        for row in pack.terms(kind):
            phrases.update(_of(row))
    for words in (*pack.words.values(), *pack.sides.values(), *pack.at.values()):
        phrases.update(words)
    spoken = {" ".join(_SPOKEN.sub(" ", phrase.lower()).split()) for phrase in phrases}
    return tuple(sorted(spoken - {""}))


def _of(row: Term) -> tuple[str, ...]:
    own = (row.name, row.plural, *row.say, *getattr(row, "nouns", ()), *getattr(row, "verbs", ()))
    return (*own, *row.inside) if isinstance(row, Command) else own
