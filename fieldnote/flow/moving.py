"""Jobs from one machine to another, and the store as a whole: bundles, self-check, backup."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from fieldnote.errors import UserMistake
from fieldnote.flow.advising import all_lessons
from fieldnote.flow.rooms import Rooms
from fieldnote.flow.understanding import re_extract
from fieldnote.store import Store
from fieldnote.store.bundles import read_bundle, write_bundle
from fieldnote.store.portable import Merged

Progress = Callable[[float, str], None]
_MANY = 50


@dataclass(frozen=True, slots=True)
class Arrived:
    """What came in: a report a job, and how many sounds were new."""

    jobs: tuple[Merged, ...]
    sounds: int


def export_jobs(
    store: Store,
    jobs: Sequence[str],
    out: Path,
    *,
    sound: bool = True,
    photos: bool = False,
    progress: Progress | None = None,
) -> tuple[str, ...]:
    """Write jobs (ids, names, or the start of either; none: all of them) into a bundle; gives their ids.

    Raises:
        NotFound: no such job.
        UserMistake: there is no job at all.
        StoreFault: the file cannot be written.

    """
    ids = tuple(dict.fromkeys(store.find_id(job) for job in jobs)) or tuple(line.id for line in store.jobs())
    if not ids:
        raise UserMistake("there is no job yet", where=str(store.home), do="`fieldnote job new NAME` opens one.")
    write_bundle(store, ids, out, sound=sound, photos=photos, progress=progress)
    return ids


def import_jobs(rooms: Rooms, bundle: Path, *, progress: Progress | None = None) -> Arrived:
    """Take the jobs of a bundle in, and make the entries anew of those whose words came together from two machines.

    Raises:
        NotFound: there is no such file.
        BadData: it is no bundle, is damaged, or holds what no bundle holds; nothing was taken in.
        StoreFault: the data folder cannot be used.

    """
    taken = read_bundle(rooms.store, bundle, progress=progress)
    for merged in taken.jobs:
        if merged.stale:
            job = rooms.store.job(merged.job_id)
            re_extract(rooms.store, job, rooms.for_pack(job.pack).extractor)
    if len(taken.jobs) > _MANY and rooms.has_map:
        # Whoever asks for advice next does not wait for what so many jobs teach.
        all_lessons(rooms.store, rooms.leak_map, rooms.pack.id, progress)
    return Arrived(taken.jobs, taken.sounds)
