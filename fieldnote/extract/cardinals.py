"""Whole numbers in words: cardinals, ordinals, and digits that an "oh" or a "double" holds together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from fieldnote.extract.number_words import (
    DENOMINATORS_PLURAL,
    ONES,
    ORDINAL_ONES,
    ORDINAL_SCALES,
    ORDINAL_TEENS,
    ORDINAL_TENS,
    ORDINALS,
    REPEATS,
    SCALES,
    SMALL,
    TEENS,
    TENS,
    ZERO_LETTERS,
    ZERO_WORDS,
    digit,
    numeral,
)

NumberKind = Literal["cardinal", "ordinal", "decimal", "fraction", "range", "digits"]
# Largest value of a numeral that may be joined to a spoken scale ("62 thousand 305"); "2019 5" are two numbers.
_JOINABLE = 1000


@dataclass(slots=True, unsafe_hash=True)
class Parsed:
    """A number that ends before word ``end`` of the cut words."""

    value: int | float
    end: int
    kind: NumberKind
    digits: str = ""


# ---- cardinals ------------------------------------------------------------------------------------------------


def cardinal(words: Sequence[str], i: int) -> Parsed | None:
    """A well-formed cardinal at word ``i``: scales fall, "and" only after hundred or a scale."""
    informal = _informal(words, i)
    if informal is not None:
        return informal
    n = len(words)
    total: int | float = 0
    last_scale = 10**30
    j = i
    started = False
    while j < n:
        k = j
        if started:
            if words[k] == "," and k + 1 < n:
                k += 1
            if words[k] == "and" and k + 1 < n:
                k += 1
        group = _group(words, k, in_thousands=started and last_scale == 1000)
        if group is None:
            break
        value, end = group
        scale = SCALES.get(words[end], 0) if end < n else 0
        if scale and scale < last_scale and 0 < value < _JOINABLE:
            total += _exact(value * scale)
            last_scale, j, started = scale, end + 1, True
            continue
        if scale >= last_scale or (started and value >= last_scale) or (started and value == 0):
            break
        total += value
        j, started = end, True
        break
    if not started:
        return None
    return Parsed(total, j, "decimal" if isinstance(total, float) else "cardinal", "")


def _exact(value: int | float) -> int | float:
    return int(value) if float(value).is_integer() else value


def _informal(words: Sequence[str], i: int) -> Parsed | None:
    """Such as "a couple", "couple of", "a dozen", "half a dozen", "a hundred [and four thousand]", "hundred"."""
    n = len(words)
    j = i + 1 if words[i] == "a" else i
    if j >= n:
        return None
    word = words[j]
    if word == "couple":
        after = j + 1
        if after < n and words[after] in ("hundred", "thousand"):
            return Parsed(2 * (100 if words[after] == "hundred" else 1000), after + 1, "cardinal")
        return Parsed(2, after, "cardinal")
    if word == "dozen":
        return Parsed(12, j + 1, "cardinal")
    if words[i] == "half":
        j = i + 2 if words[i + 1 : i + 2] == ["a"] else i + 1
        return Parsed(6, j + 1, "cardinal") if j < n and words[j] == "dozen" else None
    if word in ("hundred", "thousand"):
        one = cardinal(["one", *words[j:]], 0)
        return Parsed(one.value, one.end - 1 + j, one.kind) if one else None
    if j == i and word in SMALL and i + 1 < n and words[i + 1] == "dozen":
        return Parsed(12 * SMALL[word], i + 2, "cardinal")
    return None


def small(words: Sequence[str], i: int) -> tuple[int, int] | None:
    """A number below 100 in words, or a numeral without a point: value and the word after it."""
    if i >= len(words):
        return None
    word = words[i]
    value = SMALL.get(word)
    if value is None:
        written = numeral(word)
        return (written, i + 1) if isinstance(written, int) else None
    if word in TENS and i + 1 < len(words) and words[i + 1] in ONES:
        return value + ONES[words[i + 1]], i + 2
    return value, i + 1


def _group(words: Sequence[str], i: int, *, in_thousands: bool) -> tuple[int | float, int] | None:
    """A number below 1000 (or "twenty one hundred"), or a numeral: value and the word after it."""
    n = len(words)
    first = small(words, i)
    if first is None:
        written = numeral(words[i]) if i < n else None
        return (written, i + 1) if written is not None else None
    value, j = first
    if j < n and words[j] == "hundred" and 0 < value < 100:
        return _after_hundred(words, value * 100, j + 1)
    if in_thousands and words[i] in ONES:
        # "sixty two thousand three oh five", "... four fifty": after the thousands, hundreds are often left unsaid.
        tail = _unsaid_hundreds(words, i, j)
        if tail:
            return tail
    return value, j


def _after_hundred(words: Sequence[str], hundreds: int, j: int) -> tuple[int, int]:
    n = len(words)
    k = j + 1 if j + 1 < n and words[j] == "and" else j
    rest = small(words, k)
    if rest is None or not 0 < rest[0] < 100:
        return hundreds, j
    value, end = rest
    follows = words[end] if end < n else ""
    # "two hundred three hundred" and "a hundred and three quarters" are not 203 and 103.
    if follows == "hundred" or (k > j and (follows in DENOMINATORS_PLURAL or follows in ("half", "quarter"))):
        return hundreds, j
    return hundreds + value, end


def _unsaid_hundreds(words: Sequence[str], i: int, j: int) -> tuple[int, int] | None:
    hundreds = ONES[words[i]] * 100
    if j >= len(words):
        return None
    if words[j] in ZERO_LETTERS or words[j] in ZERO_WORDS:
        last = small(words, j + 1)
        return (hundreds + last[0], last[1]) if last and last[0] < 10 and words[j + 1] in SMALL else None
    if words[j] in TENS or words[j] in TEENS:
        rest = small(words, j)
        return (hundreds + rest[0], rest[1]) if rest else None
    return None


# ---- digit by digit -------------------------------------------------------------------------------------------


def digits_with_oh(words: Sequence[str], i: int) -> Parsed | None:
    """Such as "three oh five", "double seven": an "oh" or a "double" tells that the digits are one number."""
    text, j, telling = "", i, False
    n = len(words)
    while j < n:
        word = words[j]
        if word in REPEATS:
            repeated = digit(words[j + 1]) if j + 1 < n else ""
            if not repeated:
                break
            text, j, telling = text + repeated * REPEATS[word], j + 2, True
        elif word in ZERO_LETTERS:
            if not text:
                return None
            text, j, telling = text + "0", j + 1, True
        elif word in ONES or word in ZERO_WORDS:
            text, j = text + digit(word), j + 1
        else:
            break
    if not telling or len(text) < 2 or words[j - 1] in ZERO_LETTERS:
        return None
    if j < n and words[j] in (*SCALES, "hundred"):
        return None
    return Parsed(int(text), j, "digits", text)


# ---- ordinals -------------------------------------------------------------------------------------------------


def ordinal_at(words: Sequence[str], i: int) -> Parsed | None:
    """Such as "third", "3rd" at word ``i``."""
    word = words[i]
    if word in ORDINALS:
        return Parsed(ORDINALS[word], i + 1, "ordinal")
    if word[0].isdigit() and word[-2:] in ("st", "nd", "rd", "th") and word[:-2].isdigit() and len(word) < 12:
        return Parsed(int(word[:-2]), i + 1, "ordinal")
    return None


def ordinal_after(words: Sequence[str], i: int, whole: Parsed) -> Parsed | None:
    """Such as "twenty first", "one hundred eleventh", "one thousandth"."""
    j, last = whole.end, words[whole.end - 1]
    if words[j : j + 1] == ["and"] and last in ("hundred", *SCALES):
        j += 1
    if j >= len(words) or words[j] not in ORDINALS or words[i][0].isdigit():
        return None
    word = words[j]
    if word in ORDINAL_SCALES:
        if last in ONES or last in TENS or last in TEENS:
            return Parsed(int(whole.value) * ORDINAL_SCALES[word], j + 1, "ordinal")
        return None
    fits = (
        (last in TENS and word in ORDINAL_ONES)
        or (last in ("hundred", *SCALES) and (word in ORDINAL_ONES or word in ORDINAL_TEENS or word in ORDINAL_TENS))
    )  # fmt: skip
    return Parsed(int(whole.value) + ORDINALS[word], j + 1, "ordinal") if fits else None
