"""Spelled strings: letters, the ICAO alphabet, digits, "double seven", and what recognisers make of them."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

from fieldnote.extract.cardinals import cardinal, small
from fieldnote.extract.number_words import ONES, REPEATS, SMALL, TEENS, TENS, ZERO_WORDS

Said = Literal["letter", "word", "digit", "number", "glued", "slip", "oh"]

_FILLERS = {"uh", "um", "er", "ah", "dash", "hyphen", "space", ",", "-", "then", "and", "."}
# Single letters that are words too: taken where spelling goes on or ends with them.
_LETTER_WORDS = {"a", "i"}
_SURE: frozenset[Said] = frozenset(("letter", "word", "digit", "number", "glued"))
_VOWELS = set("aeiouy")
_LIKENED = (("as", "in"), ("like",), ("for",), ("as",))
_DOTTED = re.compile(r"(?:[a-z]\.)+[a-z]?\.?$")
_CUTS = re.compile(r"[-‐‑–—/ ]")
_SINGLES = 3
_LONGEST_PLAIN = 4
_AND_AS_N = "an"  # a slip for N in the table
_FOR_AS_4 = "fore"  # a slip for 4 in the table that likens nothing
_LONGEST_CAPITALS = 8


@dataclass(frozen=True, slots=True)
class SpelledMention:
    """Characters (upper case letters and digits) spelled in ``tokens[start:end]``.

    ``said`` holds for each character how it was said: ``letter``, ``word`` (ICAO, or "b as in boy"), ``digit``,
    ``number`` ("twelve"), ``glued`` (written together), ``oh`` (zero or the letter) or ``slip`` (an ordinary word that
    sounds like a character: "see", "are").
    """

    start: int
    end: int
    text: str
    said: tuple[Said, ...]


@dataclass(frozen=True, slots=True)
class SpellingTable:
    """``spelling.toml`` turned round: what is said, to the character it stands for."""

    words: Mapping[str, tuple[str, Said]]
    pairs: Mapping[tuple[str, str], tuple[str, Said]]
    alike: Mapping[str, tuple[tuple[str, str], ...]]
    """Character to (said-alike character, reason)."""
    never_in_vin: Mapping[str, tuple[str, ...]]


@lru_cache(maxsize=1)
def spelling_table() -> SpellingTable:
    """The shipped table, read once."""
    raw: dict[str, Any] = tomllib.loads(Path(__file__).with_name("spelling.toml").read_text(encoding="utf-8"))
    words: dict[str, tuple[str, Said]] = {}
    pairs: dict[tuple[str, str], tuple[str, Said]] = {}
    kinds: tuple[Said, ...] = ("slip", "letter", "word")
    for kind in kinds:
        for character, spoken in raw[kind].items():
            for phrase in spoken:
                first, _, second = phrase.partition(" ")
                if second:
                    pairs[first, second] = (character, kind)
                else:
                    words[phrase] = (character, kind)
    for letter in "abcdefghijklmnopqrstuvwxyz":
        words[letter] = ("0", "oh") if letter == "o" else (letter.upper(), "letter")
    words["oh"] = ("0", "oh")
    alike: dict[str, list[tuple[str, str]]] = {}
    for row in raw["alike"]:
        one, other = row["pair"]
        alike.setdefault(one, []).append((other, row["why"]))
        alike.setdefault(other, []).append((one, row["why"]))
    return SpellingTable(
        words,
        pairs,
        {character: tuple(sorted(others)) for character, others in alike.items()},
        {character: tuple(instead) for character, instead in raw["never_in_vin"].items()},
    )


@lru_cache(maxsize=8192)
def _may_open(word: str) -> bool:
    """Whether a spelled run can begin with ``word``: most words of talk cannot, and are asked about once."""
    table = spelling_table()
    known = word in table.words or word in SMALL or word in REPEATS or any(word == first for first, _ in table.pairs)
    if known or not word.isalpha():
        return word not in _LETTER_WORDS
    return len(word) <= _LONGEST_PLAIN and not _VOWELS & set(word)


@dataclass(frozen=True, slots=True)
class _Piece:
    """Characters from pieces ``start:end``."""

    end: int
    text: str
    said: Said


def find_spelled(tokens: Sequence[str]) -> tuple[SpelledMention, ...]:
    """Runs that are clearly spelled without any context: four characters or more, three of them unmistakable letters.

    Digits alone are numbers and are left to ``find_numbers``.
    """
    pieces, at = _pieces(tokens)
    found: list[SpelledMention] = []
    i = 0
    while i < len(pieces):
        first = _decode(pieces, i) if _may_open(pieces[i]) else None
        if first is None or first.said not in _SURE:
            i += 1
            continue
        run = _run(pieces, at, i, None)
        if run is None:
            i += 1
            continue
        mention, end = run
        if _is_clear(mention):
            found.append(mention)
        i = end
    return tuple(found)


def read_spelled(
    tokens: Sequence[str],
    start: int = 0,
    at_most: int | None = None,
    *,
    and_is_n: bool = False,
    for_is_4: bool = False,
    eager: bool = False,
) -> SpelledMention | None:
    """Characters spelled from ``tokens[start]`` on, slips taken too: for after "plate", "vin", "code", "order".

    Stops after ``at_most`` characters where that is given. ``and_is_n`` reads an "and" between two characters as the
    letter, which recognisers often hear so, and not as a pause; ``for_is_4`` reads "w for whiskey" as three characters
    and not as one; ``eager`` takes several sound-alike words at the end too ("to for"). None where nothing is spelled.
    """
    pieces, at = _pieces(tokens[start:])
    if and_is_n:
        pieces = [_AND_AS_N if piece == "and" else piece for piece in pieces]
    if for_is_4:
        pieces = [_FOR_AS_4 if piece == "for" else piece for piece in pieces]
    first = 0
    while first < len(pieces) and pieces[first] in _FILLERS:
        first += 1
    run = _run(pieces, at, first, at_most, eager=eager)
    if run is None:
        return None
    mention = run[0]
    return SpelledMention(start + mention.start, start + mention.end, mention.text, mention.said)


def _is_clear(mention: SpelledMention) -> bool:
    letters = sum(
        said in ("letter", "word") or (said == "glued" and c.isalpha())
        for c, said in zip(mention.text, mention.said, strict=True)
    )
    return len(mention.text) >= 4 and letters >= (3 if len(mention.text) < 9 else 1)


def _pieces(tokens: Sequence[str]) -> tuple[list[str], list[int]]:
    """Tokens in lower case, cut at hyphens, without dots and other marks; and the token of each piece.

    Capitals written together ("HGCM") come apart, unless everything is in capitals.
    """
    pieces: list[str] = []
    at: list[int] = []
    capitals = any(token[:1].islower() or token[:1].isdigit() for token in tokens)
    for index, token in enumerate(tokens):
        if token.isalpha() and token.islower():
            pieces.append(token)
            at.append(index)
            continue
        for part in _parts(token):
            if part.isupper() and part.isascii() and _comes_apart(part, capitals):
                pieces.extend(part.lower())
                at.extend([index] * len(part))
            else:
                pieces.append(part.lower())
                at.append(index)
    return pieces, at


def _comes_apart(part: str, mixed: bool) -> bool:
    if not part.isalpha():
        return part.isalnum()
    return mixed and 1 < len(part) <= _LONGEST_CAPITALS


def _parts(token: str) -> list[str]:
    if token.isalnum():
        return [token]
    if _DOTTED.match(token.lower()):
        return [c for c in token if c != "."]
    return [part.strip(".,;:!?()'\"#") or "," for part in _CUTS.split(token)]


def _run(
    pieces: Sequence[str], at: Sequence[int], i: int, at_most: int | None, *, eager: bool = False
) -> tuple[SpelledMention, int] | None:
    """The longest spelled run from piece ``i``, and the piece after it."""
    text: list[str] = []
    said: list[Said] = []
    j = end = i
    while j < len(pieces) and (at_most is None or len(text) < at_most):
        piece = _decode(pieces, j)
        if piece is None:
            if pieces[j] in _FILLERS and text and j + 1 < len(pieces) and _goes_on(pieces, j + 1):
                j += 1
                continue
            break
        if piece.said == "number" and not eager and len(text) >= _SINGLES and set(said) == {"digit"}:
            # "Four one seven, fifty three seats": digits said one by one end at a pair.
            break
        doubtful = piece.said == "slip" or pieces[j] in _LETTER_WORDS
        if doubtful and not _fits(pieces, piece.end, started=bool(text), alone=not eager):
            break
        text.extend(piece.text)
        said.extend([piece.said] * len(piece.text))
        j = end = piece.end
    if not text:
        return None
    return SpelledMention(at[i], at[end - 1] + 1, _with_letter_o(text, said), tuple(said)), end


def _with_letter_o(text: Sequence[str], said: Sequence[Said]) -> str:
    """The characters, "oh" among letters as the letter: "i o u", "c d o"; beside a digit it is zero."""
    out = list(text)
    for k, how in enumerate(said):
        beside = [text[n] for n in (k - 1, k + 1) if 0 <= n < len(text)]
        if how == "oh" and k and beside and all(c.isalpha() for c in beside):
            out[k] = "O"
    return "".join(out)


def _goes_on(pieces: Sequence[str], j: int) -> bool:
    piece = _decode(pieces, j)
    return piece is not None and piece.said != "slip"


def _fits(pieces: Sequence[str], j: int, *, started: bool, alone: bool = True) -> bool:
    """A word that only may be a character is one where a sure one follows, or where it ends what was said.

    Several of them at the end are talk ("i see"), unless ``alone`` is not asked for.
    """
    if j >= len(pieces):
        return started
    following = _decode(pieces, j)
    if following is None:
        return pieces[j] in _FILLERS and j + 1 < len(pieces) and _goes_on(pieces, j + 1)
    if following.said == "slip" or pieces[j] in _LETTER_WORDS:
        return _fits(pieces, following.end, started=started and not alone, alone=alone)
    return True


def _decode(pieces: Sequence[str], j: int) -> _Piece | None:
    """What piece ``j``, with those after it, spells; None where it spells nothing."""
    table = spelling_table()
    word = pieces[j]
    following = pieces[j + 1] if j + 1 < len(pieces) else ""
    pair = table.pairs.get((word, following))
    if pair is not None:
        return _Piece(j + 2, pair[0], pair[1])
    if word in REPEATS and following:
        return _repeated(pieces, j)
    if word in SMALL:
        return _number(pieces, j)
    single = table.words.get(word)
    if single is not None:
        return _likened(pieces, j, single) or _Piece(j + 1, *single)
    return _glued(pieces, j)


def _repeated(pieces: Sequence[str], j: int) -> _Piece | None:
    inner = _decode(pieces, j + 1)
    if inner is None or not inner.text:
        return None
    if inner.said == "number" or (inner.said == "glued" and len(inner.text) > 1):
        return None
    return _Piece(inner.end, inner.text[0] * REPEATS[pieces[j]], inner.said)


def _number(pieces: Sequence[str], j: int) -> _Piece | None:
    word = pieces[j]
    if word in ONES or word in ZERO_WORDS:
        follows = pieces[j + 1] if j + 1 < len(pieces) else ""
        if follows not in ("hundred", "thousand", "point"):
            return _Piece(j + 1, str(SMALL[word]), "digit")
    whole = cardinal(pieces, j)
    if whole is not None and "thousand" in pieces[j : whole.end]:
        # An odometer reading that follows: plates and codes are not said in thousands.
        return None
    if whole is not None and "hundred" in pieces[j : whole.end]:
        return _Piece(whole.end, str(whole.value), "number") if isinstance(whole.value, int) else None
    low = small(pieces, j)
    return _Piece(low[1], str(low[0]), "number") if low and (word in TEENS or word in TENS) else None


def _likened(pieces: Sequence[str], j: int, single: tuple[str, Said]) -> _Piece | None:
    """Such as "b as in boy", "n like nancy": the word settles the letter."""
    for likening in _LIKENED:
        k = j + 1 + len(likening)
        if k >= len(pieces) or tuple(pieces[j + 1 : k]) != likening:
            continue
        word = pieces[k]
        if len(word) > 2 and word[0] == single[0].lower() and word not in SMALL:
            return _Piece(k + 1, single[0], "word")
    return None


def _glued(pieces: Sequence[str], j: int) -> _Piece | None:
    """Characters that a recogniser wrote together: "1hg", "cm82633a", "004352", "hg"."""
    word = pieces[j]
    if not (word.isascii() and word.isalnum()) or len(word) > 20:
        return None
    if word.isdigit():
        return _Piece(j + 1, word, "digit" if len(word) == 1 else "glued")
    if any(c.isdigit() for c in word):
        ordinal = word[-2:] in ("st", "nd", "rd", "th") and word[:-2].isdigit()
        return None if ordinal else _Piece(j + 1, word.upper(), "glued")
    if len(word) <= _LONGEST_PLAIN and not _VOWELS & set(word):
        return _Piece(j + 1, word.upper(), "glued")
    return None
