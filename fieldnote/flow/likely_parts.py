"""Which part may have been meant instead: those that sound like the words heard, and those that are at that place."""

from __future__ import annotations

from collections.abc import Mapping

from rapidfuzz import fuzz

from fieldnote.records import Entry, Utterance
from fieldnote.suggest import LeakMap
from fieldnote.vocabulary import Pack
from fieldnote.vocabulary.pack import Part
from fieldnote.vocabulary.phonetics import sound_key

_ALIKE = 60.0
"""Of 100: how near two phrases must sound to be offered. An offer costs a glance, so it is set low."""


class LikelyParts:
    """Looks for the parts of one vocabulary; ``leak_map`` says what may leak where (None where there is none)."""

    def __init__(self, pack: Pack, leak_map: LeakMap | None) -> None:
        self._pack = pack
        self._leak_map = leak_map
        self._sounds = [(part.id, words, _key(words)) for part in pack.rows(Part) for words in part.say]
        self._measured = {frozenset((row.heard, row.said)) for row in pack.lists.get("heard", ())}

    def of(self, entry: Entry, said: Mapping[str, Utterance], *, most: int = 4) -> tuple[str, ...]:
        """Ids of parts, the likeliest first, without the one that the entry names.

        First those that are at the place and sound like what was heard, then others of the place (those through which
        the map lets water in first), then others that sound alike.

        Args:
            entry: the entry whose part may be wrong.
            said: utterances by id, for the words heard.
            most: how many at most.

        """
        here = self._at(entry.place)
        alike = [id for phrase in self._heard(entry, said) for id in self._alike(phrase)]
        both = [id for id in alike if id in set(here)]
        return tuple(id for id in dict.fromkeys((*both, *here, *alike)) if id != entry.part)[:most]

    def _at(self, place: str | None) -> list[str]:
        """The parts of a place, those that leak first."""
        if place is None:
            return []
        leaks = []
        for source in self._leak_map.sources if self._leak_map is not None else ():
            if source.place == place:
                leaks += [part for part in (source.part, *source.row.also) if part]
        others = [part.id for part in self._pack.rows(Part) if part.usual_place == place or place in part.at_home]
        return [id for id in dict.fromkeys((*leaks, *others)) if self._pack.entry("part", id)]

    def _heard(self, entry: Entry, said: Mapping[str, Utterance]) -> list[str]:
        """The words that gave the part; the part's name where nobody spoke it."""
        spoken = [
            said[origin.utterance_id or ""].text[origin.start or 0 : origin.end or 0].lower().strip()
            for origin in entry.origins
            if origin.role == "part" and origin.utterance_id in said
        ]
        if any(spoken) or entry.part is None or not self._pack.entry("part", entry.part):
            return [words for words in spoken if words]
        return [self._pack.term("part", entry.part).name.lower()]

    def _alike(self, phrase: str) -> list[str]:
        """Ids of the parts that sound like this phrase, or that a recogniser wrote for it; the nearest first."""
        key, near = _key(phrase), dict[str, float]()
        for id, words, own in self._sounds:
            likeness = 100.0 if frozenset((phrase, words)) in self._measured else fuzz.ratio(key, own)
            if likeness >= _ALIKE:
                near[id] = max(near.get(id, 0.0), likeness)
        return sorted(near, key=lambda id: (-near[id], id))


def _key(words: str) -> str:
    return " ".join(sound_key(word) for word in words.split())


__all__ = ["LikelyParts"]
