"""How likely each 32 ms of sound is speech: the Silero detector that faster-whisper carries, one call at a time.

Its own cutting helper is not used: it joins dictated sentences (2 s of silence by default), splits long speech
without looking for a breath, and cannot be fed as one speaks.
"""

from __future__ import annotations

from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from fieldnote.capture.sound import Samples

WINDOW_SAMPLES = 512
"""The detector knows no other window at 16 kHz."""
_CONTEXT_SAMPLES = 64
_STATE_SHAPE = (1, 1, 128)
# Windows a call: bounds memory on long files.
_WINDOWS_PER_CALL = 4096


class Detector(Protocol):
    """Gives the speech probability of windows, in order, remembering what came before."""

    def feed(self, windows: Samples) -> NDArray[np.float32]:
        """Probabilities, shape (n,), for ``windows`` of n times ``WINDOW_SAMPLES`` samples."""


class SpeechDetector:
    """Silero voice activity with its memory kept between calls; one for each stream of sound."""

    def __init__(self) -> None:
        from faster_whisper.vad import get_vad_model

        self._session: Any = get_vad_model().session
        self._hidden = np.zeros(_STATE_SHAPE, np.float32)
        self._cell = np.zeros(_STATE_SHAPE, np.float32)
        self._context = np.zeros(_CONTEXT_SAMPLES, np.float32)

    def feed(self, windows: Samples) -> NDArray[np.float32]:
        """Probabilities, shape (n,), for ``windows`` of n times ``WINDOW_SAMPLES`` samples."""
        batches = windows.reshape(-1, WINDOW_SAMPLES)
        found = [self._feed(batches[i : i + _WINDOWS_PER_CALL]) for i in range(0, len(batches), _WINDOWS_PER_CALL)]
        return np.concatenate(found) if found else np.zeros(0, np.float32)

    def _feed(self, batch: NDArray[np.float32]) -> NDArray[np.float32]:
        # Each window is heard with the end of the one before it in front.
        before = np.vstack([self._context, batch[:-1, -_CONTEXT_SAMPLES:]])
        self._context = batch[-1, -_CONTEXT_SAMPLES:].copy()
        output, self._hidden, self._cell = self._session.run(
            None,
            {
                "input": np.ascontiguousarray(np.hstack([before, batch])),
                "h": self._hidden,
                "c": self._cell,
            },
        )
        return np.asarray(output, np.float32).reshape(-1)
