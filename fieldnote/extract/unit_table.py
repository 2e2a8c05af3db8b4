"""Unit phrases compiled for look-up by first word."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fieldnote.extract.conversions import dimension
from fieldnote.extract.number_words import cut

_SHORTEST_WORD = 4  # shorter unit words are abbreviations: one form for both numbers


@dataclass(frozen=True, slots=True)
class UnitTable:
    """Unit phrases by first word, longest first. Made by ``compile_units``.

    ``singular`` holds the singulars of times and lengths: "two ten minute tests" are two of ten minutes, but "one
    twenty seconds" is 120.
    """

    by_first: Mapping[str, tuple[tuple[tuple[str, ...], str], ...]]
    singular: frozenset[tuple[str, ...]]


def compile_units(phrases: Mapping[str, str]) -> UnitTable:
    """A table from unit phrase (lower case, hyphens as spaces: "inch pounds", "psi", "°") to symbol ("in_lb")."""
    by_first: dict[str, list[tuple[tuple[str, ...], str]]] = {}
    keys: dict[tuple[str, ...], str] = {}
    for phrase, symbol in phrases.items():
        words = tuple(cut(phrase.split())[0])
        if words and words not in keys:
            keys[words] = symbol
            by_first.setdefault(words[0], []).append((words, symbol))
    singular = frozenset(key for key, symbol in keys.items() if _has_plural(key, symbol, keys))
    return UnitTable(
        {first: tuple(sorted(rows, key=lambda row: -len(row[0]))) for first, rows in by_first.items()}, singular
    )


def _has_plural(key: tuple[str, ...], symbol: str, keys: Mapping[tuple[str, ...], str]) -> bool:
    """Whether ``key`` is the singular of a unit that people put before a noun: a "ten minute test", not a "psi"."""
    last = key[-1]
    if dimension(symbol) not in ("time", "length") or len(last) < _SHORTEST_WORD:
        return False
    if last == "feet" or any(last.endswith(end) and (*key[:-1], last.removesuffix(end)) in keys for end in ("s", "es")):
        return False  # a plural itself, whatever a caller that adds plurals made of it
    return any((*key[:-1], plural) in keys for plural in ("feet" if last == "foot" else last + "s", last + "es"))
