"""Plain English told from the trade's words by spaCy's blank pipeline: tokens, stop words and matcher, no model.

The only module that imports spaCy; it does so on first use.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import lru_cache
from typing import Any

LONGEST_PHRASE = 4
"""In words."""


@lru_cache(maxsize=1)
def _pipeline() -> tuple[Any, Any]:
    """The blank English pipeline, and a matcher of phrases that begin and end with a word of their own."""
    import spacy
    from spacy.matcher import Matcher

    english = spacy.blank("en")
    own = {"IS_STOP": False, "IS_PUNCT": False, "LIKE_NUM": False, "TEXT": {"REGEX": r"[^\W\d_]"}}
    inner = {"IS_PUNCT": False, "IS_SPACE": False}
    matcher = Matcher(english.vocab)
    patterns: list[Any] = [[own], *([own, *([inner] * n), own] for n in range(LONGEST_PHRASE - 1))]
    matcher.add("phrase", patterns)
    return english, matcher


def phrases(text: str, small: Iterable[str] = ()) -> Iterator[tuple[str, ...]]:
    """Every run of up to four words, lower case, that neither begins nor ends with a word that carries nothing.

    Such words are English stop words, numbers, single letters, and those in ``small``.
    """
    english, matcher = _pipeline()
    nothing = frozenset(small)
    doc = english(text.lower())
    for _, start, end in matcher(doc):
        words = tuple(token.text for token in doc[start:end])
        if all(len(word) > 1 and word not in nothing for word in (words[0], words[-1])):
            yield words
