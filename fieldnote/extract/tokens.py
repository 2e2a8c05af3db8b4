"""Text cut into words that keep their character spans; case and punctuation carry nothing.

The small records of reading (``Token``, ``Word``, ``Mention``, ``Item``, ``Constituent``) are never changed once made,
as all records are; but one of each is made for every word, and Python makes a frozen one three times as slowly, which
came to a tenth of all the time that understanding takes. So they are not frozen.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

_WORD = re.compile(r"\d+(?:[.,/]\d+)+|[^\W_]+(?:['’ʼ][^\W\d_]+)*|[°%½¼¾⅓⅔⅛⅜⅝⅞#]", re.UNICODE)
_CLITIC = re.compile(r"^(.+?)['’ʼ](s|ll|ve|re|d|m)$")
_ARTICLE = re.compile(r"^t['’ʼ]\w{3,}")
_PLAIN = re.compile(r"[a-z ]+")
_APOSTROPHES = str.maketrans("", "", "'’ʼ")


@dataclass(slots=True, unsafe_hash=True)
class Token:
    """One word: ``text`` folded for matching, ``start:end`` its span in the utterance."""

    text: str
    start: int
    end: int


def tokenize(text: str) -> tuple[Token, ...]:
    """Words of an utterance. "Driver's" is two ("driver", "'s"); "isn't" is one ("isnt")."""
    tokens: list[Token] = []
    for match in _WORD.finditer(text):
        start, end = match.span()
        word = match.group()
        if word.isascii() and word.isalpha():  # most words: nothing to cut
            tokens.append(Token(word.lower(), start, end))
            continue
        for piece, offset, length in _cut(word):
            tokens.append(Token(piece, start + offset, start + offset + length))
    return tuple(tokens)


@lru_cache(maxsize=65536)
def fold(phrase: str) -> tuple[str, ...]:
    """The words of a phrase, folded as the words of an utterance are."""
    if _PLAIN.fullmatch(phrase):
        return tuple(phrase.split())
    words: list[str] = []
    for word in phrase.split():
        # A phrase of a pack may begin with the tail of a word: "'s the leak".
        words.extend([word] if word.startswith("'") else [token.text for token in tokenize(word)])
    return tuple(words)


@lru_cache(maxsize=16384)
def _cut(word: str) -> tuple[tuple[str, int, int], ...]:
    """Folded pieces of one written word with their offsets and lengths."""
    low = word.lower()
    if len(low) != len(word):  # a few capitals grow in lower case: the spans would not slice
        low = word
    match = _ARTICLE.match(low)
    if match:  # the article as much of northern England says it: "t'gasket"
        rest = _cut(word[2:])
        return (("the", 0, 2), *((text, offset + 2, length) for text, offset, length in rest))
    match = _CLITIC.match(low)
    if match:
        head, tail = match.group(1), match.group(2)
        return ((head.translate(_APOSTROPHES), 0, len(head)), ("'" + tail, len(head), len(word) - len(head)))
    return ((low.translate(_APOSTROPHES), 0, len(word)),)
