"""Takes sound from a source into the journal, and does nothing else: whatever is slow happens elsewhere."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from fieldnote.capture.journal import AnyStretch, Journal, Mode, Stretch
from fieldnote.capture.live_cutting import Loudness, loudness
from fieldnote.capture.microphone import Block, MicrophoneGone, Source
from fieldnote.errors import MicrophoneMissing, NotFound

_TRY_AGAIN_S = 1.0
_BEHIND_S = 20.0
# The room still sounds for a moment after the loudspeaker has stopped.
_ECHO_S = 0.3

Notice = Callable[[str, bool], None]
"""Told in one line what the person should know; True where it is a warning."""


class Recorder:
    """One source into the journal of one job. ``run`` in a thread of its own, everything else from any thread."""

    def __init__(
        self,
        source: Source,
        journal: Journal,
        notice: Notice,
        *,
        speaks: Callable[[], bool] = lambda: False,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
        try_again_s: float = _TRY_AGAIN_S,
    ) -> None:
        self.source = source
        self.lost_s = 0.0
        self.taken_s = 0.0
        self.level = Loudness()
        self.ended = False
        self.waiting = False
        """Whether the device is away."""
        self.error: BaseException | None = None
        self._journal = journal
        self._notice = notice
        self._speaks = speaks
        self._spoke_until_s = -1.0
        self._now = now
        self._try_again_s = try_again_s
        self._mode: Mode = "listening"
        self._current: AnyStretch | None = None
        self._new: deque[AnyStretch] = deque()
        self._stop = threading.Event()
        self._changed = threading.Condition()
        self._read_samples = 0
        self._full = False

    @property
    def mode(self) -> Mode:
        """How what comes now is listened to."""
        return self._mode

    def run(self) -> None:
        """Record until the source ends or ``stop`` is called."""
        try:
            self._run()
        except BaseException as error:  # noqa: BLE001 -- a thread's error must reach whoever waits for it
            self.error = error
        finally:
            self.source.close()
            with self._changed:
                if self._current is not None:
                    self._current.end()
                    self._current = None
                self.ended = True
                self._changed.notify_all()

    def stop(self) -> None:
        """Stop recording; what came is kept."""
        self._stop.set()

    def take_new(self) -> AnyStretch | None:
        """The next stretch that began and has not been taken; None where there is none yet."""
        with self._changed:
            return self._new.popleft() if self._new else None

    def wait(self, timeout_s: float) -> None:
        """Wait until something came."""
        with self._changed:
            if not self.ended:
                self._changed.wait(timeout_s)

    def has_read(self, position: int) -> None:
        """How far the present stretch was read: a source that can wait is held back."""
        with self._changed:
            self._read_samples = position
            self._changed.notify_all()

    def switch(self, stretch: AnyStretch, at: int, mode: Mode) -> AnyStretch:
        """From sample ``at`` of ``stretch`` on listen in another way; gives the stretch that begins there.

        Raises:
            StoreFault: it cannot be written.

        """
        with self._changed:
            new = self._journal.split(stretch, at, mode, self._time_of)
            if self._current is stretch:
                self._current, self._mode, self._read_samples = new, mode, 0
            return new

    def _run(self) -> None:
        opened = False
        while not self._stop.is_set():
            try:
                if not opened:
                    self.source.open()
                    opened = True
                    if self.waiting:
                        self.waiting = False
                        self._notice(f"{self.source.name} is back: listening again", False)
                for block in self.source.blocks():
                    self._take(block)
                    if self._stop.is_set():
                        return
                return
            except MicrophoneGone as gone:
                opened = False
                self._pause_for(gone)
            except (MicrophoneMissing, NotFound):
                if not self.waiting:
                    raise
                self._stop.wait(self._try_again_s)

    def _pause_for(self, gone: MicrophoneGone) -> None:
        with self._changed:
            if self._current is not None:
                self._current.end()
                self._current = None
            self.waiting = True
            self._changed.notify_all()
        self._notice(f"{gone.where}: {gone.what}. What was heard is kept; waiting for the device", True)
        self.source.close()
        self._stop.wait(self._try_again_s)

    def _take(self, block: Block) -> None:
        if block.lost_s:
            self.lost_s += block.lost_s
            self._notice(f"{block.lost_s:.1f} s of sound got lost on the way here (the machine was too busy)", True)
        with self._changed:
            if self._current is None:
                self._begin(len(block.samples))
            stretch = self._current
            assert stretch is not None
            if not len(block.samples):
                stretch.sync()
            else:
                self._mark_own_voice(stretch, len(block.samples))
                stretch.append(block.samples)
                self.taken_s += len(block.samples) / stretch.info.rate_hz
                self.level = loudness(block.samples)
            self._changed.notify_all()
            if not self.source.live:
                self._hold_back()
        self._tell_of_disk(stretch)

    def _begin(self, samples: int) -> None:
        rate_hz = self.source.rate_hz
        self._current = self._journal.begin(
            rate_hz,
            _text(self._now() - timedelta(seconds=samples / rate_hz)),
            self.source.now_s() - samples / rate_hz,
            mode=self._mode,
            device=self.source.name,
        )
        self._new.append(self._current)
        self._read_samples = 0

    def _mark_own_voice(self, stretch: AnyStretch, samples: int) -> None:
        now_s = time.monotonic()
        if self._speaks():
            self._spoke_until_s = now_s + _ECHO_S
        if now_s < self._spoke_until_s:
            stretch.note_own_voice(stretch.samples, stretch.samples + samples)

    def _hold_back(self) -> None:
        """A file is not read further than a little before what was understood of it; the caller holds the lock."""
        while (
            not self._stop.is_set()
            and self._current is not None
            and self._current.samples - self._read_samples > _BEHIND_S * self._current.info.rate_hz
        ):
            self._changed.wait(0.1)

    def _tell_of_disk(self, stretch: AnyStretch) -> None:
        full = isinstance(stretch, Stretch) and stretch.trouble is not None
        if full and not self._full:
            reason = stretch.trouble.strerror if stretch.trouble else ""
            self._notice(f"the disk takes no sound ({reason}): free some space; it is held in memory meanwhile", True)
        elif self._full and not full:
            self._notice("the disk takes sound again; nothing was lost", False)
        self._full = full

    def _time_of(self, at_s: float) -> str:
        return _text(self._now() - timedelta(seconds=max(0.0, self.source.now_s() - at_s)))


def _text(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
