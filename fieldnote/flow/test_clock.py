"""A clock for water tests, kept by voice: on, in, off.

The clock counts on the clock of the sound, so that neither a busy machine nor a wall clock that is set changes a test.
What the clock measured stays apart from what was said; where they differ the difference is told.
"""

from __future__ import annotations

from dataclasses import dataclass

from fieldnote.records import Entry, Quantity

_MINUTE_S = 60.0
_IN_SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0}
_DIFFERS = 0.1
_DIFFERS_LEAST_S = 5.0
TIME_TO_LEAK = "time-to-leak"
DURATION = "duration"
"""Ids of the pack's quantities that a test clock measures."""


@dataclass(frozen=True, slots=True)
class ClockedTest:
    """A test that the clock has measured. ``entry_id``: the test that had been spoken of, if there was one."""

    entry_id: str | None
    place: str | None
    side: str | None
    ran_s: float
    leaked_after_s: float | None


class TestClock:
    """At most one test at a time; all times in seconds on the clock of the sound."""

    __test__ = False  # not a test of pytest's

    def __init__(self) -> None:
        self._from_s: float | None = None
        self._leak_s: float | None = None
        self._entry_id: str | None = None
        self._place: str | None = None
        self._side: str | None = None
        self._called = 0

    @property
    def running(self) -> bool:
        """Whether the water is on."""
        return self._from_s is not None

    def on(self, at_s: float, *, entry_id: str | None, place: str | None, side: str | None) -> bool:
        """The water is on; False where it was on already, and the clock goes on."""
        if self._from_s is not None:
            return False
        self._from_s, self._leak_s, self._called = at_s, None, 0
        self._entry_id, self._place, self._side = entry_id, place, side
        return True

    def aim(self, *, entry_id: str | None, place: str | None, side: str | None) -> None:
        """The test was named after the water was on."""
        if self._from_s is not None and self._entry_id is None and entry_id is not None:
            self._entry_id, self._place, self._side = entry_id, place, side

    def seconds(self, at_s: float) -> float:
        """How long the water has been on; 0 where it is off."""
        return 0.0 if self._from_s is None else max(0.0, at_s - self._from_s)

    def leaked(self, at_s: float) -> float | None:
        """Water came in: the seconds that it took; None where the water is off. Only the first time counts."""
        if self._from_s is None:
            return None
        if self._leak_s is None:
            self._leak_s = self.seconds(at_s)
        return self._leak_s

    def minute_due(self, at_s: float) -> int | None:
        """A full minute to be called out, once each; None where there is none."""
        minutes = int(self.seconds(at_s) // _MINUTE_S)
        if minutes <= self._called:
            return None
        self._called = minutes
        return minutes

    def off(self, at_s: float) -> ClockedTest | None:
        """The water is off: what was measured; None where it was off."""
        if self._from_s is None:
            return None
        found = ClockedTest(self._entry_id, self._place, self._side, round(self.seconds(at_s), 1), self._leak_s)
        self._from_s = None
        return found


def difference(entry: Entry, test: ClockedTest) -> tuple[tuple[str, float, float], ...]:
    """What was said otherwise than the clock has it: (quantity, spoken seconds, clocked seconds).

    Up to a tenth, or five seconds, is how people round.
    """
    out = []
    for what, clocked_s in ((DURATION, test.ran_s), (TIME_TO_LEAK, test.leaked_after_s)):
        spoken_s = _spoken_s(entry.quantities, what)
        if spoken_s is None or clocked_s is None:
            continue
        if abs(spoken_s - clocked_s) > max(_DIFFERS_LEAST_S, _DIFFERS * spoken_s):
            out.append((what, spoken_s, clocked_s))
    return tuple(out)


def _spoken_s(quantities: tuple[Quantity, ...], what: str) -> float | None:
    return next((q.value * _IN_SECONDS[q.unit] for q in quantities if q.what == what and q.unit in _IN_SECONDS), None)


def minutes_and_seconds(seconds: float) -> str:
    """ "1:05"."""
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d}"
