"""How long sound is kept: that of jobs closed long enough ago is let go. Words, entries and changes always stay."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from fieldnote.store.identity import now

if TYPE_CHECKING:
    from fieldnote.store.store import Store

_TIME = "%Y-%m-%dT%H:%M:%S.%fZ"

# A sound goes only where every job that has it was closed long ago and an engine has heard it to its end.
_DUE = """
  SELECT sound.sha256, sound.path, sound.bytes FROM sound
  WHERE sound.let_go_at IS NULL
    AND EXISTS (SELECT 1 FROM clip WHERE clip.sha256 = sound.sha256)
    AND NOT EXISTS (
      SELECT 1 FROM clip JOIN job ON job.id = clip.job_id
      WHERE clip.sha256 = sound.sha256 AND (job.status != 'closed' OR job.closed_at > :before
        OR NOT EXISTS (SELECT 1 FROM hearing WHERE hearing.clip_id = clip.id AND hearing.done)))
  ORDER BY sound.sha256
"""


@dataclass(frozen=True, slots=True)
class LetGo:
    """Sounds that were let go, or would be, and their size together."""

    sounds: int
    bytes: int


def let_go(store: Store, days: int, *, only_look: bool = False, today: datetime | None = None) -> LetGo:
    """Delete the sound of jobs that were closed at least ``days`` days ago; ``only_look`` deletes nothing.

    Raises:
        StoreFault: the data folder cannot be used.

    """
    before = ((today or datetime.now(UTC)) - timedelta(days=days)).strftime(_TIME)
    with store.atomic() as db:
        due = list(db.query(_DUE, {"before": before}))
        if not only_look:
            # The note comes first: a stop in between leaves a file too many, which the self-check finds, and never
            # a note of a sound that is not there.
            for row in due:
                db.execute("UPDATE sound SET let_go_at = ? WHERE sha256 = ?", [now(), row["sha256"]])
    if not only_look:
        for row in due:
            store.sounds.drop(row["path"])
    return LetGo(len(due), sum(row["bytes"] for row in due))
