"""What capture hands on: sound in the one form that every engine hears, and pieces of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

RATE_HZ = 16_000
"""Every sound is brought to this rate; the voice detector and the recognisers know no other."""

Samples = NDArray[np.float32]
"""Shape (samples,), float32 from -1 to 1, ``RATE_HZ``, one channel."""


@dataclass(frozen=True, slots=True, eq=False)
class Sound:
    """A whole recording as the engines hear it, and what the file was like as given."""

    samples: Samples
    sha256: str
    """Of the file as given, byte for byte."""
    source: str
    """The path as the user gave it."""
    rate_hz: int
    """Of the file as given."""
    channels: int
    """Of the file as given."""
    format: str
    """Container and coding as given, for example ``WAV PCM_16``."""
    warnings: tuple[str, ...] = ()
    """What is amiss with the file though it could be read: one line each."""

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.samples) / RATE_HZ


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """One utterance cut out of a sound; ``from_s`` and ``to_s`` count from the start of that sound."""

    samples: Samples
    from_s: float
    to_s: float

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.samples) / RATE_HZ
