"""What the team says and the pack does not know: words and phrases of the leftovers, most frequent first.

Fed with leftovers (the words that no rule took) of any number of jobs, from the store or from anywhere else.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from rapidfuzz import fuzz, process

from fieldnote.vocabulary.confusable import spoken_terms
from fieldnote.vocabulary.pack import Pack
from fieldnote.vocabulary.phonetics import phrase_key
from fieldnote.vocabulary.plain_english import phrases

EXAMPLES = 3
ALIKE = 80.0
"""Likeness in percent from which a known term is named beside an unknown phrase."""
SAME_SOUND_ALIKE = 60.0


@dataclass(frozen=True, slots=True)
class Left:
    """Words that no rule took: ``text``, the utterance that they stood in, and its job."""

    text: str
    utterance: str
    job: str = ""


@dataclass(frozen=True, slots=True)
class UnknownPhrase:
    """A phrase that the pack lacks. ``near`` is the known term that it is spelled or sounds most like, if any."""

    phrase: str
    times: int
    jobs: int
    examples: tuple[str, ...]
    near: str = ""


def unknown_phrases(leftovers: Iterable[Left], pack: Pack, *, at_least: int = 1) -> tuple[UnknownPhrase, ...]:
    """Words and phrases of ``leftovers`` by how often they come, with sentences in which they came.

    A phrase stands for its words where they never come without it. Words that carry nothing by themselves neither begin
    nor end one: those of plain English, and the pack's ``filler``, ``function``, ``link``, ``preposition`` and so on.
    """
    small = _small_words(pack)
    times: Counter[tuple[str, ...]] = Counter()
    jobs: dict[tuple[str, ...], set[str]] = {}
    examples: dict[tuple[str, ...], dict[str, None]] = {}
    for left in leftovers:
        for gram in phrases(left.text, small):
            times[gram] += 1
            jobs.setdefault(gram, set()).add(left.job)
            examples.setdefault(gram, {}).setdefault(left.utterance)
    kept = _widest(times)
    near = _Near(pack)
    found = [
        UnknownPhrase(" ".join(g), times[g], len(jobs[g]), tuple(examples[g])[:EXAMPLES], near.of(" ".join(g)))
        for g in kept
        if times[g] >= at_least
    ]
    return tuple(sorted(found, key=lambda u: (-u.times, -u.jobs, u.phrase)))


def _small_words(pack: Pack) -> frozenset[str]:
    """Single words that the grammar understands, and numbers."""
    words = {p for phrases in pack.words.values() for p in phrases if " " not in p}
    words |= {p for table in (pack.sides, pack.at) for phrases in table.values() for p in phrases if " " not in p}
    words |= {p for unit in pack.terms("unit") for p in unit.say if " " not in p}
    return frozenset(words)


def _widest(times: Counter[tuple[str, ...]]) -> list[tuple[str, ...]]:
    """Phrases that are no mere piece of a longer one that comes as often; rare long ones give way to their words."""
    covered: set[tuple[str, ...]] = set()
    for gram in sorted(times, key=len, reverse=True):
        if len(gram) == 1 or gram in covered:
            continue
        pieces = [gram[i : i + n] for n in range(1, len(gram)) for i in range(len(gram) - n + 1)]
        inner = [p for p in pieces if p in times]
        if inner and max(times[p] for p in inner) == times[gram]:
            covered.update(p for p in inner if times[p] == times[gram])
        else:
            covered.add(gram)
    return [g for g in times if g not in covered]


class _Near:
    """Finds the known phrase that an unknown one is most like."""

    def __init__(self, pack: Pack) -> None:
        self._terms = {term.phrase: f"{term.phrase} ({term.kind} {term.id})" for term in spoken_terms(pack)}
        self._by_sound: dict[str, list[str]] = {}
        for phrase in self._terms:
            self._by_sound.setdefault(phrase_key(phrase), []).append(phrase)

    def of(self, phrase: str) -> str:
        same = self._by_sound.get(phrase_key(phrase), ())
        best = process.extractOne(phrase, same, scorer=fuzz.ratio, score_cutoff=SAME_SOUND_ALIKE)
        best = best or process.extractOne(phrase, list(self._terms), scorer=fuzz.ratio, score_cutoff=ALIKE)
        return self._terms[best[0]] if best else ""
