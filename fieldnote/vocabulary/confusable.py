"""Terms of a pack that sound alike, and what the risk of each pair is.

Two sources: sound keys (``phonetics``), and confusions that were measured with a recogniser (the pack's ``heard_as``
rows). A pair that the pack already holds apart is listed with that said, since a recogniser can still write one for the
other; the matcher then takes each only as written.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from rapidfuzz.distance import Levenshtein

from fieldnote.vocabulary.pack import HeardAs, Pack, State, Term
from fieldnote.vocabulary.phonetics import sound_key, vowel_key

Risk = Literal["high", "medium", "low"]
RISKS: tuple[Risk, ...] = ("high", "medium", "low")

SHORTEST_NEAR_KEY = 4
"""Keys of fewer sounds that differ by one sound are different words to any ear: they are not listed."""
LIKE_SAME, LIKE_NEAR = 0.6, 0.7
"""Sound keys hold consonants alone, so the letters must be alike too: for the same key, and for a near one."""
RHYMING_LETTERS = ("bcdegptvz", "ajk8", "fsx", "mn", "iy", "qu")
"""Letter names that rhyme; the first is the "E-set", long known to listeners and recognisers as the hardest."""

_THINGS = frozenset({"place", "part"})
_MATCHED = ("place", "part", "state", "method", "material")


@dataclass(frozen=True, slots=True)
class Spoken:
    """A phrase of the pack with the term that it names."""

    kind: str
    id: str
    phrase: str
    slots: frozenset[str] = frozenset()
    """Terms that share a slot can stand in each other's stead in a sentence."""

    def __str__(self) -> str:
        return f"{self.phrase!r} ({self.kind} {self.id})"


@dataclass(frozen=True, slots=True)
class Pair:
    """Two phrases that sound alike. ``how``: ``same sound``, ``same consonants`` or ``one consonant apart``."""

    one: Spoken
    other: Spoken
    how: str
    risk: Risk
    why: str
    held_apart: bool = False
    reviewed: str = ""
    """Why they are told apart all the same, where somebody reviewed them (the pack's ``told_apart`` rows)."""
    more: int = 0
    """Further phrases of the same two terms that differ by the same two words."""


@dataclass(frozen=True, slots=True)
class Measured:
    """A measured confusion that ends at a term of the pack, or at none (then ``said`` is ``None``)."""

    heard: HeardAs
    said: Spoken | None
    risk: Risk
    why: str


@dataclass(frozen=True, slots=True)
class Confusions:
    """All that sounds alike in one pack, riskiest first; ``stale`` holds rows measured with another model."""

    pairs: tuple[Pair, ...]
    """Those that nobody reviewed yet come first within each risk."""
    measured: tuple[Measured, ...]
    stale: tuple[HeardAs, ...]


def spoken_terms(pack: Pack, kinds: Iterable[str] = _MATCHED) -> Iterator[Spoken]:
    """Every phrase of the terms that are matched in sentences, in file order."""
    for kind in kinds:
        for term in pack.terms(kind):
            for phrase in phrases_of(term):
                yield Spoken(kind, term.id, phrase, _slots(kind, term))


def _slots(kind: str, term: Term) -> frozenset[str]:
    if isinstance(term, State):
        return frozenset(f"state.{k}" for k in term.kinds)
    return frozenset(("thing" if kind in _THINGS else kind,))


def phrases_of(term: Term) -> Iterator[str]:
    """All that a term is called by: ``say``, and for a state its nouns and verbs too."""
    more = (*term.nouns, *term.verbs) if isinstance(term, State) else ()
    yield from dict.fromkeys((*term.say, *more))


def confusions(pack: Pack, *, model_hash: str | None = None, only: str = "") -> Confusions:
    """What sounds alike in ``pack``.

    ``model_hash``: of the recogniser in use; measured rows of another one are stale (rows without a model are
    homophones by anybody's ear). ``only``: nothing but the pairs that this phrase, or a word of it, is part of.
    """
    terms = list(spoken_terms(pack))
    forms = _forms(pack)
    pairs = [p for p in _pairs(terms, _apart(pack), _reviewed(pack), forms) if not only or _about(p, only)]
    rows = [r for r in pack.lists["heard"] if not only or only in (r.heard, r.said)]
    measured = [_measured(row, terms) for row in rows]
    stale = tuple(r for r in rows if model_hash is not None and r.model not in ("", model_hash))
    return Confusions(
        tuple(sorted(pairs, key=lambda p: (bool(p.reviewed), RISKS.index(p.risk), p.one.phrase, p.other.phrase))),
        tuple(sorted(measured, key=lambda m: (RISKS.index(m.risk), -_share(m.heard)))),
        stale,
    )


# ---- by sound -------------------------------------------------------------------------------------------------


def _pairs(
    terms: list[Spoken],
    apart: frozenset[frozenset[str]],
    reviewed: Mapping[frozenset[str], str],
    forms: frozenset[frozenset[str]],
) -> list[Pair]:
    found: dict[tuple[str, str, frozenset[str]], Pair] = {}
    seen: set[tuple[Spoken, Spoken]] = set()
    for a, b, same in _candidates(terms):
        one, other = sorted((a, b), key=lambda s: (s.phrase, s.kind, s.id))
        if (one, other) in seen or one.phrase == other.phrase or (one.kind, one.id) == (other.kind, other.id):
            continue
        seen.add((one, other))
        words = _differing(one.phrase, other.phrase)
        if words is None or _inflected(*words) or frozenset(words) in forms:
            continue
        alike = "same sound" if same and _same_vowels(*words) else "same consonants" if same else "one consonant apart"
        if alike != "same sound" and not one.slots & other.slots:
            continue  # a part for a finding: the sentence tells them apart
        likeness = 1.0 if _rhyme(*words) else Levenshtein.normalized_similarity(*words)
        if likeness < (LIKE_SAME if same else LIKE_NEAR):
            continue
        first, second = sorted((f"{one.kind} {one.id}", f"{other.kind} {other.id}"))
        key = (first, second, frozenset(words))
        pair = _rated(one, other, alike, apart=frozenset(words) in apart)
        pair = replace(pair, reviewed=reviewed.get(frozenset(words), reviewed.get(frozenset((a.phrase, b.phrase)), "")))
        before = found.get(key)
        if before is None:
            found[key] = pair
        else:
            shorter = min(before, pair, key=lambda p: len(p.one.phrase))
            found[key] = replace(shorter, more=before.more + 1)
    return list(found.values())


def _candidates(terms: list[Spoken]) -> Iterator[tuple[Spoken, Spoken, bool]]:
    """Pairs with the same keys word by word, or with one sound more, less or other; whether they are the same."""
    exact: dict[str, list[Spoken]] = {}
    near: dict[str, list[tuple[str, Spoken]]] = {}
    for term in terms:
        key = " ".join(sound_key(w) for w in term.phrase.split())
        exact.setdefault(key, []).append(term)
        if len(key.replace(" ", "")) >= SHORTEST_NEAR_KEY:
            for i in range(len(key) + 1):
                near.setdefault(f"{key[:i]}*{key[i + 1 :]}", []).append((key, term))
                near.setdefault(f"{key[:i]}*{key[i:]}", []).append((key, term))
    yield from _letters(terms)
    for group in exact.values():
        for a, b in itertools.combinations(group, 2):
            yield a, b, True
    for bucket in near.values():
        for (key, a), (other, b) in itertools.combinations(bucket, 2):
            if key != other:
                yield a, b, False


def _letters(terms: list[Spoken]) -> Iterator[tuple[Spoken, Spoken, bool]]:
    """Pairs that differ by one spoken letter ("b pillar", "d pillar")."""
    buckets: dict[str, list[Spoken]] = {}
    for term in terms:
        words = term.phrase.split()
        for i, word in enumerate(words):
            if len(word) == 1 and len(words) > 1:
                buckets.setdefault(" ".join((*words[:i], "*", *words[i + 1 :])), []).append(term)
    for bucket in buckets.values():
        for a, b in itertools.combinations(bucket, 2):
            different = _differing(a.phrase, b.phrase)
            if different and _rhyme(*different):
                yield a, b, True


def _rhyme(one: str, other: str) -> bool:
    return len(one) == len(other) == 1 and any(one in group and other in group for group in RHYMING_LETTERS)


def _differing(one: str, other: str) -> tuple[str, str] | None:
    """The one word in which two phrases of as many words differ; None where they differ elsewhere too."""
    a, b = one.split(), other.split()
    if len(a) != len(b):
        return None
    different = [(x, y) for x, y in zip(a, b, strict=True) if x != y]
    return different[0] if len(different) == 1 else None


def _inflected(one: str, other: str) -> bool:
    """Whether two words are forms of one: those are told apart by grammar, not by ear."""
    short, long = sorted((one, other), key=len)
    stem = short[:-1] if short.endswith(("e", "y")) and len(short) > 3 else short
    tail = long[len(stem) :] if long.startswith(stem) else ""
    return tail in {"s", "es", "ies", "d", "ed", "ing", "y", "er", "t"} or (
        long.startswith(short) and tail[:1] == short[-1:] and tail[1:] in {"ed", "ing", "y", "er"}
    )


def _same_vowels(one: str, other: str) -> bool:
    return _rhyme(one, other) or vowel_key(one) == vowel_key(other)


def _rated(one: Spoken, other: Spoken, how: str, *, apart: bool) -> Pair:
    if one.slots & other.slots:
        risk: Risk = "high" if how == "same sound" else "medium" if how == "same consonants" else "low"
        why = f"misheard, an entry would name {_named(other)} instead of {_named(one)}"
    else:
        risk = "medium"
        why = f"misheard, {_named(one)} would be read as {_named(other)}"
    if apart:
        why += "; held apart: each is taken only as written"
        risk = "low" if risk == "medium" else risk
    return Pair(one, other, how, risk, why, apart)


def _named(term: Spoken) -> str:
    return f"the {term.kind} {term.id}"


def _reviewed(pack: Pack) -> dict[frozenset[str], str]:
    rows = pack.lists["told_apart"]
    return {frozenset(two): row.why for row in rows for two in itertools.combinations(row.words, 2)}


def _forms(pack: Pack) -> frozenset[frozenset[str]]:
    """Forms of one irregular verb ("came", "come"): told apart by grammar."""
    rows = ((r.base, r.past, r.participle, r.ing) for r in pack.lists["irregular"])
    return frozenset(frozenset(two) for row in rows for two in itertools.combinations([f for f in row if f], 2))


def _apart(pack: Pack) -> frozenset[frozenset[str]]:
    return frozenset(frozenset(two) for row in pack.lists["apart"] for two in itertools.combinations(row.words, 2))


def _about(pair: Pair, phrase: str) -> bool:
    return any(phrase == s.phrase or f" {phrase} " in f" {s.phrase} " for s in (pair.one, pair.other))


# ---- as measured ----------------------------------------------------------------------------------------------


def _measured(row: HeardAs, terms: list[Spoken]) -> Measured:
    said = next((t for t in terms if t.phrase == row.said), None)
    taken = next((t for t in terms if t.phrase == row.heard and (said is None or t.id != said.id)), None)
    often = f"{row.times} of {row.of} trials" if row.of else "sounds the same"
    if taken is not None:
        return Measured(row, said, "high", f"{often}; {row.heard!r} also names {_named(taken)}")
    if row.ordinary:
        return Measured(row, said, "medium", f"{often}; also plain English: counts only beside words of the trade")
    return Measured(row, said, "low", f"{often}; {row.heard!r} means nothing else")


def _share(row: HeardAs) -> float:
    return row.times / row.of if row.of else 0.0
