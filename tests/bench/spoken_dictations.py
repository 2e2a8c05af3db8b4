"""What sound costs: labelled dictations, as text and as speech, through the same extractor.

    python -m tests.bench.spoken_dictations --jobs 12 --voices hibari piper espeak --snr 10

Each utterance of the labelled jobs (tests/dictations/open) is spoken, laid under shop noise, cut, recognised and
understood; entries are scored against the labels, and so are those of the written words. It prints a table and asserts
nothing.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from fieldnote.capture import cut
from fieldnote.capture.sound import Sound
from fieldnote.extract import Extractor
from fieldnote.recognize import open_engine
from fieldnote.records import Utterance
from fieldnote.settings import load_settings
from fieldnote.vocabulary import load_pack
from fieldnote.wire import entry_to_wire
from tests.bench.shop_noise import STEADY, in_noise
from tests.bench.speech import Voices
from tests.scoring import score

OPEN = Path(__file__).resolve().parent.parent / "dictations" / "open"
RATE_HZ = 16_000


def jobs(count: int) -> list[dict[str, Any]]:
    """``count`` labelled jobs of the first set, one voice after another."""
    files = [f for f in sorted(OPEN.glob("*.jsonl")) if "-crowd" not in f.name and not f.name.startswith("second-")]
    read = [[json.loads(line) for line in f.read_text(encoding="utf-8").splitlines()] for f in files]
    rows = [job for turn in range(max(map(len, read))) for some in read for job in some[turn : turn + 1]]
    return rows[:count]


class Counts:
    """Core slots and exact entries, summed over jobs."""

    def __init__(self) -> None:
        self.slots, self.exact = [0, 0, 0], [0, 0, 0]

    def add(self, gold: Sequence[Any], got: Sequence[Any]) -> None:
        for want, have in score.pairs(gold, got):
            a, b = (score.core(want) if want else set()), (score.core(have) if have else set())
            self.slots = [self.slots[0] + len(a & b), self.slots[1] + len(b - a), self.slots[2] + len(a - b)]
            same = bool(want) and bool(have) and a == b
            self.exact = [self.exact[0] + same, self.exact[1] + (bool(have) and not same),
                          self.exact[2] + (bool(want) and not same)]  # fmt: skip

    def show(self) -> str:
        return f"{score.f1(*self.slots):.3f} | {score.f1(*self.exact):.3f}"


def understood(extractor: Extractor, texts: Iterable[str]) -> list[dict[str, Any]]:
    """Entries of one job's utterances, as the contract prints them."""
    said = [Utterance(id=f"u{n}", text=text) for n, text in enumerate(texts)]
    return [entry_to_wire(entry) for entry in extractor.run(said).entries]


def noisy(speech: np.ndarray, snr: str, seed: int) -> np.ndarray:
    """Speech with 0.7 s around it and one kind of steady noise under it; "clean" has silence around it."""
    dice = np.random.default_rng(seed)
    length = len(speech) + 2 * RATE_HZ
    if snr == "clean":
        return in_noise(speech, np.zeros(length), 60.0).astype(np.float32)
    maker = list(STEADY.values())[seed % len(STEADY)]
    return in_noise(speech, maker(length, dice), float(snr)).astype(np.float32)


def main() -> None:
    """Speak, hear, understand, score."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--jobs", type=int, default=12)
    ask.add_argument("--voices", nargs="+", default=["hibari", "piper", "espeak"])
    ask.add_argument("--snr", nargs="+", default=["clean", "10"])
    ask.add_argument("--cache", type=Path, default=Path(tempfile.gettempdir()) / "fieldnote-voices")
    given = ask.parse_args()
    settings, pack = load_settings(), load_pack("body-leaks")
    engine, extractor, chosen = open_engine(settings.recognize, pack), Extractor(pack), jobs(given.jobs)
    voices = Voices(given.cache)
    found = [voice for group in voices.groups(2).values() for voice in group if voice.engine in given.voices]
    written = Counts()
    for job in chosen:
        written.add(job["entries"], understood(extractor, job["utterances"]))
    print("| words | dB | core F1 | exact F1 |\n| --- | --- | --- | --- |")
    print(f"| written | | {written.show()} |", flush=True)
    for voice in found:
        for snr in given.snr:
            counts = Counts()
            for number, job in enumerate(chosen):
                texts = []
                for turn, text in enumerate(job["utterances"]):
                    samples = noisy(np.asarray(voices.speak(voice, text)), snr, number * 100 + turn)
                    pieces = cut(Sound(samples, "0" * 64, "bench", RATE_HZ, 1, "made"), settings.capture)
                    texts += [heard.text for heard in (engine.hear(p.samples) for p in pieces) if heard.text]
                counts.add(job["entries"], understood(extractor, texts))
            print(f"| {voice.label} | {snr} | {counts.show()} |", flush=True)


if __name__ == "__main__":
    main()
