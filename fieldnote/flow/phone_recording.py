"""Sound that phones send, frame by frame, into the journal of a job: the recorder of those who are not at this machine.

Frames are numbered and all of one length but the last of a take, so that a phone which comes back after a break sends
again from where the disk ends, and nothing is there twice. Several phones may send at once; each has a stretch of its
own, and they are listened to one after the other.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import NoReturn

import numpy as np

from fieldnote.capture.journal import AnyStretch, Journal, Mode, RawSamples, UnkeptStretch
from fieldnote.capture.live_cutting import loudness
from fieldnote.capture.microphone import Block
from fieldnote.capture.phone_takes import Tally, read_tally, write_tally
from fieldnote.capture.sound import RATE_HZ
from fieldnote.errors import BadData, DeviceMissing, StoreFault
from fieldnote.flow.recording import Notice, Recorder

FRAME_SAMPLES = 4000
"""A quarter of a second at 16 kHz."""
_LONGEST_S = 4 * 3600
_PATIENCE_S = 90.0
"""So long a stretch waits for a phone that went away, before what it has is taken for the end."""
_REST_S = 20.0
"""So long a job stays open after the last take, for the next touch to begin at once."""


@dataclass(frozen=True, slots=True)
class Frame:
    """Frame ``number`` of a take; ``own_voice``: the phone itself was speaking while it was recorded."""

    number: int
    samples: RawSamples
    own_voice: bool = False


@dataclass(slots=True)
class Take:
    """One take as it comes in. ``base``: samples of it that lie before ``stretch``."""

    id: str
    base: int
    began: datetime
    """When it began, on this machine's clock."""
    stretch: AnyStretch | None = None
    total: int | None = None
    here: bool = True
    """Whether its phone is connected."""
    gone_at: float = 0.0

    @property
    def samples(self) -> int:
        """How many have come, on disk or not."""
        return self.base + (self.stretch.samples if self.stretch is not None else 0)

    @property
    def next_frame(self) -> int:
        """The frame to be sent next; one that is there in part is sent again and its known part is passed over."""
        return self.samples // FRAME_SAMPLES


class PhoneRecorder(Recorder):
    """The recorder of a job whose sound comes from phones. Every method may be called from any thread."""

    def __init__(
        self,
        journal: Journal,
        notice: Notice,
        *,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
        monotonic: Callable[[], float] = time.monotonic,
        rest_s: float = _REST_S,
        patience_s: float = _PATIENCE_S,
    ) -> None:
        super().__init__(_NoDevice(), journal, notice, now=now)
        self._takes: dict[str, Take] = {}
        self._monotonic = monotonic
        self._rest_s = rest_s
        self._patience_s = patience_s
        self._idle_since = monotonic()
        self._closed = False
        self._unheard: set[str] = set()

    # ---- for the listener ---------------------------------------------------------------------------------------

    @property
    def ended(self) -> bool:
        """Whether no sound comes any more, and none has for a while."""
        with self._changed:
            self._let_go_of_the_gone()
            rested = self._monotonic() - self._idle_since > self._rest_s
            return self._closed or (not self._takes and rested)

    @ended.setter
    def ended(self, value: bool) -> None:
        self._closed = value

    @property
    def waits(self) -> bool:
        """Whether a stretch has begun that nobody has taken."""
        with self._changed:
            return bool(self._new)

    @property
    def busy(self) -> bool:
        """Whether a take is open."""
        with self._changed:
            return bool(self._takes)

    def switch(self, stretch: AnyStretch, at: int, mode: Mode) -> AnyStretch:
        """From sample ``at`` of ``stretch`` on listen in another way; gives the stretch that begins there.

        Raises:
            StoreFault: it cannot be written.

        """
        with self._changed:
            new = self._journal.split(stretch, at, mode, self._time_of)
            for take in self._takes.values():
                if take.stretch is stretch:
                    take.base, take.stretch = take.base + at, new
                    self._tally(take)
            self._unheard.add(new.info.id)
            return new

    def heard(self, stretch_id: str) -> bool:
        """All of a stretch was listened to; gives whether nothing is left to listen to."""
        with self._changed:
            self._unheard.discard(stretch_id)
            return not self._unheard and not self._takes

    # ---- for the phones -----------------------------------------------------------------------------------------

    def begin(self, take_id: str, age_s: float) -> Take:
        """A phone has a take to send, which began ``age_s`` ago; it may have sent some of it before.

        Raises:
            UserMistake: this is no id of a take.
            StoreFault: the journal cannot be written.

        """
        with self._changed:
            there = self._takes.get(take_id)
            if there is not None:
                there.here = True
                return there
            tally = read_tally(self._journal.folder, take_id)
            began = self._now() - timedelta(seconds=min(max(0.0, age_s), 40 * 86_400))
            take = Take(take_id, tally.base, began, total=tally.total)
            if take.total is None:
                self._takes[take_id] = take
            return take

    def receive(self, take: Take, frames: list[Frame]) -> None:
        """Add frames in order; what is there already is passed over.

        Raises:
            BadData: a frame is missing before one of these, or the take is longer than any.
            DeviceMissing: nobody listens any more; the phone is to begin again from where the disk ends.
            StoreFault: the disk takes no sound. What was confirmed is safe.

        """
        with self._changed:
            if take.total is not None:
                return
            self._refuse_if_gone(take)
            for frame in frames:
                start = frame.number * FRAME_SAMPLES
                if start > take.samples:
                    raise BadData(f"frame {take.next_frame} is missing", where="sound", do="Send again from there.")
                self._add(take, frame, frame.samples[take.samples - start :])
            self._changed.notify_all()

    def confirm(self, take: Take) -> int:
        """Force to disk what has come; gives how many samples the phone may forget.

        Raises:
            StoreFault: the disk takes no sound.

        """
        with self._changed:
            stretch, samples = take.stretch, take.samples
            if stretch is None:
                return samples
            if isinstance(stretch, UnkeptStretch):
                self._tally(take)  # off the record: nothing of it is kept, here or on the phone
                return samples
            stretch.sync()
            self._tell_of_disk(stretch)
            if stretch.trouble is not None:
                raise StoreFault(
                    f"the disk takes no sound ({stretch.trouble.strerror or stretch.trouble})",
                    where="this server",
                    do="Free some space there. The phone keeps what is not confirmed.",
                )
            return samples

    def end(self, take: Take, total: int) -> bool:
        """The take has ended with ``total`` samples; gives whether all of them have come.

        Raises:
            DeviceMissing: nobody listens any more; the phone is to begin again from where the disk ends.
            StoreFault: the disk takes no sound.

        """
        with self._changed:
            if take.total is None:
                self._refuse_if_gone(take)
            if take.total is None and take.samples >= total:
                self.confirm(take)
                take.total = take.samples
                self._close(take)
            return take.total is not None

    def leave(self, take: Take) -> None:
        """The phone of a take went away; it may come back."""
        with self._changed:
            if take.id in self._takes:
                take.here, take.gone_at = False, self._monotonic()
                if take.stretch is not None:
                    take.stretch.sync()

    def close(self) -> None:
        """No more sound is taken; what is open is ended where it is."""
        with self._changed:
            for take in list(self._takes.values()):
                self._close(take)
            self._closed = True
            self._changed.notify_all()

    def _refuse_if_gone(self, take: Take) -> None:
        if self._closed or self._takes.get(take.id) is not take:
            raise DeviceMissing("this recording was set aside", where="sound", do="The phone sends on by itself.")

    # ---- within -------------------------------------------------------------------------------------------------

    def _add(self, take: Take, frame: Frame, samples: RawSamples) -> None:
        if not len(samples):
            return
        if take.samples + len(samples) > _LONGEST_S * RATE_HZ:
            raise BadData("this recording is longer than four hours", where="sound", do="Stop, and begin another.")
        if take.stretch is None:
            self._open(take)
        stretch = take.stretch
        assert stretch is not None
        if frame.own_voice:
            stretch.note_own_voice(stretch.samples, stretch.samples + len(samples))
        stretch.append(samples)
        self.taken_s += len(samples) / RATE_HZ
        self.level = loudness(samples)

    def _open(self, take: Take) -> None:
        began = take.began + timedelta(seconds=take.base / RATE_HZ)
        stretch = self._journal.begin(RATE_HZ, _text(began), began.timestamp(), device="phone")
        take.stretch = stretch
        self._tally(take)
        self._unheard.add(stretch.info.id)
        self._new.append(stretch)

    def _tally(self, take: Take) -> None:
        kept = take.stretch is not None and not isinstance(take.stretch, UnkeptStretch)
        tally = Tally(take.base, take.stretch.info.id) if kept and take.stretch else Tally(take.samples)
        write_tally(self._journal.folder, take.id, tally)

    def _close(self, take: Take) -> None:
        """Its stretch ends; the count is written before anything may delete the stretch."""
        write_tally(self._journal.folder, take.id, Tally(take.samples, "", take.total))
        self._takes.pop(take.id, None)
        if take.stretch is not None:
            take.base, stretch = take.samples, take.stretch
            take.stretch = None
            stretch.end()
        self._idle_since = self._monotonic()

    def _let_go_of_the_gone(self) -> None:
        """A phone that stays away ends its stretch: should it come back, another stretch goes on from there."""
        for take in list(self._takes.values()):
            away_s = 0.0 if take.here else self._monotonic() - take.gone_at
            # Whoever waits behind it is not kept waiting for long.
            if away_s > (min(self._patience_s, 5.0) if self._new else self._patience_s):
                self._close(take)

    def _time_of(self, at_s: float) -> str:
        return _text(datetime.fromtimestamp(at_s, UTC))


class _NoDevice:
    """Stands where a device would be."""

    live = True
    name = "phone"
    rate_hz = RATE_HZ

    def open(self) -> None:
        """Nothing to open."""

    def blocks(self) -> Iterator[Block]:
        """Sound comes by another way."""
        yield from ()

    def now_s(self) -> float:
        """The clock of this machine: that of the stretches."""
        return time.time()

    def close(self) -> None:
        """Nothing to close."""


def frame_of(data: bytes) -> Frame:
    """A frame as a phone sends it: number (4 bytes), CRC-32 of the sound (4), flags (2), samples (2), 16-bit sound.

    All little-endian. The CRC is that of RFC 1952, section 8; the first flag: the phone was speaking.

    Raises:
        BadData: it is no frame, or arrived damaged.

    """
    import zlib

    if len(data) < HEAD_BYTES or len(data) > HEAD_BYTES + 2 * FRAME_SAMPLES:
        _refuse("this is no sound of fieldnote's page")
    number, crc, flags, count = (int.from_bytes(data[a:b], "little") for a, b in ((0, 4), (4, 8), (8, 10), (10, 12)))
    sound = data[HEAD_BYTES:]
    if count == 0 or len(sound) != 2 * count or zlib.crc32(sound) != crc:
        _refuse("a piece of sound arrived damaged")
    return Frame(number, np.frombuffer(sound, "<i2").astype(np.int16), bool(flags & 1))


HEAD_BYTES = 12


def _refuse(what: str) -> NoReturn:
    raise BadData(what, where="sound", do="It is still on the phone: load the page again.")


def _text(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


__all__ = ["FRAME_SAMPLES", "Frame", "PhoneRecorder", "Take", "frame_of"]
