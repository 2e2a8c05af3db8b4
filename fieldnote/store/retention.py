"""How long sound is kept: that of jobs closed long enough ago is let go. Words, entries and changes always stay, and
of the sound its hash and when it was deleted."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from fieldnote.errors import UserMistake
from fieldnote.store.database import Database
from fieldnote.store.identity import now

if TYPE_CHECKING:
    from fieldnote.store.store import Store

ELSEWHERE = "elsewhere"
"""Stands for the time at which sound was deleted where it never was here: it came without its sound."""
_TIME = "%Y-%m-%dT%H:%M:%S.%fZ"

# A sound goes only where every job that has it was closed long ago and an engine has heard it to its end.
_FROM_DUE = """
  FROM sound
  WHERE sound.let_go_at IS NULL
    AND EXISTS (SELECT 1 FROM clip WHERE clip.sha256 = sound.sha256)
    AND NOT EXISTS (
      SELECT 1 FROM clip JOIN job ON job.id = clip.job_id
      WHERE clip.sha256 = sound.sha256 AND (job.status != 'closed' OR job.closed_at > :before
        OR NOT EXISTS (SELECT 1 FROM hearing WHERE hearing.clip_id = clip.id AND hearing.done)))
"""
_DUE = f"SELECT sound.sha256, sound.path, sound.bytes {_FROM_DUE} ORDER BY sound.sha256"
_JOBS_DUE = f"""
  SELECT job.id, job.name, job.closed_at, count(*) AS sounds, sum(duration_s) AS duration_s, sum(due.bytes) AS bytes
  FROM (SELECT sound.sha256, sound.bytes {_FROM_DUE}) AS due
  JOIN clip ON clip.sha256 = due.sha256 JOIN job ON job.id = clip.job_id
  GROUP BY job.id ORDER BY job.closed_at, job.id
"""
_OF_JOB = """
  SELECT sound.sha256, sound.path, sound.bytes,
    EXISTS (SELECT 1 FROM clip AS other WHERE other.sha256 = sound.sha256 AND other.job_id != :job) AS shared,
    EXISTS (SELECT 1 FROM hearing WHERE hearing.clip_id = clip.id AND hearing.done) AS heard
  FROM clip JOIN sound USING (sha256) WHERE clip.job_id = :job AND sound.let_go_at IS NULL
"""


@dataclass(frozen=True, slots=True)
class LetGo:
    """Sounds that were let go, or would be, and their size together."""

    sounds: int
    bytes: int


@dataclass(frozen=True, slots=True)
class JobDue:
    """A job of which sound is due to be let go: how many recordings, how long together, and their bytes."""

    id: str
    name: str
    closed_at: str
    sounds: int
    duration_s: float
    bytes: int


@dataclass(frozen=True, slots=True)
class Holding:
    """All sound of a store. ``here``: recordings whose file is here; ``gone``: deleted, or on another machine."""

    here: int
    bytes: int
    duration_s: float
    gone: int


def let_go(store: Store, days: int, *, only_look: bool = False, today: datetime | None = None) -> LetGo:
    """Delete the sound of jobs that were closed at least ``days`` days ago; ``only_look`` deletes nothing.

    Raises:
        StoreFault: the data folder cannot be used.

    """
    with store.atomic() as db:
        due = list(db.query(_DUE, {"before": _before(days, today)}))
        if not only_look:
            _note(db, due)
    if not only_look:
        _drop(store, due)
    return LetGo(len(due), sum(row["bytes"] for row in due))


def let_go_of(store: Store, job_id: str) -> LetGo:
    """Delete the sound of one job now, open or closed. What another job has too stays until it goes there.

    Raises:
        UserMistake: a recording was not heard to its end yet, so that its words are not kept.

    """
    with store.atomic() as db:
        rows = list(db.query(_OF_JOB, {"job": job_id}))
        if any(not row["heard"] for row in rows):
            raise UserMistake(
                "a recording of this job was not heard to its end yet", where="its words would be lost", do="Wait."
            )
        due = [row for row in rows if not row["shared"]]
        _note(db, due)
    _drop(store, due)
    return LetGo(len(due), sum(row["bytes"] for row in due))


def jobs_due(store: Store, days: int, *, today: datetime | None = None) -> tuple[JobDue, ...]:
    """The jobs whose sound ``let_go`` would delete, those closed first first."""
    with store.reading() as db:
        return tuple(JobDue(**row) for row in db.query(_JOBS_DUE, {"before": _before(days, today)}))


def gone(store: Store, job_id: str) -> dict[str, str]:
    """Clips of a job whose sound is not here, with when it was deleted (RFC 3339), or ``ELSEWHERE``."""
    sql = "SELECT clip.id, let_go_at FROM clip JOIN sound USING (sha256) WHERE job_id = ? AND let_go_at IS NOT NULL"
    with store.reading() as db:
        return {row["id"]: row["let_go_at"] for row in db.query(sql, [job_id])}


def holding(store: Store) -> Holding:
    """How much sound there is."""
    sql = """
      SELECT count(*) FILTER (WHERE let_go_at IS NULL) AS here, count(*) FILTER (WHERE let_go_at IS NOT NULL) AS gone,
        coalesce(sum(bytes) FILTER (WHERE let_go_at IS NULL), 0) AS bytes,
        coalesce(sum((SELECT max(duration_s) FROM clip WHERE clip.sha256 = sound.sha256))
          FILTER (WHERE let_go_at IS NULL), 0.0) AS duration_s
      FROM sound
    """
    with store.reading() as db:
        return Holding(**next(iter(db.query(sql))))


def _before(days: int, today: datetime | None) -> str:
    return ((today or datetime.now(UTC)) - timedelta(days=days)).strftime(_TIME)


def _note(db: Database, due: list[dict[str, Any]]) -> None:
    # The note comes first: a stop in between leaves a file too many, which the self-check finds, and never a note of a
    # sound that is not there.
    for row in due:
        db.execute("UPDATE sound SET let_go_at = ? WHERE sha256 = ?", [now(), row["sha256"]])


def _drop(store: Store, due: list[dict[str, Any]]) -> None:
    for row in due:
        store.sounds.drop(row["path"])


__all__ = ["ELSEWHERE", "Holding", "JobDue", "LetGo", "gone", "holding", "jobs_due", "let_go", "let_go_of"]
