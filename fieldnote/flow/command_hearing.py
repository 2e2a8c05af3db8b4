"""A second look at short utterances in which nothing was understood: was one of the commands meant?

A word alone gives a recogniser little to go by, and in noise it writes something that sounds alike ("read back" becomes
"reset"). So the wordings of the commands are weighed against what was written: where one of them fits the sound
nearly as well, and clearly better than those of any other command, it is taken for what was said. Nothing that
made an entry is looked at again.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from rapidfuzz import fuzz, process

from fieldnote.capture.sound import RATE_HZ, Samples
from fieldnote.recognize import Engine, Heard, WeighingEngine
from fieldnote.records import Word
from fieldnote.vocabulary import Pack
from fieldnote.vocabulary.pack import Command

LONGEST_S = 2.4
"""Commands are short; longer speech is dictation."""
# In nats, by voices of the training set at 10 dB: commands that were misheard lie up to 2 behind and 7 or more ahead,
# one 8.2 and 6.9; words of the trade lie 8.4 or more behind, but for a few that are hardly ahead of other commands
# ("loose" written as "left": 1.6 behind "ready", 2.5 ahead).
_BEHIND, _AHEAD = 4.0, 2.6
_FAR_BEHIND, _FAR_AHEAD = 8.3, 5.0
_EXPECTED = 3.0
"""The head start of a command that is awaited: the water is on, so "water off" will come."""
_SHORTER, _LONGER = 0.5, 2.2
"""How long a wording may be, in letters, against what was written: the beginning of a sentence always fits well."""
_NEAR = 12
"""Wordings that are weighed for each reading: those whose letters are nearest to it."""


@dataclass(frozen=True, slots=True)
class Weighed:
    """The wording that fits best: how far it is behind what was written, and ahead of any other command (in nats)."""

    phrase: str
    command: str
    behind: float
    ahead: float

    @property
    def meant(self) -> bool:
        """Whether it is taken for what was said."""
        near = self.behind <= _BEHIND and self.ahead >= _AHEAD
        return near or (self.behind <= _FAR_BEHIND and self.ahead >= _FAR_AHEAD)


class CommandHearing:
    """Weighs the wordings of a pack's commands."""

    def __init__(self, engine: Engine, pack: Pack, commands: Collection[str]) -> None:
        self._engine = engine
        self._command_of = {
            phrase: command.id
            for command in pack.rows(Command)
            if command.id in commands
            # "Sorry" and "no" are everyday words that sound like many others: of these only the word of procedure.
            for phrase in (command.say[:1] if command.effect == "correct" else command.say)
        }

    def again(self, heard: Heard, samples: Samples, expected: Collection[str] = ()) -> Heard:
        """What was heard, or the wording of a command that was meant; what was written stays with the settings.

        ``expected``: commands that are awaited.
        """
        found = self.weigh(heard, samples, expected)
        if found is None or not found.meant:
            return heard
        said = found.phrase.split()
        from_s = heard.words[0].from_s if heard.words else 0.0
        to_s = heard.words[-1].to_s if heard.words else len(samples) / RATE_HZ
        step_s = (to_s - from_s) / len(said)
        words = tuple(Word(w, from_s + n * step_s, from_s + (n + 1) * step_s) for n, w in enumerate(said))
        told = {"written": heard.text, "behind_nats": round(found.behind, 2), "ahead_nats": round(found.ahead, 2)}
        text = f"{found.phrase[:1].upper()}{found.phrase[1:]}."
        return replace(heard, text=text, words=words, settings={**heard.settings, "command": told})

    def weigh(self, heard: Heard, samples: Samples, expected: Collection[str] = ()) -> Weighed | None:
        """The wording that fits ``samples`` best; None for long sound."""
        if not isinstance(self._engine, WeighingEngine) or len(samples) > LONGEST_S * RATE_HZ or not heard.text:
            return None
        near = self._near([heard.text, *(other.text for other in heard.alternatives)], expected)
        if not near:
            return None
        weighed = self._engine.weigh(samples, [heard.text, *near])
        if not weighed:
            return None
        written, *scores = weighed
        scores = [s + _EXPECTED * (self._command_of[name] in expected) for s, name in zip(scores, near, strict=True)]
        ranked = sorted(zip(scores, near, strict=True), reverse=True)
        best, phrase = ranked[0]
        command = self._command_of[phrase]
        other = next((score for score, name in ranked if self._command_of[name] != command), best - 10 * _AHEAD)
        return Weighed(phrase, command, written - best, best - other)

    def _near(self, readings: Sequence[str], expected: Collection[str]) -> list[str]:
        found = dict.fromkeys(
            name
            for reading in readings
            for name, _, _ in process.extract(_plain(reading), list(self._command_of), scorer=fuzz.ratio, limit=_NEAR)
        )
        found.update(dict.fromkeys(name for name, command in self._command_of.items() if command in expected))
        long = len(_plain(readings[0]))
        return [name for name in found if _SHORTER * long <= len(name) <= _LONGER * long]


def _plain(text: str) -> str:
    return "".join(c for c in text.lower() if c.isalnum() or c in " '")
