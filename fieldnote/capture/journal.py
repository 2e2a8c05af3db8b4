"""The sound journal: what a microphone gives is on disk before anything is made of it.

One folder a job, one *stretch* for each time that sound came without a break and was listened to in one way. A stretch
is a file of raw samples (16-bit, little-endian, one channel, at the rate of the device) beside a line of JSON. Every
block is written at once and forced to disk every half second, so that a process that is killed loses what its queue
held and a machine that loses power at most half a second. A stretch is deleted once all its sound lies in clips.

The JSON is what makes a stretch count: it is written last, whole or not at all. Where one stretch is split in two, that
of the second says up to where the first counts, so that no sample is in both.
"""

from __future__ import annotations

import json
import os
import sqlite3
import threading
import time
import uuid
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import IO, Literal

import numpy as np
from numpy.typing import NDArray

from fieldnote.errors import StoreFault, UserMistake

Mode = Literal["listening", "standing-by", "off-the-record"]
"""``listening``: words become entries; ``standing-by``: sound is kept alone; ``off-the-record``: nothing is kept."""
RawSamples = NDArray[np.int16]
"""Shape (samples,), 16-bit, one channel, at the rate of the device."""

SYNC_S = 0.5
_BYTES = 2
_META, _RAW, _OWN_VOICE = ".json", ".raw", ".own"
# Off the record only the utterance being spoken is needed; it is never longer than what an engine hears at once.
_MEMORY_S = 40


@dataclass(frozen=True, slots=True)
class StretchInfo:
    """What is known of a stretch when it begins. ``from_s`` counts on the clock of the source, for durations.

    ``follows`` and ``follows_at``: the stretch that this one was split from counts up to that sample.
    """

    id: str
    job_id: str
    rate_hz: int
    started_at: str
    from_s: float
    mode: Mode
    device: str = ""
    follows: str = ""
    follows_at: int = 0


class Stretch:
    """Sound on disk that may still grow. Safe to use from a thread that writes and one that reads."""

    def __init__(self, folder: Path, info: StretchInfo, *, limit: int | None = None) -> None:
        self.info = info
        self.ended = False
        self.trouble: OSError | None = None
        """Why the disk takes no more sound; what came since waits in memory."""
        self._path = folder / f"{info.id}{_RAW}"
        self._lock = threading.Lock()
        self._file: IO[bytes] = self._path.open("r+b", buffering=0)
        size = self._path.stat().st_size // _BYTES
        self._written = size if limit is None else min(size, limit)
        self._waiting: list[RawSamples] = []
        self._waiting_samples = 0
        self._synced_at = time.monotonic()
        self._own: list[tuple[int, int]] = _read_spans(self._path.with_suffix(_OWN_VOICE))

    @property
    def samples(self) -> int:
        """How many there are."""
        return self._written + self._waiting_samples

    @property
    def own_voice(self) -> tuple[tuple[int, int], ...]:
        """Where the machine itself was speaking: spans of samples, in order."""
        return tuple(self._own)

    def append(self, samples: RawSamples) -> None:
        """Add sound. Where the disk refuses it, it waits in memory and is tried again with the next."""
        with self._lock:
            self._waiting.append(samples)
            self._waiting_samples += len(samples)
            self._write()
        if time.monotonic() - self._synced_at >= SYNC_S:
            self.sync()

    def sync(self) -> None:
        """Force to disk what was written, and try again what the disk has refused."""
        self._synced_at = time.monotonic()
        with self._lock:
            if self._waiting:
                self._write()
        try:
            os.fsync(self._file.fileno())
        except OSError as error:
            self.trouble = error

    def read(self, start: int, end: int) -> RawSamples:
        """Samples ``start`` to ``end``, as far as they are there."""
        with self._lock:
            parts = []
            if start < self._written:
                self._file.seek(start * _BYTES)
                wanted = (min(end, self._written) - start) * _BYTES
                parts.append(np.frombuffer(_read_all(self._file, wanted), "<i2"))
            at = self._written
            for block in self._waiting:
                parts.append(block[max(0, start - at) : max(0, end - at)])
                at += len(block)
        return np.concatenate(parts).astype(np.int16) if parts else np.zeros(0, np.int16)

    def note_own_voice(self, start: int, end: int) -> None:
        """The machine was speaking while these samples came."""
        self._own = _joined(self._own, start, end)
        try:
            with self._path.with_suffix(_OWN_VOICE).open("a") as file:
                file.write(f"{start} {end}\n")
        except OSError as error:
            self.trouble = error

    def cut_off(self, at: int) -> None:
        """Let go of everything from sample ``at`` on, on disk too.

        Raises:
            StoreFault: the disk refuses.

        """
        with self._lock:
            self._waiting, self._waiting_samples = [], 0
            try:
                self._file.truncate(at * _BYTES)
                os.fsync(self._file.fileno())
            except OSError as error:
                raise _fault(error, self._path) from error
            self._written = min(self._written, at)

    def end(self) -> None:
        """No more sound will come."""
        self.sync()
        self.ended = True

    def close(self) -> None:
        """Close the file; the sound stays."""
        self._file.close()

    def _write(self) -> None:
        """Write what waits, in order; the caller holds the lock."""
        try:
            while self._waiting:
                self._file.seek(self._written * _BYTES)
                _write_all(self._file, np.ascontiguousarray(self._waiting[0], "<i2").tobytes())
                done = self._waiting.pop(0)
                self._waiting_samples -= len(done)
                self._written += len(done)
            self.trouble = None
        except OSError as error:
            self.trouble = error


class UnkeptStretch:
    """The same in memory, for what must not be kept: only its last seconds are there."""

    def __init__(self, info: StretchInfo, tail: RawSamples) -> None:
        self.info = info
        self.ended = False
        self.trouble: OSError | None = None
        self.own_voice: tuple[tuple[int, int], ...] = ()
        self._lock = threading.Lock()
        self._kept = tail.copy()
        self._kept_from = 0

    @property
    def samples(self) -> int:
        """How many have come."""
        return self._kept_from + len(self._kept)

    def append(self, samples: RawSamples) -> None:
        """Add sound."""
        with self._lock:
            self._kept = np.concatenate([self._kept, samples])

    def read(self, start: int, end: int) -> RawSamples:
        """Samples ``start`` to ``end``, as far as they are still there."""
        with self._lock:
            return self._kept[max(0, start - self._kept_from) : max(0, end - self._kept_from)].copy()

    def forget(self, before: int) -> None:
        """Let go of what is older than what one utterance may need before sample ``before``."""
        with self._lock:
            drop = before - _MEMORY_S * self.info.rate_hz - self._kept_from
            if drop > 0:
                self._kept, self._kept_from = self._kept[drop:].copy(), self._kept_from + drop

    def note_own_voice(self, start: int, end: int) -> None:
        """The machine was speaking while these samples came."""
        self.own_voice = tuple(_joined(self.own_voice, start, end))

    def sync(self) -> None:
        """Nothing goes to disk."""

    def end(self) -> None:
        """No more sound will come."""
        self.ended = True

    def close(self) -> None:
        """Let go of everything."""
        self._kept = np.zeros(0, np.int16)


AnyStretch = Stretch | UnkeptStretch


class Journal:
    """The stretches of one job. One process at a time."""

    def __init__(self, home: Path, job_id: str) -> None:
        """Open the journal of a job in a data folder, and hold it.

        Raises:
            UserMistake: another process listens for this job.
            StoreFault: the folder cannot be written.

        """
        self.folder = home / "journal" / job_id
        self._job_id = job_id
        self._open: list[AnyStretch] = []
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            self._hold = _held(self.folder / "held")
        except OSError as error:
            raise _fault(error, self.folder) from error

    def begin(
        self, rate_hz: int, started_at: str, from_s: float, *, mode: Mode = "listening", device: str = ""
    ) -> AnyStretch:
        """A new stretch, empty.

        Raises:
            StoreFault: it cannot be written.

        """
        info = StretchInfo(self._next_id(), self._job_id, rate_hz, started_at, from_s, mode, device)
        if mode == "off-the-record":
            return UnkeptStretch(info, np.zeros(0, np.int16))
        return self._begin(info)

    def split(self, stretch: AnyStretch, at: int, mode: Mode, started_at: Callable[[float], str]) -> AnyStretch:
        """End ``stretch`` at sample ``at``; what came after it begins a stretch of another mode.

        Nothing may be added to ``stretch`` meanwhile. Off the record, what came after is deleted from the disk.

        Args:
            stretch: what was listened to until now.
            at: the sample with which the new one begins.
            mode: how the new one is listened to.
            started_at: gives the RFC 3339 time of a second on the source's clock.

        Raises:
            StoreFault: the new stretch cannot be written; the old one is as it was.

        """
        tail = stretch.read(at, stretch.samples)
        from_s = stretch.info.from_s + at / stretch.info.rate_hz
        kept = isinstance(stretch, Stretch)
        info = StretchInfo(
            self._next_id(),
            self._job_id,
            stretch.info.rate_hz,
            started_at(from_s),
            from_s,
            mode,
            stretch.info.device,
            follows=stretch.info.id if kept else "",
            follows_at=at if kept else 0,
        )
        new: AnyStretch = UnkeptStretch(info, tail) if mode == "off-the-record" else self._begin(info, tail)
        if isinstance(stretch, Stretch):
            stretch.cut_off(at)
        for start, end in stretch.own_voice:
            if end > at:
                new.note_own_voice(max(0, start - at), end - at)
        new.ended = stretch.ended
        stretch.end()
        return new

    def left(self) -> tuple[Stretch, ...]:
        """What an earlier process left, in order; ended. What was never made to count is deleted."""
        infos = [info for info in map(_read_info, sorted(self.folder.glob(f"*{_META}"))) if info is not None]
        for raw in self.folder.glob(f"*{_RAW}"):
            if not raw.with_suffix(_META).exists():
                raw.unlink(missing_ok=True)
        limits = {info.follows: info.follows_at for info in infos if info.follows}
        found = []
        for info in infos:
            if not (self.folder / f"{info.id}{_RAW}").exists():
                (self.folder / f"{info.id}{_META}").unlink(missing_ok=True)
                continue
            stretch = Stretch(self.folder, info, limit=limits.get(info.id))
            stretch.ended = True
            self._open.append(stretch)
            found.append(stretch)
        return tuple(found)

    def done(self, stretch: AnyStretch) -> None:
        """All sound of this stretch lies in clips: delete it."""
        stretch.close()
        if isinstance(stretch, Stretch):
            self._open.remove(stretch)
            for suffix in (_RAW, _OWN_VOICE, _META):
                (self.folder / f"{stretch.info.id}{suffix}").unlink(missing_ok=True)

    def close(self) -> None:
        """Let go of the journal; what it holds stays."""
        for stretch in self._open:
            stretch.close()
        self._hold.close()

    def _next_id(self) -> str:
        numbers = [int(path.name.split("-")[0]) for path in self.folder.glob(f"*{_META}")]
        return f"{max(numbers, default=0) + 1:06d}-{uuid.uuid4().hex[:10]}"

    def _begin(self, info: StretchInfo, tail: RawSamples | None = None) -> Stretch:
        raw, meta = self.folder / f"{info.id}{_RAW}", self.folder / f"{info.id}{_META}"
        try:
            with raw.open("xb") as file:
                if tail is not None:
                    file.write(tail.astype("<i2").tobytes())
                file.flush()
                os.fsync(file.fileno())
            part = meta.with_suffix(".part")
            with part.open("w", encoding="utf-8") as text:
                json.dump(asdict(info), text)
                text.flush()
                os.fsync(text.fileno())
            part.replace(meta)
            _sync_folder(self.folder)
            stretch = Stretch(self.folder, info)
            self._open.append(stretch)
            return stretch
        except OSError as error:
            raw.unlink(missing_ok=True)
            raise _fault(error, self.folder) from error


def is_left(home: Path, job_id: str) -> bool:
    """Whether anything lies in the journal of a job: left by an earlier process, or written by one right now."""
    return any((home / "journal" / job_id).glob(f"*{_META}"))


def seconds_left(stretches: Sequence[Stretch], done: Callable[[Stretch], int]) -> float:
    """How much sound waits in ``stretches``; ``done`` gives the sample up to which one lies in clips."""
    return sum(max(0, s.samples - done(s)) / s.info.rate_hz for s in stretches)


def _held(path: Path) -> sqlite3.Connection:
    """An exclusive hold that ends with the process, on every system: SQLite's own lock."""
    hold = sqlite3.connect(path, timeout=0.2, isolation_level=None, check_same_thread=False)
    try:
        hold.execute("BEGIN EXCLUSIVE")
    except sqlite3.OperationalError as error:
        hold.close()
        raise UserMistake(
            "this job is being listened to already", where=path.parent.name, do="End the other one first."
        ) from error
    return hold


def _read_info(path: Path) -> StretchInfo | None:
    try:
        return StretchInfo(**json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError):
        # Written whole or not at all, so this is no file of ours; it stays for whoever looks.
        return None


def _read_spans(path: Path) -> list[tuple[int, int]]:
    try:
        lines = path.read_text().splitlines()
    except OSError:
        return []
    found: list[tuple[int, int]] = []
    for start, _, end in (line.partition(" ") for line in lines):
        # The last line may be torn.
        if start.isdigit() and end.isdigit():
            found = _joined(found, int(start), int(end))
    return found


def _joined(spans: Sequence[tuple[int, int]], start: int, end: int) -> list[tuple[int, int]]:
    """``spans`` and one more, as one with the last where they touch."""
    if spans and spans[-1][1] >= start:
        return [*spans[:-1], (spans[-1][0], max(end, spans[-1][1]))]
    return [*spans, (start, end)]


def _read_all(file: IO[bytes], wanted: int) -> bytes:
    parts = []
    while wanted > 0 and (part := file.read(wanted)):
        parts.append(part)
        wanted -= len(part)
    return b"".join(parts)


def _write_all(file: IO[bytes], data: bytes) -> None:
    view = memoryview(data)
    while view:
        view = view[file.write(view) :]


def _sync_folder(folder: Path) -> None:
    """Force a new name to disk where the system allows to open a folder (POSIX)."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _fault(error: OSError, path: Path) -> StoreFault:
    return StoreFault(
        f"the sound journal cannot be written ({error.strerror or error})",
        where=str(path),
        do="Free some space on the disk, or check its permissions.",
    )
