"""The words while they are being spoken, as far as the machine has time for them."""

from __future__ import annotations

import time
from collections.abc import Callable

from fieldnote.capture.sound import RATE_HZ, Samples
from fieldnote.recognize import Engine, LiveEngine

_FIRST_S = 0.9
_STEP_S = 0.8
# Of the time, what is left to everything else: a caption that took 0.2 s is followed by 0.4 s without one.
_REST = 2.0


class Captions:
    """Shows what has been said so far. An engine made for it is fed as one speaks; any other hears again and again."""

    def __init__(self, engine: Engine, show: Callable[[str], None], live: LiveEngine | None = None) -> None:
        self._engine = engine
        self._show = show
        self._live = live
        self._fed = 0
        self._next_samples = round(_FIRST_S * RATE_HZ)
        self._not_before = 0.0

    def show(self, pending: Samples) -> None:
        """Somebody is speaking; ``pending`` is the utterance so far."""
        if self._live is not None:
            new, self._fed = pending[self._fed :], len(pending)
            if len(new):
                self._show(self._live.feed(new))
            return
        began = time.monotonic()
        if len(pending) < self._next_samples or began < self._not_before:
            return
        self._show(self._engine.hear(pending).text)
        took_s = time.monotonic() - began
        self._not_before = began + (1 + _REST) * took_s
        self._next_samples = len(pending) + round(_STEP_S * RATE_HZ)

    def utterance_ended(self) -> None:
        """Make ready for the next."""
        if self._live is not None and self._fed:
            self._live.finish()
        self._fed, self._next_samples = 0, round(_FIRST_S * RATE_HZ)
