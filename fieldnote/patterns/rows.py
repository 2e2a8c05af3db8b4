"""Jobs straight from the tables of the store, with no more of their entries than summaries need."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from fieldnote.patterns.visits import Clock, moment
from fieldnote.records import Entry, Intake, Job, Quantity
from fieldnote.store.database import Database

_NOTHING: Mapping[str, Any] = {}
_INTAKE = ("vehicle", "family", "model_year", "build_month", "vin", "role")
_ENTRIES = """
  SELECT entry.job_id, entry.id, kind, place, part, side, state, present, certainty, stage, method, item, what, value,
    unit, CASE WHEN kind = 'test' THEN json_remove(more, '$.origins') END
  FROM entry WHERE entry.job_id IN ({marks}) AND kind NOT IN ('plan', 'access') ORDER BY entry.job_id, position
"""
_BEGAN = "SELECT job_id, started_at FROM clip WHERE job_id IN ({marks}) AND started_at IS NOT NULL"
_CLOCK = """
  SELECT entry.job_id, entry.id, clip.started_at, utterance.from_s
  FROM clip JOIN hearing ON hearing.clip_id = clip.id AND hearing.current
  JOIN utterance ON utterance.hearing_id = hearing.id
  JOIN entry ON entry.job_id = clip.job_id AND json_extract(entry.more, '$.origins[0].utterance_id') = utterance.id
  WHERE clip.job_id IN ({marks}) AND clip.started_at IS NOT NULL AND entry.kind IN ('test', 'source', 'check')
"""


def read_jobs(db: Database, job_ids: Sequence[str]) -> list[Job]:
    """These jobs with what patterns need of intake and entries; entries have no quote and no origins."""
    entries: dict[str, list[Entry]] = {}
    for row in db.conn.execute(_marked(_ENTRIES, job_ids), job_ids):
        entries.setdefault(row[0], []).append(_entry(row))
    sql = "SELECT id, name, created_at, status, closed_at, pack, intake FROM job WHERE id IN ({marks})"
    return [
        Job(id, name, created, status, closed, pack, intake=_intake(intake), entries=tuple(entries.get(id, ())))
        for id, name, created, status, closed, pack, intake in db.conn.execute(_marked(sql, job_ids), job_ids)
    ]


def _marked(sql: str, job_ids: Sequence[str]) -> str:
    return sql.format(marks=", ".join("?" for _ in job_ids))


def _entry(row: tuple[Any, ...]) -> Entry:
    more = json.loads(row[15]) if row[15] not in (None, "{}") else _NOTHING
    return Entry(
        row[2], row[3], row[4], row[5], row[6], bool(row[7]), row[8], row[9], row[10], item=row[11], what=row[12],
        value=None if row[13] is None else json.loads(row[13]), unit=row[14], id=row[1],
        at=tuple(more["at"]) if "at" in more else (),
        masked=tuple(more["masked"]) if "masked" in more else (),
        quantities=tuple(Quantity(**q) for q in more["quantities"]) if "quantities" in more else (),
        clocked_s=more.get("clocked_s"), clocked_leak_s=more.get("clocked_leak_s"),
    )  # fmt: skip


def _intake(text: str) -> Intake:
    kept = json.loads(text)
    return Intake(**{name: kept[name] for name in _INTAKE if name in kept})


def read_clocks(db: Database, job_ids: Sequence[str]) -> Mapping[str, Clock]:
    """By job, when its first recording began and when entries were spoken; only jobs whose recordings say it."""
    began: dict[str, float] = {}
    for job_id, started in db.conn.execute(_marked(_BEGAN, job_ids), job_ids):
        at = moment(started).timestamp()
        began[job_id] = min(at, began.get(job_id, at))
    if not began:
        return {}
    spoken: dict[str, dict[str, float]] = {job_id: {} for job_id in began}
    for job_id, entry_id, started, from_s in db.conn.execute(_marked(_CLOCK, job_ids), job_ids):
        at = moment(started).timestamp() + (from_s or 0.0)
        spoken[job_id][entry_id] = min(at, spoken[job_id].get(entry_id, at))
    return {job_id: Clock(at, spoken[job_id]) for job_id, at in began.items()}
