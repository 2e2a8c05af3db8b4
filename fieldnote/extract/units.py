"""Quantities: a number with its unit, as spoken; and exact conversions for comparing two of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class QuantityMention:
    """A value and its unit in ``tokens[start:end]``; ``unit`` is the symbol from the unit table.

    ``how``: ``number`` (a number was said), ``article`` ("a minute", "an inch": 1, and weaker evidence), ``about`` ("a
    minute or two"). ``low`` and ``high`` are the ends of a range, whose ``value`` is its upper end.
    """

    start: int
    end: int
    value: int | float
    unit: str
    how: str = "number"
    low: int | float | None = None
    high: int | float | None = None


@dataclass(frozen=True, slots=True)
class UnitTable:
    """Unit phrases compiled for look-up by first word. Made by ``compile_units``."""

    by_first: Mapping[str, Any]


def compile_units(phrases: Mapping[str, str]) -> UnitTable:
    """A table from unit phrase (lower case, hyphens as spaces: "inch pounds", "psi", "°") to symbol ("in_lb")."""
    raise NotImplementedError


def find_quantities(tokens: Sequence[str], units: UnitTable) -> tuple[QuantityMention, ...]:
    """All quantities in ``tokens``, left to right, never overlapping."""
    raise NotImplementedError


def convert(value: float, unit: str, to: str) -> float:
    """``value`` in ``unit`` expressed in ``to``; raises ValueError where the two measure different things."""
    raise NotImplementedError
