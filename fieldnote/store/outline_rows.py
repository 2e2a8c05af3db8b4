"""Jobs in outline: with intake, entries and changes, without words and sound."""

from __future__ import annotations

import json

from fieldnote.records import Job
from fieldnote.store.database import Database
from fieldnote.store.rows import edit_from_row, entry_from_row, intake_from_json


def outlines(db: Database, pack: str) -> list[Job]:
    """All jobs of a pack with their intake and entries, without words and sound: in three queries, not three a job."""
    entries: dict[str, list[dict[str, object]]] = {}
    sql = (
        "SELECT entry.* FROM entry JOIN job ON job.id = entry.job_id WHERE job.pack = ? ORDER BY entry.job_id, position"
    )
    for row in db.query(sql, [pack]):
        entries.setdefault(row["job_id"], []).append(row)
    edits: dict[str, list[dict[str, object]]] = {}
    for row in db.query("SELECT edit.* FROM edit JOIN job ON job.id = job_id WHERE job.pack = ? ORDER BY turn", [pack]):
        edits.setdefault(row["job_id"], []).append(row)
    return [
        Job(
            row["id"],
            row["name"],
            row["created_at"],
            row["status"],
            row["closed_at"],
            row["pack"],
            intake_from_json(json.loads(row["intake"])),
            entries=tuple(entry_from_row(entry) for entry in entries.get(row["id"], ())),
            edits=tuple(edit_from_row(edit) for edit in edits.get(row["id"], ())),
        )
        for row in db.query("SELECT * FROM job WHERE pack = ? ORDER BY created_at, id", [pack])
    ]
