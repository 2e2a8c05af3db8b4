"""Hands-free dictation from sound to kept entries, by sound that says which sentence it is."""

from __future__ import annotations

import dataclasses
import errno
import os
import shutil
import subprocess
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from fieldnote.capture import read_sound
from fieldnote.capture.journal import Journal
from fieldnote.capture.microphone import Block, MicrophoneGone
from fieldnote.capture.voice_activity import SpeechDetector
from fieldnote.errors import MicrophoneMissing, StoreFault
from fieldnote.flow import Rooms, open_job, re_extract
from fieldnote.flow.answering import KEPT, NOT_UNDERSTOOD, WARNING
from fieldnote.flow.conversation import Happened
from fieldnote.flow.leftovers import finish_sitting
from fieldnote.flow.session import Session
from fieldnote.records import Entry, Intake, Job
from fieldnote.settings import load_settings
from fieldnote.testing import FakeMicrophone
from tests.flow.spoken_tones import RATE_HZ, ToneDetector, ToneReader, saying


class FakeVoice:
    """A voice that notes what it is asked to say; ``active`` as the test says."""

    def __init__(self) -> None:
        self.active = False
        self.said: list[str] = []
        self.tones: list[Any] = []
        self.stopped = 0

    def say(self, text: str) -> None:
        self.said.append(text)

    def tone(self, tone: Any) -> None:
        self.tones.append(tone)

    def stop(self) -> None:
        self.stopped += 1


@dataclass
class Sat:
    """What a session of the test gave."""

    job: Job
    answers: list[str]
    notices: list[str]
    modes: list[str]
    voice: FakeVoice
    home: Path
    entries: tuple[Entry, ...] = ()
    clocked: list[float | None] = field(default_factory=list)

    @property
    def said(self) -> list[str]:
        return [said.text for said in self.job.utterances]

    def sound(self) -> np.ndarray:
        """All sound that was kept, in order."""
        found = [soundfile.read(self.home / clip.path, dtype="int16")[0] for clip in self.job.clips]
        return np.concatenate([np.zeros(0, np.int16), *found])


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> Rooms:
    """The vocabulary, the map and the cautions, read once."""
    rooms = Rooms(tmp_path_factory.mktemp("loaded"), settings=load_settings(Path("none")))
    _ = rooms.extractor, rooms.leak_map, rooms.cautions
    return rooms


@pytest.fixture
def sit(loaded: Rooms, tmp_path: Path) -> Iterator[Callable[..., Sat]]:
    """Listens to sentences, one utterance each, and gives what came of it."""
    stores = []

    def one(
        sentences: Sequence[str],
        *parts: Any,
        listen: dict[str, Any] | None = None,
        source: Any = None,
        with_session: Callable[[Session], None] = lambda session: None,
        advises: bool = False,
        detector: Any = ToneDetector,
        engine: Any = None,
    ) -> Sat:
        settings = dataclasses.replace(
            loaded.settings, listen=dataclasses.replace(loaded.settings.listen, **(listen or {}))
        )
        rooms = Rooms(tmp_path, settings=settings)
        rooms.__dict__.update({name: loaded.__dict__[name] for name in ("pack", "extractor", "leak_map", "cautions")})
        stores.append(rooms.store)
        one.rooms = [rooms]  # type: ignore[attr-defined]
        if rooms.store.find_named("job") is None:
            open_job(rooms.store, "job", Intake(steering="left"))
        sat = Sat(rooms.store.job("job"), [], [], [], FakeVoice(), tmp_path)
        session = Session(
            rooms,
            sat.job,
            source or FakeMicrophone(*(parts or (saying(*range(len(sentences))),))),
            notice=lambda text, warning: sat.notices.append(text),
            happened=Happened(answered=sat.answers.append, mode=sat.modes.append, clock=sat.clocked.append),
            voice=sat.voice,
            engine=engine or ToneReader(sentences),
            detector=detector,
            advises=advises,
            try_again_s=0.01,
        )
        with_session(session)
        sat.entries = session.run()
        sat.job = rooms.store.job("job")
        # What was made step by step is what is made of the whole job.
        assert re_extract(rooms.store, "job", rooms.extractor) == sat.entries
        return sat

    yield one
    for store in stores:
        store.close()


FAULT = "Right roof rack screw number three is loose."
WET = "Water on the left carpet."


def test_what_is_said_becomes_entries_and_all_sound_is_kept(sit: Callable[..., Sat]) -> None:
    """Two sentences, two entries; the clips together are the sound, sample for sample."""
    sat = sit([FAULT, WET])
    assert [(e.kind, e.part, e.side, e.item) for e in sat.entries] == [
        ("check", "screw", "right", 3),
        ("evidence", "carpet", "left", None),
    ]
    assert np.array_equal(sat.sound(), saying(0, 1))
    assert sat.voice.tones == [KEPT, KEPT]
    assert not list((sat.home / "journal").rglob("*.raw"))


def test_an_entry_names_the_seconds_of_its_clip(sit: Callable[..., Sat]) -> None:
    """The words of the second sentence lie where its tone lies in its own clip."""
    sat = sit([FAULT, WET])
    said = sat.job.utterances[1]
    clip = next(c for c in sat.job.clips if c.id == said.clip_id)
    samples = soundfile.read(sat.home / clip.path, dtype="int16")[0]
    tone = np.nonzero(samples)[0]
    assert said.from_s is not None and said.to_s is not None
    assert said.from_s <= tone[0] / RATE_HZ and said.to_s >= tone[-1] / RATE_HZ
    assert said.to_s <= clip.duration_s + 0.001


@pytest.mark.parametrize(
    ("command", "entries"),
    [
        pytest.param("Correction, screw number four.", [4], id="correction"),
        pytest.param("Disregard.", [], id="disregard"),
        pytest.param("Scratch that.", [], id="everyday wording of disregard"),
        pytest.param("Read back.", [3], id="read back"),
        pytest.param("What next?", [3], id="what next"),
        pytest.param("Say again.", [3], id="say again"),
        pytest.param("Break.", [3], id="break"),
        pytest.param("Mark.", [3], id="mark"),
    ],
)
def test_a_command_is_obeyed_and_is_no_entry(sit: Callable[..., Sat], command: str, entries: list[int]) -> None:
    """After one finding: the finding as the command leaves it, and nothing else."""
    assert [e.item for e in sit([FAULT, command]).entries] == entries


@pytest.mark.parametrize("pause_s", [pytest.param(0.0, id="at once"), pytest.param(8.0, id="too late")])
def test_a_correction_said_by_itself_goes_with_what_follows(sit: Callable[..., Sat], pause_s: float) -> None:
    """ "Correction", a pause, "screw number four" corrects; long afterwards it is a sentence of its own."""
    sentences = [FAULT, "Correction.", "Screw number four."]
    sat = sit(sentences, saying(0, 1), silence(pause_s), saying(2))
    assert [e.item for e in sat.entries] == ([4] if not pause_s else [3])


def test_read_back_speaks_the_last_entries_in_plain_words(sit: Callable[..., Sat]) -> None:
    """The issue's own example of plain words; say again repeats it."""
    sat = sit([FAULT, "Read back.", "Say again."])
    assert sat.answers == ["right roof rack, screw three loose."] * 2
    assert sat.voice.said[-2:] == sat.answers


def test_unasked_it_says_only_side_no_number_and_source(sit: Callable[..., Sat]) -> None:
    """What must not be misheard is confirmed at once, and no more than that."""
    sat = sit([FAULT, "No water on the left carpet.", "Left cowl."])
    assert sat.voice.said == ["right, three", "left, no"]


def test_what_next_gives_reason_and_caution(sit: Callable[..., Sat]) -> None:
    """The first step of the plan, why, and what to be careful with."""
    answer = sit([WET, "What next?"]).answers[0]
    assert "Caution: " in answer and len(answer.split(". ")) >= 2


def test_break_drops_side_and_place(sit: Callable[..., Sat]) -> None:
    """After it "screw loose" has no place of what was spoken of before."""
    last = sit([FAULT, "Break.", "The grommet is torn."]).entries[-1]
    assert (last.place, last.side) == (None, None)


def test_standing_by_makes_no_entries_and_keeps_the_sound(sit: Callable[..., Sat]) -> None:
    """Between "stand by" and "listen" nothing is written; the sound of all of it is there once."""
    sat = sit([FAULT, "Stand by.", WET, "Okay, I'm back.", "Left tail lamp gasket is torn."])
    assert [e.part for e in sat.entries] == ["screw", "gasket"]
    assert sat.said == [FAULT, "Stand by.", "Left tail lamp gasket is torn."]
    assert sat.modes == ["standing-by", "listening"]
    assert np.array_equal(sat.sound(), saying(0, 1, 2, 3, 4))


def test_while_standing_by_no_other_command_is_obeyed(sit: Callable[..., Sat]) -> None:
    """ "Disregard" said to a colleague takes nothing back."""
    sat = sit([FAULT, "Stand by.", "Disregard.", "Read back.", "Listen."])
    assert [e.part for e in sat.entries] == ["screw"]
    assert sat.answers == []


def test_long_speech_while_standing_by_sounds_a_warning(sit: Callable[..., Sat]) -> None:
    """More than the setting of speech: a tone and one line that names the way back."""
    sat = sit(["Stand by.", FAULT, WET, FAULT], listen={"warn_speech_s": 2.0})
    assert sat.voice.tones == [WARNING]
    assert len(sat.notices) == 1 and '"listen"' in sat.notices[0]


def test_off_the_record_keeps_neither_words_nor_sound(sit: Callable[..., Sat]) -> None:
    """Only what was said before and after is in the job, and no other sound is anywhere in the data folder."""
    sat = sit([FAULT, "Off the record.", "The customer is a neighbor.", "On the record.", WET])
    assert sat.said == [FAULT, "Off the record.", WET]
    assert [e.part for e in sat.entries] == ["screw", "carpet"]
    sound, whole = sat.sound(), saying(0, 1, 2, 3, 4)
    tone = round(0.65 * RATE_HZ)
    second = saying(0, 1)
    # Kept: up to 0.2 s after "off the record", and from 0.2 s after "on the record" on.
    assert np.array_equal(sound[: len(second) - tone], second[:-tone])
    strength = np.abs(np.fft.rfft(sound / 32767.0, 1 << 20))
    at = [round((300 + n * 60) * (1 << 20) / RATE_HZ) for n in range(5)]
    heard = [strength[a - 200 : a + 200].max() > 500 for a in at]
    assert heard == [True, True, False, False, True]
    assert len(sound) < len(whole) - 2 * tone
    assert not list((sat.home / "journal").rglob("*.raw"))


def test_a_command_word_inside_a_sentence_is_no_command(sit: Callable[..., Sat]) -> None:
    """ "Water on the left carpet" is evidence and starts no clock; "stand by" for a part is a sentence."""
    sat = sit(["Left tail lamp.", WET, "Water off."])
    assert [(e.kind, e.part, e.state) for e in sat.entries] == [("evidence", "carpet", "water")]
    assert sat.answers == ["The test clock is not running."]


CALLED = {"call_word": "fieldnote"}


def test_with_a_call_word_only_what_begins_with_it_is_meant_for_the_machine(sit: Callable[..., Sat]) -> None:
    """Without it "read back" is not answered; with it, however it is split, it is, and it is not part of the words."""
    sat = sit(
        [FAULT, "Read back.", "Field note, read back.", "Fieldnote, left tail lamp gasket is torn."], listen=CALLED
    )
    assert len(sat.answers) == 1
    assert sat.said[-1] == "left tail lamp gasket is torn."
    assert [e.part for e in sat.entries] == ["screw", "gasket"]


def test_corrections_need_no_call_word(sit: Callable[..., Sat]) -> None:
    """They belong to the dictation and not to the machine."""
    assert [e.item for e in sit([FAULT, "Correction, screw number four."], listen=CALLED).entries] == [4]


# ---- the test clock -------------------------------------------------------------------------------------------


def silence(seconds: float) -> np.ndarray:
    return np.zeros(round(seconds * RATE_HZ), np.int16)


def test_the_clock_measures_a_test_of_the_place_last_named(sit: Callable[..., Sat]) -> None:
    """On, in, off: times by the samples between the words; minutes are called out; the origin is the clock."""
    sentences = ["Left cowl.", "Water on.", "It's in.", "Water off."]
    sat = sit(sentences, saying(0, 1), silence(60), saying(2), silence(60), saying(3))
    (entry,) = sat.entries
    assert (entry.kind, entry.place, entry.side, entry.state) == ("test", "cowl", "left", "leak")
    # From the start of one tone to that of the next: its own 0.75 s, its gap, the silence, the gap before the next.
    step_s = 0.75 + 0.65 + 60 + 0.65
    assert entry.clocked_leak_s == pytest.approx(step_s, abs=0.2)
    assert entry.clocked_s == pytest.approx(2 * step_s, abs=0.2)
    assert next(o.kind for o in entry.origins) == "clock"
    assert [a for a in sat.answers if "minute" in a] == ["1 minute", "2 minutes"]
    assert entry.quantities == ()


def test_clocked_and_spoken_times_are_kept_apart_and_a_difference_is_told(sit: Callable[..., Sat]) -> None:
    """Five minutes were said, one was clocked: both are in the entry, and the answer names both."""
    sentences = ["Hose on the left tail lamp for five minutes.", "Water on.", "Water off."]
    sat = sit(sentences, saying(0, 1), silence(60), saying(2))
    (entry,) = sat.entries
    assert [(q.what, q.value, q.unit) for q in entry.quantities] == [("duration", 5, "min")]
    assert entry.clocked_s == pytest.approx(62.05, abs=0.2)
    assert sat.answers[-1] == "Water off after 1:02; duration: said 5:00, clock 1:02."


def test_a_test_named_while_the_water_runs_gets_the_clock(sit: Callable[..., Sat]) -> None:
    """ "Water on" first, the place afterwards."""
    sat = sit(["Water on.", "Hose on the left tail lamp.", "Water off."])
    (entry,) = sat.entries
    assert (entry.place, entry.method) == ("tail-lamp", "hose")
    assert entry.clocked_s == pytest.approx(2.8, abs=0.2)


def test_water_on_shows_the_cautions_of_the_place(sit: Callable[..., Sat]) -> None:
    """Water near electrics: what the pack says of a test there is shown."""
    sat = sit(["Left tail lamp.", "Water on.", "Water off."])
    assert any(text.startswith("caution: ") for text in sat.notices)


# ---- its own voice --------------------------------------------------------------------------------------------


def test_it_does_not_take_its_own_voice_for_the_technicians(sit: Callable[..., Sat]) -> None:
    """While it speaks nothing is heard, the sound is kept, and afterwards it listens as before."""
    voices: list[FakeVoice] = []

    def speaking(on: bool) -> Callable[[], None]:
        return lambda: setattr(voices[0], "active", on)

    sat = sit(
        [FAULT, "Left tail lamp gasket is torn.", WET],
        saying(0),
        speaking(True),
        saying(1),
        speaking(False),
        # The room's echo counts as its own voice for 0.3 s of the clock on the wall.
        lambda: threading.Event().wait(0.35),
        saying(2),
        with_session=lambda session: voices.append(session.voice),  # type: ignore[arg-type]
    )
    assert sat.said == [FAULT, WET]
    assert np.array_equal(sat.sound(), np.concatenate([saying(0), saying(1), saying(2)]))


def test_with_a_headset_the_technicians_voice_stops_it(sit: Callable[..., Sat]) -> None:
    """It is silent as soon as somebody speaks, and what was said is heard."""

    def speak(session: Session) -> None:
        session.voice.active = True  # type: ignore[misc]

    sat = sit([FAULT], listen={"headset": True}, with_session=speak)
    assert sat.said == [FAULT]
    # Once when the technician spoke, once at the end of the session.
    assert sat.voice.stopped >= 2


# ---- what goes wrong ------------------------------------------------------------------------------------------


def test_unplugged_in_mid_sentence(sit: Callable[..., Sat]) -> None:
    """What was heard of the sentence is kept; it waits for the device and goes on when it is back."""
    half = saying(0)[: round((0.65 + 0.6) * RATE_HZ)]
    source = FakeMicrophone(half, MicrophoneGone("the microphone gives no more sound", where="mic"), saying(1))
    source.refuse = 3
    sat = sit([FAULT, WET], source=source)
    assert sat.said == [FAULT, WET]
    assert source.opened == 5
    assert np.array_equal(sat.sound(), np.concatenate([half, saying(1)]))
    assert ["waiting for the device" in sat.notices[0], "is back" in sat.notices[1]] == [True, True]


def test_a_device_that_comes_back_at_another_rate(sit: Callable[..., Sat]) -> None:
    """Each clip keeps the rate it came with, and both sentences are heard."""
    import soxr

    source = FakeMicrophone()
    twice = soxr.resample(saying(1), RATE_HZ, 48000).astype(np.int16)
    source.parts += [
        saying(0),
        MicrophoneGone("gone", where="mic"),
        lambda: setattr(source, "rate_hz", 48000),
        twice,
    ]
    sat = sit([FAULT, WET], source=source)
    assert sat.said == [FAULT, WET]
    assert {clip.rate_hz for clip in sat.job.clips} == {16000, 48000}


def test_no_device_at_the_start_is_an_error(sit: Callable[..., Sat]) -> None:
    """Nothing is waited for that never was there."""

    class Absent(FakeMicrophone):
        def open(self) -> None:
            raise MicrophoneMissing("the microphone cannot be opened", where="mic")

    with pytest.raises(MicrophoneMissing):
        sit([], source=Absent())


def test_lost_blocks_are_told_in_one_line(sit: Callable[..., Sat]) -> None:
    """The device says that sound was lost: it is counted and the rest is heard."""

    class Losing(FakeMicrophone):
        def blocks(self) -> Iterator[Block]:
            for n, block in enumerate(super().blocks()):
                yield Block(block.samples, 0.4 if n == 3 else 0.0)

    kept: list[Session] = []
    sat = sit([FAULT], source=Losing(saying(0)), with_session=kept.append)
    assert kept[0].recorder.lost_s == 0.4
    assert [n for n in sat.notices if "0.4 s of sound got lost" in n]
    assert sat.said == [FAULT]


def test_a_store_that_cannot_be_written_for_a_while(sit: Callable[..., Sat], monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk is full twice: told once, tried again, and nothing is lost or there twice."""
    monkeypatch.setattr("fieldnote.flow.listening._RETRY_S", 0.01)
    refusals = [StoreFault("the disk is full", where="store", do="Free some space.")] * 2

    def hinder(session: Session) -> None:
        keep = session.dictation.keep

        def refusing(*args: Any) -> Any:
            if refusals:
                raise refusals.pop()
            return keep(*args)

        monkeypatch.setattr(session.dictation, "keep", refusing)
        # The source must last longer than the trouble: with nothing more to come it ends with the error.
        session.recorder.source.parts.append(lambda: threading.Event().wait(0.3))  # type: ignore[attr-defined]

    sat = sit([FAULT], with_session=hinder)
    assert sat.said == [FAULT]
    assert np.array_equal(sat.sound(), saying(0))
    assert ["disk is full" in sat.notices[0], "could be kept now" in sat.notices[1]] == [True, True]


def test_a_disk_that_takes_no_sound_for_a_while(sit: Callable[..., Sat], monkeypatch: pytest.MonkeyPatch) -> None:
    """The journal is refused in mid-sentence and works again later: told, nothing lost, nothing there twice."""
    from fieldnote.capture import journal

    writes, write = [0], journal._write_all

    def refusing(file: Any, data: bytes) -> None:
        writes[0] += 1
        if 10 < writes[0] < 15:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        write(file, data)

    monkeypatch.setattr(journal, "_write_all", refusing)
    sat = sit([FAULT, WET])
    assert sat.said == [FAULT, WET]
    assert np.array_equal(sat.sound(), saying(0, 1))
    assert ["takes no sound" in sat.notices[0], "nothing was lost" in sat.notices[1]] == [True, True]


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="espeak-ng (Debian package) is not installed")
def test_speech_in_another_language_makes_no_entries_and_is_told(
    sit: Callable[..., Sat], loaded: Rooms, tmp_path: Path
) -> None:
    """Three sentences that nobody trained for, through the shipped recogniser: no entry, one line."""
    spoken = []
    for voice, text in (
        ("de", "Der Kunde sagt, dass der Teppich vorne links nass ist, wenn es die ganze Nacht regnet."),
        ("es", "El cliente dice que la alfombra delantera izquierda está mojada cuando llueve toda la noche."),
        ("pl", "Klient mówi, że dywan z przodu po lewej jest mokry, kiedy pada całą noc."),
    ):
        path = tmp_path / f"{voice}.wav"
        subprocess.run(["espeak-ng", "-v", voice, "-w", str(path), text], check=True)
        spoken += [(read_sound(path).samples * 32767).astype(np.int16), silence(1.2)]
    sat = sit([], np.concatenate(spoken), detector=SpeechDetector, engine=loaded.engine)
    assert sat.entries == ()
    assert len(sat.said) >= 3
    assert ["not understood" in text for text in sat.notices] == [True]


def test_what_an_earlier_session_left_is_told_and_processed_first(
    sit: Callable[..., Sat], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first session ends with a full disk; the next gives its words before its own, once."""

    def refuse(session: Session) -> None:
        def refusing(*args: Any) -> Any:
            raise StoreFault("the disk is full", where="store", do="Free some space.")

        session.dictation.keep = refusing  # type: ignore[method-assign]
        session.stop_retrying = session.listening.stop_retrying()  # type: ignore[attr-defined]

    with pytest.raises(StoreFault):
        sit([FAULT], with_session=refuse)
    left: list[float] = []
    sat = sit([FAULT, WET], saying(1), with_session=lambda session: left.append(session.left_s()))
    assert left == [pytest.approx(len(saying(0)) / RATE_HZ)]
    assert sat.said == [FAULT, WET]
    assert np.array_equal(sat.sound(), np.concatenate([saying(0), saying(1)]))


def test_what_a_sitting_left_can_be_finished_without_listening_on(
    sit: Callable[..., Sat], loaded: Rooms, monkeypatch: pytest.MonkeyPatch
) -> None:
    """``take`` finishes it: heard and kept once; a second call finds nothing, nor does one while it is listened to."""

    def refuse(session: Session) -> None:
        def refusing(*args: Any) -> Any:
            raise StoreFault("the disk is full", where="store", do="Free some space.")

        session.dictation.keep = refusing  # type: ignore[method-assign]
        session.listening.stop_retrying()

    def finish() -> float:
        return finish_sitting(
            rooms, job, lambda text, warning: told.append(text), engine=ToneReader([FAULT]), detector=ToneDetector
        )

    with pytest.raises(StoreFault):
        sit([FAULT], with_session=refuse)
    told: list[str] = []
    rooms = sit.rooms[-1]  # type: ignore[attr-defined]
    job = rooms.store.job("job")
    held = Journal(rooms.home, job.id)
    assert finish() == 0.0
    held.close()
    assert finish() == pytest.approx(len(saying(0)) / RATE_HZ)
    assert finish() == 0.0
    kept = rooms.store.job("job")
    assert [said.text for said in kept.utterances] == [FAULT]
    assert [(e.part, e.item) for e in kept.entries] == [("screw", 3)]
    assert len(told) == 1 and "earlier sitting" in told[0]


@pytest.mark.parametrize(
    ("samples", "told"),
    [
        pytest.param(silence(20), "is it muted", id="nothing at all"),
        pytest.param(np.sign(saying(0).astype(np.int32)).astype(np.int16) * 32767, "clipped", id="clipping"),
        pytest.param(
            (3000 * np.sin(2 * np.pi * 50 * np.arange(20 * RATE_HZ) / RATE_HZ)).astype(np.int16),
            "steady noise",
            id="hum of 50 Hz",
        ),
    ],
)
def test_sound_that_nothing_can_be_made_of(sit: Callable[..., Sat], samples: np.ndarray, told: str) -> None:
    """The person is told in one line, once; nothing is invented; the sound is kept."""
    deaf = told == "steady noise"

    class Deaf(ToneDetector):
        def feed(self, windows: Any) -> Any:
            return super().feed(windows) * (0.0 if deaf else 1.0)

    sat = sit([""], samples, detector=Deaf)
    assert [told in text for text in sat.notices] == [True]
    assert sat.entries == ()
    assert len(sat.sound()) == len(samples)


@pytest.mark.parametrize(
    "minutes", [pytest.param(3, id="three minutes"), pytest.param(60, id="an hour", marks=pytest.mark.soak)]
)
def test_long_silence_is_kept_in_clips_of_a_bounded_length(sit: Callable[..., Sat], minutes: int) -> None:
    """No words, every sample kept, no clip longer than the setting."""

    class Silent:
        def feed(self, windows: Any) -> Any:
            return np.zeros(len(windows) // 512, np.float32)

    sat = sit([""], silence(minutes * 60), detector=Silent, listen={"clip_silence_s": 60.0})
    assert sat.said == []
    assert sum(clip.duration_s for clip in sat.job.clips) == pytest.approx(minutes * 60)
    assert max(clip.duration_s for clip in sat.job.clips) <= 61


def test_a_clip_of_a_fifth_of_a_second(sit: Callable[..., Sat]) -> None:
    """Too short for a word: kept, and nothing is invented."""
    sat = sit([""], silence(0.2))
    assert sat.entries == () and len(sat.sound()) == round(0.2 * RATE_HZ)


def test_a_clock_that_is_set_back_changes_neither_order_nor_times(
    sit: Callable[..., Sat], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The wall clock goes back an hour between two sentences: order and the test clock hold."""
    import datetime as dt

    from fieldnote.store import identity, word_rows

    back = [0.0]

    def now() -> str:
        moment = dt.datetime.now(dt.UTC) - dt.timedelta(seconds=back[0])
        return moment.strftime("%Y-%m-%dT%H:%M:%S.%fZ")

    for module in (identity, word_rows):
        monkeypatch.setattr(module, "now", now)
    sentences = ["Left cowl.", "Water on.", "Water off."]
    sat = sit(sentences, saying(0, 1), lambda: back.__setitem__(0, 3600.0), silence(10), saying(2))
    assert sat.said == sentences
    assert sat.entries[0].clocked_s == pytest.approx(12.05, abs=0.2)


def test_what_was_not_understood_has_a_tone_of_its_own(sit: Callable[..., Sat]) -> None:
    """Words that no rule takes: no entry, the falling tone, and the words stay visible."""
    sat = sit(["Zebra marmalade umbrella."])
    assert sat.voice.tones == [NOT_UNDERSTOOD]
    assert sat.job.leftovers


def test_keys_pause_take_back_and_mark(sit: Callable[..., Sat]) -> None:
    """The keys do what the words do."""

    def press(session: Session) -> None:
        source = session.recorder.source
        rest = threading.Event()
        source.parts[1:1] = [  # type: ignore[attr-defined]
            lambda: rest.wait(0.4),
            lambda: session.type("disregard", "tester"),
            lambda: session.mark("tester"),
            lambda: rest.wait(0.4),
        ]

    sat = sit([FAULT, WET], saying(0), saying(1), with_session=press)
    assert sat.said == [FAULT, "disregard", "mark", WET]
    assert [e.part for e in sat.entries] == ["carpet"]


def test_the_pause_key_stands_by_and_goes_on(sit: Callable[..., Sat]) -> None:
    """Between two presses nothing is written, and all sound is kept."""
    rest = threading.Event()

    def press(session: Session) -> None:
        pause = [lambda: rest.wait(0.4), session.pause, lambda: rest.wait(0.4)]
        session.recorder.source.parts[:] = [saying(0), *pause, saying(1), *pause, saying(2)]  # type: ignore[attr-defined]

    sat = sit([FAULT, WET, "Left tail lamp gasket is torn."], with_session=press)
    assert [e.part for e in sat.entries] == ["screw", "gasket"]
    assert np.array_equal(sat.sound(), np.concatenate([saying(0), saying(1), saying(2)]))


def memory_mb() -> float:
    """What this process holds now."""
    line = next(line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmRSS"))
    return int(line.split()[1]) / 1024


@pytest.mark.soak
@pytest.mark.skipif(not Path("/proc/self/status").is_file(), reason="memory is read as Linux tells it")
def test_two_hours_of_continuous_dictation(sit: Callable[..., Sat]) -> None:
    """Fed faster than real time: every utterance, every sample, times that do not drift, and memory that stays flat."""
    hours, numbers = 2.0, range(1, 21)
    one = saying(*numbers)
    rounds = int(hours * 3600 * RATE_HZ / len(one)) + 1
    marks: list[float] = []

    class Long(FakeMicrophone):
        def blocks(self) -> Iterator[Block]:
            for n in range(rounds):
                self.parts = [one]
                yield from super().blocks()
                if n % (rounds // 8) == 0:
                    marks.append(memory_mb())

    sat = sit([f"Roof rack screw number {n} is loose." for n in range(21)], source=Long())
    assert sat.said == [f"Roof rack screw number {n} is loose." for n in numbers] * rounds
    assert sum(round(clip.duration_s * RATE_HZ) for clip in sat.job.clips) == rounds * len(one)
    start_s, worst_s = 0.0, 0.0
    starts = {}
    for clip in sat.job.clips:
        starts[clip.id] = start_s
        start_s += clip.duration_s
    for k, said in enumerate(sat.job.utterances):
        assert said.clip_id is not None and said.from_s is not None
        spoken_s = (k // len(numbers)) * len(one) / RATE_HZ + 0.65 + (k % len(numbers)) * 1.4
        worst_s = max(worst_s, abs(starts[said.clip_id] + said.from_s + 0.2 - spoken_s))
    print(f"{start_s / 3600:.2f} h, {len(sat.said)} utterances, memory {marks}, times off by at most {worst_s:.3f} s")
    assert worst_s <= 0.04
    # Words and entries of two hours are held, sound is not: 2 h of it would be 230 MB.
    assert marks[-1] - marks[1] < 60
