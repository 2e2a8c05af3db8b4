"""A watched folder: each recording once, whole, whatever else lies there."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
import soundfile

from fieldnote.errors import NotFound, UserMistake
from fieldnote.flow.watching import Watch

SAMPLES = Path(__file__).parents[2] / "sample_audio"


class Clock:
    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


def looks(watch: Watch, clock: Clock, seconds: float = 2.0) -> list[str]:
    """What is given now and after ``seconds``."""
    found = watch.settled()
    clock.now += seconds
    return [path.name for path in (*found, *watch.settled())]


def test_a_file_is_given_once_it_has_settled(tmp_path: Path) -> None:
    """Not at the first look, not twice, and not before two seconds without a change."""
    clock = Clock()
    watch = Watch(tmp_path, clock=clock)
    (tmp_path / "memo.m4a").write_bytes(b"1")
    assert looks(watch, clock, 1.9) == []
    assert looks(watch, clock, 0.1) == ["memo.m4a"]
    assert looks(watch, clock, 60) == []


def test_a_file_that_is_still_being_written_is_left_alone(tmp_path: Path) -> None:
    """Each change begins the wait anew, also one that leaves the size as it is."""
    clock, path = Clock(), tmp_path / "memo.wav"
    watch = Watch(tmp_path, clock=clock)
    path.write_bytes(b"1")
    for n in range(2, 6):
        assert looks(watch, clock, 1.5) == []
        path.write_bytes(b"1" * n)
    assert watch.settled() == []
    os.utime(path, ns=(1, 1))
    assert looks(watch, clock, 1.9) == []
    assert looks(watch, clock, 0.2) == ["memo.wav"]


def test_a_file_that_is_recorded_over_is_given_again(tmp_path: Path) -> None:
    """The same name with other content is another recording."""
    clock, path = Clock(), tmp_path / "memo.wav"
    watch = Watch(tmp_path, clock=clock)
    path.write_bytes(b"1")
    assert looks(watch, clock) == ["memo.wav"]
    path.write_bytes(b"22")
    assert looks(watch, clock) == ["memo.wav"]


@pytest.mark.parametrize("name", [".memo.wav", "memo.wav.part", "picture.jpg", "Thumbs.db", "noending"])
def test_what_is_no_recording_is_not_looked_at(tmp_path: Path, name: str) -> None:
    """Half copies of file-sharing programs, pictures and the like."""
    clock = Clock()
    watch = Watch(tmp_path, clock=clock)
    (tmp_path / name).write_bytes(b"1")
    (tmp_path / "empty.wav").write_bytes(b"")
    (tmp_path / "folder.wav").mkdir()
    assert looks(watch, clock) == []


def test_a_folder_that_is_not_there_or_goes_away(tmp_path: Path) -> None:
    """One line each."""
    with pytest.raises(NotFound, match="no such folder"):
        Watch(tmp_path / "none")
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(UserMistake, match="a file, not a folder"):
        Watch(tmp_path / "file")
    (tmp_path / "there").mkdir()
    watch = Watch(tmp_path / "there")
    (tmp_path / "there").rmdir()
    with pytest.raises(NotFound):
        watch.settled()


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="the command is ended as Ctrl-C ends it on POSIX")
def test_the_command_takes_what_is_dropped(tmp_path: Path) -> None:
    """A memo written in two halves is taken whole; a broken one is told and does not end it; Ctrl-C does, with 0."""
    env = {**os.environ, "FIELDNOTE_HOME": str(tmp_path / "home"), "PYTHONUNBUFFERED": "1"}
    fieldnote = [sys.executable, "-m", "fieldnote"]
    drop = tmp_path / "drop"
    drop.mkdir()
    subprocess.run([*fieldnote, "job", "new", "bay 3", "--steering", "left"], env=env, check=True, capture_output=True)
    whole = (SAMPLES / "06-lamp-test.flac").read_bytes()
    with subprocess.Popen(
        [*fieldnote, "take", "bay 3", "--watch", str(drop)],
        env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as process:  # fmt: skip
        assert process.stderr is not None and process.stdout is not None
        assert "watching" in process.stderr.readline()
        (drop / "broken.wav").write_bytes(b"no sound")
        with (drop / "memo.flac").open("wb") as half:
            half.write(whole[:5000])
            half.flush()
            time.sleep(1.0)
            half.write(whole[5000:])
        assert "broken.wav" in process.stderr.readline()
        line = process.stdout.readline()
        while "memo.flac" not in line:
            line = process.stdout.readline()
        assert "five minutes" in line
        process.send_signal(signal.SIGINT)
        process.stdout.read()
        assert process.wait(20) == 0
    kept = (tmp_path / "home" / "sound").rglob("*.flac")
    assert [soundfile.info(path).frames for path in kept] == [soundfile.info(SAMPLES / "06-lamp-test.flac").frames]
