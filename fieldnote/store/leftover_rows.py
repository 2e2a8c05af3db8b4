"""Words that no rule took, of all jobs at once."""

from __future__ import annotations

from collections.abc import Iterator

from fieldnote.store.database import Database

_OF_PACK = """
  SELECT leftover.text, coalesce((
      SELECT utterance.text FROM utterance JOIN hearing ON hearing.id = hearing_id
      WHERE utterance.job_id = leftover.job_id AND utterance.id = leftover.utterance_id AND hearing.current
    ), leftover.text), job.name
  FROM job JOIN leftover ON leftover.job_id = job.id WHERE job.pack = ?
  ORDER BY job.created_at DESC, job.id, leftover.position
"""


def leftovers_of_pack(db: Database, pack: str) -> Iterator[tuple[str, str, str]]:
    """The words, the sentence in which they stood and its job's name, for all jobs of a vocabulary, newest first."""
    found: Iterator[tuple[str, str, str]] = db.conn.execute(_OF_PACK, [pack])
    return found
