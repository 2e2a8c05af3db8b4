"""Photos in the database: with an entry or the job as a whole, deleted for good with their hash kept."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

from fieldnote.errors import NotFound
from fieldnote.records import Photo, PhotoKind
from fieldnote.store.database import Database
from fieldnote.store.identity import id_from, now
from fieldnote.store.job_rows import first
from fieldnote.store.sound_shelf import Kept


def add_photo(
    db: Database,
    job_id: str,
    kept: Kept,
    size: tuple[int, int],
    kind: PhotoKind,
    entry_id: str | None,
    person: str,
    machine: str,
) -> Photo:
    """Insert a photo; a picture that the job has already gives the one that is there, brought back if deleted."""
    there = first(db, "SELECT * FROM photo WHERE job_id = ? AND sha256 = ?", [job_id, kept.sha256])
    if there is not None:
        db.execute("UPDATE photo SET deleted_at = NULL, path = ? WHERE id = ?", [kept.path, there["id"]])
        return dataclasses.replace(from_row(there), path=kept.path, deleted_at=None)
    row = {
        "id": id_from("p", job_id, kept.sha256),
        "job_id": job_id,
        "entry_id": entry_id,
        "kind": kind,
        "sha256": kept.sha256,
        "path": kept.path,
        "bytes": kept.bytes,
        "width": size[0],
        "height": size[1],
        "added_at": now(),
        "person": person,
        "machine": machine,
        "deleted_at": None,
    }
    db.table("photo").insert(row)
    return from_row(row)


def photos_of(db: Database, job_id: str) -> tuple[Photo, ...]:
    """The photos of a job, in the order in which they were added."""
    return tuple(
        from_row(row) for row in db.query("SELECT * FROM photo WHERE job_id = ? ORDER BY added_at, id", [job_id])
    )


def photo_of(db: Database, job_id: str, photo_id: str) -> Photo:
    """One photo of a job.

    Raises:
        NotFound: the job has no such photo.

    """
    row = first(db, "SELECT * FROM photo WHERE job_id = ? AND id = ?", [job_id, photo_id])
    if row is None:
        raise NotFound("this job has no such photo", where=photo_id, do="Go back to the job.")
    return from_row(row)


def place_photo(db: Database, job_id: str, photo_id: str, entry_id: str | None, kind: PhotoKind) -> None:
    """Put a photo with another entry, or call it by another kind."""
    db.execute(
        "UPDATE photo SET entry_id = ?, kind = ? WHERE job_id = ? AND id = ?", [entry_id, kind, job_id, photo_id]
    )


def delete_photo(db: Database, photo: Photo) -> bool:
    """Mark a photo as deleted; gives whether its file belongs to no other photo and is to be deleted too."""
    if not photo.is_here:
        return False
    db.execute("UPDATE photo SET deleted_at = ? WHERE id = ?", [now(), photo.id])
    left = first(db, "SELECT 1 FROM photo WHERE sha256 = ? AND deleted_at IS NULL", [photo.sha256])
    return left is None


def from_row(row: Mapping[str, Any]) -> Photo:
    """A photo of its row."""
    return Photo(**{field.name: row[field.name] for field in dataclasses.fields(Photo)})
