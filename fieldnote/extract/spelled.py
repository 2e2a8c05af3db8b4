"""Spelled strings: letters, the ICAO alphabet, digits, "double seven", and what recognisers make of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SpelledMention:
    """Characters (upper case letters and digits) spelled in ``tokens[start:end]``.

    ``said`` holds for each character how it was said: ``letter``, ``word`` (ICAO), ``digit``, ``number`` ("twelve"), ``glued``
    (written together) or ``slip`` (an ordinary word that sounds like a letter: "see", "are").
    """

    start: int
    end: int
    text: str
    said: tuple[str, ...]


def find_spelled(tokens: Sequence[str]) -> tuple[SpelledMention, ...]:
    """Runs that are clearly spelled without any context (four characters or more, most of them unmistakable)."""
    raise NotImplementedError


def read_spelled(tokens: Sequence[str], start: int = 0, at_most: int | None = None) -> SpelledMention | None:
    """Characters spelled from ``tokens[start]`` on, slips taken too: for after "plate", "vin", "code", "order"."""
    raise NotImplementedError
