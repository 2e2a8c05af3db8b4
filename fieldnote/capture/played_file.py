"""A sound file played as if it were a microphone, as fast as it is taken."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from fieldnote.capture.files import read_sound
from fieldnote.capture.microphone import Block
from fieldnote.capture.sound import RATE_HZ

_BLOCK = RATE_HZ // 10


class PlayedFile:
    """Gives the sound of a file in blocks of 0.1 s, then ends. Its clock is that of the file."""

    live = False
    rate_hz = RATE_HZ

    def __init__(self, path: Path) -> None:
        """Read the file.

        Raises:
            NotFound, UserMistake, UnreadableSound: see ``read_sound``.

        """
        sound = read_sound(path)
        self.name = path.name
        self._samples = (np.clip(sound.samples, -1.0, 1.0) * 32767).astype(np.int16)
        self._at = 0

    def open(self) -> None:
        """Nothing to open."""

    def blocks(self) -> Iterator[Block]:
        """What is left of the file."""
        while self._at < len(self._samples):
            block = self._samples[self._at : self._at + _BLOCK]
            self._at += len(block)
            yield Block(block)

    def now_s(self) -> float:
        """How far the file has been played."""
        return self._at / RATE_HZ

    def close(self) -> None:
        """Nothing to close."""
