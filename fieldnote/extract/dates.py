"""Years, dates and times of day as said."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class DateMention:
    """A date in ``tokens[start:end]``; what was not said is None. ``iso`` is "YYYY", "YYYY-MM", "YYYY-MM-DD", "--MM-DD"."""

    start: int
    end: int
    year: int | None = None
    month: int | None = None
    day: int | None = None


@dataclass(frozen=True, slots=True)
class TimeMention:
    """A time of day in ``tokens[start:end]``: 24-hour where "am" or "pm" was said, else as said."""

    start: int
    end: int
    hour: int
    minute: int


def find_dates(tokens: Sequence[str]) -> tuple[DateMention, ...]:
    """Dates with a named month, and written ones (3/14/2023, 2023-03-14)."""
    raise NotImplementedError


def find_times(tokens: Sequence[str]) -> tuple[TimeMention, ...]:
    """Times that say that they are: "half past nine", "three o'clock", "seven a m", "11:40"."""
    raise NotImplementedError


def read_build_date(tokens: Sequence[str], start: int = 0) -> DateMention | None:
    """Month and year that begin at ``tokens[start]``: "march twenty twenty three", "oh six twenty two", "06/22"."""
    raise NotImplementedError


def read_model_year(tokens: Sequence[str], start: int = 0) -> DateMention | None:
    """Model year that begins at ``tokens[start]``: "twenty nineteen", "oh nine", "2019", "'19"."""
    raise NotImplementedError
