"""Speaks the training texts with the tuned voices, on all cores, into DATA/sound and DATA/clips.jsonl.

Files already there are kept, so that it can be stopped and run again::

    python models/training/speak.py DATA --trade trade.txt --general general.txt --shares hibari=0.4,flite=0.25,espeak=0.2,kokoro=0.15
"""

from __future__ import annotations

import argparse
import json
import os
import random
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import soundfile
import voices


@dataclass(frozen=True)
class Line:
    """One sentence to be spoken: by whom, how fast, into which file."""

    file: str
    domain: str
    text: str
    voice: voices.Voice
    pace: float
    seed: int


def cast(texts: dict[str, list[str]], shares: dict[str, float], seed: int) -> list[Line]:
    """Give every sentence a voice; within an engine all its tuned voices are as likely."""
    by_engine: dict[str, list[voices.Voice]] = {}
    for voice in voices.tuned():
        by_engine.setdefault(voice.engine, []).append(voice)
    engines = [engine for engine in shares if engine in by_engine]
    lines = []
    for domain, sentences in texts.items():
        for number, text in enumerate(sentences):
            dice = random.Random(f"{seed} {domain} {number}")
            engine = dice.choices(engines, [shares[e] for e in engines])[0]
            voice = dice.choice(by_engine[engine])
            pace = dice.uniform(0.85, 1.3)
            lines.append(Line(f"sound/{domain}-{number}.flac", domain, text, voice, pace, number))
    return lines


def speak_one(job: tuple[Line, str]) -> dict[str, object] | None:
    """Speak one line into its file (16 kHz, mono); nothing where the voice fails."""
    line, folder = job
    path = Path(folder) / line.file
    if not path.is_file():
        try:
            sound = voices.speak(line.voice, line.text, pace=line.pace, seed=line.seed)
        except (RuntimeError, ValueError, OSError) as error:
            print(f"{line.voice.label}: {line.text!r}: {error}", flush=True)
            return None
        soundfile.write(path, sound, voices.RATE_HZ)
    return {"file": line.file, "domain": line.domain, "text": line.text, "voice": line.voice.label}


def main() -> None:
    """Read the texts, speak them, write the list."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("data", type=Path)
    ask.add_argument("--trade", type=Path, required=True)
    ask.add_argument("--general", type=Path, required=True)
    ask.add_argument("--shares", default="hibari=0.4,flite=0.25,espeak=0.2,kokoro=0.15")
    ask.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    ask.add_argument("--seed", type=int, default=6)
    given = ask.parse_args()
    shares = {name: float(share) for name, share in (part.split("=") for part in given.shares.split(","))}
    texts = {d: getattr(given, d).read_text(encoding="utf-8").splitlines() for d in ("trade", "general")}
    (given.data / "sound").mkdir(parents=True, exist_ok=True)
    lines = cast(texts, shares, given.seed)
    done = 0
    with (
        ProcessPoolExecutor(given.workers) as pool,
        (given.data / "clips.jsonl").open("w", encoding="utf-8") as out,
    ):
        for clip in pool.map(speak_one, [(line, str(given.data)) for line in lines], chunksize=8):
            if clip:
                out.write(json.dumps(clip) + "\n")
                done += 1
                if done % 500 == 0:
                    print(f"{done} of {len(lines)} spoken", flush=True)
    print(f"{done} of {len(lines)} spoken", flush=True)


if __name__ == "__main__":
    main()
