"""Stand-ins for tests, here and in other people's programs: a recogniser that knows its lines, and a clock that obeys.

>>> engine = FakeRecogniser(["left d pillar grommet is torn"])
>>> engine.hear(numpy.zeros(16000, numpy.float32)).text
'left d pillar grommet is torn'
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from fieldnote.recognize.engine import Heard
from fieldnote.records import Word

if TYPE_CHECKING:
    from fieldnote.capture.sound import Samples

_RATE_HZ = 16_000


class FakeRecogniser:
    """An engine that says its ``lines`` one after another, whatever it hears, and "" when they are used up.

    ``heard_s`` notes how long each utterance was, ``hints`` what was given with it.
    """

    name = "fake"

    def __init__(self, lines: Iterable[str], confidence: float | None = 0.9) -> None:
        self._lines = iter(lines)
        self._confidence = confidence
        self.heard_s: list[float] = []
        self.hints: list[tuple[str, ...]] = []

    def hear(self, samples: Samples, hints: Sequence[str] = ()) -> Heard:
        """The next line; its words share the time evenly."""
        length_s = len(samples) / _RATE_HZ
        self.heard_s.append(length_s)
        self.hints.append(tuple(hints))
        text = next(self._lines, "")
        parts = text.split()
        step_s = length_s / len(parts) if parts else 0.0
        words = tuple(Word(t, i * step_s, (i + 1) * step_s, self._confidence) for i, t in enumerate(parts))
        return Heard(text, words, self._confidence if text else None, settings={"model": "fake"})


class FakeClock:
    """A clock that stands still until it is told to move: call it for the time, as ``datetime.now`` is called."""

    def __init__(self, start: datetime = datetime(2026, 1, 5, 8, 0, tzinfo=UTC)) -> None:
        self._now = start

    def __call__(self) -> datetime:
        """The time, with its zone."""
        return self._now

    def advance(self, seconds: float) -> None:
        """Move on by ``seconds``; a negative number sets the clock back, as users do."""
        self._now += timedelta(seconds=seconds)
