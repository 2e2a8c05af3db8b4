"""Numbers that are strings of digits: unit numbers, odometer readings. Read only where the context asks for one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class DigitString:
    """Digits as said in ``tokens[start:end]``: "four one" is "41", "two twelve" is "212", "sixty two thousand" is "62000".

    ``certain`` is False where the same words are often meant otherwise ("ninety eight seven" for 98,700).
    """

    start: int
    end: int
    text: str
    value: int
    certain: bool = True


def read_digit_string(tokens: Sequence[str], start: int = 0) -> DigitString | None:
    """The digits that begin at ``tokens[start]`` (after "unit", "number", "order"), or None where none begin there."""
    raise NotImplementedError


def read_odometer(tokens: Sequence[str], start: int = 0) -> DigitString | None:
    """The odometer reading that begins at ``tokens[start]``: "sixty two thousand three oh five", "one twelve four fifty"."""
    raise NotImplementedError
