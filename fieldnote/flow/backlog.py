"""A backlog: a folder of recordings into jobs, on all cores, going on after a stop.

Each folder inside becomes a job of its name, each recording that lies loose a job of its own. The sound is copied
before it is heard and kept by its hash, so running the same again hears only what is not done. Processes hear; this
one alone writes to the store.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path

from fieldnote.errors import BadData, FieldnoteError, NotFound, StoreFault, UserMistake
from fieldnote.flow.crew import Crew, HeardRecording, Task
from fieldnote.flow.lone_corrections import LoneCorrections, first_word_s
from fieldnote.flow.rooms import Rooms
from fieldnote.flow.taking import utterance_id
from fieldnote.flow.texts import is_text, read_lines
from fieldnote.flow.understanding import understand
from fieldnote.records import Clip
from fieldnote.store import Kept, Store
from fieldnote.store.identity import id_from

SOUND_SUFFIXES = frozenset(
    (".wav", ".wave", ".flac", ".ogg", ".oga", ".opus", ".mp3", ".m4a", ".mp4", ".aac", ".aif", ".aiff", ".wma", ".amr")
)
"""Files with other endings are left alone: an archive holds much that is no sound."""


@dataclass(frozen=True, slots=True)
class Item:
    """One file of a backlog and the job that it goes to. ``key`` orders the files of a job."""

    path: Path
    job: str
    key: str
    bytes: int


@dataclass(frozen=True, slots=True)
class Report:
    """How far a backlog has come."""

    files: int
    bytes: int
    files_done: int = 0
    bytes_done: int = 0
    added: int = 0
    already: int = 0
    failed: int = 0


@dataclass(frozen=True, slots=True)
class Backlog:
    """What came of a backlog: ids of the jobs that it touched, and what could not be used."""

    report: Report
    jobs: tuple[str, ...]
    errors: tuple[FieldnoteError, ...] = ()


@dataclass
class _Run:
    """What has to be remembered while a backlog is worked off."""

    report: Report
    jobs: dict[str, str] = field(default_factory=dict)
    """Ids by name."""
    in_hand: dict[str, tuple[Kept, list[Item]]] = field(default_factory=dict)
    """By the path of the copy: the copy, and the files that have this sound (mostly one)."""
    left: dict[str, int] = field(default_factory=dict)
    """How many files of a job (by its name) are not done."""
    errors: list[FieldnoteError] = field(default_factory=list)


def list_backlog(folder: Path, *, into: str | None = None) -> tuple[Item, ...]:
    """The files of a backlog in order; ``into`` names one job for all of them.

    Raises:
        NotFound: there is no such folder.
        UserMistake: it is a file, or nothing in it is a recording.

    """
    if not folder.exists():
        raise NotFound("there is no such folder", where=str(folder), do="Check the name.")
    if not folder.is_dir():
        raise UserMistake("this is a file", where=str(folder), do="Name the folder that the recordings are in.")
    found = sorted(
        (path for path in folder.rglob("*") if path.is_file() and _is_wanted(path)),
        key=lambda path: path.relative_to(folder).parts,
    )
    if not found:
        raise UserMistake("no recording lies in this folder", where=str(folder), do="Name another folder.")
    return tuple(
        Item(path, into or _job_of(path.relative_to(folder)), path.relative_to(folder).as_posix(), path.stat().st_size)
        for path in found
    )


def _is_wanted(path: Path) -> bool:
    return not path.name.startswith(".") and (path.suffix.lower() in SOUND_SUFFIXES or is_text(path))


def _job_of(path: Path) -> str:
    """The job of a file: the folder that it lies in, with those above it; a loose file is a job of its own."""
    return " ".join(path.parent.parts) if len(path.parts) > 1 else path.stem


def take_many(
    rooms: Rooms, items: Iterable[Item], crew: Crew, *, progress: Callable[[Report], None] | None = None
) -> Backlog:
    """Work off a backlog.

    Args:
        rooms: store, vocabulary and extractor.
        items: what ``list_backlog`` gave.
        crew: who hears.
        progress: told after every file.

    Raises:
        StoreFault: the data folder cannot be used; what was heard until then is kept.

    """
    listed = list(items)
    told = progress or (lambda report: None)
    run = _Run(Report(len(listed), sum(item.bytes for item in listed)))
    for item in listed:
        run.left[item.job] = run.left.get(item.job, 0) + 1
    at_once = True
    try:
        for item in listed:
            while len(run.in_hand) >= crew.room:
                _collect(rooms, run, crew, told)
            _begin(rooms, run, item, crew)
            told(run.report)
        while run.in_hand:
            _collect(rooms, run, crew, told)
        at_once = False
    finally:
        crew.close(at_once=at_once)
    return Backlog(run.report, tuple(run.jobs.values()), tuple(run.errors))


def _begin(rooms: Rooms, run: _Run, item: Item, crew: Crew) -> None:
    """Copy a file and give it to the crew; what is there already is done with."""
    store = rooms.store
    try:
        if is_text(item.path):
            lines = read_lines(item.path)
            added, _ = store.add_text(_job_id(rooms, run, item), lines, source=item.path.name, once=True)
            _finish(rooms, run, item, added=bool(added))
            return
        if _is_heard(rooms, run, item):
            _finish(rooms, run, item, added=False)
            return
        kept = store.sounds.keep(item.path)
    except StoreFault:
        raise
    except FieldnoteError as error:
        _fail(rooms, run, item, error)
        return
    copy = str(store.home / kept.path)
    if copy in run.in_hand:  # the same sound in another place: heard once, kept in both
        run.in_hand[copy][1].append(item)
        return
    run.in_hand[copy] = (kept, [item])
    crew.give(Task(copy, rooms.settings, rooms.settings.pack.name, str(rooms.home)))


def _is_heard(rooms: Rooms, run: _Run, item: Item) -> bool:
    """Whether the job has this sound and its words."""
    job_id = run.jobs.get(item.job) or rooms.store.find_named(item.job)
    if job_id is None:
        return False
    run.jobs[item.job] = job_id
    return _has_words(rooms.store, job_id, rooms.store.clip_of_sound(job_id, rooms.store.sounds.hash_of(item.path)))


def _has_words(store: Store, job_id: str, clip: Clip | None) -> bool:
    return clip is not None and clip.id not in {waiting.id for waiting in store.unheard_clips(job_id)}


def _job_id(rooms: Rooms, run: _Run, item: Item) -> str:
    """The job of a file, opened now where there is none: a file that is no recording opens no job."""
    job_id = run.jobs.get(item.job) or rooms.store.find_named(item.job)
    if job_id is None:
        job_id = rooms.store.open_job(item.job, pack=rooms.settings.pack.name).id
    run.jobs[item.job] = job_id
    return job_id


def _collect(rooms: Rooms, run: _Run, crew: Crew, told: Callable[[Report], None]) -> None:
    """Keep what the crew has done."""
    for heard in crew.done():
        kept, items = run.in_hand.pop(heard.path)
        for item in items:
            if heard.fault is None:
                keep_heard(rooms.store, _job_id(rooms, run, item), item, kept, heard, LoneCorrections.of(rooms.pack))
                _finish(rooms, run, item, added=True)
            else:
                where = str(item.path) if heard.fault.where == heard.path else heard.fault.where
                _fail(rooms, run, item, BadData(heard.fault.what, where=where, do=heard.fault.do))
        if heard.fault is not None:
            rooms.store.drop_unclaimed(kept)
        told(run.report)


def keep_heard(
    store: Store, job_id: str, item: Item, kept: Kept, heard: HeardRecording, corrections: LoneCorrections
) -> None:
    """Keep a recording and its words, all at once; keeping it a second time changes nothing."""
    clip = Clip(
        id_from("c", job_id, kept.sha256),
        kept.sha256,
        str(item.path),
        kept.path,
        heard.duration_s,
        heard.rate_hz,
        heard.channels,
    )
    with store.atomic():
        clip = store.add_clip(job_id, kept, clip, after=item.key)
        if _has_words(store, job_id, clip):
            return
        hearing_id, heard_to_s = store.begin_hearing(job_id, clip, heard.engine)
        for alone in heard.utterances:
            said = corrections.joined(alone, first_word_s(alone))
            if (said.to_s or 0.0) > heard_to_s + 1e-6:
                named = replace(said, id=utterance_id(clip.id, said), clip_id=clip.id)
                store.add_heard(hearing_id, named, said.to_s or 0.0)
        store.end_hearing(hearing_id)


def _finish(rooms: Rooms, run: _Run, item: Item, *, added: bool) -> None:
    run.report = replace(run.report, added=run.report.added + added, already=run.report.already + (not added))
    _count(rooms, run, item)


def _fail(rooms: Rooms, run: _Run, item: Item, error: FieldnoteError) -> None:
    run.errors.append(error)
    run.report = replace(run.report, failed=run.report.failed + 1)
    _count(rooms, run, item)


def _count(rooms: Rooms, run: _Run, item: Item) -> None:
    """One file less; with a job's last one, its entries are made."""
    run.report = replace(
        run.report, files_done=run.report.files_done + 1, bytes_done=run.report.bytes_done + item.bytes
    )
    run.left[item.job] -= 1
    if run.left[item.job] == 0 and item.job in run.jobs:
        job = rooms.store.job(run.jobs[item.job])
        understand(rooms.store, job, rooms.for_pack(job.pack).extractor, only_if_stale=True)
