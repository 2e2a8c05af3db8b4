"""How hands-free listening does: latency, spoken commands, false commands, endurance.

    python -m tests.bench.listening                  latency and commands
    python -m tests.bench.listening --parts endurance --hours 2

Run it from the top of the repository. Latency plays the demo job in real time through a queue, as a sound card gives
it, and counts from the last loud sample of a sentence to its entry being kept. Commands are spoken by neural voices
no model was tuned on (the voices extra; left out and said so where missing), with noise of a shop 10 dB under them.
Everything is seeded; nothing is asserted.
"""

from __future__ import annotations

import argparse
import queue
import resource
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from fieldnote.capture import RATE_HZ, Sound, cut, read_sound
from fieldnote.capture.microphone import Block
from fieldnote.flow import Rooms, open_job
from fieldnote.flow.command_hearing import CommandHearing
from fieldnote.flow.commands import ACTIONS, HEARD_ALONE
from fieldnote.flow.conversation import Happened
from fieldnote.flow.session import Session
from fieldnote.records import Intake, Utterance
from fieldnote.settings import load_settings
from tests.bench import shop_noise
from tests.bench.speech import Voices, sections

SAMPLES = Path(__file__).parents[2] / "sample_audio"
PARTS = ("latency", "commands", "false", "endurance")
MEASURED = ACTIONS | HEARD_ALONE | {"correction"}


class Card:
    """Gives samples at the pace of a sound card (``speed`` times real time) and notes when each was given."""

    live = True
    name = "card"
    rate_hz = RATE_HZ

    def __init__(self, samples: np.ndarray, speed: float = 1.0) -> None:
        self._samples, self._speed = samples, speed
        self._queue: queue.SimpleQueue[np.ndarray | None] = queue.SimpleQueue()
        self.began = 0.0

    def open(self) -> None:
        threading.Thread(target=self._feed, daemon=True).start()

    def _feed(self) -> None:
        self.began = time.monotonic()
        for at in range(0, len(self._samples), 320):
            time.sleep(max(0.0, self.began + (at + 320) / RATE_HZ / self._speed - time.monotonic()))
            self._queue.put(self._samples[at : at + 320])
        self._queue.put(None)

    def blocks(self) -> Iterator[Block]:
        while (block := self._queue.get()) is not None:
            yield Block(block)

    def now_s(self) -> float:
        return time.monotonic()

    def close(self) -> None:
        pass


def raw(samples: np.ndarray) -> np.ndarray:
    return (np.clip(samples, -1, 1) * 32767).astype(np.int16)


def fresh(folder: str) -> Rooms:
    rooms = Rooms(Path(folder), settings=load_settings(Path("none")))
    open_job(rooms.store, "bench", Intake(steering="left"))
    rooms.engine.hear(np.zeros(RATE_HZ, np.float32))
    return rooms


def latency(rounds: int) -> None:
    """Seconds from the end of speech to the kept entry, beyond the silence that ends an utterance."""
    parts, ends, at = [np.zeros(RATE_HZ, np.int16)], [], RATE_HZ
    for path in sorted(SAMPLES.glob("*.flac")) * rounds:
        speech = raw(read_sound(path).samples)
        ends.append((at + int(np.flatnonzero(np.abs(speech) > 0.01 * np.abs(speech.astype(int)).max())[-1])) / RATE_HZ)
        parts += [speech, np.zeros(2 * RATE_HZ, np.int16)]
        at += len(speech) + 2 * RATE_HZ
    with tempfile.TemporaryDirectory() as folder:
        rooms = fresh(folder)
        card = Card(np.concatenate(parts))
        kept: list[float] = []
        said = Happened(said=lambda utterance, changes: kept.append(time.monotonic() - card.began))
        Session(rooms, rooms.store.job("bench"), card, notice=print_notice, happened=said).run()
        rooms.store.close()
    silence_s = load_settings(Path("none")).capture.end_silence_s
    beyond = []
    for end_s in ends:
        after = [t for t in kept if end_s < t < end_s + 3]
        if after:
            beyond.append(after[0] - end_s - silence_s)
    print(
        f"latency beyond {silence_s:g} s of silence, {len(beyond)} of {len(ends)} sentences of the demo job, real time:"
    )
    print(
        f"  median {np.median(beyond):.2f} s   p95 {np.percentile(beyond, 95):.2f} s   most {max(beyond):.2f} s",
        flush=True,
    )


def print_notice(text: str, warning: bool) -> None:
    if warning:
        print(f"  ! {text}", flush=True)


def noises(seed: int, speech: np.ndarray, snr_db: float) -> np.ndarray:
    dice = np.random.default_rng(seed)
    kind = list(shop_noise.STEADY)[seed % len(shop_noise.STEADY)]
    return shop_noise.in_noise(speech, shop_noise.STEADY[kind](len(speech) + 2 * RATE_HZ, dice), snr_db).astype(
        np.float32
    )


# What is awaited while the water is on; measured as it is said then.
AWAITED = ("water-in", "water-off")


def heard(rooms: Rooms, samples: np.ndarray, expected: tuple[str, ...] = ()) -> list[str]:
    """Utterances as the listener hears them: with the second look at those that say nothing."""
    sound = Sound(samples, "0" * 64, "bench", RATE_HZ, 1, "made")
    commands = CommandHearing(rooms.engine, rooms.pack, ACTIONS | HEARD_ALONE)
    out = []
    for piece in cut(sound, rooms.settings.capture):
        found = rooms.engine.hear(piece.samples)
        changes = rooms.extractor.step(rooms.extractor.start(), Utterance("u", found.text))[1]
        if found.text and not (changes.command or changes.added):
            found = commands.again(found, piece.samples, expected)
        if found.text:
            out.append(found.text)
    return out


def obeyed(rooms: Rooms, texts: list[str]) -> list[str]:
    """Ids of the commands among utterances."""
    found = []
    for text in texts:
        changes = rooms.extractor.step(rooms.extractor.start(), Utterance("u", text))[1]
        if changes.command and not changes.added:
            found.append(changes.command)
    return found


def commands(voices: Voices, each: int, wordings: int, snr_db: float) -> None:
    """How often each command is obeyed."""
    speakers = voices.groups(0)["neural, never tuned on"]
    if not speakers:
        print("commands: no neural voice that was never tuned on is installed; left out")
        return
    with tempfile.TemporaryDirectory() as folder:
        rooms = fresh(folder)
        rows, wrong = [], Counter[tuple[str, str, str]]()
        for command in rooms.pack.terms("command"):
            if command.id not in MEASURED:
                continue
            right = total = 0
            for w, wording in enumerate(command.say[:wordings]):
                for v, voice in enumerate(speakers):
                    speech = voices.speak(voice, wording.capitalize() + ".")
                    for n in range(each):
                        expected = AWAITED if command.id in AWAITED else ()
                        texts = heard(rooms, noises(100 * w + 10 * v + n, speech, snr_db), expected)
                        total += 1
                        if command.id in obeyed(rooms, texts):
                            right += 1
                        else:
                            wrong[(command.id, wording, " / ".join(texts))] += 1
            rows.append((command.id, right, total))
        rooms.store.close()
    print(
        f"\ncommands obeyed at {snr_db:g} dB, {len(speakers)} neural voices never tuned on, first {wordings} wordings:"
    )
    for name, right, total in rows:
        print(f"  {name:16} {100 * right / total:5.1f} %  of {total}")
    right, total = sum(r for _, r, _ in rows), sum(t for _, _, t in rows)
    print(f"  {'all':16} {100 * right / total:5.1f} %  of {total}")
    for (name, wording, text), count in wrong.most_common(25):
        print(f"    {count} × {name}: {wording!r} heard as {text!r}")


def false_commands(voices: Voices, snr_db: float) -> None:
    """Commands found in dictation that holds none."""
    speakers = voices.groups(0)["neural, never tuned on"]
    texts = sections()["dictation"]
    found: Counter[str] = Counter()
    sound_s = 0.0
    with tempfile.TemporaryDirectory() as folder:
        rooms = fresh(folder)
        for v, voice in enumerate(speakers):
            for i, text in enumerate(texts):
                speech = voices.speak(voice, text)
                sound_s += len(speech) / RATE_HZ + 1.0
                said = heard(rooms, noises(1000 * v + i, speech, snr_db))
                meant = Counter(obeyed(rooms, [text]))
                found.update(
                    {
                        f"{name}: {text!r} heard as {' / '.join(said)!r}": 1
                        for name in Counter(obeyed(rooms, said)) - meant
                    }
                )
        rooms.store.close()
    hours = sound_s / 3600
    rate = found.total() / max(hours, 1e-9)
    print(f"\nfalse commands at {snr_db:g} dB: {found.total()} in {hours:.2f} h of dictation, {rate:.1f} an hour")
    for line in found:
        print(f"    {line}")


def endurance(hours: float, speed: float) -> None:
    """Continuous dictation faster than real time: memory, drift, utterances lost."""
    clips = [raw(read_sound(path).samples) for path in sorted(SAMPLES.glob("*.flac"))]
    one = np.concatenate([part for clip in clips for part in (clip, np.zeros(12000, np.int16))])
    rounds = int(hours * 3600 * RATE_HZ / len(one)) + 1
    with tempfile.TemporaryDirectory() as folder:
        rooms = fresh(folder)
        card = Repeated(one, rounds, speed)
        marks: list[tuple[int, float, float]] = []
        count = [0]

        def said(utterance: Utterance, changes: object) -> None:
            count[0] += 1
            if count[0] % 200 == 0:
                marks.append((count[0], memory_mb(), time.monotonic() - card.began))
                print(f"  {count[0]} utterances, {marks[-1][1]:.0f} MB, {marks[-1][2]:.0f} s", flush=True)

        session = Session(rooms, rooms.store.job("bench"), card, notice=print_notice, happened=Happened(said=said))
        session.run()
        job = rooms.store.job("bench")
        clips_s = sum(clip.duration_s for clip in job.clips)
        rooms.store.close()
        given_s = rounds * len(one) / RATE_HZ
        print(f"\nendurance: {given_s / 3600:.2f} h given in {time.monotonic() - card.began:.0f} s")
        print(f"  sound kept {clips_s:.3f} s of {given_s:.3f} s")
        print(f"  utterances {len(job.utterances)}, {len(job.utterances) / rounds:.3f} a round")
        print(f"  memory {marks[0][1] if marks else 0:.0f} MB at the first mark, {memory_mb():.0f} MB at the end")
        texts = [u.text for u in job.utterances]
        width = round(len(texts) / rounds)
        same = sum(texts[i * width : (i + 1) * width] == texts[width : 2 * width] for i in range(rounds))
        print(f"  rounds that were heard as the second one was: {same} of {rounds}")


class Repeated(Card):
    """One stretch of sound over and over, without standing in memory as often."""

    def __init__(self, one: np.ndarray, rounds: int, speed: float) -> None:
        super().__init__(one, speed)
        self._rounds = rounds

    live = False

    def open(self) -> None:
        self.began = time.monotonic()

    def blocks(self) -> Iterator[Block]:
        for _ in range(self._rounds):
            for at in range(0, len(self._samples), 1600):
                yield Block(self._samples[at : at + 1600])


def memory_mb() -> float:
    """What this process holds now, where the system tells (Linux), else the most that it held."""
    status = Path("/proc/self/status")
    if status.is_file():
        line = next(line for line in status.read_text().splitlines() if line.startswith("VmRSS"))
        return int(line.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--parts", default="latency,commands,false", help=f"of {', '.join(PARTS)}")
    parser.add_argument("--rounds", type=int, default=1, help="latency: how often the demo job is played")
    parser.add_argument("--each", type=int, default=2, help="commands: kinds of noise for each wording and voice")
    parser.add_argument("--wordings", type=int, default=3, help="commands: how many wordings of each")
    parser.add_argument("--snr", type=float, default=10.0)
    parser.add_argument("--hours", type=float, default=2.0)
    parser.add_argument("--cache", type=Path, default=Path("build/bench-speech"))
    chosen = parser.parse_args()
    parts = chosen.parts.split(",")
    if "latency" in parts:
        latency(chosen.rounds)
    if "commands" in parts:
        commands(Voices(chosen.cache), chosen.each, chosen.wordings, chosen.snr)
    if "false" in parts:
        false_commands(Voices(chosen.cache), chosen.snr)
    if "endurance" in parts:
        endurance(chosen.hours, 1.0)


if __name__ == "__main__":
    main()
