"""Listening: sound from the journal is cut, heard and understood as it comes, and spoken commands are obeyed.

The listener reads what the recorder has written, at its own pace, so that nothing that is slow here can lose sound.
What an earlier process left in the journal walks the same way.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TypeVar

from fieldnote.capture.journal import AnyStretch, Journal, Mode, RawSamples, Stretch, UnkeptStretch, seconds_left
from fieldnote.capture.live_cutting import LiveCutter, loudness
from fieldnote.capture.sound import Piece
from fieldnote.capture.voice_activity import Detector
from fieldnote.errors import StoreFault
from fieldnote.flow.answering import NOT_UNDERSTOOD, WARNING, Silence, Voice
from fieldnote.flow.captions import Captions
from fieldnote.flow.command_hearing import CommandHearing
from fieldnote.flow.commands import without_call_word
from fieldnote.flow.conversation import Conversation, Happened
from fieldnote.flow.dictation import Dictation
from fieldnote.flow.hearing import utterance_of
from fieldnote.flow.lone_corrections import LoneCorrections, first_word_s
from fieldnote.flow.recording import Notice, Recorder
from fieldnote.recognize import Engine, Heard
from fieldnote.records import Utterance
from fieldnote.settings import Settings

T = TypeVar("T")

_STEP_S = 0.25
_WAIT_S = 0.05
_CAUGHT_UP_S = 0.3
_MARGIN_S = 1.0
_RETRY_S = 1.0
_CLIPPED_SHARE = 0.01
_LOUD_DB = -30.0
_HUM_S = 15.0
_SILENT_S = 10.0
_DIGITAL_SILENCE_DB = -90.0

_WAY_BACK: dict[Mode, str] = {"standing-by": "listen", "off-the-record": "on-the-record"}


@dataclass(slots=True)
class _Walk:
    """How far one stretch was listened to; positions in samples from its start."""

    stretch: AnyStretch
    cutter: LiveCutter
    position: int
    clip_from: int
    ahead: Piece | None = None
    """The utterance that was heard before its pause was over, and what was heard."""
    ahead_heard: Heard | None = None
    paused_speech_s: float = 0.0


@dataclass(slots=True)
class _SoundWatch:
    """What is amiss with the sound, each told once."""

    told: set[str] = field(default_factory=set)
    loud_s: float = 0.0
    silent_s: float = 0.0


class Listening:
    """One job being dictated. ``catch_up``, then ``follow`` a recorder."""

    def __init__(
        self,
        dictation: Dictation,
        conversation: Conversation,
        engine: Engine,
        journal: Journal,
        settings: Settings,
        notice: Notice,
        *,
        voice: Voice | None = None,
        captions: Captions | None = None,
        commands: CommandHearing | None = None,
        detector: Callable[[], Detector] | None = None,
        happened: Happened | None = None,
    ) -> None:
        self._dictation = dictation
        self._conversation = conversation
        self._engine = engine
        self._journal = journal
        self._settings = settings
        self._notice = notice
        self._voice: Voice = voice or Silence()
        self._captions = captions
        self._commands = commands
        self._detector = detector
        self._happened: Happened = happened or Happened()
        # Looked up before anything is recorded: what is begun later is no leftover.
        self._left = journal.left()
        self._recorder: Recorder | None = None
        self._sound = _SoundWatch()
        self._corrections = LoneCorrections.of(dictation.pack)
        self._asked_mode: Mode | None = None
        self._acts: deque[Callable[[float], None]] = deque()
        self._stop_retrying = False
        self.behind_s = 0.0
        self.speaking = False

    # ---- the way in -------------------------------------------------------------------------------------------

    def left_s(self) -> float:
        """Seconds of sound that an earlier process left unprocessed."""
        return seconds_left(self._left, self._dictation.done_up_to)

    def catch_up(self) -> None:
        """Process what an earlier process left, in order."""
        left, self._left = self._left, ()
        for stretch in left:
            self._listen_to(stretch, self._dictation.done_up_to(stretch))
        self._dictation.write(patient=False)

    def follow(self, recorder: Recorder) -> None:
        """Process what ``recorder`` takes, until it has ended and everything is processed.

        Raises:
            StoreFault: the data folder cannot be written; what was not processed waits in the journal.

        """
        self._recorder = recorder
        while True:
            ended = recorder.ended
            stretch = recorder.take_new()
            if stretch is not None:
                self._listen_to(stretch, 0)
            elif ended:
                break
            else:
                recorder.wait(_WAIT_S)
        self._dictation.write(patient=False)
        if recorder.error is not None:
            raise recorder.error

    def ask_mode(self, mode: Mode) -> None:
        """From now on listen in another way (a key was pressed)."""
        self._asked_mode = mode

    def ask(self, act: Callable[[float], None]) -> None:
        """Do something in the listener's thread (a key was pressed); it is told the time on the sound's clock."""
        self._acts.append(act)

    def stop_retrying(self) -> None:
        """The disk is not waited for any longer."""
        self._stop_retrying = True

    # ---- along a stretch --------------------------------------------------------------------------------------

    def _listen_to(self, stretch: AnyStretch, start: int) -> None:
        walk: _Walk | None = self._walk(stretch, start)
        while walk is not None:
            walk = self._step(walk)

    def _walk(self, stretch: AnyStretch, start: int) -> _Walk:
        detector = self._detector() if self._detector else None
        cutter = LiveCutter(self._settings.capture, stretch.info.rate_hz, start=start, detector=detector)
        return _Walk(stretch, cutter, start, start)

    def _step(self, walk: _Walk) -> _Walk | None:
        """Move on by a block or wait for one; gives where to go on, None at the end of the stretch."""
        stretch, rate_hz = walk.stretch, walk.stretch.info.rate_hz
        have = stretch.samples
        if walk.position < have:
            end = min(have, walk.position + round(_STEP_S * rate_hz))
            block = self._without_own_voice(stretch, walk.position, end)
            walk.position = end
            self.behind_s = (stretch.samples - end) / rate_hz
            if self._recorder is not None:
                self._recorder.has_read(end)
            self._watch_sound(block, rate_hz)
            pieces, over = walk.cutter.push(block), False
        elif stretch.ended and stretch.samples == walk.position:
            pieces, over = walk.cutter.finish(), True
        else:
            return self._idle(walk)
        for piece in pieces:
            onward = self._utterance(walk, piece)
            if onward is not None:
                return onward
        if over:
            self._close(walk)
            return None
        self._between(walk)
        return self._asked(walk) or walk

    def _idle(self, walk: _Walk) -> _Walk:
        self._conversation.tick(self._now_s(walk))
        if not walk.cutter.speaking:
            self._retried(lambda: self._dictation.write(patient=True))
            self._conversation.rest()
        if self._recorder is not None:
            self._recorder.wait(_WAIT_S)
        return self._asked(walk) or walk

    def _between(self, walk: _Walk) -> None:
        """No utterance has ended: captions, the coming one ahead of its end, long pauses, what is too old."""
        self.speaking = walk.cutter.speaking
        if isinstance(walk.stretch, UnkeptStretch):
            walk.stretch.forget(walk.position)
        self._conversation.tick(self._now_s(walk))
        if self.speaking:
            if self._voice.active and self._settings.listen.headset:
                self._voice.stop()
            self._hear_ahead(walk)
        else:
            self._keep_pause(walk)

    def _hear_ahead(self, walk: _Walk) -> None:
        """Use a pause to hear what was said: should the pause last, the utterance has been heard when it ends."""
        if self.behind_s > _CAUGHT_UP_S or walk.stretch.info.mode != "listening":
            return
        expected = walk.cutter.expected()
        if expected is None:
            if self._captions is not None:
                self._captions.show(walk.cutter.pending())
            return
        if walk.ahead is None or _span(walk.ahead) != _span(expected):
            walk.ahead, walk.ahead_heard = expected, self._hear(expected)
            self._happened.caption(walk.ahead_heard.text)

    def _utterance(self, walk: _Walk, piece: Piece) -> _Walk | None:
        """An utterance has ended; gives the walk along the stretch that begins, where it was a word to switch."""
        self.speaking = False
        if self._captions is not None:
            self._captions.utterance_ended()
        if walk.ahead is not None and walk.ahead_heard is not None and _span(walk.ahead) == _span(piece):
            heard = walk.ahead_heard
        else:
            heard = self._hear(piece)
        walk.ahead = walk.ahead_heard = None
        said = utterance_of(heard, piece, self._engine.name, "")
        end = min(round(piece.to_s * walk.stretch.info.rate_hz), walk.stretch.samples)
        if walk.stretch.info.mode != "listening":
            return self._while_away(walk, said, end)
        return self._dictated(walk, said, end)

    def _hear(self, piece: Piece) -> Heard:
        """The words of an utterance; where they say nothing, whether a command was meant."""
        heard = self._engine.hear(piece.samples)
        if self._commands is not None and heard.text and self._dictation.says_nothing(heard.text):
            return self._commands.again(heard, piece.samples, self._conversation.expected)
        return heard

    def _dictated(self, walk: _Walk, said: Utterance, end: int) -> _Walk | None:
        addressed = without_call_word(said, self._settings.listen.call_word)
        at_s = self._time_of(walk, said)
        addressed = replace(addressed, utterance=self._corrections.joined(addressed.utterance, at_s))
        kept = self._retried(
            lambda: self._dictation.keep(
                walk.stretch, walk.clip_from, end, addressed.utterance if addressed.utterance.text else None
            )
        )
        walk.clip_from = end
        self._happened.caption("")
        if kept is None:
            if said.text and not addressed.called:
                self._voice.tone(NOT_UNDERSTOOD)
            return None
        mode = self._conversation.dictated(kept, at_s, called=addressed.called)
        return None if mode is None else self._switched(walk, end, mode)

    def _while_away(self, walk: _Walk, said: Utterance, end: int) -> _Walk | None:
        """Standing by or off the record: only the way back counts."""
        mode = walk.stretch.info.mode
        addressed = without_call_word(said, self._settings.listen.call_word).utterance
        if addressed.text and self._dictation.peek(addressed.text).command == _WAY_BACK[mode]:
            self._happened.mode("listening")
            return self._switched(walk, end, "listening")
        if said.text:
            walk.paused_speech_s += (said.to_s or 0.0) - (said.from_s or 0.0)
        if walk.paused_speech_s > self._settings.listen.warn_speech_s:
            walk.paused_speech_s = 0.0
            self._voice.tone(WARNING)
            word = self._conversation.wording(_WAY_BACK[mode])
            kept = "is kept as sound and makes" if mode == "standing-by" else "is not kept and makes"
            self._notice(f'you are speaking, and it {kept} no entries: say "{word}" to go on', True)
        return None

    # ---- from one way of listening to another -----------------------------------------------------------------

    def _asked(self, walk: _Walk) -> _Walk | None:
        """A key asked for another mode: it begins with the next sound, once what is being said has ended."""
        while self._acts:
            self._acts.popleft()(self._now_s(walk))
        mode = self._asked_mode
        if mode is None or walk.cutter.speaking:
            return None
        self._asked_mode = None
        if mode == walk.stretch.info.mode:
            return None
        self._happened.mode(mode)
        return self._switched(walk, walk.position, mode)

    def _switched(self, walk: _Walk, at: int, mode: Mode) -> _Walk:
        self._keep_up_to(walk, at)
        old = walk.stretch

        def switch() -> AnyStretch:
            if self._recorder is not None:
                return self._recorder.switch(old, at, mode)
            return self._journal.split(old, at, mode, lambda _: old.info.started_at)

        new = self._retried(switch)
        self._journal.done(old)
        return self._walk(new, 0)

    def _close(self, walk: _Walk) -> None:
        """The stretch is over: what no clip holds yet becomes the last one."""
        self._keep_up_to(walk, walk.stretch.samples)
        self._journal.done(walk.stretch)

    def _keep_pause(self, walk: _Walk) -> None:
        rate_hz = walk.stretch.info.rate_hz
        if walk.position - walk.clip_from > self._settings.listen.clip_silence_s * rate_hz:
            self._keep_up_to(walk, walk.position - round(_MARGIN_S * rate_hz))

    def _keep_up_to(self, walk: _Walk, end: int) -> None:
        """Keep sound without words as a clip; off the record there is nothing to keep."""
        if not isinstance(walk.stretch, Stretch) or end <= walk.clip_from:
            return
        start = walk.clip_from
        self._retried(lambda: self._dictation.keep(walk.stretch, start, end))
        walk.clip_from = end

    # ---- small things -----------------------------------------------------------------------------------------

    def _retried(self, act: Callable[[], T]) -> T:
        """Do what needs the disk; where it is full, wait for it. The journal holds the sound meanwhile."""
        told = False
        while True:
            try:
                done = act()
            except StoreFault as fault:
                if self._stop_retrying or self._recorder is None or self._recorder.ended:
                    raise
                if not told:
                    self._notice(f"{fault} Trying again until it can be kept", True)
                told = True
                time.sleep(_RETRY_S)
                continue
            if told:
                self._notice("it could be kept now; nothing was lost", False)
            return done

    def _without_own_voice(self, stretch: AnyStretch, start: int, end: int) -> RawSamples:
        """Sound as it is listened to: silent where the machine itself was speaking (with a headset it is not heard)."""
        block = stretch.read(start, end)
        if self._settings.listen.headset:
            return block
        for own_start, own_end in stretch.own_voice:
            if own_start < end and own_end > start:
                block[max(0, own_start - start) : own_end - start] = 0
        return block

    def _watch_sound(self, block: RawSamples, rate_hz: int) -> None:
        """Tell once of sound that nothing can be made of."""
        if not len(block):
            return
        loud, long_s, watch = loudness(block), len(block) / rate_hz, self._sound
        quiet = loud.level_db < _DIGITAL_SILENCE_DB and not self._voice.active
        watch.silent_s = watch.silent_s + long_s if quiet else 0.0
        watch.loud_s = watch.loud_s + long_s if loud.level_db > _LOUD_DB and not self.speaking else 0.0
        if loud.clipped > _CLIPPED_SHARE:
            self._tell_once("clipped", "the sound is clipped: turn the microphone down or hold it further away")
        if watch.silent_s > _SILENT_S:
            self._tell_once("silent", "the microphone gives nothing at all: is it muted?")
        if watch.loud_s > _HUM_S:
            self._tell_once("loud", f"steady noise at {loud.level_db:.0f} dB: words may get lost in it")

    def _tell_once(self, what: str, text: str) -> None:
        if what not in self._sound.told:
            self._sound.told.add(what)
            self._notice(text, True)

    def _now_s(self, walk: _Walk) -> float:
        return walk.stretch.info.from_s + walk.position / walk.stretch.info.rate_hz

    @staticmethod
    def _time_of(walk: _Walk, said: Utterance) -> float:
        """When the first word began, on the clock of the sound."""
        return walk.stretch.info.from_s + first_word_s(said)


def _span(piece: Piece) -> tuple[int, int]:
    return round(piece.from_s * 1000), round(piece.to_s * 1000)
