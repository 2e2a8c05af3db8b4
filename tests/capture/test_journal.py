"""The sound journal: on disk as it comes, nothing twice, nothing lost by a process that is killed."""

from __future__ import annotations

import contextlib
import errno
import itertools
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from fieldnote.capture import journal as journal_module
from fieldnote.capture.journal import Journal, Stretch, UnkeptStretch
from fieldnote.errors import StoreFault, UserMistake
from tests.flow.killed_listener import NUMBERS, SPEED, sentence

RATE_HZ = 16_000
STARTED = "2026-01-05T08:00:00.000000Z"
ROOT = Path(__file__).parents[2]


def block(start: int, count: int = 160) -> np.ndarray:
    return np.arange(start, start + count, dtype=np.int16)


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[Callable[[], Journal]]:
    """Opens the journal of a job, and lets go of it in the end."""
    with contextlib.ExitStack() as stack:

        def open_one() -> Journal:
            journal = Journal(tmp_path, "j1")
            stack.callback(journal.close)
            return journal

        yield open_one


def begun(journal: Journal) -> Stretch:
    stretch = journal.begin(RATE_HZ, STARTED, 0.0)
    assert isinstance(stretch, Stretch)
    return stretch


def started_at(at_s: float) -> str:
    return f"second {at_s:g}"


def killed(folder: Path, times: int, seed: int) -> list[dict[str, object]]:
    command = [sys.executable, "-m", "tests.flow.killed_listener", str(folder), str(times), str(seed)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=60 + 20 * times, check=False)
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


def check(runs: list[dict[str, object]], times: int) -> None:
    """Little is lost, every sample is in one clip, every sentence and entry is there once, in order.

    0.5 s may be lost. The sound is fed faster than real time and the machine may be busy, so a fifth of that, 0.1 s on
    the wall's clock, is allowed here.
    """
    assert len(runs) == times
    for run in runs:
        fed, kept, said, items = (run[name] for name in ("fed", "kept", "said", "items"))
        assert isinstance(fed, int) and isinstance(kept, int) and isinstance(said, list) and isinstance(items, list)
        assert 0 <= (fed - kept) / RATE_HZ / SPEED <= 0.1, run
        assert run["same"], run
        assert (run["in_clips"], run["left"]) == (kept, 0), run
        assert said == [sentence(n) for n in NUMBERS][: len(said)], run
        assert items == list(NUMBERS)[: len(items)] and len(items) == len(said), run
        # 0.65 s before the first number, then 1.4 s each: a number that was heard for a tenth of a second is written.
        assert len(said) >= int((kept / RATE_HZ - 0.65 - 0.12) / 1.4), run


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="processes are forked and killed as POSIX does it")
def test_a_killed_listener_loses_at_most_half_a_second(tmp_path: Path) -> None:
    """Ten kills at points drawn with a fixed seed: samples and entries are counted."""
    check(killed(tmp_path, 10, seed=6), 10)


@pytest.mark.soak
@pytest.mark.skipif(os.name != "posix", reason="processes are forked and killed as POSIX does it")
def test_a_hundred_kills(tmp_path: Path) -> None:
    """The same a hundred times."""
    check(killed(tmp_path, 100, seed=7), 100)


def test_sound_is_on_disk_as_soon_as_it_is_added(opened: Callable[[], Journal]) -> None:
    """What another process would read after a kill is what was added."""
    journal = opened()
    stretch = begun(journal)
    for start in range(0, 1600, 160):
        stretch.append(block(start))
    raw = next(journal.folder.glob("*.raw")).read_bytes()
    assert np.array_equal(np.frombuffer(raw, "<i2"), block(0, 1600))
    assert np.array_equal(stretch.read(150, 330), block(150, 180))


def test_the_disk_is_forced_every_half_second(opened: Callable[[], Journal], monkeypatch: pytest.MonkeyPatch) -> None:
    """Two seconds of blocks of 0.1 s force the disk at least four times."""
    stretch = begun(opened())
    synced: list[float] = []
    # A whole number of seconds to begin with: half seconds are then met exactly, whatever the machine's clock says.
    start_s = float(int(time.monotonic()) + 1)
    clock = [start_s]
    monkeypatch.setattr(journal_module.time, "monotonic", lambda: clock[0])
    monkeypatch.setattr(journal_module.os, "fsync", lambda handle: synced.append(clock[0]))
    for n in range(21):
        clock[0] = start_s + n / 10
        stretch.append(block(n * 1600, 1600))
    assert len(synced) >= 4
    assert max(b - a for a, b in itertools.pairwise(synced)) <= 0.6


def test_a_full_disk_holds_sound_in_memory_and_loses_none(
    opened: Callable[[], Journal], monkeypatch: pytest.MonkeyPatch
) -> None:
    """While writing fails all samples can be read; once it works they are on disk in order."""
    journal = opened()
    stretch = begun(journal)
    stretch.append(block(0))
    with monkeypatch.context() as full:

        def refuse(file: object, data: bytes) -> None:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

        full.setattr(journal_module, "_write_all", refuse)
        stretch.append(block(160))
        stretch.append(block(320))
        assert stretch.trouble is not None and stretch.trouble.errno == errno.ENOSPC
        assert np.array_equal(stretch.read(0, 480), block(0, 480))
        assert stretch.samples == 480
    stretch.append(block(480))
    assert stretch.trouble is None
    assert np.array_equal(np.frombuffer(next(journal.folder.glob("*.raw")).read_bytes(), "<i2"), block(0, 640))


def test_a_split_leaves_every_sample_in_one_stretch(opened: Callable[[], Journal]) -> None:
    """What came after the word that switched begins the next stretch."""
    journal = opened()
    old = begun(journal)
    old.append(block(0, 1000))
    new = journal.split(old, 700, "standing-by", started_at)
    assert (old.ended, old.samples, new.samples) == (True, 700, 300)
    assert np.array_equal(new.read(0, 300), block(700, 300))
    assert (new.info.from_s, new.info.started_at) == (700 / RATE_HZ, "second 0.04375")


def test_a_split_that_was_killed_half_way_gives_nothing_twice(
    opened: Callable[[], Journal], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second stretch counts and the first was not yet shortened: its end is left out."""
    journal = opened()
    old = begun(journal)
    old.append(block(0, 1000))
    monkeypatch.setattr(Stretch, "cut_off", lambda self, at: None)
    journal.split(old, 700, "standing-by", started_at)
    journal.close()
    left = opened().left()
    assert [(s.samples, s.info.mode) for s in left] == [(700, "listening"), (300, "standing-by")]


def test_off_the_record_deletes_what_came_since_and_writes_nothing(opened: Callable[[], Journal]) -> None:
    """The bytes after the word are gone from the file, and new sound stays in memory."""
    journal = opened()
    old = begun(journal)
    old.append(block(0, 1000))
    unkept = journal.split(old, 700, "off-the-record", started_at)
    unkept.append(block(1000))
    assert isinstance(unkept, UnkeptStretch)
    assert np.array_equal(unkept.read(0, 460), block(700, 460))
    files = {path.suffix: path.stat().st_size for path in journal.folder.iterdir() if path.suffix in (".raw", ".json")}
    assert files[".raw"] == 1400
    unkept.forget(60 * RATE_HZ)
    assert len(unkept.read(0, unkept.samples)) == 0


def test_what_never_came_to_count_is_swept_up(opened: Callable[[], Journal]) -> None:
    """Raw sound without its line of JSON, and a line without sound, are what a kill in between leaves."""
    journal = opened()
    begun(journal).append(block(0))
    (journal.folder / "000009-abc.raw").write_bytes(b"\0\0")
    next(journal.folder.glob("000001*.raw")).rename(journal.folder / "000010-def.raw")
    assert journal.left() == ()
    assert not list(journal.folder.glob("*.raw")) and not list(journal.folder.glob("*.json"))


def test_a_line_that_is_no_stretch_is_left_alone(opened: Callable[[], Journal]) -> None:
    """A damaged line loses no sound of others and is not deleted."""
    journal = opened()
    begun(journal).append(block(0))
    odd = journal.folder / "000009-odd.json"
    odd.write_text("{half")
    assert [s.samples for s in journal.left()] == [160]
    assert odd.exists()


def test_spans_of_the_own_voice_survive_a_kill(opened: Callable[[], Journal]) -> None:
    """Touching spans are one; a torn last line is left out."""
    journal = opened()
    stretch = begun(journal)
    stretch.note_own_voice(100, 200)
    stretch.note_own_voice(200, 300)
    with next(journal.folder.glob("*.own")).open("a") as file:
        file.write("400 ")
    assert stretch.own_voice == ((100, 300),)
    assert journal.left()[0].own_voice == ((100, 300),)


def test_two_listeners_on_one_job_are_refused(tmp_path: Path) -> None:
    """The second is told so in one line; another job is free; after the first ended it may."""
    first = Journal(tmp_path, "j1")
    with pytest.raises(UserMistake, match="listened to already"):
        Journal(tmp_path, "j1")
    Journal(tmp_path, "j2").close()
    first.close()
    Journal(tmp_path, "j1").close()


def test_a_folder_that_cannot_be_written_is_told_in_one_line(tmp_path: Path) -> None:
    """A file stands where the folder should be."""
    (tmp_path / "journal").write_text("")
    with pytest.raises(StoreFault, match="cannot be written"):
        Journal(tmp_path, "j1")
