"""A copy of the whole store, made while it is in use. The copy is itself a data folder.

The database is copied as of one moment through SQLite's own backup interface, while others read and write; then every
sound that it names is copied, where the copy does not have it: sound never changes, so a second backup into the same
folder copies only what is new.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fieldnote.errors import StoreFault, UserMistake
from fieldnote.store.connection import FILE_NAME
from fieldnote.store.faults import file_fault, plain_faults

if TYPE_CHECKING:
    from fieldnote.store.store import Store

Progress = Callable[[float, str], None]
_FILES = """
  SELECT path, bytes FROM sound WHERE let_go_at IS NULL
  UNION SELECT path, bytes FROM photo WHERE deleted_at IS NULL ORDER BY path
"""


@dataclass(frozen=True, slots=True)
class Copy:
    """What a backup holds. ``sounds``: with the photos; ``missing``: those that the store itself has no more."""

    folder: Path
    jobs: int
    sounds: int
    copied: int
    missing: int


def back_up(store: Store, folder: Path, *, progress: Progress | None = None) -> Copy:
    """Copy the store into ``folder``, which may hold an earlier copy.

    Raises:
        UserMistake: the folder is the data folder itself, or holds something else.
        StoreFault: it cannot be written, or the database is damaged (an earlier copy then stays as it was).

    """
    told = progress or (lambda share, doing: None)
    if folder.resolve() == store.home.resolve():
        raise UserMistake("this is the data folder itself", where=str(folder), do="Name another folder.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if any(folder.iterdir()) and not (folder / FILE_NAME).is_file():
            raise UserMistake("this folder holds other things", where=str(folder), do="Name an empty or a new folder.")
    except OSError as error:
        raise file_fault(error, folder) from error
    told(0.0, "the database")
    rows, jobs = _copy_database(store, folder)
    copied = missing = 0
    for number, (path, size) in enumerate(rows):
        told(0.2 + 0.8 * number / len(rows), f"sound {number + 1} of {len(rows)}")
        target = folder / path
        if target.is_file() and target.stat().st_size == size:
            continue
        if not (store.home / path).is_file():
            missing += 1
            continue
        _copy_file(store.home / path, target)
        copied += 1
    told(1.0, "done")
    return Copy(folder, jobs, len(rows) - missing, copied, missing)


def _copy_database(store: Store, folder: Path) -> tuple[list[tuple[str, int]], int]:
    """Copy the database; gives the sounds that it names (path, bytes) and the number of jobs."""
    part = folder / f".part-{uuid.uuid4().hex}"
    try:
        with plain_faults(part), store.reading_alone() as source:
            copy = sqlite3.connect(part)
            try:
                source.backup(copy)
                broken = copy.execute("PRAGMA quick_check(1)").fetchone()[0]
                if broken != "ok":
                    raise StoreFault(
                        f"the database is damaged ({broken})",
                        where=str(store.path),
                        do="Run `fieldnote store check`. The earlier backup was left as it was.",
                    )
                # The copy opens anywhere, from read-only media too, with no other files beside it.
                copy.execute("PRAGMA journal_mode = DELETE")
                rows = copy.execute(_FILES).fetchall()
                jobs = copy.execute("SELECT count(*) FROM job").fetchone()[0]
            finally:
                copy.close()
            with part.open("rb+") as written:
                os.fsync(written.fileno())
            for suffix in ("-wal", "-shm"):
                (folder / f"{FILE_NAME}{suffix}").unlink(missing_ok=True)
            part.replace(folder / FILE_NAME)
    finally:
        part.unlink(missing_ok=True)
    return [(str(path), int(size)) for path, size in rows], int(jobs)


def _copy_file(source: Path, target: Path) -> None:
    part = target.with_name(f".part-{uuid.uuid4().hex}")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(source, part)
        with part.open("rb+") as written:
            os.fsync(written.fileno())
        part.replace(target)
    except OSError as error:
        raise file_fault(error, target) from error
    finally:
        part.unlink(missing_ok=True)
