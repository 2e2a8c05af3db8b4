"""Which spoken words are meant for the machine: the optional call word, and the commands that it acts on.

What the commands are called and how they may be worded stands in the pack (``commands.toml``).
Corrections and the like ("correction", "disregard", "break") belong to the dictation and are obeyed by the extractor.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, get_args

from fieldnote.records import Utterance

Action = Literal[
    "read-back", "say-again", "stand-by", "listen", "what-next", "water-on", "water-off", "water-in", "mark",
    "off-the-record", "on-the-record",
]  # fmt: skip
"""Ids of the pack's commands on which the machine acts."""
ACTIONS: frozenset[str] = frozenset(get_args(Action))

HEARD_ALONE = frozenset(("correction", "disregard", "break"))
"""Ids of the commands of the dictation that may be all that is said."""


@dataclass(frozen=True, slots=True)
class Addressed:
    """An utterance without the call word, and whether it began with it."""

    utterance: Utterance
    called: bool


def without_call_word(utterance: Utterance, call_word: str) -> Addressed:
    """Take the call word off the beginning of an utterance; however the recogniser splits it ("field note")."""
    wanted = _letters(call_word)
    if not wanted:
        return Addressed(utterance, False)
    words = utterance.text.split()
    for count in range(1, len(words) + 1):
        begins = "".join(_letters(word) for word in words[:count])
        if begins == wanted:
            timed = utterance.words[count:] if len(utterance.words) == len(words) else utterance.words
            return Addressed(replace(utterance, text=" ".join(words[count:]), words=timed), True)
        if not wanted.startswith(begins):
            break
    return Addressed(utterance, False)


def action_of(command: str | None, *, called: bool, call_word: str) -> str | None:
    """The action that a command asks for; None where a call word is set and was not said."""
    if command not in ACTIONS or (_letters(call_word) and not called):
        return None
    return command


def _letters(text: str) -> str:
    return "".join(c for c in text.lower() if c.isalnum())
