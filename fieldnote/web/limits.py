"""How often somebody may try: to sign in, and to ask for anything at all (counted through the library ``limits``)."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence

from limits import RateLimitItem, parse
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter, SlidingWindowCounterRateLimiter
from starlette.requests import HTTPConnection

from fieldnote.errors import UserMistake
from fieldnote.web.roles import person_of

A_PERSON = "1200 per 1 minute"
"""Requests of one signed-in person: ten times what a browser asks that is worked with in haste."""
AN_ADDRESS = "300 per 1 minute"
"""Requests that no sign-in stands behind, from one address."""
SAME_NAME = ("6 per 1 minute", "30 per 1 hour")
"""Attempts to sign in under one name from one address; a success clears them."""
SAME_ADDRESS = ("30 per 1 minute", "200 per 1 hour")
"""Attempts from one address, whatever the name or the code."""
ANY_ADDRESS = ("100 per 1 day",)
"""Attempts under one name that failed, from all addresses (at most 100: NIST SP 800-63B-4, 3.2.2, from memory)."""


class TooOften(UserMistake):
    """Somebody tried too often (429); ``wait_s``: after so many seconds it can be tried again."""

    def __init__(self, wait_s: int) -> None:
        when = f"{wait_s} seconds" if wait_s < 120 else f"{math.ceil(wait_s / 60)} minutes"
        super().__init__("too many attempts", where="to keep others from guessing", do=f"Try again in {when}.")
        self.wait_s = wait_s


class Attempts:
    """Counts attempts to sign in. Before each: ``may_try``; after it: ``failed`` or ``succeeded``."""

    def __init__(self) -> None:
        self._counted = MovingWindowRateLimiter(MemoryStorage())
        self._same_name = [parse(text) for text in SAME_NAME]
        self._same_address = [parse(text) for text in SAME_ADDRESS]
        self._any_address = [parse(text) for text in ANY_ADDRESS]

    def may_try(self, address: str, name: str) -> None:
        """Count an attempt. ``name``: whom or what it is for ("code" for an invitation).

        Raises:
            TooOften: there were too many already; it is not counted then.

        """
        asked = [
            *((item, ("both", address, name)) for item in self._same_name),
            *((item, ("address", address)) for item in self._same_address),
        ]
        failures = [(item, ("name", name)) for item in self._any_address]
        waits = [self._wait(item, key) for item, key in (*asked, *failures)]
        if any(waits):
            raise TooOften(max(waits))
        for item, key in asked:
            self._counted.hit(item, *key)

    def failed(self, name: str) -> None:
        """Count a failure against the name."""
        for item in self._any_address:
            self._counted.hit(item, "name", name)

    def succeeded(self, address: str, name: str) -> None:
        """Forget the attempts of this address under this name, and the failures of the name."""
        for item in self._same_name:
            self._counted.clear(item, "both", address, name)
        for item in self._any_address:
            self._counted.clear(item, "name", name)

    def _wait(self, item: RateLimitItem, key: Sequence[str]) -> int:
        if self._counted.test(item, *key):
            return 0
        return _seconds_to(self._counted.get_window_stats(item, *key).reset_time)


class Pace:
    """Counts requests: by person where somebody is signed in, else by address."""

    def __init__(self, a_person: str = A_PERSON, an_address: str = AN_ADDRESS) -> None:
        self._counted = SlidingWindowCounterRateLimiter(MemoryStorage())
        self._person = parse(a_person)
        self._address = parse(an_address)

    def wait_s(self, request: HTTPConnection) -> int:
        """Count a request: 0 where it may pass, else after how many seconds the next one may."""
        person = person_of(request)
        item, key = (self._person, person.id) if person else (self._address, address_of(request))
        if self._counted.hit(item, key):
            return 0
        return _seconds_to(self._counted.get_window_stats(item, key).reset_time)


def address_of(request: HTTPConnection) -> str:
    """The address that a request came from; of IPv6 the /64, which one machine may hold as a whole (RFC 4291)."""
    host = request.client.host if request.client else ""
    return ":".join(host.split(":")[:4]) if host.count(":") > 3 and "::" not in host[:19] else host


def _seconds_to(moment: float) -> int:
    return max(1, math.ceil(moment - time.time()))


__all__ = ["Attempts", "Pace", "TooOften", "address_of"]
