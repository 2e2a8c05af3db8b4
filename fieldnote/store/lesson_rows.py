"""What closed jobs taught, job by job and added up: asking for it reads some hundred numbers, however many jobs.

A change marks its job as due in its own transaction. Whoever asks makes the lessons that are due first, and with each
moves the sums by what changed: of the job itself, and of earlier jobs of its vehicle, which a comeback withdraws.
Counts are whole numbers (``lessons.UNITS``), so that the sums are the same as if all jobs were read anew.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Protocol

from fieldnote.lessons import ALL, Lesson, Scope, Tally, withdrawn_of
from fieldnote.records import Entry, Intake, Job, Quantity, Rates
from fieldnote.store.database import Database
from fieldnote.store.job_rows import first

_INTAKE = ("vehicle", "family", "build_month", "vin")
_JOBS = "SELECT id, name, created_at, status, closed_at, pack, intake FROM job WHERE id IN ({marks})"
_ENTRIES = """
  SELECT entry.job_id, entry.id, kind, place, part, side, state, present, certainty, stage, method, what, value,
    CASE WHEN kind != 'fact' THEN json_remove(more, '$.origins') END
  FROM entry JOIN job ON job.id = entry.job_id
  WHERE entry.job_id IN ({marks})
    AND (kind = 'fact' OR status = 'closed' AND kind IN ('check', 'test', 'repair', 'source'))
  ORDER BY entry.job_id, position
"""
# Each due row looks its job up. A join would go through all jobs, to find or to filter the few that are due.
_DUE = "FROM lesson_due WHERE (SELECT pack FROM job WHERE job.id = lesson_due.job_id) = :pack LIMIT :most"
_COLUMNS = "job_id, opened_s, closed_s, vehicle, families, sources"


class Teacher(Protocol):
    """Makes lessons of the jobs of one vocabulary. ``made_with`` tells by which rules: others make all of them anew."""

    @property
    def pack(self) -> str:
        """The vocabulary's id."""

    @property
    def map_hash(self) -> str:
        """Of the leak map whose sources the lessons name."""

    @property
    def made_with(self) -> str:
        """Changes whenever the same job would give another lesson."""

    @property
    def comeback_s(self) -> float:
        """A vehicle that is back within so many seconds withdraws what its earlier job taught."""

    def lesson(self, job: Job) -> Lesson:
        """What a job teaches; of its entries it has those that repairs and their proof hang on, and facts."""


# ---- what is due ----------------------------------------------------------------------------------------------


def mark_due(db: Database, job_id: str) -> None:
    """The job has changed, or is about to in this transaction."""
    db.execute("INSERT OR IGNORE INTO lesson_due VALUES (?)", [job_id])


def is_current(db: Database, teacher: Teacher) -> bool:
    """Whether what was added up was made by these rules, or nothing was."""
    row = first(db, "SELECT made_with FROM lesson_sum WHERE pack = ?", [teacher.pack])
    return row is not None and row["made_with"] == teacher.made_with


def count_due(db: Database, teacher: Teacher, most: int = -1) -> int:
    """How many lessons have to be made before all can be relied on; counted up to ``most`` where it is given."""
    due_rows = f"SELECT 1 {_DUE}"
    if not is_current(db, teacher):
        due_rows = "SELECT 1 FROM job WHERE pack = :pack LIMIT :most"
    sql = f"SELECT count(*) AS n FROM ({due_rows})"
    return int(next(iter(db.query(sql, {"pack": teacher.pack, "most": most})))["n"])


def due(db: Database, teacher: Teacher, limit: int) -> list[str]:
    """Jobs of the teacher's pack whose lesson is missing or older than they are, the oldest mark first."""
    values = {"pack": teacher.pack, "most": limit}
    return [row["job_id"] for row in db.query(f"SELECT job_id {_DUE}", values)]


# ---- making lessons -------------------------------------------------------------------------------------------


def make(db: Database, teacher: Teacher, limit: int) -> int:
    """Make up to ``limit`` lessons that are due, inside ``atomic``; gives how many."""
    if not is_current(db, teacher):
        _begin_anew(db, teacher)
    job_ids = due(db, teacher, limit)
    if not job_ids:
        return 0
    new = {job.id: teacher.lesson(job) for job in _read_jobs(db, job_ids)}
    old = {lesson.job_id: (lesson, gone) for lesson, gone in _kept(db, "job_id", job_ids)}
    vehicles = {lesson.vehicle for lesson in (*new.values(), *(lesson for lesson, _ in old.values()))} - {None}
    ours = [(lesson, gone) for lesson, gone in _kept(db, "vehicle", sorted(map(str, vehicles)), teacher.pack)]
    before = {**{lesson.job_id: (lesson, gone) for lesson, gone in ours}, **old}
    after = {**{id: lesson for id, (lesson, _) in before.items()}, **new}
    gone_now = withdrawn_of(list(after.values()), teacher.comeback_s)
    change = Tally()
    for lesson, gone in before.values():
        change.add(lesson, withdrawn=gone, sign=-1)
    for id, lesson in after.items():
        change.add(lesson, withdrawn=gone_now[id])
    rows = [_row(lesson, teacher.pack, gone=gone_now[id]) for id, lesson in after.items()]
    db.conn.executemany("INSERT OR REPLACE INTO lesson VALUES (?, ?, ?, ?, ?, ?, ?, ?)", rows)
    db.conn.executemany("DELETE FROM lesson_due WHERE job_id = ?", [(job_id,) for job_id in job_ids])
    _move(db, teacher.pack, change)
    return len(job_ids)


def _begin_anew(db: Database, teacher: Teacher) -> None:
    """All jobs of the pack fall due: what they taught was told by other rules, or never."""
    for table in ("lesson", "lesson_count", "lesson_sum"):
        db.execute(f"DELETE FROM {table} WHERE pack = ?", [teacher.pack])
    db.execute("INSERT OR IGNORE INTO lesson_due SELECT id FROM job WHERE pack = ?", [teacher.pack])
    db.execute("INSERT INTO lesson_sum VALUES (?, ?, 0, 0, ?)", [teacher.pack, teacher.made_with, f"{0:032x}"])


def _move(db: Database, pack: str, change: Tally) -> None:
    """Move the sums by a change."""
    row = first(db, "SELECT * FROM lesson_sum WHERE pack = ?", [pack])
    assert row is not None
    mark = f"{int(row['mark'], 16) ^ change.mark:032x}"
    values = [row["taught"] + change.taught, row["withdrawn"] + change.withdrawn, mark, pack]
    db.execute("UPDATE lesson_sum SET taught = ?, withdrawn = ?, mark = ? WHERE pack = ?", values)
    moved = [(pack, *scope, source, units) for (scope, source), units in change.units.items() if units]
    db.conn.executemany(
        "INSERT INTO lesson_count VALUES (?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET units = units + excluded.units",
        moved,
    )


def _kept(db: Database, column: str, values: Sequence[str], pack: str | None = None) -> Iterator[tuple[Lesson, bool]]:
    """The lessons kept of some jobs or vehicles, and whether each is withdrawn."""
    if not values:
        return
    where = f"{column} IN ({_marks(values)})" + (" AND pack = ?" if pack else "")
    given = [*values, *([pack] if pack else [])]
    for row in db.conn.execute(f"SELECT {_COLUMNS}, withdrawn FROM lesson WHERE {where}", given):
        id, opened_s, closed_s, vehicle, families, sources, gone = row
        yield (
            Lesson(id, opened_s, closed_s, vehicle, tuple(json.loads(families)), tuple(json.loads(sources))),
            bool(gone),
        )


def _row(lesson: Lesson, pack: str, *, gone: bool) -> tuple[Any, ...]:
    families, sources = json.dumps(lesson.families), json.dumps(lesson.sources)
    return (lesson.job_id, pack, lesson.opened_s, lesson.closed_s, lesson.vehicle, families, sources, gone)


def _marks(values: Sequence[object]) -> str:
    return ", ".join("?" for _ in values)


# ---- reading --------------------------------------------------------------------------------------------------


def rates(
    db: Database, teacher: Teacher, families: Sequence[str], vehicle: str | None, but: str | None = None
) -> Rates:
    """What was added up, with the counts of some families and of one vehicle, without the job ``but``."""
    tally = Tally()
    row = first(db, "SELECT * FROM lesson_sum WHERE pack = ? AND made_with = ?", [teacher.pack, teacher.made_with])
    if row is None:
        return tally.rates(teacher.map_hash)
    tally = Tally(row["taught"], row["withdrawn"], int(row["mark"], 16))
    scopes: list[Scope] = [ALL, *(("family", name) for name in families)]
    if vehicle is not None:
        scopes.append(("vehicle", vehicle))
    for scope in scopes:
        sql = "SELECT source, units FROM lesson_count WHERE pack = ? AND kind = ? AND key = ?"
        for source, units in db.conn.execute(sql, [teacher.pack, *scope]):
            tally.units[scope, source] = units
    for own, gone in _kept(db, "job_id", [but] if but else []):
        tally.add(own, withdrawn=gone, sign=-1)
        # Counts of its own family and vehicle may not have been asked for.
        tally.units = {key: units for key, units in tally.units.items() if key[0] in scopes}
    return tally.rates(teacher.map_hash)


def jobs_behind(db: Database, teacher: Teacher) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The jobs that teach, and those that are withdrawn."""
    sql = "SELECT job_id, withdrawn FROM lesson WHERE pack = ? AND sources != '[]'"
    rows = sorted(db.conn.execute(sql, [teacher.pack]))
    return tuple(id for id, gone in rows if not gone), tuple(id for id, gone in rows if gone)


def says_the_same(db: Database, teacher: Teacher, job: Job) -> bool:
    """Whether an open job's lesson is kept, and names the vehicle as the job does now."""
    kept = next(iter(_kept(db, "job_id", [job.id])), None)
    return kept is not None and kept[0] == teacher.lesson(job)


# ---- jobs as lessons need them --------------------------------------------------------------------------------


def _read_jobs(db: Database, job_ids: Sequence[str]) -> list[Job]:
    """These jobs with the entries that lessons hang on; entries have no quote and no origins."""
    entries: dict[str, list[Entry]] = {}
    for row in db.conn.execute(_ENTRIES.format(marks=_marks(job_ids)), job_ids):
        entries.setdefault(row[0], []).append(_entry(row))
    return [
        Job(id, name, created, status, closed, pack, intake=_intake(intake), entries=tuple(entries.get(id, ())))
        for id, name, created, status, closed, pack, intake in db.conn.execute(
            _JOBS.format(marks=_marks(job_ids)), job_ids
        )
    ]


def _entry(row: Sequence[Any]) -> Entry:
    more: Mapping[str, Any] = json.loads(row[13]) if row[13] else {}
    return Entry(
        row[2], row[3], row[4], row[5], row[6], bool(row[7]), row[8], row[9], row[10], what=row[11],
        value=None if row[12] is None else json.loads(row[12]), id=row[1],
        at=tuple(more.get("at", ())),
        masked=tuple(more.get("masked", ())),
        quantities=tuple(Quantity(**q) for q in more.get("quantities", ())),
        clocked_s=more.get("clocked_s"), clocked_leak_s=more.get("clocked_leak_s"),
    )  # fmt: skip


def _intake(text: str) -> Intake:
    kept = json.loads(text)
    return Intake(**{name: kept[name] for name in _INTAKE if name in kept})
