"""Years and dates as said. Times of day are in ``clock_times``."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from fieldnote.extract.cardinals import cardinal, small
from fieldnote.extract.number_words import (
    ONES,
    ORDINAL_ONES,
    ORDINAL_TEENS,
    ORDINALS,
    TEENS,
    TENS,
    ZERO_LETTERS,
    ZERO_WORDS,
    cut,
)

MONTHS = {
    "january": 1, "february": 2, "march": 3, "april": 4, "may": 5, "june": 6, "july": 7, "august": 8, "september": 9,
    "october": 10, "november": 11, "december": 12,
    "jan": 1, "feb": 2, "mar": 3, "apr": 4, "jun": 6, "jul": 7, "aug": 8, "sep": 9, "sept": 9, "oct": 10, "nov": 11,
    "dec": 12,
}  # fmt: skip
# Month names that are verbs as well: a date only where a year or an ordinal follows.
_VERB_MONTHS = {"march", "may", "mar"}
_BETWEEN = {"of", ",", "slash", "/", "-", "dash", "the", "'", "’", "year"}
# Model years that a VIN can code begin in 1980; a two-digit year below 50 is of this century.
FIRST_YEAR, LAST_YEAR = 1980, 2049
_CENTURY_TURN = 50
_WRITTEN = re.compile(r"(\d{1,2})[/.](\d{1,2})[/.](\d{4}|\d{2})$|(\d{1,2})[/.](\d{4}|\d{2})$|(\d{4})[/.](\d{1,2})$")


@dataclass(frozen=True, slots=True)
class DateMention:
    """A date in ``tokens[start:end]``; what was not said is None."""

    start: int
    end: int
    year: int | None = None
    month: int | None = None
    day: int | None = None

    @property
    def iso(self) -> str:
        """ISO 8601: "YYYY", "YYYY-MM", "YYYY-MM-DD"; "--MM-DD" and "--MM" without a year."""
        year = f"{self.year:04d}" if self.year is not None else "-"
        return "-".join([year, *(f"{part:02d}" for part in (self.month, self.day) if part is not None)])


@dataclass(frozen=True, slots=True)
class _Date:
    """A date over cut words, before it is laid on tokens."""

    end: int
    year: int | None = None
    month: int | None = None
    day: int | None = None


def find_dates(tokens: Sequence[str]) -> tuple[DateMention, ...]:
    """Dates that name a month ("july twenty fifth twenty twelve", "the fifteenth of january"), years aside.

    A year alone ("twenty twelve") looks like any other number: ``read_model_year`` reads one where it is expected.
    """
    words, at = cut(tokens)
    found: list[DateMention] = []
    i = 0
    while i < len(words):
        word = words[i]
        date = None
        if word in MONTHS:
            date = _month_first(words, i)
            if date and date.year is None and date.day is None:
                date = None
        elif word in ORDINALS or word in TENS or word[0].isdigit():
            date = _day_first(words, i)
        if date is None:
            i += 1
            continue
        begin = i - 1 if i and words[i - 1] == "the" and word not in MONTHS else i
        found.append(DateMention(at[begin], at[date.end - 1] + 1, date.year, date.month, date.day))
        i = date.end
    return tuple(found)


def read_build_date(tokens: Sequence[str], start: int = 0) -> DateMention | None:
    """Month and year that begin at ``tokens[start]``: "march twenty twenty three", "oh six twenty two", "06/22".

    Where month and year are all that is asked, "march twenty three" is March 2023 and "one twenty three" January 2023.
    A day is taken where the full date was said. None where no month and year begin there.
    """
    words, at = cut(tokens[start:])
    i = 0
    while i < min(len(words), 2) and words[i] in ("is", "of", "the", "month"):
        i += 1
    if i >= len(words):
        return None
    date = _build_date(words, i)
    if date is None or date.year is None or date.month is None or not FIRST_YEAR <= date.year <= LAST_YEAR:
        return None
    return DateMention(start + at[i], start + at[date.end - 1] + 1, date.year, date.month, date.day)


def read_model_year(tokens: Sequence[str], start: int = 0) -> DateMention | None:
    """The model year that begins at ``tokens[start]``: "twenty nineteen", "oh nine", "2019", "'19".

    None where no year from 1980 to 2049 begins there.
    """
    words, at = cut(tokens[start:])
    i = 1 if words[:1] in (["'"], ["is"], ["’"]) else 0
    if i >= len(words):
        return None
    year = year_at(words, i)
    if year is None or not FIRST_YEAR <= year[0] <= LAST_YEAR:
        year = _short_year(words, i)
    if year is None:
        return None
    return DateMention(start + at[i], start + at[year[1] - 1] + 1, year[0])


def year_at(words: Sequence[str], i: int) -> tuple[int, int] | None:
    """A four-digit year at cut word ``i`` and the word after it: "nineteen ninety eight", "two thousand and nine"."""
    if i >= len(words):
        return None
    word = words[i]
    if word in TEENS or word == "twenty":
        rest = _last_two(words, i + 1)
        if rest:
            return (TEENS.get(word) or 20) * 100 + rest[0], rest[1]
    if word in ("19", "20") and i + 1 < len(words) and len(words[i + 1]) == 2 and words[i + 1].isdigit():
        # A recogniser's "20 19".
        return int(word) * 100 + int(words[i + 1]), i + 2
    whole = cardinal(words, i)
    if whole and isinstance(whole.value, int) and 1000 <= whole.value < 3000:
        return whole.value, whole.end
    return None


def _last_two(words: Sequence[str], j: int) -> tuple[int, int] | None:
    """Such as "oh nine", "twelve", "ninety eight"."""
    if j >= len(words):
        return None
    if words[j] in ZERO_LETTERS or words[j] in ZERO_WORDS:
        digit = ONES.get(words[j + 1]) if j + 1 < len(words) else None
        return (digit, j + 2) if digit else None
    if words[j] in TEENS or words[j] in TENS:
        pair = small(words, j)
        follows = words[pair[1]] if pair and pair[1] < len(words) else ""
        return pair if follows not in ("hundred", "thousand") else None
    return None


def _short_year(words: Sequence[str], j: int) -> tuple[int, int] | None:
    """A year of two digits: "oh nine", "twenty two", "'22"."""
    if j < len(words) and words[j].lstrip("'’").isdigit() and words[j].isascii():
        digits = words[j].lstrip("'’")
        return (_full(int(digits)), j + 1) if len(digits) == 2 else None
    pair = _last_two(words, j)
    return (_full(pair[0]), pair[1]) if pair else None


def _full(two_digits: int) -> int:
    return two_digits + (2000 if two_digits < _CENTURY_TURN else 1900)


# ---- dates with a named month ---------------------------------------------------------------------------------


def _month_first(words: Sequence[str], i: int) -> _Date | None:
    """Such as "july twenty fifth [two thousand twelve]", "march sixteen sixty five", "june thirty"."""
    month, j = MONTHS[words[i]], i + 1
    while j < len(words) and words[j] in (",", "of", "the"):
        j += 1
    day = _day(words, j)
    if day and day[2]:
        year = year_at(words, _past_comma(words, day[1]))
        return _Date(year[1], year[0], month, day[0]) if year else _Date(day[1], None, month, day[0])
    year = year_at(words, j)
    if year:
        return _Date(year[1], year[0], month)
    if day is None or words[i] in _VERB_MONTHS:
        return _Date(i + 1, None, month) if words[i] not in _VERB_MONTHS else None
    after = year_at(words, _past_comma(words, day[1]))
    return _Date(after[1], after[0], month, day[0]) if after else _Date(day[1], None, month, day[0])


def _past_comma(words: Sequence[str], j: int) -> int:
    return j + 1 if j < len(words) and words[j] == "," else j


def _day_first(words: Sequence[str], i: int) -> _Date | None:
    """Such as "twenty fifth of july twenty twelve", "25 july 2012"."""
    day = _day(words, i)
    if day is None:
        return None
    j = day[1]
    joined = j < len(words) and words[j] == "of"
    j += joined
    if j >= len(words) or words[j] not in MONTHS or (words[j] in _VERB_MONTHS and not joined):
        return None
    k = j + 1
    if k < len(words) and words[k] in (",", "of"):
        k += 1
    year = year_at(words, k)
    return _Date(year[1], year[0], MONTHS[words[j]], day[0]) if year else _Date(j + 1, None, MONTHS[words[j]], day[0])


def _day(words: Sequence[str], j: int) -> tuple[int, int, bool] | None:
    """A day of the month, the word after it, and whether it is an ordinal."""
    if j >= len(words):
        return None
    word = words[j]
    if word in ("twenty", "thirty") and j + 1 < len(words) and words[j + 1] in ORDINAL_ONES:
        value = TENS[word] + ORDINAL_ONES[words[j + 1]]
        return (value, j + 2, True) if value <= 31 else None
    if word in ORDINAL_ONES or word in ORDINAL_TEENS or word in ("twentieth", "thirtieth"):
        return ORDINALS[word], j + 1, True
    if word[-2:] in ("st", "nd", "rd", "th") and word[:-2].isdigit() and 1 <= int(word[:-2][:4]) <= 31:
        return int(word[:-2]), j + 1, True
    pair = small(words, j)
    return (pair[0], pair[1], False) if pair and 1 <= pair[0] <= 31 else None


# ---- month and year -------------------------------------------------------------------------------------------


def _build_date(words: Sequence[str], i: int) -> _Date | None:
    if words[i] in MONTHS:
        return _named_month_and_year(words, i)
    written = _written(words, i)
    if written:
        return written
    year = year_at(words, i)
    if year and FIRST_YEAR <= year[0] <= LAST_YEAR:
        return _year_then_month(words, year)
    month = _month_number(words, i)
    if month is None:
        return None
    then = _year_of_any_length(words, _past_between(words, month[1]))
    return _Date(then[1], then[0], month[0]) if then else None


def _named_month_and_year(words: Sequence[str], i: int) -> _Date | None:
    full = _month_first(words, i)
    if full and full.year is not None:
        return full
    j = _past_between(words, i + 1)
    month = MONTHS[words[i]]
    day = _day(words, j)
    if day:
        # "March five twenty three": day and short year, where both were said.
        then = _short_year(words, _past_between(words, day[1]))
        if then and (day[2] or day[0] < 10):
            return _Date(then[1], then[0], month, day[0])
    short = _short_year(words, j)
    return _Date(short[1], short[0], month) if short else None


def _year_then_month(words: Sequence[str], year: tuple[int, int]) -> _Date | None:
    j = _past_between(words, year[1])
    if j < len(words) and words[j] in MONTHS:
        return _Date(j + 1, year[0], MONTHS[words[j]])
    padded = j < len(words) and len(words[j]) == 2 and words[j].isdigit()
    month = _month_number(words, j) if padded or j > year[1] else None
    return _Date(month[1], year[0], month[0]) if month else None


def _year_of_any_length(words: Sequence[str], j: int) -> tuple[int, int] | None:
    year = year_at(words, j)
    return year if year and FIRST_YEAR <= year[0] <= LAST_YEAR else _short_year(words, j)


def _month_number(words: Sequence[str], i: int) -> tuple[int, int] | None:
    """Such as "oh six", "six", "twelve", "06": 1 to 12, and the word after it."""
    if i >= len(words):
        return None
    if words[i] in ZERO_LETTERS or words[i] in ZERO_WORDS:
        digit = ONES.get(words[i + 1]) if i + 1 < len(words) else None
        return (digit, i + 2) if digit else None
    pair = small(words, i)
    return pair if pair and 1 <= pair[0] <= 12 else None


def _past_between(words: Sequence[str], j: int) -> int:
    while j < len(words) and words[j] in _BETWEEN:
        j += 1
    return j


def _written(words: Sequence[str], i: int) -> _Date | None:
    """Such as "06/22", "6/2022", "3/14/2023", "2023/03", "0622"."""
    word = words[i]
    if len(word) == 4 and word.isdigit() and word.isascii() and not FIRST_YEAR <= int(word) <= LAST_YEAR:
        return _valid(i + 1, _full(int(word[2:])), int(word[:2]), None)
    match = _WRITTEN.match(word)
    if match is None:
        return None
    month, day, year, short_month, short_year, first_year, last_month = match.groups()
    if month:
        return _valid(i + 1, int(year) if len(year) == 4 else _full(int(year)), int(month), int(day))
    if short_month:
        return _valid(
            i + 1, int(short_year) if len(short_year) == 4 else _full(int(short_year)), int(short_month), None
        )
    return _valid(i + 1, int(first_year), int(last_month), None)


def _valid(end: int, year: int, month: int, day: int | None) -> _Date | None:
    if not 1 <= month <= 12 or (day is not None and not 1 <= day <= 31):
        return None
    return _Date(end, year, month, day)
