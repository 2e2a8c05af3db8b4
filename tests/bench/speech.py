"""What the hearing bench dictates, and in which voices: texts, made-up VINs, spoken once and kept in a cache."""

from __future__ import annotations

import hashlib
import importlib
import random
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from fieldnote.extract.vin_rules import check_digit

TEXTS = Path(__file__).with_name("dictation.txt")
_ICAO = {
    word[0].upper(): word
    for word in (
        "alfa", "bravo", "charlie", "delta", "echo", "foxtrot", "golf", "hotel", "juliett", "kilo", "lima", "mike",
        "november", "papa", "romeo", "sierra", "tango", "uniform", "victor", "whiskey", "x-ray", "yankee", "zulu",
    )  # a VIN has no I, O and Q
}  # fmt: skip
_DIGITS = dict(enumerate(("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")))
_CHECK_AT = 8


def sections() -> dict[str, list[str]]:
    """The texts by section."""
    found: dict[str, list[str]] = {}
    name = ""
    for line in TEXTS.read_text(encoding="utf-8").splitlines():
        if line.startswith("["):
            name = line.strip("[]")
            found[name] = []
        elif line.strip() and not line.startswith("#"):
            found[name].append(line.strip())
    return found


def vins(count: int, seed: int = 17) -> list[tuple[str, str]]:
    """Made-up VINs with a valid check digit (49 CFR 565.15) and how somebody spells each: ICAO, letters, "double"."""
    dice = random.Random(seed)
    letters, found = "ABCDEFGHJKLMNPRSTUVWXYZ", []
    while len(found) < count:
        characters = [dice.choice(letters if dice.random() < 0.45 else "0123456789") for _ in range(17)]
        characters[_CHECK_AT] = "0"  # takes no part in its own sum
        characters[_CHECK_AT] = check_digit("".join(characters)) or "0"
        vin = "".join(characters)
        found.append((vin, spelled(vin, icao=len(found) % 2 == 0, dice=dice)))
    return found


def spelled(characters: str, *, icao: bool, dice: random.Random) -> str:
    """As spoken: letters by word or by name, digits, and "double" for two digits alike, half of the time."""
    out: list[str] = []
    i = 0
    while i < len(characters):
        one = characters[i]
        name = _DIGITS[int(one)] if one.isdigit() else _ICAO[one] if icao else one
        if characters[i : i + 2] == one * 2 and one.isdigit() and dice.random() < 0.5:
            out.append(f"double {name}")
            i += 1
        else:
            out.append(name)
        i += 1
    groups = [" ".join(out[at : at + 6]) for at in range(0, len(out), 6)]
    return "VIN " + ", ".join(groups) + "."


class Voices:
    """Speaks texts in the voices of ``models/training/voices.py``, each once."""

    def __init__(self, cache: Path) -> None:
        self._cache = cache
        self._maker: Any = importlib.import_module("models.training.voices")

    def groups(self, espeak: int, *, fitting: bool = False) -> dict[str, list[Any]]:
        """Voices at hand: tuned on, neural ones never tuned on, and ``espeak`` of the robot voices never tuned on.

        For ``fitting`` what the tables do not use: the voices of flite, which the shipped model was not tuned on.
        """
        if fitting:
            return {"to fit by": [v for v in self._maker.tuned() if v.engine == "flite"][:2]}
        measured = self._maker.measured()
        robots = [v for v in measured if v.engine == "espeak"]
        tuned = self._maker.tuned()
        return {
            "neural, never tuned on": [v for v in measured if v.engine != "espeak"],
            "robot, never tuned on": robots[:: max(1, len(robots) // max(espeak, 1))][:espeak],
            "tuned on": [v for v in tuned if v.engine == "hibari"] + [v for v in tuned if v.engine == "espeak"][:1],
        }

    def speak(self, voice: Any, text: str) -> np.ndarray:
        """``text`` in ``voice``: float32, 16 kHz, silence cut off both ends, level of speech alike."""
        key = hashlib.sha256(f"{voice.label}|{text}".encode()).hexdigest()[:20]
        path = self._cache / f"{key}.flac"
        if not path.is_file():
            self._cache.mkdir(parents=True, exist_ok=True)
            made = _trimmed(self._maker.speak(voice, text, seed=int(key[:6], 16) % 1000))
            soundfile.write(path, made, 16_000)
        samples, _ = soundfile.read(path, dtype="float32")
        return np.asarray(samples)


def _trimmed(samples: np.ndarray) -> np.ndarray:
    loud = np.flatnonzero(np.abs(samples) > 0.01 * np.abs(samples).max())
    if not len(loud):
        return samples
    return samples[max(0, loud[0] - 480) : loud[-1] + 800]
