"""Stand-ins for tests, here and elsewhere: a recogniser that knows its lines, a microphone, a clock that obeys.

>>> engine = FakeRecogniser(["left d pillar grommet is torn"])
>>> engine.hear(numpy.zeros(16000, numpy.float32)).text
'left d pillar grommet is torn'
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from fieldnote.recognize.engine import Heard
from fieldnote.records import Word

if TYPE_CHECKING:
    from fieldnote.capture.microphone import Block
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


class FakeMicrophone:
    """A microphone that gives its ``parts`` in turn and then ends.

    A part is 16-bit samples at ``rate_hz``, an exception to be raised (``MicrophoneGone``: unplugged), or something to
    call between two sounds. It refuses to be opened again ``refuse`` times after it was opened once.
    """

    live = False
    name = "fake microphone"

    def __init__(self, *parts: Any, rate_hz: int = _RATE_HZ, refuse: int = 0) -> None:
        self.parts = list(parts)
        self.rate_hz = rate_hz
        self.refuse = refuse
        self.opened = 0
        self._given_s = 0.0

    def open(self) -> None:
        """Counts, and refuses as it was told to."""
        from fieldnote.errors import MicrophoneMissing

        self.opened += 1
        if self.opened > 1 and self.refuse:
            self.refuse -= 1
            raise MicrophoneMissing("not there", where=self.name)

    def blocks(self) -> Iterator[Block]:
        """The parts that are left, in blocks of 0.1 s."""
        from fieldnote.capture.microphone import Block

        while self.parts:
            part = self.parts.pop(0)
            if isinstance(part, Exception):
                raise part
            if callable(part):
                part()
                continue
            step = self.rate_hz // 10
            for at in range(0, len(part), step):
                block = part[at : at + step]
                self._given_s += len(block) / self.rate_hz
                yield Block(block)

    def now_s(self) -> float:
        """How much sound was given."""
        return self._given_s

    def close(self) -> None:
        """Nothing to let go of."""


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
