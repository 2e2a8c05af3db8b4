"""The microphone, through PortAudio. The only module that imports sounddevice.

The callback of the stream runs where nothing may wait: it copies the block, notes the time, and returns. Flags of lost
sound are not always set by a driver, so that the samples are counted against the clock as well.
"""

from __future__ import annotations

import queue
import time
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from fieldnote.capture.journal import RawSamples
from fieldnote.capture.sound import RATE_HZ
from fieldnote.errors import DeviceMissing, MicrophoneMissing, NotFound, UserMistake
from fieldnote.settings import ListenSettings

_GONE_AFTER_S = 2.0
_TICK_S = 0.1
_WINDOW_S = 30.0
_LEAST_LOSS_S = 0.2
_MADE_UP_S = 2.0
_INSTALL = "Install it: apt install libportaudio2 (Debian, Ubuntu), dnf install portaudio, brew install portaudio."


class MicrophoneGone(DeviceMissing):
    """The device was there and gives no more sound."""


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """What came at once; ``lost_s`` turns out to have got lost before it. No samples: nothing came for a moment."""

    samples: RawSamples
    lost_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Device:
    """An input of this machine, as the system names it."""

    number: int
    name: str
    channels: int
    rate_hz: int
    is_default: bool = False


class Source(Protocol):
    """Where live sound comes from. ``live``: it comes by itself and cannot wait."""

    live: bool
    name: str
    rate_hz: int

    def open(self) -> None:
        """Make ready.

        Raises:
            MicrophoneMissing: there is no such device now.

        """

    def blocks(self) -> Iterator[Block]:
        """Blocks as they come, until there are no more.

        Raises:
            MicrophoneGone: the device went away; ``open`` and call again once it is back.

        """

    def now_s(self) -> float:
        """Seconds on the clock of this source."""

    def close(self) -> None:
        """Let go of the device."""


class LossMeter:
    """Counts samples against the clock: what a device should have given in the time, and did not.

    A busy machine gives blocks late and then makes up for it: only what is still missing after two seconds is lost.
    """

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._from_s: float | None = None
        self._given = 0
        self._least_s = 0.0
        self._late: deque[tuple[float, float]] = deque()

    def block(self, at_s: float, samples: int) -> float:
        """A block came at ``at_s`` (monotonic). Gives the seconds that turn out to be lost, usually 0."""
        if self._from_s is None:
            self._begin_window(at_s)
            return 0.0
        self._given += samples
        behind_s = (at_s - self._from_s) - self._given / self._rate_hz
        self._least_s = min(self._least_s, behind_s)
        if behind_s - self._least_s < _LEAST_LOSS_S:
            self._late.clear()
            if at_s - self._from_s > _WINDOW_S:
                self._begin_window(at_s)
            return 0.0
        self._late.append((at_s, behind_s))
        if at_s - self._late[0][0] < _MADE_UP_S:
            return 0.0
        lost_s = min(behind for _, behind in self._late) - self._least_s
        self._begin_window(at_s)
        return lost_s

    def _begin_window(self, at_s: float) -> None:
        # A window at a time: two clocks drift apart by more than a loss within an hour.
        self._from_s, self._given, self._least_s = at_s, 0, 0.0
        self._late.clear()


class SystemMicrophone:
    """An input of the system. ``device``: a number, a part of a name, or "" for the system's own choice."""

    live = True

    def __init__(self, device: str = "") -> None:
        self._device = device
        self._stream: Any = None
        self._queue: queue.SimpleQueue[tuple[float, RawSamples, bool]] = queue.SimpleQueue()
        self.name = device or "default"
        self.rate_hz = RATE_HZ

    def open(self) -> None:
        """Open the device, at 16 kHz where it can, else at its own rate.

        Raises:
            MicrophoneMissing: no PortAudio, no such device, or another program holds it.

        """
        sounddevice = _library()
        self.close()
        # PortAudio lists the devices once: without this, one that was plugged in again is never seen.
        _renew(sounddevice)
        number = _chosen(self._device)
        try:
            described = sounddevice.query_devices(number, "input")
            self.name = str(described["name"])
            self.rate_hz = _rate_of(sounddevice, number, described)
            self._queue = queue.SimpleQueue()
            self._stream = sounddevice.InputStream(
                device=number,
                samplerate=self.rate_hz,
                channels=1,
                dtype="int16",
                blocksize=0,
                latency="high",
                callback=self._came,
            )
            self._stream.start()
        except (sounddevice.PortAudioError, ValueError) as error:
            self._stream = None
            raise MicrophoneMissing(
                f"the microphone cannot be opened ({_reason(error)})",
                where=self.name,
                do="Close the program that holds it, or name another: fieldnote listen --devices lists them.",
            ) from error

    def _came(self, block: Any, frames: int, when: Any, status: Any) -> None:
        """PortAudio's callback: copies and returns."""
        self._queue.put((time.monotonic(), block[:, 0].copy(), bool(status.input_overflow)))

    def blocks(self) -> Iterator[Block]:
        """Blocks as they come; empty ones where nothing came for 0.1 s.

        Raises:
            MicrophoneGone: nothing came for 2 s, or the stream ended.

        """
        meter, last_s = LossMeter(self.rate_hz), time.monotonic()
        while self._stream is not None:
            try:
                at_s, samples, overflowed = self._queue.get(timeout=_TICK_S)
            except queue.Empty:
                if time.monotonic() - last_s > _GONE_AFTER_S or not self._stream.active:
                    raise MicrophoneGone(
                        "the microphone gives no more sound", where=self.name, do="Plug it in again."
                    ) from None
                yield Block(np.zeros(0, np.int16))
                continue
            last_s = time.monotonic()
            lost_s = meter.block(at_s, len(samples))
            # A flag without a gap that can be measured: at least this block's length is in doubt.
            yield Block(samples, lost_s or (len(samples) / self.rate_hz if overflowed else 0.0))

    def now_s(self) -> float:
        """Seconds on a clock that nobody sets."""
        return time.monotonic()

    def close(self) -> None:
        """Let go of the device."""
        stream, self._stream = self._stream, None
        if stream is not None:
            stream.close(ignore_errors=True)


def devices() -> tuple[Device, ...]:
    """The inputs of this machine.

    Raises:
        MicrophoneMissing: PortAudio is not there.

    """
    sounddevice = _library()
    default = sounddevice.default.device[0]
    return tuple(
        Device(n, str(d["name"]), int(d["max_input_channels"]), round(d["default_samplerate"]), n == default)
        for n, d in enumerate(sounddevice.query_devices())
        if d["max_input_channels"] > 0
    )


def choose(wanted: str, inputs: tuple[Device, ...]) -> int | None:
    """The number of the input that ``wanted`` means: a number or a part of its name; None for the system's choice.

    Raises:
        MicrophoneMissing: there is no input at all.
        NotFound: none is called so.
        UserMistake: several are.

    """
    if not inputs:
        raise MicrophoneMissing(
            "this machine has no microphone", where="listen", do="Plug one in; or play a file: --from FILE."
        )
    if not wanted:
        return None
    listed = ", ".join(f"{d.number} {d.name}" for d in inputs)
    if wanted.isdigit():
        if int(wanted) in {d.number for d in inputs}:
            return int(wanted)
        raise NotFound("no input has this number", where=wanted, do=f"There are: {listed}.")
    fits = [d for d in inputs if d.name.lower() == wanted.lower()] or [
        d for d in inputs if wanted.lower() in d.name.lower()
    ]
    if len(fits) == 1:
        return fits[0].number
    if fits:
        names = ", ".join(f"{d.number} {d.name}" for d in fits)
        raise UserMistake("several inputs are called so", where=wanted, do=f"Name one by its number: {names}.")
    raise NotFound("no input is called so", where=wanted, do=f"There are: {listed}.")


def microphone(settings: ListenSettings, device: str | None = None) -> SystemMicrophone:
    """The microphone that the settings name, or another."""
    return SystemMicrophone(settings.device if device is None else device)


def play(samples: RawSamples, rate_hz: int) -> None:
    """Play sound through the system's own output and wait for its end; nothing is played where there is none.

    Raises:
        MicrophoneMissing: PortAudio is not there.

    """
    sounddevice = _library()
    try:
        sounddevice.play(samples, rate_hz, blocking=True)
    except (sounddevice.PortAudioError, ValueError):
        # No output: what would be played is on the screen too.
        return


def _library() -> Any:
    """The sounddevice module.

    Raises:
        MicrophoneMissing: it, or PortAudio under it, is not on this machine.

    """
    try:
        import sounddevice
    except ImportError as error:
        raise MicrophoneMissing("the Python package sounddevice is missing", where="listen", do=_INSTALL) from error
    except OSError as error:
        raise MicrophoneMissing("the system's library PortAudio is missing", where="listen", do=_INSTALL) from error
    return sounddevice


def _renew(sounddevice: Any) -> None:
    sounddevice._terminate()
    sounddevice._initialize()


def _chosen(wanted: str) -> int | None:
    return choose(wanted, devices())


def _rate_of(sounddevice: Any, number: int | None, described: Any) -> int:
    try:
        sounddevice.check_input_settings(device=number, channels=1, dtype="int16", samplerate=RATE_HZ)
    except (sounddevice.PortAudioError, ValueError):
        return int(described["default_samplerate"])
    return RATE_HZ


def _reason(error: Exception) -> str:
    return str(error.args[0]) if error.args else str(error)
