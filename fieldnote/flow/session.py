"""One sitting of hands-free dictation: puts recorder, journal, listener and conversation of a job together."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace

from fieldnote.capture.journal import Journal, Mode
from fieldnote.capture.microphone import Source
from fieldnote.capture.voice_activity import Detector
from fieldnote.errors import FieldnoteError
from fieldnote.flow.answering import Silence, Voice
from fieldnote.flow.captions import Captions
from fieldnote.flow.command_hearing import CommandHearing
from fieldnote.flow.commands import ACTIONS, HEARD_ALONE
from fieldnote.flow.conversation import Conversation, Happened
from fieldnote.flow.dictation import Dictation
from fieldnote.flow.listening import Listening
from fieldnote.flow.recording import Notice, Recorder
from fieldnote.flow.rooms import Rooms
from fieldnote.recognize import Engine, LiveEngine
from fieldnote.records import Entry, Job


class Session:
    """Opens what listening needs; ``run`` in a thread, ``stop`` and the keys from another."""

    def __init__(
        self,
        rooms: Rooms,
        job: Job,
        source: Source,
        *,
        notice: Notice,
        happened: Happened | None = None,
        voice: Voice | None = None,
        engine: Engine | None = None,
        live: LiveEngine | None = None,
        detector: Callable[[], Detector] | None = None,
        advises: bool = True,
        try_again_s: float = 1.0,
    ) -> None:
        """Hold the job's journal and read the job.

        Raises:
            UserMistake: the job is being listened to already.
            StoreFault: the data folder cannot be used.

        """
        self.voice: Voice = voice or Silence()
        happened = happened or Happened()
        hears = engine if engine is not None else rooms.engine
        settings = rooms.settings
        self.journal = Journal(rooms.home, job.id)
        self.dictation = Dictation(rooms, job)
        self.conversation = Conversation(
            rooms, self.dictation, notice, voice=self.voice, happened=happened, advises=advises
        )
        shown = settings.listen.captions and source.live
        self.listening = Listening(
            self.dictation,
            self.conversation,
            hears,
            self.journal,
            settings,
            notice,
            voice=self.voice,
            # With a call word in front the sound is not that of the command alone.
            commands=None if settings.listen.call_word else CommandHearing(hears, rooms.pack, ACTIONS | HEARD_ALONE),
            captions=Captions(hears, happened.caption, live) if shown else None,
            detector=detector,
            happened=happened,
        )
        self.recorder = Recorder(
            source, self.journal, notice, speaks=lambda: self.voice.active, try_again_s=try_again_s
        )

    def left_s(self) -> float:
        """Seconds of sound that an earlier, stopped session left unprocessed."""
        return self.listening.left_s()

    def run(self, *, catch_up: bool = True) -> tuple[Entry, ...]:
        """Record and listen until the source ends or ``stop`` is called; gives the entries in force.

        Raises:
            MicrophoneMissing, NotFound, UserMistake: there is no such device.
            StoreFault: the data folder cannot be written; what was not processed waits in the journal.

        """
        recording = threading.Thread(target=self.recorder.run, name="recorder", daemon=True)
        recording.start()
        try:
            if catch_up:
                self.listening.catch_up()
            self.listening.follow(self.recorder)
            return self.dictation.finish()
        finally:
            self.recorder.stop()
            recording.join()
            self.voice.stop()
            self.journal.close()

    def stop(self) -> None:
        """End: what came is still processed and kept."""
        self.recorder.stop()
        self.listening.stop_retrying()

    def pause(self) -> None:
        """Stand by, or go on."""
        mode: Mode = "standing-by" if self.recorder.mode == "listening" else "listening"
        self.listening.ask_mode(mode)

    def type(self, text: str, person: str | None = None) -> None:
        """A key says ``text``."""
        self.listening.ask(lambda at_s: self.conversation.typed(text, person))

    def mark(self, person: str | None = None) -> None:
        """A key marks the moment; while the test clock runs, that water came in."""
        self.listening.ask(lambda at_s: self.conversation.marked(at_s, person))


def live_engine(rooms: Rooms) -> LiveEngine | None:
    """An engine that tells words while they are spoken, where its model is on this machine."""
    from fieldnote.recognize import open_engine
    from fieldnote.recognize.model_files import load_manifest, locate

    settings = rooms.settings.recognize
    for pin in load_manifest().values():
        if pin.engine == "vosk" and locate(pin.name, rooms.home):
            try:
                found = open_engine(replace(settings, engine="vosk", model=pin.name), rooms.pack, rooms.home)
            except FieldnoteError:
                return None
            return found if isinstance(found, LiveEngine) else None
    return None
