"""A sound key for English words: words that sound alike share it.

A consonant skeleton with a coarse vowel class in front, made for one job: telling which words a recogniser may take for
one another. It follows common English letter-to-sound rules; no published code is imitated.
"""

from __future__ import annotations

import re
from functools import lru_cache

_RULES = tuple(
    (re.compile(pattern), sound)
    for pattern, sound in (
        (r"^(?:kn|gn|pn)", "n"),
        (r"^wr", "r"),
        (r"^wh", "w"),
        (r"^x", "s"),
        (r"tch", "C"),
        (r"[sc]h(?=[mn])", "S"),
        (r"sch", "sk"),
        (r"ch", "C"),
        (r"sh", "S"),
        (r"th", "t"),
        (r"ph", "f"),
        (r"gh(?=t)", ""),
        (r"(?<=[aeiou])gh", ""),
        (r"gh", "g"),
        (r"dge?(?=[eiy]|$)(?<=dge)", "j"),
        (r"dg(?=[eiy])", "j"),
        (r"ti(?=on|al|ou)", "S"),
        (r"si(?=on)", "S"),
        (r"sc(?=[eiy])", "s"),
        (r"c(?=[eiy])", "s"),
        (r"ck|cq|c|q", "k"),
        (r"g(?=[eiy])", "j"),
        (r"x", "ks"),
        (r"z", "s"),
        (r"v", "f"),
        (r"mb$", "m"),
        (r"(?<=[aeiou])w|(?<=[aeiou])y", ""),
        (r"h", ""),
    )
)
_DOUBLE = re.compile(r"(.)\1+")
_VOWELS = re.compile(r"[aeiouyàâäéèêëíîïóôöúûü]+")


@lru_cache(maxsize=65536)
def sound_key(word: str) -> str:
    """The key of one word in lower case; empty for what has no letters."""
    text = "".join(c for c in word if c.isalpha())
    for pattern, sound in _RULES:
        text = pattern.sub(sound, text)
    text = _DOUBLE.sub(r"\1", text)
    head = "a" if text[:1] and _VOWELS.match(text) else ""
    return head + _VOWELS.sub("", text)


_VOWEL_RULES = tuple(
    (re.compile(pattern), sound)
    for pattern, sound in (
        (r"(?<=q)u", ""),
        (r"(?<=[^aeiou])a(?=(?:[bcdfgklmnpstvz]|th)e[sd]?$)", "1"),
        (r"(?<=[^aeiou])e(?=(?:[bcdfgklmnpstvz]|th)e[sd]?$)", "2"),
        (r"(?<=[^aeiou])[iy](?=(?:[bcdfgklmnpstvz]|th)e[sd]?$)", "3"),
        (r"(?<=[^aeiou])o(?=(?:[bcdfgklmnpstvz]|th)e[sd]?$)", "4"),
        (r"(?<=[^aeiou])u(?=(?:[bcdfgklmnpstvz]|th)e[sd]?$)", "5"),
        (r"(?<=[^aeioutd])ed$", "d"),
        (r"(?<=[^aeiou])e(?=s?$)", ""),
        (r"igh", "3"),
        (r"ai|ay|ei(?=gh)|ey", "1"),
        (r"ee|ea|ie|ei", "2"),
        (r"oa|oe", "4"),
        (r"oo|ew|ue|ui", "5"),
        (r"ou|ow", "6"),
        (r"oi|oy", "7"),
        (r"au|aw", "8"),
        (r"[eiu]r", "9"),
        (r"(?<=.)y$", "2"),
        (r"y", "i"),
    )
)
"""Common English spellings of vowels: the digits stand for long and double ones."""
_NO_VOWEL = re.compile(r"[^aeiou0-9]+")


@lru_cache(maxsize=65536)
def vowel_key(word: str) -> str:
    """The vowels of one word, told apart as common English spelling tells them ("seam" and "seem" share one)."""
    text = "".join(c for c in word if c.isalpha())
    for pattern, sound in _VOWEL_RULES:
        text = pattern.sub(sound, text)
    return _NO_VOWEL.sub("", text)


def phrase_key(phrase: str) -> str:
    """The keys of a phrase's words run together: "weather strip" and "weatherstrip" share one."""
    return sound_key(phrase.replace(" ", ""))
