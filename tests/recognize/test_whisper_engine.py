"""The Whisper engine: its input, its words, and how well it hears real people."""

from __future__ import annotations

import dataclasses
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fieldnote.capture import RATE_HZ, cut, read_sound
from fieldnote.errors import BadData, ModelMissing, UserMistake, WrongHash
from fieldnote.recognize import open_engine
from fieldnote.recognize.model_files import ModelFolder
from fieldnote.recognize.trade_language import TradeLanguage, language_of, spoken
from fieldnote.recognize.whisper_engine import WhisperEngine, short_frames, token_cap
from fieldnote.resources import shipped
from fieldnote.settings import RecognizeSettings
from tests.bench.shop_noise import STEADY
from tests.recognize.conftest import defaults
from tests.recognize.human_speech import CLIPS, heard_by, plain, texts, word_error_rate

MODEL = shipped("models") / "fieldnote-tiny"


@pytest.fixture(scope="module")
def sentence() -> np.ndarray:
    return read_sound(CLIPS / "sentence-1.flac").samples


def test_real_people_are_understood(default_engine: WhisperEngine) -> None:
    """On seven clips of real people (sources in their README) at most 3 % of the words are wrong."""
    assert len(texts()) == 7
    assert word_error_rate(heard_by(default_engine)) <= 0.03


def test_tuning_cost_real_people_little(default_engine: WhisperEngine, base_engine: WhisperEngine) -> None:
    """On the same clips in the same run it is at most two points worse than the model it was tuned from."""
    assert word_error_rate(heard_by(default_engine)) <= word_error_rate(heard_by(base_engine)) + 0.02


@pytest.mark.parametrize(
    ("seconds", "frames"),
    [
        (0.02, 200),
        (0.32, 200),
        (0.7, 200),
        (0.72, 200),
        (0.73, 202),
        (1.0, 228),
        (3.11, 440),
        (28.72, 3000),
        (30, 3000),
    ],
)
def test_input_length(seconds: float, frames: int) -> None:
    """Speech and 128 frames, at least 200, even, at most 3000."""
    assert short_frames(round(seconds * RATE_HZ)) == frames


def test_input_is_never_of_the_forbidden_length() -> None:
    """At 160 frames CTranslate2 would take the encoder's output for sound and encode it again."""
    lengths = {short_frames(samples) for samples in range(0, 30 * RATE_HZ, 80)}
    assert 160 not in lengths
    assert all(length % 2 == 0 for length in lengths)


def test_token_cap() -> None:
    """8 tokens a second and 12."""
    assert token_cap(0) == 12
    assert token_cap(round(3.5 * RATE_HZ)) == 40


def test_words_make_up_the_text_in_order(default_engine: WhisperEngine, sentence: np.ndarray) -> None:
    """Joined by spaces the words are the text; their times rise within the sound, and each has a confidence."""
    heard = default_engine.hear(sentence)
    assert " ".join(word.text for word in heard.words) == heard.text
    edges = [edge for word in heard.words for edge in (word.from_s, word.to_s)]
    assert edges == sorted(edges)
    assert edges[0] >= 0 and edges[-1] <= len(sentence) / RATE_HZ
    assert all(word.confidence is not None and 0 < word.confidence <= 1 for word in heard.words)


def test_word_times_match_where_the_words_are(default_engine: WhisperEngine) -> None:
    """Two sentences with a known gap between: the words of the second begin after it, within 0.3 s."""
    first = read_sound(CLIPS / "sentence-3.flac").samples
    second = read_sound(CLIPS / "sentence-4.flac").samples
    heard = default_engine.hear(np.concatenate([first, np.zeros(RATE_HZ // 2, np.float32), second]))
    begin_s = len(first) / RATE_HZ + 0.5
    thin = next(word for word in heard.words if plain(word.text) == "thin")
    pure = next(word for word in heard.words if plain(word.text) == "pure")
    assert pure.from_s < len(first) / RATE_HZ
    assert thin.from_s > begin_s - 0.3


def test_word_times_can_be_left_out(options: RecognizeSettings, sentence: np.ndarray) -> None:
    """Without word times the text is the same."""
    engine = WhisperEngine.open(dataclasses.replace(options, word_times=False))
    heard = engine.hear(sentence)
    assert heard.words == ()
    assert plain(heard.text) == texts()["sentence-1.flac"]


def test_settings_in_force_go_with_the_words(default_engine: WhisperEngine, sentence: np.ndarray) -> None:
    """Model, hash, input, beam and threads are told with what was heard."""
    said = default_engine.hear(sentence).settings
    assert said["model"] == "fieldnote-tiny"
    assert said["model_sha256"] == "0797db6e00f4ca8a6f0967680b9666c587c11ad1dc4a29640fec74da8cdcc493"
    assert (said["input"], said["beam"], said["threads"], said["temperature"]) == ("short", 5, 1, 0.0)
    assert said["frames"] == short_frames(len(sentence))


@pytest.fixture(scope="module")
def trade_engine(options: RecognizeSettings) -> WhisperEngine:
    """The default with the language of the trade, as jobs have it."""
    return WhisperEngine.open(options, language=language_of("body-leaks"))


def test_the_trades_language_leaves_plain_english(trade_engine: WhisperEngine, sentence: np.ndarray) -> None:
    """A sentence of a real person that has nothing to do with the trade is heard as before."""
    heard = trade_engine.hear(sentence)
    assert plain(heard.text) == texts()["sentence-1.flac"]
    assert heard.settings["trade_language"] is True


def test_the_trades_language_chooses_among_readings(
    default_engine: WhisperEngine, sentence: np.ndarray, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A language in which another reading is usual makes that reading the text; the first stays among the others."""
    monkeypatch.setattr("fieldnote.recognize.rescoring._SENTENCE", (5.0, 0.0))
    heard = default_engine.hear(sentence)
    other = next(o.text for o in heard.alternatives if spoken(o.text) != spoken(heard.text))
    odd = TradeLanguage.of_texts([other] * 50)
    engine = WhisperEngine(
        default_engine._model, default_engine._tokenizer, default_engine._options, default_engine._origin, odd
    )
    chosen = engine.hear(sentence)
    assert chosen.text == other
    assert heard.text in [o.text for o in chosen.alternatives]


def test_other_readings_come_best_first(default_engine: WhisperEngine, sentence: np.ndarray) -> None:
    """The alternatives differ from the text and from each other, and their scores fall."""
    heard = default_engine.hear(sentence)
    others = [other.text for other in heard.alternatives]
    assert others
    assert len({heard.text, *others}) == len(others) + 1
    scores = [other.score for other in heard.alternatives]
    assert scores == sorted(scores, reverse=True)


def test_hearing_twice_gives_the_same(default_engine: WhisperEngine, sentence: np.ndarray) -> None:
    """One engine on one machine is deterministic."""
    assert default_engine.hear(sentence) == default_engine.hear(sentence)


def test_hints_do_not_leak_into_the_words(default_engine: WhisperEngine, sentence: np.ndarray) -> None:
    """Hint words that were not said are not written."""
    heard = default_engine.hear(sentence, hints=("weatherstrip", "pinhole", "D-pillar"))
    assert plain(heard.text) == texts()["sentence-1.flac"]


def test_hints_stay_short(default_engine: WhisperEngine, sentence: np.ndarray) -> None:
    """A thousand hints are cut to a prompt that leaves room to write."""
    heard = default_engine.hear(sentence, hints=["weatherstrip"] * 1000)
    assert heard.settings["prompt_tokens"] <= 63


def test_no_sound_no_words(default_engine: WhisperEngine) -> None:
    """No samples at all give no text."""
    assert default_engine.hear(np.zeros(0, np.float32)).text == ""


def test_too_long_is_refused(default_engine: WhisperEngine) -> None:
    """More than 30 s would be cut off unheard: it is refused."""
    with pytest.raises(ValueError, match="30 s"):
        default_engine.hear(np.zeros(31 * RATE_HZ, np.float32))


def test_falls_back_to_longer_input_when_the_output_loops(
    default_engine: WhisperEngine, sentence: np.ndarray, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An untrusted reading of the short input is given up for that of the full one, and the settings say so."""
    real = default_engine._run

    def run(samples: Any, prompt: list[int], frames: int) -> Any:
        taken = real(samples, prompt, frames)
        if frames < 3000:
            loop = dataclasses.replace(taken.readings[0], text="the seam " * 10)
            return dataclasses.replace(taken, readings=(loop,))
        return taken

    monkeypatch.setattr(default_engine, "_run", run)
    heard = default_engine.hear(sentence)
    assert plain(heard.text) == texts()["sentence-1.flac"]
    assert (heard.settings["input"], heard.settings["frames"]) == ("padded", 3000)


def test_a_plain_model_is_always_padded(base_engine: WhisperEngine, sentence: np.ndarray) -> None:
    """Models that were not tuned for short input see 30 s."""
    heard = base_engine.hear(sentence)
    assert (heard.settings["input"], heard.settings["frames"]) == ("padded", 3000)
    assert plain(heard.text) == texts()["sentence-1.flac"]


@pytest.fixture
def copy_of_model(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The shipped models folder, copied, so that it can be damaged."""
    whole = tmp_path / "models"
    shutil.copytree(shipped("models"), whole, ignore=shutil.ignore_patterns("training"))
    monkeypatch.setattr("fieldnote.recognize.model_files.shipped", lambda name: whole)
    return whole / "fieldnote-tiny"


def flip_a_bit(folder: Path) -> None:
    content = bytearray((folder / "model.bin").read_bytes())
    content[20_000_000] ^= 1
    (folder / "model.bin").write_bytes(content)


def cut_it_off(folder: Path) -> None:
    content = (folder / "model.bin").read_bytes()
    (folder / "model.bin").write_bytes(content[:1000])


@pytest.mark.parametrize(
    ("damage", "says"),
    [
        (flip_a_bit, "SHA-256 differs"),
        (cut_it_off, "1,000 bytes instead of 39,452,014"),
        (lambda folder: (folder / "tokenizer.json").unlink(), "is missing"),
    ],
    ids=["one-bit", "cut-off", "no-tokenizer"],
)
def test_a_damaged_model_is_not_loaded(copy_of_model: Path, options: RecognizeSettings, damage: Any, says: str) -> None:
    """One wrong bit in the weights, and the engine says which file is wrong instead of writing nonsense."""
    damage(copy_of_model)
    with pytest.raises(WrongHash) as caught:
        open_engine(options)
    assert says in str(caught.value)
    assert str(copy_of_model) in caught.value.where


@pytest.mark.parametrize(
    ("change", "error", "says"),
    [
        ({"engine": "ear"}, UserMistake, "whisper, vosk"),
        ({"model": "fieldnote-tinny"}, UserMistake, "fieldnote-tiny"),
        ({"model": "vosk-small-en-us"}, UserMistake, "for the engine 'vosk'"),
        ({"model": "whisper-base.en"}, ModelMissing, "fieldnote models fetch whisper-base.en"),
    ],
    ids=["engine", "model", "model-of-another-engine", "not-here"],
)
def test_what_cannot_be_opened(
    options: RecognizeSettings, tmp_path: Path, change: dict[str, str], error: type[Exception], says: str
) -> None:
    """A wrong name is answered with the right ones; a model that is not here with how to get it."""
    with pytest.raises(error, match=says):
        open_engine(dataclasses.replace(options, **change), home=tmp_path)  # type: ignore[arg-type]


def test_a_folder_without_a_model(options: RecognizeSettings, tmp_path: Path) -> None:
    """A folder of one's own must hold what is needed; nothing is fetched in its place."""
    with pytest.raises(BadData, match=r"model\.bin is missing"):
        open_engine(dataclasses.replace(options, model=str(tmp_path)))
    shutil.copy(MODEL / "tokenizer.json", tmp_path)
    (tmp_path / "model.bin").write_bytes(b"no model at all")
    with pytest.raises(BadData, match="cannot be loaded"):
        open_engine(dataclasses.replace(options, model=str(tmp_path)))


def test_a_model_of_ones_own_is_loaded_from_its_folder(
    options: RecognizeSettings, tmp_path: Path, sentence: np.ndarray
) -> None:
    """A folder that no manifest knows is loaded as it is, padded, with no hash claimed for it."""
    folder = shutil.copytree(MODEL, tmp_path / "mine")
    heard = open_engine(dataclasses.replace(options, model=str(folder))).hear(sentence)
    assert plain(heard.text) == texts()["sentence-1.flac"]
    assert (heard.settings["input"], heard.settings["model_sha256"]) == ("padded", "")


def test_noise_is_kept_out_by_voice_activity(default_engine: WhisperEngine) -> None:
    """The model writes words for pure noise; the cutting in front of it lets none through."""
    rng = np.random.default_rng(12)
    noise = (0.05 * rng.standard_normal(20 * RATE_HZ)).astype(np.float32)
    from fieldnote.capture import Sound

    assert cut(Sound(noise, "", "noise", RATE_HZ, 1, ""), defaults().capture) == ()


@pytest.mark.parametrize("kind", ["silence", "compressor", "impact wrench", "fan", "air hiss", "grinder"])
def test_noise_gives_no_words_even_without_voice_activity(default_engine: WhisperEngine, kind: str) -> None:
    """The model writes words for noise, but tells it from speech: nothing comes out, and what it made up is kept."""
    dice = np.random.default_rng(12)
    made = dice.standard_normal(3 * RATE_HZ) * 0.02 if kind == "silence" else STEADY[kind](3 * RATE_HZ, dice)
    heard = default_engine.hear((0.05 * made).astype(np.float32))
    assert heard.text == ""
    assert "made_up" in heard.settings


def test_folder_records_name_the_manifest(default_engine: WhisperEngine) -> None:
    """The shipped folder holds a licence and a card beside the weights."""
    folder = ModelFolder(MODEL, None, shipped=True)
    assert {"LICENSE", "README.md"} <= {path.name for path in folder.path.iterdir()}
