"""The seam that every recogniser stands behind, and the one place that knows which there are."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol, runtime_checkable

from fieldnote.errors import UserMistake
from fieldnote.records import Alternative, Word
from fieldnote.settings import RecognizeSettings

if TYPE_CHECKING:
    from fieldnote.capture.sound import Samples

ENGINES = ("whisper", "vosk")


@dataclass(frozen=True, slots=True)
class Heard:
    """What an engine made of one utterance. Word times count from the start of the samples that it was given."""

    text: str
    words: tuple[Word, ...] = ()
    confidence: float | None = None
    """0 to 1, None where the engine has none; not calibrated unless its documentation says so."""
    alternatives: tuple[Alternative, ...] = ()
    """Other readings, best first, without the one in ``text``."""
    settings: Mapping[str, Any] = field(default_factory=dict)
    """The settings in force, the model's hash among them."""


class Engine(Protocol):
    """Turns the samples of one utterance into words."""

    @property
    def name(self) -> str:
        """The engine's name, as in the settings."""

    def hear(self, samples: Samples, hints: Sequence[str] = ()) -> Heard:
        """The words in ``samples`` (16 kHz mono float32, at most 30 s); text "" where there are none."""


@runtime_checkable
class LiveEngine(Protocol):
    """An engine that can tell what it has so far while somebody speaks."""

    def feed(self, samples: Samples) -> str:
        """Add sound of the utterance being spoken; returns the words so far."""

    def finish(self) -> Heard:
        """The utterance has ended; returns it and makes ready for the next."""


@runtime_checkable
class WeighingEngine(Protocol):
    """An engine that can tell how well given words fit a sound."""

    def weigh(self, samples: Samples, texts: Sequence[str]) -> tuple[float, ...]:
        """The log-likelihood of each text, given the sound: comparable for the same sound; () where it cannot tell."""


def chosen(settings: RecognizeSettings, engine: str | None, model: str | None) -> RecognizeSettings:
    """``settings`` with another engine or model; a model brings its engine, an engine a model of its own."""
    if engine is None and model is None:
        return settings
    from fieldnote.recognize.model_files import load_manifest, locate

    pins = load_manifest()
    if engine is None and model in pins:
        engine = pins[model].engine
    if model is None and engine != settings.engine:
        of_engine = [pin.name for pin in pins.values() if pin.engine == engine]
        model = next((name for name in of_engine if locate(name)), of_engine[0] if of_engine else None)
    return dataclasses.replace(settings, engine=engine or settings.engine, model=model or settings.model)


def open_engine(settings: RecognizeSettings, pack: Any = None, home: Path | None = None, trade: str = "") -> Engine:
    """The engine that ``settings`` names, loaded and with its model's hashes verified.

    Args:
        settings: engine, model and options.
        pack: the vocabulary, for an engine that takes a grammar from it or chooses among its readings by it.
        home: the data folder where added models lie; the machine's own where None.
        trade: a pack's id, for its language alone, where the pack itself is not loaded.

    Raises:
        UserMistake: no engine has that name, or its model belongs to another engine.
        ModelMissing: the model is not on this machine.
        WrongHash: a file of the model is not the one that it should be.
        DeviceMissing: the engine's library cannot be loaded on this machine.

    """
    if settings.engine == "whisper":
        from fieldnote.recognize.hints import grammar_phrases
        from fieldnote.recognize.trade_language import language_of
        from fieldnote.recognize.whisper_engine import WhisperEngine

        trade = pack.id if pack is not None else trade
        language = language_of(trade) if settings.trade_language and trade else None
        if language is not None and pack is not None:
            language = language.knowing(grammar_phrases(pack))
        return WhisperEngine.open(settings, home, language)
    if settings.engine == "vosk":
        from fieldnote.recognize.vosk_engine import VoskEngine

        return VoskEngine.open(settings, pack, home)
    raise UserMistake(
        f"no engine is called {settings.engine!r}", where="[recognize] engine", do=f"Use one of: {', '.join(ENGINES)}."
    )
