"""Write-ups as they were handed out: numbered within the job, and never changed."""

from __future__ import annotations

import dataclasses

from fieldnote.records import FrozenVersion, Narrative
from fieldnote.store.database import Database
from fieldnote.store.identity import compact, id_from, now
from fieldnote.store.rows import version_from_row
from fieldnote.wire import plain


def freeze(db: Database, job_id: str, narrative: Narrative, person: str) -> FrozenVersion:
    """Insert a version; where the last one says the same, give that one again."""
    before = versions_of(db, job_id)
    if before and before[-1].hash == narrative.hash:
        return before[-1]
    number = 1 + max((version.number for version in before), default=0)
    numbered = dataclasses.replace(narrative, version=number)
    frozen = FrozenVersion(job_id, number, narrative.hash, now(), person, numbered)
    insert_version(db, frozen)
    return frozen


def insert_version(db: Database, frozen: FrozenVersion) -> None:
    """Insert a version as it is."""
    row = {name: getattr(frozen, name) for name in ("job_id", "number", "hash", "made_at", "person")}
    version_id = id_from("v", *row.values())
    db.table("version").insert({"id": version_id, **row, "narrative": compact(plain(frozen.narrative))}, ignore=True)


def versions_of(db: Database, job_id: str) -> tuple[FrozenVersion, ...]:
    """The versions of a job, oldest first. Two machines may have given one number; the hash tells them apart."""
    rows = db.query("SELECT * FROM version WHERE job_id = ? ORDER BY number, made_at, hash", [job_id])
    return tuple(version_from_row(row) for row in rows)
