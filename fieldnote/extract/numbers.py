"""Numbers in dictated text: cardinals, ordinals, decimals, fractions, ranges.

Pure functions over a list of lower-case words. See ``digit_strings`` for numbers said digit by digit where the context
asks for an identifier or an odometer, ``units`` for quantities and ``dates`` for years, dates and times.

text2num 3.1 was weighed for this. On num2words of 0 to 10,000 and of 20,000 numbers to ten million, with and without
"and", both read all alike, and it is twice as fast; but it gives a text back, without telling which words a number came
from, which is needed here at every step; it reads "sixty two thousand three oh five" as 62003 oh 5, "point one two o
five" as point 1 2 05 and "five point two million" as 5.2 1000000, leaves "second" and "minus" alone, and knows no
fraction. What is left for it would be the smaller part, so it serves as a reference in the tests.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from fieldnote.extract.cardinals import NumberKind, Parsed, cardinal, digits_with_oh, ordinal_after, ordinal_at, small
from fieldnote.extract.fraction_words import fraction, mixed_after
from fieldnote.extract.number_words import ORDINALS, POINT_WORDS, REPEATS, SCALES, SMALL, VULGAR, cut, digit

_STARTERS = (
    {*SMALL, *ORDINALS, *POINT_WORDS, *REPEATS, *VULGAR, "a", "half", "quarter", "couple", "dozen", "minus", "negative"}
    | {"hundred", "thousand", "between"}
)  # fmt: skip
_SIGNS = {"minus", "negative"}
_JOINS = {"to", "or", "through", "-", "til", "till"}
# Words after which "one" is a pronoun ("that one", "the other one") and no count.
_PRONOUN_BEFORE = {
    "that", "this", "the", "other", "another", "each", "every", "which", "any", "no", "these", "those", "same", "old",
    "new", "left", "right", "front", "rear", "upper", "lower", "inner", "outer", "good", "bad", "last", "next", "wrong",
}  # fmt: skip
# Words that may stand before a bare "point five"; after a noun or "that" it is a place in talk, not a decimal.
_POINT_AFTER = {
    "", "'s", "about", "is", "was", "by", "of", "than", "minus", "and", "to", "around", "only", "like", "say",
    "negative", "approximately", "roughly", "maybe", "exactly", "for", "plus", "least", "most", "another",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class NumberMention:
    """A number and the words it was said in: ``tokens[start:end]``.

    ``digits`` is the number as digit text where zeros or the way of saying matter ("three oh five" is "305",
    "eighteen point five o" is "18.50"); ``low`` and ``high`` are the ends of a range, whose ``value`` is its upper end.
    """

    start: int
    end: int
    value: int | float
    kind: NumberKind
    digits: str = ""
    low: int | float | None = None
    high: int | float | None = None


def find_numbers(tokens: Sequence[str]) -> tuple[NumberMention, ...]:
    """All numbers in ``tokens``, left to right, never overlapping.

    "One" after a pronoun's companion ("that one") is none. Numbers beside each other stay apart ("two twelve" is 2 and
    12): only the context can tell, so callers that expect an identifier ask ``digit_strings``.
    """
    words, at = cut(tokens)
    found: list[NumberMention] = []
    i, n = 0, len(words)
    while i < n:
        word = words[i]
        if word not in _STARTERS and not word[0].isdigit():
            i += 1
            continue
        mention = _number_or_range(words, at, i)
        if mention is None:
            i += 1
            continue
        found.append(mention[0])
        i = mention[1]
    return tuple(found)


def _number_or_range(words: list[str], at: list[int], i: int) -> tuple[NumberMention, int] | None:
    first_word = i + 1 if words[i] == "between" else i
    first = number_at(words, first_word)
    if first is None or _is_pronoun(words, first_word, first):
        return None
    if first.kind != "ordinal":
        join = words[first.end] if first.end < len(words) else ""
        if join in _JOINS or (join == "and" and words[i] == "between"):
            second = number_at(words, first.end + 1)
            if second and second.kind in ("cardinal", "decimal", "fraction") and second.value > first.value:
                span = NumberMention(
                    at[i], at[second.end - 1] + 1, second.value, "range", "", first.value, second.value
                )
                return span, second.end
    if words[i] == "between":
        return None
    return NumberMention(at[i], at[first.end - 1] + 1, first.value, first.kind, first.digits), first.end


def _is_pronoun(words: list[str], i: int, parsed: Parsed) -> bool:
    return words[i] == "one" and parsed.end == i + 1 and i > 0 and words[i - 1] in _PRONOUN_BEFORE


def number_at(words: Sequence[str], i: int, *, unit_follows: bool = False) -> Parsed | None:
    """The longest number that begins at cut word ``i``; None where none does.

    ``unit_follows`` allows what is a number only before a unit: "half", "a quarter", "a third", bare "point five".
    """
    n = len(words)
    if i >= n:
        return None
    if words[i] in _SIGNS:
        inner = number_at(words, i + 1, unit_follows=unit_follows)
        if inner is None or inner.kind == "ordinal" or (i + 1 < n and words[i + 1] in _SIGNS):
            return None
        return Parsed(-inner.value, inner.end, inner.kind, "-" + inner.digits if inner.digits else "")
    part = fraction(words, i, unit_follows=unit_follows)
    whole = digits_with_oh(words, i) or cardinal(words, i)
    if whole is None:
        return part or _bare_point(words, i, unit_follows=unit_follows) or ordinal_at(words, i)
    if part is not None and part.end > whole.end:
        return part
    if isinstance(whole.value, float):
        return _scaled(words, whole)
    return (
        _decimal_after(words, whole)
        or mixed_after(words, whole, unit_follows=unit_follows)
        or ordinal_after(words, i, whole)
        or whole
    )


# ---- decimals -------------------------------------------------------------------------------------------------


def _decimal_after(words: Sequence[str], whole: Parsed) -> Parsed | None:
    j = whole.end
    if j >= len(words) or words[j] not in POINT_WORDS:
        return None
    tail = _after_point(words, j + 1)
    if tail is None:
        return None
    digits, end = tail
    text = f"{whole.digits or whole.value}.{digits}"
    return _scaled(words, Parsed(float(text), end, "decimal", text))


def _bare_point(words: Sequence[str], i: int, *, unit_follows: bool) -> Parsed | None:
    if words[i] not in POINT_WORDS or words[i] == "dot":
        return None
    if not unit_follows and (words[i - 1] if i else "") not in _POINT_AFTER:
        return None
    tail = _after_point(words, i + 1)
    if tail is None:
        return None
    digits, end = tail
    return Parsed(float("0." + digits), end, "decimal", "." + digits)


def _after_point(words: Sequence[str], j: int) -> tuple[str, int] | None:
    """Digits after the point: said one by one ("o five"), or as one number ("twenty five")."""
    digits, k = "", j
    while k < len(words) and digit(words[k]):
        digits, k = digits + digit(words[k]), k + 1
    if digits:
        return digits, k
    pair = small(words, j)
    return (str(pair[0]), pair[1]) if pair else None


def _scaled(words: Sequence[str], parsed: Parsed) -> Parsed:
    """Such as "five point two million"."""
    scale = SCALES.get(words[parsed.end]) if parsed.end < len(words) else None
    if not scale:
        return parsed
    exact = Fraction(parsed.digits or repr(parsed.value)) * scale
    value = int(exact) if exact.denominator == 1 else float(exact)
    return Parsed(value, parsed.end + 1, "decimal", "")
