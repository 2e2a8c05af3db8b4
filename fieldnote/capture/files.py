"""Reads a sound file of any common kind, rate and channel count into 16 kHz mono.

soundfile reads WAV, FLAC and OGG; PyAV (which comes with faster-whisper) reads the rest, such as MP3 and M4A.
Files are read in blocks, so that a two-hour recording at 48 kHz never stands in memory at its own rate.
"""

from __future__ import annotations

import hashlib
import io
import wave
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
import soxr
from numpy.typing import NDArray

from fieldnote.capture.mixdown import channel_power, weights
from fieldnote.capture.sound import RATE_HZ, Samples, Sound
from fieldnote.errors import NotFound, UnreadableSound, UserMistake

KNOWN_KINDS = "WAV, FLAC, OGG, Opus, MP3 or M4A"
_BLOCK_FRAMES = 1 << 13

Block = NDArray[np.float32]


@dataclass(frozen=True)
class _Source:
    """A file opened by one of the readers; ``blocks()`` starts from the beginning each time it is called."""

    rate_hz: int
    channels: int
    format: str
    blocks: Callable[[], Iterator[Block]]
    expected_frames: int = 0
    """How many the header promises; 0 where it does not say."""


def read_sound(path: str | Path, data: bytes | None = None) -> Sound:
    """The sound in a file, as 16 kHz mono float32, with the hash of the file as given.

    Args:
        path: the file; only named in messages where ``data`` is given.
        data: the file's content, where it came through a pipe.

    Raises:
        NotFound: no such file.
        UserMistake: a folder.
        UnreadableSound: not permitted, empty, no sound in it, or in a coding that cannot be read.

    """
    name = str(path)
    content = _content(Path(path)) if data is None else data
    if not content:
        raise UnreadableSound("the file is empty (0 bytes)", where=name, do="Record or copy it again.")
    opened = _open(content, name)
    warnings: list[str] = []
    samples, frames = _to_mono(opened, name, warnings)
    if frames == 0:
        raise UnreadableSound("there is no sound in this file", where=name, do="Record or copy it again.")
    if opened.expected_frames and frames < 0.98 * opened.expected_frames:
        missing_s = (opened.expected_frames - frames) / opened.rate_hz
        warnings.append(f"the file is cut off: its last {missing_s:.1f} s are missing, the rest was read")
    return Sound(
        samples=samples,
        sha256=hashlib.sha256(content).hexdigest(),
        source=name,
        rate_hz=opened.rate_hz,
        channels=opened.channels,
        format=opened.format,
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _content(path: Path) -> bytes:
    if path.is_dir():
        raise UserMistake("a folder, not a sound file", where=str(path), do=f"Name the files in it ({KNOWN_KINDS}).")
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise NotFound("no such file", where=str(path), do="Check the name and the folder.") from None
    except OSError as error:
        reason = error.strerror or str(error)
        raise UnreadableSound(
            f"cannot be read ({reason})", where=str(path), do="Check its permissions and the disk."
        ) from error


def _open(content: bytes, name: str) -> _Source:
    source = _open_with_soundfile(content) or _open_with_av(content)
    if source is None or source.channels < 1 or source.rate_hz < 1:
        raise UnreadableSound(
            "no sound that can be read is in this file",
            where=name,
            do=f"Give a {KNOWN_KINDS} file; if it is one, it is damaged: record or copy it again.",
        )
    return source


def _open_with_soundfile(content: bytes) -> _Source | None:
    import soundfile

    def opened() -> soundfile.SoundFile:
        return soundfile.SoundFile(io.BytesIO(content))

    try:
        with opened() as file:
            rate_hz, channels = int(file.samplerate), int(file.channels)
            kind, frames = f"{file.format} {file.subtype}", max(0, int(file.frames))
    except soundfile.LibsndfileError:
        return None
    # Read in blocks, MP3 comes out of soundfile with its level wrong (0.14.0, libsndfile 1.2.2): PyAV reads it.
    if kind.startswith("MP3"):
        return None

    def blocks() -> Iterator[Block]:
        with opened() as file:
            while True:
                block = file.read(_BLOCK_FRAMES, dtype="float32", always_2d=True)
                if not len(block):
                    return
                yield block

    promised = _frames_promised_by_wav(io.BytesIO(content)) if kind.startswith("WAV ") else frames
    return _Source(rate_hz, channels, kind, blocks, promised)


def _frames_promised_by_wav(file: BinaryIO) -> int:
    """Frames that a WAV header announces; soundfile itself only tells how many are there."""
    try:
        with closing(wave.open(file, "rb")) as reader:
            frames = reader.getnframes()
    except (wave.Error, EOFError):
        return 0
    # Recorders that stream write the largest number or none at all, as they cannot know the length beforehand.
    return frames if frames * 2 < 0x7FFF_0000 else 0


def _open_with_av(content: bytes) -> _Source | None:
    import av
    import av.error

    try:
        with av.open(io.BytesIO(content), mode="r", metadata_errors="ignore") as container:
            stream = next(iter(container.streams.audio), None)
            if stream is None:
                return None
            rate_hz, channels = int(stream.rate or 0), int(stream.channels or 0)
            kind = f"{container.format.name.split(',')[0]} {stream.codec_context.name}"
            seconds = float(stream.duration * stream.time_base) if stream.duration and stream.time_base else 0.0
    except (av.error.FFmpegError, ValueError, EOFError):
        return None

    def blocks() -> Iterator[Block]:
        with av.open(io.BytesIO(content), mode="r", metadata_errors="ignore") as container:
            # Planar floats at the file's own rate: bringing it to 16 kHz is soxr's work, for every kind of file alike.
            planar = av.AudioResampler(format="fltp")
            for frame in container.decode(audio=0):
                for plane in planar.resample(frame):
                    yield np.ascontiguousarray(plane.to_ndarray().T.astype(np.float32, copy=False))

    return _Source(rate_hz, channels, kind, blocks, int(seconds * rate_hz))


def _safely(source: _Source, warnings: list[str]) -> Iterator[Block]:
    """Blocks of the file; where decoding breaks off, what came before it is kept and a warning is added."""
    import av.error
    import soundfile

    try:
        for block in source.blocks():
            # Float files may hold what no ear can hear; one such sample would silence or poison the whole piece.
            yield np.clip(np.nan_to_num(block, nan=0.0, posinf=0.0, neginf=0.0), -1.0, 1.0)
    except (soundfile.LibsndfileError, av.error.FFmpegError, EOFError, ValueError):
        warnings.append("the file is damaged: it was read up to the damage")


def _to_mono(source: _Source, name: str, warnings: list[str]) -> tuple[Samples, int]:
    """The file as 16 kHz mono, and the number of frames that it gave at its own rate."""
    mix: NDArray[np.float32] | None = None
    if source.channels > 1:
        mix = weights(channel_power(_safely(source, warnings), source.channels))
    stream = soxr.ResampleStream(source.rate_hz, RATE_HZ, 1, dtype="float32", quality="HQ")
    parts: list[Samples] = []
    frames = 0
    try:
        for block in _safely(source, warnings):
            frames += len(block)
            mono = block[:, 0] if mix is None else block @ mix
            parts.append(stream.resample_chunk(np.ascontiguousarray(mono)))
        parts.append(stream.resample_chunk(np.zeros(0, np.float32), last=True))
    except MemoryError as error:
        raise UnreadableSound("too long for this machine's memory", where=name, do="Split the recording.") from error
    return np.concatenate(parts), frames
