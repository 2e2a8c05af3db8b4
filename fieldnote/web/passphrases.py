"""Passphrases: which are taken, and how they are kept (Argon2id through ``argon2-cffi``).

The rules are those of NIST SP 800-63B-4, section 3.1.1 (from memory): length counts and nothing else, at least 15
characters where the passphrase is all that is asked for, every character allowed, none required, no changes by the
calendar, and what is easily guessed is refused. The cost is the second profile of RFC 9106, section 4: 64 MiB, three
passes, four lanes.
"""

from __future__ import annotations

import threading
import unicodedata
from collections.abc import Callable
from functools import cached_property
from typing import TYPE_CHECKING

from fieldnote.errors import UserMistake

if TYPE_CHECKING:
    from argon2 import PasswordHasher

SHORTEST = 15
LONGEST = 256
_FEWEST_DIFFERENT = 6
_AT_ONCE = 2
"""Passphrases worked on at a time: each takes 64 MiB."""


def check(passphrase: str, again: str, name: str) -> str:
    """A new passphrase as it is kept: NFKC, so that every keyboard gives the same (SP 800-63B-4, 3.1.1.2).

    Raises:
        UserMistake: it is too short or too long, too easily guessed, or was not typed twice in the same way.

    """
    kept = plain(passphrase)
    if len(kept) < SHORTEST:
        raise _no(f"this has {len(kept)} characters", f"Take at least {SHORTEST}: four words that you do not forget.")
    if len(kept) > LONGEST:
        raise _no(f"this has {len(kept)} characters", f"Take at most {LONGEST}.")
    if kept != plain(again):
        raise _no("the two are not the same", "Type it twice in the same way.")
    low = kept.casefold()
    rest = low
    for known in (name.casefold(), "fieldnote", "passphrase", "password"):
        rest = rest.replace(known, "") if known else rest
    if len(set(low)) < _FEWEST_DIFFERENT or len(rest.strip(" 0123456789.-_!")) < SHORTEST // 2 or low in _runs(low):
        raise _no("this is too easily guessed", "Take four words that do not belong together.")
    return kept


def _runs(text: str) -> set[str]:
    """The text's beginning repeated to its length, for a short beginning, and rows of keys and letters."""
    repeated = {(text[:n] * len(text))[: len(text)] for n in range(1, 6)}
    rows = ("abcdefghijklmnopqrstuvwxyz" * 3, "qwertyuiopasdfghjklzxcvbnm" * 3, "1234567890" * 9)
    return repeated | {text for row in rows if text in row or text in row[::-1]}


def plain(passphrase: str) -> str:
    """The passphrase in the form in which it is compared."""
    return unicodedata.normalize("NFKC", passphrase)


def _no(what: str, do: str) -> UserMistake:
    return UserMistake(what, where="passphrase", do=do)


class Keeper:
    """Makes what is kept of a passphrase, and compares."""

    def __init__(self, hasher: Callable[[], PasswordHasher] | None = None) -> None:
        self._make = hasher or _rfc_9106
        self._turn = threading.BoundedSemaphore(_AT_ONCE)

    @cached_property
    def _hasher(self) -> PasswordHasher:
        return self._make()

    @cached_property
    def _of_nobody(self) -> str:
        return self._hasher.hash("nobody has this passphrase")

    def kept(self, passphrase: str) -> str:
        """What is kept of a passphrase: salt, cost and hash as one text (PHC string format)."""
        with self._turn:
            return self._hasher.hash(plain(passphrase))

    def fits(self, kept: str | None, passphrase: str) -> bool:
        """Whether it is the right one. Takes as long where there is nobody (``kept`` None) to compare with."""
        from argon2.exceptions import Argon2Error, InvalidHashError

        with self._turn:
            try:
                self._hasher.verify(kept or self._of_nobody, plain(passphrase[: 4 * LONGEST]))
            except (Argon2Error, InvalidHashError):
                return False
        return kept is not None


def _rfc_9106() -> PasswordHasher:
    from argon2 import PasswordHasher, profiles

    return PasswordHasher.from_parameters(profiles.RFC_9106_LOW_MEMORY)


__all__ = ["LONGEST", "SHORTEST", "Keeper", "check", "plain"]
