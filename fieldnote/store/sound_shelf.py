"""Sound as given, kept under the data folder by the hash of its bytes: ``sound/aa/HASH.ext``. Photos lie likewise."""

from __future__ import annotations

import hashlib
import os
import re
import uuid
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from fieldnote.errors import NotFound, UserMistake
from fieldnote.store.faults import file_fault

_CHUNK = 1 << 20
_SUFFIX = re.compile(r"\.[a-z0-9]{1,8}")


@dataclass(frozen=True, slots=True)
class Kept:
    """A file on the shelf. ``path`` is relative to the data folder; ``new``: it was not there before."""

    sha256: str
    path: str
    bytes: int
    new: bool


class SoundShelf:
    """The sound files below ``home``, or files of another kind that lie in a folder called ``name``."""

    def __init__(self, home: Path, name: str = "sound") -> None:
        self.home = home
        self.folder = home / name

    def hash_of(self, source: Path) -> str:
        """The SHA-256 of a file, without copying it.

        Raises:
            NotFound, UserMistake: as ``keep``.

        """
        digest = hashlib.sha256()
        with _open(source) as reader:
            while chunk := reader.read(_CHUNK):
                digest.update(chunk)
        return digest.hexdigest()

    def keep(self, source: Path) -> Kept:
        """Copy ``source`` onto the shelf; a sound that is there already is not copied again.

        The copy is whole or absent: it is written beside, forced to disk, then renamed.

        Raises:
            NotFound: there is no such file.
            UserMistake: it is a folder or cannot be read.
            StoreFault: the copy cannot be written (disk full, no permission).

        """
        with _open(source) as reader:
            return self.keep_stream(reader, source.suffix)

    def keep_stream(self, reader: IO[bytes], suffix: str) -> Kept:
        """The same for bytes from anywhere; ``suffix`` is what the file's name ended with.

        Raises:
            StoreFault: the copy cannot be written.

        """
        part = self.folder / f".part-{uuid.uuid4().hex}"
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            digest, size = hashlib.sha256(), 0
            with part.open("xb") as writer:
                while chunk := reader.read(_CHUNK):
                    digest.update(chunk)
                    writer.write(chunk)
                    size += len(chunk)
                writer.flush()
                os.fsync(writer.fileno())
            return self._shelve(part, digest.hexdigest(), size, suffix)
        except OSError as error:
            raise file_fault(error, self.folder) from error
        finally:
            part.unlink(missing_ok=True)

    def _shelve(self, part: Path, sha256: str, size: int, suffix: str) -> Kept:
        path = self.place_of(sha256, suffix)
        target = self.home / path
        # A target of another size is what a broken disk or an interrupted copy of a foreign tool left: replaced.
        if target.is_file() and target.stat().st_size == size:
            return Kept(sha256, path, size, new=False)
        target.parent.mkdir(parents=True, exist_ok=True)
        part.replace(target)
        _sync_folder(target.parent)
        return Kept(sha256, path, size, new=True)

    def place_of(self, sha256: str, suffix: str) -> str:
        """Where a sound lies or would lie, relative to the data folder."""
        found = self.find(sha256)
        if found is not None:
            return found
        suffix = suffix.lower()
        # The suffix comes from outside: only a plain one is taken over. A sound is found by its hash alone.
        return f"{self.folder.name}/{sha256[:2]}/{sha256}{suffix if _SUFFIX.fullmatch(suffix) else ''}"

    def find(self, sha256: str) -> str | None:
        """Where a sound lies, relative to the data folder; None where it is not here."""
        found = sorted((self.folder / sha256[:2]).glob(f"{sha256}*"))
        return found[0].relative_to(self.home).as_posix() if found else None

    def drop(self, path: str) -> None:
        """Delete a sound from the shelf, where it is there."""
        try:
            (self.home / path).unlink(missing_ok=True)
        except OSError as error:
            raise file_fault(error, self.home / path) from error


def _open(source: Path) -> IO[bytes]:
    if source.is_dir():
        raise UserMistake("this is a folder", where=str(source), do="Name the sound files in it.")
    try:
        return source.open("rb")
    except FileNotFoundError as error:
        raise NotFound("there is no such file", where=str(source), do="Check the name.") from error
    except OSError as error:
        raise UserMistake(
            f"this file cannot be read ({error.strerror})", where=str(source), do="Check its permissions."
        ) from error


def _sync_folder(folder: Path) -> None:
    """Force a rename to disk where the system allows to open a folder (POSIX)."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
