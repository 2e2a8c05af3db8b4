"""Numbers in dictated text: cardinals, ordinals, decimals, fractions, ranges.

Pure functions over a list of lower-case words. See ``digit_strings`` for numbers said digit by digit where the context
asks for an identifier or an odometer, ``units`` for quantities and ``dates`` for years, dates and times.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

NumberKind = Literal["cardinal", "ordinal", "decimal", "fraction", "range", "digits"]


@dataclass(frozen=True, slots=True)
class NumberMention:
    """A number and the words it was said in: ``tokens[start:end]``.

    ``digits`` is the number as digit text where zeros or the way of saying matter ("three oh five" is "305",
    "18.00"); ``low`` and ``high`` are the ends of a range, whose ``value`` is its upper end.
    """

    start: int
    end: int
    value: int | float
    kind: NumberKind
    digits: str = ""
    low: int | float | None = None
    high: int | float | None = None


def find_numbers(tokens: Sequence[str]) -> tuple[NumberMention, ...]:
    """All numbers in ``tokens``, left to right, never overlapping."""
    raise NotImplementedError
