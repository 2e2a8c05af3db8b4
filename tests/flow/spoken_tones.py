"""Sound that says a number: a tone whose pitch tells it, a detector that hears tones, a recogniser that reads them.

So a test can say what must be heard in any part of a recording, whatever it was cut into.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from fieldnote.capture.voice_activity import WINDOW_SAMPLES
from fieldnote.testing import FakeRecogniser

RATE_HZ = 16_000
_LOWEST_HZ, _STEP_HZ = 300, 60
TONE_S, GAP_S = 0.75, 0.65


def saying(*numbers: int, gap_s: float = GAP_S) -> np.ndarray:
    """16-bit samples in which the numbers are said one after another, each before a pause."""
    t = np.arange(round(TONE_S * RATE_HZ)) / RATE_HZ
    gap = np.zeros(round(gap_s * RATE_HZ))
    parts = [p for n in numbers for p in (0.3 * np.sin(2 * np.pi * (_LOWEST_HZ + n * _STEP_HZ) * t), gap)]
    return (np.concatenate([gap, *parts]) * 32767).astype(np.int16)


def number_in(samples: Any) -> int | None:
    """The number that is said in some sound."""
    if len(samples) < 256 or np.max(np.abs(samples)) < 0.01:
        return None
    strength = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), 1 << 16))
    return round((np.argmax(strength) * RATE_HZ / (1 << 16) - _LOWEST_HZ) / _STEP_HZ)


class ToneDetector:
    """Speech is what is louder than nothing."""

    def feed(self, windows: Any) -> Any:
        batches = windows.reshape(-1, WINDOW_SAMPLES)
        return (np.abs(batches).max(axis=1) > 0.01).astype(np.float32)


class ToneReader:
    """A recogniser that reads the number in the sound and says the sentence of that number."""

    name = "tones"

    def __init__(self, sentence: Callable[[int], str] | Sequence[str]) -> None:
        self._sentence = sentence
        self.heard = 0

    def hear(self, samples: Any, hints: Sequence[str] = ()) -> Any:
        self.heard += 1
        number = number_in(samples)
        if number is None:
            return FakeRecogniser([]).hear(samples)
        text = self._sentence(number) if callable(self._sentence) else self._sentence[number]
        return FakeRecogniser([text]).hear(samples)
