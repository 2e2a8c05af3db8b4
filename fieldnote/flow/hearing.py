"""The first stretch of the street: sound files to utterances."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from fieldnote.capture import Piece, Sound, cut, read_sound
from fieldnote.recognize import Engine, Heard
from fieldnote.records import Utterance
from fieldnote.settings import CaptureSettings

Progress = Callable[[float], None]
"""Told which share of the work is done, 0 to 1."""
_SHARE_OF_CUTTING = 0.1


@dataclass(frozen=True, slots=True)
class HeardSound:
    """A sound file and what was said in it."""

    sound: Sound
    utterances: tuple[Utterance, ...]

    @property
    def text(self) -> str:
        """All that was said, "" where nobody spoke."""
        return " ".join(u.text for u in self.utterances)


def hear_file(
    path: str | Path,
    engine: Engine,
    settings: CaptureSettings,
    *,
    data: bytes | None = None,
    hints: Sequence[str] = (),
    progress: Progress | None = None,
) -> HeardSound:
    """Read a sound file, cut it into utterances, and recognise each.

    Args:
        path: the file.
        engine: what hears.
        settings: how sound is cut.
        data: the file's content, where it came through a pipe.
        hints: words to expect.
        progress: told as the work goes on.

    Raises:
        NotFound, UserMistake, UnreadableSound: see ``read_sound``.

    """
    told = progress if progress is not None else _nobody
    sound = read_sound(path, data)
    length_s = max(sound.duration_s, 1e-9)
    pieces = cut(sound, settings, progress=lambda done_s: told(_SHARE_OF_CUTTING * done_s / length_s))
    utterances: list[Utterance] = []
    for number, piece in enumerate(pieces, start=1):
        heard = engine.hear(piece.samples, hints)
        if heard.text:
            utterances.append(utterance_of(heard, piece, engine.name, f"{sound.sha256[:16]}-{number:04d}"))
        told(_SHARE_OF_CUTTING + (1 - _SHARE_OF_CUTTING) * number / len(pieces))
    told(1.0)
    return HeardSound(sound, tuple(utterances))


def utterance_of(heard: Heard, piece: Piece, engine: str, id: str, clip_id: str | None = None) -> Utterance:
    """The utterance that was heard in ``piece``, its times counted from the start of the clip."""
    words = tuple(
        dataclasses.replace(w, from_s=round(piece.from_s + w.from_s, 2), to_s=round(piece.from_s + w.to_s, 2))
        for w in heard.words
    )
    return Utterance(
        id=id,
        text=heard.text,
        clip_id=clip_id,
        from_s=round(piece.from_s, 3),
        to_s=round(piece.to_s, 3),
        confidence=heard.confidence,
        words=words,
        alternatives=heard.alternatives,
        engine=engine,
        settings=heard.settings,
    )


def _nobody(share: float) -> None:
    """Progress that nobody watches."""
