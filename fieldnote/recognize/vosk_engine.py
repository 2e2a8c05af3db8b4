"""Vosk: words as one speaks, their times and confidences, and a grammar made of the pack's words.

Three traps of the library are kept out here: a grammar is only set between utterances and only as checked JSON
(anything else ends the process from inside C++), words that the model does not know are listed instead of dropped
with a log line, and word confidences are asked for alone, since the library drops them where alternatives are wanted.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from fieldnote.capture.sound import RATE_HZ, Samples
from fieldnote.errors import BadData, DeviceMissing
from fieldnote.recognize.engine import Heard
from fieldnote.recognize.model_files import ModelFolder, require, verify
from fieldnote.records import Word
from fieldnote.settings import RecognizeSettings

UNKNOWN = "[unk]"
"""How models write what is none of the grammar's words; some models lack it."""
_BLOCK_SAMPLES = 4000
_FULL_SCALE = 32767


class VoskEngine:
    """A Vosk model on the CPU; one utterance at a time, whole or as it is spoken."""

    name = "vosk"

    def __init__(self, model: Any, recogniser: Any, origin: Mapping[str, Any], phrases: Sequence[str] = ()) -> None:
        self._model = model
        self._recogniser = recogniser
        self._origin = dict(origin)
        self._fed_samples = 0  # of the utterance being spoken
        self._before_samples = 0  # of all utterances before it: the library's times never start again from 0
        self._done: list[Mapping[str, Any]] = []
        self.unknown_words: tuple[str, ...] = ()
        """Words of the grammar that this model cannot hear, sorted."""
        recogniser.SetWords(True)
        if phrases:
            self.use_grammar(phrases)

    @classmethod
    def open(cls, settings: RecognizeSettings, pack: Any = None, home: Path | None = None) -> VoskEngine:
        """Verify and load the model that ``settings`` names, with a grammar of the pack where it asks for hints.

        Raises:
            ModelMissing, WrongHash, UserMistake: see ``open_engine``.
            DeviceMissing: the vosk library cannot be loaded on this machine.
            BadData: the folder holds no Vosk model.

        """
        folder = require(settings.model, cls.name, home)
        hashes = verify(folder)
        phrases: tuple[str, ...] = ()
        if settings.hints and pack is not None:
            from fieldnote.recognize.hints import grammar_phrases

            phrases = grammar_phrases(pack)
        return cls.load(folder, settings.model, hashes, phrases)

    @classmethod
    def load(
        cls, folder: ModelFolder, name: str, hashes: Mapping[str, str] | None = None, phrases: Sequence[str] = ()
    ) -> VoskEngine:
        """Load the model in ``folder``, whose files were verified before."""
        vosk = _library()
        # Given a name instead of a folder the library would fetch a model; given a folder without one it ends badly.
        if not (folder.path / "am").is_dir() and not (folder.path / "final.mdl").is_file():
            raise BadData("no Vosk model is in this folder", where=str(folder.path), do="Remove it and add it again.")
        try:
            model = vosk.Model(str(folder.path))
            recogniser = vosk.KaldiRecognizer(model, RATE_HZ)
        except Exception as error:  # the library raises plain Exception
            raise BadData(
                f"the model cannot be loaded ({error})", where=str(folder.path), do="Remove it and add it again."
            ) from error
        origin = {
            "model": name,
            "model_sha256": _one_hash(hashes or {}),
            "library": f"vosk {_version()}",
        }
        return cls(model, recogniser, origin, phrases)

    def knows(self, word: str) -> bool:
        """Whether ``word`` is in the model's own list."""
        return int(self._model.vosk_model_find_word(word)) >= 0

    def use_grammar(self, phrases: Iterable[str]) -> tuple[str, ...]:
        """Hear only ``phrases`` from the next utterance on; no phrase brings the whole language back.

        Phrases with a word that the model lacks are left out as a whole, since the library would keep their torso.
        The grammar is no strict one: it weighs pairs of words, so that words of two phrases can mix.

        Returns:
            The words that the model lacks, sorted; also in ``unknown_words``.

        """
        wanted = sorted({" ".join(p.lower().split()) for p in phrases} - {""})
        lacking = {word for phrase in wanted for word in phrase.split() if not self.knows(word)}
        heard = [p for p in wanted if not lacking.intersection(p.split())]
        self.unknown_words = tuple(sorted(lacking))
        if wanted and not heard:
            # An empty list would silently open the whole language.
            raise BadData(
                "the model knows no phrase of the grammar", where=str(self._origin["model"]), do="Use another model."
            )
        if heard and self.knows(UNKNOWN):
            heard.append(UNKNOWN)
        # Setting a grammar in mid-utterance ends the process: finish it first.
        self._begin()
        self._recogniser.SetGrammar(json.dumps(heard, ensure_ascii=False))
        self._origin["grammar_phrases"] = len(heard)
        return self.unknown_words

    def hear(self, samples: Samples, hints: Sequence[str] = ()) -> Heard:
        """The words in ``samples`` (16 kHz mono float32). Vosk takes no hints; its grammar does their work."""
        self._begin()
        for start in range(0, len(samples), _BLOCK_SAMPLES):
            self.feed(samples[start : start + _BLOCK_SAMPLES])
        return self.finish()

    def feed(self, samples: Samples) -> str:
        """Add sound of the utterance being spoken; returns the words so far."""
        pcm = np.clip(np.rint(samples * _FULL_SCALE), -_FULL_SCALE - 1, _FULL_SCALE).astype("<i2")
        self._fed_samples += len(pcm)
        if len(pcm) and self._recogniser.AcceptWaveform(pcm.tobytes()):
            # The library ends an utterance at its own pauses; ours goes on until finish().
            self._done.append(json.loads(self._recogniser.Result()))
            return _text(self._done)
        partial = str(json.loads(self._recogniser.PartialResult()).get("partial", ""))
        return " ".join(part for part in (_text(self._done), _without_unknown(partial)) if part)

    def finish(self) -> Heard:
        """The utterance has ended; returns it and makes ready for the next."""
        results = [*self._done, json.loads(self._recogniser.FinalResult())]
        length_s, before_s = self._fed_samples / RATE_HZ, self._before_samples / RATE_HZ
        self._begin()

        def at(time_s: float) -> float:
            return round(min(max(0.0, time_s - before_s), length_s), 2)

        words = tuple(
            Word(str(w["word"]), at(float(w["start"])), at(float(w["end"])), round(float(w["conf"]), 4))
            for result in results
            for w in result.get("result", ())
            if w["word"] != UNKNOWN
        )
        likely = [w.confidence for w in words if w.confidence is not None]
        return Heard(
            text=_text(results),
            words=words,
            confidence=round(sum(likely) / len(likely), 4) if likely else None,
            settings={**self._origin, "rate_hz": RATE_HZ},
        )

    def _begin(self) -> None:
        """Forget the utterance being spoken and make ready for the next."""
        self._recogniser.Reset()
        self._before_samples += self._fed_samples
        self._done, self._fed_samples = [], 0


def _library() -> Any:
    """The vosk module, quiet.

    Raises:
        DeviceMissing: it is not installed, or its own library does not load here.

    """
    try:
        import vosk
    except (ImportError, OSError) as error:
        raise DeviceMissing(
            f"the engine vosk cannot be loaded ({error})",
            where="[recognize] engine",
            do='Set engine = "whisper", or install vosk for this machine.',
        ) from error
    vosk.SetLogLevel(-1)
    return vosk


def _version() -> str:
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("vosk")
    except PackageNotFoundError:
        return "unknown"


def _one_hash(hashes: Mapping[str, str]) -> str:
    """One hash for a model of many files: that of the acoustic model, which no two models share."""
    return next((sha for name, sha in sorted(hashes.items()) if name.endswith("final.mdl")), "")


def _text(results: Iterable[Mapping[str, Any]]) -> str:
    return " ".join(t for t in (_without_unknown(str(r.get("text", ""))) for r in results) if t)


def _without_unknown(text: str) -> str:
    return " ".join(word for word in text.split() if word != UNKNOWN)
