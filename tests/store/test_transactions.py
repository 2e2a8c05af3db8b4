from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from fieldnote.errors import StoreFault
from fieldnote.records import Job
from fieldnote.store import Store
from fieldnote.store.connection import atomic, connect

# Writes a first row inside one atomic block, says so, and waits to be killed before the second.
_BETWEEN_TWO_INSERTS = """
import sys, time
from pathlib import Path
from fieldnote.store import Store
store = Store(Path(sys.argv[1]))
with store.atomic() as db:
    db.table("engine_settings").insert({"id": "first", "body": "{}"})
    print("first", flush=True)
    time.sleep(60)
    db.table("engine_settings").insert({"id": "second", "body": "{}"})
"""

_AFTER_COMMIT = """
import sys, time
from pathlib import Path
from fieldnote.store import Store
store = Store(Path(sys.argv[1]))
store.open_job("van 3")
print("first", flush=True)
time.sleep(60)
"""


def _kill_after_first(script: str, home: Path) -> None:
    child = subprocess.Popen([sys.executable, "-c", script, str(home)], stdout=subprocess.PIPE, text=True)
    try:
        assert child.stdout is not None
        assert child.stdout.readline().strip() == "first"
    finally:
        os.kill(child.pid, signal.SIGKILL)
        child.wait()
        assert child.stdout is not None
        child.stdout.close()


def test_a_kill_between_two_inserts_leaves_neither(tmp_path: Path) -> None:
    """A process killed inside an atomic block leaves nothing of it, and the store opens whole."""
    with Store(tmp_path) as store:
        store.open_job("before")
    _kill_after_first(_BETWEEN_TWO_INSERTS, tmp_path)
    with Store(tmp_path) as store:
        assert [line.name for line in store.jobs()] == ["before"]
        assert store.db.table("engine_settings").count == 0
        assert next(iter(store.db.query("PRAGMA integrity_check")))["integrity_check"] == "ok"


def test_a_kill_after_a_commit_loses_nothing(tmp_path: Path) -> None:
    """What a method returned from is on disk when the process dies without closing."""
    _kill_after_first(_AFTER_COMMIT, tmp_path)
    with Store(tmp_path) as store:
        assert [line.name for line in store.jobs()] == ["van 3"]


def test_every_connection_checks_foreign_keys_and_syncs(store: Store) -> None:
    """Foreign keys are on, the log is write-ahead, and commits reach the disk, on every thread's own connection."""
    seen: list[tuple[int, str, int]] = []

    def look() -> None:
        pragma = {name: store.db.execute(f"PRAGMA {name}").fetchone()[0] for name in ("foreign_keys", "journal_mode")}
        seen.append(
            (pragma["foreign_keys"], pragma["journal_mode"], store.db.execute("PRAGMA synchronous").fetchone()[0])
        )

    thread = threading.Thread(target=look)
    thread.start()
    thread.join()
    look()
    assert seen == [(1, "wal", 2), (1, "wal", 2)]  # synchronous 2 is FULL


def test_a_row_without_its_job_is_refused(store: Store) -> None:
    """The database itself refuses a clip of a job that does not exist."""
    with pytest.raises(sqlite3.IntegrityError), store.atomic() as db:
        db.table("extraction").insert(
            {
                "job_id": "nobody",
                "pack": "p",
                "pack_hash": "h",
                "extractor": "1",
                "made_at": "t",
                "words_hash": "w",
                "utterances": 0,
            }
        )


def test_a_failure_inside_takes_back_the_whole_block(store: Store) -> None:
    """An insert inside an atomic block is not committed before the block ends, however it is made."""
    with pytest.raises(ZeroDivisionError), store.atomic() as db:
        db.table("engine_settings").insert({"id": "one", "body": "{}"})
        db.execute("INSERT INTO engine_settings VALUES ('two', '{}')")
        with atomic(db):
            db.table("engine_settings").insert_all([{"id": "three", "body": "{}"}])
        raise ZeroDivisionError
    assert store.db.table("engine_settings").count == 0


def test_a_failure_in_a_nested_block_leaves_the_outer_one(store: Store) -> None:
    """A nested block is taken back alone."""
    with store.atomic() as db:
        db.table("engine_settings").insert({"id": "outer", "body": "{}"})
        with pytest.raises(ZeroDivisionError), atomic(db):
            db.table("engine_settings").insert({"id": "inner", "body": "{}"})
            raise ZeroDivisionError
    assert [row["id"] for row in store.db.table("engine_settings").rows] == ["outer"]


def test_a_block_that_reads_first_still_waits_its_turn(store: Store, job: Job) -> None:
    """A transaction that reads before it writes holds the lock from its start: no other writer slips in between."""
    other = connect(store.path, busy_s=0.05)
    try:
        with store.atomic() as db:
            list(db.query("SELECT * FROM job"))
            with pytest.raises(sqlite3.OperationalError, match="locked"), atomic(other):
                pass
            db.table("engine_settings").insert({"id": "one", "body": "{}"})
    finally:
        other.conn.close()


def test_many_threads_write_one_log_in_a_row(store: Store, job: Job) -> None:
    """Changes made at the same time from several threads follow each other: none is lost, none forks the log."""
    entry = job.entries[0].id
    sides = ("left", "right", "both", "center")

    def change(thread: int) -> None:
        for index in range(5):
            store.correct(job.id, entry, "item", thread * 100 + index, f"person {thread}")

    threads = [threading.Thread(target=change, args=(number,)) for number in range(len(sides))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    edits = store.job(job.id).edits
    assert [edit.turn for edit in edits] == list(range(1, 21))
    assert [edit.follows for edit in edits] == [(), *((edit.id,) for edit in edits[:-1])]


def test_a_lock_held_by_another_program_is_one_line_and_loses_nothing(store: Store, job: Job) -> None:
    """A writer that waited long enough says who is in the way; what was kept stays."""
    blocker = sqlite3.connect(store.path, isolation_level=None)
    try:
        blocker.execute("BEGIN IMMEDIATE")
        with Store(store.home, busy_s=0.05) as impatient:
            assert impatient.job(job.id).name == job.name  # reading goes on
            with pytest.raises(StoreFault, match="another program is writing") as caught:
                impatient.open_job("van 9")
        assert "\n" not in str(caught.value)
    finally:
        blocker.close()
    assert [line.name for line in store.jobs()] == [job.name]
