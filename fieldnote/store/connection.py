"""Opens the database the same way every time, and the one way to write to it: ``atomic``.

Every connection has foreign keys on, write-ahead logging (readers never wait for a writer) and ``synchronous`` FULL
(a commit has reached the disk when it returns).
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from fieldnote.errors import StoreFault
from fieldnote.store.database import Database
from fieldnote.store.faults import not_a_database, plain_faults
from fieldnote.store.migrations import migrate, refuse_what_is_not_ours, steps
from fieldnote.store.search import index_all, is_complete

FILE_NAME = "jobs.db"
BUSY_S = 10.0
_SHORTEST_DATABASE = 512
"""Bytes: the smallest page of the file format (sqlite.org/fileformat2.html)."""


def open_database(path: Path, *, busy_s: float = BUSY_S) -> Database:
    """A connection to the database at ``path``, made and brought up to date where that is needed.

    ``busy_s`` is how many seconds to wait for another writer.

    Raises:
        StoreFault: the folder or the file cannot be used, or a newer version of fieldnote wrote it.

    """
    if cannot_be_written(path):
        return open_for_reading(path)
    with plain_faults(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        refuse_scraps(path)
        db = connect(path, busy_s=busy_s)
        try:
            if migrate(db, path) and not is_complete(db):
                with atomic(db):
                    index_all(db)
        except BaseException:
            db.conn.close()
            raise
    return db


def cannot_be_written(path: Path) -> bool:
    """Whether a database is there that this user or this medium (a backup on a read-only disk) cannot write."""
    effective = os.access in os.supports_effective_ids
    try:
        return path.is_file() and not all(
            os.access(asked, os.W_OK, effective_ids=effective) for asked in (path, path.parent)
        )
    except OSError:
        return False


def open_for_reading(path: Path) -> Database:
    """A connection that can only read; every write of it is refused as ``StoreFault``.

    Raises:
        StoreFault: the database was not closed, or steps are pending that need writing.

    """
    with plain_faults(path):
        refuse_scraps(path)
        log = path.with_name(f"{path.name}-wal")
        if log.is_file() and log.stat().st_size:
            raise StoreFault(
                "these jobs were not closed, and this folder cannot be written",
                where=str(path),
                do="Copy the whole folder to where you may write, and set FIELDNOTE_HOME to it.",
            )
        # immutable: without it SQLite would want to make files beside a database in write-ahead mode.
        uri = f"{path.resolve().as_uri()}?mode=ro&immutable=1"
        conn = sqlite3.connect(uri, uri=True, isolation_level=None, check_same_thread=False)
        db = Database(conn, execute_plugins=False)
        try:
            refuse_what_is_not_ours(db, path)
            if steps.pending(db):
                raise StoreFault(
                    "these jobs are of an earlier version, and this folder cannot be written",
                    where=str(path),
                    do="Copy the whole folder to where you may write, and set FIELDNOTE_HOME to it.",
                )
        except BaseException:
            conn.close()
            raise
    return db


def refuse_scraps(path: Path) -> None:
    """Refuse a file that is shorter than any database: SQLite would take it for an empty one and write over it."""
    # Its size is asked for and not its content: closing a file drops the locks that SQLite holds on it (POSIX).
    if path.is_file() and 0 < path.stat().st_size < _SHORTEST_DATABASE:
        raise not_a_database(path)


def connect(path: Path, *, busy_s: float = BUSY_S) -> Database:
    """A connection with the settings of the house, without migrations."""
    # isolation_level None: the driver opens no transaction of its own, so that a commit happens where atomic() ends.
    conn = sqlite3.connect(path, timeout=busy_s, isolation_level=None, check_same_thread=False)
    try:
        db = Database(conn, execute_plugins=False)
        db.execute("PRAGMA foreign_keys = ON")
        db.execute("PRAGMA journal_mode = WAL")
        db.execute("PRAGMA synchronous = FULL")
    except BaseException:
        conn.close()
        raise
    return db


@contextmanager
def atomic(db: Database) -> Iterator[None]:
    """All writes of the block, or none. Blocks may be nested.

    The outermost block takes the write lock at once: a transaction that reads first and writes later fails without
    waiting where another writer came in between (SQLITE_BUSY_SNAPSHOT), while one that begins by writing waits.
    """
    outermost = not db.conn.in_transaction
    with db.atomic():
        if outermost:
            db.execute("DELETE FROM write_lock")  # the table is always empty; the statement takes the lock
        yield
