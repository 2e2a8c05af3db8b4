"""The words of English numbers, and the cutting of tokens into number words.

These are of the language, not of a trade, so they live here and not in a vocabulary pack.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache

ONES = {
    "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9,
    # ICAO pronunciations that recognisers write as heard (SOURCES: FAA AIM table 4-2-2). "tree" and "ait" are left to
    # the spelled strings, where an ordinary word cannot be meant.
    "niner": 9, "fife": 5, "fower": 4,
}  # fmt: skip
TEENS = {
    "ten": 10, "eleven": 11, "twelve": 12, "thirteen": 13, "fourteen": 14, "fifteen": 15, "sixteen": 16,
    "seventeen": 17, "eighteen": 18, "nineteen": 19,
}  # fmt: skip
TENS = {
    "twenty": 20, "thirty": 30, "forty": 40, "fourty": 40, "fifty": 50, "sixty": 60, "seventy": 70, "eighty": 80,
    "ninety": 90,
}  # fmt: skip
SCALES = {
    "thousand": 10**3, "million": 10**6, "billion": 10**9, "trillion": 10**12, "quadrillion": 10**15,
    "quintillion": 10**18, "sextillion": 10**21,
}  # fmt: skip
ORDINAL_ONES = {
    "first": 1, "second": 2, "third": 3, "fourth": 4, "fifth": 5, "sixth": 6, "seventh": 7, "eighth": 8, "ninth": 9,
}  # fmt: skip
ORDINAL_TEENS = {
    "tenth": 10, "eleventh": 11, "twelfth": 12, "thirteenth": 13, "fourteenth": 14, "fifteenth": 15, "sixteenth": 16,
    "seventeenth": 17, "eighteenth": 18, "nineteenth": 19,
}  # fmt: skip
ORDINAL_TENS = {
    "twentieth": 20, "thirtieth": 30, "fortieth": 40, "fiftieth": 50, "sixtieth": 60, "seventieth": 70,
    "eightieth": 80, "ninetieth": 90,
}  # fmt: skip
ORDINAL_SCALES = {"hundredth": 100, "thousandth": 1000, "millionth": 10**6}
ORDINALS = {**ORDINAL_ONES, **ORDINAL_TEENS, **ORDINAL_TENS, **ORDINAL_SCALES, "zeroth": 0}
ZERO_WORDS = {"zero", "nought", "naught"}
ZERO_LETTERS = {"o", "oh"}
"""Zero only beside other digits: "oh" is an exclamation elsewhere."""
SMALL = {**ONES, **TEENS, **TENS, **dict.fromkeys(ZERO_WORDS, 0)}
"""Every word for a number below 100 that is one word."""
POINT_WORDS = {"point", "decimal", "dot"}
REPEATS = {"double": 2, "triple": 3, "treble": 3}
DENOMINATORS = {
    "half": 2, "third": 3, "quarter": 4, "fourth": 4, "fifth": 5, "sixth": 6, "seventh": 7, "eighth": 8, "ninth": 9,
    "tenth": 10, "twelfth": 12, "sixteenth": 16, "hundredth": 100, "thousandth": 1000,
}  # fmt: skip
DENOMINATORS_PLURAL = {"halves": 2} | {name + "s": n for name, n in DENOMINATORS.items() if name != "half"}
VULGAR = {
    "½": (1, 2), "¼": (1, 4), "¾": (3, 4), "⅓": (1, 3), "⅔": (2, 3), "⅛": (1, 8), "⅜": (3, 8), "⅝": (5, 8), "⅞": (7, 8),
}  # fmt: skip

_NUMERAL = re.compile(r"\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+(?:\.\d+)?|\.\d+")
_GLUED = re.compile(r"(#)?([-−+])?((?:\d{1,3}(?:,\d{3})+|\d+)?(?:\.\d+)?(?:\d*/\d+)?[½¼¾⅓⅔⅛⅜⅝⅞]?)([a-z°%\"”″'’′].*)?$")
_ORDINAL_TAIL = {"st", "nd", "rd", "th"}
_DASHES = re.compile(r"[-‐‑‒–—−]")
_ENDS = ".,;:!?)"


def cut(tokens: Sequence[str]) -> tuple[list[str], list[int]]:
    """Number words and, for each, the index of its token.

    Hyphens fall away ("thirty-inch" is two words) but stay between digits ("2-3"); "10mm" and "35%" are cut before the
    unit; "62,305" loses its comma; "-5" becomes "minus", "5". Anything else stays one word, in lower case.
    """
    words: list[str] = []
    at: list[int] = []
    for index, token in enumerate(tokens):
        if token.isalpha():
            words.append(token if token.islower() else token.lower())
            at.append(index)
            continue
        for word in _cut_token(token):
            words.append(word)
            at.append(index)
    return _drop_loose_dashes(words, at)


def _drop_loose_dashes(words: list[str], at: list[int]) -> tuple[list[str], list[int]]:
    if "-" not in words:
        return words, at
    keep = [
        i
        for i, word in enumerate(words)
        if word != "-" or (0 < i < len(words) - 1 and words[i - 1][-1].isdigit() and words[i + 1][0].isdigit())
    ]
    return [words[i] for i in keep], [at[i] for i in keep]


@lru_cache(maxsize=4096)
def _cut_token(token: str) -> tuple[str, ...]:
    token = token.lower().strip()
    if len(token) > 1 and "." not in token[:-1]:
        token = token.rstrip(_ENDS) or token
    if token in ("-", "–", "—", "−"):
        return ("-",)
    if not token:
        return ()
    if token[0].isdigit() or token[0] in "#.-−+½¼¾⅓⅔⅛⅜⅝⅞":
        glued = _cut_glued(token)
        if glued:
            return glued
    if _DASHES.search(token):
        parts = [part for part in _DASHES.split(token) if part]
        out: list[str] = []
        for n, part in enumerate(parts):
            if n and parts[n - 1][-1].isdigit() and part[0].isdigit():
                out.append("-")
            out.extend(_cut_token(part))
        return tuple(out)
    return (token,)


def _cut_glued(token: str) -> tuple[str, ...]:
    """Cut "10mm", "#3", "-5", "1½", "35%" and the like; empty where it is none of them."""
    match = _GLUED.match(token)
    if match is None or not match[3]:
        return ()
    mark, sign, numeral, tail = match.groups()
    if tail and (tail in _ORDINAL_TAIL or any(c.isdigit() for c in tail)):
        return () if tail not in _ORDINAL_TAIL else ((*(["#"] if mark else []), numeral + tail))
    out = ["#"] if mark else []
    if sign in ("-", "−"):
        out.append("minus")
    if numeral[-1] in VULGAR and len(numeral) > 1:
        out += [numeral[:-1].replace(",", ""), numeral[-1]]
    else:
        out.append(numeral.replace(",", ""))
    if tail:
        out += [part for part in _DASHES.split(tail) if part]
    return tuple(out)


def numeral(word: str) -> int | float | None:
    """The value of a word written in digits ("62305", "1.5", ".5"), or None."""
    if not word or not (word[0].isdigit() or word[0] == ".") or not _NUMERAL.fullmatch(word) or len(word) > 40:
        return None
    return float(word) if "." in word else int(word)


def digit(word: str) -> str:
    """The one digit that ``word`` says or is, as text; empty where it is none."""
    if word in ZERO_LETTERS or word in ZERO_WORDS:
        return "0"
    if word in ONES:
        return str(ONES[word])
    return word if len(word) == 1 and word.isdigit() and word.isascii() else ""
