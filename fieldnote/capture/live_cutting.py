"""Cuts a running stream into utterances: the cutter of files, fed with raw blocks at the rate of the device.

Beside the utterances it gives what is needed while somebody speaks: what has been said so far, the utterance as it
will be if the present pause lasts (so that it can be heard before the pause is over), and how loud it is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import soxr

from fieldnote.capture.cutting import Cutter
from fieldnote.capture.journal import RawSamples
from fieldnote.capture.sound import RATE_HZ, Piece, Samples
from fieldnote.capture.voice_activity import Detector
from fieldnote.settings import CaptureSettings

_FULL_SCALE = 32768.0
SILENCE_DB = -96.0
"""Loudness of digital silence in 16 bits."""


@dataclass(frozen=True, slots=True)
class Loudness:
    """How loud a block is, in dB below full scale, and which share of it is clipped (0 to 1)."""

    level_db: float = SILENCE_DB
    clipped: float = 0.0


class LiveCutter:
    """Takes raw blocks from sample ``start`` of a stretch on; times count from the start of the stretch."""

    def __init__(
        self, settings: CaptureSettings, rate_hz: int, *, start: int = 0, detector: Detector | None = None
    ) -> None:
        self._cutter = Cutter(settings, detector)
        self._offset_s = start / rate_hz
        self._rate_hz = rate_hz
        self._resampler = soxr.ResampleStream(rate_hz, RATE_HZ, 1, dtype="float32") if rate_hz != RATE_HZ else None

    @property
    def speaking(self) -> bool:
        """Whether an utterance has begun and not ended."""
        return self._cutter.speaking

    def push(self, block: RawSamples) -> list[Piece]:
        """Add sound; returns the utterances that ended with it."""
        return [self._placed(piece) for piece in self._cutter.push(self._heard(block, last=False))]

    def finish(self) -> list[Piece]:
        """The stretch has ended: returns what was still being said."""
        pieces = self._cutter.push(self._heard(np.zeros(0, np.int16), last=True)) if self._resampler else []
        return [self._placed(piece) for piece in (*pieces, *self._cutter.finish())]

    def pending(self) -> Samples:
        """What has been said so far of the utterance that has not ended."""
        return self._cutter.pending()

    def expected(self) -> Piece | None:
        """The utterance as it will be if the pause lasts, see ``Cutter.expected``."""
        piece = self._cutter.expected()
        return None if piece is None else self._placed(piece)

    def _heard(self, block: RawSamples, *, last: bool) -> Samples:
        samples: Samples = block.astype(np.float32) / np.float32(_FULL_SCALE)
        if self._resampler is None:
            return samples
        out: Samples = self._resampler.resample_chunk(samples, last=last)
        return out

    def _placed(self, piece: Piece) -> Piece:
        return Piece(piece.samples, piece.from_s + self._offset_s, piece.to_s + self._offset_s)


def loudness(block: RawSamples) -> Loudness:
    """Root mean square of a block against full scale, and the share of samples at the ends of the range."""
    if not len(block):
        return Loudness()
    wide = block.astype(np.float64)
    power = float(np.mean(wide * wide)) / _FULL_SCALE**2
    level = SILENCE_DB if power <= 0 else max(SILENCE_DB, 10 * math.log10(power))
    clipped = float(np.mean((block >= 32766) | (block <= -32767)))
    return Loudness(level, clipped)
