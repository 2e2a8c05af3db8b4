"""Write-ups of jobs, made once for each state of a job: a list of jobs shows what is missing in each of them."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Hashable
from threading import Lock

from fieldnote.flow import Rooms, write_up
from fieldnote.records import Job, Narrative
from fieldnote.suggest import LeakMap

_KEPT = 500


class WriteUps:
    """The newest write-up of each job. Safe from several threads."""

    def __init__(self) -> None:
        self._kept: OrderedDict[Hashable, Narrative] = OrderedDict()
        self._lock = Lock()

    def of(self, rooms: Rooms, job: Job) -> Narrative:
        """The write-up of a job as it stands; ``version`` as ``flow.write_up`` gives it."""
        versions = tuple(version.hash for version in rooms.store.versions(job.id))
        key = (
            job.id,
            rooms.pack.hash,
            job.entries,
            job.intake,
            job.status,
            job.stranded_edits,
            job.differences,
            versions,
        )
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        made = write_up(rooms.store, job, rooms.pack, cautions=rooms.cautions, leak_map=map_of(rooms))
        with self._lock:
            self._kept[key] = made
            while len(self._kept) > _KEPT:
                self._kept.popitem(last=False)
        return made


def map_of(rooms: Rooms) -> LeakMap | None:
    """The leak map of the pack; none where the pack has no such file."""
    if not any((folder / "leak_map.toml").is_file() for folder in rooms.pack.folders):
        return None
    return rooms.leak_map


__all__ = ["WriteUps", "map_of"]
