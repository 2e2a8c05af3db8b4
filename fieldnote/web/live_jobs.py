"""Jobs that are being dictated through the pages: for each one a listener that follows what its phones send.

What happens (words so far, entries, answers) is told to everybody who watches the job. A job is opened with the first
frame that comes, stays open for a while after the last, and what a stopped server left in its journal is heard first.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from fieldnote.capture.journal import AnyStretch, Journal, is_left
from fieldnote.capture.phone_takes import settle
from fieldnote.capture.voice_activity import Detector
from fieldnote.errors import DeviceMissing, FieldnoteError, UserMistake
from fieldnote.extract import Changes
from fieldnote.flow import Rooms
from fieldnote.flow.answering import KEPT, NOT_UNDERSTOOD, WARNING, Tone
from fieldnote.flow.captions import Captions
from fieldnote.flow.command_hearing import CommandHearing
from fieldnote.flow.commands import ACTIONS, HEARD_ALONE
from fieldnote.flow.conversation import Conversation, Happened
from fieldnote.flow.dictation import Dictation
from fieldnote.flow.listening import Listening
from fieldnote.flow.phone_recording import PhoneRecorder, Take
from fieldnote.flow.shared_engine import CaptionEngine, SharedEngine
from fieldnote.records import Job, Utterance
from fieldnote.web.entry_views import entry_views
from fieldnote.web.naming import name_by_voice

_LOG = logging.getLogger(__name__)
Told = dict[str, Any]
Watcher = Callable[[Told], None]
_TONES = {KEPT: "kept", NOT_UNDERSTOOD: "not understood", WARNING: "warning"}
_STOP_S = 10
_TRY_AGAIN_S = 60.0
_MOST_OPEN = 40
"""Jobs that are listened to at one time: each has a thread, and the sound of an utterance in memory."""


class _PhoneVoice:
    """Answers go to the phones, which sound them and say in each frame whether they were speaking."""

    active = False

    def __init__(self, tell: Watcher) -> None:
        self._tell = tell

    def say(self, text: str) -> None:
        """Have the phones speak."""
        self._tell({"say": text})

    def tone(self, tone: Tone) -> None:
        """Have the phones sound a tone and shake."""
        self._tell({"tone": _TONES.get(tone, "kept")})

    def stop(self) -> None:
        """Be silent."""


class _WatchedJournal(Journal):
    """A journal that tells when all of a stretch has been listened to."""

    told: Callable[[str], None] = staticmethod(lambda id: None)

    def done(self, stretch: AnyStretch) -> None:
        """All sound of this stretch lies in clips."""
        super().done(stretch)
        self.told(stretch.info.id)


@dataclass
class LiveJob:
    """One job being dictated. Made by ``LiveJobs`` alone."""

    rooms: Rooms
    job: Job
    engine: SharedEngine
    detector: Callable[[], Detector] | None = None
    fault: str = ""
    watchers: list[Watcher] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Hold the journal, count what is in it, and make ready to listen.

        Raises:
            UserMistake: another program on this machine listens to the job.
            StoreFault: the data folder cannot be used.

        """
        self.journal = _WatchedJournal(self.rooms.home, self.job.id)
        try:
            settle(self.journal.folder)
            settings = self.rooms.settings
            self.dictation = Dictation(self.rooms, self.job)
            happened = Happened(
                said=self._said,
                answered=lambda text: self.tell({"answer": text}),
                caption=lambda text: self.tell({"caption": text}),
                mode=lambda mode: self.tell({"mode": mode}),
                clock=lambda seconds: self.tell({"clock": seconds}),
            )
            voice = _PhoneVoice(self.tell)
            self.conversation = Conversation(
                self.rooms, self.dictation, self._notice, voice=voice, happened=happened, advises=False
            )
            shows = settings.listen.captions
            asks = None if settings.listen.call_word else ACTIONS | HEARD_ALONE
            self.listening = Listening(
                self.dictation,
                self.conversation,
                self.engine,
                self.journal,
                settings,
                self._notice,
                voice=voice,
                commands=CommandHearing(self.engine, self.rooms.pack, asks) if asks else None,
                captions=Captions(CaptionEngine(self.engine), happened.caption) if shows else None,
                detector=self.detector,
                happened=happened,
            )
        except BaseException:
            self.journal.close()
            raise
        self.recorder = PhoneRecorder(self.journal, self._notice)
        self.journal.told = self._heard
        self.thread = threading.Thread(target=self._run, name=f"live {self.job.id}", daemon=True)
        self.closed: Callable[[LiveJob], bool] = lambda live: True

    def tell(self, told: Told) -> None:
        """Tell everybody who watches."""
        for watcher in list(self.watchers):
            watcher(told)

    def _heard(self, stretch_id: str) -> None:
        if self.recorder.heard(stretch_id):
            self.dictation.write(patient=False)
            self.tell({"heard": True})

    def _notice(self, text: str, warning: bool) -> None:
        self.tell({"notice": text, "warning": warning})

    @property
    def knows_all(self) -> bool:
        """Whether nothing was said or written in the job by another way since it was opened."""
        there = {said.id for said in self.rooms.store.utterances(self.job.id)}
        return there == {said.id for said in self.dictation.job.utterances}

    def _said(self, said: Utterance, changes: Changes) -> None:
        """Something was said: what was understood, line by line, and what it may hang on."""
        entries = (*changes.added, *changes.changed)
        shown = replace(self.dictation.job, entries=entries, utterances=(said,), edits=(), photos=())
        lines = [
            {
                "id": view.id,
                "fact": view.entry.kind == "fact",
                "side": view.entry.side or ("side?" if view.paired else ""),
                "where": view.where,
                "what": view.what,
                "unsure": list(view.doubts),
                "changed": view.entry in changes.changed,
            }
            for view in entry_views(shown, self.rooms.pack)
        ]
        leftovers = [left.text for left in changes.leftovers]
        self.tell({"said": said.text, "lines": lines, "left": leftovers, "command": changes.command})
        renamed = name_by_voice(self.rooms.store, self.job.id, entries)
        if renamed is not None:
            self.tell({"named": renamed})

    def _run(self) -> None:
        while True:
            try:
                self.listening.catch_up()
                self.listening.follow(self.recorder)
                self.dictation.finish()
            except FieldnoteError as error:
                self._failed(str(error))
            except Exception as error:  # noqa: BLE001 - the sound is safe in the journal; the pages tell what happened
                _LOG.exception("listening to job %s ended", self.job.id)
                self._failed(f"a fault of fieldnote's own ({type(error).__name__}: {error})")
            if self.closed(self):
                break
        self.recorder.close()
        self.journal.close()
        self.tell({"heard": True})

    def _failed(self, why: str) -> None:
        self.fault = why
        self._notice(f"not heard, but kept: {why}", True)
        self.recorder.close()


class LiveJobs:
    """The jobs that are being dictated, by id."""

    def __init__(self, engine: Callable[[Rooms], Any] = lambda rooms: rooms.engine) -> None:
        self._choose = engine
        self._engine: SharedEngine | None = None
        self.detector: Callable[[], Detector] | None = None
        self._open: dict[str, LiveJob] = {}
        self._turn = threading.Condition()
        self._closing = False
        self.faults: dict[str, str] = {}
        self._tried: dict[str, float] = {}

    def of(self, job_id: str) -> LiveJob | None:
        """The job, where it is being dictated."""
        with self._turn:
            return self._open.get(job_id)

    def open(self, rooms: Rooms, job: Job) -> LiveJob:
        """The job, opened where it is not.

        Raises:
            UserMistake: another program on this machine listens to the job.
            DeviceMissing: too many are open, or the server is stopping.
            StoreFault: the data folder cannot be used.

        """
        with self._turn:
            there = self._open.get(job.id)
            if there is not None and not there.recorder.busy and not there.knows_all:
                there.recorder.close()  # words came by another way: begin anew with them
                self._turn.wait_for(lambda: job.id not in self._open, timeout=_STOP_S)
                there = self._open.get(job.id)
            if there is not None:
                return there
            if self._closing or len(self._open) >= _MOST_OPEN:
                raise DeviceMissing(
                    "this server cannot listen to one more job now", where=job.name, do="Wait; the phone keeps it."
                )
            if self._engine is None:
                self._engine = SharedEngine(self._choose(rooms))
            live = LiveJob(rooms, job, self._engine, self.detector)
            live.closed = self._closed
            self._open[job.id] = live
            self.faults.pop(job.id, None)
            live.thread.start()
            return live

    def begin(self, rooms: Rooms, job: Job, take_id: str, age_s: float, watcher: Watcher) -> tuple[LiveJob, Take]:
        """A phone has a take to send, and watches; as one, so that the job does not close in between."""
        with self._turn:
            live = self.open(rooms, job)
            live.watchers.append(watcher)
            try:
                return live, live.recorder.begin(take_id, age_s)
            except BaseException:
                live.watchers.remove(watcher)
                raise

    def typed(self, job_id: str, text: str, person: str) -> bool:
        """Have words that were written understood among those being spoken; False where nobody speaks."""
        live = self.of(job_id)
        if live is None or not live.recorder.busy:
            return False
        for line in filter(None, map(str.strip, text.splitlines())):
            live.listening.ask(lambda at_s, line=line: live.conversation.typed(line, person))  # type: ignore[misc]
        return True

    def catch_up(self, rooms: Rooms, job: Job) -> None:
        """Have what a stopped server left in the journal of a job heard, in a thread of its own; after a fault again
        in a while."""
        too_soon = time.monotonic() - self._tried.get(job.id, -_TRY_AGAIN_S) < _TRY_AGAIN_S
        if too_soon or self.of(job.id) is not None or not is_left(rooms.home, job.id):
            return
        self._tried[job.id] = time.monotonic()

        def open_it() -> None:
            try:
                self.open(rooms, job)
            except UserMistake:
                pass  # another program on this machine listens to it right now: nothing is left over
            except FieldnoteError as error:
                self.faults[job.id] = str(error)

        threading.Thread(target=open_it, name=f"catching up {job.id}", daemon=True).start()

    def _closed(self, live: LiveJob) -> bool:
        """Whether the listener of a job may go: not where sound came in the very moment."""
        with self._turn:
            if live.recorder.waits and not live.fault and not self._closing:
                return False
            if self._open.get(live.job.id) is live:
                del self._open[live.job.id]
            if live.fault:
                self.faults[live.job.id] = live.fault
            # Sound is never confirmed by a recorder that nobody follows.
            live.recorder.close()
            self._turn.notify_all()
            return True

    def close(self) -> None:
        """Stop; what is not heard yet waits in the journals."""
        with self._turn:
            self._closing = True
            live = list(self._open.values())
        for one in live:
            one.recorder.close()
            one.listening.stop_retrying()
        for one in live:
            one.thread.join(_STOP_S)


__all__ = ["LiveJob", "LiveJobs"]
