"""What closed jobs taught: kept by its id, and found again as long as those jobs are what they were."""

from __future__ import annotations

import json

from sqlite_utils import Database

from fieldnote.records import Job, Rates
from fieldnote.store.identity import canonical, now
from fieldnote.store.job_rows import first
from fieldnote.store.rows import edit_from_row, entry_from_row, intake_from_json, record_from_json
from fieldnote.wire import plain

_STATE = """
  SELECT count(*) AS jobs, sum(job.status = 'closed') AS closed, max(job.closed_at) AS last_closed,
    (SELECT count(*) FROM edit JOIN job AS of ON of.id = edit.job_id
      WHERE of.pack = :pack AND of.status = 'closed') AS edits,
    (SELECT max(made_at) FROM extraction JOIN job AS of ON of.id = extraction.job_id
      WHERE of.pack = :pack AND of.status = 'closed') AS last_made
  FROM job WHERE job.pack = :pack
"""


def state_of(db: Database, pack: str, map_hash: str) -> str:
    """What rates would be learned from now: it changes whenever a closed job does, or a job is opened."""
    row = next(iter(db.query(_STATE, {"pack": pack})))
    return canonical([map_hash, *row.values()])


def kept_rates(db: Database, pack: str, state: str) -> Rates | None:
    """Rates that were learned from this very state, or None."""
    row = first(db, "SELECT body FROM rates WHERE pack = ? AND learned_from = ? ORDER BY made_at DESC", [pack, state])
    return None if row is None else _rates(row["body"])


def rates_called(db: Database, rates_id: str) -> Rates | None:
    """The rates of this id, which a suggestion may name, or None."""
    row = first(db, "SELECT body FROM rates WHERE id = ?", [rates_id])
    return None if row is None else _rates(row["body"])


def keep_rates(db: Database, pack: str, state: str, rates: Rates) -> None:
    """Keep rates and what they were learned from."""
    row = {"id": rates.id, "pack": pack, "learned_from": state, "made_at": now(), "body": canonical(plain(rates))}
    db.table("rates").insert(row, pk=("id", "pack"), replace=True)


def _rates(body: str) -> Rates:
    return record_from_json(Rates, json.loads(body))


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
