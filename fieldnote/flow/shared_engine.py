"""One recogniser for several who listen: utterances take turns, and captions are made only when it is free."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from typing import TYPE_CHECKING

from fieldnote.recognize import Engine, Heard, WeighingEngine

if TYPE_CHECKING:
    from fieldnote.capture.sound import Samples


class SharedEngine:
    """An engine that may be used from several threads."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._turn = threading.Lock()
        self._waiting = 0

    @property
    def name(self) -> str:
        """The engine's name, as in the settings."""
        return self._engine.name

    def hear(self, samples: Samples, hints: Sequence[str] = ()) -> Heard:
        """The words in ``samples``; waits for its turn."""
        self._waiting += 1
        try:
            with self._turn:
                return self._engine.hear(samples, hints)
        finally:
            self._waiting -= 1

    def weigh(self, samples: Samples, texts: Sequence[str]) -> tuple[float, ...]:
        """How well each text fits; () where the engine cannot tell."""
        if not isinstance(self._engine, WeighingEngine):
            return ()
        with self._turn:
            return self._engine.weigh(samples, texts)

    def hear_if_free(self, samples: Samples) -> Heard | None:
        """The words in ``samples``, or None where somebody is waiting for words that will be kept."""
        if self._waiting or not self._turn.acquire(blocking=False):
            return None
        try:
            return self._engine.hear(samples)
        finally:
            self._turn.release()


class CaptionEngine:
    """The same for captions: where the engine is busy, the words so far stay as they are."""

    def __init__(self, engine: SharedEngine) -> None:
        self._engine = engine
        self._last = Heard("")

    @property
    def name(self) -> str:
        """The engine's name, as in the settings."""
        return self._engine.name

    def hear(self, samples: Samples, hints: Sequence[str] = ()) -> Heard:
        """The words so far."""
        self._last = self._engine.hear_if_free(samples) or self._last
        return self._last


__all__ = ["CaptionEngine", "SharedEngine"]
