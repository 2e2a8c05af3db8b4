"""Identifiers, hashes and times. An id is text and never a row number, so that it holds on every machine."""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any

_ALPHABET = "0123456789abcdefghjkmnpqrstvwxyz"
"""Base 32 without i, l, o and u, which are misread (Crockford's choice of symbols)."""
_LENGTH = 12


def new_id(letter: str) -> str:
    """A random id of 60 bits that begins with ``letter``: a million of them share one with chance below 1e-6."""
    return letter + _base32(uuid.uuid4().int)


def id_from(letter: str, *parts: object) -> str:
    """The id that follows from ``parts``: the same on every machine."""
    digest = hashlib.sha256("\x1f".join(str(part) for part in parts).encode()).digest()
    return letter + _base32(int.from_bytes(digest[:8], "big"))


def _base32(number: int) -> str:
    return "".join(_ALPHABET[(number >> (5 * place)) & 31] for place in reversed(range(_LENGTH)))


def digest_of(value: Any) -> str:
    """SHA-256 of a JSON value in one fixed form (sorted keys, no spaces), as 64 hexadecimal digits."""
    return hashlib.sha256(canonical(value).encode()).hexdigest()


def canonical(value: Any) -> str:
    """A JSON value as text in one fixed form."""
    return json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def compact(value: Any) -> str:
    """A JSON value as short text, keys in the order given."""
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


def now() -> str:
    """The time as RFC 3339 in UTC with microseconds: sorts as text."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def words_hash(utterances: Iterable[tuple[str, str]], steering: str | None) -> str:
    """What a job's entries hang on: its utterances (id, text) in order, and the side that the driver sits on."""
    return digest_of([steering, [list(pair) for pair in utterances]])
