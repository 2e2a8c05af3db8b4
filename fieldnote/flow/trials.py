"""Speaks the pack's words with the system's voices, clean and in noise, and lets the recogniser in use hear them."""

from __future__ import annotations

import io
import shutil
import subprocess
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from fieldnote.errors import DeviceMissing, UserMistake
from fieldnote.flow.rooms import Rooms
from fieldnote.vocabulary.measuring import CARRIERS, Trial, plain_words, within_carrier

if TYPE_CHECKING:
    from fieldnote.capture.sound import Samples

RATE_HZ = 16_000
VOICES = ("en-us", "en-us+f2", "en-gb", "en-gb-scotland+m3")
"""Of espeak-ng: accents and timbres that differ."""
NOISE_DB = (None, 10.0, 5.0)
"""Clean, and speech over noise in dB."""
LONGEST_SPOKEN_S = 20
SPEAKER = "espeak-ng"
SOUND_SUFFIXES = frozenset({".wav", ".flac", ".ogg", ".opus", ".mp3", ".m4a"})

Progress = Callable[[float, str], None]
"""Called with the share done, 0 to 1, and what is being heard."""


@dataclass(frozen=True, slots=True)
class Spoken:
    """One phrase to be heard: samples, and the carrier that it stands in (none for a recording)."""

    said: str
    samples: Samples
    carrier: tuple[str, str] | None


def measure(rooms: Rooms, phrases: Sequence[str], progress: Progress = lambda share, doing: None) -> Iterator[Trial]:
    """Speak and recognise every phrase in each voice, carrier and noise.

    Raises:
        DeviceMissing: no voice, or no recogniser, on this machine.

    """
    if shutil.which(SPEAKER) is None:
        raise DeviceMissing(
            "there is no voice to speak the words with",
            where=SPEAKER,
            do="Install espeak-ng, or record the words and give their folder with --sound.",
        )
    of = len(phrases) * len(VOICES) * len(CARRIERS) * len(NOISE_DB)
    done = 0
    for said in phrases:
        for number, voice in enumerate(VOICES):
            for carrier in CARRIERS:
                clean = speak(voice, " ".join((carrier[0], said, carrier[1])))
                for noise_db in NOISE_DB:
                    samples = clean if noise_db is None else with_noise(clean, noise_db, seed=number)
                    yield _heard(rooms, Spoken(said, samples, carrier))
                    done += 1
                    progress(done / of, said)


def measure_recordings(rooms: Rooms, folder: Path, progress: Progress = lambda share, doing: None) -> Iterator[Trial]:
    """Recognise recordings whose file names are what is said in them ("seam-sealer-2.wav").

    Raises:
        UserMistake: no folder, or no sound in it.
        UnreadableSound: a file that cannot be read.

    """
    from fieldnote.capture import read_sound

    paths = sorted(p for p in folder.glob("*") if p.suffix.lower() in SOUND_SUFFIXES) if folder.is_dir() else []
    if not paths:
        raise UserMistake("no recordings are here", where=str(folder), do="Name the files after what is said in them.")
    for n, path in enumerate(paths, start=1):
        said = plain_words(path.stem).strip("0123456789 ")
        yield _heard(rooms, Spoken(said, read_sound(path).samples, None))
        progress(n / len(paths), said)


def _heard(rooms: Rooms, spoken: Spoken) -> Trial:
    text = rooms.engine.hear(spoken.samples).text
    heard = plain_words(text) if spoken.carrier is None else within_carrier(spoken.carrier, text)
    return Trial(spoken.said, heard)


def speak(voice: str, text: str) -> Samples:
    """``text`` in a voice of espeak-ng: float32, 16 kHz, mono, peak 0.7.

    Raises:
        DeviceMissing: the program fails.

    """
    import soundfile
    import soxr

    try:
        done = subprocess.run(
            [SPEAKER, "-v", voice, "--stdout", "--", text], check=True, capture_output=True, timeout=LONGEST_SPOKEN_S
        )
        data, rate_hz = soundfile.read(io.BytesIO(done.stdout), dtype="float32", always_2d=True)
    except (OSError, subprocess.SubprocessError, soundfile.LibsndfileError) as error:
        raise DeviceMissing(f"the voice failed ({error})", where=SPEAKER, do="Install espeak-ng again.") from error
    samples = np.asarray(soxr.resample(data.mean(axis=1), rate_hz, RATE_HZ), dtype=np.float32)
    return np.asarray(0.7 * samples / max(1e-6, float(np.abs(samples).max(initial=0.0))), dtype=np.float32)


def with_noise(samples: Samples, speech_over_noise_db: float, *, seed: int) -> Samples:
    """Pink noise with a mains hum under the speech, so many dB below its mean power; the same for one seed."""
    dice = np.random.default_rng(seed)
    spectrum = np.fft.rfft(dice.standard_normal(len(samples)))
    hertz = np.fft.rfftfreq(len(samples), 1 / RATE_HZ)
    pink = np.fft.irfft(spectrum / np.sqrt(np.maximum(hertz, 20.0)), len(samples))
    hum = np.sin(2 * np.pi * 100.0 * np.arange(len(samples)) / RATE_HZ)
    noise = pink / pink.std() + 0.3 * hum
    speech_power = float(np.mean(samples.astype(np.float64) ** 2))
    gain = np.sqrt(speech_power / 10 ** (speech_over_noise_db / 10) / np.mean(noise**2))
    return np.asarray(samples + gain * noise, dtype=np.float32)


def plain_english(rooms: Rooms) -> Callable[[str], bool]:
    """Tells whether all words of a phrase are common English: those that the recogniser writes as one piece.

    Where its list of pieces is not at hand every phrase counts as plain, which is the careful side.
    """
    pieces = _pieces(rooms.settings.recognize.model)
    return lambda phrase: not pieces or all(word in pieces for word in phrase.split())


@lru_cache(maxsize=4)
def _pieces(model: str) -> frozenset[str]:
    from fieldnote.recognize.model_files import locate

    folder = locate(model)
    path = folder.path / "vocabulary.txt" if folder else None
    if path is None or not path.is_file():
        return frozenset()
    # A piece that begins a word is written with this letter for the space before it.
    lines = path.read_text(encoding="utf-8", errors="replace").splitlines()
    return frozenset(line[1:].lower() for line in lines if line.startswith("Ġ"))
