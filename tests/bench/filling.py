"""Writes plausible jobs into a store in bulk: the very rows that the store writes, many jobs to a transaction."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from sqlite_utils import Database

from fieldnote.store import Store
from fieldnote.store.identity import canonical, words_hash
from fieldnote.store.rows import entry_to_row, intake_to_json, utterance_to_row
from fieldnote.store.search import INSERT, moment_of, texts_of
from tests.bench.plausible_jobs import PlausibleJob

_BATCH = 2_000


def fill(store: Store, jobs: Iterable[PlausibleJob]) -> int:
    """Write the jobs; gives how many."""
    count = 0
    with store.atomic() as db:
        db.execute("INSERT OR IGNORE INTO engine_settings VALUES ('none', '{}')")
    waiting = iter(jobs)
    while batch := tuple(itertools.islice(waiting, _BATCH)):
        with store.atomic() as db:
            _write(db, batch, store.machine)
        count += len(batch)
    with store.atomic() as db:
        db.execute("ANALYZE")
    return count


def _write(db: Database, jobs: Sequence[PlausibleJob], machine: str) -> None:
    rows: dict[str, list[Mapping[str, Any]]] = {
        name: []
        for name in (
            "job", "hearing", "utterance", "extraction", "entry", "edit", "search_row", "summary_due", "lesson_due",
        )
    }  # fmt: skip
    texts = []
    for job in jobs:
        head = _job_row(job)
        rows["job"].append(head)
        if job.closed_at:
            rows["edit"].append(_closing(job, machine))
        hearing = {
            "id": f"h{job.id}", "job_id": job.id, "clip_id": None, "source": "typed", "engine": "text", "person": None,
            "at": job.created_at, "machine": machine, "heard_to_s": 0.0, "done": 1, "current": 1,
        }  # fmt: skip
        rows["hearing"].append(hearing)
        rows["utterance"] += [
            utterance_to_row(said, f"h{job.id}", job.id, f"{job.created_at}/00000/{n:06d}", "none")
            for n, said in enumerate(job.utterances)
        ]
        made_from = words_hash([(said.id, said.text) for said in job.utterances], None)
        rows["extraction"].append(
            {
                "job_id": job.id, "pack": "body-leaks", "pack_hash": "bench", "extractor": "bench",
                "made_at": job.created_at, "words_hash": made_from, "utterances": len(job.utterances),
            }
        )  # fmt: skip
        rows["entry"] += [
            entry_to_row(entry, job.id, n, added=False, as_said=None) for n, entry in enumerate(job.entries)
        ]
        moment = moment_of(job.created_at)
        rows["search_row"].append({"moment": moment, "job_id": job.id})
        rows["summary_due"].append({"job_id": job.id})
        rows["lesson_due"].append({"job_id": job.id})
        texts.append((moment, *texts_of(head, [said.text for said in job.utterances], job.entries)))
    for table, made in rows.items():
        _insert(db, table, made)
    db.conn.executemany(INSERT, texts)


def _job_row(job: PlausibleJob) -> dict[str, Any]:
    intake = intake_to_json(job.intake)
    opened = {"name": job.name, "status": "open", "pack": "body-leaks", "intake": intake}
    return {
        "id": job.id,
        "created_at": job.created_at,
        "opened": canonical(opened),
        "name": job.name,
        "status": "closed" if job.closed_at else "open",
        "closed_at": job.closed_at,
        "pack": "body-leaks",
        "intake": canonical(intake),
    }


def _closing(job: PlausibleJob, machine: str) -> dict[str, Any]:
    return {
        "id": f"d{job.id}", "job_id": job.id, "entry_id": job.id, "action": "set", "field": "status", "before": "open",
        "after": "closed", "person": job.intake.technician, "at": job.closed_at, "quote": job.name, "machine": machine,
        "turn": 1, "follows": "[]",
    }  # fmt: skip


def _insert(db: Database, table: str, rows: Sequence[Mapping[str, Any]]) -> None:
    if rows:
        names = list(rows[0])
        columns = ", ".join(f'"{name}"' for name in names)
        values = ", ".join("?" for _ in names)
        statement = f"INSERT INTO {table} ({columns}) VALUES ({values})"
        db.conn.executemany(statement, ([row[name] for name in names] for row in rows))
