"""Makes the demo clips from job.toml with a synthetic voice.

Needs the package hibari-tts (Apache-2.0; its default voice), which fieldnote itself does not need::

    pip install hibari-tts soundfile soxr
    python sample_audio/speak.py
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import soundfile
import soxr
from hibari import SAMPLE_RATE, Hibari

RATE_HZ = 16_000
SILENCE_S = 0.6


def speak(folder: Path) -> None:
    """Write one FLAC for each clip of ``folder/job.toml``: 16 kHz, mono, 16 bit."""
    job = tomllib.loads((folder / "job.toml").read_text(encoding="utf-8"))
    voice = Hibari()
    silence = np.zeros(int(SILENCE_S * RATE_HZ), dtype=np.float32)
    for number, clip in enumerate(job["clip"]):
        spoken = np.asarray(voice(clip["say"], speed=1.0, seed=number), dtype=np.float32)
        samples = soxr.resample(spoken, SAMPLE_RATE, RATE_HZ)
        samples = 0.6 * samples / np.abs(samples).max()
        soundfile.write(folder / clip["file"], np.concatenate([silence, samples, silence]), RATE_HZ, subtype="PCM_16")
        print(f"{clip['file']}  {len(samples) / RATE_HZ:.1f} s  {clip['say']}")


if __name__ == "__main__":
    speak(Path(__file__).resolve().parent)
