"""Numbers that are strings of digits: unit numbers, odometer readings. Read only where the context asks for one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fieldnote.extract.cardinals import cardinal, small
from fieldnote.extract.number_words import ONES, REPEATS, TEENS, TENS, ZERO_LETTERS, ZERO_WORDS, cut, digit, numeral
from fieldnote.extract.numbers import number_at
from fieldnote.extract.spelled import read_spelled

# Digits that a recogniser writes as the ordinary word that sounds alike; taken only between two digits.
_SOUNDS_LIKE_DIGIT = {"to": "2", "too": "2", "for": "4", "fore": "4", "ate": "8", "won": "1", "tree": "3", "sex": "6"}
_MARKS = {"#", "number", "no", "is", "at", "reads", "reading", "of", "uh", "um", "er", "ah", ":", ","}
_MOST_MARKS = 3
_SINGLES = 3
_ODOMETER_DIGITS = 7
_READING_LEAST = 1000
_READING_LEAST = 1000


@dataclass(frozen=True, slots=True)
class DigitString:
    """Digits said in ``tokens[start:end]``: "four one" is "41", "two twelve" "212", "sixty two thousand" "62000".

    ``certain`` is False where the same words are often meant otherwise ("ninety eight seven" for 98,700).
    """

    start: int
    end: int
    text: str
    value: int
    certain: bool = True


def read_digit_string(tokens: Sequence[str], start: int = 0) -> DigitString | None:
    """The digits that begin at ``tokens[start]`` (after "unit", "number", "order"), or None where none begin there.

    Words that may stand between the name and its number ("is", "number", "#") are passed over.
    """
    words, at = cut(tokens[start:])
    i = _past_marks(words)
    chain = _chain(words, i, short=True)
    if chain is None:
        return None
    text, end, _ = chain
    return DigitString(start + at[i], start + at[end - 1] + 1, text, int(text))


def read_odometer(tokens: Sequence[str], start: int = 0) -> DigitString | None:
    """The odometer reading that begins at ``tokens[start]``, as whole miles or kilometres.

    "Sixty two thousand three oh five", "one twelve four fifty" (112,450: groups said after each other, the commonest
    way to read out a six-digit counter), "eighty four two hundred" (84,200), "62,305", "62k", "62 thousand and five".
    """
    words, at = cut(tokens[start:])
    i = _past_marks(words)
    said = number_at(words, i) if i < len(words) else None
    chain = _chain(words, i)
    scaled = said is not None and said.kind == "decimal" and isinstance(said.value, int)
    if said is not None and scaled and said.value >= _READING_LEAST and (chain is None or said.end > chain[1]):
        # "Forty five point six thousand".
        return DigitString(start + at[i], start + at[said.end - 1] + 1, str(said.value), int(said.value), True)
    if chain is None:
        return None
    text, end, parts = chain
    if end < len(words) and words[end] in ("thousand", "k", "kay") and int(text) < _READING_LEAST:
        end += 1
        tail = _below_thousand(words, end)
        if tail:
            text, end = text + f"{tail[0]:03d}", tail[1]
        else:
            text += "000"
    elif len(parts) == 2 and parts[0].endswith("000") and len(parts[0]) > 3 and len(parts[1]) <= 3:
        # A recogniser's "62,000 305".
        text = str(int(parts[0]) + int(parts[1]))
    if _tenths(words, end):
        # The tenths of a counter are no part of the reading.
        end += 2
    if len(text) > _ODOMETER_DIGITS:
        return None
    certain = not (len(parts) == 2 and len(parts[0]) == 2 and len(parts[1]) == 1 and len(text) == 3)
    return DigitString(start + at[i], start + at[end - 1] + 1, text.lstrip("0") or "0", int(text), certain)


def read_identifier(tokens: Sequence[str], start: int = 0) -> tuple[int, int, str] | None:
    """A unit number, plate or order that may hold letters: first token, the token after it, and its characters.

    "Two twelve" is "212", "fifty two b" is "52B", "kilo four one" is "K41". Callers that know the words after it ("b
    pillar") pass only the tokens before those.
    """
    digits, spelled = read_digit_string(tokens, start), read_spelled(tokens, start + _passed(tokens, start))
    if spelled is not None and (digits is None or (spelled.end, len(spelled.text)) > (digits.end, len(digits.text))):
        return spelled.start, spelled.end, spelled.text
    return (digits.start, digits.end, digits.text) if digits else None


def _passed(tokens: Sequence[str], start: int) -> int:
    passed = 0
    while start + passed < len(tokens) and passed < _MOST_MARKS and tokens[start + passed].lower() in _MARKS:
        passed += 1
    return passed


def _past_marks(words: Sequence[str]) -> int:
    i = 0
    while i < len(words) and i < _MOST_MARKS and words[i] in _MARKS:
        i += 1
    return i


def _tenths(words: Sequence[str], end: int) -> bool:
    return end + 1 < len(words) and words[end] == "point" and words[end + 1] in ONES


def _below_thousand(words: Sequence[str], j: int) -> tuple[int, int] | None:
    """What follows "thousand": "three oh five", "and five", "four fifty", "two hundred", "305"."""
    k = j + 1 if j + 1 < len(words) and words[j] == "and" else j
    chain = _chain(words, k)
    if chain is None or len(chain[0]) > 3:
        return None
    return int(chain[0]), chain[1]


def _chain(words: Sequence[str], i: int, *, short: bool = False) -> tuple[str, int, list[str]] | None:
    """Digit groups said after each other from word ``i``: their text, the word after them, and the groups.

    ``short`` is for numbers that are never said in thousands: "unit two seven four forty four thousand miles" is 274. A
    comma is passed over between single digits only.
    """
    parts: list[str] = []
    j, n = i, len(words)
    while j < n:
        if words[j] == "," and parts and len(parts[-1]) == 1 and j + 1 < n and digit(words[j + 1]):
            j += 1
        if short and parts and (_in_thousands(words, j) or _changes_style(parts, words, j)):
            break
        group = _group_text(words, j, first=not parts)
        if group is None:
            break
        parts.append(group[0])
        j = group[1]
    if not parts:
        return None
    return "".join(parts), j, parts


def _changes_style(parts: Sequence[str], words: Sequence[str], j: int) -> bool:
    """Whether a pair follows three digits said one by one: "four one seven, fifty three seats" is 417."""
    return len(parts) >= _SINGLES and all(len(part) == 1 for part in parts) and (words[j] in TENS or words[j] in TEENS)


def _in_thousands(words: Sequence[str], j: int) -> bool:
    whole = cardinal(words, j)
    return whole is not None and "thousand" in words[j : whole.end]


def _group_text(words: Sequence[str], j: int, *, first: bool) -> tuple[str, int] | None:
    word, n = words[j], len(words)
    following = words[j + 1] if j + 1 < n else ""
    if word in REPEATS:
        repeated = digit(following)
        return (repeated * REPEATS[word], j + 2) if repeated else None
    if word in ZERO_WORDS or word in ZERO_LETTERS:
        # "Oh" opens a number only where a number follows it at once.
        return ("0", j + 1) if not first or _opens(following) or word in ZERO_WORDS else None
    if word in _SOUNDS_LIKE_DIGIT:
        return (_SOUNDS_LIKE_DIGIT[word], j + 1) if not first and _opens(following) else None
    if word[0].isdigit():
        return _numeral_text(words, j)
    if word in ("a", "hundred") or small(words, j) is None:
        whole = cardinal(words, j) if word == "a" and following == "hundred" else None
        return (str(whole.value), whole.end) if whole and isinstance(whole.value, int) else None
    return _spoken_group(words, j)


def _numeral_text(words: Sequence[str], j: int) -> tuple[str, int] | None:
    value = numeral(words[j])
    if not isinstance(value, int):
        return None
    return words[j], j + 1


def _spoken_group(words: Sequence[str], j: int) -> tuple[str, int] | None:
    pair = small(words, j)
    if pair is None:
        return None
    value, end = pair
    if end < len(words) and words[end] == "hundred":
        rest_at = end + 2 if end + 1 < len(words) and words[end + 1] == "and" else end + 1
        rest = small(words, rest_at)
        if rest and 0 < rest[0] < 100 and not words[rest_at][0].isdigit():
            return str(value * 100 + rest[0]), rest[1]
        return str(value * 100), end + 1
    return str(value), end


def _opens(word: str) -> bool:
    return bool(word) and (
        word in ONES or word in TEENS or word in TENS or word in ZERO_WORDS or word in ZERO_LETTERS
        or word in REPEATS or word[0].isdigit()
    )  # fmt: skip
