"""Entries in the database: what came out of the words, and what is in force after people's changes."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

from fieldnote.records import Difference, Edit, Entry, Leftover
from fieldnote.store.changes import Replayed, replay
from fieldnote.store.database import Database
from fieldnote.store.identity import compact, now
from fieldnote.store.rows import (
    edit_from_row,
    edit_to_row,
    entry_from_json,
    entry_from_row,
    entry_to_json,
    entry_to_row,
)


@dataclass(frozen=True, slots=True)
class Making:
    """With what entries are made: the pack's name and hash, and the extractor's version."""

    pack: str
    pack_hash: str
    extractor: str


@dataclass(frozen=True, slots=True)
class InForce:
    """The entries of a job and its changes."""

    entries: tuple[Entry, ...]
    edits: tuple[Edit, ...]
    stranded: tuple[Edit, ...]
    differences: tuple[Difference, ...]


def edits_of(db: Database, job_id: str) -> tuple[Edit, ...]:
    """All changes of a job, in the order in which they are replayed."""
    rows = db.query("SELECT * FROM edit WHERE job_id = ? ORDER BY turn, at, id", [job_id])
    return tuple(edit_from_row(row) for row in rows)


def insert_edit(db: Database, edit: Edit) -> None:
    """Add a change to the log."""
    db.table("edit").insert(edit_to_row(edit), ignore=True)


def said_entries(db: Database, job_id: str) -> tuple[Entry, ...]:
    """The entries as they came out of the words, before any change, in order."""
    found: list[tuple[int, Entry]] = []
    for row in db.query("SELECT * FROM entry WHERE job_id = ? AND NOT added", [job_id]):
        before = row["as_said"]
        found.append((row["position"], entry_from_json(json.loads(before)) if before else entry_from_row(row)))
    for row in db.query("SELECT position, as_said FROM entry_taken_out WHERE job_id = ?", [job_id]):
        found.append((row["position"], entry_from_json(json.loads(row["as_said"]))))
    return tuple(entry for _, entry in sorted(found, key=lambda pair: pair[0]))


def entries_of(db: Database, job_id: str) -> tuple[Entry, ...]:
    """The entries in force, in order."""
    rows = db.query("SELECT * FROM entry WHERE job_id = ? ORDER BY position, id", [job_id])
    return tuple(entry_from_row(row) for row in rows)


def in_force(db: Database, job_id: str) -> InForce:
    """The entries in force, with the log, the changes without an entry, and the differences between machines."""
    edits = edits_of(db, job_id)
    if not edits:
        return InForce(entries_of(db, job_id), (), (), ())
    replayed = replay(said_entries(db, job_id), edits, job_id)
    return InForce(replayed.entries, edits, replayed.stranded, replayed.differences)


def put_extraction(
    db: Database,
    job_id: str,
    said: Sequence[Entry],
    leftovers: Sequence[Leftover],
    making: Making,
    words_hash: str,
    utterances: int,
    *,
    made_at: str | None = None,
) -> None:
    """Replace what came out of the words, and replay every change over it."""
    db.table("extraction").insert(
        {
            "job_id": job_id,
            "pack": making.pack,
            "pack_hash": making.pack_hash,
            "extractor": making.extractor,
            "made_at": made_at or now(),
            "words_hash": words_hash,
            "utterances": utterances,
        },
        pk="job_id",
        replace=True,
    )
    db.execute("DELETE FROM leftover WHERE job_id = ?", [job_id])
    db.table("leftover").insert_all(
        {
            "job_id": job_id,
            "position": position,
            "utterance_id": left.utterance_id,
            "start": left.start,
            "end": left.end,
            "text": left.text,
        }
        for position, left in enumerate(leftovers)
    )
    write_entries(db, job_id, said)


def write_entries(db: Database, job_id: str, said: Sequence[Entry]) -> Replayed:
    """Write the entries in force: ``said`` with all changes replayed over it."""
    replayed = replay(said, edits_of(db, job_id), job_id)
    place = {entry.id: index for index, entry in enumerate(said)}
    db.execute("DELETE FROM entry WHERE job_id = ?", [job_id])
    db.execute("DELETE FROM entry_taken_out WHERE job_id = ?", [job_id])
    rows = [
        entry_to_row(
            entry,
            job_id,
            place.get(entry.id, len(said) + index),
            added=entry.id in replayed.added,
            as_said=replayed.as_said.get(entry.id),
        )
        for index, entry in enumerate(replayed.entries)
    ]
    db.table("entry").insert_all(rows)
    db.table("entry_taken_out").insert_all(
        {
            "job_id": job_id,
            "id": entry.id,
            "position": place[entry.id],
            "as_said": compact(entry_to_json(entry)),
        }
        for entry in replayed.taken_out
    )
    return replayed


def leftovers_of(db: Database, job_id: str) -> tuple[Leftover, ...]:
    """Words that no rule took, in order."""
    sql = 'SELECT utterance_id, start, "end", text FROM leftover WHERE job_id = ? ORDER BY position'
    return tuple(Leftover(**row) for row in db.query(sql, [job_id]))
