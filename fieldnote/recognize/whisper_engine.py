"""Whisper models in CTranslate2 form, driven directly.

faster-whisper always fills the input up to 30 s. The shipped model was tuned to do without, so for a short utterance
the encoder sees the speech and a little slack, in a fraction of the time. Models that were not tuned so (plain
tiny.en, base.en, small.en) are filled up to 30 s, without which they loop.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

import numpy as np

from fieldnote.capture.sound import RATE_HZ, Samples
from fieldnote.errors import BadData
from fieldnote.recognize.engine import Heard
from fieldnote.recognize.model_files import ModelFolder, require, verify
from fieldnote.recognize.rescoring import NOT_FOUND, SHORT_S, Fit, ranked
from fieldnote.recognize.trade_language import TradeLanguage
from fieldnote.recognize.whisper_words import bare, looping, said_twice, words_from_alignment
from fieldnote.records import Alternative
from fieldnote.settings import RecognizeSettings

FRAME_SAMPLES = 160
FULL_FRAMES = 3000
"""30 s: what plain Whisper models must always see, and the most that any can."""
_SLACK_FRAMES = 128
_LEAST_FRAMES = 200
# An input of exactly 160 frames gives 80 encoder positions, which CTranslate2 takes for 80 mel bands and encodes again.
_FORBIDDEN_FRAMES = 160
_TOKENS_PER_S = 8
_TOKENS_BEYOND = 12
_HINT_TOKENS = 60
_LOW_SCORE = -1.0
"""Mean log-probability of a token below which short input is not trusted (the threshold that Whisper itself uses)."""
_WEIGHED_AT_ONCE = 16
_FOLLOWED = 3
"""Phrases said alone that are tried on a short utterance: each costs a twentieth of hearing it."""
_LEAST_PROB = 1e-9
_REPLACEMENT = "�"

Input = Literal["short", "padded"]


@dataclass(frozen=True, slots=True)
class _Reading:
    """One hypothesis: its tokens, and the mean log-probability of a token."""

    tokens: tuple[int, ...]
    text: str
    score: float


@dataclass(frozen=True, slots=True)
class _Pass:
    """What one run of the model over one utterance gave, best reading first."""

    readings: tuple[_Reading, ...]
    encoded: Any
    frames: int
    no_speech_prob: float

    @property
    def trusted(self) -> bool:
        """Whether the best reading neither loops nor scores low."""
        best = self.readings[0]
        return best.score > _LOW_SCORE and not looping(best.text)


def as_written(text: str) -> str:
    """As the model writes: a capital at the beginning, a full stop at the end."""
    return f"{text[:1].upper()}{text[1:].rstrip('.')}."


def short_frames(samples: int) -> int:
    """Mel frames for an input of its own length: speech + 128, at least 200, even, never 160, at most 3000."""
    frames = max(_LEAST_FRAMES, math.ceil(samples / FRAME_SAMPLES) + _SLACK_FRAMES)
    frames = min(frames + frames % 2, FULL_FRAMES)
    return frames + 2 if frames == _FORBIDDEN_FRAMES else frames


def token_cap(samples: int) -> int:
    """The most tokens that so much speech can be: 8 a second and 12 beyond. It ends a model's runaway."""
    return int(_TOKENS_PER_S * samples / RATE_HZ) + _TOKENS_BEYOND


def _said_once(taken: _Pass, length_s: float) -> _Pass:
    """A word alone is at times written twice ("Right. Right."): take the reading that has it once, if there is one."""
    once = said_twice(taken.readings[0].text, length_s)
    if once is None:
        return taken
    single = next((reading for reading in taken.readings[1:] if bare(reading.text) == once), None)
    if single is None:
        return taken
    return replace(taken, readings=(single, *(r for r in taken.readings if r is not single)))


class WhisperEngine:
    """A Whisper model on the CPU in 8-bit integers."""

    name = "whisper"

    def __init__(
        self,
        model: Any,
        tokenizer: Any,
        options: RecognizeSettings,
        origin: Mapping[str, Any],
        language: TradeLanguage | None = None,
    ) -> None:
        from faster_whisper.feature_extractor import FeatureExtractor

        self._model = model
        self._language = language if origin["input"] == "short" else None
        self._tokenizer = tokenizer
        self._options = options
        self._origin = dict(origin)
        self._input: Input = "short" if origin["input"] == "short" else "padded"
        self._nothing_said_prob = float(origin["nothing_said_prob"])
        self._mel = FeatureExtractor(feature_size=model.n_mels, sampling_rate=RATE_HZ, hop_length=FRAME_SAMPLES)

    @classmethod
    def open(
        cls, settings: RecognizeSettings, home: Path | None = None, language: TradeLanguage | None = None
    ) -> WhisperEngine:
        """Verify and load the model that ``settings`` names; ``language`` helps to choose among its readings.

        Raises:
            ModelMissing, WrongHash, UserMistake: see ``open_engine``.
            BadData: the folder holds no Whisper model in CTranslate2 form.

        """
        folder = require(settings.model, cls.name, home)
        hashes = verify(folder)
        return cls.load(folder, settings, hashes.get("model.bin", ""), language)

    @classmethod
    def load(
        cls,
        folder: ModelFolder,
        settings: RecognizeSettings,
        model_sha256: str = "",
        language: TradeLanguage | None = None,
    ) -> WhisperEngine:
        """Load the model in ``folder``, whose files were verified before."""
        import ctranslate2
        from tokenizers import Tokenizer

        # Without tokenizer.json beside the weights other loaders fetch it from the network; this one refuses.
        for needed in ("model.bin", "tokenizer.json"):
            if not (folder.path / needed).is_file():
                raise BadData(
                    f"no Whisper model in CTranslate2 form: {needed} is missing",
                    where=str(folder.path),
                    do="Name a folder with model.bin, config.json and tokenizer.json.",
                )
        try:
            tokenizer = Tokenizer.from_file(str(folder.path / "tokenizer.json"))
            model = ctranslate2.models.Whisper(
                str(folder.path),
                device="cpu",
                compute_type="int8",
                inter_threads=1,
                intra_threads=settings.threads,
            )
        except Exception as error:  # both libraries raise kinds of their own, among them plain Exception
            raise BadData(
                f"the model cannot be loaded ({error})", where=str(folder.path), do="Remove it and add it again."
            ) from error
        origin = {
            "model": settings.model,
            "model_sha256": model_sha256,
            "input": folder.pin.input if folder.pin else "padded",
            "nothing_said_prob": folder.pin.nothing_said_prob if folder.pin else 1.0,
            "library": f"ctranslate2 {ctranslate2.__version__}",
            "compute_type": model.compute_type,
        }
        return cls(model, tokenizer, settings, origin, language)

    def hear(self, samples: Samples, hints: Sequence[str] = ()) -> Heard:
        """The words in ``samples`` (16 kHz mono float32, at most 30 s).

        Voice activity must stand before it: the model writes words for pure noise.

        Raises:
            ValueError: longer than 30 s; cut it first.

        """
        if len(samples) > FULL_FRAMES * FRAME_SAMPLES:
            raise ValueError(
                f"an utterance of {len(samples) / RATE_HZ:.1f} s is longer than the 30 s that can be heard"
            )
        if len(samples) == 0:
            return Heard("", settings=self._in_force(0, 0, "empty"))
        prompt = self._prompt(hints)
        shown = short_frames(len(samples)) if self._input == "short" else FULL_FRAMES
        taken, way = self._run(samples, prompt, shown), self._input
        if taken.no_speech_prob >= self._nothing_said_prob:
            return self._rejected(taken, len(prompt), way)
        repeats = said_twice(taken.readings[0].text, len(samples) / RATE_HZ)
        stuck = repeats is not None and len(bare(taken.readings[0].text).split()) >= 3 * len(repeats.split())
        if (stuck or not taken.trusted) and shown < FULL_FRAMES:
            longer = self._run(samples, prompt, FULL_FRAMES)
            if stuck or self._rank(longer) > self._rank(taken):
                taken, way = longer, "padded"
        meant = self._in_trade_words(_said_once(taken, len(samples) / RATE_HZ), len(samples) / RATE_HZ)
        return self._heard(meant, samples, len(prompt), way)

    def _in_trade_words(self, taken: _Pass, length_s: float) -> _Pass:
        """The reading that the trade would say, where it fits the sound about as well; else as it was."""
        if self._language is None or not taken.readings[0].text:
            return taken
        readings = list(taken.readings)
        alone = length_s <= SHORT_S
        if alone:
            readings += self._said_alone(taken, {bare(reading.text) for reading in readings})
        fits = [Fit(reading.text, reading.score * (len(reading.tokens) + 1)) for reading in readings]
        best = readings[ranked(fits, self._language, alone=alone)[0]]
        return replace(taken, readings=(best, *(r for r in taken.readings if r is not best)))

    def _said_alone(self, taken: _Pass, found: Collection[str]) -> list[_Reading]:
        """Further readings of a short utterance: what is often said alone and begins as the sound does.

        The search keeps few beginnings. One step of the decoder tells how well every beginning fits; the most promising
        phrases that the search did not find are followed to their end.
        """
        assert self._language is not None
        prompt = self._prompt(())
        step = self._model.generate(
            taken.encoded, [prompt], beam_size=1, max_length=len(prompt) + 1, return_logits_vocab=True
        )[0]
        scores = np.array(step.logits[0][0]).ravel()
        scores = scores - scores.max() - math.log(float(np.exp(scores - scores.max()).sum()))
        phrases = [phrase for phrase in self._language.alone if phrase not in found]
        tokens = [self._tokens(as_written(phrase)) for phrase in phrases]
        begun = [Fit(phrase, float(scores[ids[0]])) for phrase, ids in zip(phrases, tokens, strict=True)]
        near = ranked(begun, self._language, alone=True)[:_FOLLOWED]
        followed = self._follow(taken.encoded, taken.frames, [tokens[i] for i in near])
        return [
            _Reading(tuple(tokens[i]), as_written(phrases[i]), (total - NOT_FOUND) / (len(tokens[i]) + 1))
            for i, total in zip(near, followed, strict=True)
        ]

    def weigh(self, samples: Samples, texts: Sequence[str]) -> tuple[float, ...]:
        """The log-probability that the model gives each text (all of its tokens, without the end), given the sound.

        Much cheaper than hearing again, since nothing is searched: a text is only followed. Written as the model
        writes: a capital at the beginning, a full stop at the end.
        """
        import ctranslate2

        if not texts or len(samples) == 0:
            return (math.log(_LEAST_PROB),) * len(texts)
        frames = short_frames(len(samples)) if self._input == "short" else FULL_FRAMES
        filled = np.zeros(frames * FRAME_SAMPLES, np.float32)
        filled[: len(samples)] = samples
        mel = np.ascontiguousarray(self._mel(filled, padding=0)[np.newaxis], dtype=np.float32)
        encoded = self._model.encode(ctranslate2.StorageView.from_array(mel))
        return tuple(self._follow(encoded, frames, [self._tokens(as_written(text)) for text in texts]))

    def _tokens(self, text: str) -> list[int]:
        tokens: list[int] = self._tokenizer.encode(" " + text, add_special_tokens=False).ids
        return tokens

    def _follow(self, encoded: Any, frames: int, tokens: Sequence[list[int]]) -> list[float]:
        """The log-probability of each row of tokens, given the encoded sound."""
        import ctranslate2

        sound, start = np.array(encoded), self._prompt(())[:-1]
        found: list[float] = []
        for first in range(0, len(tokens), _WEIGHED_AT_ONCE):
            some = list(tokens[first : first + _WEIGHED_AT_ONCE])
            repeated = np.ascontiguousarray(np.repeat(sound, len(some), axis=0))
            features = ctranslate2.StorageView.from_array(repeated)
            for one in self._model.align(features, start, some, frames, median_filter_width=7):
                found.append(sum(math.log(max(p, _LEAST_PROB)) for p in one.text_token_probs))
        return found

    def _rejected(self, taken: _Pass, prompt_tokens: int, way: str) -> Heard:
        """Noise: no words, but what the model would have written stays with the settings for whoever looks."""
        settings = self._in_force(taken.frames, prompt_tokens, way)
        settings["no_speech_prob"] = round(taken.no_speech_prob, 4)
        settings["made_up"] = taken.readings[0].text
        return Heard("", settings=settings)

    def _prompt(self, hints: Sequence[str]) -> list[int]:
        named = self._tokenizer.token_to_id
        start = [named("<|startoftranscript|>")]
        if self._model.is_multilingual:
            start += [named("<|en|>"), named("<|transcribe|>")]
        start.append(named("<|notimestamps|>"))
        if not hints:
            return start
        said = " Words used: " + ", ".join(hints) + "."
        tokens = self._tokenizer.encode(said, add_special_tokens=False).ids[:_HINT_TOKENS]
        return [named("<|startofprev|>"), *tokens, *start]

    def _run(self, samples: Samples, prompt: list[int], frames: int) -> _Pass:
        """Encode ``samples`` filled up with silence to ``frames`` mel frames, and decode with one temperature."""
        import ctranslate2

        filled = np.zeros(frames * FRAME_SAMPLES, np.float32)
        filled[: len(samples)] = samples
        mel = self._mel(filled, padding=0)
        features = ctranslate2.StorageView.from_array(np.ascontiguousarray(mel[np.newaxis], dtype=np.float32))
        encoded = self._model.encode(features)
        beam = self._options.beam
        result = self._model.generate(
            encoded,
            [prompt],
            beam_size=beam,
            patience=1,
            num_hypotheses=beam,
            length_penalty=1,
            repetition_penalty=1,
            no_repeat_ngram_size=0,
            max_length=len(prompt) + token_cap(len(samples)),
            return_scores=True,
            return_no_speech_prob=True,
            suppress_blank=True,
            suppress_tokens=[-1],
            sampling_topk=1,
            sampling_temperature=1,
        )[0]
        readings = tuple(
            _Reading(tuple(tokens), self._text(tokens), float(score))
            for tokens, score in zip(result.sequences_ids, result.scores, strict=True)
        )
        return _Pass(readings, encoded, frames, float(result.no_speech_prob))

    def _text(self, tokens: Sequence[int]) -> str:
        decoded: str = self._tokenizer.decode(list(tokens), skip_special_tokens=True)
        return " ".join(decoded.replace(_REPLACEMENT, "").split())

    @staticmethod
    def _rank(taken: _Pass) -> tuple[bool, float]:
        best = taken.readings[0]
        return not looping(best.text), best.score

    def _heard(self, taken: _Pass, samples: Samples, prompt_tokens: int, way: str) -> Heard:
        best = taken.readings[0]
        others: dict[str, float] = {}
        for reading in taken.readings[1:]:
            if reading.text != best.text:
                others.setdefault(reading.text, round(reading.score, 4))
        settings = self._in_force(taken.frames, prompt_tokens, way)
        settings["no_speech_prob"] = round(taken.no_speech_prob, 4)
        return Heard(
            text=best.text,
            words=self._words(taken, samples) if self._options.word_times and best.text else (),
            confidence=round(math.exp(min(0.0, best.score)), 4) if best.text else None,
            alternatives=tuple(Alternative(text, score) for text, score in others.items()),
            settings=settings,
        )

    def _words(self, taken: _Pass, samples: Samples) -> Any:
        best = taken.readings[0]
        named = self._tokenizer.token_to_id
        start = [named("<|startoftranscript|>")]
        if self._model.is_multilingual:
            start += [named("<|en|>"), named("<|transcribe|>")]
        frames = min(taken.frames, math.ceil(len(samples) / FRAME_SAMPLES) + 1)
        aligned = self._model.align(taken.encoded, start, [list(best.tokens)], frames, median_filter_width=7)[0]
        pieces = [self._tokenizer.id_to_token(token) for token in best.tokens]
        return words_from_alignment(
            pieces,
            lambda first, last: self._text(best.tokens[first:last]),
            aligned.text_token_probs,
            aligned.alignments,
            ends_at_s=len(samples) / RATE_HZ,
        )

    def _in_force(self, frames: int, prompt_tokens: int, way: str) -> dict[str, Any]:
        return {
            **self._origin,
            "trade_language": self._language is not None,
            "input": way,
            "frames": frames,
            "prompt_tokens": prompt_tokens,
            "beam": self._options.beam,
            "threads": self._options.threads,
            "temperature": 0.0,
        }
