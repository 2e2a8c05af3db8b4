"""Clips, hearings and utterances in the database.

A *hearing* is one clip heard by one engine, or one text read in. It grows utterance by utterance, so that a stop in the
middle of a long recording costs only the utterance being heard; the newest finished hearing of a clip is the current
one, and the job's words are those of its current hearings.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime, timedelta

from fieldnote.records import Clip, Utterance
from fieldnote.store.database import Database
from fieldnote.store.identity import canonical, id_from, new_id, now, words_hash
from fieldnote.store.job_rows import first
from fieldnote.store.rows import clip_from_row, utterance_from_row, utterance_to_row
from fieldnote.store.sound_shelf import Kept

_CLIP = """
  SELECT clip.*, sound.path FROM clip JOIN sound USING (sha256)
"""
_TIME = "%Y-%m-%dT%H:%M:%S.%fZ"


def add_clip(db: Database, job_id: str, kept: Kept, clip: Clip, position: int = 0, after: str | None = None) -> Clip:
    """Insert a clip and its sound; a sound that the job has already gives the clip that is there."""
    there = clip_of_sound(db, job_id, kept.sha256)
    if there is not None:
        return there
    db.table("sound").insert({"sha256": kept.sha256, "path": kept.path, "bytes": kept.bytes}, ignore=True)
    sound_is_here(db, kept)
    clip_id = id_from("c", job_id, kept.sha256)
    order_key = f"{_next_time(db, job_id)}/{position:05d}"
    if after is not None:
        job = first(db, "SELECT created_at FROM job WHERE id = ?", [job_id])
        order_key = f"{job['created_at'] if job else ''}/{after}"
    db.table("clip").insert(
        {
            "id": clip_id,
            "job_id": job_id,
            "sha256": kept.sha256,
            "source": clip.source,
            "duration_s": clip.duration_s,
            "rate_hz": clip.rate_hz,
            "channels": clip.channels,
            "started_at": clip.started_at,
            "order_key": order_key,
        }
    )
    found = clip_of_sound(db, job_id, kept.sha256)
    assert found is not None
    return found


def sound_is_here(db: Database, kept: Kept) -> None:
    """A sound that was let go, and was given again, is kept again."""
    db.execute("UPDATE sound SET let_go_at = NULL, path = ? WHERE sha256 = ?", [kept.path, kept.sha256])


def clip_of_sound(db: Database, job_id: str, sha256: str) -> Clip | None:
    """The clip of a job that has this sound, or None."""
    row = first(db, f"{_CLIP} WHERE clip.job_id = ? AND clip.sha256 = ?", [job_id, sha256])
    return None if row is None else clip_from_row(row)


def clips_of(db: Database, job_id: str) -> tuple[Clip, ...]:
    """The clips of a job in the order in which they were taken."""
    rows = db.query(f"{_CLIP} WHERE clip.job_id = ? ORDER BY order_key, clip.id", [job_id])
    return tuple(clip_from_row(row) for row in rows)


def unheard_clips(db: Database, job_id: str) -> tuple[Clip, ...]:
    """The clips of a job that no engine has heard to the end, in order."""
    sql = f"""{_CLIP} WHERE clip.job_id = ?
      AND NOT EXISTS (SELECT 1 FROM hearing WHERE clip_id = clip.id AND done) ORDER BY order_key, clip.id"""
    return tuple(clip_from_row(row) for row in db.query(sql, [job_id]))


def begin_hearing(db: Database, clip: Clip, job_id: str, engine: str, machine: str) -> tuple[str, float]:
    """Begin to hear a clip, or go on where a stop left it. Gives the hearing's id and the seconds heard already."""
    sql = "SELECT id, heard_to_s FROM hearing WHERE clip_id = ? AND engine = ? AND machine = ? AND NOT done"
    left = first(db, sql, [clip.id, engine, machine])
    if left is not None:
        return left["id"], left["heard_to_s"]
    row = {
        "id": new_id("h"),
        "job_id": job_id,
        "clip_id": clip.id,
        "source": clip.source,
        "engine": engine,
        "at": now(),
        "machine": machine,
    }
    db.table("hearing").insert(row)
    choose_current(db, clip.id)
    return row["id"], 0.0


def add_heard(db: Database, hearing_id: str, utterance: Utterance, heard_to_s: float) -> None:
    """Keep one utterance (or, with text "", only how far the clip was heard)."""
    row = first(
        db,
        """SELECT hearing.job_id, clip.order_key, (SELECT count(*) FROM utterance WHERE hearing_id = hearing.id) AS n
           FROM hearing JOIN clip ON clip.id = clip_id WHERE hearing.id = ?""",
        [hearing_id],
    )
    assert row is not None
    if utterance.text:
        insert_utterance(db, utterance, hearing_id, row["job_id"], f"{row['order_key']}/{row['n']:06d}")
    db.execute("UPDATE hearing SET heard_to_s = ? WHERE id = ?", [heard_to_s, hearing_id])


def end_hearing(db: Database, hearing_id: str) -> str:
    """The clip was heard to its end; gives the id of its job."""
    db.execute("UPDATE hearing SET done = 1 WHERE id = ?", [hearing_id])
    row = first(db, "SELECT job_id, clip_id FROM hearing WHERE id = ?", [hearing_id])
    assert row is not None
    if row["clip_id"] is not None:
        choose_current(db, row["clip_id"])
    return str(row["job_id"])


def choose_current(db: Database, clip_id: str) -> None:
    """Make the newest finished hearing of a clip (the newest of all where none is finished) the current one."""
    sql = "SELECT id FROM hearing WHERE clip_id = ? ORDER BY done DESC, at DESC, id DESC LIMIT 1"
    row = first(db, sql, [clip_id])
    if row is not None:
        db.execute("UPDATE hearing SET current = (id = ?) WHERE clip_id = ?", [row["id"], clip_id])


def add_text(
    db: Database, job_id: str, lines: Sequence[str], *, source: str, person: str | None, once: bool, machine: str
) -> tuple[int, int]:
    """Keep typed or read text, one utterance a line. Gives how many were added and how many were there already.

    With ``once``, a text that the job has already (by its content) adds nothing.
    """
    lines = [line for line in (" ".join(line.split()) for line in lines) if line]
    if not lines:
        return 0, 0
    hearing_id = id_from("h", job_id, *lines) if once else new_id("h")
    if first(db, "SELECT id FROM hearing WHERE id = ?", [hearing_id]) is not None:
        return 0, len(lines)
    at = _next_time(db, job_id)
    db.table("hearing").insert(
        {
            "id": hearing_id,
            "job_id": job_id,
            "source": source,
            "engine": "text",
            "person": person,
            "at": at,
            "machine": machine,
            "done": 1,
        }
    )
    for index, line in enumerate(lines):
        utterance = Utterance(id=id_from("u", hearing_id, index, line), text=line)
        insert_utterance(db, utterance, hearing_id, job_id, f"{at}/{0:05d}/{index:06d}")
    return len(lines), 0


def insert_utterance(db: Database, utterance: Utterance, hearing_id: str, job_id: str, order_key: str) -> None:
    """Insert an utterance and, where they are new, its settings."""
    body = canonical(dict(utterance.settings))
    settings_id = id_from("s", body)
    db.table("engine_settings").insert({"id": settings_id, "body": body}, ignore=True)
    db.table("utterance").insert(utterance_to_row(utterance, hearing_id, job_id, order_key, settings_id), ignore=True)


def utterances_of(db: Database, job_id: str) -> tuple[Utterance, ...]:
    """The words of a job: the utterances of its current hearings, in the order spoken or typed."""
    sql = """
      SELECT utterance.*, hearing.clip_id, engine_settings.body FROM utterance
      JOIN hearing ON hearing.id = hearing_id JOIN engine_settings ON engine_settings.id = settings_id
      WHERE utterance.job_id = ? AND hearing.current ORDER BY utterance.order_key, utterance.id
    """
    read: dict[str, dict[str, object]] = {}
    found = []
    for row in db.query(sql, [job_id]):
        settings = read.setdefault(row["settings_id"], json.loads(row["body"]))
        found.append(utterance_from_row(row, row["clip_id"], settings))
    return tuple(found)


def words_hash_of(db: Database, job_id: str) -> tuple[str, int]:
    """What the entries of a job have to be made from now, and of how many utterances it consists."""
    job = first(db, "SELECT json_extract(intake, '$.steering') AS steering FROM job WHERE id = ?", [job_id])
    sql = """SELECT utterance.id, utterance.text FROM utterance JOIN hearing ON hearing.id = hearing_id
      WHERE utterance.job_id = ? AND hearing.current ORDER BY utterance.order_key, utterance.id"""
    pairs = [(row["id"], row["text"]) for row in db.query(sql, [job_id])]
    return words_hash(pairs, job["steering"] if job else None), len(pairs)


def _next_time(db: Database, job_id: str) -> str:
    """Now, or just after the job's last words where the clock was set back, so that the order spoken is kept."""
    sql = """SELECT max(key) AS last FROM (
      SELECT max(order_key) AS key FROM clip WHERE job_id = :job
      UNION ALL SELECT max(order_key) FROM utterance WHERE job_id = :job)"""
    last = next(iter(db.query(sql, {"job": job_id})))["last"]
    moment = now()
    if last is None or last[: len(moment)] < moment:
        return moment
    return (datetime.strptime(last[: len(moment)], _TIME) + timedelta(microseconds=1)).strftime(_TIME)
