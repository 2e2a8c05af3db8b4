"""Words taken for others: by measured confusions, and by likeness of letters and sound, never a side or a short one."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from rapidfuzz import fuzz, process

from fieldnote.extract.lexicon import Lexicon
from fieldnote.extract.tokens import fold
from fieldnote.vocabulary.phonetics import sound_key

_SHORT = 7
_HEARD_BASE, _HEARD_GAIN = 0.7, 0.25


@dataclass(frozen=True, slots=True)
class Mended:
    """Words to read instead, up to word ``end``; ``how`` and ``sure`` as in a mention."""

    words: tuple[str, ...]
    end: int
    how: str
    sure: float


class Alike:
    """Looks up what a word may have been meant to be, in one lexicon."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._lex = lexicon
        self._limits = lexicon.pack.matching
        self.exact_up_to = self._limits.exact_up_to
        protected = {w for phrases in lexicon.pack.sides.values() for p in phrases for w in fold(p)}
        self._targets = sorted(
            w for w in lexicon.trade_words if len(w) > self.exact_up_to and w.isalpha() and w not in protected
        )
        self.heard: dict[str, list[tuple[tuple[str, ...], tuple[str, ...], float, bool]]] = {}
        for row in lexicon.pack.lists["heard"]:
            heard, said = fold(row.heard), fold(row.said)
            if heard and said:
                share = row.times / row.of if row.of else 0.0
                sure = _HEARD_BASE + _HEARD_GAIN * min(share, 1.0)
                self.heard.setdefault(heard[0], []).append((heard, said, sure, row.ordinary))
        for rows in self.heard.values():
            rows.sort(key=lambda row: -len(row[0]))
        self.word = lru_cache(maxsize=8192)(self._word)

    def phrase(self, texts: list[str], i: int) -> Mended | None:
        """A measured confusion that begins at word ``i``; an ordinary phrase counts only beside a trade word."""
        for heard, said, sure, ordinary in self.heard.get(texts[i], ()):
            end = i + len(heard)
            if tuple(texts[i:end]) == heard and (not ordinary or self._fits(texts, i, end)):
                return None if self._goes_on(texts, i) else Mended(said, end, "heard", sure)
        return None

    def _goes_on(self, texts: list[str], i: int) -> bool:
        """Whether word ``i`` ends a phrase of the trade as it stands ("wheel house"): then it was heard rightly."""
        before = self._lex.root.next.get(texts[i - 1]) if i else None
        here = before.next.get(texts[i]) if before else None
        return here is not None and any(s.tag in ("place", "part") for s in here.senses)

    def _fits(self, texts: list[str], start: int, end: int) -> bool:
        near = texts[max(0, start - 2) : start] + texts[end : end + 2]
        return any(w in self._lex.trade_words and len(w) > self.exact_up_to for w in near)

    def _word(self, text: str) -> Mended | None:
        """The trade word that an unknown word of five letters or more is close enough to."""
        limit = self._limits.likeness_short if len(text) <= _SHORT else self._limits.likeness_long
        key = sound_key(text)
        best: tuple[float, str] | None = None
        floor = self._limits.likeness_sound * 100
        for target, score, _ in process.extract(text, self._targets, scorer=fuzz.ratio, score_cutoff=floor, limit=8):
            same_sound = sound_key(target) == key
            enough = floor if same_sound else limit * 100
            if score < enough or frozenset((text, target)) in self._lex.apart or abs(len(target) - len(text)) > 2:
                continue
            if target[0] != text[0] and not same_sound:
                continue
            weight = score + (5 if same_sound else 0)
            if best is None or weight > best[0]:
                best = (weight, target)
        if best is None:
            return None
        return Mended((best[1],), 0, "alike", round(min(best[0], 100) / 100 * 0.9, 3))
