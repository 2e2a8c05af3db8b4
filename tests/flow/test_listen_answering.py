"""What is answered aloud: words, tones, and the voice; the test clock; captions."""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fieldnote.errors import DeviceMissing
from fieldnote.flow import Rooms, answering
from fieldnote.flow.answering import KEPT, NOT_UNDERSTOOD, SystemVoice, Tones, confirmed, number, open_voice, spoken
from fieldnote.flow.captions import Captions
from fieldnote.flow.test_clock import ClockedTest, TestClock, difference, minutes_and_seconds
from fieldnote.recognize import Heard
from fieldnote.records import Entry, Quantity
from fieldnote.settings import load_settings
from fieldnote.testing import FakeRecogniser


@pytest.fixture(scope="module")
def rooms(tmp_path_factory: pytest.TempPathFactory) -> Rooms:
    return Rooms(tmp_path_factory.mktemp("home"), settings=load_settings(Path("none")))


MIN5 = Quantity("duration", 5, "min")
CASES = [
    # The first is the example that was asked for.
    pytest.param(
        Entry("check", "roof-rack", "screw", "right", "loose-fastener", item=3),
        "right roof rack, screw three loose",
        "right, three",
        id="finding with a number",
    ),
    pytest.param(
        Entry("evidence", "front-footwell", "carpet", "left", "water", present=False),
        "left front footwell, carpet no water",
        "left, no",
        id="denied",
    ),
    pytest.param(
        Entry("source", "tail-lamp", "gasket", "both", "torn", certainty="unsure"),
        "source: both sides tail lamp, gasket torn, not sure",
        "source: both sides tail lamp, gasket torn, not sure",
        id="source in doubt, told whole",
    ),
    pytest.param(
        Entry("test", "cowl", side="left", state="dry", quantities=(MIN5,)),
        "left cowl, test dry five minutes",
        "left, five minutes",
        id="test with its time",
    ),
    pytest.param(Entry("access", "roof", "headliner", state="removed"), None, "", id="nothing that must be confirmed"),
]


@pytest.mark.parametrize(("entry", "words", "confirms"), CASES)
def test_entries_in_plain_words(rooms: Rooms, entry: Entry, words: str | None, confirms: str) -> None:
    """Whole for "read back"; unasked only side, "no", number and source."""
    if words is not None:
        assert spoken(entry, rooms.pack) == words
    assert confirmed([entry], rooms.pack) == confirms


@pytest.mark.parametrize(("value", "word"), [(0, "zero"), (3, "three"), (12, "twelve"), (13, "13"), (1.5, "1.5")])
def test_small_numbers_are_words(value: float, word: str) -> None:
    """Larger and broken ones are left to the voice."""
    assert number(value) == word


def test_the_tones_rise_and_fall() -> None:
    """Kept rises, not understood falls; both by the strongest frequency of their halves."""

    def pitch(samples: Any) -> float:
        return float(np.argmax(np.abs(np.fft.rfft(samples, 1 << 15))) * 16_000 / (1 << 15))

    for tone, rises in ((KEPT, True), (NOT_UNDERSTOOD, False)):
        samples = answering.samples_of(tone)
        cut = round(tone[0][1] * 16_000)
        assert (pitch(samples[cut:]) > pitch(samples[:cut])) is rises
        assert abs(int(samples[0])) < 400 and abs(int(samples[-1])) < 400, "it clicks"


def test_a_voice_is_broken_off_by_the_next_words_and_by_stop() -> None:
    """Active while its program runs, silent at once."""
    voice = SystemVoice(lambda samples, rate: None, [sys.executable, "-c", "import time; time.sleep(30)"])
    assert not voice.active
    voice.say("one")
    first = voice._speaking
    voice.say("two")
    assert first is not None and first.poll() is not None
    assert voice.active
    began = time.monotonic()
    voice.stop()
    assert not voice.active and time.monotonic() - began < 5


def test_a_tone_is_no_speech_of_its_own() -> None:
    """Whoever speaks on while it sounds is heard."""
    played: list[int] = []
    voice = Tones(lambda samples, rate: played.append(len(samples)))
    voice.tone(KEPT)
    assert not voice.active
    for _ in range(100):
        if played:
            break
        time.sleep(0.01)
    assert played == [len(answering.samples_of(KEPT))]


def test_no_voice_is_told_with_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither program nor library."""
    import importlib.util

    monkeypatch.setattr(answering.shutil, "which", lambda name: None)
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    with pytest.raises(DeviceMissing, match="espeak-ng"):
        open_voice("speech", lambda samples, rate: None)


@pytest.mark.parametrize(
    ("quantities", "ran_s", "leak_s", "told"),
    [
        pytest.param((MIN5,), 62.0, None, [("duration", 300.0, 62.0)], id="one minute for five"),
        pytest.param((MIN5,), 290.0, None, [], id="within a tenth: how people round"),
        pytest.param((Quantity("duration", 20, "s"),), 24.0, None, [], id="within five seconds"),
        pytest.param((), 290.0, 40.0, [], id="nothing was said"),
        pytest.param(
            (Quantity("time-to-leak", 2, "min"),), 300.0, 40.0, [("time-to-leak", 120.0, 40.0)], id="time to leak"
        ),
    ],
)
def test_a_difference_between_said_and_clocked(
    quantities: tuple[Quantity, ...], ran_s: float, leak_s: float | None, told: list[tuple[str, float, float]]
) -> None:
    """Told only where it is more than rounding."""
    entry = Entry("test", "cowl", quantities=quantities)
    assert list(difference(entry, ClockedTest("e", "cowl", None, ran_s, leak_s))) == told


def test_the_clock_takes_the_first_leak_and_calls_each_minute_once() -> None:
    """On twice goes on; in twice is the first; off without on is nothing."""
    clock = TestClock()
    assert clock.off(1.0) is None and clock.leaked(1.0) is None and clock.minute_due(1.0) is None
    assert clock.on(10.0, entry_id=None, place="cowl", side="left")
    assert not clock.on(20.0, entry_id=None, place="roof", side=None)
    assert (clock.leaked(45.0), clock.leaked(60.0)) == (35.0, 35.0)
    assert [clock.minute_due(t) for t in (69.9, 70.0, 71.0, 205.0, 206.0)] == [None, 1, None, 3, None]
    assert clock.off(250.0) == ClockedTest(None, "cowl", "left", 240.0, 35.0)
    assert minutes_and_seconds(65.4) == "1:05"


class LiveWords:
    """A live engine that counts what it is fed."""

    name = "live"

    def __init__(self) -> None:
        self.fed: list[int] = []
        self.finished = 0

    def feed(self, samples: Any) -> str:
        self.fed.append(len(samples))
        return f"{sum(self.fed)} so far"

    def finish(self) -> Heard:
        self.finished += 1
        return Heard("")


def test_a_live_engine_is_fed_each_sample_once() -> None:
    """The utterance grows; only what is new is fed; at its end the engine is made ready for the next."""
    shown: list[str] = []
    live = LiveWords()
    captions = Captions(FakeRecogniser([]), shown.append, live)
    for length in (1000, 1000, 2500):
        captions.show(np.zeros(length, np.float32))
    captions.utterance_ended()
    assert (live.fed, live.finished, shown) == ([1000, 1500], 1, ["1000 so far", "2500 so far"])


def test_any_other_engine_hears_again_with_rests_between() -> None:
    """After a caption that took long nothing is heard for twice as long, so that the final pass is not starved."""

    class Slow(FakeRecogniser):
        def hear(self, samples: Any, hints: Sequence[str] = ()) -> Heard:
            time.sleep(0.05)
            return super().hear(samples, hints)

    shown: list[str] = []
    captions = Captions(Slow(["one", "two", "three"]), shown.append)
    captions.show(np.zeros(8_000, np.float32))
    assert shown == [], "half a second is too little to show"
    captions.show(np.zeros(16_000, np.float32))
    captions.show(np.zeros(32_000, np.float32))
    assert shown == ["one"], "it has just been heard"
    time.sleep(0.12)
    captions.show(np.zeros(32_000, np.float32))
    assert shown == ["one", "two"]
