"""Fractions in words and in writing: "three quarters", "a half", "two and three eighths", "1 1/2"."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from fieldnote.extract.cardinals import Parsed
from fieldnote.extract.number_words import DENOMINATORS, DENOMINATORS_PLURAL, ONES, TEENS, VULGAR, numeral

# ---- fractions ------------------------------------------------------------------------------------------------


def mixed_after(words: Sequence[str], whole: Parsed, *, unit_follows: bool) -> Parsed | None:
    """Such as "two and a half", "one and three quarter", "1 1/2"."""
    j, n = whole.end, len(words)
    if j >= n or whole.kind == "digits":
        return None
    if words[j] in ("and", "-"):
        part = _proper(words, j + 1, in_mixed=True, unit_follows=unit_follows)
    else:
        written = _written_fraction(words[j]) if isinstance(numeral(words[j - 1]), int) else None
        part = (written, j + 1) if written is not None else None
    if part is None:
        return None
    return Parsed(_number(whole.value + part[0]), part[1], "fraction")


def fraction(words: Sequence[str], i: int, *, unit_follows: bool) -> Parsed | None:
    """A fraction without a whole number before it: "three quarters"; before a unit also "half", "a quarter"."""
    part = _proper(words, i, in_mixed=False, unit_follows=unit_follows)
    return Parsed(_number(part[0]), part[1], "fraction") if part else None


def _number(value: int | float | Fraction) -> int | float:
    return int(value) if value == int(value) else float(value)


def _proper(words: Sequence[str], i: int, *, in_mixed: bool, unit_follows: bool) -> tuple[Fraction, int] | None:
    """A fraction at word ``i``: value and the word after it."""
    n = len(words)
    if i >= n:
        return None
    written = _written_fraction(words[i])
    if written is not None:
        return written, i + 1
    if words[i] in ("half", "quarter"):
        allowed = unit_follows or (in_mixed and words[i] == "half")
        return (Fraction(1, DENOMINATORS[words[i]]), i + 1) if allowed else None
    if words[i] in ("a", "an"):
        return _one_part(words, i + 1, in_mixed=in_mixed, unit_follows=unit_follows)
    top = _numerator(words, i)
    if top is None:
        return None
    value, j = top
    bottom = _bottom(words, j, many=value > 1, unit_follows=unit_follows)
    if bottom is None:
        return None
    return Fraction(value, bottom[0]), bottom[1]


def _one_part(words: Sequence[str], j: int, *, in_mixed: bool, unit_follows: bool) -> tuple[Fraction, int] | None:
    """Such as "a half", "an eighth": only where no noun can be meant ("a quarter panel", "a third screw")."""
    if j >= len(words):
        return None
    word, after = words[j], words[j + 1] if j + 1 < len(words) else ""
    if word == "half":
        loose = unit_follows or in_mixed or after in ("", "of", "a", "an")
    else:
        loose = unit_follows or after == "of"
    bottom = _bottom(words, j, many=False, unit_follows=unit_follows) if loose else None
    return (Fraction(1, bottom[0]), bottom[1]) if bottom else None


def _numerator(words: Sequence[str], i: int) -> tuple[int, int] | None:
    value = ONES.get(words[i]) or TEENS.get(words[i])
    if value is None:
        written = numeral(words[i])
        if not isinstance(written, int) or not 0 < written < 64:
            return None
        value = written
    return value, i + 1


def _bottom(words: Sequence[str], j: int, *, many: bool, unit_follows: bool) -> tuple[int, int] | None:
    """The denominator at word ``j``. "Thirty second" is 32 only before "of an inch" and the like: it is a time else."""
    n = len(words)
    if j >= n:
        return None
    word = words[j]
    if word in ("thirty", "sixty") and j + 1 < n:
        tail = {"second": "thirty", "seconds": "thirty", "fourth": "sixty", "fourths": "sixty"}.get(words[j + 1])
        if tail == word and (word == "sixty" or words[j + 2 : j + 3] == ["of"]):
            return (32 if word == "thirty" else 64), j + 2
        return None
    plural = DENOMINATORS_PLURAL.get(word)
    if plural:
        return plural, j + 1
    of_a_whole = words[j + 1 : j + 3] in (["of", "an"], ["of", "a"])
    # A recogniser hardly tells "eighths" from "eights" and "eight".
    single = DENOMINATORS.get(word) or (8 if word == "eights" or (word == "eight" and of_a_whole) else None)
    if single is None:
        return None
    if many and not (unit_follows or of_a_whole or word in ("quarter", "eights")):
        return None
    # "One quarter panel" names a panel; "one third" may be part of "number one third bolt"; "one hundredth" is the
    # ordinal in the public table.
    if not many and not unit_follows and word != "half" and words[j + 1 : j + 2] != ["of"]:
        return None
    return single, j + 1


def _written_fraction(word: str) -> Fraction | None:
    if word in VULGAR:
        return Fraction(*VULGAR[word])
    top, slash, bottom = word.partition("/")
    if not slash or not (top.isdigit() and bottom.isdigit() and word.isascii()) or len(word) > 5:
        return None
    # Inch fractions have a power of two below the line; 06/22 is a date.
    below = int(bottom)
    if bottom[0] == "0" or top[0] == "0" or below not in (2, 3, 4, 5, 8, 10, 16, 32, 64) or int(top) >= below:
        return None
    return Fraction(int(top), below)
