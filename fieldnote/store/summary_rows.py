"""One summary a job, for looking at many jobs together: kept beside the job, in the transaction that changes it.

What a summary holds is the matter of whoever asks (``Summarizer``); here it is four packed columns and the words that
their codes stand for. A change marks the job as *due* in its own transaction. If the one who writes has a summarizer
at hand, the summary is made before that transaction ends; otherwise the job stays due, and whoever looks at many jobs
next makes it then. So a summary is never older than its job.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from fieldnote.store.database import Database
from fieldnote.store.job_rows import first

AT_ONCE = 50
"""At most so many summaries are made inside the transaction of a change; of a large import they stay due."""


CodesOf = Callable[[Iterable[str]], Mapping[str, int]]


@dataclass(frozen=True, slots=True)
class Summary:
    """What is kept of one job."""

    job_id: str
    head: bytes
    leaks: bytes
    signs: bytes
    checks: bytes


class Summarizer(Protocol):
    """Makes summaries of the jobs of one vocabulary. ``made_with`` tells by which rules: others make another one."""

    @property
    def pack(self) -> str:
        """The vocabulary's id."""

    @property
    def made_with(self) -> str:
        """Changes whenever the same job would give another summary."""

    def summarize(self, db: Database, job_ids: Sequence[str], codes_of: CodesOf) -> Iterable[Summary]:
        """The summaries of these jobs, all of ``pack``; ``codes_of`` gives the codes of words."""


def mark_due(db: Database, job_id: str) -> None:
    """The job has changed, or is about to in this transaction."""
    db.execute("INSERT OR IGNORE INTO summary_due VALUES (?)", [job_id])


def due(db: Database, summarizer: Summarizer, limit: int) -> list[str]:
    """Jobs of the summarizer's pack whose summary is missing, older than the job or made by other rules."""
    changed = "SELECT job_id FROM summary_due JOIN job ON job.id = job_id WHERE pack = ? LIMIT ?"
    ids = [row["job_id"] for row in db.query(changed, [summarizer.pack, limit])]
    for beyond in ("<", ">"):  # two looks into the index, where "other than" would read all of it
        if len(ids) < limit:
            sql = f"SELECT job_id FROM summary WHERE pack = ? AND made_with {beyond} ? LIMIT ?"
            ids += [row["job_id"] for row in db.query(sql, [summarizer.pack, summarizer.made_with, limit - len(ids)])]
    return list(dict.fromkeys(ids))


def count_due(db: Database, summarizer: Summarizer) -> int:
    """How many summaries have to be made before all can be relied on."""
    if not due(db, summarizer, 1):
        return 0
    sql = """SELECT (SELECT count(*) FROM summary_due JOIN job ON job.id = job_id WHERE pack = :pack)
      + (SELECT count(*) FROM summary WHERE pack = :pack AND made_with != :made_with
           AND job_id NOT IN (SELECT job_id FROM summary_due)) AS n"""
    return int(next(iter(db.query(sql, {"pack": summarizer.pack, "made_with": summarizer.made_with})))["n"])


def make(db: Database, summarizer: Summarizer, job_ids: Sequence[str]) -> None:
    """Make the summaries of these jobs anew, inside ``atomic``."""
    marks = ", ".join("?" for _ in job_ids)
    sql = f"SELECT id FROM job WHERE pack = ? AND id IN ({marks})"
    ours = [row["id"] for row in db.query(sql, [summarizer.pack, *job_ids])]
    rows = [
        (made.job_id, summarizer.pack, summarizer.made_with, made.head, made.leaks, made.signs, made.checks)
        for made in summarizer.summarize(db, ours, lambda words: codes_of(db, words))
    ]
    db.conn.executemany("INSERT OR REPLACE INTO summary VALUES (?, ?, ?, ?, ?, ?, ?)", rows)
    db.conn.executemany("DELETE FROM summary_due WHERE job_id = ?", [(job_id,) for job_id in ours])


def keep_up(db: Database, summarizer: Summarizer) -> None:
    """Make what fell due by the transaction that is about to end, unless it is too much for it."""
    row = first(db, "SELECT count(*) AS n FROM (SELECT 1 FROM summary_due LIMIT ?)", [AT_ONCE + 1])
    if row is None or not 0 < row["n"] <= AT_ONCE:
        return
    changed = "SELECT job_id FROM summary_due JOIN job ON job.id = job_id WHERE pack = ?"
    ids = [found["job_id"] for found in db.query(changed, [summarizer.pack])]
    if ids:
        make(db, summarizer, ids)


def codes_of(db: Database, words: Iterable[str]) -> dict[str, int]:
    """The codes of words, those that are new added, inside ``atomic``; "" is 0."""
    wanted = [word for word in dict.fromkeys(words) if word]
    db.conn.executemany("INSERT OR IGNORE INTO summary_word (word) VALUES (?)", [(word,) for word in wanted])
    codes = {"": 0}
    for word in wanted:
        row = db.conn.execute("SELECT code FROM summary_word WHERE word = ?", [word]).fetchone()
        codes[word] = int(row[0])
    return codes


def words(db: Database) -> Mapping[int, str]:
    """All words by their codes."""
    return {0: "", **dict(db.conn.execute("SELECT code, word FROM summary_word"))}


def rows(db: Database, pack: str) -> list[tuple[str, bytes, bytes, bytes, bytes]]:
    """Id and the four columns of every job of a pack that has a summary."""
    sql = "SELECT job_id, head, leaks, signs, checks FROM summary WHERE pack = ?"
    found: list[tuple[str, bytes, bytes, bytes, bytes]] = db.conn.execute(sql, [pack]).fetchall()
    return found


def unlike(db: Database, summarizer: Summarizer, at_once: int = 500) -> Iterator[str]:
    """Jobs whose summary is not due, and yet not what would be made of them now. Only reads."""
    sql = """SELECT job.id, made_with, head, leaks, signs, checks FROM job LEFT JOIN summary ON job_id = job.id
      WHERE job.pack = ? AND job.id NOT IN (SELECT job_id FROM summary_due)"""
    kept = {row[0]: row[1:] for row in db.conn.execute(sql, [summarizer.pack])}
    yield from (job_id for job_id, row in kept.items() if row[0] is None)
    ours = [job_id for job_id, row in kept.items() if row[0] == summarizer.made_with]
    codes = {word: code for code, word in words(db).items()}
    for begin in range(0, len(ours), at_once):
        some = ours[begin : begin + at_once]
        for made in summarizer.summarize(db, some, lambda asked: {word: codes.get(word, -1) for word in ("", *asked)}):
            if (made.head, made.leaks, made.signs, made.checks) != kept[made.job_id][1:]:
                yield made.job_id
