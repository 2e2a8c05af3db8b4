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


def phrase_key(phrase: str) -> str:
    """The keys of a phrase's words run together: "weather strip" and "weatherstrip" share one."""
    return sound_key(phrase.replace(" ", ""))
