"""How likely a sentence is in the trade's language: an n-gram model made from a pack's own words.

``python models/training/language.py PACK`` writes it from the text that the recogniser is tuned on; a pack without one
does without. Trigrams with absolute discounting (Ney, Essen and Kneser 1994), interpolated down to single words; a word
that the trade does not use has a small fixed probability, so that plain English is unlikely but never impossible.

N-grams are kept as sorted 64-bit hashes with their counts: a megabyte that loads at once. Two n-grams share a hash with
a chance of about one in a thousand million.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from hashlib import blake2b
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldnote.errors import BadData
from fieldnote.resources import shipped

ORDER = 3
_DISCOUNT = 0.75
_UNKNOWN_PROB = 1e-7
_ADDED_PROB = 1e-4
"""Of a word that the pack knows and the text it was made from did not have, such as one that a lead has added."""
_BEGIN, _END = "<s>", "</s>"
_ENDINGS = (("s", ""), ("es", ""), ("ed", ""), ("ed", "e"), ("ing", ""), ("ing", "e"), ("ies", "y"), ("ied", "y"))


@dataclass(frozen=True, slots=True)
class _Counts:
    """Sorted keys, and for each what was counted under it."""

    keys: NDArray[np.uint64]
    counts: NDArray[np.int32]

    def of(self, key: int) -> int:
        at = int(np.searchsorted(self.keys, np.uint64(key)))
        return int(self.counts[at]) if at < len(self.keys) and int(self.keys[at]) == key else 0


class TradeLanguage:
    """A trigram model, and the phrases that are said alone."""

    def __init__(
        self,
        ngrams: _Counts,
        followed: _Counts,
        ways: _Counts,
        alone: tuple[str, ...],
        added: frozenset[str] = frozenset(),
    ) -> None:
        self._ngrams, self._followed, self._ways, self._added = ngrams, followed, ways, added
        self.alone = alone
        """Utterances of one to three words that the trade knows, the usual ones first."""
        self.known_alone = frozenset(alone)

    @classmethod
    def of_texts(cls, texts: Iterable[str], most_alone: int = 400) -> TradeLanguage:
        """Count sentences; the same sentence given more often counts more often."""
        ngrams: Counter[int] = Counter()
        followed: Counter[int] = Counter()
        ways: Counter[int] = Counter()
        alone: Counter[str] = Counter()
        for text in texts:
            words = spoken(text).split()
            if not words:
                continue
            if len(words) <= ORDER:
                alone[" ".join(words)] += 1
            line = [_BEGIN] * (ORDER - 1) + words + [_END]
            for i in range(ORDER - 1, len(line)):
                for length in range(1, ORDER + 1):
                    whole, before = _key(line[i - length + 1 : i + 1]), _key(line[i - length + 1 : i], length)
                    ways[before] += ngrams[whole] == 0
                    ngrams[whole] += 1
                    followed[before] += 1
        usual = tuple(phrase for phrase, _ in alone.most_common(most_alone))
        return cls(_sorted(ngrams), _sorted(followed), _sorted(ways), usual)

    @classmethod
    def load(cls, path: Path) -> TradeLanguage:
        """Read what ``save`` wrote.

        Raises:
            BadData: it is no such file.
        """
        try:
            with np.load(path, allow_pickle=False) as arrays:
                ngrams, followed, ways = (
                    _Counts(arrays[f"{name}_keys"], arrays[f"{name}_counts"]) for name in ("ngrams", "followed", "ways")
                )
                return cls(ngrams, followed, ways, tuple(str(phrase) for phrase in arrays["alone"]))
        except (OSError, ValueError, KeyError) as error:
            raise BadData(
                f"the language model cannot be read ({error})", where=str(path), do="Install fieldnote again."
            ) from error

    def knowing(self, phrases: Iterable[str]) -> TradeLanguage:
        """The same model, to which no word of ``phrases`` is a stranger."""
        words = frozenset(word for phrase in phrases for word in spoken(phrase).split())
        return TradeLanguage(self._ngrams, self._followed, self._ways, self.alone, words)

    def save(self, path: Path) -> None:
        """Write it, compressed."""
        tables = {"ngrams": self._ngrams, "followed": self._followed, "ways": self._ways}
        arrays: dict[str, NDArray[Any]] = {f"{name}_keys": t.keys for name, t in tables.items()}
        arrays |= {f"{name}_counts": t.counts for name, t in tables.items()}
        path.parent.mkdir(parents=True, exist_ok=True)
        np.savez_compressed(path, **arrays, alone=np.array(self.alone))  # type: ignore[arg-type]

    def log_prob(self, text: str) -> float:
        """The natural log of the probability of ``text`` as an utterance of its own."""
        line = [_BEGIN] * (ORDER - 1) + spoken(text).split() + [_END]
        return sum(math.log(self._prob(line[i - ORDER + 1 : i + 1])) for i in range(ORDER - 1, len(line)))

    def _prob(self, words: Sequence[str]) -> float:
        """Of the last word, given those before it."""
        shorter = self._prob(words[1:]) if len(words) > 1 else self._stranger_prob(words[0])
        before = _key(words[:-1], len(words))
        total = self._followed.of(before)
        if not total:
            return shorter
        seen = max(0.0, self._ngrams.of(_key(words)) - _DISCOUNT)
        return (seen + _DISCOUNT * self._ways.of(before) * shorter) / total

    def _stranger_prob(self, word: str) -> float:
        """Of a word that the text did not have: one of the pack's, another form of one ("showed"), or any other."""
        forms = (word.removesuffix(ending) + kept for ending, kept in _ENDINGS if word.endswith(ending))
        known = word in self._added or any(form in self._added for form in forms)
        return _ADDED_PROB if known else _UNKNOWN_PROB


@lru_cache(maxsize=4)
def language_of(pack_id: str) -> TradeLanguage | None:
    """The shipped model for a pack; None where there is none."""
    path = shipped("models") / "language" / f"{pack_id}.npz"
    return TradeLanguage.load(path) if path.is_file() else None


def spoken(text: str) -> str:
    """Lower case words with single spaces: letters, digits and apostrophes; hyphens part words."""
    return " ".join("".join(c if c.isalnum() or c == "'" else " " for c in text.lower()).split())


def _key(words: Sequence[str], length: int = 0) -> int:
    """A hash of the words; ``length`` tells contexts of different n-grams, and contexts from n-grams, apart."""
    return int.from_bytes(blake2b(f"{length} {' '.join(words)}".encode(), digest_size=8).digest(), "little")


def _sorted(counted: Counter[int]) -> _Counts:
    keys = np.array(sorted(counted), dtype=np.uint64)
    return _Counts(keys, np.array([counted[int(key)] for key in keys], dtype=np.int32))
