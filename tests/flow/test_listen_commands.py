"""Commands: the call word, and the second look at what was not understood."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fieldnote.capture import RATE_HZ, read_sound
from fieldnote.flow import Rooms
from fieldnote.flow.command_hearing import LONGEST_S, CommandHearing
from fieldnote.flow.commands import ACTIONS, HEARD_ALONE, action_of, without_call_word
from fieldnote.recognize import Heard
from fieldnote.records import Alternative, Utterance, Word
from fieldnote.settings import load_settings

SAMPLES = Path(__file__).parents[2] / "sample_audio"


@pytest.fixture(scope="module")
def rooms(tmp_path_factory: pytest.TempPathFactory) -> Rooms:
    return Rooms(tmp_path_factory.mktemp("home"), settings=load_settings(Path("none")))


@pytest.mark.parametrize("pack", ["body-leaks", "building-leaks"])
def test_every_command_that_is_acted_on_is_in_the_packs(pack: str, tmp_path: Path) -> None:
    """The words are the pack's, the acts are ours: neither without the other."""
    known = {command.id for command in Rooms(tmp_path, pack=pack).pack.terms("command")}
    assert known >= ACTIONS | HEARD_ALONE


@pytest.mark.parametrize(
    ("text", "call_word", "rest", "called"),
    [
        pytest.param("Fieldnote, read back.", "fieldnote", "read back.", True, id="in front"),
        pytest.param("Field note read back.", "fieldnote", "read back.", True, id="split in two"),
        pytest.param("Hey Dot, read back.", "hey dot", "read back.", True, id="of two words"),
        pytest.param("Read back, fieldnote.", "fieldnote", "Read back, fieldnote.", False, id="not at the end"),
        pytest.param("Fields read back.", "field", "Fields read back.", False, id="not as a part of a word"),
        pytest.param("Fieldnote.", "fieldnote", "", True, id="alone"),
        pytest.param("Read back.", "", "Read back.", False, id="none set"),
    ],
)
def test_the_call_word_is_taken_off(text: str, call_word: str, rest: str, called: bool) -> None:
    """At the beginning only, however the recogniser splits it; the times of the other words stay."""
    words = tuple(Word(w, n, n + 0.5) for n, w in enumerate(text.split()))
    found = without_call_word(Utterance("u", text, words=words), call_word)
    assert (found.utterance.text, found.called) == (rest, called)
    assert [w.text for w in found.utterance.words] == rest.split()


def test_what_is_no_action_asks_for_nothing() -> None:
    """Corrections are the dictation's; with a call word set an action needs it."""
    assert action_of("correction", called=True, call_word="") is None
    assert action_of("read-back", called=False, call_word="fieldnote") is None
    assert action_of("read-back", called=True, call_word="fieldnote") == "read-back"
    assert action_of("read-back", called=False, call_word="") == "read-back"


class Weigher:
    """An engine that gives each text the log-likelihood of a table, and -30 to all others."""

    name = "weigher"

    def __init__(self, table: dict[str, float]) -> None:
        self._table = table
        self.asked: list[str] = []

    def hear(self, samples: Any, hints: Sequence[str] = ()) -> Heard:
        raise AssertionError("nothing is to be heard again")

    def weigh(self, samples: Any, texts: Sequence[str]) -> tuple[float, ...]:
        self.asked += texts
        return tuple(self._table.get(text, -30.0) for text in texts)


SOUND = np.zeros(RATE_HZ, np.float32)
RESET = Heard("Reset.", alternatives=(Alternative("Re-bat.", -1.0),))


@pytest.mark.parametrize(
    ("table", "text"),
    [
        pytest.param({"Reset.": -1.0, "read back": -3.0}, "Read back.", id="fits nearly as well"),
        pytest.param({"Reset.": -1.0, "read back": -12.0}, "Reset.", id="fits too badly"),
        pytest.param({"Reset.": -1.0, "read back": -7.0, "resume": -13.0}, "Read back.", id="fits less, far ahead"),
        pytest.param({"Reset.": -1.0, "read back": -7.0, "resume": -11.0}, "Reset.", id="fits less, not far ahead"),
        pytest.param({"Reset.": -1.0, "read back": -3.0, "resume": -4.0}, "Reset.", id="another command fits as well"),
        pytest.param({"Reset.": -1.0, "read back": -3.0, "readback": -3.1}, "Read back.", id="its own other wording"),
    ],
)
def test_a_command_is_meant_where_it_fits_and_no_other_does(rooms: Rooms, table: dict[str, float], text: str) -> None:
    """What was written stays with the settings of the utterance."""
    found = CommandHearing(Weigher(table), rooms.pack, ACTIONS).again(RESET, SOUND)
    assert found.text == text
    assert found.settings.get("command", {}).get("written") == (None if text == "Reset." else "Reset.")


def test_what_is_awaited_has_a_head_start(rooms: Rooms) -> None:
    """While the water is on, "what year" is "water off" where it fits not too badly."""
    table = {"What year.": -1.0, "water off": -7.0, "what now": -9.0}
    hearing = CommandHearing(Weigher(table), rooms.pack, ACTIONS)
    heard = Heard("What year.")
    assert hearing.again(heard, SOUND).text == "What year."
    assert hearing.again(heard, SOUND, ("water-off",)).text == "Water off."


def test_long_sound_is_not_looked_at_again(rooms: Rooms) -> None:
    """Dictation is no command, whatever was made of it."""
    engine = Weigher({"read back": 0.0})
    long = np.zeros(round((LONGEST_S + 0.1) * RATE_HZ), np.float32)
    assert CommandHearing(engine, rooms.pack, ACTIONS).again(RESET, long) is RESET
    assert engine.asked == []


def test_the_beginning_of_a_sentence_is_no_command(rooms: Rooms) -> None:
    """ "Resume" fits the beginning of a longer sentence as well as the sentence itself; it is not weighed."""
    engine = Weigher({"resume": 0.0})
    heard = Heard("Resume the test on the lamp.")
    assert CommandHearing(engine, rooms.pack, ACTIONS).again(heard, SOUND) is heard
    assert "resume" not in engine.asked


@pytest.mark.slow
def test_the_recogniser_weighs_what_was_said_above_what_was_not(rooms: Rooms) -> None:
    """The sentence of a recording fits it better than two other sentences, by far."""
    sound = read_sound(SAMPLES / "06-lamp-test.flac").samples
    texts = [
        "hose on the right tail lamp for five minutes, dry inside",
        "hose on the left tail lamp for nine minutes, wet inside",
        "the carpet is soaked in the front",
    ]
    right, near, far = rooms.engine.weigh(sound, texts)  # type: ignore[attr-defined]
    assert right > near + 3 > far
