"""Many channels to one, without losing a voice that only some channels carry.

Plain averaging fails twice in a shop: a voice on one of six channels drops by 16 dB, and a two-wire microphone
plugged into a stereo recorder puts the same voice on both sides upside down, so that the average is silence.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

# A channel this far below the loudest carries noise of its own rather than the voice.
_QUIET_DB = 20.0
# An average below this share of its loudest channel's power has been cancelled by opposite polarity.
_CANCELLED = 0.25


def channel_power(blocks: Iterable[NDArray[np.float32]], channels: int) -> NDArray[np.float64]:
    """Summed products of every pair of channels, shape (channels, channels), over blocks of (samples, channels)."""
    power = np.zeros((channels, channels))
    for block in blocks:
        wide = block.astype(np.float64)
        power += wide.T @ wide
    return power


def weights(power: NDArray[np.float64]) -> NDArray[np.float32]:
    """How much of each channel to take, shape (channels,), summing to 1.

    The channels within 20 dB of the loudest are averaged; where they cancel, the loudest is taken alone.
    """
    own = np.diag(power)
    loudest = int(own.argmax())
    heard = own >= own[loudest] * 10 ** (-_QUIET_DB / 10)
    mix = heard / heard.sum() if own[loudest] > 0 else np.full(len(own), 1 / len(own))
    if float(mix @ power @ mix) < _CANCELLED * own[loudest]:
        mix = np.zeros(len(own))
        mix[loudest] = 1.0
    return mix.astype(np.float32)
