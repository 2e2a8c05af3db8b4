"""Jobs in the database: opening, finding by id, name or the start of either, listing."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any, Literal

from fieldnote.errors import Clash, NotFound, UserMistake
from fieldnote.records import Edit, Intake, JobLine
from fieldnote.store import changes
from fieldnote.store.database import Database
from fieldnote.store.identity import canonical, new_id, now
from fieldnote.store.rows import intake_to_json

Status = Literal["open", "closed"]

LINE_COLUMNS = """
  job.id, job.name, job.status, job.created_at, job.closed_at,
  json_extract(job.intake, '$.vehicle') AS vehicle,
  (SELECT count(*) FROM entry WHERE entry.job_id = job.id) AS entries
"""


def open_job(db: Database, name: str, intake: Intake, pack: str) -> str:
    """Insert a job and return its id.

    Raises:
        Clash: a job has that name.
        UserMistake: the name is empty.

    """
    name = " ".join(name.split())
    if not name:
        raise UserMistake("a job needs a name", where="job", do='Give it one, such as "unit 12".')
    refuse_taken_name(db, name)
    opened = {"name": name, "status": "open", "pack": pack, "intake": intake_to_json(intake)}
    job_id = new_id("j")
    insert_job(db, job_id, now(), opened)
    return job_id


def refuse_taken_name(db: Database, name: str, *, but: str = "") -> None:
    """Raise ``Clash`` where a job (other than ``but``) has that name."""
    taken = first(db, "SELECT id FROM job WHERE name = ? COLLATE NOCASE AND id != ?", [name, but])
    if taken is not None:
        raise Clash(
            "a job of this name is there already", where=name, do=f"Choose another name, or use job {taken['id']}."
        )


def insert_job(db: Database, job_id: str, created_at: str, opened: dict[str, Any]) -> None:
    """Insert a job as it was opened."""
    db.table("job").insert(
        {"id": job_id, "created_at": created_at, "opened": canonical(opened), **_derived(opened, None)}
    )


def refresh_header(db: Database, job_id: str, edits: Sequence[Edit]) -> None:
    """Write the job's own fields anew from how it was opened and all changes."""
    row = first(db, "SELECT opened FROM job WHERE id = ?", [job_id])
    assert row is not None
    state, closed_at = changes.header(json.loads(row["opened"]), edits, job_id)
    db.table("job").update(job_id, _derived(state, closed_at))


def _derived(state: dict[str, Any], closed_at: str | None) -> dict[str, Any]:
    return {
        "name": state["name"],
        "status": state["status"],
        "closed_at": closed_at,
        "pack": state["pack"],
        "intake": canonical(state.get("intake", {})),
    }


def find_job(db: Database, ref: str) -> str:
    """The id of the job that ``ref`` means: its id, its name, or the start of either where only one job fits.

    Raises:
        NotFound: no job fits.
        UserMistake: several do.

    """
    ref = " ".join(ref.split())
    exact = first(db, "SELECT id FROM job WHERE id = ?", [ref])
    if exact is not None:
        return str(exact["id"])
    if ref:
        for where in ("name = :ref COLLATE NOCASE", "name LIKE :start ESCAPE '\\' OR id LIKE :start ESCAPE '\\'"):
            start = ref.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_") + "%"
            sql = f"SELECT id, name FROM job WHERE {where} ORDER BY created_at DESC LIMIT 4"
            fits = list(db.query(sql, {"ref": ref, "start": start}))
            if len(fits) == 1:
                return str(fits[0]["id"])
            if fits:
                listed = ", ".join(f"{row['name']} ({row['id']})" for row in fits[:3])
                more = " and others" if len(fits) > 3 else ""
                raise UserMistake("several jobs fit", where=ref, do=f"Give the id of one: {listed}{more}.")
    raise NotFound("there is no such job", where=ref or "job", do=_near(db, ref))


def _near(db: Database, ref: str) -> str:
    from rapidfuzz import process

    names = [row["name"] for row in db.query("SELECT name FROM job ORDER BY created_at DESC LIMIT 1000")]
    close = [name for name, _, _ in process.extract(ref, names, limit=3, score_cutoff=60)]
    if close:
        return f"Did you mean {' or '.join(repr(name) for name in close)}?"
    return "`fieldnote job list` shows the jobs." if names else '`fieldnote job new "NAME"` opens the first one.'


def jobs_named(db: Database, name: str) -> list[str]:
    """Ids of the jobs of this very name, in any case."""
    sql = "SELECT id FROM job WHERE name = ? COLLATE NOCASE ORDER BY created_at DESC"
    return [row["id"] for row in db.query(sql, [" ".join(name.split())])]


def list_jobs(
    db: Database, status: Status | None, limit: int | None, since: str | None, until: str | None
) -> list[JobLine]:
    """Jobs, newest first; ``since`` and ``until`` are dates or times (compared as text, ``until`` included)."""
    sql = f"""
      SELECT {LINE_COLUMNS} FROM job
      WHERE (:status IS NULL OR status = :status)
        AND (:since IS NULL OR created_at >= :since) AND (:until IS NULL OR created_at <= :until || '~')
      ORDER BY created_at DESC, id LIMIT :limit
    """
    values = {"status": status, "since": since, "until": until, "limit": -1 if limit is None else limit}
    return [JobLine(**row) for row in db.query(sql, values)]


def names_of(db: Database, pack: str) -> dict[str, str]:
    """The names of all jobs of a pack by their ids."""
    return dict(db.conn.execute("SELECT id, name FROM job WHERE pack = ?", [pack]))


def lines_of(db: Database, job_ids: Sequence[str]) -> list[JobLine]:
    """These jobs as lines of a list, in no order."""
    marks = ", ".join("?" for _ in job_ids)
    rows = db.query(f"SELECT {LINE_COLUMNS} FROM job WHERE id IN ({marks})", list(job_ids))
    return [JobLine(**row) for row in rows]


def first(db: Database, sql: str, values: Sequence[Any]) -> dict[str, Any] | None:
    """The first row of a query, or None."""
    return next(iter(db.query(sql, list(values))), None)
