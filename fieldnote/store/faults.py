"""Turns what SQLite and the file system report into one clear line: what, where, what to do."""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from fieldnote.errors import StoreFault

_SAFE = "Nothing that was kept before is lost."


@contextmanager
def plain_faults(path: Path) -> Iterator[None]:
    """Run a block; raise ``StoreFault`` naming ``path`` where the database or the disk refuses.

    Bugs of our own (a wrong statement, a broken constraint) are not turned: they surface as they are.
    """
    try:
        yield
    except sqlite3.DatabaseError as error:
        fault = database_fault(error, path)
        if fault is None:
            raise
        raise fault from error
    except OSError as error:
        raise file_fault(error, path) from error


def database_fault(error: sqlite3.DatabaseError, path: Path) -> StoreFault | None:
    """The fault that ``error`` stands for, or None where it is no matter of the machine or the file."""
    # The primary result code is the low byte of the extended one (sqlite.org/rescode.html).
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    where = str(path)
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return StoreFault(
            "another program is writing to the jobs and did not finish in time",
            where=where,
            do=f"Wait until it is done, then run this again. {_SAFE}",
        )
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_AUTH):
        return StoreFault(
            "the jobs can be read but not written",
            where=where,
            do="Give yourself write permission to this file and its folder, or set FIELDNOTE_HOME to another folder.",
        )
    if code == sqlite3.SQLITE_FULL:
        return StoreFault("the disk is full", where=where, do=f"Free some space, then run this again. {_SAFE}")
    if code == sqlite3.SQLITE_NOTADB:
        return not_a_database(path)
    if code == sqlite3.SQLITE_CORRUPT:
        return StoreFault(
            "the database is damaged",
            where=where,
            do="Run `fieldnote store check`, and put back the newest backup. It was left as it is.",
        )
    if code == sqlite3.SQLITE_CANTOPEN:
        return StoreFault(
            "the jobs cannot be opened",
            where=where,
            do="Check that the folder exists and that you may write to it, or set FIELDNOTE_HOME to another folder.",
        )
    if code in (sqlite3.SQLITE_IOERR, sqlite3.SQLITE_PROTOCOL):
        return StoreFault(
            f"the disk reports an error ({error})",
            where=where,
            do=f"Check the disk and the space on it, then run this again. {_SAFE}",
        )
    return None


def not_a_database(path: Path) -> StoreFault:
    """The fault of a file that is something else."""
    return StoreFault(
        "this file is not a fieldnote database",
        where=str(path),
        do="Move it out of the way, or set FIELDNOTE_HOME to another folder. It was left as it is.",
    )


def file_fault(error: OSError, path: Path) -> StoreFault:
    """The fault that an error of the file system stands for."""
    where = str(error.filename or path)
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return StoreFault("the disk is full", where=where, do=f"Free some space, then run this again. {_SAFE}")
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return StoreFault(
            "this folder cannot be written",
            where=where,
            do="Give yourself write permission, or set FIELDNOTE_HOME to another folder.",
        )
    if error.errno in (errno.ENOTDIR, errno.EEXIST):
        return StoreFault(
            "a file stands where the data folder should be",
            where=where,
            do="Move that file, or set FIELDNOTE_HOME to a folder.",
        )
    return StoreFault(
        f"the data folder cannot be used ({error.strerror})",
        where=where,
        do="Check the folder, or set FIELDNOTE_HOME to another one.",
    )
