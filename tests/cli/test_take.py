from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from fieldnote.cli.app import app
from fieldnote.flow import Rooms
from fieldnote.testing import FakeRecogniser
from tests.flow.doubles import Copier, SmallPack, interrupt, write_sound

CLIP = Path(__file__).parents[1] / "data" / "human_clips" / "sentence-1.flac"


@pytest.fixture(autouse=True)
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A data folder of its own with a job, an engine that knows its lines, and an extractor that copies them."""
    monkeypatch.setenv("FIELDNOTE_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("COLUMNS", "80")
    lines = FakeRecogniser(["seam has a gap", "more of the same", "and more"])
    monkeypatch.setattr("fieldnote.recognize.open_engine", lambda settings, pack=None, home=None: lines, raising=False)
    monkeypatch.setattr(Rooms, "extractor", Copier())
    monkeypatch.setattr(Rooms, "pack", SmallPack())
    assert CliRunner().invoke(app, ["job", "new", "van 3"]).exit_code == 0


def run(*words: str | Path, given: bytes | None = None) -> Result:
    return CliRunner().invoke(app, ["take", "van 3", *map(str, words)], input=given, catch_exceptions=False)


def run_json(*words: str | Path, given: bytes | None = None) -> Any:
    return json.loads(run(*words, "--json", given=given).stdout)


@pytest.mark.slow
def test_a_recording_is_heard_understood_and_kept_once() -> None:
    """The JSON is as the design has it; the second time adds nothing and gives the same words and entries."""
    first, again = run_json(CLIP), run_json(CLIP)
    assert set(first) >= {"job", "clips", "entries", "added", "already"}
    clip = first["clips"][0]
    assert clip["file"] == str(CLIP)
    assert clip["text"].startswith("seam has a gap")
    assert set(clip["utterances"][0]) == {"text", "from_s", "to_s", "confidence"}
    assert first["entries"][0]["origins"]
    assert (first["added"], first["already"]) == (1, 0)
    assert (again["added"], again["already"]) == (0, 1)
    assert again["entries"] == first["entries"]
    assert again["clips"][0]["text"] == clip["text"]


def test_notes_and_typed_text_are_taken(tmp_path: Path) -> None:
    """A .txt file and standard input give an utterance a line."""
    notes = tmp_path / "notes.txt"
    notes.write_text("tail lamp is dry\n")
    taken = run_json(notes, "-", given=b"hood seam has a gap\n")
    assert [entry["quote"] for entry in taken["entries"]] == ["tail lamp is dry", "hood seam has a gap"]
    assert taken["clips"][1]["file"] == "-"
    assert "there already" in run(notes).stdout


def test_sound_may_come_through_standard_input() -> None:
    """Bytes that are no text are taken for sound."""
    taken = run_json("-", given=CLIP.read_bytes())
    assert taken["clips"][0]["file"] == "-"
    assert taken["clips"][0]["text"].startswith("seam")


def test_one_bad_file_among_several_does_not_stop_the_rest(tmp_path: Path) -> None:
    """The bad one is told in one line, the rest is done, exit code 2; alone it has the code of its own fault."""
    notes = tmp_path / "notes.txt"
    notes.write_text("tail lamp is dry\n")
    fake = tmp_path / "fake.wav"
    fake.write_text("no sound")
    done = run(fake, notes)
    assert done.exit_code == 2
    assert len(done.stderr.strip().splitlines()) == 1
    assert str(fake) in done.stderr
    taken = run_json(fake, notes)
    assert set(taken["clips"][0]["error"]) == {"what", "where", "do"}
    assert taken["clips"][1]["text"] == "tail lamp is dry"
    assert run(tmp_path / "missing.wav").exit_code == 1
    assert run(fake).exit_code == 2


def test_nothing_said_is_no_error(tmp_path: Path) -> None:
    """A second of near silence gives no words, exit code 0."""
    done = run(write_sound(tmp_path / "silence.wav", 1))
    assert done.exit_code == 0
    assert "no speech" in done.stdout


def test_a_stop_says_that_nothing_is_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C ends with one line and the code that shells expect; the same command goes on."""
    monkeypatch.setattr(FakeRecogniser, "hear", lambda self, samples, hints=(): interrupt())
    done = run(CLIP)
    assert done.exit_code == 130
    assert "Run the same again" in done.stderr


def test_without_sound_what_was_left_is_finished(monkeypatch: pytest.MonkeyPatch) -> None:
    """A clip that a stop left unheard is heard without being named again."""
    with monkeypatch.context() as stopped:
        stopped.setattr(FakeRecogniser, "hear", lambda self, samples, hints=(): interrupt())
        assert run(CLIP).exit_code == 130
    taken = run_json()
    assert taken["entries"][0]["quote"] == "seam has a gap"
    assert taken["clips"] == []


def test_an_unknown_job_is_told_before_anything_is_copied(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A mistyped job harms nothing."""
    from fieldnote.cli.app import main

    monkeypatch.setattr("sys.argv", ["fieldnote", "take", "vn 3", str(CLIP), "--json"])
    monkeypatch.setattr("sys.stdin", io.StringIO())
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 1
    assert "Did you mean 'van 3'" in json.loads(capsys.readouterr().err)["error"]["do"]
    assert not (tmp_path / "home" / "sound").exists()


def test_standard_input_is_named_once() -> None:
    """It can be read once only."""
    from fieldnote.errors import UserMistake

    with pytest.raises(UserMistake, match="named twice"):
        run("-", "-", given=b"x")
