"""Words are spoken and heard in trials: clean, in noise, or from recordings."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import soundfile

from fieldnote.errors import DeviceMissing, UserMistake
from fieldnote.flow import trials
from fieldnote.flow.rooms import Rooms
from fieldnote.vocabulary.measuring import CARRIERS, Trial

SPEECH = (0.5 * np.sin(np.arange(16_000) * 0.2)).astype(np.float32)


class Parrot:
    """Hears the same text whatever it is given, and counts."""

    def __init__(self, text: str) -> None:
        self.text, self.given = text, []

    def hear(self, samples: Any, hints: Any = ()) -> Any:
        self.given.append(samples)
        return SimpleNamespace(text=self.text)


def rooms_with(engine: Parrot, home: Path) -> Rooms:
    rooms = Rooms(home)
    rooms.__dict__["engine"] = engine
    return rooms


@pytest.mark.parametrize("level_db", [10.0, 5.0, 0.0])
def test_noise_lies_as_far_below_the_speech_as_asked(level_db: float) -> None:
    """SNR is 10 log10 of speech power over noise power (its definition), to 0.01 dB; one seed gives one noise."""
    noisy = trials.with_noise(SPEECH, level_db, seed=1)
    noise = noisy.astype(np.float64) - SPEECH
    got_db = 10 * np.log10(np.mean(SPEECH.astype(np.float64) ** 2) / np.mean(noise**2))
    assert got_db == pytest.approx(level_db, abs=0.01)
    assert np.array_equal(noisy, trials.with_noise(SPEECH, level_db, seed=1))
    assert not np.array_equal(noisy, trials.with_noise(SPEECH, level_db, seed=2))


def test_a_phrase_is_tried_in_each_voice_carrier_and_noise(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What stands in the carrier is taken; progress reaches one."""
    said: list[tuple[str, str]] = []

    def speak(voice: str, text: str) -> Any:
        said.append((voice, text))
        return SPEECH

    monkeypatch.setattr(trials, "speak", speak)
    monkeypatch.setattr(trials.shutil, "which", lambda name: "/bin/true")
    shares: list[float] = []
    parrot = Parrot("Now the deep pillar again.")
    rooms = rooms_with(parrot, tmp_path)
    found = list(trials.measure(rooms, ["d pillar"], lambda share, doing: shares.append(share)))
    each = len(trials.VOICES) * len(trials.NOISE_DB)
    assert len(found) == len(parrot.given) == each * len(CARRIERS)
    assert found.count(Trial("d pillar", "deep pillar")) == each
    assert {text for _, text in said} == {f"{a} d pillar {b}" for a, b in CARRIERS}
    assert shares[-1] == 1.0


def test_without_a_voice_it_says_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Or how to do without."""
    monkeypatch.setattr(trials.shutil, "which", lambda name: None)
    with pytest.raises(DeviceMissing, match="--sound"):
        list(trials.measure(Rooms(tmp_path), ["seal"]))


def test_recordings_are_named_after_what_is_said_in_them(tmp_path: Path) -> None:
    """A number at the end tells takes apart."""
    for name in ("seam-sealer-1.wav", "seam-sealer-2.wav"):
        soundfile.write(tmp_path / name, SPEECH, 16_000)
    found = list(trials.measure_recordings(rooms_with(Parrot("Scene sealer."), tmp_path), tmp_path))
    assert found == [Trial("seam sealer", "scene sealer")] * 2


@pytest.mark.parametrize("folder", ["empty", "missing"])
def test_no_recordings_is_told(tmp_path: Path, folder: str) -> None:
    """An empty folder and a missing one alike."""
    (tmp_path / "empty").mkdir()
    with pytest.raises(UserMistake, match="no recordings"):
        list(trials.measure_recordings(Rooms(tmp_path), tmp_path / folder))


def test_plain_english_is_what_the_recogniser_writes_in_one_piece(tmp_path: Path) -> None:
    """Common words are single pieces of its vocabulary; trade words are not."""
    plain = trials.plain_english(Rooms(tmp_path))
    assert plain("deep house")
    assert not plain("weatherstrip")
