"""A correction that is said by itself ("correction", a pause, "number four") belongs to what follows it.

A pause for thought ends an utterance. Joined, the words mean what was meant.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from fieldnote.records import Utterance, Word
from fieldnote.vocabulary import Pack
from fieldnote.vocabulary.pack import Command

LATEST_S = 6.0
"""What begins later than this after the word is a sentence of its own."""


class LoneCorrections:
    """Watches the utterances of one recording, in order, and joins a lone correction to the next."""

    def __init__(self, wordings: Mapping[str, str], fillers: Iterable[str] = ()) -> None:
        """Know the corrections of a vocabulary.

        Args:
            wordings: what may be said, in lower case, each with the word that it is written as.
            fillers: words that say nothing and may stand beside it.

        """
        self._wordings = dict(wordings)
        self._fillers = frozenset(fillers)
        self._word = ""
        self._until_s = 0.0

    @classmethod
    def of(cls, pack: Pack) -> LoneCorrections:
        """Those of a pack: its commands of the effect ``correct``."""
        wordings = {
            phrase: command.name.capitalize()
            for command in pack.rows(Command)
            if command.effect == "correct"
            for phrase in command.say
        }
        return cls(wordings, pack.words.get("filler", ()))

    def joined(self, said: Utterance, at_s: float) -> Utterance:
        """The utterance as it is to be kept; with the word in front where it was said by itself just before.

        Args:
            said: what was said.
            at_s: when its first word began, on a clock that all utterances share.

        """
        word, until_s = self._word, self._until_s
        self._word = self._alone(said.text)
        if self._word:
            self._until_s = at_s + LATEST_S
            return said
        return _after(word, said) if word and said.text and at_s <= until_s else said

    def _alone(self, text: str) -> str:
        """The word where a text is a correction and nothing else."""
        words = [w for w in ("".join(c for c in part if c.isalnum() or c == "'") for part in text.lower().split()) if w]
        phrase = " ".join(words)
        if phrase not in self._wordings:
            phrase = " ".join(w for w in words if w not in self._fillers)
        return self._wordings.get(phrase, "")


def _after(word: str, said: Utterance) -> Utterance:
    first = Word(f"{word},", said.from_s or 0.0, said.from_s or 0.0)
    words = (first, *said.words) if said.words else ()
    return replace(said, text=f"{word}, {said.text}", words=words, settings={**said.settings, "after": word})


def first_word_s(said: Utterance) -> float:
    """When the first word of an utterance began, in seconds of its own clip."""
    return said.words[0].from_s if said.words else said.from_s or 0.0
