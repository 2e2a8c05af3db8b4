"""Shows how sentences are understood, word by word: what was matched and how, the entries, what was left over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, cast

from fieldnote.flow.rooms import Rooms
from fieldnote.records import Entry, Intake, Leftover, Utterance

if TYPE_CHECKING:
    from fieldnote.extract.lexicon import Lexicon, Sense


@dataclass(frozen=True, slots=True)
class Matched:
    """Words ``text`` (``start:end`` in the sentence) and all that they may mean; ``how`` and ``sure`` as matched."""

    start: int
    end: int
    text: str
    meanings: tuple[str, ...]
    how: str
    sure: float


@dataclass(frozen=True, slots=True)
class Told:
    """One sentence as it was understood. Entries are those whose words stand in it, in the job's final form."""

    utterance: str
    matched: tuple[Matched, ...]
    entries: tuple[Entry, ...]
    leftovers: tuple[Leftover, ...]


def explain(rooms: Rooms, sentences: Sequence[str], steering: str | None = None) -> tuple[Told, ...]:
    """How sentences, dictated one after another, are understood.

    Raises:
        PackFault: the pack cannot be used.

    """
    utterances = [Utterance(f"said-{n}", text) for n, text in enumerate(sentences, start=1)]
    intake = Intake(steering=cast(Literal["left", "right"] | None, steering))
    extraction = rooms.extractor.run(utterances, intake)
    matcher = Matcher(rooms)
    return tuple(
        Told(
            u.text,
            matcher.matched(u.text),
            tuple(e for e in extraction.entries if _first_said_in(e) == u.id),
            tuple(o for o in extraction.leftovers if o.utterance_id == u.id),
        )
        for u in utterances
    )


def _first_said_in(entry: Entry) -> str | None:
    return next((o.utterance_id for o in entry.origins if o.kind == "spoken"), None)


class Matcher:
    """The pack's words in a sentence, before any rule puts them together."""

    def __init__(self, rooms: Rooms) -> None:
        from fieldnote.extract.lexicon import compile_lexicon
        from fieldnote.extract.mentions import MentionFinder

        self._lexicon: Lexicon = compile_lexicon(rooms.pack)
        self._finder = MentionFinder(self._lexicon)

    def matched(self, text: str) -> tuple[Matched, ...]:
        """Everything matched, in the order of the sentence; a word counts for all that it may mean."""
        from fieldnote.extract.tokens import tokenize

        tokens = tokenize(text)
        words = self._finder.words(tokens)
        out = []
        for m in self._finder.find(words, [False] * len(words)):
            start, end = tokens[words[m.start].first].start, tokens[words[m.end - 1].last - 1].end
            meanings = tuple(dict.fromkeys(_meaning(s, self._lexicon) for s in m.senses))
            out.append(Matched(start, end, text[start:end], meanings, m.how, m.sure))
        return tuple(out)


def _meaning(sense: Sense, lexicon: Lexicon) -> str:
    """A sense in words: ``part grommet``, ``side left``, ``state torn (check)``."""
    value: Any = sense.value
    if sense.tag == "state":
        by_kind = dict.fromkeys(id for _, id in value.by_kind)
        of = [f"{id} ({', '.join(k for k, i in value.by_kind if i == id)})" for id in by_kind]
        of += dict.fromkeys(f"{lexicon.readings[r].state} (of some parts)" for r in value.readings)
        return "state " + ", ".join(of)
    if sense.tag == "act":
        return "done " + " or ".join(value)
    if sense.tag == "generic":
        return "one of " + ", ".join(lexicon.generics[value].places)
    if sense.tag in ("word", "verb"):
        return f"grammar {value}"
    return f"{sense.tag} {value}" + (f" at {sense.place}" if sense.place else "")
