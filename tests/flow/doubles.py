"""Stand-ins for the rooms beside the store: pieces of even length, an engine that stops, an extractor that copies."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from fieldnote.capture import Piece, Sound
from fieldnote.records import Entry, Intake, Leftover, Origin, Utterance
from fieldnote.store.identity import id_from
from fieldnote.testing import FakeRecogniser

RATE_HZ = 16_000
PIECE_S = 1.0


def cut_evenly(sound: Sound, settings: Any, progress: Any = None) -> tuple[Piece, ...]:
    """Pieces of one second."""
    step = int(PIECE_S * RATE_HZ)
    starts = range(0, len(sound.samples) - step + 1, step)
    return tuple(Piece(sound.samples[at : at + step], at / RATE_HZ, (at + step) / RATE_HZ) for at in starts)


def write_sound(path: Path, seconds: int, seed: int = 0) -> Path:
    """A WAV file of quiet noise."""
    noise = np.random.default_rng(seed).normal(0, 0.01, seconds * RATE_HZ)
    soundfile.write(path, noise, RATE_HZ)
    return path


class Speaker:
    """An engine that knows what is said in each piece by its sound, so that it may be asked in any order."""

    name = "fake"

    def __init__(self, stop_at: int | None = None, how: Callable[[], None] | None = None) -> None:
        self.heard = 0
        self._stop_at = stop_at
        self._how = how or interrupt

    def hear(self, samples: Any, hints: Sequence[str] = ()) -> Any:
        if self.heard == self._stop_at:
            self._how()
        self.heard += 1
        return FakeRecogniser([f"seam {int(abs(samples[:100].sum()) * 1e6)} leaks"]).hear(samples)


def interrupt() -> None:
    raise KeyboardInterrupt


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


@dataclass(frozen=True)
class SmallPack:
    id: str = "body-leaks"
    hash: str = "one"
    words: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def rows(self, record: type[Any]) -> Iterator[Any]:
        return iter(())


@dataclass(frozen=True)
class Copied:
    entries: tuple[Entry, ...]
    leftovers: tuple[Leftover, ...]
    questions: tuple[str, ...] = ()


@dataclass
class Copier:
    """An extractor that makes one entry of each utterance and counts how often it is asked."""

    pack: SmallPack = field(default_factory=SmallPack)
    version: str = "1"
    runs: int = 0

    def run(self, utterances: Sequence[Utterance], intake: Intake) -> Copied:
        self.runs += 1
        entries = tuple(
            Entry(
                "check",
                "hood",
                "seam",
                state="gap",
                quote=said.text,
                id=id_from("e", said.id),
                origins=(Origin("spoken", said.id, 0, len(said.text), said.from_s, said.to_s, role="head"),),
            )
            for said in utterances
        )
        return Copied(entries, ())
