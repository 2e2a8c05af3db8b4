"""Quantities: a number with its unit, as spoken; and exact conversions for comparing two of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from fieldnote.extract.cardinals import Parsed
from fieldnote.extract.conversions import dimension, factor
from fieldnote.extract.number_words import ONES, SMALL, TEENS, TENS, cut
from fieldnote.extract.numbers import number_at
from fieldnote.extract.quantity_words import (
    AFTER_IN,
    ARTICLES,
    BEFORE_A_SECOND,
    FILLERS,
    ITEM_MARKS,
    JOINS,
    NO_NUMBER_AFTER,
    SOUNDS_LIKE_NUMBER,
    STARTERS,
    WORD_LIKE,
)
from fieldnote.extract.unit_table import UnitTable, compile_units

__all__ = ["QuantityMention", "UnitTable", "compile_units", "find_quantities"]


@dataclass(frozen=True, slots=True)
class QuantityMention:
    """A value and its unit in ``tokens[start:end]``; ``unit`` is the symbol from the unit table.

    ``how``: ``number`` (a number was said), ``article`` ("a minute": 1, weaker evidence) or ``heard`` ("to
    inches" for two; weaker evidence). ``low`` and
    ``high`` are the ends of a range, whose ``value`` is its upper end.
    """

    start: int
    end: int
    value: int | float
    unit: str
    how: str = "number"
    low: int | float | None = None
    high: int | float | None = None


@dataclass(slots=True)
class _Found:
    """A quantity over cut words ``start:end``, before it is laid on tokens."""

    start: int
    end: int
    value: int | float
    unit: str
    how: str = "number"
    low: int | float | None = None


def find_quantities(tokens: Sequence[str], units: UnitTable) -> tuple[QuantityMention, ...]:
    """All quantities in ``tokens``, left to right, never overlapping.

    Amount and unit, with what people put around them: "half an inch", "an inch and a half", "three quarters of an
    inch", "a couple of minutes", "a minute or two", "two to three inches", "two minutes thirty", "one twenty psi".
    """
    words, at = cut(tokens)
    found: list[QuantityMention] = []
    reader = _Reader(words, at, units)
    i, n = 0, len(words)
    while i < n:
        word = words[i]
        if word not in STARTERS and not word[0].isdigit() and word not in units.by_first:
            i += 1
            continue
        quantity = reader.at(i)
        if quantity is None:
            i = reader.past(i)
            continue
        low = quantity.low
        found.append(
            QuantityMention(
                at[quantity.start], at[quantity.end - 1] + 1, quantity.value, quantity.unit, quantity.how,
                low, None if low is None else quantity.value,
            )
        )  # fmt: skip
        i = quantity.end
    return tuple(found)


class _Reader:
    """Reads one list of cut words against one unit table."""

    def __init__(self, words: list[str], token_of: list[int], units: UnitTable) -> None:
        self.words = words
        self.token_of = token_of
        self.units = units

    def past(self, i: int) -> int:
        """The word to go on from where no quantity begins at ``i``: "number two ten inches" must not give 210."""
        if self.words[i] in SMALL and i and self.words[i - 1] in ITEM_MARKS:
            parsed = number_at(self.words, i)
            return parsed.end if parsed else i + 1
        return i + 1

    def at(self, i: int) -> _Found | None:
        """The quantity that begins at word ``i``: a range, or one with what follows it."""
        words = self.words
        if words[i] in self.units.by_first:
            return self._unit_and_a_half(i)
        if words[i] == "between":
            return self._between(i)
        first = self._single(i)
        if first is None:
            return self._shared_range(i) or self._times(i)
        return self._range_after(first) or first

    def _times(self, i: int) -> _Found | None:
        """The first of "two by three inches", with the unit of the second."""
        words = self.words
        for amount in self._amounts(i):
            if amount.kind != "ordinal" and words[amount.end : amount.end + 1] in (["by"], ["x"]):
                second = self._single(amount.end + 1)
                if second is not None:
                    return _Found(i, amount.end, amount.value, second.unit)
        return None

    # ---- one quantity -----------------------------------------------------------------------------------------

    def _single(self, i: int) -> _Found | None:
        words = self.words
        if i >= len(words):
            return None
        if words[i] in SOUNDS_LIKE_NUMBER:
            return self._sounds_like_number(i)
        if words[i] in ARTICLES and i + 1 < len(words):
            # "A minute", "a good inch", "a full minute".
            unit = self._unit(i + 2 if words[i + 1] in FILLERS else i + 1)
            if unit is not None:
                found = self._with_tail(_Found(i, unit[1], 1, unit[0], "article"), plain=True)
                return None if found.end == i + 2 and self._is_second_one(i) else found
        for amount in self._amounts(i):
            unit = self._unit_after(amount.end)
            if unit is None:
                continue
            found = _Found(i, unit[1], amount.value, unit[0])
            return self._with_tail(found, plain=amount.kind == "cardinal")
        return None

    def _sounds_like_number(self, i: int) -> _Found | None:
        """Such as "to inches of it": the number was heard as a word; weaker evidence."""
        value, measured = SOUNDS_LIKE_NUMBER[self.words[i]]
        key, unit = self._unit_key(i + 1), self._unit(i + 1)
        if unit is None or key in self.units.singular or (i and self.words[i - 1] in NO_NUMBER_AFTER):
            return None
        if unit[0] == "ft":
            return None  # feet are things too: "moved the hose to feet of ..."
        return _Found(i, unit[1], value, unit[0], "heard") if dimension(unit[0]) in measured else None

    def _is_second_one(self, i: int) -> bool:
        words = self.words
        return words[i + 1] == "second" and (i == 0 or words[i - 1] not in BEFORE_A_SECOND)

    def _amounts(self, i: int) -> list[Parsed]:
        """Readings of the number at word ``i``, the likeliest first: the unit after it decides."""
        words = self.words
        if i and words[i - 1] in ITEM_MARKS:
            return []
        readings: list[Parsed] = []
        chain = self._unsaid_hundred(i)
        if chain:
            readings.append(chain)
        parsed = number_at(words, i, unit_follows=True)
        if parsed is None:
            return readings
        if parsed.kind != "ordinal":
            readings.append(parsed)
        elif words[parsed.end - 1] == "second":
            # "Thirty second soak": the ordinal 32nd gives way to 30 seconds.
            tens = number_at(words[: parsed.end - 1], i)
            if tens and tens.end == parsed.end - 1:
                readings.append(tens)
        return readings

    def _unsaid_hundred(self, i: int) -> Parsed | None:
        """Such as "one twenty psi": hundreds unsaid. Not before a singular unit ("two ten minute tests")."""
        words, j = self.words, i + 1
        if words[i] not in ONES or j >= len(words) or not (words[j] in TENS or words[j] in TEENS):
            return None
        rest = number_at(words, j)
        if rest is None or rest.kind != "cardinal" or not 10 <= rest.value < 100:
            return None
        unit = self._unit_key(rest.end)
        if unit is None or unit in self.units.singular:
            return None
        return Parsed(ONES[words[i]] * 100 + rest.value, rest.end, "cardinal")

    def _unit_after(self, j: int) -> tuple[str, int] | None:
        """The unit at word ``j``, after fillers and "of a", "of an", "an"."""
        words, n = self.words, len(self.words)
        while j < n and words[j] in FILLERS:
            j += 1
        if j < n and words[j] == "of":
            j += 1
        if j < n and words[j] in ARTICLES:
            j += 1
        return self._unit(j)

    def _unit_key(self, j: int) -> tuple[str, ...] | None:
        words = self.words
        if j >= len(words):
            return None
        for phrase, _ in self.units.by_first.get(words[j], ()):
            if tuple(words[j : j + len(phrase)]) == phrase:
                return phrase
        return None

    def _unit(self, j: int) -> tuple[str, int] | None:
        words = self.words
        if j >= len(words):
            return None
        for phrase, symbol in self.units.by_first.get(words[j], ()):
            if tuple(words[j : j + len(phrase)]) == phrase:
                if phrase in _WORD_LIKE_PHRASES and not self._written_unit(j):
                    continue
                return symbol, j + len(phrase)
        return None

    def _written_unit(self, j: int) -> bool:
        words, n = self.words, len(self.words)
        if j == 0:
            return False
        following = words[j + 1] if j + 1 < n else ""
        if words[j] == "in" and following in AFTER_IN:
            return True
        return words[j - 1][-1].isdigit() and (self.token_of[j] == self.token_of[j - 1] or following == ".")

    # ---- what follows a unit ----------------------------------------------------------------------------------

    def _with_tail(self, found: _Found, *, plain: bool) -> _Found:
        """Such as "... and a half", "... and three quarters"; "two minutes thirty seconds"; "a minute or two"."""
        if not plain:
            return found
        return self._and_part(found) or self._and_smaller(found) or self._or_two(found) or found

    def _and_part(self, found: _Found) -> _Found | None:
        words, j = self.words, found.end
        if j + 1 >= len(words) or words[j] != "and":
            return None
        part = number_at(words, j + 1, unit_follows=True)
        if part is None or part.kind != "fraction" or not 0 < part.value < 1:
            return None
        if self._unit_after(part.end) is not None or not _whole(found.value):
            return None
        if words[j + 1] in ("half", "quarter") or (words[part.end - 1] not in _PARTS and part.end < len(words)):
            # "An inch and quarter panel" names a panel; "a half" and "three quarters" cannot be meant otherwise.
            return None
        return replace(found, end=part.end, value=found.value + part.value)

    def _and_smaller(self, found: _Found) -> _Found | None:
        """Such as "two minutes [and] thirty seconds", "two minutes thirty", "one foot six"."""
        words, j = self.words, found.end
        joined = j < len(words) and words[j] == "and"
        amount = number_at(words, j + joined)
        if amount is None or amount.kind not in ("cardinal", "decimal") or not _whole(found.value):
            return None
        unit = self._unit(amount.end)
        if unit is not None:
            return self._sum(found, amount.value, unit[0], unit[1], said=True)
        smaller = _SMALLER.get(found.unit)
        ended = amount.end >= len(words) or words[amount.end] in _CLOSERS
        if smaller is None or not ended or not self._counts(found, amount, smaller):
            return None
        if joined and amount.value % 5:
            return None  # "an hour and ten", and no other number: what follows an "and" is mostly something else
        return self._sum(found, amount.value, smaller, amount.end, said=False)

    def _counts(self, found: _Found, amount: Parsed, smaller: str) -> bool:
        """A bare number after a unit counts in the next smaller one only where people say so: "two minutes thirty"."""
        if amount.kind != "cardinal":
            return False
        if found.how == "article":
            return amount.value >= 10 and amount.value % 5 == 0
        return amount.value >= 10 or smaller == "in"

    def _sum(self, found: _Found, value: int | float, smaller: str, end: int, *, said: bool) -> _Found | None:
        """``found`` and ``value`` of a smaller unit as one quantity.

        Where both units were said, the smaller one holds the whole without a fraction ("one minute fifteen seconds" is
        75 s); where one was, that one does if it comes out even ("two minutes thirty" is 2.5 min, "an hour ten"
        70 min).
        """
        if smaller == found.unit or dimension(smaller) is None or dimension(smaller) != dimension(found.unit):
            return None
        ratio = factor(smaller) / factor(found.unit)
        if not 0 < value * ratio < 1:
            return None
        even = float(value * ratio * 100).is_integer()
        if said or not even:
            return replace(found, end=end, value=_tidy(float(found.value / ratio) + value), unit=smaller)
        return replace(found, end=end, value=_tidy(found.value + float(value * ratio)))

    def _or_two(self, found: _Found) -> _Found | None:
        words, j = self.words, found.end
        if found.value != 1 or words[j : j + 2] != ["or", "two"] or self._unit_after(j + 2) is not None:
            return None
        return replace(found, end=j + 2, value=2, low=1, how="number")

    def _unit_and_a_half(self, i: int) -> _Found | None:
        """Such as "inch and a half", the article swallowed."""
        unit = self._unit(i)
        if unit is None:
            return None
        return self._and_part(_Found(i, unit[1], 1, unit[0]))

    # ---- ranges -----------------------------------------------------------------------------------------------

    def _range_after(self, first: _Found) -> _Found | None:
        """Such as "two inches to three inches", "a minute to a minute and a half"."""
        words, j = self.words, first.end
        if first.low is not None or j + 1 >= len(words) or words[j] not in JOINS:
            return None
        second = self._single(j + 1)
        if second is None or second.unit != first.unit or second.value <= first.value:
            return None
        return replace(first, end=second.end, value=second.value, low=first.value)

    def _shared_range(self, i: int) -> _Found | None:
        """Such as "two to three inches", "ten or fifteen minutes", "five six minutes"."""
        words = self.words
        for amount in self._amounts(i):
            j = amount.end
            if amount.kind == "ordinal" or j >= len(words):
                continue
            joined = words[j] in JOINS or words[j] == ","
            second = self._single(j + joined)
            if second is None or second.value <= amount.value:
                continue
            if joined and words[j] != ",":
                return replace(second, start=i, low=amount.value, how="number")
            if second.how == "number" and _neighbours(amount.value, second.value) and not self._is_singular(second):
                return replace(second, start=i, low=amount.value)
        return None

    def _is_singular(self, found: _Found) -> bool:
        """Whether its unit stands before a noun: "two three inch gaps" are two of three inches, and no range."""
        return any(tuple(self.words[k : found.end]) in self.units.singular for k in range(found.start + 1, found.end))

    def _between(self, i: int) -> _Found | None:
        """Such as "between two and three inches"."""
        first = number_at(self.words, i + 1, unit_follows=True)
        if first is None:
            return None
        j = first.end
        unit = self._unit_after(j)
        if unit is not None:
            j = unit[1]
        if self.words[j : j + 1] != ["and"]:
            return None
        second = self._single(j + 1)
        if second is None or second.value <= first.value:
            return None
        return replace(second, start=i, low=first.value, how="number")


_WORD_LIKE_PHRASES = {(word,) for word in WORD_LIKE}
_PARTS = {"half", "quarter", "quarters", "thirds", "eighths", "sixteenths", "tenths", "eighth", "third", "tenth"}
_SMALLER = {"h": "min", "min": "s", "ft": "in"}
_CLOSERS = {
    ",",
    ".",
    ";",
    "and",
    "or",
    "then",
    "so",
    "but",
    "before",
    "after",
    "until",
    "it",
    "at",
    "on",
    "no",
    "still",
    "dry",
}


def _neighbours(low: int | float, high: int | float) -> bool:
    """Said one after the other, these are a rough range: "five six minutes", "ten fifteen minutes"."""
    return high == low + 1 or (low % 5 == 0 and high % 5 == 0 and 0 < high - low <= 10)


def _whole(value: int | float) -> bool:
    return float(value).is_integer()


def _tidy(value: float) -> int | float:
    """Without the dust of binary fractions: 2 min 30 s is 2.5."""
    value = round(value, 6)
    return int(value) if value.is_integer() else value
