"""The valid value that a mistyped one was most likely meant to be."""

from __future__ import annotations

from collections.abc import Iterable

from rapidfuzz import fuzz, process

CLOSE_ENOUGH = 60.0


def nearest(wrong: str, known: Iterable[str]) -> str:
    """The closest of ``known``, or empty where nothing is close."""
    best = process.extractOne(wrong, list(known), scorer=fuzz.ratio, score_cutoff=CLOSE_ENOUGH)
    return str(best[0]) if best else ""
