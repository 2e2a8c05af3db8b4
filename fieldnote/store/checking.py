"""The store checks itself: the database, the sound by its hashes, and whether what is derived still follows."""

from __future__ import annotations

import hashlib
import json
import sqlite3
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fieldnote.store import changes, entry_rows, job_rows, search, summary_rows, word_rows
from fieldnote.store.database import Database
from fieldnote.store.faults import database_fault, file_fault
from fieldnote.store.rows import entry_to_json

if TYPE_CHECKING:
    from fieldnote.store.store import Store
    from fieldnote.store.summary_rows import Summarizer

_CHUNK = 1 << 20
_MOST_SHOWN = 20
_STRAY_AGE_S = 3600.0
_AGAIN = "--mend makes it anew; nothing that was said or changed is lost."
_ORPHANS = "SELECT path FROM sound WHERE sha256 NOT IN (SELECT sha256 FROM clip)"

Progress = Callable[[float, str], None]


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is not as it should be. ``mendable``: `mend` makes it right again from what is kept."""

    what: str
    where: str
    do: str
    mendable: bool = False


@dataclass(frozen=True, slots=True)
class Report:
    """What a check found, and over how much it went."""

    findings: tuple[Finding, ...]
    jobs: int
    sounds: int
    sounds_elsewhere: int
    """Sounds that were let go on purpose, or that are on the machine that the job came from."""


def check(
    store: Store,
    *,
    hashes: bool = True,
    summarizer: Summarizer | None = None,
    progress: Progress | None = None,
) -> Report:
    """Look through the whole store and change nothing.

    Args:
        store: the store.
        hashes: read every sound and compare its hash, instead of its size alone.
        summarizer: what makes the summaries of jobs, where these are to be looked through too.
        progress: told as the work goes on.

    Raises:
        StoreFault: the database cannot be read at all.

    """
    told = progress or (lambda share, doing: None)
    with store.reading() as db:
        told(0.0, "the database")
        findings = [*_database(db, store.path)]
        if findings:  # nothing else can be relied on
            return Report(tuple(findings), 0, 0, 0)
        told(0.1, "the jobs")
        findings += _derived(db)
        if summarizer is not None:
            findings += [
                Finding("the job's summary for patterns does not follow from it", job_id, _AGAIN, mendable=True)
                for job_id in summary_rows.unlike(db, summarizer)
            ]
        sounds = list(db.query("SELECT * FROM sound ORDER BY sha256"))
        orphans = list(db.query(_ORPHANS))
        photos = list(db.query("SELECT DISTINCT sha256, path, bytes FROM photo WHERE deleted_at IS NULL"))
        jobs = db.table("job").count
    findings += [
        Finding("this sound belongs to no job", row["path"], "It does no harm; --mend takes it out.", mendable=True)
        for row in orphans
    ]
    here = [row for row in sounds if row["let_go_at"] is None]
    for number, row in enumerate(here):
        told(0.2 + 0.8 * number / len(here), f"sound {number + 1} of {len(here)}")
        findings += _sound(store.home, row, hashes=hashes)
    for row in photos:
        findings += _sound(store.home, row, hashes=hashes, what="photo")
    findings += _strays(store, {row["path"] for row in here}, {row["path"] for row in photos})
    told(1.0, "done")
    return Report(tuple(findings), jobs, len(here), len(sounds) - len(here))


def mend(store: Store, report: Report, *, progress: Progress | None = None) -> int:
    """Make right what can be made again from what is kept; gives how many findings that were.

    Words, changes and sound are never touched, but for files that belong to no job.
    """
    told = progress or (lambda share, doing: None)
    mendable = [finding for finding in report.findings if finding.mendable]
    if not mendable:
        return 0
    with store.atomic() as db:
        job_ids = [row["id"] for row in db.query("SELECT id FROM job")]
        for number, job_id in enumerate(job_ids):
            told(number / len(job_ids), f"job {number + 1} of {len(job_ids)}")
            for clip in word_rows.clips_of(db, job_id):
                word_rows.choose_current(db, clip.id)
            job_rows.refresh_header(db, job_id, entry_rows.edits_of(db, job_id))
            entry_rows.write_entries(db, job_id, entry_rows.said_entries(db, job_id))
        search.index_all(db)
        orphans = [row["path"] for row in db.query(_ORPHANS)]
        db.execute("DELETE FROM sound WHERE sha256 NOT IN (SELECT sha256 FROM clip)")
        known = {row["path"] for row in db.query("SELECT path FROM sound WHERE let_go_at IS NULL")}
        photos = {row["path"] for row in db.query("SELECT path FROM photo WHERE deleted_at IS NULL")}
    for path in orphans:
        store.sounds.drop(path)
    for finding in _strays(store, known, photos):
        store.sounds.drop(finding.where)
    told(1.0, "done")
    return len(mendable)


def _database(db: Database, path: Path) -> Iterator[Finding]:
    """What SQLite itself finds wrong: pages, indexes, and rows that point at nothing."""
    restore = "Put back the newest backup; keep this file until you have."
    try:
        for row in db.query(f"PRAGMA integrity_check({_MOST_SHOWN})"):
            if row["integrity_check"] != "ok":
                yield Finding(f"the database is damaged: {row['integrity_check']}", str(path), restore)
        for row in db.query("PRAGMA foreign_key_check"):
            yield Finding(f"a row of {row['table']} points at a {row['parent']} that is not there", str(path), restore)
    except sqlite3.DatabaseError as error:
        fault = database_fault(error, path)
        if fault is None:
            raise
        yield Finding(fault.what, str(path), restore)


def _derived(db: Database) -> Iterator[Finding]:
    """Jobs whose fields, entries in force or index no longer follow from what they were made of."""
    indexed = {row["job_id"] for row in db.query("SELECT job_id FROM search_row JOIN search ON search.rowid = moment")}
    for row in db.query("SELECT id, name, opened, status, closed_at, intake FROM job"):
        edits = entry_rows.edits_of(db, row["id"])
        state, closed_at = changes.header(json.loads(row["opened"]), edits, row["id"])
        kept = (row["name"], row["status"], row["closed_at"], json.loads(row["intake"]))
        if kept != (state["name"], state["status"], closed_at, state.get("intake", {})):
            yield Finding("the job's own fields do not follow from its changes", row["id"], _AGAIN, mendable=True)
        if edits and not _entries_follow(db, row["id"]):
            yield Finding("the entries in force do not follow from the changes", row["id"], _AGAIN, mendable=True)
        if row["id"] not in indexed:
            yield Finding("the job is missing in the search index", row["id"], _AGAIN, mendable=True)


def _entries_follow(db: Database, job_id: str) -> bool:
    wanted = [entry_to_json(entry) for entry in entry_rows.in_force(db, job_id).entries]
    kept = [entry_to_json(entry) for entry in entry_rows.entries_of(db, job_id)]
    return wanted == kept


def _sound(home: Path, row: dict[str, object], *, hashes: bool, what: str = "sound") -> Iterator[Finding]:
    path = home / str(row["path"])
    restore = f"Copy it from a backup, or {'take the recording again' if what == 'sound' else 'delete it in its job'}."
    try:
        if not path.is_file():
            yield Finding(
                "a sound is missing; its words are still here" if what == "sound" else "a photo is missing",
                str(path),
                restore,
            )
        elif path.stat().st_size != row["bytes"] or (hashes and _hash(path) != row["sha256"]):
            yield Finding(f"a {what} is not what it was when it was kept", str(path), restore)
    except OSError as error:
        fault = file_fault(error, path)
        yield Finding(fault.what, str(path), fault.do)


def _hash(path: Path) -> str:
    digest = hashlib.sha256()
    with path.open("rb") as reader:
        while chunk := reader.read(_CHUNK):
            digest.update(chunk)
    return digest.hexdigest()


def _strays(store: Store, sounds: set[str], photos: set[str]) -> Iterator[Finding]:
    """Files on the shelves that no row knows: what a stop between copying and keeping left."""
    known = sounds | photos
    for path in sorted((*store.sounds.folder.rglob("*"), *store.pictures.folder.rglob("*"))):
        name = path.relative_to(store.home).as_posix()
        # A file just copied may belong to a take that is about to say so.
        if path.is_file() and name not in known and time.time() - path.stat().st_mtime > _STRAY_AGE_S:
            yield Finding("this file belongs to no job", name, "It does no harm; --mend takes it out.", mendable=True)
