from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from fieldnote.errors import FieldnoteError, NotFound, UserMistake
from fieldnote.flow import Rooms
from fieldnote.flow.backlog import Report, list_backlog, take_many
from fieldnote.flow.crew import Fault, HeardRecording, LocalCrew, Task, cores, hear_task
from fieldnote.records import Utterance
from fieldnote.settings import load_settings
from fieldnote.store import Store
from tests.flow.deadly import die_over
from tests.flow.doubles import Copier, SmallPack, write_sound


@dataclass
class Listener:
    """A crew in this process: says each recording's name, backwards in time, and dies or stops where told."""

    room: int = 3
    stop_after: int | None = None
    broken: tuple[str, ...] = ()
    tasks: list[Task] = field(default_factory=list)
    heard: list[str] = field(default_factory=list)
    closed: bool | None = None

    def give(self, task: Task) -> None:
        self.tasks.append(task)

    def done(self) -> Iterator[HeardRecording]:
        task = self.tasks.pop()  # the last given first: results come back in any order
        if self.stop_after is not None and len(self.heard) >= self.stop_after:
            raise KeyboardInterrupt
        self.heard.append(task.path)
        text = Path(task.path).read_bytes()[-2:].hex()
        if text in self.broken:
            yield HeardRecording(task.path, fault=Fault("no sound is in this file", task.path, "Record it again."))
            return
        yield HeardRecording(
            task.path, "fake", 2.0, 16000, 1, (Utterance("", f"said {text}", from_s=0.5, to_s=1.5, engine="fake"),)
        )

    def close(self, *, at_once: bool = False) -> None:
        self.closed = at_once


@pytest.fixture
def rooms(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Rooms]:
    """Rooms with an extractor that copies."""
    monkeypatch.setattr(Rooms, "extractor", Copier())
    monkeypatch.setattr(Rooms, "pack", SmallPack())
    made = Rooms(tmp_path / "home", settings=load_settings())
    yield made
    made.store.close()


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    """Two folders of recordings, a loose one, a hidden one, a note, and a file that is no sound."""
    folder = tmp_path / "archive"
    for job, names in (("unit 5", "abc"), ("unit 6/day 2", "de")):
        (folder / job).mkdir(parents=True)
        for name in names:
            (folder / job / f"{name}.wav").write_bytes(f"sound {name}{name}".encode())
    (folder / "loose.wav").write_bytes(b"sound zz")
    (folder / ".hidden.wav").write_bytes(b"sound yy")
    (folder / "unit 5" / "later.txt").write_text("typed afterwards")
    (folder / "list.pdf").write_bytes(b"x")
    return folder


def words(rooms: Rooms, job: str) -> list[str]:
    return [said.text for said in rooms.store.job(job).utterances]


def said(*letters: str) -> list[str]:
    return [f"said {(2 * letter).encode().hex()}" for letter in letters]


def test_folders_become_jobs_and_order_is_that_of_names(rooms: Rooms, archive: Path) -> None:
    """In whatever order the crew is done, a job's words are in the order of its files; entries are made at its end."""
    reports: list[Report] = []
    done = take_many(rooms, list_backlog(archive), Listener(), progress=reports.append)
    assert sorted(line.name for line in rooms.store.jobs()) == ["loose", "unit 5", "unit 6 day 2"]
    assert words(rooms, "unit 5")[:3] == said("a", "b", "c")
    assert words(rooms, "unit 6 day 2") == said("d", "e")
    assert len(rooms.store.job("unit 5").entries) == 4
    assert (done.report.added, done.report.already, done.report.failed) == (7, 0, 0)
    assert reports[-1].files_done == reports[-1].files == 7
    assert reports[-1].bytes_done == reports[-1].bytes
    assert not any(rooms.store.is_stale(job_id) for job_id in done.jobs)


def test_running_it_again_hears_nothing(rooms: Rooms, archive: Path) -> None:
    """What is there already is known by its hash, and is not even copied."""
    take_many(rooms, list_backlog(archive), Listener())
    crew = Listener()
    again = take_many(rooms, list_backlog(archive), crew)
    assert (crew.heard, again.report.added, again.report.already) == ([], 0, 7)


@pytest.mark.parametrize("stop_after", range(6))
def test_a_stopped_backlog_goes_on(rooms: Rooms, archive: Path, stop_after: int) -> None:
    """After a stop only the rest is heard, and the order of words is as if it had not been stopped."""
    crew = Listener(stop_after=stop_after)
    with pytest.raises(KeyboardInterrupt):
        take_many(rooms, list_backlog(archive), crew)
    assert crew.closed is True  # sent home at once
    rest = Listener()
    take_many(rooms, list_backlog(archive), rest)
    assert len(rest.heard) == 6 - stop_after
    assert rest.closed is False
    assert words(rooms, "unit 5")[:3] == said("a", "b", "c")
    assert words(rooms, "unit 6 day 2") == said("d", "e")


def test_what_is_no_sound_is_told_and_opens_no_job(rooms: Rooms, archive: Path) -> None:
    """The fault names the file as given; the copy is taken off the shelf again; the rest is done."""
    done = take_many(rooms, list_backlog(archive), Listener(broken=("7a7a", "6262")))
    assert sorted(error.where for error in done.errors) == [
        str(archive / "loose.wav"),
        str(archive / "unit 5" / "b.wav"),
    ]
    assert done.report.failed == 2
    assert sorted(line.name for line in rooms.store.jobs()) == ["unit 5", "unit 6 day 2"]
    assert words(rooms, "unit 5")[:2] == said("a", "c")
    assert len([path for path in rooms.store.sounds.folder.rglob("*") if path.is_file()]) == 4


def test_the_same_sound_in_two_folders_is_heard_once_and_kept_in_both(rooms: Rooms, archive: Path) -> None:
    """One copy on the shelf, a clip in each job."""
    (archive / "unit 6" / "day 2" / "copy.wav").write_bytes((archive / "unit 5" / "a.wav").read_bytes())
    crew = Listener(room=20)
    take_many(rooms, list_backlog(archive), crew)
    assert len(crew.heard) == 6
    assert words(rooms, "unit 6 day 2") == said("a", "d", "e")
    assert words(rooms, "unit 5")[:3] == said("a", "b", "c")


def test_a_backlog_can_go_into_one_job(rooms: Rooms, archive: Path) -> None:
    """All recordings of the folder, in the order of their paths."""
    rooms.store.open_job("van 3")
    take_many(rooms, list_backlog(archive, into="van 3"), Listener())
    assert len(rooms.store.jobs()) == 1
    assert words(rooms, "van 3")[:-1] == said("z", "a", "b", "c", "d", "e")


def test_folders_without_recordings_are_said(tmp_path: Path) -> None:
    """A missing folder, a file, and a folder of other things."""
    with pytest.raises(NotFound):
        list_backlog(tmp_path / "nothing")
    (tmp_path / "letter.pdf").write_bytes(b"x")
    with pytest.raises(UserMistake, match="this is a file"):
        list_backlog(tmp_path / "letter.pdf")
    with pytest.raises(UserMistake, match="no recording lies"):
        list_backlog(tmp_path)


# ---- real processes -------------------------------------------------------------------------------------------


def task(path: Path) -> Task:
    settings = load_settings()
    return Task(str(path), settings, settings.pack.name, str(path.parent / "home"))


def _gather(crew: LocalCrew, count: int) -> dict[str, HeardRecording]:
    found: dict[str, HeardRecording] = {}
    while len(found) < count:
        found |= {Path(heard.path).name: heard for heard in crew.done()}
    return found


def test_a_fault_travels_between_processes_as_data(tmp_path: Path) -> None:
    """What a worker cannot read comes back as what, where, do."""
    path = tmp_path / "fake.wav"
    path.write_text("no sound")
    heard = hear_task(task(path))
    assert heard.fault is not None
    assert heard.fault.where == str(path)


@pytest.mark.slow
def test_a_worker_that_dies_costs_only_its_recording(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A recording over which a worker died goes to another; one that kills every time is given up; the rest is done."""
    monkeypatch.setattr("fieldnote.flow.crew.hear_task", die_over)
    crew = LocalCrew(2)
    names = ["one", "unlucky", "two", "deadly", "three"]
    try:
        for name in names:
            crew.give(task(write_sound(tmp_path / f"{name}.wav", 1)))
        found = _gather(crew, len(names))
    finally:
        crew.close(at_once=True)
    assert {name for name, heard in found.items() if heard.fault is None} == {
        "one.wav",
        "unlucky.wav",
        "two.wav",
        "three.wav",
    }
    fault = found["deadly.wav"].fault
    assert fault is not None
    assert "died" in fault.what


def test_as_many_workers_as_cores() -> None:
    """The cores that this process may use, not those of the machine."""
    assert 1 <= cores() <= (os.cpu_count() or 1)


def test_errors_of_the_tree_are_what_a_backlog_reports(rooms: Rooms, archive: Path) -> None:
    """Every error can be printed as one line."""
    done = take_many(rooms, list_backlog(archive), Listener(broken=("7a7a",)))
    assert all(isinstance(error, FieldnoteError) and "\n" not in str(error) for error in done.errors)
    assert isinstance(rooms.store, Store)
