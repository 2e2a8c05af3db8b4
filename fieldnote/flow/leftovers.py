"""What a stopped sitting left in the journal is taken without listening on: ``take`` finishes it too."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator

from fieldnote.capture.journal import is_left
from fieldnote.capture.microphone import Block
from fieldnote.capture.sound import RATE_HZ
from fieldnote.capture.voice_activity import Detector
from fieldnote.errors import UserMistake
from fieldnote.flow.recording import Notice
from fieldnote.flow.rooms import Rooms
from fieldnote.flow.session import Session
from fieldnote.recognize import Engine
from fieldnote.records import Job


class _NoSound:
    """A source that has ended before it begins."""

    live = False
    name = "the journal"
    rate_hz = RATE_HZ

    def open(self) -> None:
        """Nothing to open."""

    def blocks(self) -> Iterator[Block]:
        """None."""
        return iter(())

    def now_s(self) -> float:
        """Any clock serves."""
        return time.monotonic()

    def close(self) -> None:
        """Nothing to close."""


def finish_sitting(
    rooms: Rooms,
    job: Job,
    notice: Notice,
    *,
    engine: Engine | None = None,
    detector: Callable[[], Detector] | None = None,
) -> float:
    """Hear and keep what an earlier, stopped sitting left of a job; gives how many seconds that was.

    Where the job is being listened to right now, nothing is left: that sitting takes its sound itself.

    Raises:
        StoreFault: the data folder cannot be written; the sound stays in the journal.

    """
    if not is_left(rooms.home, job.id):
        return 0.0
    try:
        session = Session(rooms, job, _NoSound(), notice=notice, engine=engine, detector=detector, advises=False)
    except UserMistake:
        return 0.0
    left_s = session.left_s()
    if left_s:
        notice(f"{left_s:.0f} s of sound from an earlier sitting were not processed yet: taking it first", False)
    session.run()
    return left_s
