"""``fieldnote hear``: what is printed, exit codes, and bad sound."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from typer.testing import CliRunner

from fieldnote.cli.app import app
from fieldnote.errors import FieldnoteError
from fieldnote.recognize import engine as seam
from fieldnote.testing import FakeRecogniser

REPOSITORY = Path(__file__).parents[2]
CLIPS = REPOSITORY / "tests" / "data" / "human_clips"
SPEECH = CLIPS / "sentence-1.flac"


@pytest.fixture(autouse=True)
def _own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FIELDNOTE_HOME", str(tmp_path / "home"))


@pytest.fixture
def fake(monkeypatch: pytest.MonkeyPatch) -> FakeRecogniser:
    """An engine that knows its line, so that the command alone is tested."""
    engine = FakeRecogniser(["left grommet is torn"] * 50)
    monkeypatch.setattr(seam, "open_engine", lambda *args, **kwargs: engine)
    monkeypatch.setattr("fieldnote.recognize.open_engine", lambda *args, **kwargs: engine, raising=False)
    return engine


def run(*arguments: str, data: bytes | None = None) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, ["hear", *arguments], input=data)
    if isinstance(result.exception, FieldnoteError):  # main() turns these into a line and their exit code
        return result.exception.exit_code, result.stdout, str(result.exception)
    return result.exit_code, result.stdout, result.stderr


def test_json(fake: FakeRecogniser) -> None:
    """The JSON has the file, the text, and each utterance with its times and confidence."""
    code, out, _ = run(str(SPEECH), "--json")
    clip = json.loads(out)["clips"][0]
    assert code == 0
    assert set(clip) == {"file", "text", "utterances"}
    assert clip["file"] == str(SPEECH)
    assert clip["text"] == "left grommet is torn"
    (said,) = clip["utterances"]
    assert set(said) == {"text", "from_s", "to_s", "confidence"}
    assert 0 <= said["from_s"] < said["to_s"] <= 2.9


def test_words_are_there_when_asked_for(fake: FakeRecogniser) -> None:
    """With --words each word has its times, counted from the start of the file."""
    _, out, _ = run(str(SPEECH), "--json", "--words")
    said = json.loads(out)["clips"][0]["utterances"][0]
    assert [word["text"] for word in said["words"]] == ["left", "grommet", "is", "torn"]
    assert said["words"][0]["from_s"] == pytest.approx(said["from_s"], abs=0.01)


def test_table_for_people(fake: FakeRecogniser) -> None:
    """Without --json the words stand under the file's name."""
    code, out, _ = run(str(SPEECH))
    assert code == 0
    assert "sentence-1.flac" in out
    assert "left grommet is torn" in out


def test_standard_input(fake: FakeRecogniser) -> None:
    """A sound can come through a pipe; named twice it is refused."""
    code, out, _ = run("-", "--json", data=SPEECH.read_bytes())
    assert (code, json.loads(out)["clips"][0]["text"]) == (0, "left grommet is torn")
    code, _, err = run("-", "-", data=b"")
    assert (code, "twice" in err) == (1, True)


def test_hints_reach_the_engine(fake: FakeRecogniser) -> None:
    """--hint words are handed on."""
    run(str(SPEECH), "--hint", "grommet", "--hint", "D-pillar")
    assert fake.hints == [("grommet", "D-pillar")]


def silence(path: Path) -> None:
    soundfile.write(path, np.zeros(16000), 16000)


def eight_bit(path: Path) -> None:
    soundfile.write(path, soundfile.read(SPEECH)[0], 16000, subtype="PCM_U8")


def fast(path: Path) -> None:
    soundfile.write(path, np.repeat(soundfile.read(SPEECH)[0], 6), 96000)


def six_channels(path: Path) -> None:
    one = soundfile.read(SPEECH)[0]
    soundfile.write(path, np.stack([0 * one] * 5 + [one], axis=1), 16000)


@pytest.mark.parametrize("make", [eight_bit, fast, six_channels], ids=["8-bit", "96-kHz", "6-channels"])
def test_unusual_sound_is_heard(fake: FakeRecogniser, tmp_path: Path, make: object) -> None:
    """Speech is found in every form of it."""
    make(tmp_path / "a.wav")  # type: ignore[operator]
    code, out, _ = run(str(tmp_path / "a.wav"), "--json")
    assert (code, json.loads(out)["clips"][0]["text"]) == (0, "left grommet is torn")


def test_no_speech(fake: FakeRecogniser, tmp_path: Path) -> None:
    """A second of silence has text "" and is no fault."""
    silence(tmp_path / "a.wav")
    code, out, _ = run(str(tmp_path / "a.wav"), "--json")
    assert (code, json.loads(out)["clips"]) == (0, [{"file": str(tmp_path / "a.wav"), "text": "", "utterances": []}])
    assert "no speech" in run(str(tmp_path / "a.wav"))[1]
    assert fake.heard_s == []


def test_ten_minutes_of_noise(fake: FakeRecogniser, tmp_path: Path) -> None:
    """Ten minutes of hiss and hum give no words and no fault, and the engine is never asked."""
    rng = np.random.default_rng(3)
    t = np.arange(600 * 16000) / 16000
    noise = 0.05 * rng.standard_normal(len(t)) + 0.1 * np.sign(np.sin(2 * np.pi * 60 * t))
    soundfile.write(tmp_path / "a.flac", noise, 16000)
    code, out, _ = run(str(tmp_path / "a.flac"), "--json")
    assert (code, json.loads(out)["clips"][0]["text"]) == (0, "")
    assert fake.heard_s == []


@pytest.mark.parametrize(
    ("content", "code", "says"),
    [(None, 1, "no such file"), ("folder", 1, "folder"), (b"", 2, "0 bytes"), (b"just text\n" * 9, 2, "no sound")],
    ids=["missing", "folder", "empty", "text"],
)
def test_one_bad_file(fake: FakeRecogniser, tmp_path: Path, content: object, code: int, says: str) -> None:
    """One line on standard error that says what, where and what to do; the exit code tells a slip from bad data."""
    path = tmp_path / "memo.wav"
    if content == "folder":
        path.mkdir()
    elif isinstance(content, bytes):
        path.write_bytes(content)
    got, _, err = run(str(path))
    assert got == code
    assert len(err.strip().splitlines()) == 1
    assert says in err and str(path) in err


def test_a_bad_file_among_good_ones(fake: FakeRecogniser, tmp_path: Path) -> None:
    """The error stands on its clip, the others are done, and the exit code is 2."""
    code, out, _ = run(str(SPEECH), str(tmp_path / "gone.wav"), str(SPEECH), "--json")
    clips = json.loads(out)["clips"]
    assert code == 2
    assert [clip.get("text") for clip in clips] == ["left grommet is torn", None, "left grommet is torn"]
    assert set(clips[1]["error"]) == {"what", "where", "do"}


def test_a_cut_off_file_says_so(fake: FakeRecogniser, tmp_path: Path) -> None:
    """What is there is heard; that the rest is missing is said in one line."""
    whole = tmp_path / "a.wav"
    soundfile.write(whole, soundfile.read(SPEECH)[0], 16000)
    (tmp_path / "b.wav").write_bytes(whole.read_bytes()[: whole.stat().st_size * 7 // 10])
    code, out, err = run(str(tmp_path / "b.wav"))
    assert code == 0
    assert "left grommet is torn" in out
    assert "cut off" in err and len(err.strip().splitlines()) == 1


def blocked(arguments: list[str], blocked_modules: str, home: Path) -> subprocess.CompletedProcess[str]:
    """The command in a process in which some modules cannot be imported, as where PortAudio is missing."""
    script = (
        "import sys\n"
        "class Blocked:\n"
        "    def find_spec(self, name, path=None, target=None):\n"
        f"        if name.split('.')[0] in {blocked_modules.split(',')!r}:\n"
        "            raise OSError(name + ': PortAudio library not found')\n"
        "sys.meta_path.insert(0, Blocked())\n"
        "import fieldnote\n"
        "from fieldnote.cli.app import main\n"
        "sys.argv = ['fieldnote', *sys.argv[1:]]\n"
        "main()\n"
    )
    environment = {**os.environ, "FIELDNOTE_HOME": str(home)}
    return subprocess.run(
        [sys.executable, "-c", script, *arguments], capture_output=True, text=True, env=environment, check=False
    )


def test_hears_for_real_where_portaudio_and_vosk_are_missing(tmp_path: Path) -> None:
    """The real command and the real model, without microphone library, vosk or spaCy."""
    told = blocked(["hear", str(SPEECH), "--json"], "sounddevice,vosk,spacy", tmp_path)
    assert told.returncode == 0, told.stderr
    assert "small dog" in json.loads(told.stdout)["clips"][0]["text"]


def test_vosk_where_it_is_missing(tmp_path: Path) -> None:
    """Asked for an engine that is not there, the command names the way out: exit code 3, no traceback."""
    (tmp_path / "am").mkdir()
    told = blocked(["hear", str(SPEECH), "--engine", "vosk", "--model", str(tmp_path)], "vosk", tmp_path)
    assert told.returncode == 3
    assert len(told.stderr.strip().splitlines()) == 1
    assert "whisper" in told.stderr
