"""Watches a folder: recordings dropped there, by a phone for one, are taken once each and whole.

A file that is still being written is left alone until neither its size nor its time has changed for a moment. What the
job has already is known by the hash of its bytes, so that a restart takes nothing twice; files stay where they are.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from fieldnote.errors import NotFound, UserMistake

SUFFIXES = frozenset((".wav", ".flac", ".ogg", ".oga", ".opus", ".mp3", ".m4a", ".aac", ".mp4", ".wma", ".amr", ".txt"))
"""Recordings, and notes as text; everything else in the folder is not looked at."""
SETTLED_S = 2.0
_LOOK_EVERY_S = 1.0


@dataclass(frozen=True, slots=True)
class _Look:
    size: int
    changed_ns: int


class Watch:
    """The files of one folder (not of those in it) that have settled and were not given yet."""

    def __init__(
        self, folder: Path, *, settled_s: float = SETTLED_S, clock: Callable[[], float] = time.monotonic
    ) -> None:
        """Begin to watch.

        Raises:
            NotFound: there is no such folder.
            UserMistake: it is a file, or may not be read.

        """
        self._folder = folder
        self._settled_s = settled_s
        self._clock = clock
        self._seen: dict[Path, tuple[_Look, float]] = {}
        self._given: dict[Path, _Look] = {}
        self._files()

    def settled(self) -> list[Path]:
        """Files that have not changed for a while and were not given as they are now; the oldest first.

        Raises:
            NotFound, UserMistake: the folder went away, or may not be read any more.

        """
        now, ready = self._clock(), []
        files = self._files()
        for path, look in files.items():
            before = self._seen.get(path)
            since = before[1] if before is not None and before[0] == look else now
            self._seen[path] = (look, since)
            # An empty file is one that is about to be written.
            if look.size and now - since >= self._settled_s and self._given.get(path) != look:
                ready.append(path)
        for gone in self._seen.keys() - files.keys():
            del self._seen[gone]
            self._given.pop(gone, None)
        for path in ready:
            self._given[path] = files[path]
        return sorted(ready, key=lambda path: (files[path].changed_ns, path.name))

    def forever(self, stop: Callable[[float], bool]) -> Iterator[list[Path]]:
        """Batches of settled files as they come, until ``stop``, which waits that many seconds, says so."""
        while True:
            ready = self.settled()
            if ready:
                yield ready
            if stop(_LOOK_EVERY_S):
                return

    def _files(self) -> dict[Path, _Look]:
        try:
            found = sorted(self._folder.iterdir())
        except FileNotFoundError:
            raise NotFound("there is no such folder", where=str(self._folder), do="Check the name.") from None
        except NotADirectoryError:
            raise UserMistake(
                "a file, not a folder", where=str(self._folder), do="Name the folder it lies in."
            ) from None
        except OSError as error:
            raise UserMistake(
                f"this folder cannot be read ({error.strerror})", where=str(self._folder), do="Check its permissions."
            ) from error
        looks = {}
        for path in found:
            # Names that begin with a dot are what file-sharing programs write into until they are done.
            if path.name.startswith(".") or path.suffix.lower() not in SUFFIXES:
                continue
            try:
                state = path.stat()
            except OSError:
                continue
            if path.is_file():
                looks[path] = _Look(state.st_size, state.st_mtime_ns)
        return looks
