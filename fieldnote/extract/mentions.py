"""Finds the pack's phrases in an utterance: longest match first, and says how each was made and how sure it is.

How: ``exact``; ``respelled`` (another spelling, or letters said for words); ``heard`` (a confusion measured on a
recogniser); ``alike`` (close in letters and sound). A phrase may be broken by a side or a filler ("front left door").
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from operator import attrgetter

from fieldnote.extract.alike import Alike
from fieldnote.extract.lexicon import Lexicon, Node, Sense
from fieldnote.extract.tokens import Token


@dataclass(slots=True, unsafe_hash=True)
class Word:
    """A word as matched: ``text`` after respelling, and the tokens ``first:last`` that it stands for."""

    text: str
    first: int
    last: int
    how: str = "exact"
    sure: float = 1.0


@dataclass(slots=True, unsafe_hash=True)
class Mention:
    """Words ``start:end`` and what they may mean. ``gap`` holds words inside that belong to another mention."""

    start: int
    end: int
    senses: tuple[Sense, ...]
    how: str = "exact"
    sure: float = 1.0
    gap: int = 0


_NAMES = frozenset({"part", "part_word", "place"})
_sureness = attrgetter("sure")
_RESPELLED_SURE = 0.99
_SHORTEST_JOINED = 6


class MentionFinder:
    """Matches one lexicon. Holds no state between utterances but caches."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._lex = lexicon
        self._alike = Alike(lexicon)
        self._halves = frozenset(
            word[:k] for word in lexicon.listed if len(word) >= _SHORTEST_JOINED for k in range(2, len(word) - 2)
        )
        """Beginnings of words that may have been written as two."""

    def words(self, tokens: Sequence[Token]) -> list[Word]:
        """Tokens with short forms written out, other spellings folded, and misheard words mended."""
        lex, i, n = self._lex, 0, len(tokens)
        out: list[Word] = []
        short, respelled = lex.short.next, lex.respelled
        heard, halves = self._alike.heard, self._halves
        texts = [t.text for t in tokens]
        while i < n:
            text = texts[i]
            if text in short:
                end, means = _longest(short, texts, i)
                if means:
                    out.extend(Word(w, i, end, "respelled", _RESPELLED_SURE) for w in means)
                    i = end
                    continue
            mended = self._alike.phrase(texts, i) if text in heard else None
            if mended is not None:
                out.extend(Word(w, i, mended.end, mended.how, mended.sure) for w in mended.words)
                i = mended.end
                continue
            joined = self._joined(texts, i) if text in halves else None
            if joined is not None:
                out.append(Word(joined, i, i + 2, "respelled", _RESPELLED_SURE))
                i += 2
                continue
            known = respelled.get(text)
            if known is not None:
                out.append(Word(known, i, i + 1, "respelled", _RESPELLED_SURE))
            elif text in lex.words or len(text) <= self._alike.exact_up_to or not text.isalpha():
                out.append(Word(text, i, i + 1))
            else:
                near = self._alike.word(text)
                out.append(Word(near.words[0], i, i + 1, near.how, near.sure) if near else Word(text, i, i + 1))
            i += 1
        return out

    def _joined(self, texts: list[str], i: int) -> str | None:
        """A trade word that was written as two ("in take", "un seated")."""
        if i + 1 >= len(texts) or len(texts[i]) < 2 or len(texts[i + 1]) < 3:
            return None
        word = texts[i] + texts[i + 1]
        if len(word) < _SHORTEST_JOINED or word not in self._lex.listed:
            return None
        known = self._lex.root.next.get(texts[i])
        return None if known is not None and texts[i + 1] in known.next else word

    def find(self, words: Sequence[Word], taken: Sequence[bool]) -> list[Mention]:
        """All mentions, left to right. ``taken`` marks words that a quantity or a fact holds already."""
        texts = [w.text for w in words]
        found = self._first(texts, words, taken)
        taken = list(taken)
        for mention in found:
            taken[mention.start : mention.end] = [True] * (mention.end - mention.start)
        i, n = 0, len(words)
        while i < n:
            if taken[i]:
                i += 1
                continue
            here = self._at(texts, words, taken, i)
            if here is None:
                i += 1
                continue
            mention = here
            found.append(mention)
            if mention.gap:
                inner = self._inside(texts, mention)
                if inner:
                    found.insert(len(found) - 1, inner)
            longer = self._overlapping(texts, words, taken, mention)
            if longer:
                while longer:
                    found.append(longer)
                    i = longer.end
                    longer = self._overlapping(texts, words, taken, longer)
            else:
                i = mention.end
        found.sort(key=lambda m: (m.start, m.end))
        return found

    def _first(self, texts: list[str], words: Sequence[Word], taken: Sequence[bool]) -> list[Mention]:
        """Phrases that go before all others, wherever they begin ("that'S THE LEAK")."""
        found: list[Mention] = []
        start = self._lex.first.next
        i, n = 0, len(texts)
        while i < n:
            node = None if taken[i] else start.get(texts[i])
            best, j = None, i
            while node is not None:
                j += 1
                if node.senses:
                    best = (j, node.senses)
                node = node.next.get(texts[j]) if j < n and not taken[j] else None
            if best is None:
                i += 1
                continue
            weakest = min(words[i : best[0]], key=lambda w: w.sure)
            found.append(Mention(i, best[0], best[1], weakest.how, weakest.sure))
            i = best[0]
        return found

    def _at(self, texts: list[str], words: Sequence[Word], taken: Sequence[bool], i: int) -> Mention | None:
        node = self._lex.root.next.get(texts[i])
        if node is None:
            return None
        best_end, gap, best_gap = 0, 0, 0
        best: tuple[Sense, ...] = ()
        j, n = i + 1, len(texts)
        current: Node = node
        noun = self._named_as_noun(texts, i)
        open_to_gap = "at" in node.tags
        while True:
            senses = current.senses
            if senses and noun and j > i + 1:
                # "A plug in the roof" is no plugging in.
                senses = tuple(s for s in senses if s.form not in ("base", "third"))
            if senses and i and j > i + 1 and "side" in node.tags and texts[i - 1] == "the":
                senses = tuple(s for s in senses if s.tag != "word")  # "on the right behind the bumper"
            if senses and not (j > i + 1 and self._cuts_a_name(texts, taken, i, j)):
                best_end, best, best_gap = j, senses, gap
            if j >= n or taken[j]:
                break
            step = current.next.get(texts[j])
            if step is None and open_to_gap and not gap and j + 1 < n and not taken[j + 1]:
                step = current.next.get(texts[j + 1])
                if step is None or not self._breaks(texts[j]) or not _leads_to_place(step):
                    break
                gap = j
                j += 1
            if step is None:
                break
            current = step
            j += 1
        if not best:
            return None
        weakest = words[i] if best_end == i + 1 else min(words[i:best_end], key=_sureness)
        return Mention(i, best_end, best, weakest.how, weakest.sure, best_gap)

    def _cuts_a_name(self, texts: list[str], taken: Sequence[bool], i: int, j: int) -> bool:
        """ "In the back" is none where "back glass" follows: after a small word a phrase yields to a name."""
        if texts[i] not in self._lex.small_words or len(texts[i]) == 1:
            return False
        for k in range(i + 1, j):
            node, m = self._lex.root.next.get(texts[k]), k + 1
            while node is not None:
                if m > j and any(s.tag in ("place", "part") for s in node.senses):
                    return True
                node = node.next.get(texts[m]) if m < len(texts) and not taken[m] else None
                m += 1
        return False

    def _named_as_noun(self, texts: list[str], i: int) -> bool:
        """Whether the word stands where a name does: it can name a part, and no "to" or "will" comes before it."""
        if i and texts[i - 1] in self._lex.before_base:
            return False
        return not _NAMES.isdisjoint(self._lex.root.next[texts[i]].tags)

    def _breaks(self, text: str) -> bool:
        node = self._lex.root.next.get(text)
        return bool(node) and any(
            s.tag == "side" or (s.tag == "word" and s.value == "filler")
            for s in node.senses  # type: ignore[union-attr]
        )

    def _inside(self, texts: list[str], mention: Mention) -> Mention | None:
        """The side that broke a phrase ("front LEFT door")."""
        senses = tuple(s for s in self._lex.find([texts[mention.gap]]) if s.tag == "side")
        return Mention(mention.gap, mention.gap + 1, senses) if senses else None

    def _overlapping(
        self, texts: list[str], words: Sequence[Word], taken: Sequence[bool], mention: Mention
    ) -> Mention | None:
        """A part's phrase that begins with the last word of a place's ("rear DOOR trim panel")."""
        last = mention.end - 1
        if last == mention.start or not any(s.tag in ("place", "part") for s in mention.senses):
            return None
        longer = self._at(texts, words, taken, last)
        if longer is None or longer.end <= mention.end:
            return None
        senses = tuple(s for s in longer.senses if s.tag == "part")
        return Mention(last, longer.end, senses, longer.how, longer.sure) if senses else None


def _leads_to_place(node: Node) -> bool:
    return any(s.tag in ("place", "part") for s in node.senses) or any(_leads_to_place(n) for n in node.next.values())


def _longest(start: dict[str, Node], texts: list[str], i: int) -> tuple[int, tuple[str, ...]]:
    """The longest short form at ``i``: its end and what it stands for."""
    best: tuple[int, tuple[str, ...]] = (i, ())
    level, j = start, i
    while j < len(texts) and texts[j] in level:
        node = level[texts[j]]
        j += 1
        if node.senses:
            best = (j, node.senses[0].value)
        level = node.next
    return best
