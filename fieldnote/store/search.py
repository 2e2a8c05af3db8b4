"""Search over all jobs, newest first, through SQLite's FTS5.

A job is one row of the index, and its row number is the microsecond at which it was opened. FTS5 walks row numbers
downwards at no cost, so the newest twenty hits come out without the rest being looked at, however common the words.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from fieldnote.errors import UserMistake
from fieldnote.records import Entry, JobLine
from fieldnote.store import lesson_rows, summary_rows
from fieldnote.store.database import Database
from fieldnote.store.entry_rows import entries_of
from fieldnote.store.job_rows import LINE_COLUMNS, first

_VIN_TAILS = (8, 6)
"""A workshop reads out the last eight or six characters of a VIN (common practice, no source)."""
_TERM = re.compile(r'"[^"]*"|\S+')
_WORD = re.compile(r"\w", re.UNICODE)
_LAST_MOMENT = (1 << 62) - 1
_LONGEST_FINDING = 6
"""Words between the place and the state of one row of ``finding_text``, at most: those of the part, and the side."""


@dataclass(frozen=True, slots=True)
class Query:
    """What to look for. ``words``: free words, all of which must occur (``"..."`` holds words together).

    ``place``, ``part``, ``state``, ``side``: one entry must have them all. ``since``/``until``: dates or RFC 3339
    times between which the job was opened.
    """

    words: str = ""
    place: str | None = None
    part: str | None = None
    state: str | None = None
    side: str | None = None
    status: str | None = None
    since: str | None = None
    until: str | None = None


def index_job(db: Database, job_id: str) -> None:
    """Write the job's row of the index anew; its summary and its lesson fall due, since whatever is indexed may be in
    them too."""
    summary_rows.mark_due(db, job_id)
    lesson_rows.mark_due(db, job_id)
    job = first(db, "SELECT * FROM job WHERE id = ?", [job_id])
    assert job is not None
    moment = _moment_of(db, job_id, job["created_at"])
    words = db.query(
        """SELECT text FROM utterance JOIN hearing ON hearing.id = hearing_id
           WHERE utterance.job_id = ? AND hearing.current ORDER BY utterance.order_key""",
        [job_id],
    )
    texts = texts_of(job, [row["text"] for row in words], entries_of(db, job_id))
    db.execute("DELETE FROM search WHERE rowid = ?", [moment])
    db.execute(INSERT, [moment, *texts])


def is_complete(db: Database) -> bool:
    """Whether every job has its row of the index."""
    return bool(db.table("search_row").count == db.table("job").count)


def index_all(db: Database) -> None:
    """Write the whole index anew."""
    db.execute("DELETE FROM search")
    db.execute("DELETE FROM search_row")
    for row in list(db.query("SELECT id FROM job ORDER BY created_at, id")):
        index_job(db, row["id"])


INSERT = "INSERT INTO search (rowid, name, vehicle, words, findings, dates) VALUES (?, ?, ?, ?, ?, ?)"


def texts_of(job: Mapping[str, Any], words: Iterable[str], entries: Sequence[Entry]) -> tuple[str, str, str, str, str]:
    """What is indexed of a job (a row of ``job``): name, vehicle, words, findings, dates."""
    intake = json.loads(job["intake"])
    return (
        f"{job['name']} {job['id']}",
        vehicle_text(intake, entries),
        "\n".join(words),
        "\n".join(finding_text(entry) for entry in entries if entry.kind != "fact"),
        " ".join(filter(None, (job["created_at"][:10], (job["closed_at"] or "")[:10], intake.get("build_month")))),
    )


def vehicle_text(intake: dict[str, object], entries: Iterable[Entry]) -> str:
    """What identifies the vehicle and the order, with the tails of the VIN by which it is called."""
    values = [value for name, value in intake.items() if name != "conditions"]
    values += [entry.value for entry in entries if entry.kind == "fact" and entry.value is not None]
    parts = [str(int(v)) if isinstance(v, float) and v.is_integer() else str(v) for v in values]
    vins = {str(intake.get("vin") or "")} | {str(e.value) for e in entries if e.kind == "fact" and e.what == "vin"}
    parts += [vin[-tail:] for vin in sorted(vins) for tail in _VIN_TAILS if len(vin) == 17]
    return " ".join(parts)


def finding_text(entry: Entry) -> str:
    """An entry's identifiers; a state that was said to be absent is left out, so that it is not found as present."""
    state = entry.state if entry.present else None
    named = (entry.place, entry.part, entry.side, state, entry.method, entry.material)
    return " ".join(name for name in named if name)


def find(db: Database, query: Query, limit: int) -> list[JobLine]:
    """The newest jobs that fit, at most ``limit``, with an excerpt of the words found.

    Raises:
        UserMistake: nothing to look for, or a date that is none.

    """
    match = _match(query)
    conditions, values = ["TRUE"], {"limit": limit, **_entry_values(query)}
    if query.status:
        conditions.append("job.status = :status")
        values["status"] = query.status
    if _entry_values(query):
        wanted = " AND ".join(f"entry.{name} = :{name}" for name in _entry_values(query))
        conditions.append(
            f"EXISTS (SELECT 1 FROM entry WHERE entry.job_id = job.id AND entry.present AND {wanted})",
        )
    since, until = span_of(query.since, query.until)
    values |= {"since": since, "until": until}
    if match:
        # CROSS JOIN keeps the index outermost, walked by row number; an excerpt is made of the rows that come out only.
        values["match"] = match
        inner = f"""SELECT job.id, snippet(search, -1, '[', ']', '…', 10) AS excerpt FROM search
          CROSS JOIN search_row ON search_row.moment = search.rowid CROSS JOIN job ON job.id = search_row.job_id
          WHERE search MATCH :match AND search.rowid BETWEEN :since AND :until AND {" AND ".join(conditions)}
          ORDER BY search.rowid DESC LIMIT :limit"""
        return [_line(db, row["id"], " ".join(row["excerpt"].split())) for row in db.query(inner, values)]
    if len(conditions) == 1 and since == 0 and until == _LAST_MOMENT:
        raise UserMistake("nothing to look for", where="job find", do="Give words, or an option such as --place.")
    inner = f"""SELECT job.id FROM search_row JOIN job ON job.id = search_row.job_id
      WHERE search_row.moment BETWEEN :since AND :until AND {" AND ".join(conditions)}
      ORDER BY search_row.moment DESC LIMIT :limit"""
    return [_line(db, row["id"], "") for row in db.query(inner, values)]


def _line(db: Database, job_id: str, excerpt: str) -> JobLine:
    row = first(db, f"SELECT {LINE_COLUMNS} FROM job WHERE id = ?", [job_id])
    assert row is not None
    return JobLine(**row, excerpt=excerpt)


def _entry_values(query: Query) -> dict[str, str]:
    named = {"place": query.place, "part": query.part, "state": query.state, "side": query.side}
    return {name: value for name, value in named.items() if value}


def _match(query: Query) -> str:
    """The FTS5 expression: every word quoted, so that nothing typed is taken for an operator."""
    # SQLite ends a query at a NUL, within quotes too.
    terms = [term.strip('"') for term in _TERM.findall(query.words.replace("\0", " "))]
    terms = [term for term in terms if _WORD.search(term)]
    quoted = [f'"{term.replace(chr(34), "")}"' for term in terms]
    if quoted and not query.words.rstrip().endswith('"'):
        quoted[-1] += "*"  # the last word may be unfinished
    # Identifiers that stand near each other narrow the jobs down before the entries themselves are looked at.
    named = [f'"{value.replace(chr(34), "")}"' for value in _entry_values(query).values() if _WORD.search(value)]
    if named:
        quoted.append(f"findings : NEAR({' '.join(named)}, {_LONGEST_FINDING})")
    return " AND ".join(quoted)


def span_of(since: str | None, until: str | None) -> tuple[int, int]:
    """First and last moment of a span (microseconds since 1970); a day, a month or a year is meant to its end."""
    first_moment = 0 if since is None else moment_of(since)
    last = _LAST_MOMENT
    if until is not None:
        last = _end_of(until) - 1 if len(until) <= len("2026-01-01") else moment_of(until)
    return first_moment, last


def _end_of(day: str) -> int:
    start = _parse(day)
    if len(day) == 4:
        return _micros(start.replace(year=start.year + 1))
    if len(day) == 7:
        return _micros((start + timedelta(days=32)).replace(day=1))
    return _micros(start + timedelta(days=1))


def moment_of(text: str) -> int:
    """Microseconds since 1970 of a year, a month, a day or an RFC 3339 time (in UTC where no zone is named)."""
    return _micros(_parse(text))


def _parse(text: str) -> datetime:
    full = text + "2026-01-01"[len(text) :] if len(text) in (4, 7) else text
    try:
        parsed = datetime.fromisoformat(full)
    except ValueError as error:
        raise UserMistake("this is not a date", where=text, do="Write it as 2026-11-25, 2026-11 or 2026.") from error
    return parsed if parsed.tzinfo else parsed.replace(tzinfo=UTC)


def _micros(moment: datetime) -> int:
    return int((moment - datetime(1970, 1, 1, tzinfo=UTC)) / timedelta(microseconds=1))


def _moment_of(db: Database, job_id: str, created_at: str) -> int:
    """The job's row number in the index, chosen on first use: two jobs of the same microsecond get neighbours."""
    there = first(db, "SELECT moment FROM search_row WHERE job_id = ?", [job_id])
    if there is not None:
        return int(there["moment"])
    moment = moment_of(created_at)
    while first(db, "SELECT 1 FROM search_row WHERE moment = ?", [moment]) is not None:
        moment += 1
    db.table("search_row").insert({"moment": moment, "job_id": job_id})
    return moment
