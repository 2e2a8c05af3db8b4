"""What each job lacks, who pays and what they answered: one short row a job, so that a list can be narrowed down by it.

A row is made when somebody looks for such jobs, and goes when its job changes (triggers). Jobs without a row come out
of a search too, so that whoever asked makes theirs; so the newest come first at once, however many there are.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from fieldnote.store.database import Database

Answer = Literal["", "no payer", "not answered", "paid", "returned"]
ANSWERS: tuple[Answer, ...] = ("no payer", "not answered", "paid", "returned")
ANYTHING = "anything"


@dataclass(frozen=True, slots=True)
class Line:
    """What is known of one job. ``payer`` and ``outcome`` are "" for none; ``lacks`` holds ids."""

    payer: str = ""
    outcome: str = ""
    lacks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which jobs are looked for; "" leaves a matter open. ``lacks``: an id, or ``ANYTHING``."""

    status: str = ""
    lacks: str = ""
    answer: Answer = ""

    def fits(self, line: Line) -> bool:
        """Whether a job with this line is one of them, as far as its line goes."""
        lacks = bool(line.lacks) if self.lacks == ANYTHING else not self.lacks or self.lacks in line.lacks
        answers = {
            "": True,
            "no payer": not line.payer,
            "not answered": bool(line.payer) and not line.outcome,
            "paid": line.outcome == "paid",
            "returned": line.outcome == "returned",
        }
        return lacks and answers[self.answer]


@dataclass(frozen=True, slots=True)
class Candidate:
    """A job that fits, or (``made`` False) one whose line has to be made before that can be told."""

    id: str
    pack: str
    created_at: str
    made: bool


_LACKS = {"": "TRUE", ANYTHING: "line.lacks != ''"}
_ANSWER: Mapping[Answer, str] = {
    "": "TRUE",
    "no payer": "line.payer = ''",
    "not answered": "line.payer != '' AND line.outcome = ''",
    "paid": "line.outcome = 'paid'",
    "returned": "line.outcome = 'returned'",
}


def packs_of(db: Database) -> tuple[str, ...]:
    """The vocabularies that jobs use."""
    return tuple(row["pack"] for row in db.query("SELECT DISTINCT pack FROM job"))


def candidates(
    db: Database,
    wanted: Wanted,
    made_with: Mapping[str, str],
    after: Candidate | None,
    limit: int,
    ids: Sequence[str] | None = None,
) -> list[Candidate]:
    """Jobs that fit or are not known yet, newest first, from the one behind ``after`` on.

    ``made_with``: by pack, the rules by which lines are made now. ``ids``: of these alone.
    """
    # The rules of one vocabulary are never those of another, so which of them a line was made by need not be asked.
    made = "coalesce(line.made_with IN (SELECT value FROM json_each(:rules)), FALSE)"
    lacks = _LACKS.get(wanted.lacks, "instr(line.lacks, ' ' || :lacks || ' ') > 0")
    sql = f"""
      SELECT job.id, job.pack, job.created_at, {made} AS made
      FROM job LEFT JOIN claim_line AS line ON line.job_id = job.id
      WHERE (:status = '' OR job.status = :status)
        AND (:at IS NULL OR job.created_at < :at OR (job.created_at = :at AND job.id > :after))
        AND (:ids IS NULL OR job.id IN (SELECT value FROM json_each(:ids)))
        AND (NOT {made} OR ({lacks} AND {_ANSWER[wanted.answer]}))
      ORDER BY job.created_at DESC, job.id LIMIT :limit
    """
    values = {
        "rules": json.dumps(list(made_with.values())),
        "status": wanted.status,
        "lacks": wanted.lacks,
        "at": after.created_at if after else None,
        "after": after.id if after else None,
        "ids": None if ids is None else json.dumps(list(ids)),
        "limit": limit,
    }
    return [Candidate(r["id"], r["pack"], r["created_at"], bool(r["made"])) for r in db.query(sql, values)]


def keep(db: Database, lines: Iterable[tuple[str, str, Line]]) -> None:
    """Keep lines (job, made with, line), inside the ``atomic`` in which the jobs were read."""
    rows = [
        (job_id, made_with, line.payer, line.outcome, f" {' '.join(line.lacks)} " if line.lacks else "")
        for job_id, made_with, line in lines
    ]
    db.conn.executemany("INSERT OR REPLACE INTO claim_line VALUES (?, ?, ?, ?, ?)", rows)


__all__ = ["ANSWERS", "ANYTHING", "Answer", "Candidate", "Line", "Wanted", "candidates", "keep", "packs_of"]
